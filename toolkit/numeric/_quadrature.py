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

from toolkit.numeric._quantiles import chi_square_below
from toolkit.numeric.noncentral import critical_t

Floats = NDArray[np.float64]
Pair = tuple[ArrayLike, ArrayLike]

# Nodes for each mean square: 48 when it stands alone on its side (pilot or campaign), 20 when there are two.
_NODES = {1: 48, 2: 20}
# Plans are worked through in slices of about this many nodes, 4 MB an array.
_SLICE = 500_000
# Points of the table of critical t over 1/df; interpolation error is below 1e-6 of the value.
_TABLE = 4097
_LOWEST = 1e-100


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
    finite = np.where(known, 1.0, df)[:, None]
    # With a fraction of a df the lowest quantiles underflow; this floor keeps their squares finite.
    ratio = np.maximum(chi_square_below(finite, place) / finite, _LOWEST)
    return np.where(known[:, None], 1.0, ratio)


def _product(sides: Sequence[Floats]) -> list[Floats]:
    """One or two arrays (n, nodes), opened to the grid of all pairs of nodes, each (n, grid)."""
    if len(sides) == 1:
        return list(sides)
    first, second = sides
    grid = (len(first), first.shape[1], second.shape[1])
    return [
        np.broadcast_to(first[:, :, None], grid).reshape(len(first), -1),
        np.broadcast_to(second[:, None, :], grid).reshape(len(first), -1),
    ]


def _weights(count: int) -> Floats:
    """Weights of the one- or two-fold rule, flat, in the order of ``_product``."""
    _, weight = _rule(_NODES[count])
    return weight if count == 1 else np.outer(weight, weight).ravel()


def _true_mean_squares(pilot: Sequence[Pair], link: Floats) -> Floats:
    """The plan's true mean squares, shape (plans or 1, parts, pilot nodes), for each state of the doubt."""
    nodes = _NODES[len(pilot)]
    spread = _product([_scaled_chi_square(np.array([df], dtype=float), nodes) for _, df in pilot])
    states = [float(square) / ratio[0] for (square, _), ratio in zip(pilot, spread, strict=True)]
    if len(states) == 2:
        # An outer mean square below the inner one would be a negative component: it counts as zero.
        states[0] = np.maximum(states[0], states[1])
    return link @ np.stack(states)


def _critical(df: Floats, low: float, high: float, alpha: float) -> Floats:
    """Critical t for very many degrees of freedom between two bounds, by a table that is linear in 1/df."""
    inverse = np.linspace(1.0 / high, 1.0 / low, _TABLE) if low < high else np.array([1.0 / low])
    with np.errstate(divide="ignore"):
        table = critical_t(1.0 / inverse, alpha=alpha)
    return np.interp(1.0 / df, inverse, table)


def _half_widths(scale: Floats, df: Floats, alpha: float) -> Floats:
    """Half-widths, shape (plans, pilot nodes, campaign nodes), from the weighted true mean squares."""
    plans, parts, _ = scale.shape
    spread = _product([_scaled_chi_square(df[:, k], _NODES[parts]) for k in range(parts)])
    terms = [scale[:, k, :, None] * spread[k][:, None, :] for k in range(parts)]
    if parts == 1:
        return critical_t(df[:, 0], alpha=alpha)[:, None, None] * np.sqrt(terms[0])
    total = terms[0] + terms[1]
    doubt = terms[0] ** 2 / df[:, 0, None, None] + terms[1] ** 2 / df[:, 1, None, None]
    critical = np.empty_like(total)
    for plan in range(plans):
        known = np.isinf(df[plan]).all()
        realised = np.full_like(total[plan], np.inf) if known else total[plan] ** 2 / doubt[plan]
        critical[plan] = _critical(realised, df[plan].min(), df[plan].sum(), alpha)
    return critical * np.sqrt(total)


def lucks(parts: Floats, df: Floats, pilot: Sequence[Pair], link: Floats, alpha: float) -> Iterator[Luck]:
    """Every state of pilot and campaign, a slice of the plans at a time."""
    count = parts.shape[1]
    weight = np.outer(_weights(len(pilot)), _weights(count))
    truth = _true_mean_squares(pilot, link)
    step = max(1, _SLICE // weight.size)
    for start in range(0, len(parts), step):
        plans = slice(start, min(start + step, len(parts)))
        scale = parts[plans, :, None] * (truth[plans] if len(truth) > 1 else truth)
        yield Luck(plans, np.sqrt(scale.sum(axis=1))[:, :, None], _half_widths(scale, df[plans], alpha), weight)
