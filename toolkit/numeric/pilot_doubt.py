"""What the true mean squares may be, given those of a pilot: a few states with their weights.

May import numpy, scipy.special and the error classes. For quantities that have no closed form in the mean squares and
are worked out once for each state.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from toolkit.errors import SizingError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._quadrature import Floats, Pair
from toolkit.numeric._quantiles import chi_square_below


def states(pilot: Sequence[Pair], *, nodes: int = 12) -> tuple[Floats, Floats]:
    """Give back states of the true mean squares that together stand for the pilot's doubt.

    Parameters
    ----------
    pilot : sequence of (mean_square, df)
        Outermost first, with their degrees of freedom; infinity means known exactly.
    nodes : int
        States of each mean square that is not known exactly.

    Returns
    -------
    squares : ndarray, shape (mean squares, states)
        None below the next inner one: a negative component counts as zero.
    weights : ndarray, shape (states,)
        Their sum is 1.

    Raises
    ------
    SizingError
        When a mean square or its df is not above 0; all faults are told at once.

    Notes
    -----
    Gauss-Legendre in the quantile scale of chi-square: the true mean square is the pilot's times nu / chi2_nu.

    Checked against: ``promise.assurance`` where it applies, tests/unit/numeric/test_pilot_doubt.py.
    """
    faults = []
    for square, df in pilot:
        faults += guards.positive("mean square of the pilot", square)
        faults += guards.positive("df of the pilot", df, infinite=True)
    raise_all(SizingError, "The pilot's doubt cannot be laid out.", faults)
    place, weight = np.polynomial.legendre.leggauss(nodes)
    squares, weights = np.zeros((0, 1)), np.ones(1)
    for square, df in pilot:
        value, doubt = float(np.asarray(square)), float(np.asarray(df))
        if np.isinf(doubt):
            own, share = np.array([value]), np.ones(1)
        else:
            own = value * doubt / np.maximum(chi_square_below(doubt, 0.5 * (place + 1.0)), 1e-100)
            share = 0.5 * weight
        squares = np.vstack([np.repeat(squares, len(own), axis=1), np.tile(own, squares.shape[1])])
        weights = np.outer(weights, share).ravel()
    for outer in range(len(squares) - 2, -1, -1):
        squares[outer] = np.maximum(squares[outer], squares[outer + 1])
    return squares, weights
