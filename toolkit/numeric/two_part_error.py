"""Ratios of means where the scatter has a fixed part (the gauge) and a part that grows with the level (rank 1).

Mean mu = exp(x beta), variance g^2 + (c mu)^2 with g known. Values at or below nought are values like others: what is
modelled is the mean, never the logarithm of a value.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from toolkit.numeric import contrasts

_STEPS, _HALVINGS, _ROUNDS = 60, 40, 200
# A mean this small against the gauge is one that the values cannot tell from nought.
_NOUGHT = 1e-3


@dataclass(frozen=True, eq=False)
class TwoPartFit:
    """The fit of means on the log scale under the two-part error.

    Attributes
    ----------
    beta : ndarray, shape (columns,)
    covariance : ndarray, shape (columns, columns)
    cv : float
        The part that grows with the level, as a share of it; 0 where the gauge alone explains the scatter.
    means : ndarray, shape (n,)
    df : int
    """

    beta: np.ndarray
    covariance: np.ndarray
    cv: float
    means: np.ndarray
    df: int


def fit(columns: ArrayLike, values: ArrayLike, gauge_sd: float) -> TwoPartFit | None:
    """The fit by quasi-likelihood; None where a mean cannot be told from nought.

    Parameters
    ----------
    columns : array, shape (n, p)
        Of full column rank.
    values : array, shape (n,)
        Of any sign.
    gauge_sd : float
        The fixed part, in the unit of the values; above 0.

    Returns
    -------
    TwoPartFit or None

    Raises
    ------
    ValueError
        When shapes disagree, columns are aliased, no degrees of freedom are left, or the gauge SD is not above 0.

    Notes
    -----
    R. W. M. Wedderburn, Biometrika 61 (1974) 439-447: weights mu^2 / (g^2 + c^2 mu^2), log link; c from the sum of
    squared residuals over their variances, set to its degrees of freedom (P. McCullagh and J. A. Nelder, Generalized
    Linear Models, 1989), 0 where it is below them already. Without the fixed part it is a constant coefficient of
    variation.

    Checked against: statsmodels' GLM with a log link and the same variance function, size and coverage by simulation,
    tests/unit/numeric/test_two_part_error.py.
    """
    x, y = np.asarray(columns, dtype=float), np.asarray(values, dtype=float)
    if x.ndim != 2 or y.shape != (len(x),):
        raise ValueError(f"shapes {x.shape} and {y.shape}: expected (n, p) and (n,).")
    if not gauge_sd > 0.0:
        raise ValueError(f"gauge_sd = {gauge_sd!r}: expected a number above 0.")
    if contrasts.rank(x) < x.shape[1]:
        raise ValueError("columns are aliased: take out those that say nothing of their own.")
    df = len(y) - x.shape[1]
    if df < 1:
        raise ValueError("no degrees of freedom are left for the error.")
    unit = max(float(np.abs(y).mean()), gauge_sd)
    y, g = y / unit, gauge_sd / unit
    beta = np.linalg.lstsq(x, np.log(np.maximum(y, g)), rcond=None)[0]
    square = 0.1
    for _ in range(_ROUNDS):
        found = _solved(x, y, g, square, beta)
        if found is None:
            return None
        beta = found
        new = _level_part(y, np.exp(x @ beta), g, df)
        if abs(new - square) <= 1e-12 + 1e-10 * square:
            square = new
            break
        square = new
    found = _solved(x, y, g, square, beta)
    if found is None:
        return None
    means = np.exp(x @ found)
    weights = means**2 / (g**2 + square * means**2)
    shift = np.linalg.lstsq(x, np.full(len(y), math.log(unit)), rcond=None)[0]
    covariance = np.linalg.pinv((x * weights[:, None]).T @ x, hermitian=True)
    return TwoPartFit(found + shift, covariance, math.sqrt(square), means * unit, df)


def _quasi(y: np.ndarray, eta: np.ndarray, g: float, square: float) -> float:
    """The quasi-likelihood at log means eta."""
    if np.any(eta > 300.0):
        return -math.inf
    mu = np.exp(eta)
    if square <= 1e-10:
        return float(-((y - mu) ** 2).sum() / (2.0 * g * g))
    c = math.sqrt(square)
    return float((y / (g * c) * np.arctan(c * mu / g) - np.log(g * g + square * mu * mu) / (2.0 * square)).sum())


def _solved(x: np.ndarray, y: np.ndarray, g: float, square: float, start: np.ndarray) -> np.ndarray | None:
    """The coefficients of greatest quasi-likelihood for a given level part; None where a mean goes to nought."""
    beta = start
    level = _quasi(y, x @ beta, g, square)
    for _ in range(_STEPS):
        mu = np.exp(x @ beta)
        variance = g * g + square * mu * mu
        score = x.T @ (mu * (y - mu) / variance)
        information = (x * (mu * mu / variance)[:, None]).T @ x
        if mu.min() < _NOUGHT * g:
            return None
        step = np.linalg.lstsq(information, score, rcond=None)[0]
        size = 1.0
        for _half in range(_HALVINGS):
            trial = beta + size * step
            new = _quasi(y, x @ trial, g, square)
            if new >= level - 1e-13 * abs(level):
                break
            size /= 2.0
        else:
            break
        beta, level = trial, new
        if float(np.abs(score @ step)) < 1e-14:
            break
    return None if np.exp(x @ beta).min() < _NOUGHT * g else beta


def _level_part(y: np.ndarray, mu: np.ndarray, g: float, df: int) -> float:
    """The square of the level part at which the squared residuals over their variances add to the df."""
    rest = (y - mu) ** 2

    from scipy.optimize import brentq

    def beyond(square: float) -> float:
        """How far the sum lies above the df."""
        return float((rest / (g * g + square * mu * mu)).sum()) - df

    if beyond(0.0) <= 0.0:
        return 0.0
    top = 1.0
    while beyond(top) > 0.0:
        top *= 4.0
    return float(brentq(beyond, 0.0, top, xtol=1e-14, rtol=1e-12))
