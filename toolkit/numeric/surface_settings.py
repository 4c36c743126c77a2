"""Where a second-order surface may be level, and its best setting, both within limits.

May import numpy, scipy and the error classes. Settings and limits are in the units the surface was fitted in.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric.second_order import Floats, SecondOrder, columns, padded

# Of the region of the stationary point so many settings within the limits are looked at.
LOOKED_AT = 20_000


@dataclass(frozen=True, eq=False)
class Region:
    """Settings that the stationary point may be at, as far as the limits reach.

    Attributes
    ----------
    low, high : ndarray or None, shape (factors,)
        The smallest and largest setting of each factor in it; None where no setting within the limits is in it.
    share : float
        Share of the settings within the limits that are in it.
    at_edge : tuple of int
        Factors whose limit it reaches: it may go on beyond.
    conf_level : float
    """

    low: Floats | None
    high: Floats | None
    share: float
    at_edge: tuple[int, ...]
    conf_level: float


@dataclass(frozen=True, eq=False)
class Best:
    """The best setting within limits, with what one more run there would give.

    ``mean_low`` to ``mean_high`` is for the mean of many runs, ``run_low`` to ``run_high`` for a single one; None
    without degrees of freedom. ``at_limit`` names the factors that stand at a limit.
    """

    point: Floats
    predicted: float
    mean_low: float | None
    mean_high: float | None
    run_low: float | None
    run_high: float | None
    at_limit: tuple[int, ...]


def in_region(surface: SecondOrder, points: ArrayLike, *, conf_level: float = 0.95) -> NDArray[np.bool_]:
    """Give back whether each setting may be the stationary point.

    Parameters
    ----------
    surface : SecondOrder
        With degrees of freedom for error.
    points : array_like, shape (settings, factors)
    conf_level : float

    Returns
    -------
    ndarray of bool, shape (settings,)
        True where a slope of nought in every direction is not refused by the F test.

    Raises
    ------
    ModelError
        When nothing tells the scatter, or the level is no share.

    Notes
    -----
    G. E. P. Box and J. S. Hunter, Biometrika 41 (1954) 190-199: exact whatever the nature of the point.

    Checked against: its cover in simulation, tests/unit/numeric/test_second_order.py.
    """
    from scipy.special import fdtri

    faults = guards.probability("conf_level", conf_level)
    if surface.df == 0:
        faults.append(Fault("surface", "no degrees of freedom for error", "repeats or runs beyond the coefficients"))
    raise_all(ModelError, "The region cannot be told.", faults)
    given = np.atleast_2d(np.asarray(points, dtype=float))
    limit = surface.factors * float(fdtri(surface.factors, surface.df, conf_level))
    rows = _slopes(surface, given)
    slope = rows @ surface.beta
    cov = np.einsum("nij,jk,nlk->nil", rows, surface.cov, rows) * surface.residual_ss / surface.df
    size = np.einsum("ni,ni->n", slope, np.linalg.solve(cov, slope[:, :, None])[:, :, 0])
    return size <= limit


def region(
    surface: SecondOrder, low: ArrayLike, high: ArrayLike, *, seed: int, conf_level: float = 0.95
) -> Region:
    """Give back how far the settings reach that the stationary point may be at, within limits.

    Parameters
    ----------
    surface : SecondOrder
    low, high : array_like, shape (factors,)
    seed : int
        Of the settings looked at, where there are more than three factors.
    conf_level : float

    Returns
    -------
    Region
        To the width of the settings looked at.

    Raises
    ------
    ModelError
        As ``in_region``, or when the limits do not fit.

    Checked against: the region of one factor by Fieller's theorem, tests/unit/numeric/test_second_order.py.
    """
    bottom, top = _limits(surface, low, high)
    count = surface.factors
    if count <= 3:
        steps = np.linspace(0.0, 1.0, int(round(LOOKED_AT ** (1.0 / count))))
        share = np.array(list(product(steps, repeat=count)))
    else:
        share = np.random.default_rng(seed).random((LOOKED_AT, count))
    settings = bottom + share * (top - bottom)
    inside = in_region(surface, settings, conf_level=conf_level)
    if not inside.any():
        return Region(None, None, 0.0, (), conf_level)
    held = settings[inside]
    near = 0.02 if count > 3 else 1e-9
    reached = (share[inside].min(axis=0) <= near) | (share[inside].max(axis=0) >= 1.0 - near)
    edge = tuple(int(at) for at in np.flatnonzero(reached))
    return Region(held.min(axis=0), held.max(axis=0), float(inside.mean()), edge, conf_level)


def best(
    surface: SecondOrder, low: ArrayLike, high: ArrayLike, *, larger: bool, conf_level: float = 0.95
) -> Best:
    """Give back the best setting within limits.

    Parameters
    ----------
    surface : SecondOrder
    low, high : array_like, shape (factors,)
    larger : bool
        True where a larger response is better.
    conf_level : float

    Returns
    -------
    Best
        Exact: every face of the box is searched for where the surface is level along it.

    Raises
    ------
    ModelError
        When the limits do not fit.

    Notes
    -----
    A quadratic over a box takes its extreme at a stationary point of one of its 3^k faces (corners, edges, ..., the
    inside). Intervals by Student's t at the residual df; the choice of the setting itself is not allowed for.

    Checked against: a fine grid, tests/unit/numeric/test_second_order.py.
    """
    from scipy.special import stdtrit

    faults = guards.probability("conf_level", conf_level)
    raise_all(ModelError, "The best setting cannot be told.", faults)
    bottom, top = _limits(surface, low, high)
    sign = 1.0 if larger else -1.0
    found: list[Floats] = []
    for held in product((-1, 0, 1), repeat=surface.factors):
        free = np.array([at for at, where in enumerate(held) if where == 0], dtype=int)
        point = np.where(np.array(held) < 0, bottom, top)
        if len(free):
            inner = surface.matrix[np.ix_(free, free)]
            if np.linalg.matrix_rank(inner, hermitian=True) < len(free):
                continue
            point[free] = 0.0
            slope = surface.linear[free] + 2.0 * surface.matrix[free] @ point
            point[free] = -0.5 * np.linalg.solve(inner, slope)
            if np.any(point < bottom) or np.any(point > top):
                continue
        found.append(point)
    rows = padded(surface, columns(np.array(found)))
    told = rows @ surface.beta
    at = int(np.argmax(sign * told))
    mean_low = mean_high = run_low = run_high = None
    if surface.df:
        variance = surface.residual_ss / surface.df
        quantile = float(stdtrit(surface.df, 0.5 + 0.5 * conf_level))
        own = float(rows[at] @ surface.cov @ rows[at])
        half, wide = quantile * np.sqrt(variance * own), quantile * np.sqrt(variance * (1.0 + own))
        mean_low, mean_high = float(told[at] - half), float(told[at] + half)
        run_low, run_high = float(told[at] - wide), float(told[at] + wide)
    edge = tuple(int(place) for place in np.flatnonzero((found[at] == bottom) | (found[at] == top)))
    return Best(found[at], float(told[at]), mean_low, mean_high, run_low, run_high, edge)


def _limits(surface: SecondOrder, low: ArrayLike, high: ArrayLike) -> tuple[Floats, Floats]:
    """Limits as arrays, refused where they are none."""
    bottom, top = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    faults = guards.finite("low", bottom) + guards.finite("high", top)
    if bottom.shape != (surface.factors,) or top.shape != (surface.factors,):
        faults.append(Fault("limits", f"shapes {bottom.shape} and {top.shape}", f"{surface.factors} of each"))
    elif not faults and np.any(bottom >= top):
        faults.append(Fault("limits", "a lower limit at or above the upper one", "lower below upper"))
    raise_all(ModelError, "The limits cannot be used.", faults)
    return bottom, top


def _slopes(surface: SecondOrder, points: Floats) -> Floats:
    """The slope in every direction as rows of the model: shape (settings, factors, parameters)."""
    count = surface.factors
    made = np.zeros((len(points), count, len(surface.beta)))
    for at in range(count):
        made[:, at, 1 + at] = 1.0
        made[:, at, 1 + count + at] = 2.0 * points[:, at]
    for place, (one, other) in enumerate(combinations(range(count), 2)):
        made[:, one, 1 + 2 * count + place] = points[:, other]
        made[:, other, 1 + 2 * count + place] = points[:, one]
    return made
