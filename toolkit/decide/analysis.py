"""The whole analysis of a campaign's records: per response the tables, checks and verdicts (rank 7).

One call, ``analyse(brief, records)``; what it rests on stands beside what it concludes.
"""

from __future__ import annotations

import html
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import pandas as pd

from toolkit import copies, measured_in, stamp
from toolkit.brief import by_position
from toolkit.brief.model import Brief
from toolkit.decide import as_run as decide_as_run
from toolkit.decide import before_deciding as decide_before
from toolkit.decide import habit as decide_habit
from toolkit.decide import interim as decide_interim
from toolkit.decide import measured as decide_measured
from toolkit.decide import pending as decide_pending
from toolkit.decide import recorded as decide_recorded
from toolkit.decide import together as decide_together
from toolkit.decide.answered import Answered, answered
from toolkit.decide.as_run import AsRun
from toolkit.decide.habit import Habit
from toolkit.decide.measured import Measured
from toolkit.decide.recorded import Recorded
from toolkit.intake import unjudged
from toolkit.intake.records import Records
from toolkit.size.scatter import Scatter

__all__ = ["Analysis", "Answered", "analyse"]


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
    agreement : DataFrame
        Whether responses go together run by run, a row a pair (see ``model.agreement``).
    before_deciding : DataFrame
        What could change an answer and needs a person to look (see ``decide.before_deciding``).
    recorded : Recorded
        What recordings say, and what the sealed rules propose for each run (see ``decide.recorded``).
    measured : Measured
        What metrology, laboratory and reference runs say beside the answers.
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
    agreement: pd.DataFrame
    before_deciding: pd.DataFrame
    measured: Measured
    recorded: Recorded
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

    @property
    def _waits(self) -> tuple[str, ...]:
        """What is waited for, as a line; none when nothing is."""
        told = decide_pending.waits(self.pending)
        return (f"waiting for: {told}",) if told else ()

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
                "agreement": stamp.records(self.agreement),
                "before_deciding": stamp.records(self.before_deciding),
                "recorded": None if self.recorded.empty else self.recorded.to_json(),
                "proposals": stamp.records(self.recorded.proposals),
                "measured": None if self.measured.empty else self.measured.to_json(),
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
        made |= decide_together.tables(self.responses)
        made |= self.measured.tables() | self.recorded.tables()
        made["agreement"] = self.agreement.copy()
        made["before_deciding"] = self.before_deciding.assign(
            run_ids=[", ".join(names) for names in self.before_deciding["run_ids"]]
        )
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
        """The headline, what is waited for, and one sentence an answer, as text."""
        lines = [self.headline, *self._waits]
        for item in self.responses.values():
            told = [item.stopped] if item.stopped else list(item.verdicts["sentence"])
            lines += [item.response, *(f"  {text}" for text in told)]
        heed = [f"  {text}" for text in self.before_deciding["sentence"]]
        return "\n".join([*lines, *(["Before deciding:", *heed] if heed else [])])

    def _repr_html_(self) -> str:
        """The headline, what is waited for, and one sentence an answer."""
        lines = [f"<p>{html.escape(text)}</p>" for text in (self.headline, *self._waits)]
        for item in self.responses.values():
            told = [item.stopped] if item.stopped else list(item.verdicts["sentence"])
            lines.append(
                f"<h3>{html.escape(measured_in.quantity(item.response))}</h3><ul>"
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
    sealed_covariates: Collection[str] = (),
    copy: copies.Copy | None = None,
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
        Known before the runs, one a response: for the chances as planned and as run, and for how far off pending runs
        could be.
    sealed_covariates : collection of str
        Covariates that the plan was sealed with before any run.
    copy : Copy, optional
        Answers some of the responses (see ``copies.in_turn``).

    Returns
    -------
    Analysis
        A response that cannot be analysed says why and how to go on; the others are answered all the same. While a
        response waits for runs it has estimates, and no verdict claims anything. Nothing measured on runs without a
        verdict is in it, so that they can still be judged without their wear.

    Examples
    --------
    Three finishes of a tappet while one run is still to come:

    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = bundled.bring("tappet-finish", place, phases=("main",))
    ...     records = campaign.records()
    >>> found = analyse(campaign.brief, records)
    >>> found.counted
    '14 of 15 runs valid, 1 pending (R15)'
    >>> for row in found.responses["mass_loss_mg"].comparisons.to_dict("records"):
    ...     print(f"{row['comparison']}: times {row['estimate']:.2f} ({row['conf_low']:.2f} to {row['conf_high']:.2f})")
    honing: times 0.82 (0.57 to 1.19)
    superfinishing: times 0.63 (0.45 to 0.89)
    """
    waiting = decide_pending.pending(by_position.as_recorded(brief), records, planned)
    progress = decide_pending.progress(brief, records, waiting)
    # From here on nothing can be seen of runs that are still to be judged.
    records = unjudged.hidden(records)
    ordered = sorted(brief.responses, key=lambda item: item.role != "primary")
    known = {item.response.name: item for item in scatters}
    made = decide_as_run.as_run(brief, planned, records, scatters=scatters)
    terms = made.planned_terms
    tasks = [
        partial(
            answered,
            brief,
            records,
            item.name,
            waiting,
            scatter=known.get(item.name),
            planned=planned,
            planned_terms=terms,
            sealed_covariates=sealed_covariates,
        )
        for item in ordered
    ]
    found = dict(zip((item.name for item in ordered), copies.in_turn(tasks, copy), strict=True))
    measured = decide_measured.measured(brief, records, found)
    return Analysis(
        brief,
        records,
        planned,
        found,
        progress,
        _counted(brief, records, waiting),
        (*notes, *_after_look(records)),
        waiting,
        made,
        decide_together.agreement(found.values()),
        decide_before.before_deciding(brief, found, records, made, measured.heed),
        measured,
        decide_recorded.recorded(brief, records),
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
