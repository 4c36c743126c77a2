"""By how much a shown change is overstated: drawn campaigns."""

import math

import numpy as np
import pytest
from scipy import stats

from toolkit.errors import SizingError
from toolkit.numeric import exaggeration

# Main effect of a 2x2 in b complete blocks: variance 1/b, 3 (b - 1) error df; changes in SDs of one run.
CASES = [(3, 0.5, 2.65), (3, 1.0, 1.55), (3, 1.5, 1.21), (2, 1.0, 1.71)]


@pytest.mark.parametrize(("builds", "gain", "ratio"), CASES)
def test_overstatement_of_a_two_by_two_in_blocks(builds: int, gain: float, ratio: float) -> None:
    """12 runs: x2.65, x1.55, x1.21 at half, one and one and a half SDs; 8 runs: x1.71 at one SD (drawn here anew)."""
    rng, draws, df = np.random.default_rng(30 + builds), 600_000, 3 * (builds - 1)
    estimate = gain + rng.normal(size=draws) / math.sqrt(builds)
    half = stats.t.ppf(0.975, df) * np.sqrt(rng.chisquare(df, draws) / df / builds)
    kept = np.abs(estimate[np.abs(estimate) > half])
    found = float(exaggeration.exaggeration(gain, [(1 / builds, df)], [(1.0, math.inf)]))
    assert abs(found - kept.mean() / gain) < 4 * kept.std() / gain / math.sqrt(len(kept)) + 1e-3
    assert found == pytest.approx(ratio, abs=0.012)


def test_with_a_pilots_doubt() -> None:
    """Drawn truths: the mean over all campaigns that show the change."""
    rng, draws = np.random.default_rng(34), 600_000
    sigma2 = 0.02 * 4 / rng.chisquare(4, draws)
    estimate = -0.2 + np.sqrt(0.25 * sigma2) * rng.normal(size=draws)
    half = stats.t.ppf(0.975, 9) * np.sqrt(0.25 * sigma2 * rng.chisquare(9, draws) / 9)
    kept = np.abs(estimate[np.abs(estimate) > half])
    found = float(exaggeration.exaggeration(-0.2, [(0.25, 9)], [(0.02, 4)]))
    assert abs(found - kept.mean() / 0.2) < 4 * kept.std() / 0.2 / math.sqrt(len(kept)) + 1e-3


def test_never_below_one_and_endless_without_an_interval() -> None:
    """A change that is shown for certain is not overstated; without an error df nothing is shown."""
    found = exaggeration.exaggeration([50.0, 1.0], [(0.1, [20, 0])], [(1.0, 5)])
    assert found[0] == pytest.approx(1.0, abs=1e-6)
    assert math.isinf(found[1])
    with pytest.raises(SizingError) as told:
        exaggeration.exaggeration(0.0, [(0.1, 3)], [(1.0, 5)])
    assert str(told.value) == (
        "What the plan promises cannot be worked out.\n"
        "  size of the true change: 0 was given; expected a number above 0."
    )
