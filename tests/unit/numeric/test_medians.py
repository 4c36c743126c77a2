"""The difference of medians from their logs, and the ratio of means, by drawing and by their definition."""

import numpy as np
import pytest
from scipy import stats

from toolkit.errors import ModelError
from toolkit.numeric import medians

SPREADS = [
    ((np.log(0.08), np.log(0.11)), [[0.004, 0.0], [0.0, 0.004]], 6),
    ((2.0, 2.3), [[0.02, 0.012], [0.012, 0.03]], 3),
    ((0.0, 0.1), [[0.3, -0.1], [-0.1, 0.2]], 12),
]


@pytest.mark.parametrize("logs, covariance, df", SPREADS)
def test_limits_are_the_quantiles_of_drawn_differences(logs, covariance, df):
    draw = np.random.default_rng(3)
    count = 1_000_000
    normal = draw.multivariate_normal([0.0, 0.0], covariance, count)
    x = np.array(logs) + normal / np.sqrt(draw.chisquare(df, count) / df)[:, None]
    apart = np.exp(x[:, 0]) - np.exp(x[:, 1])
    for tail in (0.025, 0.1):
        low, high = medians.difference_limits(logs, covariance, df, tail=tail)
        bound = 3.24 * np.sqrt(tail * (1 - tail) / count)
        assert (apart < low).mean() == pytest.approx(tail, abs=bound)
        assert (apart > high).mean() == pytest.approx(tail, abs=bound)


def test_it_excludes_nought_exactly_where_the_ratio_excludes_one():
    covariance = np.array([[0.01, 0.002], [0.002, 0.008]])
    std_error = np.sqrt(0.01 + 0.008 - 2 * 0.002)
    critical = stats.t.ppf(0.975, 5)
    for apart, outside in ((1.0001, True), (0.9999, False)):
        low, high = medians.difference_limits((1.0 - apart * critical * std_error, 1.0), covariance, 5)
        assert bool(high < 0.0) is outside
        assert low < 0.0


def test_the_interval_covers_the_true_difference():
    # Two medians of 4 runs each, true SD of ln 0.3, pooled on 6 df; 500 campaigns.
    draw = np.random.default_rng(8)
    true = np.log([3.0, 4.0])
    held = 0
    for _ in range(500):
        means = true + draw.normal(0.0, 0.3 / 2, size=2)
        square = 0.09 * draw.chisquare(6) / 6
        low, high = medians.difference_limits(means, np.eye(2) * square / 4, 6)
        held += low <= -1.0 <= high
    assert held / 500 == pytest.approx(0.95, abs=3.24 * np.sqrt(0.95 * 0.05 / 500))


def test_a_scatter_beyond_all_bounds_has_no_limit():
    low, high = medians.difference_limits((0.0, 0.0), [[900.0, 0.0], [0.0, 900.0]], 1)
    assert (low, high) == (-np.inf, np.inf)


def test_ratio_limits_by_their_definition():
    covariance, df = np.array([[0.5, 0.1], [0.1, 0.8]]), 7
    critical = stats.t.ppf(0.95, df)
    low, high = medians.ratio_limits((9.0, 12.0), covariance, df, tail=0.05)
    for ratio in (low, high):
        spread = covariance[0, 0] + ratio**2 * covariance[1, 1] - 2 * ratio * covariance[0, 1]
        assert abs(9.0 - ratio * 12.0) / np.sqrt(spread) == pytest.approx(critical, rel=1e-10)
    assert low < 9 / 12 < high
    assert medians.ratio_limits((9.0, 1.0), covariance, df) is None


def test_what_is_out_of_range_is_told_at_once():
    with pytest.raises(ModelError) as refused:
        medians.difference_limits((1.0, 2.0), [[1.0, 1.0], [1.0, 1.0]], 0.5, tail=0.7)
    assert str(refused.value) == (
        "The difference of the medians cannot be limited.\n"
        "  df: 0.5 was given; expected 1 or more.\n"
        "  tail: 0.7 was given; expected a share between 0 and 0.5.\n"
        "  covariance: it is singular; expected two logs that are not one and the same."
    )
    with pytest.raises(ModelError) as refused:
        medians.ratio_limits((1.0, 2.0), np.eye(2), -1, tail=0.0)
    assert str(refused.value) == (
        "The ratio of the means cannot be limited.\n"
        "  df: -1 was given; expected a number above 0.\n"
        "  tail: 0 was given; expected a share between 0 and 0.5."
    )
