"""What every way of judging many data sets begins with: their shape, and the columns taken apart.

May import numpy and the error classes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._bases import Floats

# Directions below this share of the largest are none.
NO_DIRECTION = 1e-9
HEADLINE = "The data sets cannot be judged."


def taken_apart(columns: Floats, rows: Floats) -> tuple[Floats, Floats]:
    """What the columns leave, as orthonormal directions (rows, rows - rank), and the least-squares weights."""
    directions, sizes, turned = np.linalg.svd(columns)
    rank = int((sizes > NO_DIRECTION * max(float(sizes.max(initial=0.0)), 1e-300)).sum())
    return directions[:, rank:], (rows @ turned[:rank].T / sizes[:rank]) @ directions[:, :rank].T


def sets_of(values: ArrayLike, rows: int) -> Floats:
    """The data sets as an array of floats, or an error when they do not fit the layout."""
    given = np.asarray(values, dtype=float)
    faults = guards.finite("values", given)
    if given.ndim != 2 or given.shape[1] != rows:
        found = f"an array of shape {given.shape} was given"
        faults.append(Fault("values", found, f"one row a data set, {rows} values in each"))
    raise_all(ModelError, HEADLINE, faults)
    return given


def asked_of(columns: ArrayLike, rows: ArrayLike) -> tuple[Floats, Floats]:
    """Fixed columns and contrasts as arrays, or an error when they do not fit each other."""
    given, asked = np.asarray(columns, dtype=float), np.atleast_2d(np.asarray(rows, dtype=float))
    faults = guards.finite("columns", given) + guards.finite("contrasts", asked)
    if given.ndim != 2 or asked.shape[-1] != given.shape[-1]:
        found = f"contrasts of shape {asked.shape} meet columns of shape {given.shape}"
        faults.append(Fault("contrasts", found, "one coefficient a column"))
    raise_all(ModelError, HEADLINE, faults)
    return given, asked
