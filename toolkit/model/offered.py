"""What is left where a term cannot be estimated: with what it is confounded, and the contrasts that still can be."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, islice, product

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief
from toolkit.design import base, latin, questions
from toolkit.design import terms as model_terms
from toolkit.design.strata import Strata
from toolkit.design.terms import CURVATURE, Term
from toolkit.model import _ways_out as ways_out
from toolkit.model._estimates import of_row, schema_row, table_of
from toolkit.model._levels import words_of
from toolkit.model.fit import Fit
from toolkit.numeric import contrasts

# A term with more level pairs and settings than this is not searched to the end.
_MOST = 500


def offered(fit: Fit) -> pd.DataFrame:
    """Contrasts that these runs can answer in place of those of a term that they cannot.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    DataFrame
        In the schema of estimates, judged one by one, not planned; empty where every term can be estimated in full.
        For a main effect: pairs of its levels over the other factors, else at single combinations of them; for an
        interaction: differences of such differences. Where none of them can be: the combinations that were run
        against the first of them.

    Notes
    -----
    Estimability by rank of the columns as run (``numeric.contrasts.estimable``).

    Checked against: k04-2x2-missing-cell, k04-toothgrowth-empty-cell (R 4.2.2), tests/unit/model/test_offered.py.

    Examples
    --------
    The new sprocket was never run with the new oil, so averages over the other factor are out of reach:

    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = bundled.bring("sprocket-build", place, phases=("main",))
    ...     runs = campaign.records().runs
    >>> from toolkit.model import fit
    >>> hole = runs[~(runs["sprocket"].eq("S1") & runs["oil"].eq("A1"))]
    >>> for row in offered(fit.fit(campaign.brief, hole, "elongation_um")).to_dict("records"):
    ...     print(f"{row['contrast']}: ratio {row['estimate']:.2f}")
    sprocket S1 against sprocket S0 at oil A0: ratio 0.83
    oil A1 against oil A0 at sprocket S0: ratio 0.90
    """
    laid, brief = fit.strata, fit.brief
    found: dict[str, tuple[np.ndarray, str]] = {}
    lacking = [term for term in laid.terms if term != CURVATURE and _lacks(laid, brief, term)]
    for term in lacking:
        had: dict[tuple[tuple[str, str], ...], int] = {}
        for pairs, at in islice(_candidates(brief, term), _MOST):
            # What can be had over more of the other factors is not offered again at single levels of them.
            if had.get(pairs, len(at)) < len(at):
                continue
            row, words = _difference(brief, laid.terms, dict(zip(term, pairs, strict=True)), at)
            if laid.estimable(row):
                had[pairs] = len(at)
                found.setdefault(words, (row, model_terms.name_of(term)))
    if lacking and not found:
        found = _combinations(fit)
    made = [schema_row(fit, of_row(fit, row), words, term=term) for words, (row, term) in found.items()]
    return table_of(made)


def confounded_with(laid: Strata, term: Term) -> tuple[str, ...]:
    """What a term cannot be told from in these runs: other terms, 'builds', or the mean.

    Parameters
    ----------
    laid : Strata
        As planned or as run.
    term : Term

    Returns
    -------
    tuple of str
        Names of single terms (those that contain it left out) and 'builds', each of which takes up all of the term;
        'the mean' alone where every run is the same in it. Empty where nothing single does.

    Notes
    -----
    Rank of the other's columns with and without those of the term.

    Checked against: layouts written out, tests/unit/model/test_offered.py.
    """
    ones, own = np.ones((len(laid.runs), 1)), laid.columns[:, laid.spans[term]]
    if contrasts.rank(np.hstack([ones, own])) == 1:
        return ("the mean",)
    others = {
        model_terms.name_of(other): laid.columns[:, laid.spans[other]]
        for other in laid.terms
        if other != term and not set(term) < set(other)
    }
    if laid.block_columns.shape[1] > laid.position_df:
        others["builds"] = laid.block_columns[:, : laid.block_columns.shape[1] - laid.position_df]
    if laid.position_df:
        others["places in the build" if latin.used(laid.brief) else "positions"] = laid.position_columns
    made = []
    for name, columns in others.items():
        base = np.hstack([ones, columns])
        if contrasts.rank(np.hstack([base, own])) == contrasts.rank(base):
            made.append(name)
    return tuple(made)


def why_nothing(laid: Strata, term: Term) -> str:
    """Why a term has no degrees of freedom, for its line of a table.

    Parameters
    ----------
    laid : Strata
    term : Term

    Returns
    -------
    str

    Notes
    -----
    Checked against: the words written out, tests/unit/model/test_offered.py.
    """
    with_them = confounded_with(laid, term)
    if with_them == ("the mean",):
        alone = len(term) == 1 and term != CURVATURE and laid.runs[term[0]].nunique() == 1
        told = f"every run has {term[0]} {laid.runs[term[0]].iloc[0]}" if alone else "it is the same in every run"
        return f"not estimable: {told}"
    if with_them:
        return f"not estimable: it changes together with {' and with '.join(with_them)}"
    missing = ways_out.missing_combinations(laid)
    return f"not estimable: no run of {ways_out.listed(missing)}" if missing else "not estimable from these runs"


def _lacks(laid: Strata, brief: Brief, term: Term) -> bool:
    """True when some contrast of the term cannot be estimated."""
    return not all(laid.estimable(question.row) for question in questions.of_term(brief, term, laid.terms))


def _candidates(brief: Brief, term: Term) -> Iterator[tuple[tuple[tuple[str, str], ...], dict[str, str]]]:
    """Every pair of levels of each of a term's factors, over the other factors first, then at more and more of them."""
    others = [factor for factor in brief.factors if factor.name not in term]
    pairs = [[(high, low) for low, high in combinations(brief.factor(name).names, 2)] for name in term]
    for held_count in range(len(others) + 1):
        for held in combinations(others, held_count):
            for setting in product(*(factor.names for factor in held)):
                at = dict(zip((factor.name for factor in held), setting, strict=True))
                for chosen in product(*pairs):
                    yield chosen, at


