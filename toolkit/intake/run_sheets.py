"""A run sheet that came back becomes a row of the runs and what was fitted (rank 6).

The workbook is read by the names in its column 'column', never by position. A blank is not known yet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pandas as pd

from toolkit.brief.model import Brief
from toolkit.errors import nearest
from toolkit.intake import cells, columns, layouts
from toolkit.intake.cells import Problem
from toolkit.intake.gathered import Finding, Gathered, finding, some
from toolkit.intake.grids import Grid
from toolkit.intake.layouts import Layout
from toolkit.intake.raw import Entry
from toolkit.intake.told import Reading, Told
from toolkit.intake.typed import Column
from toolkit.running.sheets import row_checksum

HEADINGS = ("what", "column", "value", "unit")
MARKS = ("seal", "row_checksum", "records_head")
_ISSUED = ("row_checksum", "seals")
_AGAIN = "Issue the sheets anew with `wearbook sheets` and copy the figures, or take it in where it belongs."


def is_one(grid: Grid) -> bool:
    """True for a sheet with the headings and the marks of a run sheet of ours."""
    head = grid.heading_row(HEADINGS, len(HEADINGS))
    if head is None:
        return False
    place = grid.headings(head)["column"][0]
    return {"run_id", "row_checksum"} <= {grid.text(row, place) for row in grid.rows if row > head}


def is_blank(grid: Grid) -> bool:
    """True for a run sheet as it was issued: no value is written in and nothing is ticked."""
    head = grid.heading_row(HEADINGS, len(HEADINGS)) or 0
    places = {name: found[0] for name, found in grid.headings(head).items()}
    issued = ("run_id", "phase", *MARKS)
    return not any(
        grid.text(row, places["value"])
        for row in grid.rows
        if row > head and grid.text(row, places["column"]) not in issued
    )


def rows(
    file: str, grids: Sequence[Grid], brief: Brief, plan: pd.DataFrame | None, told: Gathered
) -> tuple[list[Told], list[Finding]]:
    """What the run sheets in a workbook tell: a row of the runs each, with what was fitted.

    Parameters
    ----------
    file : str
        Its name, for messages.
    grids : sequence of Grid
    brief : Brief
    plan : DataFrame or None
        The sealed runs, with what ``received.issued_under`` adds.
    told : Gathered
        Faults are kept here: of cells, and of a sheet that was issued under another plan.

    Returns
    -------
    rows : list of Told
        Phase and planned_order come from the plan that the sheet was issued under.
    findings : list of Finding
        What was converted, ticks that say no, and what is not read.
    """
    made: list[Told] = []
    findings: list[Finding] = []
    sheets = [grid for grid in grids if is_one(grid)]
    for grid in sheets:
        reading = Reading(file, told)
        row, ticked = _sheet(grid, brief, plan, reading)
        if row is not None:
            made.append(row)
        findings += [*reading.findings(), *ticked]
    others = [f"sheet {cells.shown(str(grid.sheet))}" for grid in grids if grid not in sheets]
    if others:
        expected, action = "run sheets only", "none; look whether something was written there"
        findings.append(finding("note", "not read", found=f"{file}: {some(others)}", expected=expected, action=action))
    return made, findings


def _sheet(
    grid: Grid, brief: Brief, plan: pd.DataFrame | None, reading: Reading
) -> tuple[Told | None, list[Finding]]:
    """One sheet; None when it cannot be told which run it is of."""
    head = grid.heading_row(HEADINGS, len(HEADINGS)) or 0
    places = {name: found[0] for name, found in grid.headings(head).items()}
    lines: dict[str, int] = {}
    ticks: list[int] = []
    for row in sorted(grid.rows):
        name = grid.text(row, places["column"])
        if row <= head:
            continue
        if name in lines:
            where = grid.where(row, places["column"])
            problem = Problem("twice", f"a second line of {cells.shown(name)}", "a line each", "Delete one of them.")
            reading.fault(name, where, problem)
        elif name:
            lines[name] = row
        elif grid.text(row, places["what"]) and grid.merged_over(row, places["what"]) is None:
            ticks.append(row)
    marks = {}
    for name in ("run_id", "phase", *MARKS):
        kind = Column(name, "text")
        marks[name] = reading.entry(grid, lines[name], places["value"], kind) if name in lines else None
    planned = _planned(grid, marks, plan, reading)
    if planned is None:
        return None, []
    reading.run_id = str(planned["run_id"])
    known = (*columns.of_runs(brief), *columns.optional(brief), *columns.fitted(brief))
    layout = Layout("", "runs", {}, ())
    found: dict[str, Entry] = {}
    unknown = []
    for name, row in lines.items():
        if name in ("run_id", "phase", *MARKS):
            continue
        if name not in known:
            unknown += [name] if places["value"] in grid.rows[row] else []
            continue
        unit = grid.text(row, places["unit"])
        column = layouts.column(brief, layout, name)
        same = unit in ("", *_spellings(column))
        found[name] = reading.entry(grid, row, places["value"], column if same else replace(column, unit=unit))
    for name in ("run_id", "phase"):
        entry = marks[name]
        if entry is not None and entry.text:
            found[name] = replace(entry, text=str(planned[name]))
    whole = grid.where(lines["run_id"])
    found["planned_order"] = Entry(str(planned["planned_order"]), reading.file, whole)
    findings = [*_ticked(grid, places, ticks, reading), *_unknown(unknown, known, reading)]
    return Told("runs", reading.file, whole, found), findings


def _planned(
    grid: Grid, marks: dict[str, Entry | None], plan: pd.DataFrame | None, reading: Reading
) -> pd.Series | None:
    """The row of the plan that the sheet was issued for; None, and a fault kept, when it does not fit."""
    run, row, seal = marks["run_id"], marks["row_checksum"], marks["seal"]

    def refuse(name: str, entry: Entry | None, kind: str, found: str, expected: str, remedy: str) -> None:
        where = entry.where if entry else grid.where(min(grid.rows))
        reading.fault(name, where, Problem(kind, found, expected, remedy))

    if run is None or not run.text:
        refuse("run_id", run, "no run", "no run_id on the sheet", "the run it was issued for", _AGAIN)
        return None
    if plan is None or plan.empty:
        remedy = "Take the sheet in where its plan is sealed."
        refuse("run_id", run, "no plan", f"a run sheet of {run.text}", "a sealed plan it was issued under", remedy)
        return None
    of_run = plan[plan["run_id"].astype(str) == run.text]
    if of_run.empty:
        ids = [str(name) for name in plan["run_id"]]
        near = cells.same_name(run.text, ids) or _AGAIN
        refuse("run_id", run, "unknown run", f"unknown run {cells.shown(run.text)}", "a run of the sealed plan", near)
        return None
    line = of_run.iloc[0]
    expected = str(line["row_checksum"]) if "row_checksum" in plan else row_checksum(_own(line))
    before = len(reading.gathered)
    if row is None or row.text != expected:
        found = f"the row checksum {_short(row)}"
        fits = f"that of the row of {run.text} in the plan ({expected[:12]}): issued under another plan"
        refuse("row_checksum", row, "other row", found, fits, _AGAIN)
    elif "seals" in plan and (seal is None or (seal.text or "") not in str(line["seals"]).split()):
        found, fits = f"the seal {_short(seal)}", "the seal of this campaign's plan: issued under another plan"
        refuse("seal", seal, "other seal", found, fits, _AGAIN)
    phase = marks["phase"]
    if len(reading.gathered) == before and (phase is None or phase.text != str(line["phase"])):
        refuse("phase", phase, "other phase", f"the phase {_short(phase)}", f"{line['phase']}", _AGAIN)
    return line if len(reading.gathered) == before else None


def _own(line: pd.Series) -> dict[str, object]:
    """A row of the plan without what was added to it."""
    return {name: value for name, value in line.to_dict().items() if name not in _ISSUED}


def _short(entry: Entry | None) -> str:
    """A mark for a message: its first twelve characters."""
    return cells.shown(entry.text[:12]) if entry is not None and entry.text else "missing"


def _spellings(column: Column) -> tuple[str, ...]:
    """How the column's own unit is printed on the sheet."""
    return (column.own.strip(" ()"),)


def _ticked(grid: Grid, places: dict[str, int], ticks: Sequence[int], reading: Reading) -> list[Finding]:
    """Findings of things to do that were not done; a fault for another word than yes or no."""
    made = []
    for row in ticks:
        entry = reading.entry(grid, row, places["value"], Column("", "text"))
        said = cells.yes_no(entry.text) if entry.text else True
        what = cells.said(grid.text(row, places["what"]))
        if isinstance(said, Problem):
            reading.fault("", entry.where, replace(said, expected="'yes' or 'no'"))
        elif not said:
            made.append(
                finding(
                    "note",
                    "not done",
                    run_id=reading.run_id,
                    found=f"{what}: no ({reading.file} {entry.where})",
                    expected="yes",
                    action="judge whether the run can count",
                )
            )
    return made


def _unknown(names: Sequence[str], known: Sequence[str], reading: Reading) -> list[Finding]:
    """A finding for each filled-in line that the brief has no column for."""
    return [
        finding(
            "note",
            "not read",
            run_id=reading.run_id,
            column=name,
            found=f"{reading.file}: a line of {cells.shown(name)} with a value",
            expected="lines of this campaign's columns",
            action=nearest(name, known) or "none: the brief has no such column any more",
        )
        for name in names
    ]
