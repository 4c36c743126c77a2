"""What one more run would do to each comparison, for every run that could be made, without fitting anew.

May import numpy and the error classes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._bases import OUTSIDE, basis_of, outside


@dataclass(frozen=True, eq=False)
class OneMore:
    """The runs with each candidate added, one at a time.

    Attributes
    ----------
    variance : ndarray, shape (candidates, comparisons)
        Variance of each comparison in units of the variance of a run value; infinite where not estimable.
    error_df : ndarray of int, shape (candidates,)
        Degrees of freedom left for error.
    """

    variance: NDArray[np.float64]
    error_df: NDArray[np.int64]


def one_more(matrix: ArrayLike, rows: ArrayLike, candidates: ArrayLike) -> OneMore:
    """Give back what each comparison's variance and the error's degrees of freedom become with one run more.

    Parameters
    ----------
    matrix : array_like, shape (runs, columns)
        Columns of the model for the runs at hand, at least one run.
    rows : array_like, shape (comparisons, columns)
        Coefficients of each comparison.
    candidates : array_like, shape (candidates, columns)
        The model's row of each run that could be made next.

    Returns
    -------
    OneMore

    Raises
    ------
    ModelError
        When an array is not two-dimensional, holds a missing value, or the numbers of columns differ.

    Notes
    -----
    A run whose row the runs at hand can tell already: the variance drops by (c'Gx)^2 / (1 + x'Gx), G the inverse of
    X'X by rank (J. Sherman and W. J. Morrison, Annals of Mathematical Statistics 21 (1950) 124-127), and the error
    gains one df. Any other run takes all it tells for the direction it adds: what was estimable keeps its variance,
    a comparison whose remainder is a times that direction becomes estimable with a^2 + (c - a x)'G(c - a x), and the
    df stay.

    Checked against: the runs fitted anew with each candidate by numpy's pseudo-inverse and rank,
    tests/unit/numeric/test_one_more.py.
    """
    arrays, faults = [], []
    for name, given in (("columns", matrix), ("comparisons", rows), ("candidates", candidates)):
        array = np.asarray(given, dtype=float)
        arrays.append(array)
        if array.ndim != 2:
            faults.append(Fault(name, f"an array of {array.ndim} dimensions was given", "two dimensions"))
            continue
        faults += guards.finite(name, array)
        if arrays[0].ndim == 2 and array.shape[1] != arrays[0].shape[1]:
            faults.append(Fault(name, f"{array.shape[1]} columns were given", f"{arrays[0].shape[1]}"))
    raise_all(ModelError, "It cannot be told what one more run would do.", faults)
    runs, asked, more = arrays
    basis = basis_of(runs)
    asked, more = asked * basis.scale, more * basis.scale
    told_c, told_x = asked @ basis.right.T / basis.sizes, more @ basis.right.T / basis.sizes
    left_c, left_x = outside(basis.right.T, asked.T).T, outside(basis.right.T, more.T).T
    now = np.linalg.norm(left_c, axis=1) <= OUTSIDE * np.linalg.norm(asked, axis=1)
    known = np.linalg.norm(left_x, axis=1) <= OUTSIDE * np.linalg.norm(more, axis=1)
    own = (told_c**2).sum(axis=1)
    variance = np.full((len(more), len(asked)), np.inf)
    variance[:, now] = own[now]
    drop = (told_x @ told_c.T) ** 2 / (1.0 + (told_x**2).sum(axis=1))[:, None]
    variance[np.ix_(known, now)] -= drop[np.ix_(known, now)]
    for at in np.flatnonzero(~known):
        direction = left_x[at]
        share = left_c @ direction / (direction @ direction)
        rest = np.linalg.norm(left_c - share[:, None] * direction, axis=1)
        opened = ~now & (rest <= OUTSIDE * np.linalg.norm(asked, axis=1))
        variance[at, opened] = (share**2 + ((told_c - share[:, None] * told_x[at]) ** 2).sum(axis=1))[opened]
    error_df = len(runs) - len(basis.sizes) + known.astype(np.int64)
    return OneMore(variance, error_df)
