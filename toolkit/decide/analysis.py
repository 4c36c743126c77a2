"""The whole analysis of a campaign's records: per response the tables, checks and verdicts (rank 7).

One call, ``analyse(brief, records)``; what it rests on stands beside what it concludes.
"""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.brief.model import Brief
from toolkit.decide import verdict
from toolkit.errors import DesignError, ModelError
from toolkit.intake.records import Records
from toolkit.model import anova, comparisons, components, diagnostics
from toolkit.model import fit as model_fit
from toolkit.model.diagnostics import Checks
from toolkit.model.fit import Fit

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

    def to_json(self) -> dict[str, Any]:
        """anova[], comparisons[], effects[], means[], variance_components[], findings[], verdicts[], and more."""
        return stamp.plain(
            {
                "response": self.response,
                "stopped": self.stopped or None,
                "anova": stamp.records(self.anova),
                "comparisons": stamp.records(self.comparisons),
                "effects": stamp.records(self.effects),
                "means": stamp.records(self.means),
                "variance_components": stamp.records(self.components),
                "findings": stamp.records(self.findings),
                "verdicts": stamp.records(self.verdicts),
                "sensitivity": stamp.records(self.sensitivity),
                "strata": stamp.records(self.fit.strata.table) if self.fit else [],
                "run_ids": list(self.fit.runs["run_id"]) if self.fit else [],
                "notes": list(self.fit.notes) if self.fit else [],
            }
        )


@dataclass(frozen=True, eq=False)
class Analysis:
    """The answers of a campaign, response by response.

    Attributes
    ----------
    brief : Brief
    records : Records
    planned : DataFrame or None
        The sealed run list.
    responses : dict
        Response name to what was answered, the primary first.
    interim : bool
        True while a planned or recorded run of the main phase is pending.
    counted : str
        Such as '11 of 12 runs valid, 1 invalid'.
    notes : tuple of str
    """

    brief: Brief
    records: Records
    planned: pd.DataFrame | None
    responses: Mapping[str, Answered]
    interim: bool
    counted: str
    notes: tuple[str, ...]

    @property
    def headline(self) -> str:
        """One line: which campaign, on which runs, interim or not."""
        kind = "INTERIM: " if self.interim else ""
        return f"{kind}campaign '{self.brief.id}', {self.counted}"

    def to_json(self) -> dict[str, Any]:
        """The answers as plain data; ``responses`` maps each response to its tables."""
        return stamp.plain(
            {
                "campaign": self.brief.id,
                "interim": self.interim,
                "counted": self.counted,
                "alpha": self.brief.alpha,
                "responses": {name: item.to_json() for name, item in self.responses.items()},
                "findings": stamp.records(self.records.findings),
                "notes": list(self.notes),
            }
        )

    def tables(self) -> dict[str, pd.DataFrame]:
        """The tables of all responses below each other, by name, for CSV files."""
        kinds = ("anova", "comparisons", "effects", "means", "components", "verdicts", "sensitivity", "findings")
        made = {}
        for kind in kinds:
            parts = []
            for item in self.responses.values():
                table = getattr(item, kind)
                if len(table):
                    parts.append(
                        table
                        if "response" in table.columns
                        else table.assign(response=item.response)[["response", *table.columns]]
                    )
            made[kind] = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
        own = self.records.findings.assign(response="")[["response", *self.records.findings.columns]]
        parts = [part for part in (own, made["findings"]) if len(part)]
        made["findings"] = pd.concat(parts, ignore_index=True) if parts else own
        made["run_values"] = self.records.runs.copy()
        return made

    def checksum(self) -> str:
        """sha256 over everything that was concluded."""
        return stamp.checksum(self.to_json())

    def __repr__(self) -> str:
        """The headline and one sentence an answer, as text."""
        lines = [self.headline]
        for item in self.responses.values():
            told = [item.stopped] if item.stopped else list(item.verdicts["sentence"])
            lines += [item.response, *(f"  {text}" for text in told)]
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        """The headline and one sentence an answer."""
        lines = [f"<p>{html.escape(self.headline)}</p>"]
        for item in self.responses.values():
            told = [item.stopped] if item.stopped else list(item.verdicts["sentence"])
            lines.append(
                f"<h4>{html.escape(item.response)}</h4><ul>"
                + "".join(f"<li>{html.escape(str(text))}</li>" for text in told)
                + "</ul>"
            )
        return "".join(lines)


