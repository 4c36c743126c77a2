"""Checks of [[received]]: how tables with headings of their own are read (rank 2).

None stands for what was refused already; every function gives what it finds.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from toolkit import measured_in
from toolkit.brief import check_factors
from toolkit.brief.found import Found, Loc, quoted, repeats, text, word
from toolkit.brief.model import Brief
from toolkit.brief.received_table import ReceivedTable
from toolkit.brief.record_columns import (
    FERROUS,
    FITTED,
    JUDGED,
    KEPT,
    NOTE,
    OIL_ACCOUNT,
    OIL_KEYS,
    OIL_LAB,
    RUN_KEYS,
    STATION_KEYS,
)
from toolkit.errors import nearest

TABLES = ("runs", "stations", "oil")
DECIMALS = ("comma", "point")
MOST = 40
_ELEMENT = re.compile("[a-z]{1,2}_ppm")
_SIGN = re.compile(r"[/\\:\x00]")


def received(brief: Brief) -> list[Found]:
    """What is wrong with the tables that come back with headings of their own."""
    made = []
    given = [(at, item) for at, item in enumerate(brief.received or ()) if item is not None]
    if len(given) > MOST:
        made.append(Found(("received",), f"{len(given)} of [[received]]", f"{MOST} at most"))
    made += repeats(((("received", at, "name"), item.name) for at, item in given), "received table")
    for at, item in given:
        loc: Loc = ("received", at)
        made += text((*loc, "name"), item.name, 60)
        made += word((*loc, "table"), item.table, TABLES)
        made += text((*loc, "files"), item.files, 120, may_be_empty=True)
        if item.files and _SIGN.search(item.files):
            made.append(Found((*loc, "files"), quoted(item.files), "a pattern of file names, without folders"))
        made += text((*loc, "sheet"), item.sheet, 31)
        made += word((*loc, "decimal"), item.decimal, DECIMALS) if item.decimal else []
        made += _columns(brief, item, loc)
        made += _units(item, loc)
        made += _levels(brief, item, loc)
    return made


def known(brief: Brief, table: str) -> tuple[str, ...]:
    """The columns that a received table of this kind may bring."""
    responses = [item for item in brief.responses if item is not None and item.name]
    traced = {item.response for item in brief.traces if item is not None}
    own = [item.name for item in responses if item.source == table and item.name not in traced]
    if table == "stations":
        states = ("state",) if any(item.stations and item.stations.states for item in responses) else ()
        read_off = any(item is not None and item.response in own for item in brief.masters)
        session = ("session_id",) if read_off else ()
        return (*STATION_KEYS, *session, *states, *own, NOTE)
    if table == "oil":
        return (*OIL_KEYS, *own, *OIL_ACCOUNT, *OIL_LAB, FERROUS, NOTE)
    held = [item.name for item in brief.held if item is not None and item.name]
    factors = [item.name for item in brief.factors if item is not None and item.name]
    bounded = list(brief.protocol.max or {})
    every = [*RUN_KEYS, *KEPT, *factors, "run_time_h", *held, *bounded, *own, *JUDGED, *FITTED, NOTE]
    return tuple(dict.fromkeys(every))


def _columns(brief: Brief, item: ReceivedTable, loc: Loc) -> list[Found]:
    """What is wrong with the columns that are read, and with those that are always the same."""
    made = []
    columns, always = item.columns, item.always or {}
    allowed = known(brief, item.table) if item.table in TABLES else ()
    for key, given in (("columns", columns), ("always", always)):
        for name, value in (given or {}).items():
            here = (*loc, key, name)
            if allowed and name not in allowed and not (item.table == "oil" and _ELEMENT.fullmatch(name)):
                # The table's own kind or a response's own name may be what is wrong.
                rests = ((*loc, "table"), ("response",), *(("response", at) for at in range(len(brief.responses))))
                told = f"{', '.join(allowed)}{' and other <element>_ppm' if item.table == 'oil' else ''}"
                made.append(Found(here, f"unknown column {quoted(name)}", told, nearest(name, allowed), rests))
            made += text(here, value, 200)
    if columns is None:
        return made
    if not columns:
        made.append(Found((*loc, "columns"), "no column", "a column of the file at least: { our column = ... }"))
        return made
    for name in always:
        if name in columns:
            words = f"{quoted(name)} also stands in columns"
            made.append(Found((*loc, "always", name), words, "a column once", "Delete one of them."))
    headings = {name: value.strip().casefold() for name, value in columns.items() if value is not None}
    for at, (name, value) in enumerate(headings.items()):
        earlier = next((one for one in list(headings)[:at] if headings[one] == value), None)
        if earlier is not None and value:
            words = f"the heading {quoted(columns[name])} is also that of {earlier}"
            made.append(Found((*loc, "columns", name), words, "each heading once"))
    there = {**columns, **always}
    # Old tables may name no runs: they are told apart by their lines then.
    runs = ["run_id"] if getattr(brief, "old_data", None) is None else []
    needs = {"stations": ["part_id", "station_id", "reading"], "oil": ["sample_id"], "runs": runs}
    for name in [*needs.get(item.table, []), *(["state"] if "state" in allowed else [])]:
        if name not in there:
            remedy = "Name their heading in columns, or say in always what it is throughout."
            told = f"the column '{name}' of {item.table}"
            made.append(Found((*loc, "columns"), f"no {name}", told, remedy, ((*loc, "always"),)))
    return made


def _units(item: ReceivedTable, loc: Loc) -> list[Found]:
    """What is wrong with the units of their columns."""
    made = []
    for name, unit in (item.measured_in or {}).items():
        here = (*loc, "measured_in", name)
        if item.columns is not None and name not in item.columns:
            made.append(Found(here, f"{quoted(name)} is not among columns", "a column that is read", rests_on=(loc,)))
        elif unit is not None and measured_in.suffix_of(name) is None:
            made.append(Found(here, f"{quoted(name)} is measured in nothing", "a column whose name ends in its unit"))
        elif unit is not None:
            why = measured_in.not_converted(unit, name)
            if why is not None:
                made.append(Found(here, quoted(unit), f"a unit that converts to {measured_in.shown(name)}", why))
    return made


def _levels(brief: Brief, item: ReceivedTable, loc: Loc) -> list[Found]:
    """What is wrong with their words for our levels."""
    made = []
    for factor, words in (item.levels or {}).items():
        here = (*loc, "levels", factor)
        made += check_factors.known_factor(brief, factor, here)
        if not isinstance(words, Mapping):
            continue
        for level, theirs in words.items():
            made += check_factors.levels_known(brief, {factor: level}, (*loc, "levels")) if not made else []
            made += text((*here, level), theirs, 200)
        spoken = [value.strip().casefold() for value in words.values() if value]
        twice = next((value for at, value in enumerate(spoken) if value in spoken[:at]), None)
        if twice is not None:
            made.append(Found(here, f"the word {quoted(twice)} for two levels", "a word of its own for each level"))
        if item.columns is not None and factor not in {**item.columns, **(item.always or {})}:
            words_of = f"words for {quoted(factor)}, which is not among columns"
            made.append(Found(here, words_of, "a column that is read", rests_on=((*loc, "columns"),)))
    return made
