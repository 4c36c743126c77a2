"""Runs without a degree of freedom of error: what is said in place of a verdict."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of, simple
from tests.unit.model.test_unreplicated import LEVELS, cube
from toolkit.brief.designs import FRACTION
from toolkit.cli import words
from toolkit.decide import analysis
from toolkit.decide.unrepeated import NO_VERDICT, change, unrepeated
from toolkit.design import chosen
from toolkit.intake import records
from toolkit.model import comparisons, unreplicated
from toolkit.model import fit as model_fit


def told(data, names="abcd", *, scale="linear", build=None, **more):
    """What is said of these runs."""
    levels = {name: LEVELS[name] for name in names} if set(names) <= set(LEVELS) else None
    brief = brief_of(data, list(names), "y", levels=levels, scale=scale, **more)
    fit = model_fit.fit(brief, runs_of(data, list(names), "y", build=build), "y")
    return unrepeated(fit, comparisons.effects(fit)), fit


def test_effects_that_stand_out_are_named_the_largest_first_and_no_verdict_is_given():
    found, fit = told(cube(a=1.0, bc=-0.8))
    rows = unreplicated.effects(fit, seed=fit.brief.seed).table.set_index("term")
    assert found.sentences == (
        f"{NO_VERDICT}. What can be said instead rests on most effects being nil:",
        f"a: {rows.loc['a', 'estimate']:+.3g}, beyond what the largest of all effects reaches by chance (95 %).",
        f"b × c: −{abs(rows.loc['b × c', 'estimate']):.3g}, a difference of differences, beyond what the largest of "
        f"all effects reaches by chance (95 %).",
    )
    assert found.judged
    made = found.to_json()
    assert set(made) == {"effects", "judged_by", "notes", "sentences", "why_not"} and made["why_not"] is None
    assert made["judged_by"][0]["seed"] == fit.brief.seed == 1


def test_nothing_that_stands_out_is_not_called_no_effect():
    found, _ = told(cube(seed=3))
    assert found.sentences[1:] == (
        "none of the 15 effects stands out from the others; that is not 'no effect'.",
    )


def test_an_alias_is_named_with_the_effect():
    data = cube(a=1.0)
    signs = np.prod([np.where(data[name] == "hi", 1, -1) for name in "abcd"], axis=0)
    found, _ = told(data[signs == 1].reset_index(drop=True))
    assert found.sentences[1].endswith("(95 %); the runs cannot tell it from b × c × d.")


def test_ratios_are_told_in_per_cent_and_interactions_as_ratios_of_ratios():
    data = cube(a=1.0, bc=-0.8).assign(y=lambda frame: np.exp(frame["y"]))
    found, _ = told(data, scale="log")
    rows = found.effects.table.set_index("term")
    assert change({**rows.loc["a"].to_dict(), "term": "a"}, found.response) == f"{rows.loc['a', 'change_pct']:+.3g} %"
    assert f"b × c: × {rows.loc['b × c', 'estimate']:.3g}, a ratio of ratios, beyond" in found.sentences[2]


def test_where_effects_cannot_be_judged_by_each_other_either_that_is_said():
    data = pin_by_oil(INVENTED[:4], builds=("B1",)).rename(columns={"elongation_pct": "y"})
    found, _ = told(data, ("pin", "oil"))
    # Three effects are the fewest that can be judged by each other.
    assert found.judged
    three = cube("ab", seed=2).rename(columns={"a": "kind"}).assign(kind=["x", "x", "y", "z"])
    found, _ = told(three, ("kind",), nil=())  # two runs of x: an error is known
    assert found is None
    alone = three.iloc[1:].reset_index(drop=True)
    found, _ = told(alone, ("kind",))
    assert not found.judged and found.effects is None
    assert found.sentences[0] == f"{NO_VERDICT}."
    assert found.sentences[1].startswith("y: effects are judged by each other only where every factor has two levels")


@pytest.mark.parametrize("builds", [("B1", "B2"), ("B1", "B2", "B3")])
def test_with_an_error_there_is_nothing_to_say(builds):
    data = pin_by_oil(INVENTED[: 4 * len(builds)], builds=builds).rename(columns={"elongation_pct": "y"})
    assert told(data, ("pin", "oil"), build="build", block=True)[0] is None


def test_repeats_that_agree_to_the_last_digit_are_no_case_of_it():
    values = [0.1, 0.09, 0.08, 0.07] * 2
    data = pin_by_oil(values, builds=("B1", "B2")).rename(columns={"elongation_pct": "y"})
    assert told(data, ("pin", "oil"), build="build", block=True)[0] is None


def saturated():
    """A planned fraction of seven factors in eight runs, the first of which matters; INVENTED."""
    names = [f"f{at}" for at in range(1, 8)]
    levels = {name: ["lo", "hi"] for name in names}
    empty = pd.DataFrame({name: ["lo", "hi"] for name in names})
    asked = (simple("first", "f1", "hi", "lo"),)
    brief = brief_of(empty, names, "wear_um", levels=levels, scale="log", worthwhile=20.0, comparisons=asked)
    brief = replace(brief, plan=replace(brief.plan, design=FRACTION, runs=8, replicates=1))
    runs = chosen.main(brief).strata.runs.reset_index(drop=True)
    draw = np.random.default_rng(2)
    value = 80.0 * np.exp(-0.5 * (runs["f1"] == "hi") + draw.normal(0.0, 0.04, len(runs)))
    order = range(1, 9)
    runs = runs[names].assign(
        run_id=[f"R{at:02d}" for at in order], phase="main", build_id="B1", planned_order=order, actual_order=order,
        run_time_h=100.0, verdict="valid", reason="", role="", wear_um=value.round(3),
    )  # fmt: skip
    return analysis.analyse(brief, records.from_tables(brief, runs=runs), planned=runs)


def test_a_planned_fraction_without_repeats_names_the_chain_and_claims_nothing():
    found = saturated()
    item = found.responses["wear_um"]
    assert item.verdicts["verdict"].tolist() == ["no error estimate"]
    row = item.unrepeated.effects.table.set_index("term").loc["f1"]
    # By hand: in a saturated 2^(7-4) each main effect is aliased with three products of two.
    chain = row["aliases"].split(" and ")[0].split(" = ")
    assert len(chain) == 3 and all(len(name.split(" × ")) == 2 and "f1" not in name for name in chain)
    assert item.unrepeated.sentences[1] == (
        f"f1: {row['change_pct']:+.3g} %, beyond what the largest of all effects reaches by chance (95 %); the runs "
        f"cannot tell it from {', '.join(chain)} and 12 of more factors."
    ).replace("-", "−")
    text = words.analysed(found)
    assert "without an interval (no error estimate); no verdict is possible." in text
    assert f"  {item.unrepeated.sentences[1]}" in text.splitlines()
    assert "no interval to move" not in text and "Against the worthwhile change" not in text
