"""Files in raw/traces become traces: position and height of one station in one state, and where they stand (rank 6).

Reads and never writes. Names of files are only compared with a pattern; none leads out of the folder.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from toolkit import measured_in
from toolkit.brief.metrology import TRACE_KEYS, TRACE_VALUES, Traces
from toolkit.brief.model import Brief
from toolkit.errors import listing
from toolkit.intake import cells, csv_text, typed
from toolkit.intake.gathered import Finding, Gathered, finding
from toolkit.intake.raw import Raw, walk

FOLDER = "raw/traces"
STATES = ("before", "after")
MOST_FILES = 2_000
_NEEDED = ("part_id", "station_id", "state")
_ALL_COMMAS = 'Where all figures have commas, write decimal = "comma" in [[traces]].'
Figure = float | None | cells.Problem


@dataclass(frozen=True, eq=False)
class Trace:
    """One trace.

    Attributes
    ----------
    response, part_id, station_id, state : str
    run_id : str
        Empty where file and name do not tell it.
    reading : int
    session_id : str
    position : ndarray, shape (readings,)
        Rising, as ``position_in`` of its rule.
    height : ndarray, shape (readings,)
        Micrometre.
    left_out : int
        Lines without a height.
    where : str
        The file, and the line it starts on.
    """

    response: str
    run_id: str
    part_id: str
    station_id: str
    state: str
    reading: int
    session_id: str
    position: np.ndarray
    height: np.ndarray
    left_out: int
    where: str


def read(folder: Path | str, brief: Brief, inputs: dict[str, str], told: Gathered) -> tuple[list[Trace], list[Finding]]:
    """Every trace in raw/traces that a rule of the brief names, in the order of the names of their files.

    Parameters
    ----------
    folder : Path
        The campaign's folder.
    brief : Brief
    inputs : dict
        The checksum of every file read is entered here.
    told : Gathered
        Faults are kept here, each with file, line and column.

    Returns
    -------
    traces : list of Trace
    findings : list of Finding
        Files that no rule names, and lines without a height.
    """
    place = Path(folder) / FOLDER
    if not place.is_dir():
        return [], []
    names = sorted(path.name for path in place.iterdir() if not path.name.startswith("."))
    if len(names) > MOST_FILES:
        told.add(FOLDER, FOLDER, f"{len(names)} files", f"at most {MOST_FILES}", "Put several traces into one file.")
        return [], []
    made: list[Trace] = []
    unread = []
    for name in names:
        full = f"{FOLDER}/{name}"
        rules = [(rule, found) for rule in brief.traces if (found := _pattern(rule).fullmatch(name)) is not None]
        if not rules:
            unread.append(name)
            continue
        if not (place / name).resolve().is_relative_to(Path(folder).resolve()):
            told.add(full, full, "a link that leads out of the campaign", "a file", "Copy the file itself here.")
            continue
        raw, checksum = csv_text.read(Path(folder), full, told, any_sign=True)
        if checksum is not None:
            inputs[full] = checksum
        for rule, found in rules if raw is not None else ():
            made += _of_file(raw, rule, found.groupdict(), told)
    findings = [_unread(unread)] if unread else []
    return made, [*findings, *(_left_out(item) for item in made if item.left_out)]


def names(folder: Path) -> list[str]:
    """The files in raw/traces, by their path in the campaign's folder, sorted."""
    found = sorted((folder / FOLDER).glob("*.csv"))
    return [path.relative_to(folder).as_posix() for path in found if not path.name.startswith(".")]


def _pattern(rule: Traces) -> re.Pattern[str]:
    """The pattern of names of a rule."""
    parts = re.split(r"(\{[a-z_]+\}|\*)", rule.files)
    words = {"*": ".*", "": ""}
    return re.compile(
        "".join(
            words[part] if part in words else f"(?P<{part[1:-1]}>[^_]+)" if part[0] == "{" else re.escape(part)
            for part in parts
        )
    )


