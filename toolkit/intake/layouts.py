"""Which column of a received table is which of ours: by our own headings, or by a [[received]] table (rank 6)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from toolkit.brief.check_received import known
from toolkit.brief.model import Brief
from toolkit.brief.received_table import ReceivedTable
from toolkit.brief.record_columns import NOTE, is_fitted
from toolkit.intake import columns
from toolkit.intake.grids import compared
from toolkit.intake.typed import Column

UNIT_BESIDE = " measured in"
REMARK = "remark"
# What tells a row of a table from another one, as far as whoever measures knows it.
KEYS = {
    "runs": ("run_id",),
    "stations": ("part_id", "station_id", "reading"),
    "oil": ("sample_id",),
    "history": columns.HISTORY,
}
# Columns that are printed on a blank table: they say nothing by themselves.
PRINTED = {
    "runs": ("run_id", "phase", "build_id", "part_set_id", "fill_id", "planned_order"),
    "stations": ("run_id", "part_id", "station_id", "reading", "state"),
    "oil": ("run_id", "sample_id", "at_h"),
    "history": (),
}


@dataclass(frozen=True)
class Layout:
    """How the columns of a received table are read.

    Attributes
    ----------
    name : str
        The [[received]] table, for messages; empty for our own headings.
    table : str
        runs, stations, oil or history.
    columns : mapping of str to str
        Our column to its heading.
    needed : tuple of str
        Our columns whose headings must be there.
    units : mapping of str to str
        Our column to the unit of theirs, where it was declared.
    always : mapping of str to str
    words : mapping of str to mapping
        Factor to their word, as it is compared, to our level.
    decimal : str
    sheet : str or None
    """

    name: str
    table: str
    columns: Mapping[str, str]
    needed: tuple[str, ...]
    units: Mapping[str, str] = field(default_factory=dict)
    always: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    decimal: str = ""
    sheet: str | None = None


def own(brief: Brief, table: str) -> Layout:
    """The layout of our own headings."""
    names = {name: name for name in ((*columns.HISTORY, NOTE) if table == "history" else known(brief, table))}
    if table == "oil":
        names |= {f"{item.name}{columns.BELOW}": f"{item.name}{columns.BELOW}" for item in brief.responses}
    state = ("state",) if table == "stations" and columns.states(brief) else ()
    return Layout("", table, names, (*KEYS[table], *state))


def declared(brief: Brief, given: ReceivedTable) -> Layout:
    """The layout of a [[received]] table."""
    return Layout(
        given.name,
        given.table,
        given.columns,
        tuple(given.columns),
        given.measured_in,
        given.always,
        {factor: {compared(said): level for level, said in words.items()} for factor, words in given.levels.items()},
        given.decimal,
        given.sheet,
    )


def column(
    brief: Brief, layout: Layout, name: str, *, unit: str = "", commas: bool = False, day_first: bool = False
) -> Column:
    """What a column of ours takes."""
    unit = unit or layout.units.get(name, "")
    return Column(name, kind_of(brief, layout.table, name), unit, layout.decimal, commas, day_first)


def kind_of(brief: Brief, table: str, name: str) -> str:
    """What a column of ours holds, as ``typed.Column`` has it."""
    if name in ("reason", NOTE):
        return "free"
    if name in ("started_at", "stopped_at"):
        return "when"
    # The order of an old table may be told by dates.
    if name == "actual_order" and brief.old_data is not None:
        return "text"
    if table == "history":
        return "number" if name in ("sd", "df") else "text"
    if any(item.name == name and item.numeric for item in brief.factors):
        return "level"
    if table == "oil" and not name.endswith(columns.BELOW):
        oil = {item.name for item in columns.of_source(brief, "oil")}
        if name in oil or columns.is_element(name):
            return "amount"
    if name in ("planned_order", "actual_order", "reading"):
        return "whole"
    numbers = {"at_h", "run_time_h", *brief.protocol.max}
    numbers |= {item.name for item in (*brief.held, *brief.responses)}
    return "number" if name in numbers else "text"


def fitted(name: str) -> bool:
    """True for what was fitted and when, which runs.csv has no column for."""
    return is_fitted(name)
