"""The space of the factors that a plan predicts in, and the model's columns at its runs and points (rank 3)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from toolkit.brief import optimal
from toolkit.brief.model import Brief, Factor
from toolkit.design import base
from toolkit.design import terms as model_terms
from toolkit.design.strata import Strata
from toolkit.design.terms import CURVATURE, Term

# Points drawn in a space of numbers, and the most combinations that are gone through.
_POINTS = 5_000
_MOST_COMBINATIONS = 4_096
_NIL = 1e-9

Parts = dict[str, np.ndarray]


@dataclass(frozen=True, eq=False)
class Space:
    """Where predictions are asked for, as columns of the model.

    Attributes
    ----------
    columns_of_runs : ndarray, shape (runs, parameters)
    spans : dict of Term to slice
    points : ndarray, shape (points, parameters)
        Spread over the space: of equal shares.
    corners : ndarray, shape (corners, parameters)
        Where the variance is largest as a rule: combinations of levels, or the runs of a ball.
    evenly : ndarray, shape (nodes, parameters)
        Nodes with ``weights`` whose mean is the mean over the space.
    weights : ndarray, shape (nodes,)
    words : str
    notes : tuple of str
    """

    columns_of_runs: np.ndarray
    spans: dict[Term, slice]
    points: np.ndarray
    corners: np.ndarray
    evenly: np.ndarray
    weights: np.ndarray
    words: str
    notes: tuple[str, ...] = ()


def of_strata(laid: Strata) -> Space:
    """The space of a plan: between the levels of numeric factors where the model says what lies between, else the
    combinations of levels."""
    brief, terms = laid.brief, [term for term in laid.terms if term != CURVATURE]
    allowed, notes = _combinations(brief)
    named = {item.name: [line[at] for line in allowed] for at, item in enumerate(brief.factors)}
    runs = {name: laid.runs[name].astype(str).tolist() for name in brief.factor_names}
    numbers = [item for item in brief.factors if _continuous(brief, item)]
    known = all(_continuous(brief, item) for item in brief.factors if item.numeric)
    made, spans = _columns(brief, terms, _parts(brief, runs))
    if not known or not _agrees(laid, made) or not numbers:
        made, spans = _scaled_columns(brief, terms, runs, named)
        at, _ = _scaled_columns(brief, terms, named, named)
        words = "over the combinations of the levels"
        if optimal.used(brief) and optimal.restricted(brief):
            words += " that are allowed"
        return Space(made, spans, at, at, at, np.ones(len(at)), words, notes)
    others = [item for item in brief.factors if item not in numbers]
    held = list(product(*(item.names for item in others)))
    random = np.random.default_rng(0)
    distance = _distance(brief, runs)
    inside = random.uniform(-1.0, 1.0, (_POINTS, len(numbers)))
    if distance is not None:
        # Directions and distances that fill a ball evenly.
        way = random.normal(size=inside.shape)
        far = distance * random.random((_POINTS, 1)) ** (1.0 / len(numbers))
        inside = way / np.linalg.norm(way, axis=1, keepdims=True) * far
    chosen = random.integers(len(held), size=_POINTS)
    points, _ = _columns(brief, terms, _at(brief, numbers, others, inside, [held[at] for at in chosen]))
    if distance is not None:
        words = f"in the ball of radius {distance:.3g} that holds every run, in coded units"
        return Space(made, spans, points, made, points, np.ones(len(points)), words, notes)
    corners = np.array(list(product(*((-1.0, 0.0, 1.0) if base.second_order(brief) else (-1.0, 1.0) for _ in numbers))))
    at_corners, _ = _columns(brief, terms, _at(brief, numbers, others, *_crossed(corners, held)))
    # Three nodes a factor are exact for the squares of a second-order model.
    place, weight = np.polynomial.legendre.leggauss(3)
    nodes = np.array(list(product(place, repeat=len(numbers))))
    share = np.array([np.prod(one) for one in product(weight / 2.0, repeat=len(numbers))])
    evenly, _ = _columns(brief, terms, _at(brief, numbers, others, *_crossed(nodes, held)))
    words = "between the lowest and the highest level of each numeric factor"
    words += ", over the levels of the others" if others else ""
    return Space(made, spans, points, at_corners, evenly, np.repeat(share, len(held)), words, notes)


def _combinations(brief: Brief) -> tuple[list[tuple[str, ...]], tuple[str, ...]]:
    """The combinations of levels, a sample of them where there are very many."""
    count = int(np.prod([len(item.names) for item in brief.factors], dtype=float))
    if count <= _MOST_COMBINATIONS:
        return _allowed(brief, list(product(*(item.names for item in brief.factors)))), ()
    random = np.random.default_rng(0)
    drawn = [random.integers(len(item.names), size=_MOST_COMBINATIONS) for item in brief.factors]
    lines = [
        tuple(item.names[int(own[at])] for item, own in zip(brief.factors, drawn, strict=True))
        for at in range(_MOST_COMBINATIONS)
    ]
    told = f"predictions are told from {_MOST_COMBINATIONS:,} of {count:,} combinations, drawn at random"
    return _allowed(brief, lines), (told,)


def _allowed(brief: Brief, lines: list[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """The combinations that an optimal plan is not forbidden."""
    if not (optimal.used(brief) and optimal.restricted(brief)):
        return lines
    numbers = np.array(
        [[item.names.index(level) for item, level in zip(brief.factors, line, strict=True)] for line in lines]
    )
    return [line for line, good in zip(lines, optimal.allowed(brief)(numbers), strict=True) if good]


def _continuous(brief: Brief, factor: Factor) -> bool:
    """True where the model says what lies between the levels of a factor."""
    return factor.numeric and (base.second_order(brief) or len(factor.levels) == 2)


def _parts(brief: Brief, levels: Mapping[str, Sequence[str]]) -> Parts:
    """The columns of each factor at levels by name."""
    return {item.name: _of_levels(brief, item, levels[item.name]) for item in brief.factors}


def _of_levels(brief: Brief, factor: Factor, levels: Sequence[str]) -> np.ndarray:
    """The columns of one factor at levels by name."""
    if base.second_order(brief):
        steps = base.steps(brief)[factor.name]
        return _polynomial(np.array([steps[level] for level in levels]))
    return model_terms.coded(factor, list(levels)) @ _turn(factor)


def _polynomial(values: np.ndarray) -> np.ndarray:
    """Slope and square, shape (points, 2)."""
    return np.column_stack([values, values**2])


def _turn(factor: Factor) -> np.ndarray:
    """What turns sum-coded columns into orthogonal contrasts of mean square 1; two levels stay at 1 and -1."""
    own = model_terms.coded(factor, factor.names)
    return np.linalg.inv(np.linalg.cholesky(own.T @ own / len(own)).T)


def _columns(brief: Brief, terms: Sequence[Term], parts: Parts) -> tuple[np.ndarray, dict[Term, slice]]:
    """The model's columns from those of the factors."""
    count = len(next(iter(parts.values())))
    blocks, spans, at = [np.ones((count, 1))], {(): slice(0, 1)}, 1
    for term in terms:
        block = np.ones((count, 1))
        for name in term:
            own = parts[name][:, :1] if base.second_order(brief) and len(term) > 1 else parts[name]
            block = (block[:, :, None] * own[:, None, :]).reshape(count, -1)
        blocks.append(block)
        spans[term] = slice(at, at + block.shape[1])
        at += block.shape[1]
    return np.hstack(blocks), spans


