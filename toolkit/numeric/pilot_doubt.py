"""What the true mean squares may be, given those of a pilot: a few states with their weights.

May import numpy, scipy.special and the error classes. For quantities that have no closed form in the mean squares and
are worked out once for each state.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from toolkit.errors import Fault, SizingError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric import intervals
from toolkit.numeric._quadrature import Floats, Pair
from toolkit.numeric._quantiles import chi_square_below

# Points for an upper limit; multiples of these shares fill square and cube evenly, and each side by itself.
_POINTS = 10_000
_STEPS = {2: (0.7548776662466927, 0.5698402909980532), 3: (0.8191725133961645, 0.6710436067037893, 0.5497004779019703)}


def upper(pilot: Sequence[Pair], weights: ArrayLike, *, level: float = 0.80) -> Floats:
    """Give back the upper limit of variances that are weighted sums of the pilot's true mean squares.

    Parameters
    ----------
    pilot : sequence of one to three (mean_square, df)
        As for ``states``.
    weights : array_like, shape (plans, mean squares)
        A weight may be below 0, as where builds of the plan hold more runs than those of the pilot.
    level : float
        The share of what the pilot leaves possible that lies below, between 0 and 1.

    Returns
    -------
    ndarray, shape (plans,)

    Raises
    ------
    SizingError
        When a mean square or its df is not above 0, or the level is no share; all faults are told at once.

    Notes
    -----
    The quantile over 10,000 states of the pilot's doubt, none of an outer mean square below the inner one, laid out
    evenly in the quantile scale of chi-square; of one mean square exactly (``intervals.sd_upper``). Satterthwaite's df
    do not serve here: of a difference of two mean squares on 2 df they may be 0.4, and the limit a thousandfold.

    Checked against: drawn true mean squares, tests/unit/numeric/test_pilot_doubt.py.
    """
    faults = [*_faults(pilot), *guards.probability("level", level)]
    raise_all(SizingError, "The upper limit of the scatter cannot be told.", faults)
    count, rows = len(pilot), np.atleast_2d(np.asarray(weights, dtype=float))
    if count == 1:
        square, df = (float(np.asarray(number)) for number in pilot[0])
        return rows[:, 0] * intervals.sd_upper(np.sqrt(square), df, level=level) ** 2
    squares = np.empty((count, _POINTS))
    for at, (step, (square, df)) in enumerate(zip(_STEPS[count], pilot, strict=True)):
        squares[at] = float(np.asarray(square)) * _spread(step, float(np.asarray(df)))
    return np.quantile(rows @ _floored(squares), level, axis=1)


@lru_cache(maxsize=32)
def _spread(step: float, df: float) -> Floats:
    """True over estimated mean square at the multiples of a step; 1 where it is known."""
    return np.broadcast_to(_true((1.0, df), (0.5 + step * np.arange(_POINTS)) % 1.0), _POINTS)


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
    raise_all(SizingError, "The pilot's doubt cannot be laid out.", _faults(pilot))
    place, weight = np.polynomial.legendre.leggauss(nodes)
    squares, weights = np.zeros((0, 1)), np.ones(1)
    for pair in pilot:
        own = _true(pair, 0.5 * (place + 1.0))
        share = 0.5 * weight if len(own) > 1 or nodes == 1 else np.ones(1)
        squares = np.vstack([np.repeat(squares, len(own), axis=1), np.tile(own, squares.shape[1])])
        weights = np.outer(weights, share).ravel()
    return _floored(squares), weights


def _faults(pilot: Sequence[Pair]) -> list[Fault]:
    """All that is wrong with a pilot's mean squares."""
    faults = []
    for square, df in pilot:
        faults += guards.positive("mean square of the pilot", square)
        faults += guards.positive("df of the pilot", df, infinite=True)
    return faults


def _true(pair: Pair, place: Floats) -> Floats:
    """What a true mean square may be, at places of chi-square; the only one where it is known."""
    value, doubt = (float(np.asarray(number)) for number in pair)
    if np.isinf(doubt):
        return np.array([value])
    return value * doubt / np.maximum(chi_square_below(doubt, place), 1e-100)


def _floored(squares: Floats) -> Floats:
    """Mean squares, shape (mean squares, states), none below the next inner one."""
    return np.maximum.accumulate(squares[::-1], axis=0)[::-1]
