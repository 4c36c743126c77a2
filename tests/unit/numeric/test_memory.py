"""The history of scatter: worked histories, known spreads recovered, and what a blend does to errors."""

import numpy as np
import pytest
from scipy import special, stats

from toolkit.numeric import memory

# Two histories worked through the formulas of Smyth (2004) outside this project (INVENTED mean squares).
DF = [4, 6, 3, 6, 4, 5]
SPREAD = np.sqrt([0.004, 0.020, 0.015, 0.052, 0.009, 0.025])
ALIKE = np.sqrt([0.0110, 0.0200, 0.0150, 0.0320, 0.0090, 0.0180])


def test_history_with_spread() -> None:
    """Mean e -3.919103, excess .131760, 16.1572 df before the cap of 6, s0^2 .0186433."""
    prior = memory.prior_scatter(SPREAD, DF)
    assert prior.excess == pytest.approx(0.131760, abs=1e-6)
    assert prior.df_of_spread == pytest.approx(16.1572, abs=1e-4)
    assert prior.mean_square == pytest.approx(0.0186433, abs=1e-7)
    assert (prior.df, prior.campaigns) == (6.0, 6)
    # The defining equations, worked out again with scipy.
    half = np.array(DF) / 2
    e = np.log(SPREAD**2) - special.psi(half) + np.log(half)
    assert e.mean() == pytest.approx(-3.919103, abs=1e-6)
    assert special.polygamma(1, prior.df_of_spread / 2) == pytest.approx(prior.excess, rel=1e-12)
    level = e.mean() + special.psi(prior.df_of_spread / 2) - np.log(prior.df_of_spread / 2)
    assert np.log(prior.mean_square) == pytest.approx(level, rel=1e-12)


def test_history_that_agrees_better_than_chance() -> None:
    """Excess -.414469: infinite df before the cap, s0^2 = exp(-3.886172)."""
    prior = memory.prior_scatter(ALIKE, DF)
    assert prior.excess == pytest.approx(-0.414469, abs=1e-6)
    assert prior.df_of_spread == np.inf
    assert prior.df == 6.0
    assert np.log(prior.mean_square) == pytest.approx(-3.886172, abs=1e-6)


def test_a_wide_spread_is_not_capped() -> None:
    """Campaigns that differ tenfold count for less than their number."""
    prior = memory.prior_scatter([0.02, 0.3, 0.07, 0.9], [8, 8, 8, 8])
    assert prior.df == prior.df_of_spread
    assert 0.0 < prior.df < 4.0


def test_blend_of_a_pilot_with_the_history() -> None:
    """s^2 .030 on 3 df: .022429 on 9 df (SD .1498), the guard does not act."""
    prior = memory.prior_scatter(SPREAD, DF)
    found = memory.blend(0.030, 3, prior.df, prior.mean_square)
    assert found.mean_square == pytest.approx(0.022429, abs=1e-6)
    assert np.sqrt(found.mean_square) == pytest.approx(0.1498, abs=5e-5)
    assert (found.df, found.history_df, found.conflict) == (9.0, 6.0, False)
    # The guard's F uses the capped df of the history.
    assert found.p_value == pytest.approx(stats.f.sf(0.030 / prior.mean_square, 3, 6), rel=1e-10)


def test_guard_cuts_the_history_down() -> None:
    """A pilot four times the history on 6 df each: P = P(F_6,6 > 4) = 0.0577, a quarter of 0.25 left."""
    found = memory.blend(0.08, 6, 6, 0.02)
    p_value = stats.f.sf(4.0, 6, 6)
    assert found.p_value == pytest.approx(p_value, rel=1e-10)
    assert found.history_df == pytest.approx(6 * p_value / 0.25, rel=1e-10)
    assert found.conflict is True
    assert found.df == pytest.approx(6 + found.history_df, rel=1e-14)
    weighted = (found.history_df * 0.02 + 6 * 0.08) / found.df
    assert found.mean_square == pytest.approx(weighted, rel=1e-14)


def test_a_small_pilot_scatter_is_no_conflict() -> None:
    """Only a surprisingly large scatter cuts the history; zero scatter is blended in."""
    found = memory.blend(0.0, 2, 4, 0.02)
    assert (found.p_value, found.conflict, found.df) == (1.0, False, 6.0)
    assert found.mean_square == pytest.approx(4 * 0.02 / 6, rel=1e-14)


