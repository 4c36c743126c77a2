"""What a set of runs cannot tell apart: comparisons and terms that are confounded, and with what (rank 7)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from toolkit.brief.model import Brief
from toolkit.design import alias_words, base, questions
from toolkit.design import terms as model_terms
from toolkit.design.questions import Question
from toolkit.design.strata import Strata
from toolkit.design.terms import CURVATURE, Term
from toolkit.model import _ways_out as ways_out
from toolkit.numeric import contrasts

BUILDS = "builds"
# Shares below this are rounding, not confounding.
_NONE = 1e-9


def weights(laid: Strata, row: np.ndarray) -> dict[str, np.ndarray]:
    """What the estimate of a contrast takes of each run, by the stratum it is judged in.

    Parameters
    ----------
    laid : Strata
    row : ndarray, shape (parameters,)
        A contrast that is estimable.

    Returns
    -------
    dict of str to ndarray, shape (runs,)
        Stratum to weights; the estimate is the sum over the strata of weight times run value.

    Notes
    -----
    X (X'X)^+ c, of the columns of each stratum apart where units hold several runs (balanced strata are orthogonal).
    Where they are not balanced these are the weights of ordinary least squares over all runs.

    Checked against: estimates of the whole analysis, tests/unit/decide/test_aliases.py.
    """
    if not (laid.plots and laid.balanced):
        full = laid.full_columns
        return {"run": _of(full, np.concatenate([row, np.zeros(full.shape[1] - len(row))]))}
    made = {}
    for name, chosen in laid.columns_of().items():
        if np.any(np.abs(row[chosen]) > 1e-12):
            beside = laid.beside(name)
            columns = np.hstack([laid.columns[:, chosen], beside])
            own = np.concatenate([row[chosen], np.zeros(beside.shape[1])])
            made[name] = _of(columns, own)
    return made


def confounded_with(laid: Strata, row: np.ndarray) -> tuple[str, ...]:
    """The effects that a contrast cannot be told apart from: were any one of them nil, it could be estimated.

    Parameters
    ----------
    laid : Strata
    row : ndarray, shape (parameters,)

    Returns
    -------
    tuple of str
        'builds' where they are blocks, then terms, the longest first (the likeliest to be nil). Terms that the contrast
        itself is made of are left out. Empty when it is estimable, or when no single effect stands in its way.

    Notes
    -----
    By rank: the columns of an effect are taken away and the contrast is looked for in the row space of the rest.

    Checked against: a 2 x 2 with a missing combination by hand, k03-npk-confounded (N × P × K with the blocks),
    tests/unit/decide/test_aliases.py.
    """
    if laid.estimable(row):
        return ()
    found = [BUILDS] if laid.blocked and bool(contrasts.estimable(row[None, :], laid.columns)[0]) else []
    for term in sorted(laid.terms, key=len, reverse=True):
        if not np.any(np.abs(row[laid.spans[term]]) > _NONE) and _told_without(laid, row, term):
            found.append(model_terms.name_of(term))
    return tuple(found)


def told_df(laid: Strata, term: Term) -> int:
    """How many degrees of freedom of a term the runs can tell apart from everything else in the model.

    Notes
    -----
    Rank of all columns less the rank without those of the term.

    Checked against: k04-toothgrowth-empty-cell (1 of 2), tests/unit/decide/test_aliases.py.
    """
    full = laid.full_columns
    kept = np.ones(full.shape[1], dtype=bool)
    kept[laid.spans[term]] = False
    return contrasts.rank(full) - contrasts.rank(full[:, kept])


def carried(brief: Brief, laid: Strata, row: np.ndarray) -> dict[str, float | None]:
    """How much of each effect that the brief declares nil an estimate would carry, if it were not nil after all.

    Parameters
    ----------
    brief : Brief
    laid : Strata
    row : ndarray, shape (parameters,)
        A contrast that is estimable.

    Returns
    -------
    dict of str to float or None
        Term to the share of its own contrast (an interaction's difference of differences); None where the term has
        several degrees of freedom. Only terms of which something is carried.

    Notes
    -----
    The alias matrix, c' (X'X)^+ X'Z (G. E. P. Box and K. B. Wilson 1951, Journal of the Royal Statistical Society B 13,
    1-45; from memory), in units of the term's contrast.

    Checked against: a 2 x 2 with a missing combination by hand, tests/unit/decide/test_aliases.py.
    """
    every = model_terms.of_brief(replace(brief, plan=replace(brief.plan, nil_interactions=())))
    nil = [term for term in every if term not in laid.terms]
    if not nil:
        return {}
    taken = sum(weights(laid, row).values())
    columns, spans = model_terms.columns(brief, laid.runs, nil)
    found: dict[str, float | None] = {}
    for term in nil:
        share = taken @ columns[:, spans[term]]
        if np.any(np.abs(share) > _NONE):
            unit = questions.of_term(brief, term, nil)[0].row[spans[term]]
            found[model_terms.name_of(term)] = float(share[0] / unit[0]) if len(share) == 1 else None
    return found


def statement(brief: Brief, laid: Strata, question: Question) -> str:
    """What a question is confounded with in these runs, in words; empty when it stands by itself.

    Parameters
    ----------
    brief : Brief
    laid : Strata
    question : Question
        A comparison, or the first contrast of a term.
    """
    term = question.term
    if term is not None and term != CURVATURE:
        size = laid.spans[term].stop - laid.spans[term].start
        told = told_df(laid, term)
        if 0 < told < size:
            return f"{told} of {size} degrees of freedom can be told"
    if not laid.estimable(question.row):
        names = confounded_with(laid, question.row)
        others = f" (or with {', or with '.join(names[1:])})" if len(names) > 1 else ""
        return f"confounded with {names[0]}{others}" if names else "not estimable"
    if base.part(brief):
        return alias_words.note_of(laid, question.row, alias_words.notes(laid), question.comparison)
    return "; ".join(
        f"carries {'a part' if share is None else _in_two_digits(share)} of {name}, declared nil"
        for name, share in carried(brief, laid, question.row).items()
    )


def _in_two_digits(share: float) -> str:
    """A share in words; what is exact but for the last bit, such as 1/16, reads the same on every machine."""
    return f"{round(share, 9):+.2g}".replace("-", "−")


def what_helps(laid: Strata, row: np.ndarray) -> str:
    """Why a contrast is not estimable and which run would make it so; empty when it is."""
    return "" if laid.estimable(row) else ways_out.why_not(laid, row)


def _of(columns: np.ndarray, row: np.ndarray) -> np.ndarray:
    """The weights of a contrast of some columns."""
    return columns @ (np.linalg.pinv(columns.T @ columns, rcond=1e-10, hermitian=True) @ row)


def _told_without(laid: Strata, row: np.ndarray, term: Term) -> bool:
    """True when the contrast is estimable once the columns of a term are taken away."""
    full = laid.full_columns
    kept = np.ones(full.shape[1], dtype=bool)
    kept[laid.spans[term]] = False
    padded = np.concatenate([row, np.zeros(full.shape[1] - len(row))])
    return bool(contrasts.estimable(padded[None, kept], full[:, kept])[0])
