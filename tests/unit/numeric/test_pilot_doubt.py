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


def test_all_faults_at_once() -> None:
    """Every number that cannot be used is named."""
    with pytest.raises(SizingError) as told:
        pilot_doubt.states([(0.0, 3), (0.1, -1)])
    assert str(told.value) == (
        "The pilot's doubt cannot be laid out.\n"
        "  mean square of the pilot: 0 was given; expected a number above 0.\n"
        "  df of the pilot: -1 was given; expected a number above 0."
    )
