"""Power promises of a term with several degrees of freedom: F instead of t (rank 1).

May import numpy, scipy.special, the error classes and its neighbours. The pattern of effects is the least one with a
given difference between two levels: those two differ by it, every other level lies midway; its noncentrality is
delta^2 / (unit variance of that contrast times the mean square).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from toolkit.numeric import noncentral

_NODES = 32
_HALVINGS = 60


def assurance_f(
    delta: float,
    df1: int,
    part: tuple[ArrayLike, ArrayLike],
    pilot: Sequence[tuple[float, float]],
    *,
    alpha: float = 0.05,
    link: ArrayLike | None = None,
) -> NDArray[np.float64]:
    """Give back the chance that an F test shows a term, averaged over the pilot's doubt.

    Parameters
    ----------
    delta : float
        True difference between the two extreme levels.
    df1 : int
        Degrees of freedom of the term.
    part : (unit variance, error df)
        Of the contrast of the extreme levels, one value a plan.
    pilot : sequence of (mean square, df)
        One to three mean squares (the outer one first); an infinite df means known.
    link : array_like, shape (plans, pilot), optional
        The plan's mean square as a sum of the pilot's; default the first one.

    Returns
    -------
    ndarray, shape (plans,)

    Notes
    -----
    Gauss-Legendre in the quantile scale of chi-square, 32 nodes a mean square.

    Checked against: with infinite df equal to ``noncentral.power_f`` (k09-power-anova-cohen); with one df equal to
    ``promise.assurance``; tests/unit/size/test_term_promise.py.
    """
    variance, df2 = (np.atleast_1d(np.asarray(value, dtype=float)) for value in part)
    plans = np.broadcast_shapes(variance.shape, df2.shape)[0]
    matrix = np.eye(1, len(pilot)) if link is None else np.atleast_2d(np.asarray(link, dtype=float))
    place, weight = np.polynomial.legendre.leggauss(_NODES)
    quantile = 0.5 * (place + 1.0)
    states, weights = [], np.ones(1)
    for square, df in pilot:
        spread = np.ones(1) if np.isinf(df) else 2.0 * special.gammaincinv(0.5 * df, quantile) / df
        states = [np.repeat(state, len(spread)) for state in states]
        states.append(np.tile(square / spread, len(weights)))
        weights = np.repeat(weights, len(spread)) * np.tile(
            np.ones(1) if len(spread) == 1 else 0.5 * weight, len(weights)
        )
    for outer in range(len(states) - 2, -1, -1):
        states[outer] = np.maximum(states[outer], states[outer + 1])
    truth = np.broadcast_to(matrix @ np.stack(states), (plans, len(weights)))
    shown = noncentral.power_f(delta**2 / (variance[:, None] * truth), df1, df2[:, None], alpha=alpha)
    return shown @ weights


def detectable_f(
    std_error: ArrayLike, df1: int, df2: ArrayLike, *, alpha: float = 0.05, power: float = 0.80
) -> NDArray[np.float64]:
    """Give back the smallest difference between two extreme levels that the F test shows with the power asked.

    Parameters
    ----------
    std_error : array_like
        Standard error of the contrast of the two extreme levels, above 0.
    df1 : int
        Degrees of freedom of the term.
    df2 : array_like
        Error degrees of freedom; below 1 nothing can be shown (infinite).

    Returns
    -------
    ndarray, broadcast shape

    Notes
    -----
    Solves ``power_f((delta / std_error)^2, df1, df2) = power`` by halving a bracket. Checked against:
    ``noncentral.detectable`` at one degree of freedom; tests/unit/size/test_term_promise.py.
    """
    scale, error_df = np.broadcast_arrays(np.asarray(std_error, dtype=float), np.asarray(df2, dtype=float))
    low, high = np.zeros(scale.shape), np.full(scale.shape, 4.0)
    testable = error_df >= 1.0
    for _ in range(_HALVINGS):
        short = testable & (noncentral.power_f(high**2, df1, error_df, alpha=alpha) < power)
        if not short.any():
            break
        high = np.where(short, 2.0 * high, high)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        short = noncentral.power_f(middle**2, df1, error_df, alpha=alpha) < power
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.where(testable, scale * high, np.inf)
