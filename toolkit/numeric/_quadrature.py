"""The states that a pilot's doubt and a campaign's luck can take, with their weights.

Gauss-Legendre rules in the quantile scale of each mean square.

May import numpy and scipy.special; arguments are checked by the caller. Nothing is drawn at random.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from toolkit.numeric._quantiles import chi_square_below
from toolkit.numeric.noncentral import critical_t
from toolkit.numeric.weighted_t import FEWEST_DF

Floats = NDArray[np.float64]
Pair = tuple[ArrayLike, ArrayLike]

# Nodes for each mean square of the pilot, by how many there are; one that is known exactly has one.
_NODES = {1: 48, 2: 20, 3: 8}
# Nodes for each mean square of the campaign: fewer do where the pilot's doubt is averaged over besides.
_CAMPAIGN = {1: 24, 2: 14, 3: 6}
# Plans are worked through in slices of about this many nodes, 4 MB an array.
_SLICE = 500_000
# Points of the table of critical t over 1/df; interpolation error is below 1e-6 of the value.
_TABLE = 4097
_LOWEST = 1e-100
# Beyond these quantiles of a scatter nothing is added to a chance.
_TAIL = 1e-13


@dataclass(frozen=True, eq=False)
class Luck:
    """True standard error (plan, pilot node, 1), half-width of the interval (plan, pilot, campaign),
    weights."""

    plans: slice
    std_error: Floats
    half_width: Floats
    weight: Floats


@lru_cache(maxsize=8)
def _rule(nodes: int) -> tuple[Floats, Floats]:
    """Places and weights of the Gauss-Legendre rule on (0, 1)."""
    place, weight = np.polynomial.legendre.leggauss(nodes)
    return 0.5 * (place + 1.0), 0.5 * weight


def _scaled_chi_square(df: Floats, nodes: int) -> Floats:
    """Quantiles of chi-square over its df at the nodes, shape (len(df), nodes).

    It is 1 where the df is infinite.
    """
    place, _ = _rule(nodes)
    known = np.isinf(df)
    if known.all():
        return np.ones((len(df), nodes))
    finite = np.where(known, 1.0, df)[:, None]
    # With a fraction of a df the lowest quantiles underflow; this floor keeps their squares finite.
    ratio = np.maximum(chi_square_below(finite, place) / finite, _LOWEST)
    return np.where(known[:, None], 1.0, ratio)


def _product(sides: Sequence[Floats]) -> list[Floats]:
    """Arrays (n, nodes), opened to the grid of all combinations of nodes, each (n, grid)."""
    count = len(sides)
    grid = (len(sides[0]), *(side.shape[1] for side in sides))
    opened = []
    for at, side in enumerate(sides):
        shape = [len(side), *(1,) * count]
        shape[at + 1] = side.shape[1]
        opened.append(np.broadcast_to(side.reshape(shape), grid).reshape(grid[0], -1))
    return opened


def _weights(nodes: Sequence[int]) -> Floats:
    """Weights of the rule with these nodes for each mean square, flat, in the order of ``_product``."""
    made = np.ones(1)
    for count in nodes:
        made = np.outer(made, _rule(count)[1]).ravel()
    return made


def _pilot_nodes(pilot: Sequence[Pair]) -> list[int]:
    """How many nodes each mean square of the pilot has."""
    return [1 if np.isinf(float(np.asarray(df))) else _NODES[len(pilot)] for _, df in pilot]


def _true_mean_squares(pilot: Sequence[Pair], link: Floats) -> Floats:
    """The plan's true mean squares, shape (plans or 1, parts, pilot nodes), for each state of the doubt."""
    nodes = zip(pilot, _pilot_nodes(pilot), strict=True)
    spread = _product([_scaled_chi_square(np.array([df], dtype=float), count) for (_, df), count in nodes])
    states = [float(square) / ratio[0] for (square, _), ratio in zip(pilot, spread, strict=True)]
    for outer in range(len(states) - 2, -1, -1):
        # An outer mean square below the inner one would be a negative component: it counts as zero.
        states[outer] = np.maximum(states[outer], states[outer + 1])
    return link @ np.stack(states)


