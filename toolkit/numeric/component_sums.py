"""Limits of sums of variance components, such as all that a gauge adds, from independent mean squares.

May import numpy and the error classes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards

_SEED = 20_040_716


def sum_limits(
    mean_squares: ArrayLike, df: ArrayLike, weights: ArrayLike, *, conf_level: float = 0.95, draws: int = 100_000
) -> tuple[float, float]:
    """Give back limits of a variance that is a weighted sum of expected mean squares.

    Parameters
    ----------
    mean_squares : array_like, shape (strata,)
        Independent mean squares, 0 or more.
    df : array_like, shape (strata,)
        Their degrees of freedom, above 0.
    weights : array_like, shape (strata,)
        Of each expected mean square in the sum; they may be negative.
    conf_level : float
        Between 0 and 1.
    draws : int
        At least 1,000; the same draws for every call, so that the same figures give the same limits.

    Returns
    -------
    (float, float)
        Limits of the variance, 0 where they fall below it.

    Raises
    ------
    ModelError
        When an argument is out of range; all faults at once.

    Notes
    -----
    Generalised interval: quantiles of sum of weight * mean square * df / chi-square (S. Weerahandi, Journal of the
    American Statistical Association 88 (1993) 899-905; M. Hamada and S. Weerahandi, Journal of Quality Technology 32
    (2000) 241-253, for gauge studies).

    Checked against: the chi-square limits of one mean square, coverage by simulation,
    tests/unit/numeric/test_component_sums.py.
    """
    squares, freedom, share = (np.atleast_1d(np.asarray(part, dtype=float)) for part in (mean_squares, df, weights))
    faults = [
        *guards.not_negative("mean square", squares),
        *guards.positive("df", freedom),
        *guards.finite("weight", share),
        *guards.probability("conf_level", conf_level),
    ]
    if not len(squares) == len(freedom) == len(share):
        counts = f"{len(squares)}, {len(freedom)} and {len(share)}"
        faults.append(Fault("mean squares, df and weights", counts, "as many of each"))
    if draws < 1000:
        faults.append(Fault("draws", f"{draws}", "1000 at least"))
    raise_all(ModelError, "The limits of the sum cannot be worked out.", faults)
    drawn = np.random.default_rng(_SEED).chisquare(freedom, size=(draws, len(freedom)))
    sums = (share * squares * freedom / drawn).sum(axis=1)
    low, high = np.quantile(sums, [0.5 * (1.0 - conf_level), 0.5 * (1.0 + conf_level)])
    return float(max(low, 0.0)), float(max(high, 0.0))
