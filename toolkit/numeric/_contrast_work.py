"""What is common to the ways to the df of contrasts in a linear mixed model.

May import numpy, scipy.special and the error classes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._bases import Floats, basis_of
from toolkit.numeric.contrast_tests import ContrastTests, FTest


def rows_of(rows: ArrayLike, parameters: int, *, together: bool) -> Floats:
    """The rows of contrasts, shape (contrasts, p), or every fault that they have."""
    given = np.asarray(rows, dtype=float)
    where, faults = "contrasts", []
    if given.ndim != 2 or given.shape[1] != parameters:
        found = f"an array of shape {given.shape} was given"
        faults = [Fault(where, found, f"one row a contrast, {parameters} coefficients in each")]
    else:
        faults = guards.finite(where, given)
        nil = np.flatnonzero(~given.any(axis=1)) if not faults else np.array([], dtype=int)
        if len(nil) or not len(given):
            found = f"row {nil[0] + 1} is nought throughout" if len(nil) else "none was given"
            faults.append(Fault(where, found, "at least one coefficient that is not 0"))
        elif not faults and together and len(given) > 1:
            rank = len(basis_of(given.T).sizes)
            if rank < len(given):
                found = f"{len(given)} rows of rank {rank}"
                faults.append(Fault(where, found, "rows that each say something of their own"))
    raise_all(ModelError, "The contrasts cannot be tested.", faults)
    return given


def tests_of(estimate: Floats, variance: Floats, df: Floats) -> ContrastTests:
    """t tests from estimates, their variances and df."""
    error = np.sqrt(variance)
    t = estimate / error
    # Without a limit to the df this is the normal distribution.
    p_value = 2.0 * np.where(np.isinf(df), special.ndtr(-np.abs(t)), special.stdtr(np.minimum(df, 1e300), -np.abs(t)))
    return ContrastTests(estimate, error, df, t, p_value)


def f_test_of(f: Floats, num_df: int, den_df: Floats, scale: Floats) -> FTest:
    """An F test from its statistic (``scale`` taken in) and df."""
    return FTest(f, num_df, den_df, scale, special.fdtrc(num_df, np.minimum(den_df, 1e12), f))


def inside(rows: Floats, matrices: Floats) -> Floats:
    """L M L' for matrices of shape (..., p, p)."""
    return np.matmul(np.matmul(rows, matrices), rows.T)


def along(rows: Floats, matrices: Floats) -> Floats:
    """l' M l for each row l, shape (..., contrasts), of matrices of shape (..., p, p)."""
    return (np.matmul(rows, matrices) * rows).sum(axis=-1)


def inverse_of(matrices: Floats) -> Floats:
    """The inverse of information matrices, each source brought to the same size first; by rank where singular."""
    root = np.sqrt(np.diagonal(matrices, axis1=-2, axis2=-1))
    scale = 1.0 / (root[..., :, None] * root[..., None, :])
    return np.linalg.pinv(matrices * scale, rcond=1e-12, hermitian=True) * scale
