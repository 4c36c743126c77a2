"""Power of t and F tests at a known scatter, and the smallest difference a plan can be expected to show.

May import numpy, scipy.special and the error classes. The noncentral t is not used at all: scipy's gives
NaN in the region that power needs (3 degrees of freedom, noncentrality 8), so two-sided t power goes
through the noncentral F.
"""

from __future__ import annotations

import functools

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from toolkit.errors import SizingError, raise_all
from toolkit.numeric import _guards as guards

# Above this many denominator degrees of freedom F is chi-square over its df to more digits than float64
# resolves in a power; above this noncentrality the unit normal noise of the estimate is 1e-4 of the effect
# or less.
_MANY_DF = 1e9
_LARGE_NONCENTRALITY = 1e8
# Sixty halvings of a bracket no wider than itself leave less than 1e-17 of it.
_HALVINGS = 60


def critical_t(df: ArrayLike, *, alpha: float = 0.05) -> NDArray[np.float64]:
    """Give back the two-sided critical value of t; infinite where fewer than one degree of freedom is left.

    Parameters
    ----------
    df : array_like
        Error degrees of freedom, 0 or more; fractions and infinity are allowed.
    alpha : float
        Two-sided error rate, between 0 and 1.

    Returns
    -------
    ndarray, shape of ``df``
        The value that \\|t\\| exceeds with probability ``alpha`` when there is no effect; ``inf`` for
        ``df`` below 1 (no interval can be stated).

    Raises
    ------
    SizingError
        When ``alpha`` or ``df`` is out of range.

    Notes
    -----
    Checked against: ISO 2602 / Student's table (t of 2 df at 95 % = 4.303),
    tests/unit/numeric/test_noncentral.py.
    """
    faults = [*guards.probability("alpha", alpha), *guards.not_negative("df", df, infinite=True)]
    raise_all(SizingError, "The critical value of t cannot be worked out.", faults)
    given = np.asarray(df, dtype=float)
    return np.where(given < 1.0, np.inf, -special.stdtrit(np.maximum(given, 1.0), 0.5 * alpha))


def power_f(lam: ArrayLike, df1: ArrayLike, df2: ArrayLike, *, alpha: float = 0.05) -> NDArray[np.float64]:
    """Give back the chance that an F test comes out significant at a given noncentrality.

    Parameters
    ----------
    lam : array_like
        Noncentrality, 0 or more: the sum of squares of the true effects over the error variance of one run.
    df1 : array_like
        Degrees of freedom of the effect, 1 or more.
    df2 : array_like
        Degrees of freedom of the error, 0 or more; infinity for a known scatter.
    alpha : float
        Error rate of the test, between 0 and 1.

    Returns
    -------
    ndarray, broadcast shape of ``lam``, ``df1``, ``df2``
        Power between 0 and 1, never NaN; 0 where ``df2`` is below 1, because no test can be made.

    Raises
    ------
    SizingError
        When an argument is out of range; all faults are told at once.

    Notes
    -----
    Power = P(F' > F_crit) with F' noncentral F on (df1, df2). For noncentralities beyond 1e8 the limit
    P(chi2_df2 < df2 lam / (df1 F_crit)) is used, where the noise of the effect no longer counts.

    Checked against: k09-power-anova-cohen (J. Cohen, Statistical Power Analysis, 2nd ed. 1988, f = 0.25, k
    = 4, 45 per group), R 4.2.2 power.anova.test.
    """
    faults = [
        *guards.not_negative("noncentrality", lam),
        *guards.positive("df of the effect", df1),
        *guards.not_negative("df of the error", df2, infinite=True),
        *guards.probability("alpha", alpha),
    ]
    raise_all(SizingError, "The power of the F test cannot be worked out.", faults)
    noncentrality, numerator, denominator = np.broadcast_arrays(
        np.asarray(lam, dtype=float), np.asarray(df1, dtype=float), np.asarray(df2, dtype=float)
    )
    error_df = np.clip(denominator, 1.0, _MANY_DF)
    known = denominator > _MANY_DF
    # fdtri and ncfdtr are finite on this clipped range; known scatter is replaced by chi-square below.
    critical = np.where(
        known, special.chdtri(numerator, alpha) / numerator, special.fdtri(numerator, error_df, 1.0 - alpha)
    )
    moderate = np.minimum(noncentrality, _LARGE_NONCENTRALITY)
    missed = np.where(
        known,
        special.chndtr(numerator * critical, numerator, moderate),
        special.ncfdtr(numerator, error_df, moderate, critical),
    )
    power = 1.0 - missed
    # Kept from overflowing when it is multiplied by the df; power is 1 long before.
    huge = np.minimum(noncentrality, 1e250)
    limit = special.gammainc(0.5 * error_df, 0.5 * error_df * huge / (numerator * critical))
    power = np.where((noncentrality > _LARGE_NONCENTRALITY) | np.isnan(power), limit, power)
    return np.where(denominator < 1.0, 0.0, np.clip(power, 0.0, 1.0))


