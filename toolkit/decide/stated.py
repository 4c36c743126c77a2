"""The model of a response as it was fitted: in words, as an equation, as a formula on safe names, term by term.

Rank 7. The formula is for the reader alone; nothing is ever made from it, and it holds no name that a person wrote.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

import pandas as pd

from toolkit import measured_in, stamp
from toolkit.design import latin, units
from toolkit.design.terms import CURVATURE, Term, name_of
from toolkit.model.fit import Fit
from toolkit.wording import joined

BLOCK = "build"
CENTRE_COLUMN = "centre"
PLANNED, LATER, UNPLANNED = "planned", "added later", "no sealed plan"
TERM_COLUMNS = ("term", "in_formula", "stratum", "df", "planned")


@dataclass(frozen=True, eq=False)
class Stated:
    """The model of one response.

    Attributes
    ----------
    words : str
    equation : str
        Such as 'ln(elongation) = mean + build + pin + oil + pin × oil + error (run)'.
    formula : str
        Its fixed part in the language of patsy, on safe names, such as 'y ~ C(b, Sum) + C(x1, Sum) * C(x2, Sum)'.
    names : dict
        Safe name to what it stands for.
    terms : DataFrame
        term, in_formula, stratum, df, planned: True where the model of the sealed plan has it, False where it was
        added later, None where there is no sealed plan.
    """

    words: str
    equation: str
    formula: str
    names: dict[str, str]
    terms: pd.DataFrame

    def to_json(self) -> dict[str, Any]:
        """words, equation, formula, names and terms[]."""
        return stamp.plain(
            {
                "words": self.words,
                "equation": self.equation,
                "formula": self.formula,
                "names": self.names,
                "terms": stamp.records(self.terms),
            }
        )

    def __repr__(self) -> str:
        """The model in words, and as a line of terms."""
        return f"{self.words}\n{self.equation}"


def stated(fit: Fit, planned: Collection[str] | None = None) -> Stated:
    """The model of a fit, told three ways.

    Parameters
    ----------
    fit : Fit
    planned : collection of str, optional
        The terms of the sealed plan's model, 'build' among them where builds are blocks; None: there is no plan.

    Returns
    -------
    Stated

    Notes
    -----
    Checked against: the columns that patsy makes of the formula span those of the fit,
    tests/unit/decide/test_stated.py.
    """
    brief, laid = fit.brief, fit.strata
    names = {"y": _left(fit)}
    safe: dict[str, str] = {}
    if laid.blocked:
        names["b"] = "build, as block"
        safe[BLOCK] = "b"
    for at, factor in enumerate(brief.factors, start=1):
        names[f"x{at}"] = factor.name
        safe[factor.name] = f"x{at}"
    for at, name in enumerate(laid.covariates, start=1):
        names[f"z{at}"] = f"{measured_in.label(name)} less {laid.covariates[name]:g}"
        safe[name] = f"z{at}"
    rows = []
    if laid.blocked:
        builds = laid.build_columns.shape[1]
        rows.append((BLOCK, _code(safe, (BLOCK,), centre=False), BLOCK, builds))
    if latin.used(brief):
        names["p"] = "place in the order of the build"
        safe[latin.PLACE] = "p"
        rows.append((latin.PLACE, _code(safe, (latin.PLACE,), centre=False), "run", laid.position_df))
    rows += [(name, safe[name], "run", 1) for name in laid.covariates]
    centre = CURVATURE in laid.terms
    if centre:
        names[CENTRE_COLUMN] = "1 in a centre point, else 0"
    for unit in laid.units:
        for term in laid.stratum(unit).terms:
            span = laid.spans[term]
            rows.append((name_of(term), _code(safe, term, centre=centre), unit, span.stop - span.start))
    kept = [(*row, None if planned is None else row[0] in planned) for row in rows]
    return Stated(
        _words(fit),
        equation(fit),
        f"y ~ {' + '.join(row[1] for row in rows) or '1'}",
        names,
        pd.DataFrame(kept, columns=list(TERM_COLUMNS), dtype=object),
    )


def marked(table: pd.DataFrame, model: Stated, column: str) -> pd.DataFrame:
    """A table with a column ``term`` and one more that says whether each term was planned; None for other lines."""
    known = dict(zip(model.terms["term"], model.terms["planned"], strict=True))
    return table.assign(**{column: pd.Series([known.get(name) for name in table["term"]], dtype=object)})


def planned_word(planned: object) -> str:
    """Whether a term was planned, as text."""
    return UNPLANNED if planned is None else PLANNED if planned else LATER


def equation(fit: Fit) -> str:
    """The model as an equation: 'ln(elongation) = mean + build + pin + oil + pin × oil + error (run)'."""
    laid = fit.strata
    parts = ["mean"]
    if laid.blocked:
        parts.append(BLOCK)
    if latin.used(fit.brief):
        parts.append(latin.PLACE)
    parts += [f"slope × {measured_in.label(name)}" for name in laid.covariates]
    for unit in laid.units:
        parts += [*(name_of(term) for term in laid.stratum(unit).terms), f"error ({unit})"]
    return f"{_left(fit)} = {' + '.join(parts)}"


def _words(fit: Fit) -> str:
    """The model in a sentence or two."""
    laid, label = fit.strata, measured_in.label(fit.response.name)
    what = f"The ln of {label}" if fit.response.scale == "log" else f"{label[:1].upper()}{label[1:]}"
    parts = ["a common level"]
    if laid.blocked:
        parts.append("what its build adds")
    if latin.used(fit.brief):
        parts.append("what its place in the order of the build adds")
    parts += [f"a straight line in {measured_in.label(name)}" for name in laid.covariates]
    single = [name_of(term) for term in laid.terms if len(term) == 1 and term != CURVATURE]
    joint = [term for term in laid.terms if len(term) > 1]
    if single:
        parts.append(f"what {joined(single)} {'adds' if len(single) == 1 else 'add'}")
    if joint:
        parts.append(f"what they add together beyond that ({joined([name_of(term) for term in joint])})")
    if CURVATURE in laid.terms:
        parts.append("how far centre points lie from the mean of the corners")
    parts += [f"an error of its {units.NAMES[unit]}" for unit in laid.units[:-1]]
    parts.append("an error of the run itself")
    told = f"{what} of a run is {', plus '.join(parts)}."
    told += " Errors are taken to be independent, normal and of one size in all runs"
    told += " (one size for each kind of unit)." if len(laid.units) > 1 else "."
    nil = [" × ".join(item) for item in fit.brief.plan.nil_interactions]
    return f"{told} Declared nil, and so not in it: {joined(nil)}." if nil else told


def _left(fit: Fit) -> str:
    """What is modelled."""
    label = measured_in.label(fit.response.name)
    return f"ln({label})" if fit.response.scale == "log" else label


def _code(safe: dict[str, str], term: Term, *, centre: bool) -> str:
    """A term in the language of patsy."""
    if term == CURVATURE:
        return CENTRE_COLUMN
    # With centre points every factor has two levels: −1 and +1, and 0 in the middle.
    return ":".join(safe[name] if centre else f"C({safe[name]}, Sum)" for name in term)
