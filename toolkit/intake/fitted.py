"""What was fitted, by the run sheets, beside the registers: parts, serials and oil drums (rank 6).

Findings only: the analysis uses what was run.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import pandas as pd

from toolkit.brief.model import Brief
from toolkit.brief.positions import AT, POSITION
from toolkit.brief.record_columns import FITTED
from toolkit.intake import cells, columns
from toolkit.intake.gathered import Finding, finding
from toolkit.intake.raw import Entry

Cells = Mapping[str, Entry]
# Between a run and its position, where the position holds a part of its own; no name can hold it.
PLACE = "\x1f"
_AGAIN = "judge the run again: look at the part and the run sheet"


@dataclass(frozen=True, eq=False)
class Parts:
    """The register of parts: by code, as it is compared, its line as text."""

    lines: Mapping[str, Mapping[str, str]]

    @classmethod
    def of(cls, register: pd.DataFrame | None) -> Parts:
        """From the table of the register; none where nothing was issued."""
        if register is None:
            return cls({})
        rows = register.astype(object).where(register.notna(), "").to_dict("records")
        return cls(
            {
                str(row["part_id"]).casefold(): {str(name): str(value).strip() for name, value in row.items()}
                for row in rows
            }
        )

    def line(self, part: str) -> Mapping[str, str] | None:
        """The line of a part; None when the register does not have it."""
        return self.lines.get(part.casefold())

    def code(self, part: str) -> str:
        """A code as the register writes it; as given where it is not there."""
        line = self.line(part)
        return line["part_id"] if line else part

    @property
    def codes(self) -> list[str]:
        """Every code."""
        return [line["part_id"] for line in self.lines.values()]

    def planned(self, run_id: str) -> str:
        """The part that was planned for a run, or for a position of one; empty when none was."""
        return next((line["part_id"] for line in self.lines.values() if place(line) == run_id), "")

    def of_serial(self, serial: str) -> str:
        """The part with a serial; empty when none has it, or several."""
        found = [
            line["part_id"]
            for line in self.lines.values()
            if serial and line.get("serial", "").casefold() == serial.casefold()
        ]
        return found[0] if len(found) == 1 else ""


def place(line: Mapping[str, str]) -> str:
    """Where a part of the register is planned to run: the run, or the position of a run; empty for a spare."""
    run, position = line.get("run_id", ""), line.get(POSITION, "")
    return f"{run}{PLACE}{position}" if run and position else run


def part_columns(row: Cells) -> list[str]:
    """The columns of a run that name parts: of the run, and of its positions."""
    return [name for name in row if name.partition(AT)[0] == FITTED[0]]


def text(row: Cells, column: str) -> str:
    """A cell's text without blanks around it; empty where it is not told."""
    return (row[column].text or "").strip() if column in row else ""


def parts_of(runs: Mapping[str, Cells], parts: Parts) -> dict[str, str]:
    """Run (or run and position) to the part that was fitted, as far as it is told."""
    found = {
        f"{run}{PLACE}{name.partition(AT)[2]}" if AT in name else run: parts.code(text(row, name))
        for run, row in runs.items()
        for name in part_columns(row)
    }
    return {where: part for where, part in found.items() if part}


@dataclass(frozen=True)
class _Run:
    """A run while it is looked at; what is to be known of it goes to ``told``."""

    run_id: str
    part: str
    valid: bool
    told: list[Finding]

    def tell(self, rule: str, column: str, found: str, expected: str, action: str, *, doubtful: bool = False) -> None:
        """Keep a finding; ``doubtful`` when the run should be judged again."""
        severity = "exclude" if doubtful and self.valid else "note"
        made = finding(severity, rule, run_id=self.run_id, part_id=self.part or None, column=column, found=found,
                       expected=expected, action=action)  # fmt: skip
        self.told.append(made)


