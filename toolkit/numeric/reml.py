"""Linear mixed models fitted by restricted maximum likelihood: variances, fixed effects, and proof of the optimum.

One layout, any number of responses: what depends on the rows alone is worked out once (``mixed_layout``). May import
numpy and the error classes.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric import _mixed_checks as checks
from toolkit.numeric._bases import Floats
from toolkit.numeric._likelihood import centred, in_variances, projected
from toolkit.numeric._moments import Values, coarse, moments
from toolkit.numeric._newton import Lowest, lowest
from toolkit.numeric._one_term import spectrum
from toolkit.numeric.mixed_layout import Layout

# The search runs over ln(1 + typical group size x ratio of variances), in which the likelihood of a balanced layout
# is convex and a ratio of nought is an ordinary end point; this is the ratio 1e12 for groups of one.
_CEILING = 27.6
# The grid whose low places the search starts from, by number of random terms; further terms rise together.
_PLACES = {1: (0.0, 0.1, 0.4, 0.8, 1.4, 2.5, 5.0), 2: (0.0, 0.2, 0.7, 1.4, 2.5, 5.0), 3: (0.0, 0.7, 2.0, 4.0)}
# A slope below this share of the rows, on that scale, is nought.
_FLAT = 1e-6
_HEADLINE = "The mixed model cannot be fitted."
# Numbers held at once when many responses are fitted.
_SLICE = 200_000


@dataclass(frozen=True, eq=False)
class MixedFit:
    """A linear mixed model fitted to one response, or to many (then every array has a leading axis of responses).

    Attributes
    ----------
    layout : Layout
    variances : ndarray, shape (..., terms + 1)
        Variance components in the order of ``layout.names``, the residual last; 0 where the likelihood is highest
        there.
    beta : ndarray, shape (..., p)
        Coefficients of the fixed columns.
    covariance : ndarray, shape (..., p, p)
        Their covariance at these variances, as if the variances were known.
    criterion : ndarray, shape (...)
        -2 log of the restricted likelihood, all constants included (of the likelihood, if not ``restricted``).
    gradient : ndarray, shape (..., terms + 1)
        Its slope in the variances: 0 where a variance is above 0, and above 0 where the variance is 0.
    hessian : ndarray, shape (..., terms + 1, terms + 1)
        Its second derivatives in the variances; positive definite in those above 0.
    at_zero : ndarray of bool, shape (..., terms)
    restricted : bool
    """

    layout: Layout
    variances: Floats
    beta: Floats
    covariance: Floats
    criterion: Floats
    gradient: Floats
    hessian: Floats
    at_zero: NDArray[np.bool_]
    restricted: bool


def fit(layout: Layout, response: ArrayLike, *, restricted: bool = True) -> MixedFit:
    """Give back the mixed model of one response: variances, coefficients with their covariance, and the proof that
    no nearby variances fit better.

    Parameters
    ----------
    layout : Layout
        From ``mixed_layout.layout_of``.
    response : array_like, shape (rows,)
        Values, none missing, in any unit.
    restricted : bool
        False for maximum likelihood, whose variances are too small; only for comparison with other programs.

    Returns
    -------
    MixedFit
        Without a leading axis.

    Raises
    ------
    ModelError
        When a value is missing, when the fixed columns fit every value exactly, when values within the finest groups
        agree to the last digit (no residual scatter), or when the optimum cannot be proved.

    Notes
    -----
    Restricted likelihood: H. D. Patterson and R. Thompson, Biometrika 58 (1971) 545-554. The residual variance is
    taken out in closed form; the rest is Newton's method with the exact Hessian from the best of several starts. A
    component at zero is kept there only if the likelihood falls from zero and no higher place is found on the way up.

    Checked against: k07-oats-splitplot, k07-oats-unbalanced, k08-dyestuff, k08-pastes-nested,
    k08-penicillin-crossed, k08-machines-mixed (lme4 1.1-31), exact mean squares of balanced layouts;
    tests/reference/test_mixed_cases.py.
    """
    given = np.asarray(response, dtype=float)
    raise_all(ModelError, _HEADLINE, checks.of_response(given, layout.rows))
    made = fit_many(layout, given[None, :], restricted=restricted)
    return MixedFit(
        layout,
        made.variances[0],
        made.beta[0],
        made.covariance[0],
        made.criterion[0],
        made.gradient[0],
        made.hessian[0],
        made.at_zero[0],
        restricted,
    )


def fit_many(layout: Layout, responses: ArrayLike, *, restricted: bool = True) -> MixedFit:
    """Give back the mixed models of many responses of one layout, as simulations need them.

    Parameters
    ----------
    layout : Layout
    responses : array_like, shape (responses, rows)
    restricted : bool
        As in ``fit``.

    Returns
    -------
    MixedFit
        With a leading axis of responses; each as ``fit`` gives it.

    Raises
    ------
    ModelError
        As ``fit`` does, naming the first response that cannot be fitted.

    Notes
    -----
    Checked against: ``fit``, one response after the other; tests/unit/numeric/test_reml.py.
    """
    given = np.asarray(responses, dtype=float)
    if given.ndim != 2 or given.shape[1] != layout.rows or not len(given):
        expected = f"one row a response, {layout.rows} values in each"
        fault = Fault("responses", f"an array of shape {given.shape} was given", expected)
        raise_all(ModelError, _HEADLINE, [fault])
    raise_all(ModelError, _HEADLINE, guards.finite("responses", given))
    each = layout.spread.size + layout.design.size * (layout.terms + 1)
    parts = [
        _fitted(layout, given[at : at + size], restricted, at)
        for size in [max(1, _SLICE // each)]
        for at in range(0, len(given), size)
    ]
    arrays = [np.concatenate(pieces) for pieces in zip(*parts, strict=True)]
    return MixedFit(layout, *arrays, restricted)


def criterion(layout: Layout, response: ArrayLike, variances: ArrayLike, *, restricted: bool = True) -> Floats:
    """Give back -2 log of the restricted likelihood at stated variances.

    Parameters
    ----------
    layout : Layout
    response : array_like, shape (rows,)
    variances : array_like, shape (..., terms + 1)
        Variance components in the order of ``layout.names``, 0 or above; the residual one above 0.
    restricted : bool
        False for the likelihood itself.

    Returns
    -------
    ndarray, shape (...)

    Raises
    ------
    ModelError
        When a value is missing or a variance is out of range.

    Notes
    -----
    Checked against: the REML criterion that lme4 1.1-31 prints for k07 and k08; the full covariance matrix,
    tests/unit/numeric/test_reml.py.
    """
    given, asked = np.asarray(response, dtype=float), np.asarray(variances, dtype=float)
    faults = [*checks.of_response(given, layout.rows), *checks.of_variances(asked, layout.terms + 1)]
    raise_all(ModelError, "The likelihood cannot be worked out.", faults)
    flat = asked.reshape(-1, asked.shape[-1])
    values, _ = centred(layout, given[None, :])
    last = flat[:, -1]
    log_det, log_information, _, rss = coarse(layout, flat[:, :-1] / last[:, None], values)
    count = layout.rows - layout.parameters * restricted
    total = count * np.log(2.0 * np.pi * last) + log_det + rss / last
    if restricted:
        total = total + log_information + layout.log_volume
    return total.reshape(asked.shape[:-1])


def _fitted(layout: Layout, responses: Floats, restricted: bool, first: int) -> tuple[Floats, ...]:
    """The arrays of a MixedFit, each with a leading axis, for some of the responses."""
    values, coefs = centred(layout, responses)
    noise = _noise(responses)
    total = values.rest + (values.inside**2).sum(axis=(1, 2))
    _refuse(total <= layout.rows * noise, first, "the fixed columns fit every value exactly", "scatter that is left")
    if layout.terms == 1 and restricted:
        points, near = _of_one_term(layout, values)
        values, coefs = values.less(layout, near), coefs + near
    else:
        starts, owner, near = _starts(layout, values, restricted)
        values, coefs = values.less(layout, near), coefs + near
        points = _searched(layout, values, starts, owner, restricted)
    ratios = np.expm1(points) / layout.typical_sizes
    made, fitted = moments(layout, ratios, values, residual=True)
    last = fitted.rss / (layout.rows - layout.parameters * restricted)
    nil = (points >= _CEILING).any(axis=1) | (last <= noise)
    found = "values within the finest groups agree to the last digit"
    _refuse(nil, first, found, "a residual that scatters", "Were values copied?")
    variances = np.column_stack([ratios, np.ones(len(ratios))]) * last[:, None]
    gradient, hessian = in_variances(made, fitted, last, restricted)
    at_zero = points <= 0.0
    _prove(layout, variances, gradient, hessian, at_zero, first)
    count = layout.rows - layout.parameters * restricted
    least = count * (1.0 + np.log(2.0 * np.pi * last)) + made.log_det
    if restricted:
        least = least + made.log_information + layout.log_volume
    cov = np.matmul(layout.back, np.matmul(made.inverse, layout.back.T)) * last[:, None, None]
    return variances, (coefs + fitted.coefs) @ layout.back.T, cov, least, gradient, hessian, at_zero


def _noise(responses: Floats) -> Floats:
    """Variance of the rounding of each response, from its largest value."""
    return (8.0 * np.finfo(float).eps * np.abs(responses).max(axis=1)) ** 2


def _refuse(wrong: NDArray[np.bool_], first: int, found: str, expected: str, remedy: str = "") -> None:
    """Raise for the first response that cannot be fitted."""
    if wrong.any():
        at = first + int(np.flatnonzero(wrong)[0])
        fault = Fault("response" if at == 0 else f"response {at + 1}", found, expected, remedy)
        raise_all(ModelError, _HEADLINE, [fault])


def _profiled(layout: Layout, points: Floats, values: Values, restricted: bool) -> Floats:
    """-2 log likelihood without its constants, the residual variance taken out; shape (sets,)."""
    log_det, log_information, _, rss = coarse(layout, np.expm1(points) / layout.typical_sizes, values)
    count = layout.rows - layout.parameters * restricted
    return count * np.log(rss) + log_det + log_information * restricted


def _of_one_term(layout: Layout, values: Values) -> tuple[Floats, Floats]:
    """The point of the highest restricted likelihood of each response, and the coefficients there."""
    known, places = spectrum(layout, values), np.array(_PLACES[1])
    owner, place = np.nonzero(_low(known.value(places)))

    def objective(points: Floats, numbers: NDArray[np.intp]) -> tuple[Floats, Floats, Floats]:
        """Value, gradient and Hessian of the profiled criterion on the scale of the search."""
        return known.at(points, owner[numbers])

    points = _best(lowest(objective, places[place][:, None], _CEILING), owner)
    return points, coarse(layout, np.expm1(points) / layout.typical_sizes, values)[2]


def _low(found: Floats) -> NDArray[np.bool_]:
    """The places of a grid, shape (sets, places ...), no neighbour of which is lower along an axis."""
    low = np.ones(found.shape, dtype=bool)
    for axis in range(1, found.ndim):
        rise = np.diff(found, axis=axis) >= 0.0
        edge = np.ones_like(np.take(low, [0], axis=axis))
        low &= np.concatenate([rise, edge], axis=axis) & np.concatenate([edge, ~rise], axis=axis)
    return low


def _best(found: Lowest, owner: NDArray[np.intp]) -> Floats:
    """The lowest of the points that belong to each response."""
    order = np.lexsort((found.values, owner))
    first = np.flatnonzero(np.diff(owner[order], prepend=-1))
    return found.points[order[first]]


def _starts(layout: Layout, values: Values, restricted: bool) -> tuple[Floats, NDArray[np.intp], Floats]:
    """Every low place of a grid: the points, whose they are, and the coefficients at the lowest of each response."""
    terms, sets = layout.terms, len(values.rest)
    places = np.array(_PLACES.get(terms, _PLACES[1]))
    axes = terms if terms in _PLACES else 1
    grid = np.array(list(product(places, repeat=axes))) * np.ones(terms)
    every = np.tile(grid, (sets, 1))
    again = values.of(np.repeat(np.arange(sets), len(grid)))
    found = _profiled(layout, every, again, restricted).reshape(sets, *(len(places),) * axes)
    owner, point = np.nonzero(_low(found).reshape(sets, -1))
    best = grid[found.reshape(sets, -1).argmin(axis=1)]
    return grid[point], owner, coarse(layout, np.expm1(best) / layout.typical_sizes, values)[2]


def _searched(layout: Layout, values: Values, starts: Floats, owner: NDArray[np.intp], restricted: bool) -> Floats:
    """The point of the highest likelihood of each response, from all its starts."""
    count = layout.rows - layout.parameters * restricted

    def objective(points: Floats, numbers: NDArray[np.intp]) -> tuple[Floats, Floats, Floats]:
        """Value, gradient and Hessian of the profiled criterion on the scale of the search."""
        growth = np.exp(points) / layout.typical_sizes
        part = values.of(owner[numbers])
        made, fitted = moments(layout, growth - 1.0 / layout.typical_sizes, part, residual=False)
        trace, traces, single, double = projected(made, fitted, restricted)
        share = single / fitted.rss[:, None]
        slope = trace - count * share
        bend = count * (2.0 * double / fitted.rss[:, None, None] - share[:, :, None] * share[:, None, :]) - traces
        value = count * np.log(fitted.rss) + made.log_det
        if restricted:
            value = value + made.log_information
        bend = bend * growth[:, :, None] * growth[:, None, :] + (slope * growth)[:, :, None] * np.eye(layout.terms)
        return value, slope * growth, bend

    return _best(lowest(objective, starts, _CEILING), owner)


def _prove(
    layout: Layout, variances: Floats, gradient: Floats, hessian: Floats, at_zero: NDArray[np.bool_], first: int
) -> None:
    """Raise unless the likelihood is level and bends down in what is above nought, and falls from what is at nought."""
    free = np.column_stack([~at_zero, np.ones(len(at_zero), dtype=bool)])
    scale = np.where(free, variances, variances[:, -1:])
    slope = gradient * scale / layout.rows
    level = np.where(free, np.abs(slope), -slope).max(axis=1) <= _FLAT
    bend = np.where(free[:, :, None] & free[:, None, :], hessian * scale[:, :, None] * scale[:, None, :], 0.0)
    bend += ~free[:, :, None] * np.eye(layout.terms + 1)
    wrong = ~(level & (np.linalg.eigvalsh(bend)[:, 0] > 0.0))
    _refuse(wrong, first, "no highest likelihood could be proved for it", "variances that these rows can tell apart")
