"""Tests of fixed effects: against formulas on all rows, at the boundary, and how often they raise a false alarm."""

import numpy as np
import pytest
from scipy import stats

from tests.unit.numeric import mixed_by_rows as by_rows
from tests.unit.numeric.test_reml import BATCHES, BUILD, KEPT, OIL, WHOLE_PLOTS, layouts
from toolkit.errors import ModelError
from toolkit.numeric import kenward_roger, mixed_layout, reml, satterthwaite

RUNS = 2000
# Where a test of level 5 % may land in 2,000 campaigns: 3.24 binomial standard errors either way.
NOISE = 3.24 * np.sqrt(0.05 * 0.95 / RUNS)


@pytest.mark.parametrize(("name", "columns", "groups"), layouts(), ids=[name for name, _, _ in layouts()])
def test_formulas_on_all_rows(name: str, columns: np.ndarray, groups: dict[str, list]) -> None:
    """Widened covariance, df and factor against Kenward and Roger's equations on rows by rows matrices."""
    laid, parts = mixed_layout.layout_of(columns, groups), by_rows.sources(list(groups.values()))
    rng = np.random.default_rng(11)
    p = columns.shape[1]
    for zero in (False, True):
        variances = rng.exponential(size=len(parts)) + 0.2
        variances[0] *= not zero
        known = kenward_roger.adjusted(laid, variances)
        for rows in (np.eye(p)[1:], rng.normal(size=(1, p)), rng.normal(size=(2, p))):
            cov, df, factor = by_rows.kenward_roger(columns, parts, variances, rows)
            beta = rng.normal(size=p)
            found = kenward_roger.f_test(known, beta, rows)
            assert known.covariance == pytest.approx(cov, rel=1e-8)
            assert float(found.den_df) == pytest.approx(df, rel=1e-7)
            assert float(found.scale) == pytest.approx(factor, rel=1e-7)
            plain = beta @ rows.T @ np.linalg.inv(rows @ cov @ rows.T) @ rows @ beta / len(rows)
            assert float(found.f) == pytest.approx(plain * factor, rel=1e-7)
            assert float(found.p_value) == pytest.approx(stats.f.sf(plain * factor, len(rows), df), rel=1e-6)
            single = kenward_roger.contrasts(known, beta, rows[:1])
            _, df, factor = by_rows.kenward_roger(columns, parts, variances, rows[:1])
            assert float(single.df[0]) == pytest.approx(df, rel=1e-7)
            assert factor == pytest.approx(1.0, rel=1e-7)
            expected = 2 * stats.t.sf(abs(float(single.t[0])), df)
            assert float(single.p_value[0]) == pytest.approx(expected, rel=1e-7)


def test_kenward_roger_does_not_mind_how_contrasts_are_written() -> None:
    """Two oils against the first, or any other two rows of the same plane: one answer; Satterthwaite's moves."""
    laid = mixed_layout.layout_of(WHOLE_PLOTS[KEPT], {"build": BUILD[KEPT].tolist()})
    rng = np.random.default_rng(17)
    y = rng.normal(size=8)[BUILD[KEPT]] + rng.normal(size=19)
    made = reml.fit(laid, y)
    known, other = kenward_roger.adjusted(laid, made.variances), satterthwaite.approximate(made)
    rows, turned = np.eye(4)[2:], np.array([[1.0, 1.0], [5.0, -1.0]]) @ np.eye(4)[2:]
    one, two = (kenward_roger.f_test(known, made.beta, asked) for asked in (rows, turned))
    assert float(two.f) == pytest.approx(float(one.f), rel=1e-10)
    assert float(two.den_df) == pytest.approx(float(one.den_df), rel=1e-10)
    first, second = (satterthwaite.f_test(other, made.beta, asked) for asked in (rows, turned))
    assert float(second.f) == pytest.approx(float(first.f), rel=1e-10)
    assert float(second.den_df) != pytest.approx(float(first.den_df), rel=1e-7)
    assert float(second.den_df) == pytest.approx(float(first.den_df), rel=0.01)


