"""All files that were taken in, read in one pass: rows by table of ours, findings, and what replaced what (rank 6)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from toolkit.brief.model import Brief
from toolkit.intake import cells, foreign, grids, layouts, old_lines, run_sheets
from toolkit.intake.gathered import Finding, Gathered, finding, some
from toolkit.intake.received import ReceivedFile
from toolkit.intake.together import same
from toolkit.intake.told import Told

TABLES = ("runs", "stations", "oil", "history")
_KEYS = {"runs": ("run_id",), "stations": ("part_id", "station_id", "reading", "state"), "oil": ("sample_id",)}


@dataclass(frozen=True, eq=False)
class Taken:
    """Rows by table, in the order in which the files were taken in; run to the sheets that came back for it."""

    rows: Mapping[str, list[Told]]
    sheets: Mapping[str, list[str]]
    findings: list[Finding]


def read(files: Sequence[ReceivedFile], brief: Brief, plan: pd.DataFrame | None, told: Gathered) -> Taken:
    """What the files tell.

    Parameters
    ----------
    files : sequence of ReceivedFile
        In the order in which they were taken in. A file that a later one replaces is not read for values; where the
        two differ is a finding.
    brief : Brief
    plan : DataFrame or None
        The sealed runs, with what ``received.issued_under`` adds.
    told : Gathered
        Faults are kept here.

    Returns
    -------
    Taken
    """
    by_name = {item.name: item for item in files}
    replaced = {item.replaces for item in files if item.replaces}
    rows: dict[str, list[Told]] = {table: [] for table in TABLES}
    sheets: dict[str, list[str]] = {}
    findings: list[Finding] = []
    old: list[Told] = []
    for item in files:
        if item.replaces and item.replaces not in by_name:
            expected = "the name of a file that was taken in"
            told.add(item.name, item.name, f"replaces {cells.shown(item.replaces)}", expected)
        if item.name in replaced:
            continue
        found, about = _one(item, brief, plan, told)
        if _old(item, brief):
            old += found
        for row in found if not _old(item, brief) else ():
            rows[row.table].append(row)
            if item.kind == "run sheet":
                sheets.setdefault(row.text("run_id"), []).append(item.name)
        findings += about
        if item.replaces in by_name:
            findings += _replaced(brief, by_name[item.replaces], item, found, plan)
    # All of them at once: an order may run through several tables.
    made, about = old_lines.as_runs(old, brief, told)
    rows["runs"] += made
    return Taken(rows, sheets, [*findings, *about])


def _old(item: ReceivedFile, brief: Brief) -> bool:
    """True for an old table of runs, whose lines are not runs yet."""
    return brief.old_data is not None and item.kind == "runs" and bool(item.mapping)


def _one(
    item: ReceivedFile, brief: Brief, plan: pd.DataFrame | None, told: Gathered
) -> tuple[list[Told], list[Finding]]:
    """The rows of one file."""
    before = len(told)
    sheets = grids.of_file(item.name, item.content, told)
    if len(told) > before:
        return [], []
    if item.kind == "run sheet":
        if not any(run_sheets.is_one(grid) for grid in sheets):
            told.add(item.name, item.name, "no run sheet in it", "a run sheet as it was issued, filled in")
            return [], []
        return run_sheets.rows(item.name, sheets, brief, plan, told)
    if item.kind not in TABLES:
        told.add(item.name, item.name, f"a file of kind {cells.shown(item.kind)}", "a kind that is known here")
        return [], []
    layout = layouts.own(brief, item.kind)
    if item.mapping:
        given = next((one for one in brief.received if one.name == item.mapping), None)
        if given is None or given.table != item.kind:
            found = f"it is read by [[received]] {cells.shown(item.mapping)}"
            expected = f"such a table of {item.kind} in campaign.toml"
            told.add(item.name, item.name, found, expected, "Put it back; its name stands in raw/manifest.csv.")
            return [], []
        layout = layouts.declared(brief, given)
    return foreign.rows(item.name, sheets, brief, layout, told)


def _replaced(
    brief: Brief, old: ReceivedFile, new: ReceivedFile, rows: Sequence[Told], plan: pd.DataFrame | None
) -> list[Finding]:
    """Findings of what a file says otherwise than the one that it replaces."""
    aside = Gathered()
    before, _ = _one(old, brief, plan, aside)
    if len(aside):
        action = "none: the later file counts"
        expected = "a file to compare with"
        return [finding("note", "replaced", found=f"{old.name}: it cannot be read any more", expected=expected,
                        action=action)]  # fmt: skip
    if _old(new, brief):
        before, rows = (old_lines.as_runs(one, brief, aside)[0] for one in (before, rows))
    earlier = {_key(row): row for row in before}
    later = {_key(row): row for row in rows}
    changed: dict[tuple[str | None, str | None, str], list[str]] = {}
    for key, row in later.items():
        was = earlier.get(key)
        for column, entry in row.cells.items() if was else ():
            one, other = was.text(column), entry.text or ""
            if not same(brief, row.table, column, one, other):
                what = _said(row)
                of = (row.text("run_id") or None, row.text("part_id") or None, column)
                told = f"{one or 'blank'} -> {other or 'blank'} ({entry.file} {entry.where})"
                changed.setdefault(of, []).append(told if row.table == "runs" else f"{what}: {told}")
    gone = [_said(row) for key, row in earlier.items() if key not in later]
    action = f"none: {new.name} counts; {old.name} stays as it is"
    made = [
        finding(
            "note",
            "replaced",
            run_id=run,
            part_id=part if column != "part_id" else None,
            column=column,
            found=some(words, 3),
            expected=f"as {old.name} had it",
            action=action,
        )
        for (run, part, column), words in changed.items()
    ]
    if gone:
        found = f"lines that are gone: {some(gone)}"
        made.append(finding("note", "replaced", found=found, expected=f"as {old.name} had them", action=action))
    return made


def _said(row: Told) -> str:
    """What a row is about, for a message."""
    return " ".join(text for text in (row.text(name) for name in _KEYS.get(row.table, ())) if text)


def _key(row: Told) -> tuple[str, ...]:
    """What a row is about, whatever file it stands in."""
    return (row.table, *(row.text(name).casefold() for name in _KEYS.get(row.table, tuple(row.cells))))
