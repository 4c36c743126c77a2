"""Quantiles of chi-square and F for fractional and infinite degrees of freedom, by the share that lies below.

May import numpy and scipy.special; arguments are checked by the callers.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special


def chi_square_below(df: ArrayLike, share: ArrayLike) -> NDArray[np.float64]:
    """The chi-square value below which the share lies; accurate in both tails, finite df only."""
    return 2.0 * special.gammaincinv(0.5 * np.asarray(df, dtype=float), share)


def f_below(df1: ArrayLike, df2: ArrayLike, share: float) -> NDArray[np.float64]:
    """The F value below which the share lies; an infinite second df means a known denominator."""
    numerator, denominator = np.asarray(df1, dtype=float), np.asarray(df2, dtype=float)
    known = np.isinf(denominator)
    return np.where(
        known,
        chi_square_below(numerator, share) / numerator,
        special.fdtri(numerator, np.where(known, 1.0, denominator), share),
    )
