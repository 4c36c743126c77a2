"""The terms of the factorial model and their columns, from the brief and a run table (rank 3).

Columns are sum-coded (textbook coding: the columns of a factor add to nought over its levels), so that a row of
the model for any combination, and equally weighted means of such rows, mean the same with and without balance.
Names of factors and levels are looked up, never evaluated.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np
import pandas as pd

from toolkit.brief.model import CENTRE, Brief, Factor
from toolkit.design import base

Term = tuple[str, ...]
CURVATURE: Term = ("curvature",)


def name_of(term: Term) -> str:
    """A term as text: ``('pin', 'oil')`` gives 'pin × oil'.

    Examples
    --------
    >>> name_of(("pin", "oil"))
    'pin × oil'
    """
    return " × ".join(term)


def of_brief(brief: Brief, *, curvature: bool = False) -> tuple[Term, ...]:
    """Every term of the model that the brief plans: main effects first, then interactions by their order.

    Interactions the brief declares nil are left out, with every interaction that contains them. Of a design that runs
    a part of the combinations only those that it can tell (``design.base``). With ``curvature`` a last term tells
    centre points from the corners.
    """
    names = brief.factor_names
    nil = [frozenset(item) for item in brief.plan.nil_interactions]
    terms: list[Term] = []
    if base.part(brief):
        terms += base.terms(brief)
    for size in range(1, (brief.plan.interactions_up_to or len(names)) + 1) if not terms else ():
        for term in combinations(names, size):
            if not any(item <= frozenset(term) for item in nil):
                terms.append(term)
    if curvature:
        terms.append(CURVATURE)
    return tuple(terms)


def coded(factor: Factor, levels: Sequence[str]) -> np.ndarray:
    """Sum-coded columns of one factor: shape (runs, levels - 1); a centre point is a row of noughts."""
    count = len(factor.levels)
    coding = np.vstack([np.eye(count - 1), -np.ones((1, count - 1))])
    rows = {name: coding[place] for place, name in enumerate(factor.names)}
    rows[CENTRE] = np.zeros(count - 1)
    return np.array([rows[level] for level in levels]).reshape(len(levels), count - 1)


def columns(
    brief: Brief,
    runs: pd.DataFrame | Mapping[str, Sequence[str]],
    terms: Sequence[Term],
) -> tuple[np.ndarray, dict[Term, slice]]:
    """The model's columns for a table of levels: the mean first, then each term.

    Parameters
    ----------
    runs : DataFrame or mapping
        One column of level names per factor.
    terms : sequence of Term

    Returns
    -------
    columns : ndarray, shape (runs, parameters)
    spans : dict
        Term to the slice of its columns; the mean stands under ``()``.
    """
    parts = _parts(brief, runs)
    count = len(next(iter(parts.values())))
    sloped = base.sloped(brief)
    blocks = [np.ones((count, 1))]
    spans: dict[Term, slice] = {(): slice(0, 1)}
    at = 1
    for term in terms:
        if term == CURVATURE:
            centre = np.array(
                [any(runs[f.name][i] == CENTRE for f in brief.factors) for i in _index(runs, count)], dtype=float
            )
            block = centre[:, None]
        else:
            block = np.ones((count, 1))
            for name in term:
                own = parts[name][:, :1] if name in sloped and len(term) > 1 else parts[name]
                block = (block[:, :, None] * own[:, None, :]).reshape(count, -1)
        blocks.append(block)
        spans[term] = slice(at, at + block.shape[1])
        at += block.shape[1]
    return np.hstack(blocks), spans


def row(brief: Brief, terms: Sequence[Term], levels: Mapping[str, str]) -> np.ndarray:
    """The model's row for the mean over every combination that has these levels, equally weighted.

    ``levels`` may name some of the factors only; shape (parameters,).
    """
    # The columns of a factor add to nought over its levels: a term with a factor that is not named averages out.
    told = {f.name: [levels.get(f.name, f.names[0])] for f in brief.factors}
    made, spans = columns(brief, told, terms)
    for term, span in spans.items():
        if term not in ((), CURVATURE) and any(name not in levels for name in term):
            made[:, span] = 0.0
    return made[0]


def _parts(brief: Brief, runs: pd.DataFrame | Mapping[str, Sequence[str]]) -> dict[str, np.ndarray]:
    """The columns of each factor: sum-coded, or slope and square (less its mean over the levels)."""
    slopes, every = base.sloped(brief), base.steps(brief) if base.sloped(brief) else {}
    made = {}
    for item in brief.factors:
        if item.name not in slopes:
            made[item.name] = coded(item, list(runs[item.name]))
            continue
        steps = every[item.name]
        values = np.array([steps[level] for level in runs[item.name]], dtype=float)
        mean = float(np.mean([steps[level] ** 2 for level in item.names]))
        made[item.name] = np.column_stack([values, values**2 - mean])
    return made


def _index(runs: pd.DataFrame | Mapping[str, Sequence[str]], count: int) -> Sequence[object]:
    """The labels by which a column of ``runs`` is looked up row by row."""
    return list(runs.index) if isinstance(runs, pd.DataFrame) else range(count)
