"""Checks of what an optimal design may not run: combinations and sums that are ruled out, and what is left (rank 2)."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from toolkit.brief import check_factors, optimal
from toolkit.brief.found import Found, Loc, number, quoted
from toolkit.brief.model import Brief

# Of more combinations so many are drawn.
_LISTED = 20_000


def stated(brief: Brief) -> list[Found]:
    """What is wrong with ``forbidden`` and ``limits`` as they are written."""
    return _forbidden(brief) + _limits(brief)


def left(brief: Brief) -> list[Found]:
    """Restrictions that leave nothing to run, or nothing that tells the model."""
    if not optimal.restricted(brief):
        return []
    return _nothing_left(brief) or _told(brief)


def _forbidden(brief: Brief) -> list[Found]:
    """Combinations that name no level, or levels and factors that are not there."""
    made = []
    for at, levels in enumerate(brief.plan.forbidden):
        loc: Loc = ("plan", "forbidden", at)
        if not levels:
            made.append(Found(loc, "an empty table", 'levels by factor: { pin = "P1", oil = "O0" }', "Delete it."))
        unknown = check_factors.levels_known(brief, levels, loc)
        made += unknown
        if len(levels) == 1 and not unknown:
            ((name, level),) = levels.items()
            words = f"{name} {level} with nothing beside, so that the level is never run"
            made.append(Found(loc, words, "levels of two factors or more", "Take the level out of the factor instead."))
    return made


def _limits(brief: Brief) -> list[Found]:
    """Sums of what is no number, without an end, or that cannot be."""
    made = []
    for at, limit in enumerate(brief.plan.limits):
        loc: Loc = ("plan", "limits", at)
        if limit.sum is None:
            continue
        if not limit.sum:
            made.append(Found((*loc, "sum"), "an empty table", "numeric factors and their weights"))
        for name, weight in limit.sum.items():
            told = check_factors.known_factor(brief, name, (*loc, "sum", name))
            made += told
            if not told and not brief.factor(name).numeric:
                made.append(Found((*loc, "sum", name), f"factor {quoted(name)} has no numbers", "a numeric factor"))
            if weight is not None and not math.isfinite(weight):
                made.append(Found((*loc, "sum", name), "no finite number", "a number"))
        ends = [limit.at_most, limit.at_least]
        if ends == [None, None]:
            made.append(Found(loc, "neither at_most nor at_least", "one of them", "Add at_most = the largest sum."))
        elif any(end is not None and not math.isfinite(end) for end in ends):
            made.append(Found(loc, "no finite number", "numbers"))
        elif None not in ends and limit.at_least > limit.at_most:
            words = f"at least {number(limit.at_least)} and at most {number(limit.at_most)}"
            made.append(Found(loc, words, "at_least below at_most", "Exchange them."))
    return made


def _nothing_left(brief: Brief) -> list[Found]:
    """Restrictions that leave no combination, with the one whose loss would leave most."""
    every, good = _region(brief)
    if good.any():
        return []
    left = []
    for key in ("forbidden", "limits"):
        for at, _ in enumerate(getattr(brief.plan, key)):
            count = int(optimal.allowed(_without(brief, key, at))(every).sum())
            left.append((count, key, at))
    most = max(left)
    remedy = (
        f"Without {most[1]} no. {most[2] + 1} there are {most[0]} of {len(every)} left."
        if most[0]
        else "No single one of them is the reason; take several out."
    )
    loc: Loc = ("plan", "limits") if brief.plan.limits else ("plan", "forbidden")
    return [Found(loc, "not one combination is left that may be run", "one at least", remedy)]


def _told(brief: Brief) -> list[Found]:
    """Terms that what may be run cannot tell, however many runs are made."""
    every, good = _region(brief)
    space = optimal.space(brief)
    rows = space.rows(every[good])
    if np.linalg.matrix_rank(rows) == space.parameters:
        return []
    held: list[tuple[str, ...]] = []
    lost = []
    for term in optimal.terms(brief):
        own = optimal.space(brief, asked=(*held, term))
        if np.linalg.matrix_rank(own.rows(every[good])) < own.parameters:
            lost.append(" × ".join(term))
        else:
            held.append(term)
    words = f"the {int(good.sum())} combinations that may be run cannot tell {', '.join(lost)}"
    loc: Loc = ("plan", "limits") if brief.plan.limits else ("plan", "forbidden")
    remedy = "Take the level out of the factor, or allow more."
    if all(" × " in name for name in lost):
        key = "leave it out of [plan] interactions" if brief.plan.interactions else "name it in [plan] nil_interactions"
        remedy = f"Take the term out of the model ({key}), or allow more."
    return [Found(loc, words, "every term of the model told", remedy)]


def _region(brief: Brief) -> tuple[np.ndarray, np.ndarray]:
    """Combinations of levels, all or many drawn where they are too many, and a mask of those that may be run."""
    counts = [len(item.levels) for item in brief.factors]
    if math.prod(counts) <= _LISTED:
        every = np.array(np.unravel_index(np.arange(math.prod(counts)), counts)).T
    else:
        every = np.random.default_rng(0).integers(0, counts, size=(_LISTED, len(counts)))
    return every, optimal.allowed(brief)(every)


def _without(brief: Brief, key: str, at: int) -> Brief:
    """The brief without one of its restrictions."""
    kept = [item for place, item in enumerate(getattr(brief.plan, key)) if place != at]
    return replace(brief, plan=replace(brief.plan, **{key: tuple(kept)}))
