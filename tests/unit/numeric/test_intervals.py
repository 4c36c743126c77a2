"""Limits of a scatter and of an estimate."""

import numpy as np
import pytest

from toolkit.numeric import intervals

# Chi-square factors of an SD: 95 % limits and the one-sided 80 % upper factor, as printed in the wear brief
# (computed there from chi-square; the 95 % pairs are those of the usual handbook table).
FACTORS = {
    2: (0.52, 6.28, 2.12),
    3: (0.57, 3.73, 1.73),
    4: (0.60, 2.87, 1.56),
    6: (0.64, 2.20, 1.40),
    8: (0.68, 1.92, 1.32),
    11: (0.71, 1.70, 1.25),
}


@pytest.mark.parametrize("df", FACTORS)
def test_factors_of_an_sd_to_the_printed_digit(df: int) -> None:
    """Two-sided 95 % and one-sided 80 %."""
    low, high = intervals.sd_interval(1.0, df)
    upper = intervals.sd_upper(1.0, df)
    assert tuple(round(float(value), 2) for value in (low, high, upper)) == FACTORS[df]


def test_sd_limits_cover_the_true_sd() -> None:
    """40,000 drawn samples of five: 95 % of the intervals and 80 % of the upper limits hold the truth."""
    rng = np.random.default_rng(30)
    draws = 40_000
    sd = rng.normal(0.0, 0.13, (draws, 5)).std(axis=1, ddof=1)
    low, high = intervals.sd_interval(sd, 4)
    upper = intervals.sd_upper(sd, 4)
    covered, below = float(np.mean((low < 0.13) & (0.13 < high))), float(np.mean(upper > 0.13))
    # Four binomial standard errors: 0.0044 and 0.0080. Each side misses 2.5 %.
    assert abs(covered - 0.95) < 0.0044
    assert abs(float(np.mean(low > 0.13)) - 0.025) < 0.0032
    assert abs(below - 0.80) < 0.0080


def test_known_and_zero_scatter_have_no_width() -> None:
    """Infinite df: the SD itself. An SD of zero stays zero even with a tiny fraction of a df."""
    low, high = intervals.sd_interval([0.13, 0.0, 0.0], [np.inf, 3, 1e-3])
    assert low.tolist() == [0.13, 0.0, 0.0]
    assert high.tolist() == [0.13, 0.0, 0.0]
    assert intervals.sd_upper([0.13, 0.0], [np.inf, 1e-3]).tolist() == [0.13, 0.0]
    assert float(intervals.sd_upper(0.13, 1e-3)) == np.inf


def test_t_interval_of_a_two_by_two_runs_comparison() -> None:
    """At CV 20 %, two runs against two: x/÷ exp(4.303 x 0.198) = 2.3 (t table, 2 df)."""
    sd = float(intervals.sd_of_ln_from_cv(0.20))
    low, high = intervals.t_interval(-0.25, sd, 2)
    assert round(float(np.exp((high - low) / 2)), 1) == 2.3
    assert abs(float(high - low) / 2 - 4.303 * 0.19804) < 2e-4
    assert float(low + high) / 2 == pytest.approx(-0.25, abs=1e-15)


def test_t_interval_covers_the_truth() -> None:
    """40,000 drawn means of four: 90 % hold the truth."""
    rng = np.random.default_rng(31)
    values = rng.normal(0.3, 1.0, (40_000, 4))
    low, high = intervals.t_interval(values.mean(axis=1), values.std(axis=1, ddof=1) / 2.0, 3, conf_level=0.90)
    # Four binomial standard errors: 0.0060.
    assert abs(float(np.mean((low < 0.3) & (0.3 < high))) - 0.90) < 0.0060


def test_t_interval_without_df_is_endless() -> None:
    """No degree of freedom, no limits, even where the standard error came out as zero."""
    low, high = intervals.t_interval([1.0, 2.0], [0.1, 0.0], [0, 0.5])
    assert low.tolist() == [-np.inf, -np.inf]
    assert high.tolist() == [np.inf, np.inf]


def test_cv_and_sd_of_ln_are_exact_for_lognormal_values() -> None:
    """sqrt(ln(1 + CV^2)): 0.30 gives 0.293560379208524 (R 4.2.2); there and back is exact."""
    assert float(intervals.sd_of_ln_from_cv(0.30)) == pytest.approx(0.293560379208524, rel=1e-14)
    cv = np.array([0.0, 1e-9, 0.05, 0.4, 3.0])
    assert np.allclose(intervals.cv_from_sd_of_ln(intervals.sd_of_ln_from_cv(cv)), cv, rtol=1e-12, atol=0)


def test_cv_of_drawn_lognormal_values() -> None:
    """Two million log-normal values with the SD of ln for a CV of 0.25 have a CV of 0.25."""
    rng = np.random.default_rng(32)
    values = np.exp(rng.normal(0.0, float(intervals.sd_of_ln_from_cv(0.25)), 2_000_000))
    assert float(values.std() / values.mean()) == pytest.approx(0.25, abs=6e-4)
