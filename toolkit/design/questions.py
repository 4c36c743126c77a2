"""Comparisons and terms as rows of the model: what is multiplied with what to answer a question (rank 3).

The one place where a question becomes a contrast; sizing, order checks and analysis all read it here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from toolkit.brief.model import Brief, Comparison
from toolkit.design import terms as model_terms
from toolkit.design.terms import CURVATURE, Term


@dataclass(frozen=True, eq=False)
class Question:
    """One contrast of the model.

    Attributes
    ----------
    name : str
        The comparison's or the term's name.
    contrast : str
        The contrast in words.
    row : ndarray, shape (parameters,)
    comparison : Comparison or None
        None for a term.
    term : Term or None
        None for a comparison.
    """

    name: str
    contrast: str
    row: np.ndarray
    comparison: Comparison | None = None
    term: Term | None = None


def of_comparison(brief: Brief, comparison: Comparison, terms: Sequence[Term]) -> Question:
    """The contrast of a comparison: mean of the one set less mean of the other, or the interaction's
    difference of differences (a ratio of ratios on the log scale)."""
    if comparison.interaction:
        pairs = {name: (brief.factor(name).names[-1], brief.factor(name).names[0]) for name in comparison.interaction}
        return Question(
            comparison.name, _interaction_words(brief, pairs), _difference(brief, terms, pairs), comparison=comparison
        )
    row = model_terms.row(brief, terms, comparison.of) - model_terms.row(brief, terms, comparison.against)
    text = f"{_levels(comparison.of)} against {_levels(comparison.against)}"
    return Question(comparison.name, text + _averaged(brief, list(comparison.of)), row, comparison=comparison)


def of_term(brief: Brief, term: Term, terms: Sequence[Term]) -> tuple[Question, ...]:
    """The contrasts of a term: each level against the baseline; for an interaction each product of such
    differences. One contrast for each degree of freedom. The first one pits the last level against the first.

    Examples
    --------
    >>> from toolkit import shipped
    >>> from toolkit.brief import reading
    >>> brief = reading.read(shipped.folder("data") / "chain-soot" / "campaign.toml")
    >>> of_term(brief, ("pin", "oil"), model_terms.of_brief(brief))[0].contrast
    'change pin P1 against P0 at oil O1, against the same change at oil O0'
    """
    name = model_terms.name_of(term)
    if term == CURVATURE:
        width = model_terms.columns(brief, {f.name: [f.names[0]] for f in brief.factors}, terms)[1]
        row = np.zeros(max(span.stop for span in width.values()))
        row[width[CURVATURE]] = 1.0
        return (Question(name, "centre points against the mean of the corners", row, term=term),)
    choices = [list(reversed(brief.factor(factor).names[1:])) for factor in term]
    made = []
    for levels in product(*choices):
        pairs = {factor: (level, brief.factor(factor).names[0]) for factor, level in zip(term, levels, strict=True)}
        if len(term) == 1:
            ((factor, (high, low)),) = pairs.items()
            words = f"{factor} {high} against {factor} {low}" + _averaged(brief, [factor])
        else:
            words = _interaction_words(brief, pairs)
        made.append(Question(name, words, _difference(brief, terms, pairs), term=term))
    return tuple(made)


def _difference(brief: Brief, terms: Sequence[Term], pairs: dict[str, tuple[str, str]]) -> np.ndarray:
    """The signed sum of model rows over the corners of ``pairs`` (high, low), others averaged."""
    total = 0.0
    for choice in product((0, 1), repeat=len(pairs)):
        levels = {name: pair[at] for at, (name, pair) in zip(choice, pairs.items(), strict=True)}
        total = total + (-1.0) ** sum(choice) * model_terms.row(brief, terms, levels)
    return np.asarray(total)


def _levels(levels: dict[str, str] | object) -> str:
    """Levels as text: 'pin P1, oil O1'."""
    return ", ".join(f"{name} {level}" for name, level in dict(levels).items())


def _averaged(brief: Brief, named: Sequence[str]) -> str:
    """The factors a contrast averages over, as text to append."""
    rest = [name for name in brief.factor_names if name not in named]
    return f", mean over {' and '.join(rest)}" if rest else ""


def _interaction_words(brief: Brief, pairs: dict[str, tuple[str, str]]) -> str:
    """An interaction in words: of two factors the change by the first at one level of the other against the change
    at the other level; of more, that interaction at one level of the last factor against the other."""
    (first, (high, low)), *others = pairs.items()
    text = f"change {first} {high} against {low}"
    for name, (upper, lower) in others:
        same = "the same change" if name == others[0][0] else "the same"
        text = f"{text} at {name} {upper}, against {same} at {name} {lower}"
        if name != others[-1][0]:
            text = f"({text})"
    return text + _averaged(brief, list(pairs))
