"""Means of some factors' levels, free contrasts, and what is said of levels that do not exist."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of
from toolkit.errors import ModelError
from toolkit.model import means
from toolkit.model.comparisons import comparisons, effects
from toolkit.model.comparisons import means as every_mean
from toolkit.model.fit import fit

Y = "elongation_pct"
DATA = pin_by_oil(INVENTED)


def made(scale="linear", data=DATA, **more):
    """The fit of the invented 2x2 in three builds."""
    return fit(brief_of(data, ["pin", "oil"], Y, block="build", scale=scale, **more),
               runs_of(data, ["pin", "oil"], Y, build="build"), Y)


def three():
    """A 3 x 2 x 2 of two replicates, one combination run three times; INVENTED."""
    draw = np.random.default_rng(2)
    lines = [(a, b, c) for _ in range(2) for a in ("a0", "a1", "a2") for b in ("b0", "b1") for c in ("c0", "c1")]
    lines += [("a0", "b0", "c0")]
    data = pd.DataFrame(lines, columns=["a", "b", "c"]).assign(y=draw.normal(10.0, 1.0, size=len(lines)))
    return data, fit(brief_of(data, ["a", "b", "c"], "y"), runs_of(data, ["a", "b", "c"], "y"), "y")


def test_means_of_two_of_three_factors_are_means_of_combination_means():
    data, found = three()
    cells = data.groupby(["a", "b", "c"])["y"].mean()
    table = means.of(found, ["a", "b"]).set_index("contrast")
    error, df = found.mean_squares["run"]
    counts = data.groupby(["a", "b", "c"])["y"].size()
    for a in ("a0", "a1", "a2"):
        for b in ("b0", "b1"):
            row = table.loc[f"a {a}, b {b}"]
            assert row["estimate"] == pytest.approx(cells[a, b].mean(), rel=1e-12)
            std_error = math.sqrt(error * (1.0 / counts[a, b]).sum() / 4)
            assert row["std_error"] == pytest.approx(std_error, rel=1e-12)
            assert row["conf_high"] == pytest.approx(cells[a, b].mean() + stats.t.ppf(0.975, df) * std_error)
            assert (row["levels"], row["term"], row["df"]) == ({"a": a, "b": b}, "a × b", 13.0)
            assert row["runs"] == counts[a, b].sum()
    assert len(table) == 6


def test_factors_can_be_held_and_the_order_is_that_of_the_brief():
    data, found = three()
    cells = data.groupby(["a", "b", "c"])["y"].mean()
    table = means.of(found, ["b", "a"], at={"c": "c1"})
    assert list(table["contrast"])[:2] == ["a a0, b b0, c c1", "a a0, b b1, c c1"]
    assert table["estimate"][3] == pytest.approx(cells["a1", "b1", "c1"], rel=1e-12)
    held = means.of(found, ["a"], at={"c": "c1"}).set_index("contrast")
    assert held.loc["a a2, c c1", "estimate"] == pytest.approx(cells["a2"][:, "c1"].mean(), rel=1e-12)


def test_it_is_the_table_of_all_means_that_the_report_shows():
    found = made("log")
    both = every_mean(found)
    for names, rows in ((["pin"], both[:2]), (["oil"], both[2:4]), (["pin", "oil"], both[4:])):
        assert means.of(found, names).to_dict("records") == rows.to_dict("records")


def test_a_comparison_written_as_weights_is_that_comparison():
    for scale in ("linear", "log"):
        found = made(scale)
        free = means.contrast(found, [({"pin": "P1"}, 1.0), ({"pin": "P0"}, -1.0)], name="coating").iloc[0]
        main = effects(found).iloc[0]
        for name in ("estimate", "std_error", "df", "conf_low", "conf_high", "p_value", "measured_in", "change_pct"):
            assert free[name] == main[name] or free[name] == pytest.approx(main[name], rel=1e-12)
        assert (free["comparison"], free["term"], free["planned"], free["note"]) == ("coating", None, False, "")


def test_one_against_the_mean_of_two_and_doubled_weights():
    found = made("log")
    old = [({"pin": "P0", "oil": oil}, -0.5) for oil in ("O0", "O1")]
    weights = [({"pin": "P1", "oil": "O1"}, 1.0), *old]
    ln = np.log(np.array(INVENTED)).reshape(3, 4).mean(axis=0)
    row = means.contrast(found, weights, name="new").iloc[0]
    assert row["estimate"] == pytest.approx(math.exp(ln[3] - (ln[0] + ln[1]) / 2), rel=1e-12)
    assert row["contrast"] == "+1 × (pin P1, oil O1) -0.5 × (pin P0, oil O0) -0.5 × (pin P0, oil O1)"
    double = means.contrast(found, [(levels, 2 * weight) for levels, weight in weights], name="new").iloc[0]
    assert double["estimate"] == pytest.approx(row["estimate"] ** 2, rel=1e-12)
    assert double["note"] == "the positive weights add to 2: a ratio of products, not of two medians"
    assert double["p_value"] == pytest.approx(row["p_value"], rel=1e-9)


def test_every_fault_is_named_at_once():
    found = made()
    with pytest.raises(ModelError) as refused:
        means.of(found, ["pinn", "oil", "oil"], at={"oil": "O3"})
    assert str(refused.value) == (
        "The means cannot be worked out.\n"
        "  factor 'pinn': there is no such factor; expected 'pin' or 'oil'. Did you mean 'pin'?\n"
        "  factor 'oil': 'O3' is not one of its levels; expected 'O0' or 'O1'.\n"
        "  factor 'oil': it is named twice; expected each factor once."
    )
    with pytest.raises(ModelError) as refused:
        means.of(found, [])
    assert str(refused.value) == (
        "The means cannot be worked out.\n  factors: none was given; expected 'pin' or 'oil'."
    )
    with pytest.raises(ModelError) as refused:
        means.contrast(found, [({"pin": "P1"}, 1.0), ({"pin": "P9"}, -0.5)], name="odd")
    assert str(refused.value) == (
        "The contrast cannot be made.\n"
        "  factor 'pin': 'P9' is not one of its levels; expected 'P0' or 'P1'.\n"
        "  odd: the weights 1, -0.5 add to 0.5; expected weights, not all of them nought, that add to nought."
    )
    with pytest.raises(ModelError, match="odd: no levels were given; expected two sets of levels or more"):
        means.contrast(found, [], name="odd")


def test_a_mean_that_cannot_be_estimated_names_the_run():
    data = DATA[~((DATA["pin"] == "P1") & (DATA["oil"] == "O1"))].reset_index(drop=True)
    table = means.of(made(data=data, comparisons=()), ["pin"])
    assert table["note"][1] == (
        "not estimable: no run of pin P1, oil O1. One run of pin P1, oil O1 would make it estimable."
    )
    assert table["estimate"][0] is not None and table["estimate"][1] is None
    assert len(comparisons(made(data=data))) == 0


def test_a_mean_in_builds_that_share_nothing_names_the_run_that_ties_them():
    lines = [(pin, oil, build) for _ in range(2) for pin, build in (("P0", "B1"), ("P1", "B2")) for oil in ("O0", "O1")]
    data = pd.DataFrame(lines, columns=["pin", "oil", "build"]).assign(**{Y: [1.0, 2.0, 3.0, 5.0, 1.1, 2.1, 3.2, 5.3]})
    found = made(data=data)
    text = (
        "not estimable: its builds share no combination with the others, so the mean cannot be told from the "
        "difference between builds. Run a combination of the other builds too within the same build: one run of pin "
        "P1, oil O0 in build B1 would do."
    )
    assert list(means.of(found, ["pin"])["note"]) == [text, text]
    assert list(means.of(found, ["oil"])["estimate"]) == pytest.approx([2.075, 3.6])
    tied = pd.concat([data, pd.DataFrame([("P1", "O0", "B1", 2.9)], columns=["pin", "oil", "build", Y])])
    assert list(means.of(made(data=tied), ["pin"])["note"]) == ["mean", "mean"]
