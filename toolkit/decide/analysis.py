"""The whole analysis of a campaign's records: per response the tables, checks and verdicts (rank 7).

One call, ``analyse(brief, records)``; what it rests on stands beside what it concludes.
"""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.brief.model import Brief
from toolkit.decide import as_run as decide_as_run
from toolkit.decide import habit as decide_habit
from toolkit.decide import interim as decide_interim
from toolkit.decide import pending as decide_pending
from toolkit.decide import verdict
from toolkit.decide.as_run import AsRun
from toolkit.decide.habit import Habit
from toolkit.errors import DesignError, ModelError
from toolkit.intake.records import Records
from toolkit.model import anova, comparisons, components, diagnostics
from toolkit.model import fit as model_fit
from toolkit.model.diagnostics import Checks
from toolkit.model.fit import Fit
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
        The sealed run list of the phases that count.
    responses : dict
        Response name to what was answered, the primary first.
    progress : str
        How far the runs are while an answer waits for some, such as '7 of 12 runs'; empty when all are in.
    counted : str
        Such as '11 of 12 runs valid, 1 invalid'.
    notes : tuple of str
    pending : DataFrame
        The runs that answers wait for, and what each waits for (see ``pending.pending``).
    as_run : AsRun
        The runs as made beside the runs as planned.
    habit : dict
        Response name to what old runs can and cannot support; empty where the records are no old data.
    """

    brief: Brief
    records: Records
    planned: pd.DataFrame | None
    responses: Mapping[str, Answered]
    progress: str
    counted: str
    notes: tuple[str, ...]
    pending: pd.DataFrame
    as_run: AsRun
    habit: Mapping[str, Habit] = field(default_factory=dict)

    @property
    def interim(self) -> bool:
        """True while an answer waits for a run, a verdict or a measurement."""
        return bool(self.progress)

    @property
    def headline(self) -> str:
        """One line: which campaign, on which runs, interim or not."""
        kind = f"INTERIM, {self.progress}: " if self.interim else ""
        return f"{kind}campaign '{self.brief.id}', {self.counted}"

    def to_json(self) -> dict[str, Any]:
        """The answers as plain data; ``responses`` maps each response to its tables."""
        return stamp.plain(
            {
                "campaign": self.brief.id,
                "interim": self.interim,
                "progress": self.progress or None,
                "counted": self.counted,
                "alpha": self.brief.alpha,
                "responses": {name: item.to_json() for name, item in self.responses.items()},
                "findings": stamp.records(self.records.findings),
                "notes": list(self.notes),
                "pending": stamp.records(self.pending),
                "as_run": self.as_run.to_json(),
                "habit": {name: item.to_json() for name, item in self.habit.items()} or None,
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
        made["as_run"] = self.as_run.table.copy()
        made["pending"] = self.pending.assign(responses=[", ".join(names) for names in self.pending["responses"]])
        worst = [item.worst_cases for item in self.responses.values() if len(item.worst_cases)]
        none = pd.DataFrame(columns=list(decide_interim.COLUMNS))
        made["worst_cases"] = pd.concat(worst, ignore_index=True) if worst else none
        for kind in ("comparisons", "differences", "intervals", "orders", "next_runs") if self.habit else ():
            parts = [getattr(item, kind) for item in self.habit.values()]
            named = [part if "response" in part else part.assign(response=name) for name, part in
                     zip(self.habit, parts, strict=True) if len(part)]  # fmt: skip
            made[f"habit_{kind}"] = pd.concat(named, ignore_index=True) if named else parts[0]
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
    brief: Brief,
    records: Records,
    *,
    planned: pd.DataFrame | None = None,
    notes: Sequence[str] = (),
    scatters: Sequence[Scatter] = (),
) -> Analysis:
    """Everything the valid runs of the phases that count say, for every response of the brief.

    Parameters
    ----------
    brief : Brief
    records : Records
    planned : DataFrame, optional
        The sealed run list of the phases that count; runs in it that are not recorded yet count as pending.
    notes : sequence of str
        What the reader must know beside it.
    scatters : sequence of Scatter
        Known before the runs, one a response: for the chances as planned and as run.

    Returns
    -------
    Analysis
        A response that cannot be analysed says why and how to go on; the others are answered all the same. While a
        response waits for runs it has estimates, and no verdict claims anything.
    """
    waiting = decide_pending.pending(brief, records, planned)
    ordered = sorted(brief.responses, key=lambda item: item.role != "primary")
    return Analysis(
        brief,
        records,
        planned,
        {item.name: _answered(brief, records, item.name, waiting) for item in ordered},
        decide_pending.progress(brief, records, waiting),
        _counted(brief, records, waiting),
        (*notes, *_after_look(records)),
        waiting,
        decide_as_run.as_run(brief, planned, records, scatters=scatters),
        decide_habit.of_records(brief, records),
    )


def _after_look(records: Records) -> list[str]:
    """What was noted of runs after their wear had been seen, a line each."""
    late = decide_pending.after_look(records).items()
    return [f"{run_id}: {' and '.join(cells)} noted after its wear had been looked at" for run_id, cells in late]


def _counted(brief: Brief, records: Records, waiting: pd.DataFrame) -> str:
    """How many runs there are of each kind: '9 of 12 runs valid, 1 invalid, 2 pending (R11, R12)'."""
    runs = records.runs
    runs = runs[runs["phase"].isin(brief.counted_phases)]
    open_runs = waiting.loc[waiting["verdict"] == "pending", "run_id"].tolist()
    late = waiting.loc[waiting["verdict"] != "pending", "run_id"].tolist()
    total = len(open_runs) + int((runs["verdict"] != "pending").sum())
    told = [f"{int((runs['verdict'] == 'valid').sum())} of {total} runs valid"]
    told += [
        f"{int((runs['verdict'] == word).sum())} {word}"
        for word in ("invalid", "not interpretable")
        if (runs["verdict"] == word).any()
    ]
    told += [f"{len(open_runs)} pending ({', '.join(sorted(open_runs))})"] if open_runs else []
    told += [f"{len(late)} valid with figures to come ({', '.join(sorted(late))})"] if late else []
    return ", ".join(told)


def _answered(brief: Brief, records: Records, response: str, waiting: pd.DataFrame) -> Answered:
    """One response, or why it cannot be analysed."""
    empty = pd.DataFrame()
    late = waiting[[response in names for names in waiting["responses"]]]
    interim = decide_pending.progress(brief, records, waiting, response)

    def stopped(why: str, found: pd.DataFrame = empty) -> Answered:
        none = (empty,) * 7
        return Answered(response, why, None, *none, None, (), found, interim, empty)

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
    try:
        fitted = model_fit.fit(brief, runs, response)
        compared = comparisons.comparisons(fitted)
        checks = diagnostics.checks(fitted)
        flagged = _flagged(records, fitted, checks)
        found = [part for part in (fitted.findings, checks.findings) if len(part)] or [fitted.findings]
        return Answered(
            response,
            "",
            fitted,
            anova.table(fitted),
            compared,
            comparisons.effects(fitted),
            comparisons.means(fitted),
            components.table(brief, runs, response, stations=records.stations, readings=records.readings),
            verdict.verdicts(compared, brief, interim=interim),
            comparisons.sensitivity(brief, runs, response, set(flagged)),
            checks,
            flagged,
            pd.concat(found, ignore_index=True),
            interim,
            decide_interim.worst_cases(brief, fitted, runs, late) if interim else empty,
        )
    except (ModelError, DesignError) as problem:
        return stopped(str(problem))


def _flagged(records: Records, fitted: Fit, checks: Checks) -> tuple[str, ...]:
    """Analysed runs that a finding of the records or of the residuals asks to look at again."""
    used = set(fitted.runs["run_id"])
    found = records.findings
    named = set(found["run_id"][found["rule"].isin(FLAGGED) | (found["severity"] == "exclude")])
    named |= set(checks.findings["run_id"].dropna())
    return tuple(sorted(used & named))
