"""Variance components with limits: by mean squares where the layout is balanced, by the likelihood elsewhere.

May import numpy, scipy and the error classes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric import _mixed_checks as checks
from toolkit.numeric import component_profile, components, intervals
from toolkit.numeric._bases import Floats
from toolkit.numeric._likelihood import centred
from toolkit.numeric.component_profile import ComponentLimits
from toolkit.numeric.mixed_layout import Layout

MEAN_SQUARES = "mean squares"
# Multipliers below this share of the largest are rounding.
_NIL = 1e-9


@dataclass(frozen=True, eq=False)
class StratumSquares:
    """Mean squares of the strata of a balanced layout, the one of the residual last.

    Attributes
    ----------
    names : tuple of str
        The random terms and 'residual', as in the layout.
    mean_squares : ndarray, shape (strata,)
        What the fixed columns leave in each stratum, over its df.
    df : ndarray of int, shape (strata,)
    multipliers : ndarray, shape (strata, sources)
        The expected mean square is the sum of multipliers times variances.
    variances : ndarray, shape (sources,)
        Components that make every mean square equal its expected value, with their sign.
    """

    names: tuple[str, ...]
    mean_squares: Floats
    df: NDArray[np.int_]
    multipliers: Floats
    variances: Floats


def stratum_squares(layout: Layout, response: ArrayLike) -> StratumSquares | None:
    """Give back the mean squares of the strata, or None where the layout is not balanced.

    Parameters
    ----------
    layout : Layout
    response : array_like, shape (rows,)

    Returns
    -------
    StratumSquares or None
        None unless the scatter falls into as many strata as there are sources and every fixed effect lies in
        one stratum alone.

    Raises
    ------
    ModelError
        When a value is missing or the response has another length than the layout.

    Notes
    -----
    Strata are the common eigenspaces of the covariance matrix (J. A. Nelder, Proceedings of the Royal Society A 283
    (1965) 147-178); with orthogonal fixed effects each holds one mean square.

    Checked against: k08-pastes-nested, k08-penicillin-crossed, k08-machines-mixed, k07-oats-splitplot (R's
    aov and anova), tests/reference/test_mixed_cases.py.
    """
    given = np.asarray(response, dtype=float)
    faults = checks.of_response(given, layout.rows)
    raise_all(ModelError, "The mean squares cannot be worked out.", faults)
    if not layout.scalar:
        return None
    values, _ = centred(layout, given[None, :])
    known, inside, total = layout.patterns, values.inside[0, :, 0], 0
    lines = []
    for item, shares in enumerate(known.multipliers):
        at = known.which == item
        basis, shares_in, _ = np.linalg.svd(layout.design[at, 0], full_matrices=False)
        basis = basis[:, shares_in > _NIL]
        total += basis.shape[1]
        left = inside[at] - basis @ (basis.T @ inside[at])
        alone = not shares[:-1].any()
        df = int(at.sum()) - basis.shape[1] + alone * layout.rest_df
        lines.append((float((left**2).sum() + alone * values.rest[0]), df, shares))
    if layout.rest_df and not any(not shares[:-1].any() for _, _, shares in lines):
        lines.append((float(values.rest[0]), layout.rest_df, np.eye(layout.terms + 1)[-1]))
    lines = sorted((line for line in lines if line[1]), key=lambda line: -line[2].sum())
    multipliers = np.array([shares for _, _, shares in lines])
    if total != layout.parameters or multipliers.shape != (layout.terms + 1,) * 2:
        return None
    if np.linalg.matrix_rank(multipliers / multipliers.max(axis=0)) < len(lines):
        return None
    df = np.array([count for _, count, _ in lines])
    squares = np.array([square for square, _, _ in lines]) / df
    return StratumSquares(layout.names, squares, df, multipliers, np.linalg.solve(multipliers, squares))


def limits(layout: Layout, response: ArrayLike, *, conf_level: float = 0.95) -> ComponentLimits:
    """Give back every variance component with limits that keep their level as well as is known how.

    Parameters
    ----------
    layout : Layout
    response : array_like, shape (rows,)
    conf_level : float
        Between 0 and 1.

    Returns
    -------
    ComponentLimits

    Raises
    ------
    ModelError
        When a value is missing or the model cannot be fitted (see ``reml.fit``).

    Notes
    -----
    In a balanced layout a component that is the difference of two mean squares over a number gets the limits of
    Williams and Tukey (``components.between_scatter``), a mean square of its own those by chi-square; all else the
    profile of the restricted likelihood. Components from mean squares keep their sign: one below zero is shown.

    Checked against: coverage by simulation, tests/unit/numeric/test_component_limits.py; k08-dyestuff.
    """
    faults = guards.probability("conf_level", conf_level)
    faults += checks.of_response(np.asarray(response, dtype=float), layout.rows)
    raise_all(ModelError, "The limits cannot be worked out.", faults)
    known = stratum_squares(layout, response)
    if known is None:
        return component_profile.profile(layout, response, conf_level=conf_level)
    inverse = np.linalg.inv(known.multipliers)
    inverse[np.abs(inverse) < _NIL * np.abs(inverse).max(axis=1, keepdims=True)] = 0.0
    rows, wanting = {}, []
    for source, weights in enumerate(inverse):
        used = np.flatnonzero(weights)
        pairs = [(known.mean_squares[at], int(known.df[at])) for at in used[np.argsort(-weights[used])]]
        if len(used) == 1:
            sd = float(np.sqrt(known.variances[source]))
            rows[source] = (sd, *intervals.sd_interval(sd, pairs[0][1], conf_level=conf_level))
        elif len(used) == 2 and abs(weights[used].sum()) < _NIL * abs(weights[used[0]]):
            found = components.between_scatter(*pairs[0], *pairs[1], 1.0 / weights.max(), conf_level=conf_level)
            rows[source] = (float(found.sd), float(found.sd_low), float(found.sd_high))
        else:
            wanting.append(source)
    variances, how = known.variances.copy(), [MEAN_SQUARES] * len(inverse)
    if wanting:
        other = component_profile.profile(layout, response, conf_level=conf_level)
        for source in wanting:
            rows[source] = (other.sd[source], other.sd_low[source], other.sd_high[source])
            variances[source], how[source] = other.variances[source], component_profile.PROFILE
    sd, low, high = np.array([rows[source] for source in range(len(inverse))]).T
    return ComponentLimits(layout.names, variances, sd, low, high, conf_level, tuple(how))