def analyse(
    brief: Brief, records: Records, *, planned: pd.DataFrame | None = None, notes: Sequence[str] = ()
) -> Analysis:
    """Everything the valid runs of the main phase say, for every response of the brief.

    Parameters
    ----------
    brief : Brief
    records : Records
    planned : DataFrame, optional
        The sealed run list of the main phase; runs in it that are not recorded yet count as pending.
    notes : sequence of str
        What the reader must know beside it.

    Returns
    -------
    Analysis
        A response that cannot be analysed says why and how to go on; the others are answered all the same.
    """
    runs = records.runs
    main = runs[runs["phase"] == "main"]
    waiting = set(main["run_id"][main["verdict"] == "pending"])
    if planned is not None:
        waiting |= set(planned["run_id"]) - set(main["run_id"])
    total = len(waiting) + int((main["verdict"] != "pending").sum())
    told = [
        f"{int((main['verdict'] == word).sum())} {word}"
        for word in ("invalid", "not interpretable")
        if (main["verdict"] == word).any()
    ]
    if waiting:
        told.append(f"{len(waiting)} pending ({', '.join(sorted(waiting))})")
    counted = ", ".join([f"{int((main['verdict'] == 'valid').sum())} of {total} runs valid", *told])
    ordered = sorted(brief.responses, key=lambda item: item.role != "primary")
    answers = {item.name: _answered(brief, records, item.name) for item in ordered}
    return Analysis(brief, records, planned, answers, bool(waiting), counted, tuple(notes))


def _answered(brief: Brief, records: Records, response: str) -> Answered:
    """One response, or why it cannot be analysed."""
    empty = pd.DataFrame()
    counted = records.runs["phase"] == "main"
    if brief.pilot is not None and brief.pilot.use == "block":
        counted |= records.runs["phase"] == "pilot"
    counted &= records.runs["verdict"] == "valid"
    of_these = records.findings["run_id"].isin(records.runs.loc[counted, "run_id"])
    about = records.findings[
        records.findings["column"].isin([response, f"{response}_below_limit"])
        & (records.findings["severity"] == "stop")
        & of_these
    ]
    if len(about):
        told = "; ".join(
            f"{row['run_id']}: {row['found']} (expected {row['expected']}); {row['action']}"
            for row in about.to_dict("records")
        )
        return Answered(response, told, None, empty, empty, empty, empty, empty, empty, empty, None, (), about)
    try:
        fitted = model_fit.fit(brief, records.runs, response)
        compared = comparisons.comparisons(fitted)
        checks = diagnostics.checks(fitted)
        flagged = _flagged(records, fitted, checks)
        return Answered(
            response,
            "",
            fitted,
            anova.table(fitted),
            compared,
            comparisons.effects(fitted),
            comparisons.means(fitted),
            components.table(brief, records.runs, response, stations=records.stations, readings=records.readings),
            verdict.verdicts(compared, brief),
            comparisons.sensitivity(brief, records.runs, response, set(flagged)),
            checks,
            flagged,
            pd.concat(
                [part for part in (fitted.findings, checks.findings) if len(part)] or [fitted.findings],
                ignore_index=True,
            ),
        )
    except (ModelError, DesignError) as problem:
        return Answered(response, str(problem), None, empty, empty, empty, empty, empty, empty, empty, None, (), empty)


def _flagged(records: Records, fitted: Fit, checks: Checks) -> tuple[str, ...]:
    """Analysed runs that a finding of the records or of the residuals asks to look at again."""
    used = set(fitted.runs["run_id"])
    found = records.findings
    named = set(found["run_id"][found["rule"].isin(FLAGGED) | (found["severity"] == "exclude")])
    named |= set(checks.findings["run_id"].dropna())
    return tuple(sorted(used & named))