def findings(brief: Brief, runs: Mapping[str, Cells], parts: Parts, samples: pd.DataFrame | None) -> list[Finding]:
    """Parts, serials and oil drums that are not those of the registers.

    Parameters
    ----------
    brief : Brief
    runs : mapping
        Run to its cells, those of what was fitted among them.
    parts : Parts
    samples : DataFrame or None
        The register of samples.

    Returns
    -------
    list of Finding
        exclude (in valid runs) where it is doubtful which part wore: unknown to the register, of another kind than
        the run was built with, with the serial of another part. Else note.
    """
    told: list[Finding] = []
    there = parts_of(runs, parts)
    serials: dict[str, str] = {}
    kept = columns.kept(brief)
    fitted = {
        run: tuple(text(row, name) for name in ("build_id", "part_set_id")) if "part_set_id" in kept else (run,)
        for run, row in runs.items()
    }
    for run_id, row in runs.items():
        run = _Run(run_id, there.get(run_id, ""), text(row, "verdict").casefold() == "valid", told)
        serial = text(row, "serial")
        if run.part:
            _part(brief, run, row, parts, there)
        # A set of parts that is kept over several runs has its serial in each of them.
        if serial and fitted[serials.get(serial.casefold(), run_id)] != fitted[run_id]:
            found = f"serial {cells.said(serial)} also on the sheet of {serials[serial.casefold()]}"
            run.tell("serial", "serial", found, "a serial once", _AGAIN)
        serials.setdefault(serial.casefold(), run_id)
        _serial(run, serial, parts)
        _drum(run, text(row, "oil_drum"), samples)
        began, ended = text(row, "started_at"), text(row, "stopped_at")
        if _before(ended, began):
            action = "look at the run sheet; the hours of the run stand in a line of their own"
            run.tell("times", "stopped_at", f"stopped {ended}, started {began}", "a stop after the start", action)
    return told


def _part(brief: Brief, run: _Run, row: Cells, parts: Parts, there: Mapping[str, str]) -> None:
    """Tell of a part that is not the one planned for the run, or not of its kind."""
    part, line, planned = run.part, parts.line(run.part), parts.planned(run.run_id)
    if line is None:
        if parts.lines:
            found = f"part {part}, which the register does not have"
            expected = f"part {planned} of the register" if planned else "a part of the register"
            action = f"{cells.same_name(part, parts.codes)} {_AGAIN}".strip()
            run.tell("part unknown", "part_id", found, expected, action, doubtful=True)
        return
    for factor in brief.factors:
        meant, built = line.get(factor.name, ""), text(row, factor.name)
        if factor.undo == "part" and meant and built and meant.casefold() != built.casefold():
            found = f"part {part} is registered with {factor.name} {meant}, the run was built with {built}"
            expected = f"a part with {factor.name} {built}"
            run.tell("part of another kind", "part_id", found, expected, _AGAIN, doubtful=True)
    if part == planned:
        return
    action = "check the run sheet; what was measured on the part counts for this run"
    owner, expected = line.get("run_id", ""), f"part {planned}" if planned else "a planned part"
    if not owner:
        run.tell("spare used", "part_id", f"the spare part {part}", expected, action)
    elif planned and there.get(owner) == planned:
        found = f"part {part}, planned for {owner}, which ran with part {planned}"
        run.tell("part swapped", "part_id", found, expected, action)
    else:
        run.tell("part differs", "part_id", f"part {part}, planned for {owner}", expected, action)


def _serial(run: _Run, serial: str, parts: Parts) -> None:
    """Tell of a serial that is not the one of the part in the register."""
    line = parts.line(run.part) or {} if run.part else {}
    typed = f"serial {cells.said(serial)}"
    registered, other = line.get("serial", ""), parts.of_serial(serial)
    if not serial or not parts.lines or (registered and registered.casefold() == serial.casefold()):
        return
    if other and other != run.part:
        own = f"the serial of part {run.part}" if run.part else "the code of the part beside it"
        found, expected = f"{typed}, which is that of part {other}", registered and f"serial {registered}"
        run.tell("serial of another part", "serial", found, expected or own, _AGAIN, doubtful=True)
    elif registered:
        action = "correct whichever is wrong; the code decides which part it is"
        run.tell("serial", "serial", typed, f"serial {registered}, as the register has it", action)


def _drum(run: _Run, drum: str, samples: pd.DataFrame | None) -> None:
    """Tell of an oil drum that is not the one of the register of samples."""
    if not drum or samples is None or "oil_drum" not in samples:
        return
    of_run = samples[samples["run_id"].astype(str) == run.run_id]
    named = sorted({str(name).strip() for name in of_run["oil_drum"] if str(name).strip()})
    if named and drum.casefold() not in {name.casefold() for name in named}:
        expected = f"drum {' or '.join(named)}, as the register has it"
        action = "correct whichever is wrong; it changes no figure"
        run.tell("oil drum", "oil_drum", f"drum {cells.said(drum)}", expected, action)


def _before(one: str, other: str) -> bool:
    """True when both are times and the one lies before the other."""
    try:
        return datetime.fromisoformat(one) < datetime.fromisoformat(other)
    except ValueError:
        return False
