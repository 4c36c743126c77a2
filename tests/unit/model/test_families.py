"""Several comparisons judged together: joint intervals and p values against published tables and R."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of, simple
from toolkit.brief.model import Comparison, Family
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


def across(values, adjust, builds=4):
    """The fit of a coating changed with the build and an oil changed with the run, judged as one family."""
    lines = [(f"B{at}", f"P{at % 2}", oil) for at in range(builds) for oil in ("O0", "O1")]
    data = pd.DataFrame(lines, columns=["build", "pin", "oil"]).assign(y=values)
    brief = brief_of(data, ["pin", "oil"], "y", build_level=["pin"], comparisons=asked_of("all"),
                     families=[Family("all", adjust=adjust)], nil=[("pin", "oil")])
    return fit(brief, runs_of(data, ["pin", "oil"], "y", build="build"), "y")


def test_a_family_across_strata_takes_the_fewest_df_and_shows_holm_beside():
    made = across(np.random.default_rng(3).normal(size=8), "multivariate_t")
    found, alone = (
        comparisons(across(made.y, adjust)).set_index("comparison") for adjust in ("multivariate_t", "none"))
    # 2 df between 4 builds, 3 df between runs; 'both' is the sum of the other two, which are independent.
    assert [made.mean_squares[name][1] for name in ("build", "run")] == [2, 3]
    spread = [alone.loc[name, "std_error"] for name in ("coating", "new oil", "both")]
    assert spread[2] ** 2 == pytest.approx(spread[0] ** 2 + spread[1] ** 2, rel=1e-12)
    draw = np.random.default_rng(5)
    normal = draw.standard_normal((400_000, 2)) * spread[:2]
    scale = np.sqrt(draw.chisquare(2, 400_000) / 2)
    largest = np.abs(np.column_stack([normal, normal.sum(axis=1)]) / spread).max(axis=1) / scale
    critical = {(row["conf_high"] - row["estimate"]) / row["std_error"] for row in found.to_dict("records")}
    assert max(critical) == pytest.approx(min(critical), rel=1e-12)
    assert (largest > max(critical)).mean() == pytest.approx(0.05, abs=3.24 * 0.00034)
    checks = families.holm(list(alone["p_value"]))
    for name, check in zip(("coating", "new oil", "both"), checks, strict=True):
        row = found.loc[name]
        assert row["df"] == 2.0
        t = abs(row["estimate"] / row["std_error"])
        assert row["p_value"] == pytest.approx((largest > t).mean(), abs=3.24 * 0.0008)
        assert row["note"].endswith(
            f"interval and p value count the 3 comparisons of 'all' together (multivariate t, critical value "
            f"{max(critical):.3f}), at 2 df, the fewest of its strata; by Holm p = {check:.3g}")


@pytest.mark.parametrize("builds, ratio", [(6, 3.0), (4, 1.0), (8, 9.0)])
def test_a_family_across_strata_holds_its_level(builds, ratio):
    # Builds of 2 runs; `ratio`: expected mean square between builds over that within. Three intervals: coating, oil,
    # both; one of them misses in 5 % of campaigns at most, and not in far fewer (the df are as low as they get).
    draw = np.random.default_rng(11)
    upper, lower, count = builds - 2, builds - 1, 100_000
    between = ratio * draw.chisquare(upper, count) / upper
    within = draw.chisquare(lower, count) / lower
    off = np.column_stack([draw.normal(size=count) * np.sqrt(ratio), draw.normal(size=count)])
    share = between / (between + within)
    grid = np.linspace(0.0, 1.0, 41)[1:-1]
    criticals = []
    for one in grid:
        correlation = np.array([[1, 0, np.sqrt(one)], [0, 1, np.sqrt(1 - one)], [np.sqrt(one), np.sqrt(1 - one), 1]])
        criticals.append(families.joint_critical(correlation, upper, 0.05))
    critical = np.interp(share, grid, criticals)
    spread = np.sqrt(np.column_stack([between, within, between + within]))
    missed = (np.abs(np.column_stack([off, off.sum(axis=1)]) / spread) > critical[:, None]).any(axis=1).mean()
    assert 0.02 < missed <= 0.05 + 3.24 * np.sqrt(0.05 * 0.95 / count)


def test_pairs_come_in_one_order_and_their_law_is_exact():
    assert families.pairs_of(3) == [(1, 0), (2, 0), (2, 1)]
    assert families.pairs_of(4) == [(1, 0), (2, 0), (2, 1), (3, 0), (3, 1), (3, 2)]
    for groups, df in ((4, 6), (6, 12)):
        rows = np.array([np.eye(groups)[one] - np.eye(groups)[other] for one, other in families.pairs_of(groups)])
        exact = stats.studentized_range.ppf(0.95, groups, df) / np.sqrt(2)
        assert families.joint_critical(rows @ rows.T / 2, df, 0.05) == pytest.approx(exact, rel=1e-7)
        assert families.range_critical(groups, df, 0.05) == pytest.approx(exact, rel=1e-7)
        found = families.range_p([0.3, -3.1, 8.0], groups, df)
        assert found == pytest.approx([stats.studentized_range.sf(abs(t) * np.sqrt(2), groups, df)
                                       for t in (0.3, 3.1, 8.0)], rel=1e-6)


@pytest.mark.parametrize("correlation", [equal(3, 0.5), np.array([[1, 0.2, 0.6], [0.2, 1, -0.3], [0.6, -0.3, 1]]),
                                         np.array([[1.0, -1.0], [-1.0, 1.0]]), np.eye(2)])
def test_one_side_of_each(correlation):
    draw = np.random.default_rng(7)
    drawn = draw.multivariate_normal(np.zeros(len(correlation)), correlation, 400_000)
    largest = (drawn / np.sqrt(draw.chisquare(5, 400_000) / 5)[:, None]).max(axis=1)
    limit = families.joint_critical(correlation, 5, 0.05, sides=1)
    assert (largest > limit).mean() == pytest.approx(0.05, abs=3.24 * 0.00034)
    for t, found in zip((-0.8, 1.1), families.joint_p([-0.8, 1.1], correlation, 5, sides=1), strict=True):
        assert found == pytest.approx((largest > t).mean(), abs=3.24 * 0.0008)
