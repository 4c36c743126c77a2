"""Normal least squares where some values are only known to lie below a limit or in an interval (rank 1).

With gamma = beta / sigma and theta = 1 / sigma the log-likelihood is concave (R. J. Olsen, Econometrica 46 (1978)
1211-1215): Newton's method finds its one maximum, for many samples at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from toolkit.numeric import contrasts
from toolkit.numeric._censored_maximum import maximum, rows_of, scaled

_FAR = 6.0  # a censored row this many SDs above its fit says nothing more: the fit runs away from it
_REACH = 60.0
_NARROW = 1e-3


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


def fit(
    columns: ArrayLike, values: ArrayLike, below: ArrayLike, at_least: ArrayLike | None = None
) -> CensoredFit:
    """The fit of greatest likelihood.

    Parameters
    ----------
    columns : array, shape (n, p)
        Of full column rank.
    values : array, shape (n,)
        The value, or the limit it lies below.
    below : array of bool, shape (n,)
    at_least : array, shape (n,), optional
        Of values below a limit that are known from below too: the lower end; NaN where nothing is known.

    Returns
    -------
    CensoredFit

    Raises
    ------
    ValueError
        When fewer values than columns plus one are known from below, columns are aliased, or shapes disagree.

    Notes
    -----
    Checked against: scipy.stats.CensoredData (one sample, left and interval), an independent maximiser, ordinary least
    squares without censoring, tests/unit/numeric/test_censored.py.
    """
    x, y, cut, width = _checked(columns, values, below, at_least)
    scale, centre = scaled(y, cut)
    rows = rows_of(x, (y - centre)[None, :] / scale)
    weights, level = maximum(rows, cut[None, :], width[None, :] / scale, np.eye(x.shape[1] + 1))
    sigma = 1.0 / weights[0, -1]
    beta = weights[0, :-1] * sigma * scale
    # The centre belongs to whatever combination of columns is constant.
    beta = beta + np.linalg.lstsq(x, np.full(len(y), centre), rcond=None)[0]
    n_above = int((~cut).sum())
    open_ = cut & np.isinf(width)
    far = (y - x @ beta)[open_] / (sigma * scale)
    runs_away = bool(contrasts.rank(x[~open_]) < x.shape[1] and np.any(far > _FAR))
    return CensoredFit(beta, float(sigma * scale), float(level[0] - n_above * math.log(scale)), runs_away)


def limits(
    columns: ArrayLike,
    values: ArrayLike,
    below: ArrayLike,
    row: ArrayLike,
    *,
    level: float,
    df: int,
    at_least: ArrayLike | None = None,
) -> Limits:
    """The estimate of a contrast with its profile-likelihood interval, cut where t would cut without censoring.

    Parameters
    ----------
    columns, values, below, at_least
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
    interval exactly (own algebra). Coverage by simulation: tests/numbers/below_limit.py,
    read by tests/unit/numeric/test_censored_numbers.py.
    """
    x, y, cut, width = _checked(columns, values, below, at_least)
    whole = fit(x, y, cut, at_least)
    c = np.asarray(row, dtype=float)
    quantile = float(special.stdtrit(df, 0.5 + level / 2.0))
    allowed = len(y) * math.log1p(quantile**2 / df)
    at = float(c @ whole.beta)
    step = whole.sigma * math.sqrt(float(c @ np.linalg.pinv(x.T @ x) @ c))

    def beyond(value: float) -> float:
        """How far the likelihood ratio of a value lies above what is allowed."""
        return 2.0 * (whole.log_likelihood - _profile(x, y, cut, width, c, value)) - allowed

    if whole.runs_away and not contrasts.estimable(c[None, :], x[np.isfinite(width) | ~cut])[0]:
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
    at_least: ArrayLike | None = None,
) -> float:
    """The p value of no change by parametric bootstrap of the likelihood ratio.

    Parameters
    ----------
    columns, values, below, row, at_least
        As for ``limits``.
    limit : float
        The limit that the other values would have been censored at, on the scale of ``values``. What is known as an
        interval is drawn as one of the same width.
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
    False alarms by simulation: tests/numbers/below_limit.py, read by tests/unit/numeric/test_censored_numbers.py.
    """
    x, y, cut, width = _checked(columns, values, below, at_least)
    c = np.asarray(row, dtype=float)
    free, every = _null(c, 0.0), np.eye(x.shape[1] + 1)
    scale, centre = scaled(y, cut)
    shifted, apart = (y - centre) / scale, width / scale
    # Constants stay out of the contrast, so that the shift leaves it as it is.
    own_rows = rows_of(x, shifted[None, :])
    weights, level = maximum(own_rows, cut[None, :], apart[None, :], free)
    own = 2.0 * (float(maximum(own_rows, cut[None, :], apart[None, :], every)[1][0]) - level[0])
    sigma = math.sqrt(len(y) / df) / weights[0, -1]
    expected = x @ weights[0, :-1] / weights[0, -1]
    draw = np.random.default_rng([seed, draws])
    drawn = expected + sigma * draw.standard_normal((draws, len(y)))
    between = np.isfinite(width) & cut
    bound = np.where(cut & ~between, shifted, (limit - centre) / scale)
    low = (drawn < bound) & ~between
    value = np.where(low, bound, drawn)
    if between.any():
        # The upper end lies anywhere in the interval above what was drawn.
        value[:, between] += draw.random((draws, int(between.sum()))) * apart[between]
    # A campaign with too few values above the limit has no ratio: it counts as one that tells nothing.
    usable = (~low).sum(axis=1) > contrasts.rank(x)
    rows, hidden = rows_of(x, value[usable]), (low | between)[usable]
    gaps = np.where(between, apart, np.inf)[None, :].repeat(len(rows), axis=0)
    null = maximum(rows, hidden, gaps, free)[1]
    full = maximum(rows, hidden, gaps, every)[1]
    far = int((2.0 * (full - null) >= own - 1e-9).sum())
    return (1 + far) / (1 + draws)


def _checked(
    columns: ArrayLike, values: ArrayLike, below: ArrayLike, at_least: ArrayLike | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """The arrays, shapes and contents looked at; last how far the lower end lies below the upper, inf where open."""
    x, y, cut = np.asarray(columns, dtype=float), np.asarray(values, dtype=float), np.asarray(below, dtype=bool)
    if x.ndim != 2 or y.shape != (len(x),) or cut.shape != y.shape:
        raise ValueError(f"shapes {x.shape}, {y.shape}, {cut.shape}: expected (n, p), (n,) and (n,).")
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise ValueError("columns and values must be finite numbers; a value below its limit is that limit.")
    if contrasts.rank(x) < x.shape[1]:
        raise ValueError("columns are aliased: take out those that say nothing of their own.")
    low = np.full(len(y), np.nan) if at_least is None else np.asarray(at_least, dtype=float)
    width = np.where(cut & ~np.isnan(low), y - low, np.inf)
    if low.shape != y.shape or np.any(width <= 0.0):
        raise ValueError("at_least must be one number for each value, below it, or NaN where nothing is known.")
    known = int((~cut | np.isfinite(width)).sum())
    if known < x.shape[1] + 1:
        raise ValueError(f"{known} of {len(y)} values lie above their limits; {x.shape[1] + 1} are needed at least.")
    # So narrow an interval is a value: its middle is off by less than its width squared, and the slopes keep digits.
    narrow = cut & (width <= _NARROW * (float(y.std()) or 1.0))
    middle = y - 0.5 * np.where(narrow, width, 0.0)
    return x, middle, cut & ~narrow, np.where(narrow, np.inf, width)


def _null(c: np.ndarray, value: float) -> np.ndarray:
    """Directions of (gamma, theta) along which c beta stays at a value: shape (p + 1, p)."""
    bound = np.append(c, -value)
    return np.linalg.svd(bound[None, :])[2][1:].T


def _profile(
    x: np.ndarray, y: np.ndarray, cut: np.ndarray, width: np.ndarray, c: np.ndarray, value: float
) -> float:
    """The greatest log-likelihood with the contrast held at a value."""
    scale, centre = scaled(y, cut)
    # In the shifted and scaled unit the contrast of the constant goes with the centre.
    constant = np.linalg.lstsq(x, np.full(len(y), centre), rcond=None)[0]
    held = (value - float(c @ constant)) / scale
    rows = rows_of(x, (y - centre)[None, :] / scale)
    level = maximum(rows, cut[None, :], width[None, :] / scale, _null(c, held))[1]
    return float(level[0] - int((~cut).sum()) * math.log(scale))


def _end(beyond: object, at: float, step: float) -> float | None:
    """Where the interval ends in one direction; None where it stays open."""
    from scipy.optimize import brentq

    near, far = at, at + step
    for _ in range(60):
        if beyond(far) > 0.0:  # type: ignore[operator]
            return float(brentq(beyond, min(near, far), max(near, far), xtol=1e-12, rtol=1e-12))
        near, far = far, far + 1.5 * (far - at)
        if abs(far - at) > _REACH * abs(step):
            return None
    return None


def _one_sided(beyond: object, at: float, step: float) -> Limits:
    """The one end that data leave closed where the estimate runs away."""
    from scipy.optimize import brentq

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
        ends.append(float(brentq(beyond, min(inner, outer), max(inner, outer), xtol=1e-10)))
    return Limits(None, ends[0], ends[1])
