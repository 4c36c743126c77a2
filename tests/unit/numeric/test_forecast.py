"""The one-pass forecast: the same numbers as the functions it puts together."""

import numpy as np
import pytest

from toolkit.numeric import exaggeration, forecast, half_width, promise

CASES = {
    "one mean square": ([(1 / np.array([2.0, 3, 8]), [3, 6, 21])], [(0.0169, 2.5)], None, 1.0),
    "widened, known scatter": ([([0.3, 0.2], [4.2, 7])], [(0.02, np.inf)], None, np.array([1.1, 1.02])),
    "builds and runs": ([([0.2, 0.1], [3, 6]), ([0.1, 0.1], [4, 8])], [(0.05, 3), (0.02, 6)], None, 1.0),
    "no interval": ([([0.3, 0.2], [0, 3])], [(0.02, 4)], None, 1.0),
}


@pytest.mark.parametrize("case", CASES)
def test_the_same_as_one_by_one(case: str) -> None:
    """Chances and outcomes to 1e-12, the overstatement to 1e-10, the width to its rule's 1 %."""
    parts, pilot, link, widening = CASES[case]
    told = {"link": link, "widening": widening}
    found = forecast.forecast(0.25, 0.223, parts, pilot, **told)
    assert np.abs(found.assurance - promise.assurance(0.25, parts, pilot, **told)).max() < 1e-12
    assert np.abs(found.outcomes - promise.outcome_shares(0.25, 0.223, parts, pilot, **told)).max() < 1e-12
    ratio = exaggeration.exaggeration(0.25, parts, pilot, **told)
    shown = found.assurance > 0
    assert found.shown_size[shown] / found.assurance[shown] == pytest.approx(ratio[shown], rel=1e-10)
    assert np.isinf(ratio[~shown]).all()
    width = widening * half_width.expected_half_width(parts, pilot, link=link)
    assert found.half_width == pytest.approx(width, rel=0.012)


def test_a_wide_margin_cuts_elsewhere() -> None:
    """A margin of more than twice the half-width: the middle cut is no longer the half-width."""
    parts, pilot = [(0.05, 30)], [(0.01, np.inf)]
    found = forecast.forecast(0.1, 0.5, parts, pilot)
    assert np.abs(found.outcomes - promise.outcome_shares(0.1, 0.5, parts, pilot)).max() < 1e-12
    assert found.outcomes[2] > 0.99