def test_satterthwaites_joint_df() -> None:
    """Equal df stay; unequal ones by Fai and Cornelius' formula worked by hand; 2 where one of them is below 2."""
    build, oil = np.repeat(np.arange(3), 4), np.tile(np.arange(2), 6)
    columns = np.column_stack([np.ones(12), np.array([1.0, 2.0, 4.0])[build], oil])
    laid = mixed_layout.layout_of(columns, {"build": build.tolist()})
    y = np.random.default_rng(8).normal(size=12) + 3.0 * np.random.default_rng(3).normal(size=3)[build]
    made = reml.fit(laid, y)
    known = satterthwaite.approximate(made)
    each = satterthwaite.contrasts(known, made.beta, np.eye(3)[1:]).df
    assert each == pytest.approx([1.0, 8.0], rel=1e-6)
    assert float(satterthwaite.f_test(known, made.beta, np.eye(3)[1:]).den_df) == 2.0
    laid = mixed_layout.layout_of(WHOLE_PLOTS, {"build": BUILD.tolist()})
    y = np.random.default_rng(5).normal(size=24) + 3.0 * np.random.default_rng(6).normal(size=8)[BUILD]
    made = reml.fit(laid, y)
    known = satterthwaite.approximate(made)
    assert float(satterthwaite.f_test(known, made.beta, np.eye(4)[2:]).den_df) == pytest.approx(14.0, rel=1e-7)
    # Coating with 6 df, an oil with 14: E = 6/4 + 14/12, df = 2 E / (E - 2).
    summed = 6 / 4 + 14 / 12
    found = satterthwaite.f_test(known, made.beta, np.eye(4)[1:3])
    assert float(found.den_df) == pytest.approx(2 * summed / (summed - 2), rel=1e-6)


def test_df_where_no_scatter_is_found_between_batches() -> None:
    """Box and Tiao's batches: pbkrtest keeps 5 df for the mean, lmerTest goes up to 29 (both seen with R 4.2.2)."""
    laid = mixed_layout.layout_of(np.ones((30, 1)), {"batch": np.repeat(np.arange(6), 5).tolist()})
    made = reml.fit(laid, BATCHES.ravel())
    assert made.variances[0] == 0.0
    kept = kenward_roger.contrasts(kenward_roger.adjusted(laid, made.variances), made.beta, [[1.0]])
    assert float(kept.df[0]) == pytest.approx(5.0, rel=1e-9)
    dropped = satterthwaite.contrasts(satterthwaite.approximate(made), made.beta, [[1.0]])
    assert float(dropped.df[0]) == pytest.approx(29.0, rel=1e-9)
    assert float(dropped.p_value[0]) < float(kept.p_value[0])


