"""Hand-kept tables and files that were taken in, one row for what they tell of the same thing (rank 6).

A blank gives way to a value. Two values must be equal; else it is a fault that names both cells.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from toolkit.brief.model import Brief
from toolkit.brief.record_columns import NOTE, is_fitted
from toolkit.intake import cells, layouts
from toolkit.intake.foreign import says_anything
from toolkit.intake.gathered import Gathered
from toolkit.intake.raw import Entry, Origin, Raw
from toolkit.intake.told import Told

Key = tuple[str, ...]
Texts = Callable[[str], str]
_FIRST_RECEIVED = 10**9
NOTED = "the note"


@dataclass(frozen=True)
class Together:
    """A table made of both, and each of its rows' cells with where they come from.

    ``rows`` holds the rows that a file or a note tells of, ``before`` what was told of those that notes put right.
    """

    raw: Raw | None
    rows: Mapping[Key, Mapping[str, Entry]] = field(default_factory=dict)
    before: Mapping[Key, Mapping[str, Entry]] = field(default_factory=dict)


def run_key(texts: Texts) -> Key | None:
    """A run."""
    return (texts("run_id"),) if texts("run_id") else None


def reading_key(texts: Texts) -> Key | None:
    """A reading of a station of a part in a state."""
    found = (texts("run_id"), texts("part_id"), texts("station_id"))
    reading = cells.whole(texts("reading"))
    return (*found, str(reading), texts("state").casefold()) if all(found) and isinstance(reading, int) else None


def sample_key(texts: Texts) -> Key | None:
    """An oil sample."""
    return (texts("sample_id"),) if texts("sample_id") else None


def same(brief: Brief, table: str, column: str, one: str, other: str) -> bool:
    """True when two cells say the same: 92.50 is 92.5, Valid is valid."""
    if one == other:
        return True
    if layouts.kind_of(brief, table, column) in ("number", "amount", "level", "whole"):
        try:
            return one[:1] == other[:1] == "<" and float(one[1:]) == float(other[1:]) or float(one) == float(other)
        except ValueError:
            return False
    return column in ("verdict", "phase", "state") and one.casefold() == other.casefold()


def together(
    table: str,
    live: Raw | None,
    rows: Sequence[Told],
    brief: Brief,
    key: Callable[[Texts], Key | None],
    header: Sequence[str],
    told: Gathered,
    *,
    notes: Mapping[Key, Mapping[str, Entry]] | None = None,
    planned: Mapping[Key, Mapping[str, Entry]] | None = None,
) -> Together:
    """One table of what hand-kept tables, files and notes tell.

    Parameters
    ----------
    table : str
        runs, stations or oil.
    live : Raw or None
        The hand-kept table.
    rows : sequence of Told
        Of the files, in the order in which they were taken in.
    brief : Brief
    key : callable
        Tells rows of the same thing from others; None: the row stands alone.
    header : sequence of str
        The columns that the table must have.
    told : Gathered
        Cells that contradict each other are kept here.
    notes : mapping, optional
        By row, cells that a note put right: they count whatever else is told.
    planned : mapping, optional
        By row, what stands for a row of which nothing is told but a note.
    """
    notes, planned = notes or {}, planned or {}
    if not rows and not notes:
        return Together(live)
    name = live.name if live else f"raw/{table}.csv"
    groups: dict[Key, list[tuple[int, dict[str, Entry]]]] = {}
    made: list[tuple[int, dict[str, Entry], tuple[str, str]]] = []
    sources: dict[Key, set[str]] = {}
    alone: list[tuple[int, dict[str, Entry], tuple[str, str]]] = []
    known = {key(_texts(row.cells)) for row in rows} | set(notes)
    kept: list[tuple[int, tuple[str | None, ...]]] = []
    for number, line in live.rows if live else ():
        there = _live(live, number, line)
        found = key(_texts(there))
        if found is None or found not in known or found in groups:
            kept.append((number, line))
            continue
        groups[found] = [(number, there)]
    for at, row in enumerate(rows):
        found = key(_texts(row.cells))
        number = _FIRST_RECEIVED + at
        if found is None or row.file in sources.get(found, ()):
            alone.append((number, dict(row.cells), (row.file, row.where)))
            continue
        sources.setdefault(found, set()).add(row.file)
        groups.setdefault(found, []).append((number, dict(row.cells)))
    for found in notes:
        groups.setdefault(found, [])
    whole: dict[Key, Mapping[str, Entry]] = {}
    before: dict[Key, Mapping[str, Entry]] = {}
    for at, (found, members) in enumerate(groups.items()):
        joined = _joined(table, brief, name, [entries for _, entries in members], told)
        if found in notes:
            before[found] = joined
            joined = {**(joined or planned.get(found, {})), **notes[found]}
        first = next(((entry.file, entry.where) for entry in joined.values()), (NOTED, ""))
        number = members[0][0] if members else 2 * _FIRST_RECEIVED + at
        made.append((number, joined, first))
        whole[found] = joined
    made += alone
    return Together(_raw(table, live, name, header, kept, made), whole, before)


def _texts(entries: Mapping[str, Entry]) -> Texts:
    """The texts of a row by column."""
    return lambda column: (entries[column].text or "") if column in entries else ""


def _live(live: Raw, number: int, line: Sequence[str | None]) -> dict[str, Entry]:
    """A row of the hand-kept table as cells."""
    entries: dict[str, Entry] = {}
    for name, text in zip(live.header, line, strict=True):
        entries.setdefault(name, Entry(cells.clean(text or ""), live.name, f"{live.unit} {number}"))
    return entries


def _joined(
    table: str, brief: Brief, live: str, members: Sequence[dict[str, Entry]], told: Gathered
) -> dict[str, Entry]:
    """The cells of several rows of the same thing; a row in which nothing was filled in gives way as a whole."""
    filled = [entries for entries in members if says_anything(table, brief, entries)] or list(members[:1])
    joined: dict[str, Entry] = {}
    for entries in [*filled, *(one for one in members if one not in filled)]:
        for column, entry in entries.items():
            before = joined.get(column)
            if before is None or (_blank(column, before) and entry.text != ""):
                joined[column] = entry
            elif entry.text is None or before.text is None or _blank(column, entry) or entries not in filled:
                continue
            elif not same(brief, table, column, before.text, entry.text):
                _contradicted(column, before, entry, live, told)
    return joined


def _blank(column: str, entry: Entry) -> bool:
    """True for a cell that says nothing: blank, or a verdict that is pending."""
    return entry.text == "" or (column == "verdict" and (entry.text or "").casefold() == "pending")


def _contradicted(column: str, before: Entry, entry: Entry, live: str, told: Gathered) -> None:
    """Keep the fault of a cell that says another thing than one before it."""
    remedy = (
        f"Make the two equal, or take the line out of {live}."
        if before.file == live
        else f"If this file is right, take it in with --replace {before.file.rpartition('/')[2]}, --reason and --role."
    )
    told.add(
        entry.file,
        entry.place(column),
        cells.shown(entry.text or ""),
        f"{cells.shown(before.text or '')}, as {before.file} {before.where} has it",
        remedy,
        column=column,
        kind="told twice",
    )


def _raw(
    table: str,
    live: Raw | None,
    name: str,
    header: Sequence[str],
    kept: Sequence[tuple[int, tuple[str | None, ...]]],
    made: Sequence[tuple[int, Mapping[str, Entry], tuple[str, str]]],
) -> Raw:
    """The rows as one raw table that knows where each cell comes from."""
    own = live.header if live else tuple(header)
    # What was fitted is no column of the runs.
    beside = set(own)
    more = [column for column in header if column not in own] if live else []
    more += [
        column
        for _, entries, _ in made
        for column, entry in entries.items()
        if column not in beside
        and not (table == "runs" and is_fitted(column))
        and not (column == NOTE and entry.text == "")
    ]
    columns = (*own, *dict.fromkeys(more))
    lines: dict[int, tuple[str | None, ...]] = {
        # A column that the hand-kept table lacks is told once, not again as a blank in each of its lines.
        number: (*line, *([None] * (len(columns) - len(own))))
        for number, line in kept
    }
    origins: dict[int, Origin] = {}
    for number, entries, (file, where) in made:
        lines[number] = tuple(entries[column].text if column in entries else "" for column in columns)
        received = {column: entry for column, entry in entries.items() if entry.file != name}
        if received:
            origins[number] = Origin(received, *((file, where) if number >= _FIRST_RECEIVED else ("", "")))
    ordered = tuple(sorted(lines.items()))
    return Raw(
        name,
        live.unit if live else "line",
        columns,
        ordered,
        live.broken if live else (),
        origins,
        live.header if live else None,
    )
