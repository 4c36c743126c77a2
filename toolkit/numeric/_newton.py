"""Lowest points of many smooth functions at once, each coordinate kept between nought and a ceiling.

Newton's method on the coordinates that are free; a coordinate is held at nought only while the function rises from
there. May import numpy; arguments are checked by the callers.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
# Value, gradient and Hessian at points of shape (k, coordinates), for the k functions whose numbers are given.
Objective = Callable[[Floats, NDArray[np.intp]], tuple[Floats, Floats, Floats]]

_ITERATIONS = 100
_LONGEST_STEP = 2.0
# A Newton step as short as this leaves an error of about its square.
_SHORT = 3e-6
# Differences of two values below this share of them are rounding.
_ROUNDING = 1e-11
_LEAST_DAMPING = 1e-7


@dataclass(frozen=True, eq=False)
class Lowest:
    """Points of shape (functions, coordinates), their values, and whether the steps came to an end."""

    points: Floats
    values: Floats
    ended: NDArray[np.bool_]


def lowest(objective: Objective, start: Floats, ceiling: float) -> Lowest:
    """The lowest point near each start, shape (functions, coordinates)."""
    points, count = start.copy(), len(start)
    everything = np.arange(count)
    values, slopes, bends = objective(points, everything)
    damping, ended = np.ones(count), np.zeros(count, dtype=bool)
    for _ in range(_ITERATIONS):
        going = np.flatnonzero(~ended)
        if not len(going):
            break
        step = _newton_step(points[going], slopes[going], bends[going], ceiling)
        trial = np.clip(points[going] + damping[going, None] * step, 0.0, ceiling)
        length = np.abs(trial - points[going]).max(axis=1)
        value, slope, bend = objective(trial, going)
        good = value <= values[going] + _ROUNDING * (1.0 + np.abs(values[going]))
        taken = going[good]
        points[taken], values[taken] = trial[good], value[good]
        slopes[taken], bends[taken] = slope[good], bend[good]
        ended[going] = (good & (damping[going] == 1.0) & (length < _SHORT)) | (damping[going] < _LEAST_DAMPING)
        damping[going] = np.where(good, np.minimum(1.0, 4.0 * damping[going]), 0.25 * damping[going])
    return Lowest(points, values, ended)


def _newton_step(points: Floats, slopes: Floats, bends: Floats, ceiling: float) -> Floats:
    """Newton's step in the free coordinates, downhill in every direction and never too long."""
    held = ((points <= 0.0) & (slopes > 0.0)) | ((points >= ceiling) & (slopes < 0.0))
    slope = np.where(held, 0.0, slopes)
    if points.shape[1] == 1:
        return np.clip(-slope / np.maximum(np.abs(bends[:, 0]), 1e-300), -_LONGEST_STEP, _LONGEST_STEP)
    bend = np.where(held[:, :, None] | held[:, None, :], 0.0, bends)
    bend += held[:, :, None] * np.eye(points.shape[1])
    curvature, directions = np.linalg.eigh(bend)
    curvature = np.abs(curvature)
    curvature = np.maximum(curvature, 1e-6 * curvature.max(axis=1, keepdims=True) + 1e-300)
    along = np.matmul(slope[:, None, :], directions)[:, 0] / curvature
    step = -np.matmul(directions, along[..., None])[..., 0]
    longest = np.abs(step).max(axis=1, keepdims=True)
    return step * np.minimum(1.0, _LONGEST_STEP / np.maximum(longest, 1e-300))
