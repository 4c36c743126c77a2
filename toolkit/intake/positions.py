"""Values of the positions of a run: readings find their position, rows a run and position are made (rank 6).

A station lies in a position by its id (``brief.by_position``); a part that was fitted to another position than the one
it was planned for takes its stations there.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import Brief, Response
from toolkit.brief.positions import AT, POSITION
from toolkit.intake import run_values
from toolkit.intake.fitted import PLACE, Cells, Parts, part_columns, text
from toolkit.intake.gathered import Finding, finding, some


def moved(
    brief: Brief, readings: pd.DataFrame, there: Mapping[str, str]
) -> tuple[pd.DataFrame, list[Finding]]:
    """The readings with the stations of the positions that their parts ran in, and what is to be known of them.

    Parameters
    ----------
    brief : Brief
    readings : DataFrame
        As ``tables.stations`` gives them.
    there : mapping
        Run and position to the part that was fitted there, as ``fitted.parts_of`` gives it.

    Returns
    -------
    readings : DataFrame
        A copy: the k-th station of a part that ran in another position is the k-th station there.
    findings : list of Finding
        note for parts that ran elsewhere; exclude for stations that lie in no position, which are in no value.
    """
    if brief.positions is None or readings.empty:
        return readings, []
    lies = by_position.where_stations_lie(brief)
    ran = {(key.split(PLACE)[0], part): key.split(PLACE)[1] for key, part in there.items() if PLACE in key}
    swapped = alike(brief)
    made, named, told = readings.copy(), [], []
    elsewhere: dict[tuple[str, str, str, str], None] = {}
    lost: dict[str, list[str]] = {}
    for run, part, station in zip(*(readings[key] for key in ("run_id", "part_id", "station_id")), strict=True):
        was, now = lies.get(station), ran.get((run, part))
        if was is None:
            lost.setdefault(run, []).append(station)
        elif now is not None and now != was:
            elsewhere[run, part, was, now] = None
            station = swapped[station, now]
        named.append(station)
    made["station_id"] = named
    for run, part, was, now in elsewhere:
        told.append(
            finding(
                "note",
                "part in another position",
                run_id=run,
                part_id=part,
                column="station_id",
                found=f"stations of {was}, and the part ran in {now}",
                expected=f"stations of {now}",
                action=f"none if the run sheet is right: its readings count for {now}",
            )
        )
    known = f"{next(iter(lies))} to {list(lies)[-1]}"
    for run, stations in lost.items():
        told.append(
            finding(
                "exclude",
                "station in no position",
                run_id=run,
                column="station_id",
                found=f"{some(list(dict.fromkeys(stations)))}",
                expected=f"the ids of the register, {known}",
                action="name the stations as the register does: in no value of a position until then",
            )
        )
    return made, told


def alike(brief: Brief) -> dict[tuple[str, str], str]:
    """Station and position to the station that has the same place among those of the position."""
    made: dict[tuple[str, str], str] = {}
    for response in brief.responses:
        lies = by_position.position_of(brief, response) if response.stations is not None else {}
        held: dict[str, list[str]] = {}
        for station, name in lies.items():
            held.setdefault(name, []).append(station)
        for stations in held.values():
            for at, station in enumerate(stations):
                made |= {(station, name): others[at] for name, others in held.items()}
    return made


def findings(brief: Brief, built: Mapping[str, Cells], parts: Parts) -> list[Finding]:
    """Parts of positions that are not those of the register: unknown, of another level, planned for another place.

    Parameters
    ----------
    brief : Brief
        As tables of runs see it (``by_position.as_recorded``).
    built : mapping
        Run to its cells, those of what was fitted among them.
    parts : Parts

    Returns
    -------
    list of Finding
        exclude (in valid runs) where it is doubtful which part wore, else note.
    """
    told: list[Finding] = []
    for run, row in built.items():
        valid = text(row, "verdict").casefold() == "valid"
        for name in part_columns(row):
            position = name.partition(AT)[2]
            part = parts.code(text(row, name))
            if not position or not part or not parts.lines:
                continue
            planned, line = parts.planned(f"{run}{PLACE}{position}"), parts.line(part)

            def tell(rule: str, found: str, expected: str, action: str, *, doubtful: bool = False) -> None:
                severity = "exclude" if doubtful and valid else "note"  # noqa: B023
                told.append(finding(severity, rule, run_id=run, part_id=part, column=name, found=found,  # noqa: B023
                                    expected=expected, action=action))  # fmt: skip

            again = "judge the run again: look at the part and the run sheet"
            if line is None:
                expected = f"part {planned} of the register" if planned else "a part of the register"
                tell("part unknown", f"part {part} in {position}", expected, again, doubtful=True)
                continue
            for factor in brief.factors:
                kind, _, where = factor.name.partition(AT)
                meant, fitted = line.get(kind, ""), text(row, factor.name)
                if where == position and meant and fitted and meant.casefold() != fitted.casefold():
                    found = f"part {part} in {position} is registered with {kind} {meant}, the run says {fitted}"
                    tell("part of another kind", found, f"a part with {kind} {fitted}", again, doubtful=True)
            if part != planned:
                owner = line.get("run_id", "")
                planned_for = f"planned for {owner}, {line.get(POSITION, '')}" if owner else "a spare"
                action = "check the run sheet; what was measured on the part counts for the position it ran in"
                expected = f"part {planned}" if planned else "a planned part"
                tell("part differs", f"part {part} in {position}, {planned_for}", expected, action)
    return told


def values(brief: Brief, runs: pd.DataFrame, wear: pd.DataFrame | None) -> pd.DataFrame | None:
    """The value of every position of every run; None where runs are not divided.

    Parameters
    ----------
    brief : Brief
        As tables of runs see it.
    runs : DataFrame
    wear : DataFrame or None
        As ``run_values.station_wear`` gives it.

    Returns
    -------
    DataFrame
        run_id, position, part_id and one column per response with stations: made of the stations in the position as
        per_run says, NaN where there is none (or, of a maximum or total, where one is missing).

    Notes
    -----
    Checked against: values by hand, tests/unit/intake/test_positions.py.
    """
    if brief.positions is None:
        return None
    stationed = [item for item in brief.responses if item.stations is not None]
    found: dict[tuple[str, str, str], list[float]] = {}
    parts: dict[tuple[str, str], str] = {}
    for response in stationed if wear is not None else ():
        lies = by_position.position_of(brief, response)
        for run, part, station, value in zip(
            *(wear[key] for key in ("run_id", "part_id", "station_id", response.name)), strict=True
        ):
            if station in lies and not math.isnan(value):
                found.setdefault((response.name, run, lies[station]), []).append(float(value))
                parts.setdefault((run, lies[station]), part)
    rows = [
        {
            "run_id": run,
            POSITION: name,
            "part_id": parts.get((run, name), ""),
            **{item.name: _value(brief, item, found.get((item.name, run, name), [])) for item in stationed},
        }
        for run in runs["run_id"]
        for name in brief.positions.names
    ]
    return pd.DataFrame(rows, columns=["run_id", POSITION, "part_id", *(item.name for item in stationed)])


def _value(brief: Brief, response: Response, wear: list[float]) -> float:
    """The value of one position from the wear of its stations."""
    each = response.stations.count // len(brief.positions.names)
    if not wear or (len(wear) < each and response.per_run not in run_values.COMPARABLE_WITH_FEWER):
        return math.nan
    return run_values.combine(wear, response.per_run)
