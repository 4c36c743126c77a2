"""runs.csv and stations.csv become tidy frames; every fault is kept, none is repaired (rank 6)."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from types import MappingProxyType

import pandas as pd

from toolkit import measured_in
from toolkit.brief import axial_points
from toolkit.brief.model import PHASES, Brief, Response
from toolkit.errors import listing
from toolkit.intake import cells, columns
from toolkit.intake.gathered import Finding, Gathered, finding, some
from toolkit.intake.raw import NOTE, Raw, Row, check_header, walk

_VALID_NEEDS = f"A valid run needs it; write '{cells.LOST}' where it was not recorded."
_HOURS_NEEDED = "A valid run needs it; leave the verdict pending until it is known."
_UNIT_NEEDED = {
    "build_id": "the id of the build",
    "part_set_id": "the id of the set of parts that ran",
    "fill_id": "the id of the fill that ran",
}
_VOID_NEEDS = "A void run says why it is void and who judged it (a role, no name)."


def runs(
    raw: Raw, brief: Brief, gathered: Gathered, given: Mapping[str, Collection[str]] = MappingProxyType({})
) -> tuple[pd.DataFrame, list[Finding]]:
    """Runs as they were run, one row a run in the order of the table.

    Parameters
    ----------
    raw : Raw
        Columns run_id, phase, build_id, planned_order, actual_order, one per factor (level names),
        run_time_h, one per held variable, the responses that are measured on the run itself, verdict,
        reason, role. Columns that the protocol bounds may be there, and ``note``.
    brief : Brief
    gathered : Gathered
    given : mapping of str to collection of str
        Run to the columns that its recordings give, which may be blank in the table.

    Returns
    -------
    runs : DataFrame
        Those columns; numbers as float, missing ones NaN; orders whole numbers where every run has one.
    findings : list of Finding
        Figures that are lost or blank.

    Notes
    -----
    A blank verdict is pending; a pending run may leave everything blank but run_id. A void run (invalid, not
    interpretable) needs reason and role, and may leave its figures blank.
    """
    optional = columns.optional(brief)
    check_header(raw, columns.of_runs(brief), optional, gathered)
    made, findings = [], []
    ids: dict[str, int] = {}
    orders: dict[tuple[str, int], int] = {}
    for row in walk(raw, gathered):
        line = _run(row, brief, findings, given.get(row.text("run_id"), ()))
        row.once(ids, "run_id", line["run_id"], "each run once; a repeat of a run has a run_id of its own")
        if line["actual_order"] is not None:
            row.once(
                orders,
                "actual_order",
                (line["phase"], line["actual_order"]),
                "each place in the order of a phase once",
                said=f"place {line['actual_order']}" + (f" of the {line['phase']} phase" if line["phase"] else ""),
            )
        made.append(line)
    names = [
        *columns.RUN_KEYS,
        *columns.kept(brief),
        *brief.factor_names,
        "run_time_h",
        *(item.name for item in columns.held(brief)),
        *(name for name in optional if name in raw.header),
        *columns.JUDGED,
        *([NOTE] if NOTE in raw.header else []),
        *(item.name for item in columns.of_source(brief, "runs")),
    ]
    frame = pd.DataFrame(made, columns=names)
    texts = {"run_id", "phase", "build_id", *columns.kept(brief), *brief.factor_names}
    texts |= {*columns.JUDGED, NOTE}
    for name in names:
        if name in ("planned_order", "actual_order"):
            frame[name] = frame[name].astype("float64" if frame[name].isna().any() else "int64")
        else:
            frame[name] = frame[name].astype("str" if name in texts else "float64")
    return frame, findings


def _as_ran(row: Row, column: str) -> str:
    """What to do where it is not told what a judged run was made with."""
    return (
        f"Write the planned one, if that is what ran; of a file taken in before, note it: wearbook note CAMPAIGN "
        f"{row.text('run_id') or 'RUN'} --column {column} --value WHAT --reason TEXT --role ROLE."
    )


def _run(row: Row, brief: Brief, findings: list[Finding], given: Collection[str]) -> dict[str, object]:
    """One run as a dictionary; faults go with the row, lost figures to the findings."""
    verdict = (row.take("verdict", cells.word, columns.VERDICTS) or "pending").casefold()
    judged, valid, void = verdict != "pending", verdict == "valid", verdict in columns.VOID
    line: dict[str, object] = {"run_id": row.take("run_id", cells.identifier, needed="the id of the run")}
    line["phase"] = row.take("phase", cells.word, PHASES, needed=listing(PHASES) if judged else "")
    # Old data were planned by nobody whose plan is known, and may tell neither order nor hours.
    told = brief.old_data is None
    for name in ("build_id", *columns.kept(brief)):
        needed = _UNIT_NEEDED[name] if judged else ""
        line[name] = row.take(name, cells.identifier, needed=needed, remedy=_as_ran(row, name) if told else "")
    for name in ("planned_order", "actual_order"):
        line[name] = row.take(name, cells.whole, needed="a whole number from 1" if judged and told else "")
    for factor in brief.factors:
        line[factor.name] = row.take(
            factor.name,
            cells.level,
            factor,
            centre=brief.plan.centre_points > 0 or axial_points.there(brief),
            also=axial_points.added(brief, factor),
            needed=f"the level of {factor.name} as run" if judged else "",
            remedy=_as_ran(row, factor.name) if told else "",
        )
    hours = valid and told and "run_time_h" not in given
    line["run_time_h"] = row.take(
        "run_time_h", _hours, hours, needed="a number (h)" if hours else "", remedy=_HOURS_NEEDED
    )
    lost = []
    for item in columns.held(brief):
        line[item.name] = row.take(
            item.name,
            cells.measurement,
            item.name,
            remedy=_VALID_NEEDS,
            needed=f"a number{_in(item.name)}" if valid and item.name not in given else "",
        )
        lost += [item.name] if row.text(item.name).casefold() == cells.LOST else []
    for name in columns.bounded(brief):
        line[name] = row.take(name, cells.measurement, name, low=0.0)
        lost += [name] if row.text(name).casefold() == cells.LOST else []
    for name in columns.covariates(brief):
        line[name] = row.take(name, cells.measurement, name)
        lost += [name] if row.text(name).casefold() in ("", cells.LOST) else []
    for item in columns.of_source(brief, "runs"):
        line[item.name] = row.take(item.name, cells.measurement, item.name)
        lost += [item.name] if row.text(item.name).casefold() in ("", cells.LOST) else []
    needed = {"reason": "why the run is void", "role": "the role of who judged it"} if void else {}
    for name in ("reason", "role"):
        line[name] = row.take(name, cells.in_words, needed=needed.get(name, ""), remedy=_VOID_NEEDS) or ""
    for name in (name for name in lost if valid and name not in given):
        findings.append(
            finding(
                "note",
                "lost",
                run_id=line["run_id"],
                column=name,
                found=row.text(name) or "blank",
                expected=f"a number{_in(name)}",
                action="enter the figure if it is found; it is never taken as nought",
            )
        )
    return {**line, "verdict": verdict, NOTE: cells.in_words(row.text(NOTE))}


def stations(
    raw: Raw, brief: Brief, known: Collection[str] | None, gathered: Gathered, *, valid: Collection[str] = ()
) -> tuple[pd.DataFrame, list[Finding]]:
    """Readings of stations, one row a reading in the order of the table.

    Parameters
    ----------
    raw : Raw
        Columns run_id, part_id, station_id, reading, state (where stations are measured in states) and one
        per response that has stations; ``note`` may be there.
    brief : Brief
    known : collection of str or None
        The runs there are; None when they are not known and cannot be checked.
    gathered : Gathered
    valid : collection of str
        The valid runs; lost readings of others need no finding.

    Returns
    -------
    readings : DataFrame
        Those columns; a lost or blank reading is NaN.
    findings : list of Finding
        One for each run and response with lost readings, and one with blank ones.
    """
    responses = columns.of_source(brief, "stations")
    states = columns.states(brief)
    check_header(raw, columns.of_stations(brief), (), gathered)
    made, seen = [], {}
    lost: dict[tuple[str, str, str], list[str]] = {}
    keys = (*columns.STATION_KEYS, *(["state"] if states else []))
    for row in walk(raw, gathered):
        line = _station(row, responses, known, states)
        key = tuple(line[name] for name in keys)
        if None not in key:
            row.once(seen, "reading", key, "each reading of a station once in each state")
        texts = {item.name: row.text(item.name).casefold() for item in responses}
        empty = not any(texts.values())
        for name, text in texts.items():
            if line["run_id"] in valid and (text == cells.LOST or (text == "" and empty)):
                lost.setdefault((str(line["run_id"]), name, text or "blank"), []).append(_reading(line))
        made.append(line)
    names = [*columns.of_stations(brief), *([NOTE] if NOTE in raw.header else [])]
    frame = pd.DataFrame(made, columns=names)
    for name in names:
        numeric = name in {item.name for item in responses}
        frame[name] = frame[name].astype("float64" if numeric or name == "reading" else "str")
    if not frame["reading"].isna().any():
        frame["reading"] = frame["reading"].astype("int64")
    return frame, [
        finding(
            "note",
            "lost",
            run_id=run,
            column=name,
            found=f"{len(places)} {word}: {some(places)}",
            expected="a reading",
            action="read it again if the part is still there; it is never taken as nought",
        )
        for (run, name, word), places in lost.items()
    ]


def _station(
    row: Row, responses: Sequence[Response], known: Collection[str] | None, states: Sequence[str]
) -> dict[str, object]:
    """One reading as a dictionary; faults go with the row."""
    line: dict[str, object] = {"run_id": run_of(row, known)}
    line["part_id"] = row.take("part_id", cells.identifier, needed="the id of the part")
    line["station_id"] = row.take("station_id", cells.identifier, needed="the id of the station")
    line["reading"] = row.take("reading", cells.whole, needed="a whole number from 1")
    if columns.SESSION in row.texts:
        line[columns.SESSION] = _session(row, responses)
    placed = True
    if states:
        always = all(item.stations and item.stations.states for item in responses)
        line["state"] = row.take("state", cells.word, states, needed=" or ".join(states) if always else "") or ""
        placed = bool(line["state"]) or (row.text("state") == "" and not always)
    for item in responses:
        line[item.name] = row.take(item.name, cells.measurement, item.name)
        own = item.stations.states if item.stations else ()
        if states and placed and line[item.name] is not None:
            _state_fits(row, item.name, str(line["state"]), own, (states[-1], ""))
    return {**line, NOTE: cells.in_words(row.text(NOTE))}


def _session(row: Row, responses: Sequence[Response]) -> str:
    """The session a reading was taken in; a fault where there is a figure and none is told."""
    measured = any(row.text(item.name).casefold() not in ("", cells.LOST) for item in responses)
    needed = "the session it was taken in, as in raw/masters.csv" if measured else ""
    return row.take(columns.SESSION, cells.identifier, needed=needed) or ""


def _state_fits(row: Row, column: str, state: str, own: Sequence[str], plain: Sequence[str]) -> None:
    """A fault when a response has a figure in a state that it is not measured in."""
    if own and state not in own:
        row.fault(
            column,
            "state",
            f"a figure in a row {f'of state {state}' if state else 'without a state'}",
            f"figures of {column} in rows of state {' or '.join(own)}",
        )
    elif not own and state not in plain:
        row.fault(
            column,
            "state",
            f"a figure in a row of state {state}",
            f"figures of {column}, which is wear as read, in rows of state {plain[0]} or without a state",
        )


def run_of(row: Row, known: Collection[str] | None) -> str | None:
    """The run a row belongs to; a fault when there is no such run."""
    found = row.take("run_id", cells.identifier, needed="the id of the run")
    if found is not None and known is not None and found not in known:
        row.fault(
            "run_id",
            "unknown run",
            f"unknown run {cells.shown(found)}",
            "a run of the table of runs",
            lambda: cells.same_name(found, known) or "Enter the run there first, or correct the id.",
        )
    return found


def _hours(text: str, valid: bool) -> float | None | cells.Problem:
    """Hours, not negative; a void or pending run may have lost them."""
    if valid and text.casefold() == cells.LOST:
        return cells.Problem("lost", cells.shown(text), "a number (h)", _HOURS_NEEDED)
    return cells.measurement(text, "run_time_h", low=0.0) if not valid else cells.number(text, "run_time_h", low=0.0)


def _reading(line: dict[str, object]) -> str:
    """A reading in words: 'station 4 reading 1 after'."""
    return f"station {line['station_id']} reading {line['reading']} {line.get('state', '')}".strip()


def _in(column: str) -> str:
    """What a column is measured in, in brackets, to append."""
    return f" ({measured_in.shown(column)})" if measured_in.shown(column) else ""
