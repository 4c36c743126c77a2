"""Charts of reference runs: limits that count the start-up and the unknown scatter, and what moves with time.

May import numpy, scipy.special and the error classes. Values on the scale they are analysed on (ln on the log scale).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._bases import Floats

LAMBDA = 0.2
# Fewer points than this and a chart is provisional: what it takes for common still moves with each point.
SETTLED = 10
# The mean range of two normal values over their SD: 2 / sqrt(pi), 1.128.
_RANGE_OF_TWO = 1.128
_HEADLINE = "The chart cannot be made."


@dataclass(frozen=True, eq=False)
class Shewhart:
    """A chart of individuals by moving ranges; its limits take mean and scatter for known."""

    mean: float
    mean_range: float
    sd: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class Ewma:
    """An exponentially weighted mean of values with a known target and scatter.

    Attributes
    ----------
    smoothed : ndarray
        After each value, from the target on.
    low, high : ndarray
        Limits at each value: narrow at first, then steady.
    steady : (float, float)
        The limits after many values.
    """

    smoothed: Floats
    low: Floats
    high: Floats
    steady: tuple[float, float]


@dataclass(frozen=True, eq=False)
class SelfStarting:
    """A chart whose every point is judged by the points before it alone; arrays of the shape of the values.

    Attributes
    ----------
    mean, sd : ndarray
        Of the points before; NaN where there are none, or a single one (sd).
    low, high : ndarray
        Where this point lies with the level asked for, if nothing changed; NaN for the first two.
    score : ndarray
        The point as a standard normal value if nothing changed, whatever the scatter; NaN for the first two.
    smoothed : ndarray
        Exponentially weighted mean of the scores, from 0 on.
    smoothed_limit : ndarray
        It lies within plus and minus this with the level asked for.
    surprise : ndarray
        The score less the smoothed mean before it, in units of its own SD: standard normal if nothing changed.
    conf_level : float
        Of each point by itself.
    """

    mean: Floats
    sd: Floats
    low: Floats
    high: Floats
    score: Floats
    smoothed: Floats
    smoothed_limit: Floats
    surprise: Floats
    conf_level: float

    @property
    def outside(self) -> NDArray[np.bool_]:
        """Points outside their own limits."""
        edge = -special.ndtri(0.5 * (1.0 - self.conf_level))
        return np.asarray(np.abs(np.nan_to_num(self.score)) > edge)

    @property
    def smoothed_outside(self) -> NDArray[np.bool_]:
        """Points at which the smoothed mean is outside its limits."""
        return np.asarray(np.abs(np.nan_to_num(self.smoothed)) > np.nan_to_num(self.smoothed_limit, nan=np.inf))


def individuals(values: ArrayLike, *, width: float = 3.0) -> Shewhart:
    """Give back the plain chart of individuals: mean and limits from moving ranges.

    Parameters
    ----------
    values : array_like, shape (points,)
        In order of time; two at least.
    width : float
        Limits in SDs from the mean, above 0.

    Returns
    -------
    Shewhart

    Raises
    ------
    ModelError
        When a value is missing or there are fewer than two.

    Notes
    -----
    SD = mean moving range / 1.128 (NIST/SEMATECH e-Handbook 6.3.2.2). Its limits take mean and SD for known: with a
    handful of points they cry wolf far more often than they say; ``self_starting`` does not.

    Checked against: k12-individuals-chart-nist, tests/reference/test_chart_cases.py.
    """
    given = np.atleast_1d(np.asarray(values, dtype=float))
    faults = [*guards.finite("value", given), *guards.positive("width", width)]
    if len(given) < 2:
        faults.append(Fault("values", f"{len(given)}", "two at least"))
    raise_all(ModelError, _HEADLINE, faults)
    middle, ranges = float(given.mean()), float(np.abs(np.diff(given)).mean())
    sd = ranges / _RANGE_OF_TWO
    return Shewhart(middle, ranges, sd, middle - width * sd, middle + width * sd)


def ewma(values: ArrayLike, target: float, sd: float, *, weight: float = LAMBDA, width: float = 3.0) -> Ewma:
    """Give back the exponentially weighted mean with limits, for a known target and scatter.

    Parameters
    ----------
    values : array_like, shape (points,)
        In order of time.
    target, sd : float
        Known before; sd above 0.
    weight : float
        Of the newest value, above 0 up to 1.
    width : float
        Limits in SDs of the smoothed mean, above 0.

    Returns
    -------
    Ewma

    Raises
    ------
    ModelError
        When a value is missing or out of range.

    Notes
    -----
    z_i = w y_i + (1 - w) z_(i-1), z_0 the target; SD of z_i = sd sqrt(w / (2 - w) (1 - (1 - w)^(2 i)))
    (S. W. Roberts, Technometrics 1 (1959) 239-250; NIST/SEMATECH e-Handbook 6.3.2.4).

    Checked against: k12-ewma-nist, tests/reference/test_chart_cases.py.
    """
    given = np.atleast_1d(np.asarray(values, dtype=float))
    faults = [*guards.finite("value", given), *guards.finite("target", target), *guards.positive("sd", sd)]
    faults += [*guards.positive("width", width), *_weight(weight)]
    raise_all(ModelError, _HEADLINE, faults)
    limit = width * sd * np.sqrt(_smoothed_variance(len(given), weight))
    steady = width * sd * math.sqrt(weight / (2.0 - weight))
    smoothed = target + _smoothed(given - target, weight)
    return Ewma(smoothed, target - limit, target + limit, (target - steady, target + steady))


def self_starting(values: ArrayLike, *, weight: float = LAMBDA, conf_level: float = 0.9973) -> SelfStarting:
    """Give back a chart that needs no target and no scatter known before, and alarms as often as it says.

    Parameters
    ----------
    values : array_like, shape (..., points)
        In order of time along the last axis.
    weight : float
        Of the newest score in the smoothed mean, above 0 up to 1.
    conf_level : float
        How often a point lies within its limits if nothing changed; each chart by itself.

    Returns
    -------
    SelfStarting

    Raises
    ------
    ModelError
        When a value is missing or an argument out of range.

    Notes
    -----
    The point after n others of mean m and SD s: t = (y - m) / (s sqrt(1 + 1 / n)) follows t with n - 1 df and is
    independent of those before; its normal score starts the smoothed mean (D. M. Hawkins, The Statistician 36 (1987)
    299-315). A lasting change of level shows soon or not at all, as later points take it for their own level: a slope
    is judged beside it. Points that are all alike have no scatter to be judged by and no score.

    Checked against: simulated alarms at every point and in whole charts, scipy's t, change of unit and of origin,
    tests/unit/numeric/test_reference_chart.py.
    """
    given = np.atleast_1d(np.asarray(values, dtype=float))
    faults = [*guards.finite("value", given), *guards.probability("conf_level", conf_level), *_weight(weight)]
    raise_all(ModelError, _HEADLINE, faults)
    points = given.shape[-1]
    count = np.arange(points, dtype=float)
    # Sums from the first value on: no digits are lost to a level far from nought.
    moved = given - given[..., :1]
    sums, squares = (np.concatenate([np.zeros_like(moved[..., :1]), np.cumsum(part, axis=-1)[..., :-1]], axis=-1)
                     for part in (moved, moved**2))  # fmt: skip
    with np.errstate(invalid="ignore", divide="ignore"):
        middle = np.where(count > 0, sums / np.maximum(count, 1), np.nan)
        left = np.maximum(squares - count * np.nan_to_num(middle) ** 2, 0.0)
        sd = np.where(count > 1, np.sqrt(left / np.maximum(count - 1, 1)), np.nan)
        spread = sd * np.sqrt(1.0 + 1.0 / np.maximum(count, 1))
        ratio = np.where(spread > 0.0, (moved - middle) / np.where(spread > 0.0, spread, 1.0), np.nan)
    df = np.maximum(count - 1.0, 1.0)
    tail = np.maximum(special.stdtr(df, -np.abs(np.nan_to_num(ratio))), 1e-300)
    score = np.where(np.isnan(ratio), np.nan, -np.sign(ratio) * special.ndtri(tail))
    edge = special.stdtrit(df, 0.5 * (1.0 + conf_level)) * spread
    started = np.nan_to_num(score)
    # The first two points have no score: the smoothed mean starts at 0 with the third.
    smoothed = np.full(given.shape, np.nan)
    variance = np.full(points, np.nan)
    smoothed[..., 2:] = _smoothed(started[..., 2:], weight)
    variance[2:] = _smoothed_variance(max(points - 2, 0), weight)
    before = np.concatenate([np.zeros((*given.shape[:-1], 1)), smoothed[..., 2:-1]], axis=-1)[..., : max(points - 2, 0)]
    surprise = np.full(given.shape, np.nan)
    past = np.concatenate([[0.0], variance[2:-1]])[: max(points - 2, 0)]
    surprise[..., 2:] = (score[..., 2:] - before) / np.sqrt(1.0 + past)
    origin = given[..., :1]
    limit = -special.ndtri(0.5 * (1.0 - conf_level)) * np.sqrt(variance)
    return SelfStarting(
        origin + middle, sd, origin + middle - edge, origin + middle + edge, score, smoothed,
        np.broadcast_to(limit, given.shape).copy(), surprise, conf_level,
    )  # fmt: skip


def _weight(weight: float) -> list[Fault]:
    """A fault unless a weight lies above 0 up to 1."""
    return [] if 0.0 < weight <= 1.0 else [Fault("weight", f"{weight:g}", "a number above 0 up to 1")]


def _smoothed(values: Floats, weight: float) -> Floats:
    """Exponentially weighted means along the last axis, from 0 on."""
    made = np.empty_like(values)
    now = np.zeros(values.shape[:-1])
    for at in range(values.shape[-1]):
        now = weight * values[..., at] + (1.0 - weight) * now
        made[..., at] = now
    return made


def _smoothed_variance(count: int, weight: float) -> Floats:
    """Variance of such means of independent values of variance 1."""
    return np.asarray(weight / (2.0 - weight) * (1.0 - (1.0 - weight) ** (2.0 * np.arange(1, count + 1))))
