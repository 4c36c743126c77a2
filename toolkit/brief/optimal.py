"""What the search for an optimal design is asked for, from the keys of [plan] (rank 2)."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations

import numpy as np

from toolkit.brief.designs import OPTIMAL
from toolkit.brief.model import Brief, Factor, Limit
from toolkit.numeric import exchange_model
from toolkit.numeric.exchange_model import Axis, Levels, Space

Term = tuple[str, ...]
MAIN_EFFECTS = "main effects"
TWO_FACTOR = "two-factor interactions"
QUADRATIC = "quadratic"
MODELS = (MAIN_EFFECTS, TWO_FACTOR, QUADRATIC)
# Units that hold several runs where a factor is changed with them; the coarser first.
UNITS = ("build", "part", "fill")
# A sum of numbers may lie this far beyond its limit, by rounding.
_ROUNDING = 1e-9


def used(brief: Brief) -> bool:
    """True where the brief's design is found by the search."""
    return brief.plan.design == OPTIMAL


def sloped(brief: Brief) -> frozenset[str]:
    """The factors that stand in the model as slope and square: numbers of three levels and more, where it is quadratic.

    Every other factor has an effect of each level.
    """
    if not used(brief) or brief.plan.model != QUADRATIC:
        return frozenset()
    return frozenset(item.name for item in brief.factors if item.numeric and len(item.levels) > 2)


def centre_and_reach(factor: Factor) -> tuple[float, float]:
    """The mean of a numeric factor's levels, and half the way from its lowest to its highest."""
    values = [float(level.value or 0.0) for level in factor.levels]
    return float(np.mean(values)), 0.5 * (max(values) - min(values))


def coded(factor: Factor) -> tuple[float, ...]:
    """The levels of a numeric factor in coded units: less their mean, half the way from end to end being 1."""
    centre, reach = centre_and_reach(factor)
    return tuple((float(level.value or 0.0) - centre) / reach for level in factor.levels)


def terms(brief: Brief) -> tuple[Term, ...]:
    """The terms of the stated model by the factors' names: main effects first, then interactions of two.

    The main effect of a factor that stands as slope and square holds both.
    """
    nil = [frozenset(item) for item in brief.plan.nil_interactions]
    if brief.plan.model == MAIN_EFFECTS:
        named = [frozenset(pair) for pair in brief.plan.interactions]
        pairs = [pair for pair in combinations(brief.factor_names, 2) if frozenset(pair) in named]
    else:
        pairs = [pair for pair in combinations(brief.factor_names, 2) if frozenset(pair) not in nil]
    return (*((name,) for name in brief.factor_names), *pairs)


def space(brief: Brief, *, asked: tuple[Term, ...] | None = None) -> Space:
    """What the search chooses from: the factors' levels, the model, what is forbidden.

    Parameters
    ----------
    brief : Brief
    asked : tuple of Term, optional
        Other terms than those of the stated model.
    """
    slopes, names = sloped(brief), list(brief.factor_names)
    axes: list[Axis] = [
        exchange_model.numbers(coded(item)) if item.name in slopes else exchange_model.categories(len(item.levels))
        for item in brief.factors
    ]
    own: list[tuple[int, ...]] = []
    for term in terms(brief) if asked is None else asked:
        own.append(tuple(names.index(name) for name in term))
        if len(term) == 1 and term[0] in slopes:
            own.append((names.index(term[0]),) * 2)
    return Space(tuple(axes), tuple(own), allowed(brief) if restricted(brief) else None)


def restricted(brief: Brief) -> bool:
    """True where some combinations may not be run."""
    return bool(brief.plan.forbidden or brief.plan.limits)


def allowed(brief: Brief) -> Callable[[Levels], np.ndarray]:
    """Level numbers, a row a run, to a mask of the runs that neither ``forbidden`` nor ``limits`` rules out."""
    names = list(brief.factor_names)
    banned = [
        [(names.index(name), brief.factor(name).names.index(level)) for name, level in item.items()]
        for item in brief.plan.forbidden
    ]
    sums = [
        ([(names.index(name), weight, _values(brief.factor(name))) for name, weight in limit.sum.items()], limit)
        for limit in brief.plan.limits
    ]

    def mask(levels: Levels) -> np.ndarray:
        """True for what may be run."""
        good = np.ones(len(levels), dtype=bool)
        for item in banned:
            good &= ~np.logical_and.reduce([levels[:, at] == level for at, level in item])
        for parts, limit in sums:
            total = sum(weight * values[levels[:, at]] for at, weight, values in parts)
            good &= _within(total, limit)
        return good

    return mask


def plots_of(brief: Brief) -> dict[str, tuple[str, ...]]:
    """The units that hold several runs of a set, the coarser first, to the factors that are changed with them."""
    held = {
        unit: tuple(item.name for item in brief.factors if item.undo == unit and unit not in brief.new_each_run)
        for unit in UNITS
    }
    return {unit: names for unit, names in held.items() if names}


def builds_of_set(brief: Brief) -> int:
    """Over how many builds one set is spread: those that are units of a factor, or ``split_over``."""
    return int(brief.plan.plots.get("build", 0)) if "build" in plots_of(brief) else brief.plan.split_over


def _values(factor: Factor) -> np.ndarray:
    """The levels of a numeric factor in its own unit."""
    return np.array([float(level.value or 0.0) for level in factor.levels])


def _within(total: np.ndarray, limit: Limit) -> np.ndarray:
    """True where a sum keeps to its limits."""
    slack = _ROUNDING * np.maximum(np.abs(total), 1.0)
    good = np.ones(len(total), dtype=bool)
    if limit.at_most is not None:
        good &= total <= limit.at_most + slack
    if limit.at_least is not None:
        good &= total >= limit.at_least - slack
    return good
