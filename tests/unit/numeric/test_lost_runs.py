"""Lost runs: the same as the runs left fitted anew, and the half-widths of a 2x2 in blocks."""

import math
from itertools import combinations

import numpy as np
import pytest
from scipy import stats

from toolkit.errors import ModelError
from toolkit.numeric import lost_runs


def blocks(builds: int) -> np.ndarray:
    """A 2x2 in complete blocks: the blocks, then both factors and their interaction coded -1, 1."""
    one = np.array([(a, b, a * b) for a in (-1, 1) for b in (-1, 1)], dtype=float)
    return np.hstack([np.repeat(np.eye(builds), 4, axis=0), np.tile(one, (builds, 1))])


def anew(matrix: np.ndarray, row: np.ndarray, lost: tuple[int, ...]) -> tuple[float, int]:
    """Variance and error df of the runs left, by pseudo-inverse and rank."""
    left = np.delete(matrix, lost, axis=0)
    rank = np.linalg.matrix_rank(left)
    inverse = np.linalg.pinv(left.T @ left, rcond=1e-12)
    told = np.linalg.matrix_rank(np.vstack([left, row])) == rank
    return (float(row @ inverse @ row) if told else math.inf), len(left) - rank


@pytest.mark.parametrize("lost", [1, 2, 3])
@pytest.mark.parametrize("builds", [2, 3])
def test_every_loss_is_that_of_the_runs_left(lost: int, builds: int) -> None:
    """Every set of one to three runs of 8 and 12, and of runs of which one stands alone in its block."""
    matrix = blocks(builds)
    matrix = np.vstack([np.hstack([matrix, np.zeros((len(matrix), 1))]), np.eye(1, builds + 4, builds + 3)])
    rows = np.hstack([np.zeros((3, builds)), 2 * np.eye(3), np.zeros((3, 1))])
    found = lost_runs.losses(matrix, rows, lost=lost)
    assert [tuple(one) for one in found.lost] == list(combinations(range(len(matrix)), lost))
    for at, one in enumerate(found.lost):
        for comparison, row in enumerate(rows):
            variance, df = anew(matrix, row, tuple(one))
            assert found.error_df[at] == df
            assert found.variance[at, comparison] == pytest.approx(variance, rel=1e-9)


@pytest.mark.parametrize(("builds", "one", "two"), [(2, 1.56, 5.3), (3, 1.13, 1.35), (4, 1.07, 1.17)])
def test_half_width_after_one_and_two_lost_runs(builds: int, one: float, two: float) -> None:
    """Factors on the half-width of a main effect: 1.56, 1.13, 1.07 after one run of 8, 12, 16 (simulated when the
    method was chosen; here by the runs left), and 5.3, 1.35, 1.17 on average after two."""
    matrix, row = blocks(builds), np.array([[0.0] * builds + [2.0, 0.0, 0.0]])
    df = 3 * (builds - 1)
    base = stats.t.ppf(0.975, df) * math.sqrt(1 / builds)
    for lost, factor in ((1, one), (2, two)):
        found = lost_runs.losses(matrix, row, lost=lost)
        told = (found.error_df >= 1) & np.isfinite(found.variance[:, 0])
        half = stats.t.ppf(0.975, found.error_df[told]) * np.sqrt(found.variance[told, 0])
        assert half.mean() / base == pytest.approx(factor, rel=0.02)


def test_faults() -> None:
    """Wrong shapes and more losses than runs."""
    with pytest.raises(ModelError) as told:
        lost_runs.losses(np.eye(3), np.ones((1, 2)))
    assert str(told.value) == (
        "It cannot be told what lost runs would do.\n  comparisons: 2 columns were given; expected 3."
    )
    with pytest.raises(ModelError) as told:
        lost_runs.losses(np.eye(3), np.ones((1, 3)), lost=3)
    assert str(told.value) == (
        "It cannot be told what lost runs would do.\n"
        "  runs lost: 3 was given; expected a whole number from 1 to 2."
    )
