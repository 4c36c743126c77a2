"""Row order, names, units and the reference level leave every conclusion as it is."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.unit.model.made import brief_of, runs_of, simple
from toolkit.brief.model import Comparison, Family
from toolkit.model.anova import both_types, table
from toolkit.model.chances import chances
from toolkit.model.comparisons import comparisons
from toolkit.model.equivalence import equivalence
from toolkit.model.fit import fit
from toolkit.model.levels import pairs, simple_tests
from toolkit.model.means import of
from toolkit.model.polynomials import polynomials
from toolkit.model.presented import presented

A, B = ("a0", "a1", "a2"), ("10", "25", "30")
PLAN = [(a, b) for _ in range(3) for a in A for b in B]
LAYOUTS = st.tuples(st.integers(0, 10_000), st.sets(st.integers(0, len(PLAN) - 1), max_size=7), st.booleans())
CHECKED = settings(max_examples=6, deadline=None, derandomize=True)


def drawn(seed, lost, blocked):
    """A 3 x 3 in three builds or randomised, with effects and noise, some runs lost, and what is asked of it."""
    draw = np.random.default_rng(seed)
    data = pd.DataFrame(PLAN, columns=["finish", "load_N"]).assign(build=[f"B{at // 9}" for at in range(27)])
    effect = draw.normal(0, 0.3, size=9)[[at % 9 for at in range(27)]]
    data["wear_um"] = np.exp(2.0 + effect + draw.normal(0, 0.15, size=27) + 0.2 * (data["build"] == "B1"))
    return data.drop(index=list(lost)).reset_index(drop=True), blocked


def fitted(data, blocked, *, finish=A, load=B, name="finish", scale="log", worthwhile=15.0, asked=None):
    """The fit, with names as given."""
    names = [name, "load_N"]
    family = [Family("both", adjust="multivariate_t")]
    asked = asked or [simple("first", name, finish[1], finish[0], family="both"),
                      simple("second", name, finish[2], finish[0], family="both"),
                      Comparison("alone", of={name: finish[2], "load_N": load[2]},
                                 against={name: finish[0], "load_N": load[0]})]
    brief = brief_of(data, names, "wear_um", levels={name: list(finish), "load_N": list(load)}, numeric=["load_N"],
                     block="build" if blocked else None, scale=scale, worthwhile=worthwhile, comparisons=asked,
                     families=family)
    return fit(brief, runs_of(data, names, "wear_um", build="build"), "wear_um")


def concluded(made, name="finish"):
    """Everything that people act on, as numbers and words."""
    told = {
        "comparisons": comparisons(made)[["estimate", "conf_low", "conf_high", "p_value", "df"]],
        "anova": table(made)[["df", "sum_sq", "f", "p_value"]],
        "types": both_types(made)[["df_1", "p_value_1", "df_2", "p_value_2"]],
        "pairs": pairs(made, name)[["estimate", "conf_low", "p_value"]],
        "within": simple_tests(made, name, ["load_N"])[["df", "f", "p_value"]],
        "means": of(made, [name])[["estimate", "conf_high", "runs"]],
        "shape": polynomials(made, "load_N")[["estimate", "p_value", "sum_sq"]],
        "equivalence": equivalence(made)[["p_value", "shown"]],
        "presented": presented(made)[["ratio_high", "change", "change_low"]],
        "chances": chances(made)[["chance_worthwhile", "chance_gain"]],
    }
    return {key: frame.to_numpy(dtype=object) for key, frame in told.items()}


def assert_same(one, other, rel=1e-6, but=()):
    """Assert that two sets of conclusions are the same, numbers within rounding (quasi-random p values to 1e-4)."""
    for key in one:
        if key in but:
            continue
        assert one[key].shape == other[key].shape
        for first, second in zip(one[key].ravel(), other[key].ravel(), strict=True):
            assert (first is None) == (second is None), key
            if first is not None:
                assert second == pytest.approx(first, rel=rel, abs=1e-7), key


@CHECKED
@given(LAYOUTS)
def test_the_order_of_the_rows(layout):
    data, blocked = drawn(*layout)
    turned = data.sample(frac=1.0, random_state=layout[0]).reset_index(drop=True)
    assert_same(concluded(fitted(data, blocked)), concluded(fitted(turned, blocked)))


@CHECKED
@given(LAYOUTS)
def test_the_names_of_factors_levels_and_builds(layout):
    data, blocked = drawn(*layout)
    names = {"a0": "z 'x' + 1", "a1": "C(q)", "a2": "=1"}
    turned = data.assign(finish=data["finish"].map(names), build=data["build"].map({"B0": "9", "B1": "x", "B2": "A"}))
    turned = turned.rename(columns={"finish": "Q"})
    other = fitted(turned, blocked, finish=tuple(names.values()), name="Q")
    assert_same(concluded(fitted(data, blocked)), concluded(other, "Q"))


@CHECKED
@given(LAYOUTS, st.sampled_from([1e-3, 2.54, 1e6]))
def test_the_unit_of_the_response(layout, unit):
    data, blocked = drawn(*layout)
    turned = data.assign(wear_um=data["wear_um"] * unit)
    # Ratios do not move at all; means and their differences move with the unit.
    one, other = concluded(fitted(data, blocked)), concluded(fitted(turned, blocked))
    assert_same(one, other, but=("means", "presented"))
    for key, columns in (("means", [0, 1]), ("presented", [1, 2])):
        for first, second in zip(one[key][:, columns].ravel(), other[key][:, columns].ravel(), strict=True):
            assert (first is None) == (second is None)
            assert first is None or second / unit == pytest.approx(first, rel=1e-6, abs=1e-7)
    one = concluded(fitted(data, blocked, scale="linear", worthwhile=2.0))
    other = concluded(fitted(turned, blocked, scale="linear", worthwhile=2.0 * unit))
    for key, columns in (("comparisons", [3, 4]), ("anova", [0, 2, 3]), ("pairs", [2]), ("equivalence", [0, 1]),
                         ("chances", [0, 1]), ("presented", [0]), ("shape", [1])):
        for first, second in zip(one[key][:, columns].ravel(), other[key][:, columns].ravel(), strict=True):
            assert (first is None) == (second is None)
            assert first is None or second == pytest.approx(first, rel=1e-6, abs=1e-7)


@CHECKED
@given(LAYOUTS, st.permutations(range(3)))
def test_the_reference_level(layout, order):
    data, blocked = drawn(*layout)
    # The same questions with another first level of the brief.
    asked = [simple("first", "finish", "a1", "a0", family="both"),
             simple("second", "finish", "a2", "a0", family="both"),
             Comparison("alone", of={"finish": "a2", "load_N": "30"}, against={"finish": "a0", "load_N": "10"})]
    one, other = (fitted(data, blocked, finish=tuple(A[at] for at in o), asked=asked) for o in (range(3), order))
    first, second = concluded(one), concluded(other)
    assert_same(first, second, but=("pairs", "means"))
    # Pairs and means come in another order; each is the same, or its mirror image.
    left = {frozenset(row["contrast"].split(", mean")[0].split(" against ")): row
            for row in pairs(one, "finish").to_dict("records")}
    for row in pairs(other, "finish").to_dict("records"):
        match = left[frozenset(row["contrast"].split(", mean")[0].split(" against "))]
        assert (row["p_value"] is None) == (match["p_value"] is None)
        assert row["p_value"] is None or row["p_value"] == pytest.approx(match["p_value"], abs=1e-6)
    means = [of(made, ["finish"]).set_index("contrast")["estimate"].to_dict() for made in (one, other)]
    for name, value in means[0].items():
        assert (value is None) == (means[1][name] is None)
        assert value is None or means[1][name] == pytest.approx(value, rel=1e-9)


@CHECKED
@given(LAYOUTS)
def test_the_unit_of_a_factor(layout):
    data, blocked = drawn(*layout)
    exact = dict(zip(B, ("0.01", "0.025", "0.03"), strict=True))
    one = polynomials(fitted(data, blocked), "load_N")
    turned = data.assign(load_N=data["load_N"].map(exact))
    other = polynomials(fitted(turned, blocked, load=tuple(exact.values())), "load_N")
    for column in ("estimate", "conf_low", "p_value", "sum_sq"):
        for first, second in zip(one[column], other[column], strict=True):
            assert (first is None) == (second is None)
            assert first is None or second == pytest.approx(first, rel=1e-8)
