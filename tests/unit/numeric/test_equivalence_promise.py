"""Chance of showing equivalence and 'no harm': drawn pilots and campaigns, and one-sided t tests."""

import math

import numpy as np
import pytest
from scipy import stats

from toolkit.errors import SizingError
from toolkit.numeric import equivalence_promise, noncentral


def drawn(gain: float, margin: float, unit: float, df: int, square: float, pilot_df: int, seed: int):
    """Shares of 'equivalent' and of 'no harm' from drawn truths and drawn campaigns."""
    rng, draws = np.random.default_rng(seed), 200_000
    sigma2 = square * pilot_df / rng.chisquare(pilot_df, draws)
    estimate = gain + np.sqrt(unit * sigma2) * rng.normal(size=draws)
    half = stats.t.ppf(0.95, df) * np.sqrt(unit * sigma2 * rng.chisquare(df, draws) / df)
    equivalent = (estimate - half > -margin) & (estimate + half < margin)
    return float(equivalent.mean()), float((estimate - half > -margin).mean())


@pytest.mark.parametrize(("gain", "df", "pilot_df"), [(0.0, 6, 3), (0.05, 9, 6), (-0.1, 15, 2)])
def test_averaged_over_the_pilots_doubt(gain: float, df: int, pilot_df: int) -> None:
    """200,000 draws: four binomial standard errors and 0.0005 of quadrature."""
    unit, square, margin = 1 / 4, 0.02, 0.2
    equivalent, no_harm = drawn(gain, margin, unit, df, square, pilot_df, 11)
    for share, function in (
        (equivalent, equivalence_promise.equivalence_assurance),
        (no_harm, equivalence_promise.no_harm_assurance),
    ):
        found = float(function(gain, margin, [(unit, df)], [(square, pilot_df)]))
        assert abs(found - share) < 4 * math.sqrt(found * (1 - found) / 200_000) + 5e-4


def test_no_harm_at_a_known_scatter_is_a_one_sided_t_test() -> None:
    """Power of the t test at the distance from the limit: scipy's noncentral t, in the region where it is finite."""
    unit, df = 0.2, 12
    found = float(equivalence_promise.no_harm_assurance(-0.1, 0.6, [(unit, df)], [(0.09, math.inf)]))
    nc = 0.5 / math.sqrt(unit * 0.09)
    assert found == pytest.approx(stats.nct.sf(stats.t.ppf(0.95, df), df, nc), abs=2e-5)
    two_sided = float(noncentral.power_t(0.5, math.sqrt(unit * 0.09), df, alpha=0.10))
    assert found == pytest.approx(two_sided, abs=1e-4)


def test_a_change_at_the_margin_and_no_interval() -> None:
    """At the limit itself 'no harm' is shown in alpha of campaigns; without an error df nothing is shown."""
    at_limit = equivalence_promise.no_harm_assurance(-0.2, 0.2, [(0.1, [2, 5, 30])], [(0.03, 4)])
    assert np.abs(at_limit - 0.05).max() < 5e-4
    assert float(equivalence_promise.equivalence_assurance(0.0, 0.2, [(0.1, 0)], [(0.03, 4)])) == 0.0
    with pytest.raises(SizingError) as told:
        equivalence_promise.equivalence_assurance(0.0, 0.2, [(0.1, 3)], [(0.03, 4)], alpha=0.5)
    assert str(told.value) == (
        "What the plan promises cannot be worked out.\n"
        "  alpha: 0.5 was given; expected a share between 0 and 0.5."
    )
