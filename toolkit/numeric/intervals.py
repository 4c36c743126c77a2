"""Limits for a scatter and for an estimate, and the scatter of ln that goes with a coefficient of variation.

May import numpy, scipy.special and the error classes. All limits are closed forms; nothing is simulated here.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import SizingError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._quantiles import chi_square_below
from toolkit.numeric.noncentral import critical_t


def sd_interval(
    sd: ArrayLike, df: ArrayLike, *, conf_level: float = 0.95
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give back the two limits between which the true SD lies.

    Parameters
    ----------
    sd : array_like
        Estimated SD [any unit, or of ln], 0 or more.
    df : array_like
        Its degrees of freedom, above 0; infinity means the SD is known.
    conf_level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    low, high : ndarray
        Limits in the unit of ``sd``, with half of the doubt in each tail.

    Raises
    ------
    SizingError
        When an argument is out of range; all faults are told at once.

    Notes
    -----
    sd sqrt(df / chi2), with the upper and the lower quantile of chi-square; assumes normal values (ln
    values on the log scale).

    Checked against: the chi-square factors of handbooks (6 df: 0.64 to 2.20),
    tests/unit/numeric/test_intervals.py.
    """
    faults = [
        *guards.not_negative("SD", sd),
        *guards.positive("df", df, infinite=True),
        *guards.probability("conf_level", conf_level),
    ]
    raise_all(SizingError, "The limits of the SD cannot be worked out.", faults)
    tail = 0.5 * (1.0 - conf_level)
    return _sd_limit(sd, df, 1.0 - tail), _sd_limit(sd, df, tail)


def _sd_limit(sd: ArrayLike, df: ArrayLike, share: float) -> NDArray[np.float64]:
    """The SD times sqrt(df / chi-square quantile); the SD itself where the df is infinite."""
    given, freedom = np.asarray(sd, dtype=float), np.asarray(df, dtype=float)
    finite = np.where(np.isinf(freedom), 1.0, freedom)
    # With a tiny fraction of a df the quantile underflows to 0: the limit is then infinite, and 0 for an SD
    # of 0.
    with np.errstate(divide="ignore"):
        factor = np.where(np.isinf(freedom), 1.0, np.sqrt(finite / chi_square_below(finite, share)))
    return given * np.where(given == 0.0, 1.0, factor)


def sd_upper(sd: ArrayLike, df: ArrayLike, *, level: float = 0.80) -> NDArray[np.float64]:
    """Give back the value that the true SD stays below with the confidence asked (one-sided).

    Parameters
    ----------
    sd : array_like
        Estimated SD [any unit, or of ln], 0 or more.
    df : array_like
        Its degrees of freedom, above 0; infinity means the SD is known.
    level : float
        One-sided confidence, between 0 and 1; sizing uses 0.80.

    Returns
    -------
    ndarray, broadcast shape of ``sd`` and ``df``
        Upper limit in the unit of ``sd``.

    Raises
    ------
    SizingError
        When an argument is out of range; all faults are told at once.

    Notes
    -----
    sd sqrt(df / chi2_(1 - level)). Idea: R. H. Browne, Statistics in Medicine 14 (1995) 1933-1940.

    Checked against: k09-sigma-upper-bound (R 4.2.2, qchisq).
    """
    faults = [
        *guards.not_negative("SD", sd),
        *guards.positive("df", df, infinite=True),
        *guards.probability("level", level),
    ]
    raise_all(SizingError, "The upper limit of the SD cannot be worked out.", faults)
    return _sd_limit(sd, df, 1.0 - level)


def t_interval(
    estimate: ArrayLike, std_error: ArrayLike, df: ArrayLike, *, conf_level: float = 0.95
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give back the limits of an estimate from its standard error and degrees of freedom.

    Parameters
    ----------
    estimate : array_like
        Estimate [any unit].
    std_error : array_like
        Its standard error [same unit], 0 or more.
    df : array_like
        Error degrees of freedom, 0 or more; infinity for a known scatter.
    conf_level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    low, high : ndarray
        Limits in the unit of ``estimate``; minus and plus infinity where ``df`` is below 1.

    Raises
    ------
    SizingError
        When an argument is out of range; all faults are told at once.

    Notes
    -----
    Checked against: ISO 2602, t of 2 df at 95 % = 4.303; tests/unit/numeric/test_intervals.py.
    """
    faults = [
        *guards.finite("estimate", estimate),
        *guards.not_negative("standard error", std_error),
        *guards.not_negative("df", df, infinite=True),
        *guards.probability("conf_level", conf_level),
    ]
    raise_all(SizingError, "The interval cannot be worked out.", faults)
    middle, scale = np.asarray(estimate, dtype=float), np.asarray(std_error, dtype=float)
    critical = critical_t(df, alpha=1.0 - conf_level)
    # Without an error df the interval is infinite even where the standard error came out as zero.
    untestable = np.isinf(critical)
    half = np.where(untestable, np.inf, np.where(untestable, 0.0, critical) * scale)
    return middle - half, middle + half


def sd_of_ln_from_cv(cv: ArrayLike) -> NDArray[np.float64]:
    """Give back the SD of ln(value) that goes with a coefficient of variation.

    Parameters
    ----------
    cv : array_like
        SD over mean, as a share (0.20 for 20 %), 0 or more.

    Returns
    -------
    ndarray, shape of ``cv``
        sqrt(ln(1 + cv^2)), exact for log-normal values.

    Raises
    ------
    SizingError
        When a value is negative or not finite.

    Notes
    -----
    Checked against: k09-detectable-ratio-log (CV 0.30 gives 0.29356).
    """
    faults = guards.not_negative("coefficient of variation", cv)
    raise_all(SizingError, "The SD of ln cannot be worked out.", faults)
    return np.sqrt(np.log1p(np.asarray(cv, dtype=float) ** 2))


def cv_from_sd_of_ln(sd: ArrayLike) -> NDArray[np.float64]:
    """Give back the coefficient of variation that goes with an SD of ln(value).

    Parameters
    ----------
    sd : array_like
        SD of ln(value), 0 or more.

    Returns
    -------
    ndarray, shape of ``sd``
        sqrt(exp(sd^2) - 1) as a share, exact for log-normal values.

    Raises
    ------
    SizingError
        When a value is negative or not finite.

    Notes
    -----
    Checked against: k09-detectable-ratio-log (the inverse of CV 0.30 to 0.29356).
    """
    faults = guards.not_negative("SD of ln", sd)
    raise_all(SizingError, "The coefficient of variation cannot be worked out.", faults)
    return np.sqrt(np.expm1(np.asarray(sd, dtype=float) ** 2))