def power_t(delta: ArrayLike, std_error: ArrayLike, df: ArrayLike, *, alpha: float = 0.05) -> NDArray[np.float64]:
    """Give back the chance that the interval of a comparison excludes zero, at a known scatter.

    Both directions count: with a tiny true change an interval on the wrong side of zero counts too.

    Parameters
    ----------
    delta : array_like
        True difference [the unit of the response, or ln ratio], any sign.
    std_error : array_like
        True standard error of the estimate [same unit], above 0.
    df : array_like
        Error degrees of freedom, 0 or more; infinity for a known scatter.
    alpha : float
        1 minus the confidence level of the interval, between 0 and 1.

    Returns
    -------
    ndarray, broadcast shape of ``delta``, ``std_error``, ``df``
        Power between 0 and 1, never NaN; 0 where ``df`` is below 1, because no interval can be stated.

    Raises
    ------
    SizingError
        When an argument is out of range; all faults are told at once.

    Notes
    -----
    t squared with noncentrality nc = delta / std_error is F on (1, df) with noncentrality nc squared.

    Checked against: k09-power-t, k09-power-2k-effect (R 4.2.2, power.t.test strict).
    """
    faults = [
        *guards.finite("difference", delta),
        *guards.positive("standard error", std_error),
        *guards.not_negative("df", df, infinite=True),
        *guards.probability("alpha", alpha),
    ]
    raise_all(SizingError, "The power of the comparison cannot be worked out.", faults)
    # A ratio beyond 1e150 would overflow when squared; power is 1 long before that.
    with np.errstate(over="ignore"):
        ratio = np.abs(np.asarray(delta, dtype=float)) / np.asarray(std_error, dtype=float)
    ratio = np.minimum(ratio, 1e150)
    return power_f(ratio**2, 1.0, df, alpha=alpha)


# The same plans are asked about by many questions, as planned and as run.
@functools.lru_cache(maxsize=512)
def _noncentrality(dfs: tuple[float, ...], alpha: float, power: float) -> NDArray[np.float64]:
    """The ratio of difference to standard error that has the power asked, by halving a bracket."""
    df = np.array(dfs)
    low = np.zeros_like(df)
    high = critical_t(df, alpha=alpha) + 1.0
    for _ in range(_HALVINGS):
        short = power_f(high**2, 1.0, df, alpha=alpha) < power
        if not short.any():
            break
        low, high = np.where(short, high, low), np.where(short, 2.0 * high, high)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        short = power_f(middle**2, 1.0, df, alpha=alpha) < power
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return high


def detectable(std_error: ArrayLike, df: ArrayLike, *, alpha: float = 0.05, power: float = 0.80) -> NDArray[np.float64]:
    """Give back the smallest true difference that is shown with the power asked, at a known scatter.

    Parameters
    ----------
    std_error : array_like
        True standard error of the estimate [the unit of the response, or ln ratio], above 0.
    df : array_like
        Error degrees of freedom, 0 or more; infinity for a known scatter.
    alpha : float
        1 minus the confidence level of the interval, between 0 and 1.
    power : float
        Chance asked that the interval excludes zero, between 0 and 1.

    Returns
    -------
    ndarray, broadcast shape of ``std_error`` and ``df``
        Size of the difference [the unit of ``std_error``]; ``inf`` where ``df`` is below 1 (nothing can
        be shown), 0 where ``power`` is not above ``alpha`` (no effect at all is "shown" that
        often). On the log scale exp(-value) is the ratio that is detectable downwards and exp(value) the one
        upwards.

    Raises
    ------
    SizingError
        When an argument is out of range; all faults are told at once.

    Notes
    -----
    Solves ``power_t(delta, std_error, df, alpha) = power`` by halving a bracket, to 1e-15 of the answer or
    so.

    Checked against: k09-detectable-ratio-log (R 4.2.2, power.t.test strict).
    """
    faults = [
        *guards.positive("standard error", std_error),
        *guards.not_negative("df", df, infinite=True),
        *guards.probability("alpha", alpha),
        *guards.probability("power", power),
    ]
    raise_all(SizingError, "The detectable difference cannot be worked out.", faults)
    scale, error_df = np.broadcast_arrays(np.asarray(std_error, dtype=float), np.asarray(df, dtype=float))
    if power <= alpha:
        return np.where(error_df < 1.0, np.inf, 0.0)
    distinct, where = np.unique(error_df, return_inverse=True)
    ratio = np.full(distinct.shape, np.inf)
    testable = distinct >= 1.0
    ratio[testable] = _noncentrality(tuple(distinct[testable].tolist()), alpha, power)
    return scale * ratio[where].reshape(error_df.shape)
