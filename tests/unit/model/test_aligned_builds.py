"""Comparisons that go along with builds which the brief takes as neither units nor blocks: shares by hand, words."""

import numpy as np
import pandas as pd
import pytest

from tests.unit.model.made import brief_of, runs_of, simple
from toolkit.design import questions
from toolkit.model import anova, below_limit
from toolkit.model._aligned_builds import aligned, why_told
from toolkit.model.comparisons import comparisons
from toolkit.model.fit import fit
from toolkit.model.levels import simple_tests
from toolkit.model.randomisation import exact_p

WHERE = "every run with pin P0 was in build B1; every run with pin P1 was in build B2"
WHY = (
    f"cannot be told apart from builds: {WHERE}. So no interval and no test: repeat both sides within one build, or "
    f"declare builds as blocks in the brief and run both sides in each"
)
PINS = ["P0"] * 6 + ["P1"] * 6
# INVENTED numbers.
WEAR = [19.0, 19.3, 18.8, 19.1, 18.9, 19.2, 20.4, 20.7, 20.5, 20.3, 20.8, 20.2]


def fitted(builds, pins=PINS, **more):
    """The fit of twelve completely randomised runs made in these builds."""
    data = pd.DataFrame({"pin": pins, "wear_um": WEAR, "build": list(builds)})
    brief = brief_of(data, ["pin"], "wear_um", levels={"pin": ["P0", "P1"]},
                     comparisons=[simple("pin", "pin", "P1", "P0")], **more)
    return fit(brief, runs_of(data, ["pin"], "wear_um", build="build"), "wear_um")


def of_pin(made):
    """How the comparison lies over the builds."""
    return aligned(made.strata, questions.of_comparison(made.brief, made.brief.comparisons[0], made.strata.terms).row)


def test_a_level_in_one_build_and_the_other_in_another_has_an_estimate_and_no_verdict():
    made = fitted(["B1"] * 6 + ["B2"] * 6)
    row = comparisons(made).iloc[0]
    assert row["estimate"] == pytest.approx(np.mean(WEAR[6:]) - np.mean(WEAR[:6]), rel=1e-12)
    assert [row[name] for name in ("std_error", "df", "conf_low", "conf_high", "p_value")] == [None] * 5
    assert row["note"] == WHY
    line = anova.table(made).set_index("term").loc["pin"]
    assert (line["f"], line["p_value"], line["note"]) == (None, None, WHY)
    exact = exact_p(made).iloc[0]
    assert exact["p_value"] is None
    assert exact["sentence"] == "pin: no exact test: what it compares goes along with builds"
    told = made.findings[made.findings["rule"] == "confounded with builds"]
    assert list(told["found"]) == [f"pin: cannot be told apart from builds: {WHERE}"]


def test_the_test_of_a_factor_at_a_level_of_another_is_withheld_with_its_contrast():
    made = two_factors()
    tests = simple_tests(made, "pin", ["oil"])
    assert len(tests) == 2
    for line in tests.to_dict("records"):
        assert (line["p_value"], line["note"]) == (None, WHY)
    # The oil was changed within each build: judged as ever.
    lines = anova.table(made).set_index("term")
    assert (lines.loc["oil", "note"], lines.loc["oil", "p_value"] is not None) == ("", True)


def two_factors():
    """Pin along with two builds, two oils in each, three runs of each."""
    data = pd.DataFrame({"pin": PINS, "oil": ["O0", "O1"] * 6, "wear_um": WEAR, "build": ["B1"] * 6 + ["B2"] * 6})
    brief = brief_of(data, ["pin", "oil"], "wear_um", levels={"pin": ["P0", "P1"], "oil": ["O0", "O1"]},
                     comparisons=[simple("pin", "pin", "P1", "P0")])
    return fit(brief, runs_of(data, ["pin", "oil"], "wear_um", build="build"), "wear_um")


def test_values_below_a_limit_do_not_bring_the_verdict_back():
    builds = ["B1"] * 6 + ["B2"] * 6
    made = fitted(builds)
    runs = made.runs.assign(wear_um=WEAR, wear_um_below_limit=[at == 2 for at in range(12)])
    row = below_limit.comparisons(made.brief, runs, "wear_um").comparisons.iloc[0]
    assert row["estimate"] is not None
    assert (row["conf_low"], row["conf_high"], row["p_value"], row["note"]) == (None, None, None, WHY)


def test_shares_by_hand():
    # One build a level: 2 builds of weight 1 against 12 runs of 1/6; no build scatter in the error.
    found = of_pin(fitted(["B1"] * 6 + ["B2"] * 6))
    assert (found.apart, found.understated, found.withheld) == (False, np.inf, True)
    # Two builds of three runs a level: 4 (1/2)^2 over 12/36, the error counts 6 of its 10 df.
    found = of_pin(fitted(["B1"] * 3 + ["B3"] * 3 + ["B2"] * 3 + ["B4"] * 3))
    assert (found.apart, found.withheld) == (False, True)
    assert found.understated == pytest.approx(1 / (1 / 3 * 0.6), rel=1e-10)
    # One run of P1 in the build of P0: weight 1 / (1/6 + 1 + 0) against 1/6 + 1/6.
    found = of_pin(fitted(["B1"] * 7 + ["B2"] * 5))
    assert (found.apart, found.withheld, found.told) == (True, False, True)
    assert found.inflation == pytest.approx((1 / 6 + 1) / (1 / 3), rel=1e-10)
    # Sums of weights 5/6 and -5/6; the error counts (6 - (25 + 1) / 6) of its 10 df.
    assert found.understated == pytest.approx(2 * (5 / 6) ** 2 / (1 / 3 * (6 - 26 / 6) / 10), rel=1e-10)
    # Four and two runs in turn: near enough.
    found = of_pin(fitted(["B1"] * 4 + ["B2"] * 2 + ["B1"] * 2 + ["B2"] * 4))
    assert (found.apart, found.told) == (True, False)
    assert found.understated == pytest.approx(2 / 9 / (1 / 3 * 2 * (6 - 20 / 6) / 10), rel=1e-10)


@pytest.mark.parametrize("builds", [
    ["B1"] * 12, ["B1", "B1", "B1", "B2", "B2", "B2"] * 2, [f"B{at}" for at in range(12)],
])
def test_one_build_levels_spread_over_builds_and_a_build_a_run_stay_as_they_are(builds):
    made = fitted(builds)
    plain = comparisons(fitted(["B1"] * 12)).iloc[0]
    row = comparisons(made).iloc[0]
    assert (row["conf_low"], row["p_value"], row["note"]) == (plain["conf_low"], plain["p_value"], "")
    assert exact_p(made).iloc[0]["sentence"] == exact_p(fitted(["B1"] * 12)).iloc[0]["sentence"]
    assert not len(made.findings)
    assert anova.table(made).set_index("term").loc["pin", "p_value"] is not None


def test_a_strong_lean_on_builds_keeps_its_verdict_and_is_told():
    made = fitted(["B1"] * 7 + ["B2"] * 5)
    assert comparisons(made).iloc[0]["conf_low"] is not None
    row = questions.of_comparison(made.brief, made.brief.comparisons[0], made.strata.terms).row
    assert why_told(made.strata, row) == (
        "goes along with builds (every run with pin P0 was in build B1; every run with pin P1 was in builds B1, B2), "
        "and its error counts the scatter between them in part only"
    )
    assert exact_p(made).iloc[0]["p_value"] is None
