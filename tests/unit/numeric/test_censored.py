"""Values below a limit: against scipy's censored fit, an independent maximiser, least squares, and by simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, stats

from toolkit.numeric import censored


def columns(builds=3):
    """A 2x2 in complete blocks, sum coded: mean, pin, oil, both, builds."""
    rows = []
    for build in range(builds):
        for pin in (-1.0, 1.0):
            for oil in (-1.0, 1.0):
                block = [float(build == at) - float(build == builds - 1) for at in range(builds - 1)]
                rows.append([1.0, pin, oil, pin * oil, *block])
    return np.array(rows)


PIN = np.array([0.0, 2.0, 0.0, 0.0, 0.0, 0.0])


def made(seed, effect=0.0, limit=-np.inf, builds=3):
    """Values with an effect of the pin, cut at a limit."""
    x = columns(builds)
    y = x @ np.array([0.0, effect / 2.0, 0.1, 0.0, 0.3, *([-0.2] * (builds - 2))])
    y = y + np.random.default_rng(seed).normal(size=len(x))
    return x, np.maximum(y, limit), y < limit


def likelihood(beta, sigma, x, y, below):
    """The log-likelihood, written out."""
    expected = x @ beta
    return float(
        np.where(below, stats.norm.logcdf((y - expected) / sigma), stats.norm.logpdf(y, expected, sigma)).sum()
    )


def test_one_sample_is_the_fit_of_scipy():
    # scipy.stats.CensoredData with norm.fit: an independent maximiser in a general library.
    draw = np.random.default_rng(3).normal(1.0, 0.8, 40)
    below = draw < 0.5
    data = stats.CensoredData(uncensored=draw[~below], left=np.full(int(below.sum()), 0.5))
    mean, sd = stats.norm.fit(data)
    found = censored.fit(np.ones((40, 1)), np.maximum(draw, 0.5), below)
    assert found.beta[0] == pytest.approx(mean, abs=2e-4)
    assert found.sigma == pytest.approx(sd, abs=2e-4)
    assert found.log_likelihood == pytest.approx(
        likelihood(np.array([mean]), sd, np.ones((40, 1)), np.maximum(draw, 0.5), below), abs=1e-6
    )


def test_one_sample_of_intervals_and_limits_is_the_fit_of_scipy():
    draw = np.random.default_rng(4).normal(1.0, 0.8, 40)
    below, between = draw < 0.5, np.arange(40) % 3 == 0
    upper = np.where(below, 0.5, np.where(between, draw + 0.3, draw))
    lower = np.where(between & ~below, draw - 0.5, np.nan)
    inside = between & ~below
    data = stats.CensoredData(
        uncensored=draw[~below & ~between],
        left=upper[below],
        interval=np.column_stack([lower[inside], upper[inside]]),
    )
    mean, sd = stats.norm.fit(data)
    found = censored.fit(np.ones((40, 1)), upper, below | between, lower)
    assert (found.beta[0], found.sigma) == pytest.approx((mean, sd), abs=2e-4)


def test_intervals_are_the_maximum_of_the_likelihood_written_out_and_narrow_ones_are_values():
    x, y, below = made(7, effect=-1.0, limit=-0.9)
    lower = np.full(12, np.nan)
    lower[[1, 6, 9]] = y[[1, 6, 9]] - np.array([0.8, 0.3, 1.5])
    cut = below | ~np.isnan(lower)

    def written(z):
        expected, sigma = x @ z[:-1], np.exp(z[-1])
        upper = (y - expected) / sigma
        floor = np.where(np.isnan(lower), -np.inf, (lower - expected) / sigma)
        mass = np.log(stats.norm.cdf(upper) - stats.norm.cdf(floor))
        return -float(np.where(cut, mass, stats.norm.logpdf(y, expected, sigma)).sum())

    found = censored.fit(x, y, cut, lower)
    start = np.append(np.linalg.lstsq(x, y, rcond=None)[0], 0.0)
    outside = optimize.minimize(written, start, method="BFGS", options={"gtol": 1e-9})
    assert found.log_likelihood == pytest.approx(-outside.fun, abs=1e-8)
    assert found.beta == pytest.approx(outside.x[:-1], abs=1e-4)
    narrow = np.where(np.isnan(lower), np.nan, y - 1e-7)
    close = censored.limits(x, y, cut, PIN, level=0.95, df=6, at_least=narrow)
    plain = censored.limits(x, y, below, PIN, level=0.95, df=6)
    assert (close.estimate, close.low, close.high) == pytest.approx((plain.estimate, plain.low, plain.high), abs=1e-4)
    own = censored.ratio_p(x, y, cut, PIN, limit=-0.9, df=6, draws=999, seed=3, at_least=narrow)
    assert own == pytest.approx(censored.ratio_p(x, y, below, PIN, limit=-0.9, df=6, draws=999, seed=3), abs=0.06)


def test_several_columns_are_the_maximum_of_the_likelihood_written_out():
    x, y, below = made(5, effect=-1.0, limit=-0.6)
    assert 2 <= below.sum() <= 5
    found = censored.fit(x, y, below)
    outside = optimize.minimize(
        lambda z: -likelihood(z[:-1], np.exp(z[-1]), x, y, below),
        np.append(np.linalg.lstsq(x, y, rcond=None)[0], 0.0),
        method="BFGS",
        options={"gtol": 1e-9},
    )
    assert found.log_likelihood == pytest.approx(-outside.fun, abs=1e-9)
    assert found.beta == pytest.approx(outside.x[:-1], abs=1e-5)
    assert found.sigma == pytest.approx(np.exp(outside.x[-1]), abs=1e-5)
    assert not found.runs_away


def test_without_censoring_it_is_least_squares_and_the_t_interval():
    x, y, below = made(6, effect=0.7)
    found = censored.fit(x, y, below)
    beta = np.linalg.lstsq(x, y, rcond=None)[0]
    rest = y - x @ beta
    assert found.beta == pytest.approx(beta, abs=1e-9)
    assert found.sigma == pytest.approx(np.sqrt(rest @ rest / 12), rel=1e-9)
    made_limits = censored.limits(x, y, below, PIN, level=0.95, df=6)
    half = stats.t.ppf(0.975, 6) * np.sqrt(rest @ rest / 6 * (PIN @ np.linalg.inv(x.T @ x) @ PIN))
    assert made_limits.estimate == pytest.approx(PIN @ beta, abs=1e-9)
    assert made_limits.low == pytest.approx(PIN @ beta - half, abs=1e-8)
    assert made_limits.high == pytest.approx(PIN @ beta + half, abs=1e-8)


def test_the_ends_of_the_interval_are_where_a_second_maximiser_finds_the_cut():
    x, y, below = made(9, effect=-1.0, limit=-0.8)
    found = censored.limits(x, y, below, PIN, level=0.9, df=6)
    whole = censored.fit(x, y, below)
    allowed = 12 * np.log1p(stats.t.ppf(0.95, 6) ** 2 / 6)
    for end in (found.low, found.high):
        others = [0, 2, 3, 4, 5]

        def held(z, end=end, others=others):
            beta = np.zeros(6)
            beta[1], beta[others] = end / 2.0, z[:-1]
            return -likelihood(beta, np.exp(z[-1]), x, y, below)

        outside = optimize.minimize(held, np.append(whole.beta[others], 0.0), method="BFGS", options={"gtol": 1e-8})
        assert 2.0 * (whole.log_likelihood + outside.fun) == pytest.approx(allowed, abs=1e-5)


def test_shift_and_scale_change_the_numbers_as_they_must():
    x, y, below = made(11, effect=-0.5, limit=-0.7)
    plain = censored.limits(x, y, below, PIN, level=0.95, df=6)
    moved = censored.limits(x, 1e3 * y + 5e5, below, PIN, level=0.95, df=6)
    for one, other in ((plain.estimate, moved.estimate), (plain.low, moved.low), (plain.high, moved.high)):
        assert other == pytest.approx(1e3 * one, rel=1e-5)


def test_a_level_that_is_always_below_its_limit_leaves_one_end_open():
    x, y, _ = made(12, effect=-9.0)
    below = x[:, 1] > 0
    y = np.where(below, -3.0, y)
    plain = np.column_stack([x[:, 0], x[:, 1]])
    row = np.array([0.0, 2.0])
    found = censored.limits(plain, y, below, row, level=0.95, df=10)
    assert found.estimate is None and found.low is None
    # The level lies below -3 while the other is about 4.5: a fall of 5 at least, by any reading.
    assert -9.0 < found.high < -5.0
    assert censored.fit(plain, y, below).runs_away


def test_what_cannot_be_fitted_says_so():
    x, y, below = made(1)
    with pytest.raises(ValueError, match=r"^4 of 12 values lie above their limits; 7 are needed at least\.$"):
        censored.fit(x, y, np.arange(12) < 8)
    with pytest.raises(ValueError, match=r"^columns are aliased: take out those that say nothing of their own\.$"):
        censored.fit(np.column_stack([x, x[:, 1]]), y, below)
    with pytest.raises(ValueError, match=r"^columns and values must be finite numbers"):
        censored.fit(x, np.where(below | (np.arange(12) == 3), np.nan, y), below)
    with pytest.raises(ValueError, match=r"^at_least must be one number for each value, below it, or NaN where"):
        censored.fit(x, y, np.arange(12) < 3, np.where(np.arange(12) < 2, y, np.nan))
