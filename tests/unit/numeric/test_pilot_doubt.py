"""States of a pilot's doubt: the same averages as closed forms and as the rule of the assurance."""

import math

import numpy as np
import pytest
from scipy import stats

from toolkit.errors import SizingError
from toolkit.numeric import noncentral, pilot_doubt, promise


def test_mean_of_the_root_of_chi_square() -> None:
    """E[sqrt(chi2_6 / 6)] by scipy's chi distribution; weights sum to 1; a known mean square has one state."""
    squares, weights = pilot_doubt.states([(0.04, 6)], nodes=24)
    assert weights.sum() == pytest.approx(1.0, abs=1e-13)
    assert weights @ squares[0] ** -0.5 == pytest.approx(stats.chi(6).mean() / math.sqrt(6) / 0.2, rel=1e-4)
    assert pilot_doubt.states([(0.04, math.inf)])[0].tolist() == [[0.04]]


def test_power_averaged_over_the_states_is_the_assurance() -> None:
    """Builds and runs, judged between builds that are half as large: both rules to 0.002."""
    pilot, unit = [(0.05, 3), (0.02, 6)], 0.2
    squares, weights = pilot_doubt.states(pilot)
    assert (squares[0] >= squares[1]).all()
    error = np.sqrt(unit * (0.5 * squares[0] + 0.5 * squares[1]))
    found = weights @ noncentral.power_t(0.3, error, 5)
    assert found == pytest.approx(float(promise.assurance(0.3, [(unit, 5)], pilot, link=[[0.5, 0.5]])), abs=0.002)


@pytest.mark.parametrize(
    ("pilot", "weights"),
    [
        # Builds of two runs that turned out no worse than runs, for builds of four: 2 MS(build) - MS(run).
        ([(0.0073, 2), (0.0105, 2)], [[2.0, -1.0], [1.0, 0.0], [0.3, 0.7]]),
        ([(0.05, 3), (0.02, math.inf)], [[1.5, -0.5]]),
        ([(0.05, 3), (0.03, 4), (0.02, 6)], [[0.5, 0.2, 0.1], [1.0, 0.0, 0.0]]),
    ],
)
def test_upper_limits_are_quantiles_of_what_the_pilot_leaves_possible(pilot, weights) -> None:
    """True mean squares drawn 400,000 times, none below the next inner one: 80 of 100 sums lie below (3.3 SE, .001)."""
    rng, draws = np.random.default_rng(12), 400_000
    luck = [np.ones(draws) if math.isinf(df) else rng.chisquare(df, draws) / df for _, df in pilot]
    truth = [square / one for (square, _), one in zip(pilot, luck, strict=True)]
    for outer in range(len(truth) - 2, -1, -1):
        truth[outer] = np.maximum(truth[outer], truth[outer + 1])
    limits = pilot_doubt.upper(pilot, weights)
    below = (np.array(weights) @ np.array(truth) < limits[:, None]).mean(axis=1)
    assert below == pytest.approx(0.8, abs=3.3 * math.sqrt(0.16 / draws) + 0.001)


def test_the_upper_limit_of_one_mean_square_is_that_of_chi_square() -> None:
    expected = 0.7 * 0.04 * 6 / stats.chi2.ppf(0.2, 6)
    assert pilot_doubt.upper([(0.04, 6)], [[0.7]])[0] == pytest.approx(expected, rel=1e-9)
    assert pilot_doubt.upper([(0.04, math.inf)], [[0.7]])[0] == pytest.approx(0.028, rel=1e-12)
    with pytest.raises(SizingError) as told:
        pilot_doubt.upper([(0.04, 0)], [[1.0]], level=1.0)
    assert str(told.value) == (
        "The upper limit of the scatter cannot be told.\n"
        "  df of the pilot: 0 was given; expected a number above 0.\n"
        "  level: 1 was given; expected a share between 0 and 1, both excluded."
    )


def test_all_faults_at_once() -> None:
    """Every number that cannot be used is named."""
    with pytest.raises(SizingError) as told:
        pilot_doubt.states([(0.0, 3), (0.1, -1)])
    assert str(told.value) == (
        "The pilot's doubt cannot be laid out.\n"
        "  mean square of the pilot: 0 was given; expected a number above 0.\n"
        "  df of the pilot: -1 was given; expected a number above 0."
    )
