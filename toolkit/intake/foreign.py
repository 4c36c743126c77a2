"""A received table becomes rows of ours: by header, never by position; units, words and decimal marks as declared.

Rank 6. Blank tables of ours that come back filled in, and tables with headings of their own ([[received]]).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from toolkit.brief.model import Brief
from toolkit.brief.record_columns import NOTE
from toolkit.errors import listing, nearest
from toolkit.intake import cells, columns, layouts, typed
from toolkit.intake.gathered import Finding, Gathered, finding, some
from toolkit.intake.grids import Grid, compared
from toolkit.intake.layouts import PRINTED, REMARK, UNIT_BESIDE, Layout
from toolkit.intake.raw import Entry
from toolkit.intake.told import Reading, Told
from toolkit.intake.typed import Column


def rows(
    file: str, grids: Sequence[Grid], brief: Brief, layout: Layout, told: Gathered
) -> tuple[list[Told], list[Finding]]:
    """The rows of a received table that say anything.

    Parameters
    ----------
    file : str
        Its name, for messages.
    grids : sequence of Grid
    brief : Brief
    layout : Layout
    told : Gathered
        Faults of headings and cells are kept here.

    Returns
    -------
    rows : list of Told
        Rows in which nothing was filled in are left out: they are not measured yet.
    findings : list of Finding
        What was converted, what a spreadsheet computed, and what is not read.
    """
    reading = Reading(file, told)
    made: list[Told] = []
    findings: list[Finding] = []
    chosen, unread = _chosen(file, grids, layout, told)
    for grid in chosen:
        found, left = _grid(grid, brief, layout, reading)
        made += found
        unread += left
    if unread:
        findings.append(
            finding(
                "note",
                "not read",
                found=f"{file}: {some(unread)}",
                expected=f"the headings of our table of {layout.table}",
                action="none; declare the table in [[received]] to have more of it read",
            )
        )
    return made, [*reading.findings(), *findings]


def _chosen(file: str, grids: Sequence[Grid], layout: Layout, told: Gathered) -> tuple[list[Grid], list[str]]:
    """The grids to read, and the sheets that are left out; a fault when it cannot be told which."""
    if not layout.name:
        ours = [grid for grid in grids if heading_row(grid, layout) is not None]
        if grids and not ours:
            expected = f"the headings {', '.join(layout.needed)} in one row"
            told.add(file, file, f"no row with the headings of our table of {layout.table}", expected)
        return ours, [f"sheet {cells.shown(str(grid.sheet))}" for grid in grids if grid not in ours]
    if layout.sheet is not None and any(grid.sheet is not None for grid in grids):
        named = [grid for grid in grids if grid.sheet == layout.sheet]
        if not named:
            sheets = [str(grid.sheet) for grid in grids]
            where = f"{file}, [[received]] {cells.shown(layout.name)}"
            there = f"the sheet {cells.shown(layout.sheet)}"
            told.add(file, where, f"filled-in sheets {listing(sheets)}", there, nearest(layout.sheet, sheets))
        return named, []
    if len(grids) > 1:
        where = f"{file}, [[received]] {cells.shown(layout.name)}"
        sheets = listing([str(grid.sheet) for grid in grids])
        told.add(file, where, f"{len(grids)} filled-in sheets ({sheets})", "one", 'Name it: sheet = "...".')
        return [], []
    return list(grids), []


def heading_row(grid: Grid, layout: Layout) -> int | None:
    """The row of a grid that holds the headings; None when it has none of them (our own: not all that are needed)."""
    names = [layout.columns[name] for name in layout.needed]
    return grid.heading_row(names, 1 if layout.name else len(names))


def _grid(grid: Grid, brief: Brief, layout: Layout, reading: Reading) -> tuple[list[Told], list[str]]:
    """The rows of one grid, and the headings over filled cells that are not read."""
    head = heading_row(grid, layout)
    if head is None:
        head = min(grid.rows)
    places, units, unread = _places(grid, head, brief, layout, reading)
    if not set(layout.needed) <= set(places):
        return [], []
    if not {*places, *layout.always} - {*PRINTED[layout.table], NOTE}:
        named = [item.name for item in columns.of_source(brief, layout.table)]
        expected = f"a column {listing(named)}" if named else "something this campaign measures"
        reading.fault("", grid.where(head), cells.Problem("no figures", "no column with figures", expected))
    below = [row for row in sorted(grid.rows) if row > head]
    numeric = [name for name in places if layouts.kind_of(brief, layout.table, name) in ("number", "amount", "level")]
    commas = any(typed.decimal_comma(grid.text(row, places[name])) for row in below for name in numeric)
    dated = [name for name in places if layouts.kind_of(brief, layout.table, name) == "when"]
    days = {name: typed.day_first(grid.text(row, places[name]) for row in below) for name in dated}
    made = []
    kinds: dict[tuple[str, str], Column] = {}
    for row in below:
        if not any(place in grid.rows[row] for place in places.values()):
            continue
        filled: dict[str, Entry] = {}
        for name, place in places.items():
            unit = grid.text(row, units[name]) if name in units else ""
            if (name, unit) not in kinds:
                kinds[name, unit] = layouts.column(
                    brief, layout, name, unit=unit, commas=commas, day_first=days.get(name, False)
                )
            entry = reading.entry(grid, row, place, kinds[name, unit])
            filled[name] = _word(entry, name, brief, layout, reading)
        for name, value in layout.always.items():
            column = layouts.column(brief, layout, name)
            made_of = typed.of_text(value, column)
            text = made_of.text if isinstance(made_of, typed.Typed) else value
            filled[name] = _word(Entry(text, grid.file, grid.where(row)), name, brief, layout, reading)
        if says_anything(layout.table, brief, filled):
            made.append(Told(layout.table, grid.file, grid.where(row), filled))
    filled_in = [place for place in unread if any(place in grid.rows[row] for row in below)]
    sheet = f"sheet {cells.shown(grid.sheet)}, " if grid.sheet is not None else ""
    return made, [f"{sheet}column {cells.shown(grid.text(head, place))}" for place in filled_in]


def _places(
    grid: Grid, head: int, brief: Brief, layout: Layout, reading: Reading
) -> tuple[dict[str, int], dict[str, int], list[int]]:
    """Where our columns stand, where their units stand, and the columns that are not read."""
    headings = grid.headings(head)
    wanted = dict(layout.columns)
    if not layout.name and layout.table == "oil":
        wanted |= {name: name for name in headings if columns.is_element(name)}
    if not layout.name and compared(REMARK) in headings:
        wanted[NOTE] = REMARK
    places, units = {}, {}
    for name, heading in wanted.items():
        there = headings.get(compared(heading), [])
        if len(there) > 1:
            again = ", ".join(grid.where(head, place) for place in there)
            reading.fault("", again, cells.Problem("twice", f"the heading {cells.shown(heading)} twice", "it once"))
        if there:
            places[name] = there[0]
            beside = headings.get(compared(f"{heading}{UNIT_BESIDE}"), []) if not layout.name else []
            if beside:
                units[name] = beside[0]
        elif name in layout.needed:
            known = [grid.text(head, place) for around in headings.values() for place in around]
            of = f" of [[received]] {cells.shown(layout.name)}" if layout.name else ""
            reading.fault(
                "",
                grid.where(head),
                cells.Problem(
                    f"no heading {name}",
                    f"no column headed {cells.shown(heading)}",
                    f"the heading{of} for {name}",
                    nearest(heading, known),
                ),
            )
    used = {*places.values(), *units.values()}
    unread = [] if layout.name else [place for around in headings.values() for place in around if place not in used]
    return places, units, unread


def _word(entry: Entry, name: str, brief: Brief, layout: Layout, reading: Reading) -> Entry:
    """Their word for a level as ours; a word that is neither theirs nor ours is a fault."""
    words = layout.words.get(name)
    if not words or not entry.text:
        return entry
    level = words.get(compared(entry.text))
    if level is None and entry.text not in brief.factor(name).names:
        theirs = next(item.levels[name] for item in brief.received if item.name == layout.name)
        said = list(theirs.values())
        expected = f"{listing(said)}, as [[received]] {cells.shown(layout.name)} has it for {name}"
        problem = cells.Problem("unknown word", cells.shown(entry.text), expected, nearest(entry.text, said))
        reading.fault(name, entry.where, problem)
        return replace(entry, text=None)
    return replace(entry, text=level) if level else entry


def says_anything(table: str, brief: Brief, filled: Mapping[str, Entry]) -> bool:
    """True when anything stands in a row beside what is printed on a blank table; a pending verdict is nothing."""
    printed = {*PRINTED[table], *(brief.factor_names if table == "runs" else ())}
    return any(
        entry.text is None or (entry.text != "" and not (name == "verdict" and entry.text.casefold() == "pending"))
        for name, entry in filled.items()
        if name not in printed
    )
