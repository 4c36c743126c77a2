"""Normal least squares where some values are only known to lie below a limit: estimates, intervals, p (rank 1).

With gamma = beta / sigma and theta = 1 / sigma the log-likelihood is concave (R. J. Olsen, Econometrica 46 (1978)
1211-1215): Newton's method finds its one maximum, for many samples at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special

from toolkit.numeric import contrasts

_STEPS, _HALVINGS = 60, 40
_FAR = 6.0  # a censored row this many SDs above its fit says nothing more: the fit runs away from it
_REACH = 60.0


@dataclass(frozen=True, eq=False)
class CensoredFit:
    """The fit of values some of which lie below a limit.

    Attributes
    ----------
    beta : ndarray, shape (columns,)
    sigma : float
        Maximum likelihood; sqrt(n / df) times as large is the SD to quote.
    log_likelihood : float
    runs_away : bool
        True when a coefficient has no finite estimate, because every value that tells of it is below its limit.
    """

    beta: np.ndarray
    sigma: float
    log_likelihood: float
    runs_away: bool


@dataclass(frozen=True)
class Limits:
    """The interval of a contrast; None is an end that the data leave open."""

    estimate: float | None
    low: float | None
    high: float | None


def fit(columns: ArrayLike, values: ArrayLike, below: ArrayLike) -> CensoredFit:
    """The fit of greatest likelihood.

    Parameters
    ----------
    columns : array, shape (n, p)
        Of full column rank.
    values : array, shape (n,)
        The value, or the limit it lies below.
    below : array of bool, shape (n,)

    Returns
    -------
    CensoredFit

    Raises
    ------
    ValueError
        When fewer values than columns plus one are above their limits, columns are aliased, or shapes disagree.

    Notes
    -----
    Checked against: scipy.stats.CensoredData (one sample), an independent maximiser, ordinary least squares without
    censoring, tests/unit/numeric/test_censored.py.
    """
    x, y, cut = _checked(columns, values, below)
    scale, centre = _scaled(y, cut)
    weights, level = _maximum(_rows(x, (y - centre)[None, :] / scale), cut[None, :], np.eye(x.shape[1] + 1))
    sigma = 1.0 / weights[0, -1]
    beta = weights[0, :-1] * sigma * scale
    # The centre belongs to whatever combination of columns is constant.
    beta = beta + np.linalg.lstsq(x, np.full(len(y), centre), rcond=None)[0]
    n_above = int((~cut).sum())
    far = (y - x @ beta)[cut] / (sigma * scale)
    runs_away = bool(contrasts.rank(x[~cut]) < x.shape[1] and np.any(far > _FAR))
    return CensoredFit(beta, float(sigma * scale), float(level[0] - n_above * math.log(scale)), runs_away)


def limits(
    columns: ArrayLike, values: ArrayLike, below: ArrayLike, row: ArrayLike, *, level: float, df: int
) -> Limits:
    """The estimate of a contrast with its profile-likelihood interval, cut where t would cut without censoring.

    Parameters
    ----------
    columns, values, below
        As for ``fit``.
    row : array, shape (p,)
        The contrast.
    level : float
        Such as 0.95.
    df : int
        Degrees of freedom of the error, at least 1: n less the rank of the columns.

    Returns
    -------
    Limits
        Where the contrast has no finite estimate the estimate is None, and so is the end that stays open.

    Notes
    -----
    Keeps every value whose twice log-likelihood ratio is at most n ln(1 + t^2 / df), which without censoring is the t
    interval exactly (own algebra). Coverage by simulation in tests/unit/numeric/test_censored.py.
    """
    x, y, cut = _checked(columns, values, below)
    whole = fit(x, y, cut)
    c = np.asarray(row, dtype=float)
    quantile = float(special.stdtrit(df, 0.5 + level / 2.0))
    allowed = len(y) * math.log1p(quantile**2 / df)
    at = float(c @ whole.beta)
    step = whole.sigma * math.sqrt(float(c @ np.linalg.pinv(x.T @ x) @ c))

    def beyond(value: float) -> float:
        """How far the likelihood ratio of a value lies above what is allowed."""
        return 2.0 * (whole.log_likelihood - _profile(x, y, cut, c, value)) - allowed

    if whole.runs_away and not contrasts.estimable(c[None, :], x[~cut])[0]:
        return _one_sided(beyond, at, step)
    return Limits(at, _end(beyond, at, -step), _end(beyond, at, step))


def ratio_p(
    columns: ArrayLike,
    values: ArrayLike,
    below: ArrayLike,
    row: ArrayLike,
    *,
    limit: float,
    df: int,
    draws: int,
    seed: int,
) -> float:
    """The p value of no change by parametric bootstrap of the likelihood ratio.

    Parameters
    ----------
    columns, values, below, row
        As for ``limits``.
    limit : float
        The limit that the other values would have been censored at, on the scale of ``values``.
    df : int
        Degrees of freedom of the error; the SD drawn from is sqrt(n / df) times that of greatest likelihood.
    draws : int
        How many campaigns are drawn under no change.
    seed : int

    Returns
    -------
    float
        (1 + draws at least as far) / (1 + draws).

    Notes
    -----
    Size by simulation in tests/unit/numeric/test_censored.py.
    """
    x, y, cut = _checked(columns, values, below)
    c = np.asarray(row, dtype=float)
    free = _null(c, 0.0)
    scale, centre = _scaled(y, cut)
    shifted = (y - centre) / scale
    # Constants stay out of the contrast, so that the shift leaves it as it is.
    weights, level = _maximum(_rows(x, shifted[None, :]), cut[None, :], free)
    own = 2.0 * (float(_maximum(_rows(x, shifted[None, :]), cut[None, :], np.eye(x.shape[1] + 1))[1][0]) - level[0])
    sigma = math.sqrt(len(y) / df) / weights[0, -1]
    expected = x @ weights[0, :-1] / weights[0, -1]
    draw = np.random.default_rng([seed, draws])
    drawn = expected + sigma * draw.standard_normal((draws, len(y)))
    bound = np.where(cut, shifted, (limit - centre) / scale)
    low = drawn < bound
    # A campaign with too few values above the limit has no ratio: it counts as one that tells nothing.
    usable = (~low).sum(axis=1) > contrasts.rank(x)
    rows = _rows(x, np.where(low, bound, drawn)[usable])
    null = _maximum(rows, low[usable], free)[1]
    full = _maximum(rows, low[usable], np.eye(x.shape[1] + 1))[1]
    far = int((2.0 * (full - null) >= own - 1e-9).sum())
    return (1 + far) / (1 + draws)


def _checked(columns: ArrayLike, values: ArrayLike, below: ArrayLike) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The arrays, shapes and contents looked at."""
    x, y, cut = np.asarray(columns, dtype=float), np.asarray(values, dtype=float), np.asarray(below, dtype=bool)
    if x.ndim != 2 or y.shape != (len(x),) or cut.shape != y.shape:
        raise ValueError(f"shapes {x.shape}, {y.shape}, {cut.shape}: expected (n, p), (n,) and (n,).")
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise ValueError("columns and values must be finite numbers; a value below its limit is that limit.")
    if contrasts.rank(x) < x.shape[1]:
        raise ValueError("columns are aliased: take out those that say nothing of their own.")
    if int((~cut).sum()) < x.shape[1] + 1:
        raise ValueError(
            f"{int((~cut).sum())} of {len(y)} values lie above their limits; {x.shape[1] + 1} are needed at least."
        )
    return x, y, cut


