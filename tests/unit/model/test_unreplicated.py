"""Effects of two-level runs without repeats: scales, fractions, builds, and what cannot be judged so."""

import math
from itertools import product

import numpy as np
import pandas as pd
import pytest

from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of
from toolkit import stamp
from toolkit.errors import ModelError
from toolkit.model import unreplicated
from toolkit.model.fit import fit
from toolkit.numeric import lenth

LEVELS = {name: ["lo", "hi"] for name in "abcd"}


def cube(names="abcd", *, seed=3, **effects):
    """Every combination of factors at lo and hi once, with these effects (as 'ab'=1.0) and noise; INVENTED."""
    draw = np.random.default_rng(seed)
    data = pd.DataFrame(list(product(("lo", "hi"), repeat=len(names))), columns=list(names))
    signs = {name: np.where(data[name] == "hi", 1.0, -1.0) for name in names}
    y = 5.0 + draw.normal(0.0, 0.1, size=len(data))
    for effect, size in effects.items():
        y = y + 0.5 * size * np.prod([signs[name] for name in effect], axis=0)
    return data.assign(y=y)


def judged(data, names="abcd", *, scale="linear", build=None, seed=1, **more):
    """The effects of these runs."""
    brief = brief_of(data, list(names), "y", levels={name: LEVELS[name] for name in names}, scale=scale, **more)
    return unreplicated.effects(fit(brief, runs_of(data, list(names), "y", build=build), "y"), seed=seed)


def test_effects_are_means_of_high_less_means_of_low():
    data = cube(a=1.0, bc=-0.8)
    made = judged(data)
    found = made.table.set_index("term")
    for term, row in found.iterrows():
        column = np.prod([np.where(data[name] == "hi", 1, -1) for name in term.split(" × ")], axis=0)
        assert row["effect"] == pytest.approx(data["y"][column == 1].mean() - data["y"][column == -1].mean(), abs=1e-12)
        assert row["size"] == abs(row["effect"])
        assert (row["error_stratum"], row["measured_in"], row["planned"], row["df"]) == ("run", "", False, None)
    assert list(found.index[found["stands_out"] == unreplicated.ALL]) == ["a", "b × c"]
    pse, _ = lenth.pseudo_error(found["effect"].astype(float))
    drawn = lenth.null(15, seed=1)
    row = found.loc["b × c"]
    # As a difference of differences: twice the effect.
    assert row["estimate"] == pytest.approx(2 * row["effect"]) and row["std_error"] == pytest.approx(2 * pse)
    assert row["conf_high"] - row["estimate"] == pytest.approx(2 * pse * drawn.margin)
    assert (row["margin"], row["simultaneous_margin"]) == pytest.approx((pse * drawn.margin, pse * drawn.simultaneous))
    assert row["contrast"] == "change b hi against lo at c hi, against the same change at c lo, mean over a and d"
    assert row["note"] == "judged by the size of the other effects: pseudo standard error, margin by drawing"
    ordered = found.sort_values("rank")
    assert list(ordered["rank"]) == list(range(1, 16)) and ordered["size"].is_monotonic_increasing
    for column, expected in (("envelope_low", drawn.low), ("envelope_middle", drawn.middle),
                             ("envelope_high", drawn.high)):
        assert list(ordered[column]) == pytest.approx(list(pse * expected), rel=1e-12)
    assert list(ordered["place"]) == pytest.approx(list(lenth.places(15)))
    ((_, by),) = made.judged_by.iterrows()
    assert (by["stratum"], by["effects"], by["seed"], by["drawn"], by["conf_level"]) == ("run", 15, 1, 100_000, 0.95)
    assert made.notes == (
        "nothing was repeated: effects are judged by the size of the others, most of which are taken to be inert; the "
        "margins are drawn (100000 campaigns without any effect), Lenth's t beside them",)


def test_on_the_log_scale_estimates_are_ratios():
    data = cube(a=1.0)
    found = judged(data.assign(y=np.exp(data["y"])), scale="log").table.set_index("term")
    plain = judged(data).table.set_index("term")
    for term in ("a", "b × c"):
        assert found.loc[term, "effect"] == pytest.approx(plain.loc[term, "effect"], rel=1e-9)
        assert found.loc[term, "estimate"] == pytest.approx(math.exp(plain.loc[term, "estimate"]), rel=1e-9)
        assert found.loc[term, "conf_low"] == pytest.approx(math.exp(plain.loc[term, "conf_low"]), rel=1e-9)
        assert found.loc[term, "measured_in"] == "ratio"


def test_a_constant_and_the_order_of_the_runs_change_nothing():
    data = cube(a=1.0, d=0.4)
    plain = judged(data).table
    moved = judged(data.assign(y=data["y"] + 1e6).sample(frac=1.0, random_state=2)).table.set_index("term")
    assert list(moved.loc[plain["term"], "stands_out"]) == list(plain["stands_out"])
    assert list(moved.loc[plain["term"], "effect"]) == pytest.approx(list(plain["effect"]), abs=1e-8)
    turned = judged(data.replace({"a": {"lo": "hi", "hi": "lo"}})).table
    signs = [-1.0 if "a" in term else 1.0 for term in plain["term"]]
    assert [sign * size for sign, size in zip(signs, turned["effect"], strict=True)] == pytest.approx(
        list(plain["effect"]), abs=1e-12)
    assert list(turned["stands_out"]) == list(plain["stands_out"])


