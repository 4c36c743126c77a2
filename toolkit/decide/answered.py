"""What the valid runs say of one response: tables, checks and verdicts, or why it cannot be analysed (rank 7)."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.brief import by_position
from toolkit.brief.model import Brief
from toolkit.decide import as_far_as, untold, verdict
from toolkit.decide import beside as decide_beside
from toolkit.decide import carried_over as decide_carried_over
from toolkit.decide import equal as decide_equal
from toolkit.decide import interim as decide_interim
from toolkit.decide import pending as decide_pending
from toolkit.decide import recovered as decide_recovered
from toolkit.decide import stated as decide_stated
from toolkit.decide.beside import Beside
from toolkit.decide.in_detail import InDetail, in_detail
from toolkit.decide.otherwise import Otherwise, otherwise
from toolkit.decide.stated import Stated
from toolkit.decide.unrepeated import Unrepeated, unrepeated
from toolkit.design import positions as design_positions
from toolkit.errors import DesignError, ModelError
from toolkit.intake import judged_rows
from toolkit.intake.records import Records
from toolkit.model import anova, below_limit, comparisons, components, diagnostics, residual_shape, second_order
from toolkit.model import envelope as model_envelope
from toolkit.model import fit as model_fit
from toolkit.model.diagnostics import Checks
from toolkit.model.fit import Fit
from toolkit.model.gauge_error import GaugeError, gauge_error
from toolkit.model.group_spread import group_spread
from toolkit.model.second_order import Surface
from toolkit.size.scatter import Scatter

FLAGGED = ("window", "run time")


@dataclass(frozen=True, eq=False)
class Answered:
    """What the valid runs say of one response.

    Attributes
    ----------
    response : str
    stopped : str
        Why the response could not be analysed, with the ways out; empty when it was.
    fit : Fit or None
    anova, comparisons, effects, means, components, verdicts, sensitivity : DataFrame
        Empty when stopped.
    checks : Checks or None
        Residual checks at run level.
    flagged : tuple of str
        Valid runs that a finding asks to look at again; the sensitivity table tries without them.
    findings : DataFrame
    interim : str
        How far the runs are while this response waits for some, such as '7 of 12 runs'; empty when all are in.
    worst_cases : DataFrame
        Where the answers would end if every pending run came out far against, or for, them; empty when none is pending.
    beside : Beside or None
        How fragile the verdicts are, chances, exact p, positions, next runs; None when stopped or interim.
    model : Stated or None
        The model in words, as an equation and as a formula, with its planned and its later terms; None when stopped.
    in_detail : InDetail or None
        Pairs, simple effects and shapes; None when stopped, interim or without an error.
    envelope : DataFrame or None
        The band that ordered residuals keep to by chance (see ``model.envelope``); None when stopped.
    unrepeated : Unrepeated or None
        What runs that leave no error can still say; None where there is an error, when stopped and when interim.
    otherwise : Otherwise or None
        At equal covariates, without a common scatter, with the gauge counted; None when interim and where nothing of
        it can be told.
    surface : Surface or None
        Of a central composite or Box-Behnken plan (see ``model.second_order``); None for others and when interim.
    shape : DataFrame or None
        Normality and scale of the residuals (see ``model.residual_shape``); None when stopped.
    """

    response: str
    stopped: str
    fit: Fit | None
    anova: pd.DataFrame
    comparisons: pd.DataFrame
    effects: pd.DataFrame
    means: pd.DataFrame
    components: pd.DataFrame
    verdicts: pd.DataFrame
    sensitivity: pd.DataFrame
    checks: Checks | None
    flagged: tuple[str, ...]
    findings: pd.DataFrame
    interim: str
    worst_cases: pd.DataFrame
    beside: Beside | None = None
    model: Stated | None = None
    in_detail: InDetail | None = None
    unrepeated: Unrepeated | None = None
    envelope: pd.DataFrame | None = None
    otherwise: Otherwise | None = None
    surface: Surface | None = None
    shape: pd.DataFrame | None = None

    def to_json(self) -> dict[str, Any]:
        """anova[], comparisons[], effects[], means[], variance_components[], findings[], verdicts[], and more."""
        return stamp.plain(
            {
                "response": self.response,
                "stopped": self.stopped or None,
                "interim": self.interim or None,
                "anova": stamp.records(self.anova),
                "comparisons": stamp.records(self.comparisons),
                "effects": stamp.records(self.effects),
                "means": stamp.records(self.means),
                "variance_components": stamp.records(self.components),
                "findings": stamp.records(self.findings),
                "verdicts": stamp.records(self.verdicts),
                "sensitivity": stamp.records(self.sensitivity),
                "worst_cases": stamp.records(self.worst_cases),
                "beside": self.beside.to_json() if self.beside else None,
                "residual_envelope": [] if self.envelope is None else stamp.records(self.envelope),
                "model": self.model.to_json() if self.model else None,
                "in_detail": self.in_detail.to_json() if self.in_detail else None,
                "unreplicated": self.unrepeated.to_json() if self.unrepeated else None,
                "otherwise": self.otherwise.to_json() if self.otherwise else None,
                "surface": self.surface.to_json() if self.surface else None,
                "strata": stamp.records(self.fit.strata.table) if self.fit else [],
                "run_ids": list(self.fit.runs["run_id"]) if self.fit else [],
                "notes": list(self.fit.notes) if self.fit else [],
            }
        )

    def __repr__(self) -> str:
        """The response and a sentence an answer, or why there is none."""
        return "\n".join([self.response, *([self.stopped] if self.stopped else self.verdicts["sentence"])])


def answered(
    brief: Brief,
    records: Records,
    response: str,
    waiting: pd.DataFrame,
    *,
    scatter: Scatter | None = None,
    planned: pd.DataFrame | None = None,
    planned_terms: Collection[str] | None = None,
    sealed_covariates: Collection[str] = (),
) -> Answered:
    """What the valid runs of the phases that count say of one response, or why it cannot be analysed.

    Parameters
    ----------
    brief : Brief
    records : Records
    response : str
    waiting : DataFrame
        The runs that answers wait for (see ``pending.pending``).
    scatter : Scatter, optional
        Of this response, known before the runs.
    planned : DataFrame, optional
        The sealed runs of the phases that count.
    planned_terms : collection of str, optional
        The terms of the sealed plan's model, so that later ones can be told apart; None: there is no sealed plan.
    sealed_covariates : collection of str
        Covariates that the plan was sealed with before any run; the verdicts rest on those that no treatment can move.
    """
    empty = pd.DataFrame()
    late = waiting[[response in names for names in waiting["responses"]]]
    interim = decide_pending.progress(brief, records, waiting, response)
    whole, records = brief, judged_rows.judged_by(records, response)
    brief = records.brief
    if by_position.divided(brief) and len(late):
        late = design_positions.rows_of(brief, late)

    def stopped(why: str, found: pd.DataFrame = empty, beside: Otherwise | None = None) -> Answered:
        none = (empty,) * 7
        return Answered(response, why, None, *none, None, (), found, interim, empty, otherwise=beside)

    runs = records.runs
    used = runs[runs["phase"].isin(brief.counted_phases) & (runs["verdict"] == "valid")]["run_id"]
    about = records.findings[
        records.findings["column"].isin([response, f"{response}_below_limit"])
        & (records.findings["severity"] == "stop")
        & records.findings["run_id"].isin(used)
    ]
    if len(about):
        told = "; ".join(
            f"{row['run_id']}: {row['found']} (expected {row['expected']}); {row['action']}"
            for row in about.to_dict("records")
        )
        return stopped(told, about)
    if below_limit.has_any(brief, runs, response):
        try:
            return _with_limits(brief, runs, response, interim, planned_terms, sealed_covariates)
        except (ModelError, DesignError) as problem:
            return stopped(str(problem))
    try:
        plain = model_fit.fit(brief, runs, response)
        fitted, refused = decide_equal.carried(plain, sealed_covariates)
        if refused:
            fitted = replace(fitted, notes=(*fitted.notes, as_far_as.left_out(brief, sealed_covariates, refused)))
        compared = comparisons.comparisons(fitted)
        checks = diagnostics.checks(fitted)
        flagged = _flagged(records, fitted, checks)
        found = [part for part in (fitted.findings, checks.findings) if len(part)] or [fitted.findings]
        verdicts = verdict.verdicts(compared, brief, interim=interim)
        shown, judged = untold.beside(whole, fitted, compared, verdicts)
        model = decide_stated.stated(fitted, planned_terms)
        lines = decide_stated.marked(anova.table(fitted), model, "planned")
        effects = comparisons.effects(fitted)
        alone = None if interim else unrepeated(fitted, effects)
        return Answered(
            response,
            "",
            fitted,
            lines,
            shown,
            decide_stated.marked(effects, model, "term_planned"),
            comparisons.means(fitted),
            components.table(brief, runs, response, stations=records.stations, readings=records.readings),
            judged,
            comparisons.sensitivity(brief, runs, response, set(flagged), covariates=fitted.strata.covariates),
            checks,
            flagged,
            pd.concat(found, ignore_index=True),
            interim,
            decide_interim.worst_cases(brief, fitted, runs, late, scatter=scatter) if interim else empty,
            None if interim else decide_beside.beside(fitted, records, verdicts, planned),
            model,
            None if interim or alone is not None else in_detail(fitted, effects, lines),
            alone,
            model_envelope.envelope(fitted, seed=brief.seed),
            None
            if interim
            else otherwise(
                brief,
                response,
                verdicts,
                equal=decide_equal.equal(plain, fitted, refused, sealed_covariates),
                spread=group_spread(fitted),
                gauge=_gauge(brief, records, response),
                recovered=decide_recovered.recovered(brief, runs, fitted),
                carried_over=decide_carried_over.carried_over(brief, runs, fitted),
            ),
            None if interim else _surface(fitted),
            residual_shape.shape(fitted),
        )
    except (ModelError, DesignError) as problem:
        gauge = None if interim else _gauge(brief, records, response)
        told = otherwise(brief, response, empty, gauge=gauge) if gauge is not None and gauge.near else None
        return stopped(str(problem), beside=told)


def _surface(fitted: Fit) -> Surface | None:
    """The response surface; None where the runs that are left cannot tell it."""
    try:
        return second_order.surface(fitted)
    except ModelError:
        return None


def _with_limits(
    brief: Brief,
    runs: pd.DataFrame,
    response: str,
    interim: str,
    planned_terms: Collection[str] | None,
    sealed_covariates: Collection[str] = (),
) -> Answered:
    """What is said of a response of which some values lie below their limit; nothing is put in their place."""
    found = below_limit.comparisons(brief, runs, response)
    left_out = as_far_as.left_out(brief, sealed_covariates)
    fitted = replace(found.fit, notes=(*found.notes, *([left_out] if left_out else [])))
    compared, empty = found.comparisons, pd.DataFrame()
    if left_out:
        told = compared["note"].fillna("")
        compared = compared.assign(note=[f"{note}; {left_out}" if note else left_out for note in told])
    return Answered(
        response,
        "",
        fitted,
        empty,
        compared,
        empty,
        found.means,
        empty,
        verdict.verdicts(compared, brief, interim=interim),
        empty,
        None,
        (),
        fitted.findings,
        interim,
        empty,
        model=decide_stated.stated(fitted, planned_terms),
    )


def _gauge(brief: Brief, records: Records, response: str) -> GaugeError | None:
    """The gauge beside the scatter; None where the run values are not in order."""
    try:
        return gauge_error(brief, records.runs, response, readings=records.readings)
    except (ModelError, DesignError):
        return None


def _flagged(records: Records, fitted: Fit, checks: Checks) -> tuple[str, ...]:
    """Analysed runs that a finding of the records or of the residuals asks to look at again."""
    used = set(fitted.runs["run_id"])
    found = records.findings
    named = set(found["run_id"][found["rule"].isin(FLAGGED) | (found["severity"] == "exclude")])
    named |= set(checks.findings["run_id"].dropna())
    return tuple(sorted(used & named))
