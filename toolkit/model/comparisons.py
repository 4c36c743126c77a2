"""Answers: the comparisons of the brief, the effects of the terms, the means of combinations and levels."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from scipy import special

from toolkit.brief.model import CENTRE, Brief
from toolkit.design import alias_words, base, questions
from toolkit.design import terms as model_terms
from toolkit.design.questions import Question
from toolkit.design.terms import Term
from toolkit.errors import DesignError, ModelError
from toolkit.model import _together as together
from toolkit.model import mixed
from toolkit.model._estimates import Estimate, of_row, schema_row, table_of
from toolkit.model._levels import mean_line
from toolkit.model.at_equal import at_equal
from toolkit.model.fit import Fit
from toolkit.model.fit import fit as fitted
from toolkit.numeric import contrasts

AS_JUDGED = "as judged"
WITHOUT_FLAGGED = "without flagged"
WITH_VOID = "with void runs that have a value"


def comparisons(fit: Fit) -> pd.DataFrame:
    """The answers to the comparisons of the brief, in its order.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    DataFrame
        One row a comparison in the schema of estimates, with change_pct, change_low_pct and change_high_pct
        on the log scale and the columns family and adjust. What cannot be estimated keeps its row, empty
        places None, and a note that names the runs that would make it so.

    Notes
    -----
    Judged alone: interval at 1 - alpha. ``multivariate_t``: intervals that hold together at 1 - alpha, p
    values that count the family; where its comparisons are judged in different strata, at the fewest degrees of
    freedom among them, with Holm's p value in the note as a check. ``holm``: p values by Holm; intervals at 1 -
    alpha / number (Bonferroni), as Holm's p values have no intervals of their own.

    Checked against: k02-warpbreaks, k02-bhh-pilot-2x2x2, k03-paired-shoe-wear, k10-dunnett-1955,
    k10-bonferroni-holm-insectsprays.

    Examples
    --------
    Nitrogen on plots of peas in blocks (Venables and Ripley 2002).

    >>> import pandas as pd
    >>> from toolkit import shipped
    >>> from toolkit.brief.model import Brief, Comparison, Factor, Level, Response
    >>> from toolkit.model import fit
    >>> plots = pd.read_csv(shipped.folder("data") / "published" / "npk.csv", dtype={"N": str, "block": str})
    >>> runs = plots.rename(columns={"block": "build_id"}).assign(run_id=[f"plot {at}" for at in range(24)])
    >>> brief = Brief(
    ...     id="npk", question="Does nitrogen raise the yield?", seed=2002, block_by="build",
    ...     factors=(Factor("N", "setting", (Level("0"), Level("1"))),),
    ...     responses=(Response("yield", better="larger", scale="linear"),),
    ...     comparisons=(Comparison("nitrogen", of={"N": "1"}, against={"N": "0"}),),
    ... )
    >>> row = comparisons(fit.fit(brief, runs, "yield")).iloc[0]
    >>> f"{row['estimate']:.1f} ({row['conf_low']:.1f} to {row['conf_high']:.1f}), {row['df']:.0f} df"
    '5.6 (1.7 to 9.5), 17 df'
    """
    asked = [questions.of_comparison(fit.brief, item, fit.strata.terms) for item in fit.brief.comparisons]
    plain = [of_row(fit, question.row) for question in asked]
    found = [one.noted(_disagreement(fit, question, one)) for question, one in zip(asked, plain, strict=True)]
    for family in fit.brief.families:
        members = [at for at, item in enumerate(fit.brief.comparisons) if item.family == family.name]
        judged = [at for at in members if found[at].low is not None]
        rows = np.array([asked[at].row for at in judged])
        adjusted = together.adjusted(fit, family, rows, [found[at] for at in judged])
        for at, one in zip(judged, adjusted, strict=True):
            found[at] = one
    made = []
    beside = alias_words.notes(fit.strata)
    for item, question, one in zip(fit.brief.comparisons, asked, found, strict=True):
        family = fit.brief.family_of(item)
        noted = one.noted(_interaction_note(fit, question, one))
        noted = noted.noted(alias_words.note_of(fit.strata, question.row, beside, item))
        row = schema_row(fit, noted, question.contrast, comparison=item.name, planned=True)
        made.append({**row, "family": family.name if family else None,
                     "adjust": family.adjust if family else "none"})
    return table_of(made, ("family", "adjust"))


def effects(fit: Fit) -> pd.DataFrame:
    """The effects of the terms: each level against the baseline, interactions as differences of differences.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    DataFrame
        One row for each degree of freedom of each term, in the schema of estimates; judged one by one.

    Notes
    -----
    Checked against: k02-bhh-pilot-2x2x2 (seven effects with intervals), tests/reference/test_anova_cases.py.
    """
    made = []
    beside = alias_words.notes(fit.strata)
    for term in fit.strata.terms:
        for question in questions.of_term(fit.brief, term, fit.strata.terms):
            one = of_row(fit, question.row)
            one = one.noted(_disagreement(fit, question, one)).noted(_interaction_note(fit, question, one))
            one = one.noted(beside.get(term, ""))
            made.append(schema_row(fit, one, question.contrast, term=question.name))
    return table_of(made)


def means(fit: Fit) -> pd.DataFrame:
    """The means of every level and of every combination; on the log scale medians (geometric means).

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    DataFrame
        In the schema of estimates, in the unit of the response (std_error is that of ln on the log scale),
        with the columns levels (factor to level) and runs (how many have them). Levels of the other factors
        count equally, however many runs they have.

    Notes
    -----
    Checked against: k01-nist-handbook-oneway, k02-toothgrowth, k04-warpbreaks-unequal-n (R 4.2.2 lm,
    emmeans).

    Examples
    --------
    The medians of the levels of two sprockets and two oils, with their 95 % intervals:

    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = bundled.bring("sprocket-build", place, phases=("main",))
    ...     runs = campaign.records().runs
    >>> from toolkit.model import fit
    >>> found = fit.fit(campaign.brief, runs, "elongation_um")
    >>> for row in means(found).head(4).to_dict("records"):
    ...     print(f"{row['contrast']}: {row['estimate']:.1f} µm ({row['conf_low']:.1f} to {row['conf_high']:.1f})")
    sprocket S0: 732.5 µm (645.2 to 831.6)
    sprocket S1: 565.5 µm (498.1 to 641.9)
    oil A0: 701.6 µm (637.6 to 772.1)
    oil A1: 590.3 µm (536.4 to 649.6)
    """
    brief, runs = fit.brief, fit.strata.runs
    names = list(brief.factor_names)
    wanted: list[dict[str, str]] = []
    if len(names) > 1:
        wanted += [{factor.name: level} for factor in brief.factors for level in factor.names]
    wanted += [dict(zip(names, line, strict=True)) for line in base.lines(brief)]
    centres = runs[[(line == CENTRE).any() for line in runs[names].to_numpy()]]
    wanted += [
        dict(zip(names, line, strict=True)) for line in dict.fromkeys(centres[names].itertuples(index=False, name=None))
    ]
    return table_of([mean_line(fit, levels) for levels in wanted], ("levels", "runs"))


def sensitivity(
    brief: Brief,
    runs: pd.DataFrame,
    response: str,
    flagged: set[str],
    *,
    covariates: Mapping[str, float] | None = None,
) -> pd.DataFrame:
    """The comparisons side by side: as judged, without the flagged runs, and with void runs that have a
    value.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        Run values, all phases and verdicts.
    response : str
    flagged : set of str
        Run ids to try without, such as runs outside a held window or with an odd residual.
    covariates : mapping of str to float, optional
        Where the analysis as judged is at equal covariates: their reference values.

    Returns
    -------
    DataFrame
        The table of comparisons with a first column ``runs`` that says which runs it rests on. Where an
        analysis cannot be made its rows are there with a note that says why.

    Raises
    ------
    ModelError
        When the analysis as judged cannot be made, or a flagged run does not exist.
    """
    unknown = sorted(flagged - set(runs["run_id"]))
    if unknown:
        raise ModelError(f"flagged runs {', '.join(unknown)}: no such run in the records. Name runs that are there.")
    whole = _fitted(brief, runs, response, covariates)
    tables = [(AS_JUDGED, comparisons(whole))]
    if flagged & set(whole.runs["run_id"]):
        tables.append((WITHOUT_FLAGGED, _tried(brief, runs[~runs["run_id"].isin(flagged)], response, covariates)))
    if "verdict" in runs.columns:
        void = runs["verdict"].isin(["invalid", "not interpretable"]) & runs[response].notna()
        if "phase" in runs.columns:
            void &= runs["phase"].isin(brief.counted_phases)
        if void.any():
            judged = runs.assign(verdict=runs["verdict"].where(~void, "valid"))
            tables.append((WITH_VOID, _tried(brief, judged, response, covariates)))
    made = []
    for name, table in tables:
        table.insert(0, "runs", pd.Series([name] * len(table), index=table.index, dtype=object))
        made.append(table)
    return pd.concat(made, ignore_index=True)


def _fitted(brief: Brief, runs: pd.DataFrame, response: str, covariates: Mapping[str, float] | None) -> Fit:
    """The fit of these runs, at equal covariates where there are some."""
    made = fitted(brief, runs, response)
    return at_equal(made, list(covariates), at=covariates) if covariates else made


def _tried(
    brief: Brief, runs: pd.DataFrame, response: str, covariates: Mapping[str, float] | None
) -> pd.DataFrame:
    """The comparisons of these runs, or rows that say why they cannot be made."""
    try:
        return comparisons(_fitted(brief, runs, response, covariates))
    except (ModelError, DesignError) as error:
        rows = [
            {
                "response": response,
                "comparison": item.name,
                "planned": True,
                "note": str(error),
                "family": item.family,
                "adjust": None,
            }
            for item in brief.comparisons
        ]
        empty = table_of(rows, ("family", "adjust"))
        return empty.where(empty.notna(), None)


def _term_of(fit: Fit, question: Question) -> Term | None:
    """The term of one degree of freedom that asks the same as the question; None when there is none."""
    if question.term is not None:
        term = question.term
    elif question.comparison is not None and question.comparison.interaction:
        wanted = set(question.comparison.interaction)
        term = next((item for item in fit.strata.terms if set(item) == wanted), ())
    else:
        term = tuple(question.comparison.of) if question.comparison is not None else ()
        term = term if len(term) == 1 else ()
    known = term in fit.strata.spans and term != ()
    return term if known and fit.strata.spans[term].stop - fit.strata.spans[term].start == 1 else None


def _disagreement(fit: Fit, question: Question, one: Estimate) -> str:
    """A note when the Type II line of the same term and the contrast of equally weighted means fall apart."""
    term = _term_of(fit, question)
    if term is None or one.p_value is None or len(one.strata.split(" and ")) > 1:
        return ""
    if fit.mixed is not None:
        found = mixed.term_test(fit.mixed, term)
        return "" if found is None else _told_apart(fit, term, float(found.p_value), one.p_value)
    layer = fit.layer(one.strata)
    sum_sq, df = contrasts.projection_ss(
        layer.y, layer.of(layer.adjusted_for(term, 2)), layer.columns[term]
    )
    error, error_df = fit.mean_squares[layer.stratum]
    if df != 1 or not error:
        return ""
    return _told_apart(fit, term, float(special.fdtrc(1.0, error_df, sum_sq / error)), one.p_value)


def _told_apart(fit: Fit, term: Term, of_line: float, of_contrast: float) -> str:
    """The note where one of two p values is below alpha and the other is not."""
    if (of_line < fit.brief.alpha) == (of_contrast < fit.brief.alpha):
        return ""
    return (
        f"the Type II line of {model_terms.name_of(term)} gives p = {of_line:.3g} where this contrast of "
        f"equally weighted means gives p = {of_contrast:.3g}: the verdict rests on the contrast"
    )


def _interaction_note(fit: Fit, question: Question, one: Estimate) -> str:
    """What kind of number an interaction is, in words; empty for other questions and where there is no number."""
    names = question.comparison.interaction if question.comparison is not None else (question.term or ())
    if len(names) < 2 or one.value is None:
        return ""
    return "a ratio of ratios" if fit.response.scale == "log" else "a difference of differences"
