"""One more run by formula, against the runs fitted anew with each candidate by numpy alone."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric.one_more import one_more

SUM = np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, -1.0]])


def row(pin, oil):
    """The model's row of a 2 x 3: mean, pin, two columns of oil, two of the interaction (sum-coded by hand)."""
    sign = 1.0 - 2.0 * pin
    return [1.0, sign, *SUM[oil], *(sign * SUM[oil])]


CELLS = list(product((0, 1), (0, 1, 2)))
# Means over the other factor: P1 less P0, O1 less O0, O2 less O0; and P1 less P0 at O0 alone.
ROWS = np.array(
    [
        np.mean([row(1, oil) for oil in range(3)], axis=0) - np.mean([row(0, oil) for oil in range(3)], axis=0),
        np.mean([row(pin, 1) for pin in (0, 1)], axis=0) - np.mean([row(pin, 0) for pin in (0, 1)], axis=0),
        np.mean([row(pin, 2) for pin in (0, 1)], axis=0) - np.mean([row(pin, 0) for pin in (0, 1)], axis=0),
        np.array(row(1, 0)) - np.array(row(0, 0)),
    ]
)


def anew(matrix, rows, candidate):
    """Variances and error df with the candidate's row appended: estimable when the rank does not rise."""
    longer = np.vstack([matrix, candidate])
    rank = np.linalg.matrix_rank(longer)
    inverse = np.linalg.pinv(longer.T @ longer)
    variances = [
        one @ inverse @ one if np.linalg.matrix_rank(np.vstack([longer, one])) == rank else np.inf for one in rows
    ]
    return variances, len(longer) - rank


def layouts():
    """Runs of a 2 x 3 as they come: one factor at a time, one combination missing, repeats, all columns aliased."""
    draw = np.random.default_rng(12)
    yield [(0, 0), (1, 0), (0, 1), (0, 2)]
    yield [(0, 0), (1, 0), (0, 1), (0, 2), (1, 1)]
    yield [(0, 0), (0, 0), (1, 0)]
    yield [(0, 0)]
    yield CELLS
    for _ in range(25):
        yield [CELLS[at] for at in draw.integers(0, 6, draw.integers(1, 9))]


@pytest.mark.parametrize("columns", [slice(0, 6), slice(0, 4)], ids=["with interaction", "without"])
@pytest.mark.parametrize("runs", list(layouts()), ids=str)
def test_every_candidate_is_that_of_the_runs_fitted_anew(runs, columns):
    matrix = np.array([row(*cell) for cell in runs])[:, columns]
    rows = ROWS[:3, columns] if columns.stop == 4 else ROWS
    candidates = np.array([row(*cell) for cell in CELLS])[:, columns]
    found = one_more(matrix, rows, candidates)
    for at, candidate in enumerate(candidates):
        variances, error_df = anew(matrix, rows, candidate)
        np.testing.assert_allclose(found.variance[at], variances, rtol=1e-9)
        assert found.error_df[at] == error_df


def test_units_of_columns_do_not_matter():
    matrix = np.array([row(*cell) for cell in CELLS[:5]])
    sizes = np.array([1.0, 1e-6, 3e4, 1.0, 1e3, 1e-3])
    one = one_more(matrix, ROWS, np.array([row(*cell) for cell in CELLS]))
    other = one_more(matrix * sizes, ROWS * sizes, np.array([row(*cell) for cell in CELLS]) * sizes)
    np.testing.assert_allclose(other.variance, one.variance, rtol=1e-9)
    assert list(other.error_df) == list(one.error_df) == [1, 1, 1, 1, 1, 0]


def test_the_missing_combination_by_hand():
    # Five of six cells, each once, P1 O2 never: with it each mean over the other factor stands on whole cells:
    # 3 cells against 3, var = 1/3 + 1/3; 2 cells against 2, var = 1/2 + 1/2. With P0 O0 twice O1 less O0 is half a
    # sum of three single runs and a mean of two, P1 less P0 at O0 one less a mean of two.
    matrix = np.array([row(*cell) for cell in CELLS[:5]])
    found = one_more(matrix, ROWS, np.array([row(1, 2), row(0, 0)]))
    np.testing.assert_allclose(found.variance[0], [2 / 3, 1.0, 1.0, 2.0])
    np.testing.assert_allclose(found.variance[1], [np.inf, 3.5 / 4, np.inf, 1.5])
    assert list(found.error_df) == [0, 1]


def test_what_does_not_fit_is_told_at_once():
    with pytest.raises(ModelError) as caught:
        one_more(np.ones((2, 2)), np.ones(2), np.array([[1.0, np.nan, 1.0]]))
    assert str(caught.value).split("\n") == [
        "It cannot be told what one more run would do.",
        "  comparisons: an array of 1 dimensions was given; expected two dimensions.",
        "  candidates: a missing value was given; expected a finite number.",
        "  candidates: 3 columns were given; expected 2.",
    ]
