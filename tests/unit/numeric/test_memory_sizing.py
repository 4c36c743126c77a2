"""What the rig's memory is worth when runs are booked: drawn rigs, their campaigns, pilots and the plans advised."""

import functools
import math

import numpy as np
import pytest

from toolkit.numeric import memory, noncentral, promise

ASKED, GAIN, SPREAD_DF, PILOTS = 0.80, 2.0, 10, 900
# Every size up to 40 runs an arm, then steps of 8 %.
SIZES = np.unique(np.concatenate([np.arange(2, 41), np.ceil(40 * 1.08 ** np.arange(1, 40))]))


@functools.cache
def needed(df: float) -> np.ndarray:
    """For each size, the smallest true difference over the planning SD for which assurance reaches what is asked."""
    low, high = np.full(SIZES.shape, 0.01), np.full(SIZES.shape, 40.0)
    for _ in range(14):
        middle = np.sqrt(low * high)
        short = promise.assurance(middle, [(2 / SIZES, 2 * SIZES - 2)], [(1.0, df)]) < ASKED
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return high


def advised(mean_square: float, df: float) -> float:
    """Runs an arm (df rounded to half a degree, so that few tables are worked out)."""
    place = np.searchsorted(-needed(round(2 * df) / 2), -GAIN / math.sqrt(mean_square))
    return float(SIZES[min(place, len(SIZES) - 1)])


def drawn(campaigns: int) -> tuple[list[float], list[float], list[float]]:
    """Runs an arm without and with memory, and the real power of the latter, one for each drawn rig."""
    rng = np.random.default_rng(95 + campaigns)
    alone, remembered, power = [], [], []
    for _ in range(PILOTS):
        truth = SPREAD_DF / rng.chisquare(SPREAD_DF, campaigns + 1)
        df = rng.integers(3, 7, campaigns)
        prior = memory.prior_scatter(np.sqrt(truth[1:] * rng.chisquare(df) / df), df)
        pilot = truth[0] * rng.chisquare(2) / 2
        blend = memory.blend(pilot, 2, prior.df, prior.mean_square)
        alone.append(advised(pilot, 2.0))
        remembered.append(advised(blend.mean_square, blend.df))
        power.append(float(noncentral.power_t(GAIN, math.sqrt(truth[0] * 2 / remembered[-1]), 2 * remembered[-1] - 2)))
    return alone, remembered, power


@pytest.mark.parametrize(("campaigns", "most", "guarded"), [(4, 8.5, 10.0), (8, 7.6, 9.5)])
def test_a_memory_saves_runs_and_keeps_the_promise(campaigns: int, most: float, guarded: float) -> None:
    """A pilot of 2 df, a change of twice the typical SD, campaigns that scatter as 10 df say: 900 drawn rigs.

    Without memory 13.3 runs an arm on average, with four campaigns 7.9 and with eight 7.1 (simulated when the method
    was chosen, without the guard; drawn here anew). The guard, which acts in a quarter of the campaigns where nothing
    is wrong, costs about one run an arm more. The mean real power stays above 80 % either way.
    """
    alone, remembered, power = drawn(campaigns)
    assert 12.0 < np.mean(alone) < 16.0
    assert np.mean(remembered) <= guarded
    assert np.percentile(remembered, 90) < np.percentile(alone, 90) / 1.8
    assert 0.80 <= np.mean(power) <= 0.90
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(memory, "GUARD", 1e-300)
        _, remembered, power = drawn(campaigns)
    assert np.mean(remembered) <= most
    assert 0.80 <= np.mean(power) <= 0.88
