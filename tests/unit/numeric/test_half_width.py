"""How wide an interval will be: R's sizes for a wanted width, and drawn pilots and campaigns."""

import math

import numpy as np
import pytest
from scipy import stats

from toolkit.numeric import half_width


@pytest.mark.parametrize(("df", "pilot_df"), [(3, 3), (6, 4), (21, 8), (9, math.inf)])
def test_mean_of_drawn_half_widths(df: int, pilot_df: float) -> None:
    """400,000 drawn truths and campaigns: four standard errors of the mean."""
    rng, draws, unit, square = np.random.default_rng(21), 400_000, 0.25, 0.0169
    sigma2 = np.full(draws, square) if math.isinf(pilot_df) else square * pilot_df / rng.chisquare(pilot_df, draws)
    half = stats.t.ppf(0.975, df) * np.sqrt(unit * sigma2 * rng.chisquare(df, draws) / df)
    found = float(half_width.expected_half_width([(unit, df)], [(square, pilot_df)]))
    assert abs(found - half.mean()) < 4 * half.std() / math.sqrt(draws)


def test_two_mean_squares_against_drawn_campaigns() -> None:
    """Builds and runs in one comparison: Satterthwaite's df as realised; 1 % for the rule of 20 nodes each."""
    rng, draws = np.random.default_rng(22), 200_000
    runs = 0.02 * 6 / rng.chisquare(6, draws)
    builds = np.maximum(0.05 * 5 / rng.chisquare(5, draws), runs)
    terms = [0.1 * builds * rng.chisquare(4, draws) / 4, 0.2 * runs * rng.chisquare(12, draws) / 12]
    total = terms[0] + terms[1]
    df = total**2 / (terms[0] ** 2 / 4 + terms[1] ** 2 / 12)
    drawn = float((stats.t.ppf(0.975, df) * np.sqrt(total)).mean())
    found = float(half_width.expected_half_width([(0.1, 4), (0.2, 12)], [(0.05, 5), (0.02, 6)]))
    assert found == pytest.approx(drawn, rel=0.01)


def test_no_average_and_no_interval() -> None:
    """One df of the pilot leaves no average; no error df leaves no interval; more runs make it narrower."""
    assert np.isinf(half_width.expected_half_width([(0.2, 5)], [(0.02, 1)]))
    found = half_width.expected_half_width([(np.array([0.4, 0.2, 0.1]), [0, 3, 9])], [(0.02, 4)])
    assert math.isinf(found[0])
    assert found[1] > found[2]
