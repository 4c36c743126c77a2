"""How closely comparisons follow the order of the runs: a steady drift and one that bends, over all runs and in groups.

May import numpy and the error classes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards

Floats = NDArray[np.float64]

# The rows of ``trends``, in order.
TRENDS = ("linear", "linear within", "quadratic", "quadratic within")
# Lengths below this are rounding.
_NIL = 1e-9


def trends(position: ArrayLike, group: ArrayLike) -> Floats:
    """Give back the shapes that a drift may have over the places of an order, each of length 1.

    Parameters
    ----------
    position : array_like, shape (runs,)
        Where each run stands: any numbers that grow with time.
    group : array_like of int, shape (runs,)
        What each run lies in (its build), from 0 up.

    Returns
    -------
    ndarray, shape (4, runs)
        Linear over all runs, linear within groups (the same slope in each), quadratic over all runs, quadratic within
        groups (the same bend in each). A quadratic one is the square of the distance from the middle, without what is
        straight in it. Rows of noughts where nothing is left, as of a bend over two places.

    Raises
    ------
    ModelError
        When positions and groups do not fit each other.

    Notes
    -----
    Textbook orthogonal polynomials, for places that need not be evenly spaced.

    Checked against: the printed orthogonal polynomials for 4, 5 and 8 places (R. A. Fisher and F. Yates, Statistical
    Tables, table XXIII, from memory), tests/unit/numeric/test_drift.py.
    """
    where, holder = np.asarray(position, dtype=float), np.asarray(group)
    faults = guards.finite("positions", where)
    if where.ndim != 1 or holder.shape != where.shape:
        shapes = f"shapes {where.shape} and {holder.shape} were given"
        faults.append(Fault("positions and groups", shapes, "one of each for each run"))
    raise_all(ModelError, "The drift of an order cannot be told.", faults)
    made = []
    for inside in (np.zeros(len(where), dtype=int), np.unique(holder, return_inverse=True)[1]):
        line = _centred(where, inside)
        bend = _centred(line**2, inside)
        size = float(line @ line)
        made.append((_unit(line), _unit(bend - line * (bend @ line / size) if size > _NIL else bend)))
    return np.array([made[0][0], made[1][0], made[0][1], made[1][1]])


def correlations(weights: ArrayLike, shapes: ArrayLike, group: ArrayLike) -> Floats:
    """Give back the correlation of each comparison with each shape of drift.

    Parameters
    ----------
    weights : array_like, shape (runs, comparisons)
        What each comparison multiplies the run values with.
    shapes : array_like, shape (4, runs)
        As ``trends`` gives them.
    group : array_like of int, shape (runs,)

    Returns
    -------
    ndarray, shape (4, comparisons)
        0 where a drift of that shape does not touch the comparison, 1 or -1 where it cannot be told from it; NaN where
        the comparison does not vary there (builds against each other have nothing within builds), or the shape is nil.

    Notes
    -----
    Checked against: numpy's corrcoef on columns written by hand, tests/unit/numeric/test_drift.py.
    """
    given, found = np.asarray(weights, dtype=float), np.asarray(shapes, dtype=float)
    lengths = norms(given, group)
    lengths = np.where(np.linalg.norm(found, axis=1)[:, None] > _NIL, lengths, np.inf)
    with np.errstate(invalid="ignore"):
        made = np.where(np.isfinite(lengths), found @ given / lengths, np.nan)
    # Rounding leaves 1e-17 where the two have nothing in common.
    return np.where(np.abs(made) < 1e-12, 0.0, made)


def norms(weights: ArrayLike, group: ArrayLike) -> Floats:
    """Give back the lengths that ``correlations`` divides by, the same for every order of the same runs.

    Parameters
    ----------
    weights, group
        As for ``correlations``.

    Returns
    -------
    ndarray, shape (4, comparisons)
        Infinite where a comparison does not vary.

    Notes
    -----
    Checked against: as ``correlations``, which is made of it.
    """
    given = np.asarray(weights, dtype=float)
    inside = np.unique(np.asarray(group), return_inverse=True)[1]
    whole = np.linalg.norm(_centred(given, np.zeros(len(given), dtype=int)), axis=0)
    within = np.linalg.norm(_centred(given, inside), axis=0)
    made = np.array([whole, within, whole, within])
    return np.where(made > _NIL * max(float(np.abs(given).max(initial=0.0)), 1e-300), made, np.inf)


def _centred(values: Floats, inside: NDArray[np.int_]) -> Floats:
    """Values less the mean of their group."""
    count = np.bincount(inside).astype(float)
    total = np.zeros((len(count), *values.shape[1:]))
    np.add.at(total, inside, values)
    return values - (total.T / count).T[inside]


def _unit(values: Floats) -> Floats:
    """Values at length 1; noughts where nothing is left."""
    length = float(np.linalg.norm(values))
    return values / length if length > _NIL else np.zeros_like(values)