def _critical(df: Floats, low: float, high: float, alpha: float) -> Floats:
    """Critical t for very many degrees of freedom between two bounds, by a table that is linear in 1/df."""
    inverse = np.linspace(1.0 / high, 1.0 / low, _TABLE) if low < high else np.array([1.0 / low])
    with np.errstate(divide="ignore"):
        table = critical_t(1.0 / inverse, alpha=alpha)
    return np.interp(1.0 / df, inverse, table)


def _half_widths(scale: Floats, df: Floats, alpha: float, nodes: int) -> Floats:
    """Half-widths, shape (plans, pilot nodes, campaign nodes), from the weighted true mean squares."""
    plans, parts, _ = scale.shape
    spread = _product([_scaled_chi_square(df[:, k], nodes) for k in range(parts)])
    terms = [scale[:, k, :, None] * spread[k][:, None, :] for k in range(parts)]
    if parts == 1:
        return critical_t(df[:, 0], alpha=alpha)[:, None, None] * np.sqrt(terms[0])
    total = sum(terms[1:], terms[0])
    doubt = sum(term**2 / df[:, k, None, None] for k, term in enumerate(terms))
    critical = np.empty_like(total)
    for plan in range(plans):
        known = np.isinf(df[plan]).all()
        if df[plan].min() < FEWEST_DF:
            # As ``weighted_t.critical``: each mean square's own t by its share.
            each = critical_t(np.maximum(df[plan], 1.0), alpha=alpha)
            critical[plan] = sum(t * term[plan] for t, term in zip(each, terms, strict=True)) / total[plan]
            continue
        realised = np.full_like(total[plan], np.inf) if known else total[plan] ** 2 / doubt[plan]
        critical[plan] = _critical(realised, df[plan].min(), df[plan].sum(), alpha)
    return critical * np.sqrt(total)


def lucks(
    parts: Floats, df: Floats, pilot: Sequence[Pair], link: Floats, alpha: float, widening: Floats | None = None
) -> Iterator[Luck]:
    """Every state of pilot and campaign, a slice of the plans at a time."""
    count = parts.shape[1]
    own = _pilot_nodes(pilot)
    nodes = (_NODES if max(own) == 1 else _CAMPAIGN)[count] if np.isfinite(df).any() else 1
    weight = np.outer(_weights(own), _weights([nodes] * count))
    truth = _true_mean_squares(pilot, link)
    step = max(1, _SLICE // weight.size)
    for start in range(0, len(parts), step):
        plans = slice(start, min(start + step, len(parts)))
        scale = parts[plans, :, None] * (truth[plans] if len(truth) > 1 else truth)
        half_width = _half_widths(scale, df[plans], alpha, nodes)
        if widening is not None:
            half_width = half_width * widening[plans, None, None]
        yield Luck(plans, np.sqrt(scale.sum(axis=1))[:, :, None], half_width, weight)


def true_errors(parts: Floats, pilot: Sequence[Pair], link: Floats) -> tuple[Floats, Floats]:
    """True standard error of the comparison for each state of the pilot's doubt, (plans, nodes), and the weights."""
    truth = _true_mean_squares(pilot, link)
    return np.sqrt((parts[:, :, None] * truth).sum(axis=1)), _weights(_pilot_nodes(pilot))


def scatter_rule(df: float, below: Floats) -> tuple[Floats, Floats]:
    """Places and weights of estimated over true scatter up to a bound, shapes (bounds, nodes); df finite.

    The weights of a line sum to the chance of the scatter lying below its bound.
    """
    place, weight = _rule(_NODES[1])
    low, high = np.sqrt(np.maximum(chi_square_below(df, np.array([_TAIL, 1.0 - _TAIL])), _LOWEST) / df)
    top = np.clip(below, low, high)
    at = low + (top - low)[:, None] * place
    log = np.log(2.0) + 0.5 * df * np.log(0.5 * df) - special.gammaln(0.5 * df)
    density = np.exp(log + (df - 1.0) * np.log(at) - 0.5 * df * at**2)
    return at, (top - low)[:, None] * weight * density