def _scaled_columns(
    brief: Brief, terms: Sequence[Term], levels: Mapping[str, Sequence[str]], every: Mapping[str, Sequence[str]]
) -> tuple[np.ndarray, dict[Term, slice]]:
    """The model's own columns at levels by name, each term turned to mean square 1 over ``every`` combination."""
    made, spans = model_terms.columns(brief, levels, terms)
    over, _ = model_terms.columns(brief, every, terms)
    made = made.copy()
    for term, span in spans.items():
        squares = over[:, span].T @ over[:, span] / len(over)
        if term != () and np.linalg.matrix_rank(squares) == len(squares):
            made[:, span] = made[:, span] @ np.linalg.inv(np.linalg.cholesky(squares).T)
    return made, spans


def _agrees(laid: Strata, made: np.ndarray) -> bool:
    """True where the columns put together here span what the strata are judged by."""
    kept = np.ones(laid.columns.shape[1], dtype=bool)
    kept[laid.spans.get(CURVATURE, slice(0, 0))] = False
    theirs = laid.columns[:, kept]
    ranks = [np.linalg.matrix_rank(one) for one in (made, theirs, np.hstack([made, theirs]))]
    return len(set(ranks)) == 1


def _distance(brief: Brief, runs: Mapping[str, Sequence[str]]) -> float | None:
    """How far the farthest run lies from the middle, where runs lie beyond the corners' cube; None elsewhere."""
    if not base.second_order(brief):
        return None
    steps = base.steps(brief)
    values = np.array([[steps[name][level] for level in runs[name]] for name in brief.factor_names]).T
    return float(np.linalg.norm(values, axis=1).max()) if np.abs(values).max() > 1.0 + _NIL else None


def _at(
    brief: Brief,
    numbers: Sequence[Factor],
    others: Sequence[Factor],
    values: np.ndarray,
    levels: Sequence[Sequence[str]],
) -> Parts:
    """The columns of each factor at points: coded numbers for some factors, level names for the others."""
    made = {}
    for at, item in enumerate(numbers):
        # A factor of two levels is coded 1 at its first level, as in the model.
        made[item.name] = _polynomial(values[:, at]) if base.second_order(brief) else -values[:, at : at + 1]
    for at, item in enumerate(others):
        made[item.name] = _of_levels(brief, item, [line[at] for line in levels])
    return made


def _crossed(values: np.ndarray, held: Sequence[Sequence[str]]) -> tuple[np.ndarray, list[Sequence[str]]]:
    """Every point with every combination of the others."""
    return np.repeat(values, len(held), axis=0), list(held) * len(values)
