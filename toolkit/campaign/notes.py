"""Notes on runs: a remark, a verdict, or a cell put right, with reason and role, for good (rank 9)."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import pandas as pd

from toolkit import measured_in, stamp
from toolkit.brief.record_columns import is_fitted
from toolkit.campaign import corrections, log, storage
from toolkit.campaign.corrections import VERDICT, Note
from toolkit.campaign.folder import Campaign
from toolkit.errors import CampaignError, Fault, IntakeError, listing, nearest, raise_all
from toolkit.intake import columns, gathered
from toolkit.intake.records import Records

HEADLINE = "The note cannot be taken; nothing was written."
# Fixed by the plan, or told by the options of their own.
_NOT_BY_COLUMN = ("run_id", "phase", "planned_order", *columns.JUDGED)


@dataclass(frozen=True)
class Noted:
    """A note as it stands in the log; ``written`` is false when the very same stood there already."""

    note: Note
    written: bool
    rules: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """The note, whether it was written now, and what the sealed rules say of the run."""
        return {**asdict(self.note), "written": self.written, "rules": list(self.rules)}

    def __repr__(self) -> str:
        """The note in one line."""
        note = self.note
        what = f"{note.column} {note.old or 'nothing'} -> {note.new or 'nothing'}" if note.column else "remark"
        return f"{note.run_id}: {what} ({note.reason}; {note.role}){'' if self.written else ', noted already'}"


def note(
    campaign: Campaign,
    run_id: str,
    *,
    reason: str,
    role: str,
    verdict: str = "",
    column: str = "",
    value: str | None = None,
    after_look: bool = False,
) -> Noted:
    """Note something on a run: it is appended to the log, and counts from then on everywhere.

    Parameters
    ----------
    campaign : Campaign
    run_id : str
    reason, role : str
        Why, and the role (no name) of who says so.
    verdict : str, optional
        One of ``columns.VERDICTS``, blanks or dashes between its words.
    column, value : str, optional
        A cell of the run and what stands there from now on, as a table would hold it.
    after_look : bool
        Note it although the run's wear has been seen; it is marked everywhere then.

    Returns
    -------
    Noted

    Raises
    ------
    CampaignError
        With everything that is wrong with the note.
    IntakeError
        When the records are not in order, or would not be with the new value.
    """
    with storage.locked(campaign.folder):
        rows = log.read(campaign.folder)
        found = campaign.records()
        looked = log.seen(rows).get(run_id)
        verdict = verdict.strip().replace("-", " ").casefold()
        faults = _faults(found, run_id, reason, role, verdict, column, value)
        if looked and not after_look:
            faults.append(
                Fault(
                    f"run {run_id}",
                    f"its wear was seen on {looked[0]}, when it was {looked[1]}",
                    "notes before wear is looked at",
                    "With --after-look it is noted all the same, and marked as such wherever it counts.",
                )
            )
        raise_all(CampaignError, HEADLINE, faults)
        run = found.runs.set_index("run_id").loc[run_id]
        cell = VERDICT if verdict else column
        made = Note(
            at=stamp.now(),
            run_id=run_id,
            phase=str(run["phase"]),
            column=cell,
            old=now(found, run_id, cell) if cell else "",
            new=verdict or (value or "").strip(),
            measured_in=measured_in.shown(cell) if cell else "",
            source=_source(found, run_id, cell),
            after_look=looked is not None,
            reason=reason.strip(),
            role=role.strip(),
        )
        same = _same(corrections.notes(rows), made)
        if same:
            return Noted(same, False, _rules(found, run_id))
        # A blank cell of a run without a verdict counts as planned until it is told: that it was so can be noted.
        if made.old == made.new and cell not in ("", VERDICT) and _on_record(found, run_id, cell):
            raise CampaignError(f"{HEADLINE}\n  run {run_id}, {cell}: is '{made.old}' already; expected another value.")
        after = _with(campaign, made)
        log.append(
            campaign.folder,
            kind=log.NOTE,
            phase=made.phase,
            subject=run_id,
            what=stamp.canonical(
                {name: getattr(made, name) for name in ("column", "old", "new", "measured_in", "source", "after_look")}
            ),
            reason=made.reason,
            role=made.role,
        )
    return Noted(made, True, _rules(after, run_id))


def now(found: Records, run_id: str, column: str) -> str:
    """What counts now in a cell of a run, as people write it; '' where there is nothing."""
    frame = found.as_built if is_fitted(column) else found.runs
    value = frame.set_index("run_id").at[run_id, column]
    if value is None or pd.isna(value):
        return ""
    return gathered.figure(value) if isinstance(value, float) else str(value)


def columns_of(found: Records) -> tuple[str, ...]:
    """The columns of a run that a note can put right."""
    own = [name for name in found.runs.columns if name not in _NOT_BY_COLUMN and name != "note"]
    measured = {item.name for item in found.brief.responses if item.source != "runs"}
    # Run values are made from stations and samples; these are put right by a file that replaces the one they came in.
    own = [name for name in own if name not in measured and not name.endswith(columns.BELOW)]
    return (*own, *(name for name in columns.fitted(found.brief) if name not in own))


def _with(campaign: Campaign, made: Note) -> Records:
    """The records with a note that is not logged yet.

    Raises
    ------
    IntakeError
        When they would not be in order: the fault lies in the note, they were in order without it.
    """
    try:
        return campaign.records(noted=corrections.corrections([made]))
    except IntakeError as problem:
        raise IntakeError(str(problem).replace(gathered.HEADLINE, HEADLINE, 1)) from problem


def _faults(
    found: Records, run_id: str, reason: str, role: str, verdict: str, column: str, value: str | None
) -> list[Fault]:
    """Everything that is wrong with a note but that wear was looked at."""
    runs = list(found.runs["run_id"])
    faults = []
    if run_id not in runs:
        told = nearest(run_id, runs) or "`wearbook status` lists them."
        faults.append(Fault(f"run {run_id or '(blank)'}", "no such run", "a run of the plan or the records", told))
    faults += log.unsaid(reason, role)
    if verdict and verdict not in columns.VERDICTS:
        faults.append(Fault("--verdict", f"'{verdict}'", listing(columns.VERDICTS), nearest(verdict, columns.VERDICTS)))
    if verdict and column:
        faults.append(Fault("--verdict and --column", "both", "one change a note", "Note them one after the other."))
    if column and column not in columns_of(found):
        told = nearest(column, columns_of(found))
        if column in columns.JUDGED:
            told = "A verdict is noted with --verdict; its reason and role go with it."
        elif column in {item.name for item in found.brief.responses}:
            told = "Measurements are put right by a file: wearbook intake CAMPAIGN FILE --replace OLD."
        faults.append(Fault("--column", f"'{column}'", listing(columns_of(found)), told))
    if column and value is None:
        faults.append(Fault("--value", "left out", f"what stands in {column} from now on"))
    if value is not None and not column:
        faults.append(Fault("--column", "left out", "the column of the run that the value is of"))
    return faults


def _on_record(found: Records, run_id: str, column: str) -> bool:
    """True where a table, a file or a note tells a cell, rather than the plan alone."""
    where = found.sources
    return bool(((where["run_id"] == run_id) & (where["column"] == column)).any())


def _source(found: Records, run_id: str, column: str) -> str:
    """The sha256 of the file that the old value came from; '' where it came from none, or from a note."""
    where = found.sources
    mine = where[(where["run_id"] == run_id) & (where["column"] == column)]
    return "" if mine.empty else str(found.inputs.get(str(mine["file"].iloc[-1]), ""))


def _same(noted: tuple[Note, ...], made: Note) -> Note | None:
    """The last note on the same cell when it says the same already; of remarks any."""
    mine = [item for item in noted if (item.run_id, item.column) == (made.run_id, made.column)]
    last = mine if not made.column else mine[-1:]
    return next(
        (item for item in last if (item.new, item.reason, item.role) == (made.new, made.reason, made.role)), None
    )


def _rules(found: Records, run_id: str) -> tuple[str, ...]:
    """What the sealed rules say of a run, a line each."""
    told = found.findings
    mine = told[(told["run_id"] == run_id) & told["rule"].isin(["window", "limits", "protocol"])]
    return tuple(
        f"{row['column']} {row['found']} (expected {row['expected']}): {row['action']}"
        for row in mine.to_dict("records")
    )