def test_a_half_fraction_names_what_an_effect_could_be():
    data = cube(a=1.0)
    signs = np.prod([np.where(data[name] == "hi", 1, -1) for name in "abcd"], axis=0)
    made = judged(data[signs == -1].reset_index(drop=True))
    found = made.table.set_index("term")
    assert dict(found["aliases"]) == {
        "a": "−b × c × d", "b": "−a × c × d", "c": "−a × b × d", "d": "−a × b × c", "a × b": "−c × d",
        "a × c": "−b × d", "a × d": "−b × c"}
    assert made.notes[1] == "a fraction: I = −a × b × c × d; each effect stands for its chain"


def test_an_effect_that_is_the_difference_of_the_builds_is_not_judged():
    data = cube("abc", a=1.0)
    signs = np.prod([np.where(data[name] == "hi", 1, -1) for name in "abc"], axis=0)
    data = data.assign(build=np.where(signs == 1, "B1", "B2"), y=data["y"] + 9.0 * (signs == 1))
    made = judged(data, "abc", build="build", block="build")
    found = made.table.set_index("term")
    row = found.loc["a × b × c"]
    assert (row["stands_out"], row["rank"], row["conf_low"], row["error_stratum"]) == (None, None, None, "build")
    assert row["note"] == "the same as the difference between builds: cannot be told from it"
    assert made.judged_by["effects"][0] == 6
    assert found.loc["a", "stands_out"] == unreplicated.ALL


def test_effects_between_builds_are_judged_apart_from_those_within():
    # a and b changed with the build, c and d within: 3 effects between 4 builds, 12 within.
    data = cube(c=1.0)
    data = data.assign(build="B" + data["a"] + data["b"])
    draw = np.random.default_rng(5)
    data["y"] += data["build"].map({name: draw.normal() * 5 for name in sorted(set(data["build"]))})
    made = judged(data, build="build", build_level=["a", "b"])
    assert list(made.judged_by["stratum"]) == ["build", "run"]
    assert list(made.judged_by["effects"]) == [3, 12]
    found = made.table.set_index("term")
    assert set(found.loc[["a", "b", "a × b"], "error_stratum"]) == {"build"}
    assert found.loc["c", "stands_out"] == unreplicated.ALL
    assert made.judged_by["pse"][0] > 10 * made.judged_by["pse"][1]


def test_too_few_effects_are_shown_and_not_judged():
    made = judged(cube("ab", a=1.0), "ab")
    assert made.judged_by["effects"][0] == 3
    one = judged(pd.DataFrame({"a": ["lo", "hi"], "y": [1.0, 2.5]}), "a")
    (row,) = one.table.to_dict("records")
    assert (row["effect"], row["stands_out"], row["conf_low"]) == (1.5, None, None)
    assert row["note"] == "1 effect between runs: fewer than 3 cannot be judged by each other"
    assert (len(one.judged_by), one.notes) == (0, ())


def test_copied_values_are_told():
    data = cube().assign(y=[1.0] * 8 + [2.0] * 8)
    found = judged(data).table
    assert set(found["note"]) == {"half of the effects or more are exactly 0: nothing to judge by; were values copied?"}


def test_what_cannot_be_judged_so_says_what_to_do():
    data = pin_by_oil(INVENTED).rename(columns={"elongation_pct": "y"})
    with pytest.raises(ModelError) as refused:
        made = fit(brief_of(data, ["pin", "oil"], "y"), runs_of(data, ["pin", "oil"], "y"), "y")
        unreplicated.effects(made, seed=1)
    assert str(refused.value) == (
        "y: combinations were run more than once (R001, R005, R009 and 3 more), so effects are not judged "
        "by each other: repeats tell the scatter where they lie within one build or builds do not matter.")
    data = pd.DataFrame({"a": ["0", "1", "2"], "y": [1.0, 2.0, 3.0]})
    with pytest.raises(ModelError) as refused:
        unreplicated.effects(fit(brief_of(data, ["a"], "y"), runs_of(data, ["a"], "y"), "y"), seed=1)
    assert str(refused.value) == (
        "y: effects are judged by each other only where every factor has two levels; more have a (3). "
        "Repeat runs, or declare an interaction nil in [plan] nil_interactions: that leaves an error to judge by.")
    with pytest.raises(ModelError) as refused:
        judged(cube("abc").iloc[:7], "abc")
    assert str(refused.value) == (
        "y: 7 runs make neither a full factorial nor a regular fraction of one (no run of a hi, b hi, c hi), so the "
        "effects mix and cannot be judged by each other. Run what is missing; or declare interactions nil in [plan] "
        "nil_interactions, which leaves an error to judge by. Estimates without an interval stand in the table of "
        "effects.")


def test_centre_points_are_left_out_and_said_so():
    lines = [*product(("1", "2"), ("3", "4")), ("centre", "centre"), ("centre", "centre")]
    data = pd.DataFrame(lines, columns=["load_N", "temp_degC"]).assign(y=[1.0, 2.0, 3.5, 4.0, 9.0, 9.1])
    names = ["load_N", "temp_degC"]
    brief = brief_of(data, names, "y", levels={"load_N": ["1", "2"], "temp_degC": ["3", "4"]}, numeric=names)
    made = unreplicated.effects(fit(brief, runs_of(data, names, "y"), "y"), seed=1)
    assert list(made.table["effect"]) == pytest.approx([2.25, 0.75, -0.25])
    assert made.notes[-1] == (
        "2 centre points are left out here: they tell scatter and curvature in the other tables")


def test_json_has_null_and_no_nan():
    made = judged(pd.DataFrame({"a": ["lo", "hi"], "y": [1.0, 2.5]}), "a")
    text = stamp.canonical(made.to_json())
    assert "NaN" not in text and '"stands_out":null' in text
    assert '"judged_by":[{"conf_level":0.95' in stamp.canonical(judged(cube(a=1.0)).to_json())