def _of_file(raw: Raw, rule: Traces, named: Mapping[str, str], told: Gathered) -> list[Trace]:
    """The traces of one file by one rule."""
    columns = _columns(raw, rule, named, told)
    if columns is None:
        return []
    groups: dict[tuple[str, ...], list[tuple[int, float, float | None]]] = {}
    for row in walk(raw, told):
        key = []
        for name in TRACE_KEYS:
            text = row.text(columns[name]) if name in columns else named.get(name, "")
            key.append(_key(name, text, columns, row))
        if rule.position_in and None not in key:
            at = row.take(columns["position"], _figure, rule.decimal, cells.number, needed="a position")
            height = row.take(columns["height"], _figure, rule.decimal, cells.measurement)
            if at is not None:
                groups.setdefault(tuple(str(part) for part in key), []).append((row.number, at, height))
    made = []
    scale = float(measured_in.converted("1", rule.height_in, "height_um"))
    for key, points in groups.items():
        texts = dict(zip(TRACE_KEYS, key, strict=True))
        where = f"{raw.name} {raw.unit} {points[0][0]}"
        twice = _twice(points)
        if twice is not None:
            told.add(
                raw.name,
                raw.place(twice, columns["position"]),
                "this position stands twice in one trace",
                "each position once",
                "Several readings of a station need a column or a name that tells them apart.",
                column=columns["position"],
                kind="twice",
            )
            continue
        known = sorted((at, height) for _, at, height in points if height is not None)
        made.append(
            Trace(
                rule.response,
                texts["run_id"],
                texts["part_id"],
                texts["station_id"],
                texts["state"],
                int(texts["reading"] or 1),
                texts["session_id"],
                np.array([at for at, _ in known]),
                np.array([height for _, height in known]) * scale,
                len(points) - len(known),
                where,
            )
        )
    return made


def _figure(text: str, decimal: str, reader: Callable[[str, str], Figure]) -> Figure:
    """A position or a height, its decimal mark as the brief declares it."""
    if decimal == "point":
        made = reader(text, "")
        if isinstance(made, cells.Problem) and made.kind == "comma":
            return replace(made, remedy=f"{made.remedy} {_ALL_COMMAS}")
        return made
    plain = typed.of_text(text, typed.Column("", "number", decimal=decimal))
    return plain if isinstance(plain, cells.Problem) else reader(plain.text, "")


def _key(name: str, text: str, columns: Mapping[str, str], row: object) -> str | None:
    """What tells one trace from another; None, and a fault kept, where it is not told."""
    needed = name in _NEEDED
    value: object = text
    if text == "":
        value = cells.Problem("blank", "the cell is blank", f"the {name}") if needed and name in columns else ""
    elif name == "state":
        value = cells.word(text, STATES)
    elif name == "reading":
        value = cells.whole(text)
    else:
        value = cells.identifier(text)
    if isinstance(value, cells.Problem):
        place = columns.get(name, name)
        row.fault(place, value.kind, value.found, value.expected, value.remedy)  # type: ignore[attr-defined]
        return None
    return str(value)


def _columns(raw: Raw, rule: Traces, named: Mapping[str, str], told: Gathered) -> dict[str, str] | None:
    """Our column to the heading of the file; None, and a fault kept, where one is missing."""
    there = {heading.strip().casefold(): heading for heading in raw.header}
    found, lacking = {}, []
    for name in (*TRACE_VALUES, *TRACE_KEYS):
        heading = rule.columns.get(name, name)
        if name in named:
            continue
        if heading.strip().casefold() in there:
            found[name] = there[heading.strip().casefold()]
        elif name in rule.columns or name in (*TRACE_VALUES, *_NEEDED):
            lacking.append(heading)
    twice = [
        heading for at, heading in enumerate(raw.header) if heading in raw.header[:at] and heading in found.values()
    ]
    where = f"{raw.name} {raw.unit} 1"
    for heading in twice:
        told.add(raw.name, where, f"column {cells.shown(heading)} stands twice", "each column once", kind="twice")
    for heading in lacking:
        told.add(
            raw.name,
            where,
            f"no column {cells.shown(heading)} among {listing(raw.header)}",
            "the headings that [[traces]] names, or names of files that tell it",
            "Correct columns or files of [[traces]] in campaign.toml, or the heading.",
            kind="no column",
        )
    return None if lacking or twice else found


def _twice(points: Sequence[tuple[int, float, float | None]]) -> int | None:
    """The line of a position that another line has too; None when there is none."""
    seen: set[float] = set()
    for number, at, _ in points:
        if at in seen:
            return number
        seen.add(at)
    return None


def _unread(names: Sequence[str]) -> Finding:
    """The finding of files that no rule names."""
    shown = ", ".join(cells.said(name) for name in names[:6])
    more = f" and {len(names) - 6} more" if len(names) > 6 else ""
    return finding(
        "note",
        "not read",
        found=f"{FOLDER}: {shown}{more}",
        expected="files that a [[traces]] of campaign.toml names",
        action="correct files of [[traces]], or take them away",
    )


def _left_out(item: Trace) -> Finding:
    """The finding of lines without a height."""
    return finding(
        "note",
        "trace with gaps",
        run_id=item.run_id or None,
        part_id=item.part_id,
        column=item.response,
        found=f"{item.where}: {item.left_out} line{'s' * (item.left_out > 1)} without a height",
        expected="a height in every line",
        action="left out of the trace; nothing is put in their place",
    )
