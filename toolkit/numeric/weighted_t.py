"""The t by which a contrast is judged whose error is a sum of mean squares, few degrees of freedom among them.

From three degrees of freedom on a nominal 5 % is 6.4 % at most by those of Satterthwaite; below, a mean square that
came out small by luck passes for a well-known one, and it becomes up to 12 %. There the critical value is that of
Cochran and Cox, which never falls below the t of the better known mean square.

May import numpy, scipy.special and the error classes.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from toolkit.errors import SizingError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric import components

Floats = NDArray[np.float64]

FEWEST_DF = 3.0
# Places of the table of critical t over 1 / df from 0 to 1: interpolation errs by less than 1e-6 of the value.
_TABLE = 8193


def critical(coefs: ArrayLike, mean_squares: ArrayLike, dfs: ArrayLike, *, alpha: float = 0.05) -> Floats:
    """Give back the critical value of a contrast over the root of a weighted sum of independent mean squares.

    Parameters
    ----------
    coefs : array_like, shape (..., k)
        Weights of the mean squares, 0 or more.
    mean_squares : array_like, shape (..., k)
        0 or more, their weighted sum above 0.
    dfs : array_like, shape (..., k)
        Their degrees of freedom, 1 or more.
    alpha : float
        Two-sided error rate.

    Returns
    -------
    ndarray, shape (...)
        Critical t of each mean square, weighted by its share in the sum.

    Raises
    ------
    SizingError
        When an argument is out of range; all faults are told at once.

    Notes
    -----
    W. G. Cochran and G. M. Cox, Experimental Designs, 2nd ed. 1957, section 7.15, for whole plots at one level of the
    subplots (from memory); W. G. Cochran, Biometrics 20 (1964) 191-195 (from memory).

    Checked against: false alarms by quadrature over both chi-squares, tests/unit/numeric/test_weighted_t.py.
    """
    faults = [
        *guards.not_negative("weight", coefs),
        *guards.not_negative("mean square", mean_squares),
        *guards.positive("df", dfs, infinite=True),
        *guards.probability("alpha", alpha),
    ]
    raise_all(SizingError, "The critical value of the sum cannot be worked out.", faults)
    shares = np.asarray(coefs, dtype=float) * np.asarray(mean_squares, dtype=float)
    each = -special.stdtrit(np.minimum(np.asarray(dfs, dtype=float), 1e12), 0.5 * alpha)
    total = shares.sum(axis=-1)
    return np.where(total > 0.0, (shares * each).sum(axis=-1) / np.where(total > 0.0, total, 1.0), np.inf)


def judged_df(coefs: ArrayLike, mean_squares: ArrayLike, dfs: ArrayLike, *, alpha: float = 0.05) -> Floats:
    """Give back the degrees of freedom of the t that judges a contrast whose error is a sum of mean squares.

    Parameters
    ----------
    coefs, mean_squares, dfs, alpha
        As for ``critical``.

    Returns
    -------
    ndarray, shape (...)
        Satterthwaite's where every mean square that counts has 3 df or more, or only one counts; elsewhere those of the
        t with the critical value of Cochran and Cox.

    Raises
    ------
    SizingError
        As ``critical``.

    Notes
    -----
    Checked against: as ``critical``; ``components.satterthwaite``, tests/unit/numeric/test_weighted_t.py.
    """
    weights, squares, number = np.broadcast_arrays(*(np.asarray(item, float) for item in (coefs, mean_squares, dfs)))
    plain = components.satterthwaite(weights, squares, number)
    counted = weights > 0.0
    few = (counted & (number < FEWEST_DF)).any(axis=-1) & (counted.sum(axis=-1) > 1) & (plain > 0.0)
    if not few.any():
        return plain
    return np.where(few, _df_at(critical(weights, squares, number, alpha=alpha), alpha), plain)


def _df_at(values: Floats, alpha: float) -> Floats:
    """The df whose t has these critical values."""
    inverse, table = _known(alpha)
    return 1.0 / np.maximum(np.interp(values, table, inverse), 1e-12)


@lru_cache(maxsize=8)
def _known(alpha: float) -> tuple[Floats, Floats]:
    """1 / df from 0 to 1 and the critical values there, rising."""
    inverse = np.linspace(0.0, 1.0, _TABLE)
    return inverse, -special.stdtrit(1.0 / np.maximum(inverse, 1e-12), 0.5 * alpha)