def _scaled(y: np.ndarray, cut: np.ndarray) -> tuple[float, float]:
    """A scale and a centre that keep the numbers near 1."""
    above = y[~cut]
    return float(above.std()) or max(1.0, abs(float(above.mean()))), float(above.mean())


def _rows(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """What multiplies (gamma, theta) in theta y - x gamma, shape (samples, n, p + 1)."""
    return np.concatenate([np.broadcast_to(-x, (len(y), *x.shape)), y[:, :, None]], axis=2)


def _null(c: np.ndarray, value: float) -> np.ndarray:
    """Directions of (gamma, theta) along which c beta stays at a value: shape (p + 1, p)."""
    bound = np.append(c, -value)
    return np.linalg.svd(bound[None, :])[2][1:].T


def _profile(x: np.ndarray, y: np.ndarray, cut: np.ndarray, c: np.ndarray, value: float) -> float:
    """The greatest log-likelihood with the contrast held at a value."""
    scale, centre = _scaled(y, cut)
    # In the shifted and scaled unit the contrast of the constant goes with the centre.
    constant = np.linalg.lstsq(x, np.full(len(y), centre), rcond=None)[0]
    held = (value - float(c @ constant)) / scale
    level = _maximum(_rows(x, (y - centre)[None, :] / scale), cut[None, :], _null(c, held))[1]
    return float(level[0] - int((~cut).sum()) * math.log(scale))


def _level(rows: np.ndarray, cut: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """The log-likelihood of each sample, -inf where theta is not above 0."""
    at = np.einsum("snq,sq->sn", rows, weights)
    theta = weights[:, -1]
    good = theta > 0.0
    log = np.log(np.where(good, theta, 1.0))
    above = log[:, None] - 0.5 * at**2 - 0.5 * math.log(2.0 * math.pi)
    total = np.where(cut, special.log_ndtr(at), above).sum(axis=1)
    return np.where(good, total, -np.inf)


def _maximum(rows: np.ndarray, cut: np.ndarray, basis: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The greatest likelihood of each sample over weights = basis z; weights and log-likelihoods."""
    samples = len(rows)
    inside = rows @ basis
    theta = basis[-1]
    # Start: least squares with the limits as values.
    z = np.empty((samples, basis.shape[1]))
    for at in range(samples):
        z[at] = _start(rows[at], basis)
    level = _level(rows, cut, z @ basis.T)
    active = np.ones(samples, dtype=bool)
    for _ in range(_STEPS):
        index = np.flatnonzero(active)
        if not len(index):
            break
        r, below = inside[index], cut[index]
        at = np.einsum("snq,sq->sn", r, z[index])
        inverse = 1.0 / (z[index] @ theta)
        mills = np.exp(-0.5 * at**2 - 0.5 * math.log(2.0 * math.pi) - special.log_ndtr(at))
        slope = np.where(below, mills, -at)
        curve = np.where(below, mills * (at + mills), 1.0)
        count = (~below).sum(axis=1)
        gradient = np.einsum("sn,snq->sq", slope, r) + (count * inverse)[:, None] * theta
        information = np.einsum("sn,snq,snt->sqt", curve, r, r)
        information += (count * inverse**2)[:, None, None] * np.outer(theta, theta)
        ridge = 1e-12 * np.trace(information, axis1=1, axis2=2)[:, None, None] * np.eye(len(theta))
        step = np.linalg.solve(information + ridge, gradient[:, :, None])[:, :, 0]
        gain = np.einsum("sq,sq->s", gradient, step)
        size = np.ones(len(index))
        open_ = np.ones(len(index), dtype=bool)
        for _half in range(_HALVINGS):
            trial = z[index] + size[:, None] * step
            new = _level(rows[index], below, trial @ basis.T)
            open_ = ~(new >= level[index] - 1e-13 * np.abs(level[index]))
            if not open_.any():
                break
            size = np.where(open_, size / 2.0, size)
        moved = ~open_
        z[index[moved]] = trial[moved]
        level[index[moved]] = new[moved]
        active[index[(gain < 1e-12) | open_]] = False
    return z @ basis.T, level


def _start(rows: np.ndarray, basis: np.ndarray) -> np.ndarray:
    """Weights to start from: the least-squares fit of the values and limits as they are."""
    x, y = -rows[:, :-1], rows[:, -1]
    # Over weights = basis z with theta = 1: z solves the rest in least squares.
    theta = basis[-1]
    base = theta / float(theta @ theta)
    free = np.linalg.svd(theta[None, :])[2][1:].T
    inside = rows @ basis
    moved = np.linalg.lstsq(inside @ free, -(inside @ base), rcond=None)[0] if free.shape[1] else np.zeros(0)
    z = base + free @ moved
    rest = inside @ z
    sd = math.sqrt(float(rest @ rest) / max(len(y) - x.shape[1], 1)) or 1.0
    return z / sd


def _end(beyond: object, at: float, step: float) -> float | None:
    """Where the interval ends in one direction; None where it stays open."""
    near, far = at, at + step
    for _ in range(60):
        if beyond(far) > 0.0:  # type: ignore[operator]
            return float(optimize.brentq(beyond, min(near, far), max(near, far), xtol=1e-12, rtol=1e-12))
        near, far = far, far + 1.5 * (far - at)
        if abs(far - at) > _REACH * abs(step):
            return None
    return None


def _one_sided(beyond: object, at: float, step: float) -> Limits:
    """The one end that data leave closed where the estimate runs away."""
    ends = []
    for way in (-1.0, 1.0):
        # From far out on the open side the likelihood ratio is nought; walk back until it is too large.
        if beyond(at - way * _REACH * step) > 0.0:  # type: ignore[operator]
            ends.append(None)
            continue
        inner, outer = at - way * _REACH * step, at + way * _REACH * step
        if beyond(outer) <= 0.0:  # type: ignore[operator]
            ends.append(None)
            continue
        ends.append(float(optimize.brentq(beyond, min(inner, outer), max(inner, outer), xtol=1e-10)))
    return Limits(None, ends[0], ends[1])