def _difference(
    brief: Brief, terms: tuple[Term, ...], pairs: dict[str, tuple[str, str]], at: dict[str, str]
) -> tuple[np.ndarray, str]:
    """The difference (of differences) over pairs of levels at a setting, and its words."""
    row = np.zeros(0)
    for choice in product((0, 1), repeat=len(pairs)):
        levels = {name: pair[place] for place, (name, pair) in zip(choice, pairs.items(), strict=True)}
        part = (-1.0) ** sum(choice) * model_terms.row(brief, terms, {**levels, **at})
        row = part if not row.size else row + part
    (first, (high, low)), *rest = pairs.items()
    words = f"{first} {high} against {first} {low}"
    for name, (upper, lower) in rest:
        words = f"({words}) at {name} {upper} against the same at {name} {lower}"
    mean = [name for name in brief.factor_names if name not in pairs and name not in at]
    words += f" at {words_of(at)}" if at else ""
    return row, words + (f", mean over {' and '.join(mean)}" if mean else "")


def _combinations(fit: Fit) -> dict[str, tuple[np.ndarray, str]]:
    """The combinations that were run against the first of them."""
    names = list(fit.brief.factor_names)
    had = dict.fromkeys(fit.strata.runs[names].itertuples(index=False, name=None))
    ran = [dict(zip(names, line, strict=True)) for line in base.lines(fit.brief) if line in had]
    made = {}
    for levels in ran[1:]:
        one, first = (model_terms.row(fit.brief, fit.strata.terms, each) for each in (levels, ran[0]))
        if fit.strata.estimable(one - first):
            made[f"{words_of(levels)} against {words_of(ran[0])}"] = (one - first, model_terms.name_of(tuple(names)))
    return made
