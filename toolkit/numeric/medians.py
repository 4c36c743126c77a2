"""Changes told the other way round: the difference of two medians from their logs, the ratio of two means.

May import numpy, scipy and the error classes.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards

Floats = NDArray[np.float64]

_NODES = 160
# Beyond this many e-folds of the baseline a limit is as good as none.
_FURTHEST = 200.0


def difference_limits(
    logs: ArrayLike, covariance: ArrayLike, df: float, *, tail: float = 0.025
) -> tuple[float, float]:
    """Give back the limits of the difference of two medians whose logs were estimated.

    Parameters
    ----------
    logs : array_like, shape (2,)
        ln of the median asked about and of the baseline.
    covariance : array_like, shape (2, 2)
        Of the two logs.
    df : float
        Error degrees of freedom, 1 or more.
    tail : float
        Share left out on each side, between 0 and 0.5.

    Returns
    -------
    low, high : float
        In the unit of the medians; -inf or inf where there is no limit.

    Raises
    ------
    ModelError
        When an argument is out of range; all faults are told at once.

    Notes
    -----
    Quantiles of exp(x1) - exp(x0) with x1 and x0 following the bivariate t about their estimates (a generalised
    interval: S. Weerahandi, JASA 88 (1993) 899-905). It excludes 0 exactly where the interval of the ratio excludes
    1. Given x0 the other is t on df + 1; the outer integral is taken over the angle of x0's t value.

    Checked against: drawn differences and coverage by simulation, tests/unit/numeric/test_medians.py.
    """
    middles, spread = np.asarray(logs, dtype=float).ravel(), np.asarray(covariance, dtype=float)
    faults = [*guards.finite("logs", middles), *guards.finite("covariance", spread), *guards.positive("df", df)]
    if df < 1.0:
        faults.append(Fault("df", f"{df:g} was given", "1 or more"))
    if not 0.0 < tail < 0.5:
        faults.append(Fault("tail", f"{tail:g} was given", "a share between 0 and 0.5"))
    if middles.shape != (2,) or spread.shape != (2, 2):
        faults.append(Fault("logs", f"{middles.size} of them were given", "two, with a covariance of 2 by 2"))
    elif spread[1, 1] <= 0.0 or spread[0, 0] * spread[1, 1] - spread[0, 1] ** 2 <= 0.0:
        faults.append(Fault("covariance", "it is singular", "two logs that are not one and the same"))
    raise_all(ModelError, "The difference of the medians cannot be limited.", faults)
    place, weight = np.polynomial.legendre.leggauss(_NODES)
    angle = 0.5 * np.pi * place
    density = weight * np.cos(angle) ** (df - 1.0)
    density /= density.sum()
    t0 = np.sqrt(df) * np.tan(angle)
    shift = t0 * np.sqrt(spread[1, 1])
    # Of the change in ln, given the baseline's ln.
    slope = spread[0, 1] / spread[1, 1] - 1.0
    left = spread[0, 0] - spread[0, 1] ** 2 / spread[1, 1]
    middle = middles[0] - middles[1] + slope * shift
    scale = np.sqrt(left * (df + t0**2) / (df + 1.0))

    def below(reach: float) -> float:
        """The chance that the difference is below sinh(reach) baselines."""
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            inside = 1.0 + np.sinh(reach) * np.exp(-shift)
            cut = np.where(inside > 0.0, np.log(np.maximum(inside, 1e-300)), -np.inf)
        return float(density @ special.stdtr(df + 1.0, (cut - middle) / scale))

    base, start = float(np.exp(middles[1])), float(np.arcsinh(np.expm1(min(middles[0] - middles[1], _FURTHEST))))
    return _quantile(below, tail, start) * base, _quantile(below, 1.0 - tail, start) * base


def ratio_limits(
    means: ArrayLike, covariance: ArrayLike, df: float, *, tail: float = 0.025
) -> tuple[float, float] | None:
    """Give back the limits of the ratio of two means, or None where there are none.

    Parameters
    ----------
    means : array_like, shape (2,)
        The mean asked about and the baseline.
    covariance : array_like, shape (2, 2)
        Of the two means.
    df : float
        Error degrees of freedom, 1 or more.
    tail : float
        Share left out on each side, between 0 and 0.5.

    Returns
    -------
    (low, high) or None
        None where the baseline's own interval holds 0: any ratio could be.

    Raises
    ------
    ModelError
        When an argument is out of range; all faults are told at once.

    Notes
    -----
    E. C. Fieller, Journal of the Royal Statistical Society B 16 (1954) 175-185: the ratios r for which mean less r
    times baseline could be 0. It excludes 1 exactly where the interval of the difference excludes 0.

    Checked against: the definition by search, tests/unit/numeric/test_medians.py.
    """
    one, base = np.asarray(means, dtype=float).ravel()
    spread = np.asarray(covariance, dtype=float)
    faults = [*guards.finite("means", means), *guards.finite("covariance", spread), *guards.positive("df", df)]
    if not 0.0 < tail < 0.5:
        faults.append(Fault("tail", f"{tail:g} was given", "a share between 0 and 0.5"))
    raise_all(ModelError, "The ratio of the means cannot be limited.", faults)
    squared = float(special.stdtrit(df, tail)) ** 2
    a = base**2 - squared * spread[1, 1]
    if a <= 0.0:
        return None
    b, c = one * base - squared * spread[0, 1], one**2 - squared * spread[0, 0]
    root = np.sqrt(max(b**2 - a * c, 0.0))
    return float((b - root) / a), float((b + root) / a)


def _quantile(below: Callable[[float], float], share: float, start: float) -> float:
    """The number of baselines below which the difference is with this chance; infinite where it has no end."""
    from scipy.optimize import brentq

    step = 0.25 if below(start) < share else -0.25
    near = far = start
    while (below(far) < share) is (step > 0.0):
        near, far, step = far, far + step, 2.0 * step
        if abs(far) > _FURTHEST:
            return float(np.copysign(np.inf, step))
    return float(np.sinh(brentq(lambda reach: below(reach) - share, near, far, xtol=1e-12)))
