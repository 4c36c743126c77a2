"""What the notes in the log say of runs: remarks, verdicts, corrected cells; verdicts moved after a look (rank 9)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from toolkit.campaign import log
from toolkit.errors import IntegrityError
from toolkit.intake.gathered import Finding, finding
from toolkit.intake.received import Correction

VERDICT = "verdict"


@dataclass(frozen=True)
class Note:
    """One note on a run.

    Attributes
    ----------
    at : str
        When it was logged, UTC.
    run_id, phase, reason, role : str
    column : str
        The cell that it puts right, verdict among them; empty for a remark.
    old, new, measured_in : str
        What stood there, what counts from then on, and what both are measured in.
    source : str
        sha256 of the file the old value came from; empty where it came from none, or from a note before.
    after_look : bool
        True when the wear of the run had been seen.
    """

    at: str
    run_id: str
    phase: str
    column: str
    old: str
    new: str
    measured_in: str
    source: str
    after_look: bool
    reason: str
    role: str


def notes(rows: Sequence[Mapping[str, str]]) -> tuple[Note, ...]:
    """Every note of the log, in its order.

    Raises
    ------
    IntegrityError
        When a row does not say what was noted.
    """
    found = []
    for row in rows:
        if row["kind"] == log.NOTE:
            told = log.told(row)
            lacking = {"column", "old", "new", "measured_in", "source", "after_look"} - set(told)
            if lacking:
                raise IntegrityError(
                    f"{log.NAME}: the note of {row['at']} on {row['subject']} does not hold "
                    f"{', '.join(sorted(lacking))}. Restore the log from your backup."
                )
            found.append(
                Note(
                    at=row["at"],
                    run_id=row["subject"],
                    phase=row["phase"],
                    column=str(told["column"]),
                    old=str(told["old"]),
                    new=str(told["new"]),
                    measured_in=str(told["measured_in"]),
                    source=str(told["source"]),
                    after_look=bool(told["after_look"]),
                    reason=row["reason"],
                    role=row["role"],
                )
            )
    return tuple(found)


def corrections(found: Sequence[Note]) -> tuple[Correction, ...]:
    """The notes that put a cell right, as the records take them; remarks left out."""
    return tuple(
        Correction(
            run_id=item.run_id,
            column=item.column,
            old=item.old,
            new=item.new,
            reason=item.reason,
            role=item.role,
            at=item.at,
            after_look=item.after_look,
        )
        for item in found
        if item.column
    )


def moved_verdicts(rows: Sequence[Mapping[str, str]], runs: pd.DataFrame) -> list[Finding]:
    """Findings of runs whose verdict is not the one they had when their wear was first seen, without a note on it.

    Parameters
    ----------
    rows : sequence of mapping
        The log.
    runs : DataFrame
        run_id and verdict as they count now.

    Returns
    -------
    list of Finding
        Severity exclude where the run counts now, else note.
    """
    noted = {item.run_id for item in notes(rows) if item.column == VERDICT}
    now = dict(zip(runs["run_id"], runs["verdict"], strict=True))
    told = []
    for run_id, (at, then) in log.seen(rows).items():
        if run_id in now and now[run_id] != then and run_id not in noted:
            told.append(
                finding(
                    "exclude" if now[run_id] == "valid" else "note",
                    "verdict changed after a look",
                    run_id=run_id,
                    column=VERDICT,
                    found=f"{now[run_id]}, without a note",
                    expected=f"{then}, as when its wear was first seen ({at})",
                    action="put the verdict back, or say why it changed with `wearbook note`, marked --after-look",
                )
            )
    return told
