"""Shares counted in simulated campaigns, and how far chance alone can take them.

May import numpy, scipy.special and the error classes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from toolkit.errors import Fault, SizingError, raise_all
from toolkit.numeric import _guards as guards


def limits(
    count: ArrayLike, of: ArrayLike, *, conf_level: float = 0.95
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give back the interval of a share that was counted: so many out of so many.

    Parameters
    ----------
    count, of : array_like of int
        How many had it, and how many there were (1 or more).
    conf_level : float

    Returns
    -------
    low, high : ndarray
        Between 0 and 1.

    Raises
    ------
    SizingError
        When more are counted than there were, or a number is out of range.

    Notes
    -----
    C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404-413: never shorter than it says.

    Checked against: the rule of three and scipy's exact binomial interval, tests/unit/numeric/test_shares.py.
    """
    had, total = np.broadcast_arrays(np.asarray(count, dtype=float), np.asarray(of, dtype=float))
    faults = [*guards.probability("conf_level", conf_level), *guards.not_negative("count", had)]
    faults += guards.positive("of", total)
    if not faults and (had > total).any():
        faults.append(Fault("count", "more than there were", "a count of at most their number"))
    raise_all(SizingError, "The share has no interval.", faults)
    tail = 0.5 * (1.0 - conf_level)
    inside_low, inside_high = np.maximum(had, 1.0), np.minimum(had, total - 1.0)
    low = np.where(had > 0.0, special.betaincinv(inside_low, total - inside_low + 1.0, tail), 0.0)
    high = np.where(had < total, special.betaincinv(inside_high + 1.0, total - inside_high, 1.0 - tail), 1.0)
    return low, high
