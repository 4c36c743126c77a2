"""Charts of reference runs: alarms as often as they say, against simulation, scipy's t and the normal law."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from toolkit.errors import ModelError
from toolkit.numeric import reference_chart as chart

RUNS = 20_000


def bounds(share, count):
    """3.24 binomial standard errors on both sides."""
    return pytest.approx(share, abs=3.24 * math.sqrt(share * (1 - share) / count))


def test_every_point_alarms_as_often_as_it_says_whatever_the_scatter():
    draws = np.random.default_rng(12).normal(7.0, 3.0, (RUNS, 14))
    found = chart.self_starting(draws, conf_level=0.95)
    for at in range(2, 14):
        assert found.outside[:, at].mean() == bounds(0.05, RUNS), at
        assert found.smoothed_outside[:, at].mean() == bounds(0.05, RUNS), at
        assert (np.abs(found.surprise[:, at]) > 1.959964).mean() == bounds(0.05, RUNS), at
    # Points are judged independently: 0.95 ** 12 of the charts never alarm.
    assert (~found.outside.any(axis=1)).mean() == bounds(0.95**12, RUNS)
    assert not found.outside[:, :2].any()


@pytest.mark.parametrize(("df", "share"), [(2, 0.19), (3, 0.14), (6, 0.10)])
def test_plain_limits_cry_wolf(df, share):
    # A scatter of so many df taken for known: the chance that a t exceeds the normal limit of 5 %.
    assert 2 * stats.t.sf(1.959964, df) == pytest.approx(share, abs=0.006)
    draws = np.random.default_rng(5).normal(0.0, 1.0, (RUNS, df + 2))
    sd = draws[:, :-1].std(axis=1, ddof=1)
    assert (np.abs(draws[:, -1]) > 1.959964 * sd).mean() == bounds(2 * stats.t.sf(1.959964, df), RUNS)


def test_limits_are_those_of_the_next_value_by_t():
    values = np.array([4.1, 3.8, 4.4, 4.0, 4.9])
    found = chart.self_starting(values, conf_level=0.95)
    past = values[:4]
    reach = stats.t.ppf(0.975, 3) * past.std(ddof=1) * math.sqrt(1 + 1 / 4)
    assert (found.low[4], found.high[4]) == pytest.approx((past.mean() - reach, past.mean() + reach), rel=1e-12)
    t = (4.9 - past.mean()) / (past.std(ddof=1) * math.sqrt(1.25))
    assert found.score[4] == pytest.approx(stats.norm.isf(stats.t.sf(t, 3)), rel=1e-9)
    assert np.isnan(found.score[:2]).all() and np.isnan(found.low[:2]).all()


def test_a_step_shows():
    draws = np.random.default_rng(2).normal(0.0, 1.0, (4000, 20))
    draws[:, 12:] += 2.0
    found = chart.self_starting(draws, conf_level=0.9973)
    # Within eight points after a step of two SDs the smoothed mean alarms in half of the charts, single points in one
    # of eight: a start of a dozen points tells no more.
    smoothed, single = (part[:, 12:].any(axis=1).mean() for part in (found.smoothed_outside, found.outside))
    assert 0.60 > smoothed > 0.50 and 0.16 > single > 0.10


def test_limits_of_a_smoothed_mean_in_control():
    # SD sqrt(0.2 / 1.8) = 0.333: three SDs are 1.00, 95 % are 0.653; a prediction error has SD 1.0541, so that 1.351,
    # 1.734 and 2.066 are the two-sided 80, 90 and 95 % limits.
    steady = chart.ewma(np.zeros(60), 0.0, 1.0).steady
    assert steady == pytest.approx((-1.0, 1.0), rel=1e-12)
    assert chart.ewma(np.zeros(60), 0.0, 1.0, width=1.959964).high[-1] == pytest.approx(0.653, abs=5e-4)
    error = math.sqrt(1.0 + 0.2 / 1.8)
    assert error == pytest.approx(1.0541, abs=5e-5)
    for level, limit in ((0.80, 1.351), (0.90, 1.734), (0.95, 2.066)):
        assert stats.norm.ppf(0.5 * (1 + level)) * error == pytest.approx(limit, abs=6e-4)


@pytest.mark.parametrize(("factor", "shift"), [(25.4, 0.0), (1.0, 1e6), (-3.0, 5.0)])
def test_another_unit_and_origin_change_no_score(factor, shift):
    values = np.random.default_rng(4).normal(2.0, 0.2, 15)
    one, other = chart.self_starting(values), chart.self_starting(factor * values + shift)
    sign = np.sign(factor)
    assert other.score[2:] == pytest.approx(sign * one.score[2:], rel=1e-6)
    assert other.surprise[2:] == pytest.approx(sign * one.surprise[2:], rel=1e-6)
    edges = sorted([factor * one.low[14] + shift, factor * one.high[14] + shift])
    assert [other.low[14], other.high[14]] == pytest.approx(edges, rel=1e-9)


def test_points_alike_have_no_scatter_to_be_judged_by():
    found = chart.self_starting([3.0, 3.0, 3.0, 3.2])
    assert np.isnan(found.score).all() and not found.outside.any()
    assert found.smoothed[2:].tolist() == [0.0, 0.0]
    assert chart.self_starting([3.0]).mean.shape == (1,)
    assert chart.self_starting([3.0, 4.0]).smoothed.shape == (2,)


def test_what_cannot_be_is_told():
    with pytest.raises(ModelError) as caught:
        chart.self_starting([1.0, math.nan], weight=0.0, conf_level=1.0)
    assert str(caught.value) == (
        "The chart cannot be made.\n"
        "  value: a missing value was given; expected a finite number.\n"
        "  conf_level: 1 was given; expected a share between 0 and 1, both excluded.\n"
        "  weight: 0; expected a number above 0 up to 1."
    )
    with pytest.raises(ModelError, match="values: 1; expected two at least"):
        chart.individuals([1.0])
    with pytest.raises(ModelError, match="sd: 0 was given; expected a number above 0"):
        chart.ewma([1.0], 0.0, 0.0)
