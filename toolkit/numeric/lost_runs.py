"""What the loss of one run, two or more does to each comparison, for every way of losing them, without fitting anew.

May import numpy and the error classes.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._bases import OUTSIDE, Floats, basis_of, outside

# A run, or a direction of several, that the model cannot foretell from the others: one less its leverage is rounding.
_ALONE = 1e-9


@dataclass(frozen=True, eq=False)
class Losses:
    """The runs with each set of lost ones taken out.

    Attributes
    ----------
    lost : ndarray of int, shape (sets, runs lost)
    variance : ndarray, shape (sets, comparisons)
        Variance of each comparison in units of the variance of a run value; infinite where not estimable any more.
    error_df : ndarray of int, shape (sets,)
        Degrees of freedom left for error.
    """

    lost: NDArray[np.int_]
    variance: Floats
    error_df: NDArray[np.int_]


def losses(matrix: ArrayLike, rows: ArrayLike, *, lost: int = 1) -> Losses:
    """Give back what each comparison's variance and the error's degrees of freedom become when runs are lost.

    Parameters
    ----------
    matrix : array_like, shape (runs, columns)
        Columns of the model.
    rows : array_like, shape (comparisons, columns)
        Coefficients of each comparison.
    lost : int
        How many runs are lost, 1 or more and fewer than there are.

    Returns
    -------
    Losses
        One line for every set of that many runs.

    Raises
    ------
    ModelError
        When an array is not two-dimensional, holds a missing value, the numbers of columns differ, or more runs are
        lost than there are.

    Notes
    -----
    With H the projection on the columns, a comparison's weights a on the run values and a set S of lost runs, the
    variance becomes a'a + a_S' (I - H_SS)^-1 a_S (the least-squares downdate; for one run D. F. Andrews and A. M.
    Herzberg, Journal of the Royal Statistical Society B 41 (1979) 284-289, from memory). A direction of S that no other
    run can foretell takes a column with it: what rests on it is not estimable any more, and no df of the error goes.

    Checked against: the runs left fitted anew by numpy's pseudo-inverse and rank, tests/unit/numeric/test_lost_runs.py.
    """
    arrays, faults = [], []
    for name, given in (("columns", matrix), ("comparisons", rows)):
        array = np.asarray(given, dtype=float)
        arrays.append(array)
        if array.ndim != 2:
            faults.append(Fault(name, f"an array of {array.ndim} dimensions was given", "two dimensions"))
            continue
        faults += guards.finite(name, array)
        if arrays[0].ndim == 2 and array.shape[1] != arrays[0].shape[1]:
            faults.append(Fault(name, f"{array.shape[1]} columns were given", f"{arrays[0].shape[1]}"))
    if not faults and not 1 <= lost < len(arrays[0]):
        faults.append(Fault("runs lost", f"{lost} was given", f"a whole number from 1 to {len(arrays[0]) - 1}"))
    raise_all(ModelError, "It cannot be told what lost runs would do.", faults)
    runs, asked = arrays
    basis = basis_of(runs)
    asked = asked * basis.scale
    hidden = np.linalg.norm(outside(basis.right.T, asked.T), axis=0) > OUTSIDE * np.linalg.norm(asked, axis=1)
    weights = (asked @ basis.right.T / basis.sizes) @ basis.left.T
    sets = np.array(list(combinations(range(len(runs)), lost)))
    left = basis.left[sets]
    sizes, turns = np.linalg.eigh(np.eye(lost) - left @ left.swapaxes(1, 2))
    alone = sizes < _ALONE
    along = np.einsum("kcs,ksd->kcd", weights[:, sets].swapaxes(0, 1), turns)
    length = np.linalg.norm(weights, axis=1)
    gone = (np.abs(along) > OUTSIDE * length[None, :, None]) & alone[:, None, :]
    more = np.where(alone[:, None, :], 0.0, along**2 / np.where(alone, 1.0, sizes)[:, None, :])
    variance = length**2 + more.sum(axis=2)
    variance[gone.any(axis=2) | hidden] = np.inf
    error_df = len(runs) - len(basis.sizes) - lost + alone.sum(axis=1)
    return Losses(sets, variance, error_df)
