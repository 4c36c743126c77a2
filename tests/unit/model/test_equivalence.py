"""Equivalence and non-inferiority against two one-sided tests of general libraries, and beside the verdict."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of, simple
from toolkit import stamp
from toolkit.brief.model import Comparison
from toolkit.errors import ModelError
from toolkit.model.comparisons import comparisons
from toolkit.model.equivalence import EQUIVALENT, NOT_INFERIOR, equivalence
from toolkit.model.fit import fit

Y = "elongation_pct"
DATA = pin_by_oil(INVENTED)
ASKED = [simple("coating", "pin", "P1", "P0"), simple("new oil", "oil", "O1", "O0"),
         Comparison("needs", interaction=("pin", "oil"))]


def made(scale="log", worthwhile=20.0, data=DATA, **more):
    """The fit of the invented 2x2 in three builds."""
    more = {"block": "build", "comparisons": ASKED} | more
    brief = brief_of(data, ["pin", "oil"], Y, scale=scale, worthwhile=worthwhile, **more)
    return fit(brief, runs_of(data, ["pin", "oil"], Y, build="build"), Y)


def two_groups(better="smaller", worthwhile=0.5):
    """Wear of two finishes in five and six runs; INVENTED."""
    values = {"old": (5.1, 4.7, 5.4, 5.0, 4.9), "new": (5.2, 5.0, 5.5, 4.8, 5.3, 5.1)}
    lines = [(name, value) for name, held in values.items() for value in held]
    data = pd.DataFrame(lines, columns=["finish", "wear_um"])
    brief = brief_of(data, ["finish"], "wear_um", comparisons=[simple("finish", "finish", "new", "old")],
                     better=better, worthwhile=worthwhile)
    return values, fit(brief, runs_of(data, ["finish"], "wear_um"), "wear_um")


def test_two_one_sided_tests_of_statsmodels_and_scipy():
    from statsmodels.stats.weightstats import ttost_ind

    values, found = two_groups()
    p, lower, upper = ttost_ind(values["new"], values["old"], -0.5, 0.5, usevar="pooled")
    same, not_worse = equivalence(found).to_dict("records")
    assert same["p_value"] == pytest.approx(p, rel=1e-9)
    assert same["shown"] is bool(p < 0.05) is True
    one_sided = stats.ttest_ind(np.array(values["new"]) - 0.5, values["old"], alternative="less").pvalue
    assert not_worse["p_value"] == pytest.approx(one_sided, rel=1e-9) == pytest.approx(upper[1], rel=1e-9)
    interval = stats.ttest_ind(values["new"], values["old"]).confidence_interval(0.90)
    for row in (same, not_worse):
        assert (row["conf_low"], row["conf_high"]) == (pytest.approx(interval.low), pytest.approx(interval.high))
        assert row["conf_level"] == pytest.approx(0.90)
    assert (same["limit_low"], same["limit_high"], not_worse["limit_low"], not_worse["limit_high"]) == (
        -0.5, 0.5, None, 0.5)
    assert (same["statement"], not_worse["statement"]) == ("equivalent: shown", "not inferior: shown")
    assert (same["claim"], not_worse["claim"]) == (EQUIVALENT, NOT_INFERIOR)
    # Where larger is better the other side is for the worse.
    values, found = two_groups("larger")
    row = equivalence(found).iloc[1]
    assert row["p_value"] == pytest.approx(lower[1], rel=1e-9)
    assert (row["limit_low"], row["limit_high"]) == (-0.5, None)


@pytest.mark.parametrize("scale, worthwhile", [("log", 12.0), ("log", 25.0), ("linear", 0.02), ("linear", 0.008)])
def test_shown_is_the_interval_within_the_limits(scale, worthwhile):
    found = made(scale, worthwhile)
    for row in equivalence(found).to_dict("records"):
        low = row["limit_low"] is None or row["conf_low"] > row["limit_low"]
        assert row["shown"] is (low and row["conf_high"] < row["limit_high"])
        assert (row["p_value"] < 0.05) is row["shown"]
        if scale == "log":
            assert row["limit_high"] == pytest.approx(1 / (1 - worthwhile / 100), rel=1e-12)
            assert row["limit_low"] is None or row["limit_low"] == pytest.approx(1 - worthwhile / 100, rel=1e-12)
    names = list(equivalence(found)["comparison"])
    assert names == ["coating", "coating", "new oil", "new oil", "needs"]
    plain = comparisons(found)
    assert list(plain["conf_level"]) == [0.95] * 3


def test_which_side_is_the_baseline_does_not_matter():
    turned = [simple("coating", "pin", "P0", "P1"), simple("new oil", "oil", "O0", "O1")]
    for worthwhile in (10.0, 20.0, 40.0):
        one = equivalence(made(worthwhile=worthwhile))
        other = equivalence(made(worthwhile=worthwhile, comparisons=turned))
        one, other = (table[table["claim"] == EQUIVALENT].head(2) for table in (one, other))
        assert list(one["shown"]) == list(other["shown"])
        assert list(one["p_value"]) == pytest.approx(list(other["p_value"]), rel=1e-9)


def test_a_margin_of_its_own():
    table = equivalence(made(), margins={"coating": 40.0})
    assert table["limit_high"][0] == pytest.approx(1 / 0.6) and table["shown"][0] is True
    assert table["limit_high"][2] == pytest.approx(1.25)
    larger = equivalence(made(better="larger"), margins={"coating": 150.0})
    assert (larger["limit_low"][0], larger["limit_high"][0]) == (pytest.approx(0.4), pytest.approx(2.5))
    with pytest.raises(ModelError) as refused:
        equivalence(made(), margins={"coat": 10.0, "coating": 100.0, "needs": -1.0})
    assert str(refused.value) == (
        "Equivalence cannot be judged.\n"
        "  margin of 'coat': there is no such comparison; expected 'coating', 'new oil' or 'needs'. Did you mean "
        "'coating'?\n"
        "  margin of 'coating': 100; expected per cent between 0 and 100.\n"
        "  margin of 'needs': -1; expected per cent between 0 and 100."
    )


def test_what_cannot_be_told_says_why():
    none = equivalence(made(worthwhile=None))
    assert list(none["shown"]) == [None] * 5 and list(none["p_value"]) == [None] * 5
    assert none["note"][0] == "no change that does not matter was stated"
    assert none["statement"][0] == "equivalent: cannot be told"
    data = DATA[~((DATA["pin"] == "P1") & (DATA["oil"] == "O1"))].reset_index(drop=True)
    lost = equivalence(made(data=data))
    assert (lost["estimate"][0], lost["shown"][0]) == (None, None)
    assert lost["note"][0] == (
        "not estimable: no run of pin P1, oil O1. One run of pin P1, oil O1 would make it estimable.")
    assert "NaN" not in stamp.canonical(stamp.records(lost))