@pytest.mark.parametrize("between", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("rows", [np.arange(24), KEPT], ids=["all runs", "five runs lost"])
def test_false_alarms(between: float, rows: np.ndarray) -> None:
    """Campaigns without any effect: never above 5.5 %; below 5 % where there is little between builds."""
    laid = mixed_layout.layout_of(WHOLE_PLOTS[rows], {"build": BUILD[rows].tolist()})
    rng = np.random.default_rng(int(10 * between) + len(rows))
    y = between * rng.normal(size=(RUNS, 8))[:, BUILD[rows]] + rng.normal(size=(RUNS, len(rows)))
    made = reml.fit_many(laid, y)
    known = kenward_roger.adjusted(laid, made.variances)
    coating = kenward_roger.contrasts(known, made.beta, [[0.0, 1.0, 0.0, 0.0]]).p_value[:, 0]
    oil = kenward_roger.f_test(known, made.beta, np.eye(4)[2:]).p_value
    same = kenward_roger.f_test(known, made.beta, [[0.0, 1.0, 0.0, 0.0]]).p_value
    assert same == pytest.approx(coating, rel=1e-9)
    assert np.isfinite(coating).all()
    assert np.isfinite(oil).all()
    for alarms in (np.mean(coating < 0.05), np.mean(oil < 0.05)):
        assert alarms <= 0.055 + NOISE
    assert np.mean(oil < 0.05) >= 0.05 - NOISE - 0.01
    if between == 0.3:
        # pbkrtest 0.5.2 on 2,600 such campaigns: 2.5 % with all runs, 2.0 % with 19 of 24 left.
        theirs = 0.025 if len(rows) == 24 else 0.020
        allowed = 3.24 * np.sqrt(theirs * (1 - theirs) * (1 / RUNS + 1 / 2600))
        assert abs(np.mean(coating < 0.05) - theirs) <= allowed
    if between == 1.0:
        assert np.mean(coating < 0.05) >= 0.05 - NOISE - 0.01
        # What a z test on the plain standard error would do instead.
        plain = made.beta[:, 1] / np.sqrt(made.covariance[:, 1, 1])
        assert np.mean(np.abs(plain) > 1.96) > 0.08


def test_two_df_between_builds() -> None:
    """Three coatings on five builds: F has no mean with 2 df, and still is the F of the build means."""
    build = np.repeat(np.arange(5), 4)
    coating = np.array([0, 0, 1, 1, 2])[build]
    columns = np.column_stack([np.ones(20), coating == 1, coating == 2]).astype(float)
    laid = mixed_layout.layout_of(columns, {"build": build.tolist()})
    y = np.random.default_rng(1).normal(size=20) + 2.0 * np.random.default_rng(2).normal(size=5)[build]
    made = reml.fit(laid, y)
    assert made.variances[0] > 0.0
    found = kenward_roger.f_test(kenward_roger.adjusted(laid, made.variances), made.beta, np.eye(3)[1:])
    means = y.reshape(5, 4).mean(axis=1)
    expected = stats.f_oneway(means[:2], means[2:4], means[4:])
    assert float(found.den_df) == pytest.approx(2.0, rel=1e-7)
    assert float(found.scale) == 1.0
    assert float(found.f) == pytest.approx(float(expected.statistic), rel=1e-7)
    assert float(found.p_value) == pytest.approx(float(expected.pvalue), rel=1e-7)


def test_too_few_df_for_a_match() -> None:
    """Seven contrasts, one df between four builds: F is kept plain, its df are those of the weakest contrast."""
    rng = np.random.default_rng(2)
    build = np.array([0, 0, 0, 1, 1, 1, 2, 2, 2, 3, 3, 3])
    columns = np.column_stack([np.ones(12), rng.normal(size=(4, 2))[build], rng.normal(size=(12, 5))])
    laid = mixed_layout.layout_of(columns, {"build": build.tolist()})
    parts, rows, beta = by_rows.sources([build.tolist()]), np.eye(8)[1:], np.arange(8.0)
    _, df, factor = by_rows.kenward_roger(columns, parts, [0.5, 1.0], rows)
    assert df < 0.0 or factor < 0.0
    known = kenward_roger.adjusted(laid, [0.5, 1.0])
    found = kenward_roger.f_test(known, beta, rows)
    each = np.linalg.eigh(rows @ known.plain @ rows.T)[1].T @ rows
    weakest = min(by_rows.kenward_roger(columns, parts, [0.5, 1.0], row[None, :])[1] for row in each)
    assert float(found.den_df) == pytest.approx(weakest, rel=1e-6)
    assert float(found.scale) == 1.0
    plain = beta @ rows.T @ np.linalg.solve(rows @ known.covariance @ rows.T, rows @ beta) / 7
    assert float(found.f) == pytest.approx(plain, rel=1e-9)


def test_contrasts_that_cannot_be_tested() -> None:
    """Wrong lengths, nought, rows of one plane, variances out of range: each in words."""
    laid = mixed_layout.layout_of(WHOLE_PLOTS, {"build": BUILD.tolist()})
    known = kenward_roger.adjusted(laid, [1.0, 1.0])
    beta = np.zeros(4)
    headline = "The contrasts cannot be tested.\n  contrasts: "
    cases = [
        ([[1.0, 0.0]], "an array of shape (1, 2) was given; expected one row a contrast, 4 coefficients in each."),
        (np.zeros((2, 4)), "row 1 is nought throughout; expected at least one coefficient that is not 0."),
        (np.zeros((0, 4)), "none was given; expected at least one coefficient that is not 0."),
        (np.full((1, 4), np.nan), "a missing value (and 3 more) was given; expected a finite number."),
    ]
    for rows, fault in cases:
        for test in (kenward_roger.contrasts, kenward_roger.f_test):
            with pytest.raises(ModelError) as told:
                test(known, beta, rows)
            assert str(told.value) == headline + fault
    with pytest.raises(ModelError) as told:
        kenward_roger.f_test(known, beta, [[0.0, 1.0, 0.0, 0.0], [0.0, 2.0, 0.0, 0.0]])
    assert str(told.value) == headline + "2 rows of rank 1; expected rows that each say something of their own."
    for variances, fault in [
        ([1.0], "variances: an array of shape (1,) was given; expected 2 in the last axis, one a source of scatter."),
        ([-1.0, 1.0], "variances: -1 was given; expected 0 or a number above 0."),
        ([1.0, 0.0], "residual variance: 0 was given; expected a number above 0."),
    ]:
        with pytest.raises(ModelError) as told:
            kenward_roger.adjusted(laid, variances)
        assert str(told.value) == f"The covariance cannot be worked out.\n  {fault}"


def test_a_plan_is_judged_before_any_data() -> None:
    """At planning variances the covariance and df of a split-plot are the textbook's, without a response."""
    laid = mixed_layout.layout_of(WHOLE_PLOTS, {"build": BUILD.tolist()})
    known = kenward_roger.adjusted(laid, [[0.5, 1.0], [2.0, 1.0]])
    found = kenward_roger.contrasts(known, np.zeros(4), np.eye(4)[1:])
    # Coating: 2 (s2 + 3 sb2) / 12 with 6 df; oils: 2 s2 / 8 with 14 df.
    assert found.std_error[:, 0] == pytest.approx(np.sqrt([2 * 2.5 / 12, 2 * 7.0 / 12]), rel=1e-10)
    assert found.std_error[:, 1:] == pytest.approx(np.full((2, 2), np.sqrt(2 / 8)), rel=1e-10)
    assert found.df == pytest.approx(np.array([[6, 14, 14]] * 2), rel=1e-9)
    assert OIL.tolist() == [0, 1, 2] * 8