def test_without_a_pilot_the_history_stands_alone() -> None:
    """df 0: the history's mean square on the history's df."""
    found = memory.blend(0.0, 0, 5, 0.017)
    assert (found.mean_square, found.df, found.p_value, found.conflict) == (0.017, 5.0, 1.0, False)


def test_units_do_not_matter() -> None:
    """A thousand times the SD: a million times the mean square, the same df."""
    small, large = memory.prior_scatter(SPREAD, DF), memory.prior_scatter(1e3 * SPREAD, DF)
    assert large.mean_square == pytest.approx(1e6 * small.mean_square, rel=1e-10)
    assert large.df_of_spread == pytest.approx(small.df_of_spread, rel=1e-8)


def test_known_spread_is_recovered() -> None:
    """50 histories of 500 campaigns, 10 df of spread around 1: medians in [9, 12] and [.97, 1.04]."""
    rng = np.random.default_rng(90)
    found = []
    for _ in range(50):
        df = rng.integers(3, 7, 500)
        truth = 10.0 / rng.chisquare(10, 500)
        prior = memory.prior_scatter(np.sqrt(truth * rng.chisquare(df) / df), df)
        found.append((prior.df_of_spread, prior.mean_square))
    df_median, level_median = np.median(found, axis=0)
    assert 9.0 <= df_median <= 12.0
    assert 0.97 <= level_median <= 1.04


def false_alarms(campaigns: int, spread_df: float, df: int, *, factor: float, draws: int, seed: int) -> float:
    """Chance that a blended 95 % interval excludes a true zero, averaged over drawn histories and pilots.

    Given the blend the estimate is normal with the true SD, so each draw gives an exact chance, not a hit.
    """
    rng = np.random.default_rng(seed)
    chance = np.empty(draws)
    for draw in range(draws):
        truth = np.ones(campaigns + 1)
        if np.isfinite(spread_df):
            truth = spread_df / rng.chisquare(spread_df, campaigns + 1)
        past_df = rng.integers(3, 7, campaigns) if factor == 1.0 else np.full(campaigns, 4)
        past = truth[1:] * rng.chisquare(past_df) / past_df
        own = factor**2 * truth[0]
        prior = memory.prior_scatter(np.sqrt(past), past_df)
        blend = memory.blend(own * rng.chisquare(df) / df, df, prior.df, prior.mean_square)
        critical = special.stdtrit(blend.df, 0.975) * np.sqrt(blend.mean_square / own)
        chance[draw] = 2.0 * special.ndtr(-critical)
    return float(chance.mean())


@pytest.mark.parametrize(
    ("campaigns", "spread_df", "df"),
    [(3, 4, 2), (3, np.inf, 6), (6, 4, 3), (6, 10, 2), (12, 4, 6), (20, np.inf, 2), (20, 10, 3)],
)
def test_capped_blend_keeps_false_alarms_near_five_percent(campaigns: int, spread_df: float, df: int) -> None:
    """Between 2 % and 6 % over few and many campaigns, alike and spread (1,500 draws, SE below 0.25 %)."""
    found = false_alarms(campaigns, spread_df, df, factor=1.0, draws=1_500, seed=91)
    assert 0.02 <= found <= 0.06


def test_guard_bounds_the_harm_of_a_conflict() -> None:
    """Eight campaigns of 4 df, spread of 10 df, a pilot of 3 df, and twice the SD this time: at most 12 %.

    With the guard taken out the same draws err more often; that is what the guard is for.
    """
    guarded = false_alarms(8, 10, 3, factor=2.0, draws=1_500, seed=92)
    assert 0.05 < guarded <= 0.12
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(memory, "GUARD", 1e-300)
        unguarded = false_alarms(8, 10, 3, factor=2.0, draws=1_500, seed=92)
    assert unguarded > guarded + 0.02


@pytest.mark.parametrize("value", [1e-8, 1e-3, 0.1, 1.0, np.pi**2 / 6, 10.0, 1e4, 1e8])
def test_inverse_trigamma_over_sixteen_decades(value: float) -> None:
    """Trigamma of the answer is the value; trigamma(1) = pi^2 / 6 (any table of the polygamma functions)."""
    found = memory._inverse_trigamma(value)
    assert special.polygamma(1, found) == pytest.approx(value, rel=1e-12)
    if value == np.pi**2 / 6:
        assert found == pytest.approx(1.0, rel=1e-12)
