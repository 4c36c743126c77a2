"""The registers of parts and oil samples as they lie in plan/: read, and held against what was issued (rank 9)."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from toolkit import stamp
from toolkit.campaign import seal
from toolkit.intake import csv_text
from toolkit.intake.gathered import Gathered
from toolkit.intake.raw import Raw

PARTS, SAMPLES = "parts.csv", "samples.csv"
# Written in by whoever issues parts and oil from the shelf.
OPEN = ("serial", "batch", "oil_drum")
_PARTS_COLUMNS = ("part_id", "run_id", "spare", "batch", "serial")
_SAMPLES_COLUMNS = ("sample_id", "run_id", "at_h", "oil_drum")


def is_register(name: str) -> bool:
    """True for the path of a register."""
    return name.startswith("plan/") and name.rpartition("/")[2] in (PARTS, SAMPLES)


def as_issued(content: bytes) -> str:
    """The checksum of a register with the columns blank that people fill in; empty for bytes that are no table.

    Line ends and quotes do not change it: a spreadsheet may have saved the register.
    """
    try:
        rows = list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error):
        return ""
    rows = [row for row in rows if any(row)]
    if not rows or {len(row) for row in rows} != {len(rows[0])}:
        return ""
    head, *lines = rows
    return stamp.checksum([head, *[_blank(head, line) for line in lines]])


def _blank(head: Sequence[str], line: Sequence[str]) -> list[str]:
    """A line with the columns blank that people fill in."""
    return ["" if name in OPEN else cell for name, cell in zip(head, line, strict=True)]


def filled_in(issued: bytes, there: bytes) -> bytes:
    """A register as it is issued, with what people wrote into the lines of one that lay there before.

    Parameters
    ----------
    issued : bytes
        As it is to be written.
    there : bytes
        As it lies there: every line that both have keeps its serial, batch and drum.
    """
    rows = {
        line[0]: dict(zip(head, line, strict=True)) for head, *lines in [_rows(there)] for line in lines if any(line)
    }
    head, *lines = _rows(issued)
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    for line in lines:
        known = rows.get(line[0], {})
        writer.writerow(
            [known.get(name, cell) if name in OPEN else cell for name, cell in zip(head, line, strict=True)]
        )
    return out.getvalue().encode()


def _rows(content: bytes) -> list[list[str]]:
    """The lines of a register as text."""
    found = csv.reader(io.StringIO(content.decode("utf-8-sig"), newline=""), strict=True)
    return [row for row in found if any(row)]


def tables(folder: Path, phases: Sequence[str]) -> tuple[pd.DataFrame, pd.DataFrame] | None:
    """Parts and samples of all phases, filled in as they are, with the column ``phase``; None when none is issued.

    Raises
    ------
    IntakeError
        With every fault of every register, with file and line.
    """
    told = Gathered()
    parts, samples = [], []
    for phase in phases:
        at = seal.folder_of(folder, phase).relative_to(folder).as_posix()
        parts.append(_table(folder, f"{at}/{PARTS}", phase, _PARTS_COLUMNS, told))
        samples.append(_table(folder, f"{at}/{SAMPLES}", phase, _SAMPLES_COLUMNS, told))
    told.raise_all()
    if all(frame is None for frame in parts):
        return None
    return _together(parts, _PARTS_COLUMNS), _together(samples, _SAMPLES_COLUMNS)


def _table(folder: Path, name: str, phase: str, needed: Sequence[str], told: Gathered) -> pd.DataFrame | None:
    """One register as text; None when it is not there or not in order."""
    if not (folder / name).exists():
        return None
    raw, _ = csv_text.read(folder, name, told)
    if raw is None:
        return None
    lacking = [column for column in needed if column not in raw.header]
    if lacking:
        told.add(name, f"{name} line 1", f"no column {', '.join(lacking)}", f"the columns {', '.join(needed)}")
        return None
    return _frame(raw).assign(phase=phase)


def _frame(raw: Raw) -> pd.DataFrame:
    """A raw table as a frame of text."""
    return pd.DataFrame([row for _, row in raw.rows], columns=list(raw.header), dtype=object)


def _together(frames: Sequence[pd.DataFrame | None], needed: Sequence[str]) -> pd.DataFrame:
    """The registers of all phases below each other, blank where a phase has no such column."""
    there = [frame for frame in frames if frame is not None]
    if not there:
        return pd.DataFrame(columns=[*needed, "phase"], dtype=object)
    return pd.concat(there, ignore_index=True).fillna("")
