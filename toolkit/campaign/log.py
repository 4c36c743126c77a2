"""The campaign's log: one row an event, each chained to the row before by its checksum (rank 9).

Two heads are told apart: the records head (last row that is not a look), which plan and report carry, and the log
head (last row). A row is never changed. A file that was edited, or that lost a row from its middle, no longer fits
its chain; one that was cut or rewritten as a whole up to a seal no longer fits the row that the plan holds. What came
after the last seal can be cut or rewritten without a trace inside the folder: only a head kept elsewhere shows that.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from toolkit import sheetfile, stamp
from toolkit.campaign import storage
from toolkit.errors import Fault, IntegrityError

NAME = "log.csv"
COLUMNS = ("at", "kind", "phase", "subject", "what", "reason", "role", "chain")
LOOK, NOTE, TAKEN, BACK = "look", "note", "taken in", "taken back"
AMENDING, AMENDED = "amending", "amended"
_START = "0" * 64
# Letters of a reason or a role.
LONGEST = 1_000


def read(folder: Path) -> list[dict[str, str]]:
    """The rows of the log, the chain checked; an absent log has none.

    Raises
    ------
    IntegrityError
        When a row does not fit the chain: the row is named.
    """
    path = Path(folder) / NAME
    if not path.exists():
        return []
    try:
        # Bytes, since reading as text takes other line ends for our own.
        text = path.read_bytes().decode("utf-8")
        rows = [_unguarded(row) for row in csv.DictReader(io.StringIO(text, newline=""))]
    except (OSError, UnicodeDecodeError, csv.Error) as problem:
        raise IntegrityError(
            f"{NAME}: cannot be read as a table ({problem}). Restore it from your backup."
        ) from problem
    before = _START
    for place, row in enumerate(rows, start=2):
        if tuple(row) != COLUMNS or row["chain"] != _link(row, before):
            raise IntegrityError(
                f"{NAME} line {place}: does not fit the chain of checksums: this row or one before it "
                f"was changed, removed or added by hand. Restore the log from your backup."
            )
        before = row["chain"]
    if text != _text(rows):
        raise IntegrityError(
            f"{NAME}: its rows fit their chain, but its heading, quotes or line ends are not as they were written: "
            f"the file was changed by hand or by a spreadsheet. Restore the log from your backup."
        )
    return rows


def append(
    folder: Path, *, kind: str, phase: str = "", subject: str = "", what: str = "", reason: str = "", role: str = ""
) -> str:
    """Add a row and give the new log head. The caller holds the folder's lock."""
    rows = read(folder)
    row = {
        "at": stamp.now(),
        "kind": kind,
        "phase": phase,
        "subject": subject,
        "what": what,
        "reason": reason,
        "role": role,
    }
    row["chain"] = _link(row, rows[-1]["chain"] if rows else _START)
    storage.write_text(Path(folder) / NAME, _text([*rows, row]))
    return row["chain"]


def unsaid(reason: str, role: str) -> list[Fault]:
    """What is wrong with a reason and a role that are to stand in a row: both must be said, on one line each."""
    faults = []
    for name, text, what in (("--reason", reason, "why"), ("--role", role, "the role of who says so, no name")):
        if not text.strip():
            faults.append(Fault(name, "blank", what))
        elif not text.strip().isprintable() or len(text) > LONGEST:
            found = f"line ends, signs that do not print, or more than {LONGEST} characters"
            faults.append(Fault(name, found, "one line of text"))
    return faults


def told(row: Mapping[str, str]) -> dict[str, Any]:
    """What a row says, as a mapping; empty where it says it in words only."""
    try:
        found = json.loads(row["what"])
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}


def look(folder: Path, *, phase: str, subject: str, counted: str, seen: Mapping[str, str]) -> str:
    """Log that results were looked at: how many runs counted, and the verdict that each run seen had then.

    Parameters
    ----------
    folder : Path
    phase, subject, counted : str
        The phase, the checksum of what was looked at, and 'such as 7 of 12 runs valid'.
    seen : mapping of str to str
        Run to verdict, of the runs whose wear could be seen.
    """
    return append(
        folder,
        kind=LOOK,
        phase=phase,
        subject=subject,
        what=stamp.canonical({"counted": counted, "seen": dict(seen)}),
    )


def seen(rows: Sequence[Mapping[str, str]]) -> dict[str, tuple[str, str]]:
    """Run to the time of the first look that its wear was seen in, and the verdict it had then."""
    found: dict[str, tuple[str, str]] = {}
    for row in rows:
        if row["kind"] == LOOK:
            for run_id, verdict in told(row).get("seen", {}).items():
                found.setdefault(run_id, (row["at"], verdict))
    return found


def records_head(rows: list[dict[str, str]]) -> Mapping[str, str]:
    """The last row that is not a look (its chain and time); the start of the chain when there is none."""
    kept = [row for row in rows if row["kind"] != LOOK]
    return kept[-1] if kept else {"chain": _START, "at": ""}


def log_head(rows: list[dict[str, str]]) -> str:
    """The checksum of the last row."""
    return rows[-1]["chain"] if rows else _START


def set_back(rows: Sequence[Mapping[str, str]]) -> tuple[str, ...]:
    """A sentence for each row that is told to be earlier than one before it: a clock was wrong there.

    Every time is UTC, so time zones and summer time make no such row; the order of the rows is that of the chain.
    """
    told, latest = [], ""
    for line, row in enumerate(rows, start=2):
        if row["at"] < latest:
            told.append(
                f"{NAME} line {line}: {row['at']} is before a row above it ({latest}): a clock was wrong or set back; "
                f"the order of the rows is that of their chain"
            )
        latest = max(latest, row["at"])
    return tuple(told)


def _text(rows: Sequence[Mapping[str, str]]) -> str:
    """The log as CSV."""
    return sheetfile.csv_lines([COLUMNS, *([row[name] for name in COLUMNS] for row in rows)])


def _unguarded(row: Mapping[str, Any]) -> dict[str, Any]:
    """A row as it was before it was written; what is no text is left for the chain to find."""
    return {name: sheetfile.unguarded(text) if isinstance(text, str) else text for name, text in row.items()}


def _link(row: Mapping[str, str], before: str) -> str:
    """The checksum of a row and of the one before it."""
    return stamp.checksum([before, *(row.get(name) for name in COLUMNS[:-1])])
