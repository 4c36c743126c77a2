"""Several comparisons judged together: joint intervals and p values against published tables and R."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of, simple
from toolkit.brief.model import Comparison, Family
from toolkit.errors import ModelError
from toolkit.model import families
from toolkit.model.comparisons import comparisons
from toolkit.model.fit import fit

Y = "elongation_pct"


def equal(count, correlation):
    """Correlations that are all the same."""
    return np.full((count, count), correlation) + (1 - correlation) * np.eye(count)


def pairs(groups):
    """Correlations of all pairwise differences of equal groups: singular from three groups on."""
    rows = [np.eye(groups)[one] - np.eye(groups)[other] for one in range(groups) for other in range(one)]
    return np.array(rows) @ np.array(rows).T / 2


# C. W. Dunnett, New tables for multiple comparisons with a control, Biometrics 20 (1964) 482-491: two-sided, equal
# groups; from memory, and recomputed with scipy's multivariate t.
DUNNETT = [(2, 10, 0.05, 2.57), (3, 10, 0.05, 2.76), (4, 10, 0.05, 2.89), (9, 10, 0.05, 3.24), (2, 5, 0.01, 4.63)]


@pytest.mark.parametrize("count, df, alpha, printed", DUNNETT)
def test_many_to_one_critical_values_are_dunnetts(count, df, alpha, printed):
    found = families.joint_critical(equal(count, 0.5), df, alpha)
    assert round(found, 2) == printed
    outside = stats.multivariate_t.cdf(np.full(count, found), shape=equal(count, 0.5), df=df,
                                       lower_limit=np.full(count, -found), maxpts=20_000, random_state=1)
    assert outside == pytest.approx(1 - alpha, abs=3e-4)


@pytest.mark.parametrize("groups", [2, 3, 4, 5])
@pytest.mark.parametrize("df", [3, 10])
def test_all_pairs_of_equal_groups_are_the_studentised_range(groups, df):
    # scipy's studentized_range, itself checked against published tables.
    found = families.joint_critical(pairs(groups), df, 0.05)
    assert found == pytest.approx(stats.studentized_range.ppf(0.95, groups, df) / np.sqrt(2), abs=2e-4)
    inside = families.joint_two_sided(2.0, pairs(groups), df)
    assert inside == pytest.approx(stats.studentized_range.cdf(2.0 * np.sqrt(2), groups, df), abs=1e-4)


def test_one_comparison_alone_is_t():
    assert families.joint_critical(np.ones((1, 1)), 6, 0.05) == pytest.approx(2.446911851, rel=1e-9)
    assert families.joint_p([2.446911851], np.ones((1, 1)), 6) == [pytest.approx(0.05, rel=1e-8)]
    # Small p values keep their digits: t = 40 on 6 df.
    assert families.joint_p([40.0], np.ones((1, 1)), 6) == [pytest.approx(2 * stats.t.sf(40.0, 6), rel=1e-8)]


# C. W. Dunnett, JASA 50 (1955) 1096-1121, blood counts (also in the documentation of scipy); R 4.2.2, multcomp
# 1.4-22, mvtnorm 1.1-3: adjusted p 0.620102 and 0.00582537, critical value 2.51362, to 2e-4 and (quasi-Monte Carlo)
# 5e-4.
BLOOD = {"control": (7.4, 8.5, 7.2, 8.24, 9.84, 8.32), "A": (9.76, 8.8, 7.68, 9.36),
         "B": (12.8, 9.68, 12.16, 9.2, 10.55)}


def test_dunnett_1955_blood_counts():
    lines = [(name, value) for name, values in BLOOD.items() for value in values]
    data = pd.DataFrame(lines, columns=["drug", "count"])
    asked = [simple(f"{name} - control", "drug", name, "control", family="drugs") for name in ("A", "B")]
    brief = brief_of(data, ["drug"], "count", comparisons=asked, families=[Family("drugs", adjust="multivariate_t")])
    made = fit(brief, runs_of(data, ["drug"], "count"), "count")
    found = comparisons(made).set_index("comparison")
    for name, estimate, error, p in (("A", 0.65, 0.758431312351723, 0.620101980018454),
                                     ("B", 2.628, 0.711471636039617, 0.00582536084794694)):
        row = found.loc[f"{name} - control"]
        assert row["estimate"] == pytest.approx(estimate, rel=1e-8)
        assert row["std_error"] == pytest.approx(error, rel=1e-8)
        assert row["p_value"] == pytest.approx(p, abs=2e-4)
        assert (row["conf_high"] - row["estimate"]) / error == pytest.approx(2.51362465547607, abs=5e-4)
        assert row["note"] == ("interval and p value count the 2 comparisons of 'drugs' together (multivariate t, "
                               "critical value 2.513)")
        assert (row["family"], row["adjust"]) == ("drugs", "multivariate_t")


def test_holm_is_that_of_r():
    # R 4.2.2 p.adjust(method = "holm") on the pairwise p values of sqrt(InsectSprays).
    raw = {"B-A": 0.652735493147398, "C-A": 1.6374052964647e-14, "C-B": 2.67201452389619e-15,
           "D-A": 3.79734563966564e-08, "D-B": 6.10426960891148e-09, "D-C": 0.000641182078689594,
           "E-A": 1.34032762114872e-10, "E-B": 2.08056693151241e-11, "E-C": 0.0312383399936814,
           "E-D": 0.171177942246921, "F-A": 0.318315396582646, "F-B": 0.58178752475176, "F-C": 2.98145238442143e-16,
           "F-D": 6.34593968778388e-10, "F-E": 2.13238269532443e-12}
    expected = {"B-A": 1.0, "C-B": 3.74082033345466e-14, "D-A": 2.65814194776595e-07, "D-C": 0.00384709247213756,
                "E-C": 0.156191699968407, "E-D": 0.684711768987683, "F-A": 0.954946189747939, "F-B": 1.0,
                "F-C": 4.47217857663215e-15}
    found = dict(zip(raw, families.holm(list(raw.values())), strict=True))
    assert {name: found[name] for name in expected} == {
        name: pytest.approx(value, rel=1e-10) for name, value in expected.items()}


def asked_of(family):
    """The three comparisons of the invented 2x2, one of them the sum of the others."""
    return [simple("coating", "pin", "P1", "P0", family=family), simple("new oil", "oil", "O1", "O0", family=family),
            Comparison("both", of={"pin": "P1", "oil": "O1"}, against={"pin": "P0", "oil": "O0"}, family=family)]


def judged(adjust, **more):
    """The comparisons of the invented 2x2 in builds, judged as a family."""
    data = pin_by_oil(INVENTED)
    brief = brief_of(data, ["pin", "oil"], Y, block="build", comparisons=asked_of("may we switch"),
                     families=[Family("may we switch", adjust=adjust)], **more)
    return comparisons(fit(brief, runs_of(data, ["pin", "oil"], Y, build="build"), Y)).set_index("comparison")


def test_holm_widens_to_bonferroni_and_says_so():
    alone, found = judged("none"), judged("holm")
    for name in found.index:
        row = found.loc[name]
        critical = stats.t.ppf(1 - 0.05 / 6, 6)
        assert row["conf_high"] - row["estimate"] == pytest.approx(critical * row["std_error"], rel=1e-9)
        assert row["note"] == ("p value by Holm over the 3 comparisons of 'may we switch'; interval at 1 - 0.05/3 each "
                               "(Bonferroni), so that all 3 hold together; the verdict rests on the interval, which "
                               "can include no change where Holm's p does not")
        assert row["conf_level"] == pytest.approx(1 - 0.05 / 3)
    assert list(found["p_value"]) == pytest.approx(families.holm(list(alone["p_value"])), rel=1e-12)


def test_a_comparison_that_is_the_sum_of_two_others_is_no_obstacle():
    alone, found = judged("none"), judged("multivariate_t")
    # Correlations by hand: main effects independent, 'both' is their sum over root two; by scipy's quasi-random rule.
    correlation = np.array([[1, 0, np.sqrt(0.5)], [0, 1, np.sqrt(0.5)], [np.sqrt(0.5), np.sqrt(0.5), 1]])
    row = found.loc["coating"]
    critical = (row["conf_high"] - row["estimate"]) / row["std_error"]
    draws = np.random.default_rng(1).standard_normal((400_000, 2))
    scale = np.sqrt(np.random.default_rng(2).chisquare(6, 400_000) / 6)
    largest = np.abs(np.column_stack([draws, draws.sum(axis=1) * np.sqrt(0.5)])).max(axis=1) / scale
    # Binomial standard error of the simulation: sqrt(0.05 * 0.95 / 400 000) = 0.00034.
    assert (largest > critical).mean() == pytest.approx(0.05, abs=3.24 * 0.00034)
    assert families.joint_critical(correlation, 6, 0.05) == pytest.approx(critical, rel=1e-6)
    assert (found["p_value"].astype(float) >= alone["p_value"].astype(float)).all()
    assert (found["p_value"].astype(float) <= 3 * alone["p_value"].astype(float)).all()


def test_joint_intervals_across_strata_are_refused():
    draw = np.random.default_rng(3)
    lines = [(f"B{at}", f"P{at % 2}", oil) for at in range(4) for oil in ("O0", "O1")]
    data = pd.DataFrame(lines, columns=["build", "pin", "oil"]).assign(y=draw.normal(size=8))
    runs = runs_of(data, ["pin", "oil"], "y", build="build")
    text = (
        "family 'all', adjust = multivariate_t: its comparisons are judged in different strata (coating: build; new "
        "oil: run; both: build and run); expected comparisons of one stratum, which share one error mean square. "
        'Write adjust = "holm", which needs no common error, or make one family a stratum.')
    brief = brief_of(data, ["pin", "oil"], "y", build_level=["pin"], comparisons=asked_of("all"),
                     families=[Family("all", adjust="multivariate_t")])
    with pytest.raises(ModelError) as refused:
        comparisons(fit(brief, runs, "y"))
    assert str(refused.value) == text
    assert [str(fault) for fault in families.refusals(brief, fit(brief, runs, "y").strata)] == [text]
    by_holm = brief_of(data, ["pin", "oil"], "y", build_level=["pin"], comparisons=asked_of("all"),
                       families=[Family("all", adjust="holm")])
    assert list(comparisons(fit(by_holm, runs, "y"))["adjust"]) == ["holm"] * 3
