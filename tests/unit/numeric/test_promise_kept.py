"""Whether plans chosen by assurance, or by the upper limit of the scatter, keep what they promise.

Pilots are drawn, each recommends a plan of two arms, and the plan's real power at the true scatter is
looked at.
"""

import numpy as np
import pytest

from toolkit.numeric import intervals, noncentral, promise

ASKED = 0.80
PILOTS = 6_000
# Every size up to 60 runs an arm, then steps of 3 %: the share of power that a step adds there is negligible.
SIZES = np.unique(np.concatenate([np.arange(2, 61), np.ceil(60 * 1.03 ** np.arange(1, 130))]))


def ratio_needed(df: int) -> np.ndarray:
    """For each size, the smallest true difference over pilot SD for which assurance reaches what is asked."""
    low, high = np.full(SIZES.shape, 0.01), np.full(SIZES.shape, 40.0)
    for _ in range(16):
        middle = np.sqrt(low * high)
        short = promise.assurance(middle, [(2 / SIZES, 2 * SIZES - 2)], [(1.0, df)]) < ASKED
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return high


def recommended(needed: np.ndarray, ratio: np.ndarray) -> np.ndarray:
    """The smallest size whose needed ratio each pilot reaches."""
    assert (np.diff(needed) < 0).all()
    place = np.searchsorted(-needed, -ratio)
    assert place.max() < len(SIZES)
    return SIZES[place]


def real_power(n: np.ndarray, gain: float) -> np.ndarray:
    """Power at a true SD of 1."""
    return noncentral.power_t(gain, np.sqrt(2 / n), 2 * n - 2)


@pytest.mark.parametrize("df", [2, 3, 4, 6, 8, 12])
def test_assurance_keeps_its_promise_on_average(df: int) -> None:
    """Asked 80 %: mean real power of the plans is 79 % to 86 %, for differences of 1, 1.5 and 2 SD."""
    rng = np.random.default_rng(70 + df)
    sd = np.sqrt(rng.chisquare(df, PILOTS) / df)
    needed = ratio_needed(df)
    for gain in (1.0, 1.5, 2.0):
        mean = float(real_power(recommended(needed, gain / sd), gain).mean())
        assert 0.79 <= mean <= 0.86, (df, gain, mean)


@pytest.mark.parametrize("df", [2, 4, 12])
def test_upper_limit_keeps_its_promise_in_four_of_five(df: int) -> None:
    """The 80 % upper limit: four plans in five really have the power asked (6,000 pilots, SE 0.5 %)."""
    rng = np.random.default_rng(80 + df)
    sd = np.sqrt(rng.chisquare(df, PILOTS) / df)
    needed = noncentral.detectable(np.sqrt(2 / SIZES), 2 * SIZES - 2, power=ASKED)
    for gain in (1.0, 1.5, 2.0):
        n = recommended(needed, gain / intervals.sd_upper(sd, df))
        share = float(np.mean(real_power(n, gain) >= ASKED))
        # Whole runs round up, which can only raise the share above 0.80; the last entry is the size itself.
        assert 0.785 <= share <= 0.85, (df, gain, share)


@pytest.mark.parametrize("df", [2, 4, 12])
def test_the_pilot_at_face_value_breaks_its_promise(df: int) -> None:
    """Why assurance is used: plug-in plans have a mean real power of 63 % to 81 %; over half fall short."""
    rng = np.random.default_rng(90 + df)
    sd = np.sqrt(rng.chisquare(df, PILOTS) / df)
    needed = noncentral.detectable(np.sqrt(2 / SIZES), 2 * SIZES - 2, power=ASKED)
    for gain in (1.0, 1.5, 2.0):
        power = real_power(recommended(needed, gain / sd), gain)
        # 63 % to 81 % in the brief's rounded table; 6,000 pilots are good to 0.5 %.
        assert 0.62 <= float(power.mean()) <= 0.81
        assert 0.36 <= float(np.mean(power >= ASKED)) <= 0.50
