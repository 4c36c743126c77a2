"""The promise that holds whatever the scatter is: its price by Student's table, its cover and power by simulation."""

import math

import numpy as np
import pytest

from toolkit.errors import SizingError
from toolkit.numeric import iron_promise

# Student's t at 97.5 %, any printed table, over the normal 1.960: squared, what the promise costs in runs.
STUDENT = {2: 4.303, 3: 3.182, 4: 2.776, 6: 2.447, 9: 2.262}
PRICES = {2: 4.8, 3: 2.6, 4: 2.0, 6: 1.6, 9: 1.3}


@pytest.mark.parametrize("df", STUDENT)
def test_price_against_a_known_scatter(df: int) -> None:
    """4.8, 2.6, 2.0, 1.6, 1.3 times the runs at 2, 3, 4, 6, 9 df (1.56 and 1.33 rounded)."""
    found = float(iron_promise.variance_for_width(1.0, df, 1.0))
    assert found == pytest.approx(1 / STUDENT[df] ** 2, rel=5e-4)
    assert 1.959964**2 * found == pytest.approx(1 / PRICES[df], rel=0.035)


@pytest.mark.parametrize("sigma", [0.01, 0.13, 10.0])
def test_half_width_and_power_hold_for_any_scatter(sigma: float) -> None:
    """Pilot of 3 df, plans in whole runs: cover at least 95 %, power at least 80 % (40,000 drawn, 3.3 SE)."""
    rng, draws, df, gain = np.random.default_rng(41), 40_000, 3, 0.25
    square = sigma**2 * rng.chisquare(df, draws) / df
    for kind in ("width", "power"):
        if kind == "width":
            runs = np.ceil(2 / iron_promise.variance_for_width(square, df, 0.2))
        else:
            runs = np.ceil(2 / iron_promise.variance_for_power(square, df, gain))
        runs = np.maximum(runs, 2)
        error = sigma * np.sqrt(2 / runs) * rng.normal(size=draws)
        if kind == "width":
            share, asked = float(np.mean(np.abs(error) <= 0.2)), 0.95
        else:
            half = 3.182446 * np.sqrt(square * 2 / runs)
            share, asked = float(np.mean(np.abs(gain + error) > half)), 0.80
        assert share > asked - 3.3 * math.sqrt(asked * (1 - asked) / draws), (sigma, kind, share)
        if sigma == 10.0:
            # So many runs that rounding to whole ones adds nothing: the promise is then kept and no more than kept.
            assert share < asked + 3.3 * math.sqrt(asked * (1 - asked) / draws), (kind, share)


def test_what_cannot_be_promised_is_said() -> None:
    """All faults in one message."""
    with pytest.raises(SizingError) as told:
        iron_promise.variance_for_width(0.0, 3, -1.0)
    assert str(told.value) == (
        "The iron promise cannot be worked out.\n"
        "  mean square of the pilot: 0 was given; expected a number above 0.\n"
        "  half-width: -1 was given; expected a number above 0."
    )
    with pytest.raises(SizingError) as told:
        iron_promise.variance_for_power(1.0, 0.5, 0.0, power=0.04)
    assert str(told.value) == (
        "The iron promise cannot be worked out.\n"
        "  df of the pilot: 0.5 was given; expected 1 or more.\n"
        "  size of the true change: 0 was given; expected a number above 0."
    )
