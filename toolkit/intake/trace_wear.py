"""Traces before and after become the wear of stations, with its uncertainty; what does not fit is told (rank 6).

A finding tells; no trace is dropped or turned round for it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from toolkit import measured_in
from toolkit.brief.metrology import Traces
from toolkit.brief.model import Brief
from toolkit.intake import attribution, trace_fit
from toolkit.intake.fitted import Parts
from toolkit.intake.gathered import Finding, Gathered
from toolkit.intake.raw import Entry
from toolkit.intake.told import Told
from toolkit.intake.trace_files import STATES, Trace
from toolkit.intake.trace_pairs import Pair, pair
from toolkit.numeric import traces
from toolkit.wording import filled

TABLE = (
    *("run_id", "part_id", "station_id", "response", "reading", "wear", "of_readings", "of_alignment", "combined_sd"),
    *("greatest", "greatest_at", "mean", "area", "shift", "offset", "tilt", "scatter", "note"),
)
KEYS = ("run_id", "part_id", "station_id", "reading")


@dataclass(frozen=True, eq=False)
class TraceWear:
    """What the traces give.

    Attributes
    ----------
    pairs : tuple of Pair
    readings : DataFrame
        run_id, part_id, station_id, reading and a column per response: the wear in its unit; NaN where it could not be
        told.
    table : DataFrame
        One row a pair, in the response's unit (greatest, mean in micrometre; area in micrometre times position).
    findings : tuple of Finding
    """

    pairs: tuple[Pair, ...]
    readings: pd.DataFrame
    table: pd.DataFrame
    findings: tuple[Finding, ...]

    def __repr__(self) -> str:
        """The wear that each pair of traces tells."""
        return filled(self.table).to_string(index=False)


def with_runs(given: Sequence[Trace], fitted: Mapping[str, str], parts: Parts) -> tuple[list[Trace], list[Finding]]:
    """The traces whose run is told, or known by run sheet or register; findings of the others.

    Parameters
    ----------
    given : sequence of Trace
    fitted : mapping
        Run to the part that was fitted.
    parts : Parts
    """
    made: list[Trace] = []
    told: list[Finding] = []
    for part in dict.fromkeys((item.part_id, item.run_id) for item in given):
        mine = [item for item in given if (item.part_id, item.run_id) == part]
        file, _, where = mine[0].where.partition(" ")
        entries = {
            name: Entry(text, file, where) for name, text in zip(("part_id", "run_id"), part, strict=True) if text
        }
        rows, about = attribution.readings([Told("stations", file, where, entries)], fitted, parts)
        told += about
        for row in rows:
            made += [
                Trace(**{**vars(item), "run_id": row.text("run_id"), "part_id": row.text("part_id") or item.part_id})
                for item in mine
            ]
    return made, told


def wear(brief: Brief, given: Sequence[Trace], known: frozenset[str] | None, told: Gathered) -> TraceWear:
    """The wear of every station that has a trace before and one after.

    Parameters
    ----------
    brief : Brief
    given : sequence of Trace
        With their runs.
    known : frozenset of str or None
        The runs there are; None when they cannot be told.
    told : Gathered
        Faults are kept here: runs that are not known, a trace that stands twice.

    Returns
    -------
    TraceWear

    Notes
    -----
    A trace turned round, of another part, or in another unit is found against the campaign's own traces: its pair fits
    the reference zones more than three times worse than the median pair, and turned round (with another part's trace
    before) at most half as badly.
    """
    given = _checked(given, known, told)
    findings: list[Finding] = []
    pairs: list[Pair] = []
    for rule in brief.traces:
        mine = [item for item in given if item.response == rule.response]
        states = {state: {_key(item): item for item in mine if item.state == state} for state in STATES}
        keys = list(dict.fromkeys(_key(item) for item in mine))
        findings += trace_fit.lone(rule, keys, states)
        findings += trace_fit.slips(rule, mine)
        made = [
            pair(rule, states["before"][key], states["after"][key])
            for key in keys
            if all(key in states[state] for state in STATES)
        ]
        findings += trace_fit.unfit(rule, made)
        pairs += made
    return TraceWear(tuple(pairs), _readings(brief, pairs), _table(pairs), tuple(findings))


def _checked(given: Sequence[Trace], known: frozenset[str] | None, told: Gathered) -> list[Trace]:
    """The traces of known runs, each once."""
    kept: dict[tuple[str, ...], Trace] = {}
    nobody: set[tuple[str, str]] = set()
    for item in given:
        file = item.where.partition(" ")[0]
        key = (item.response, *_key(item), item.state)
        if known is not None and item.run_id not in known:
            if (file, item.run_id) not in nobody:
                nobody.add((file, item.run_id))
                what, expected = f"unknown run '{item.run_id}'", "a run of the campaign"
                told.add(file, item.where, what, expected, column="run_id", kind="unknown run")
        elif key in kept:
            which = f"the trace {item.state} of station {item.station_id} of part {item.part_id}"
            what = f"{which} also stands in {kept[key].where}"
            told.add(
                file,
                item.where,
                what,
                "each trace once",
                "Take one of them away; several readings need numbers.",
                kind="twice",
            )
        else:
            kept[key] = item
    return list(kept.values())


def unit_of(rule: Traces) -> float:
    """What a figure in micrometre (times position, for an area) is multiplied by to be in the response's unit."""
    suffix = measured_in.suffix_of(rule.response) or "um"
    if rule.take in ("mean", "max"):
        return float(measured_in.converted("1", "um", f"x_{suffix}"))
    # Micrometre times position: both in mm first.
    area = 1e-3 * float(measured_in.converted("1", rule.position_in, "x_mm"))
    if rule.take == "volume":
        return area * float(rule.width_mm or math.nan) * float(measured_in.converted("1", "mm3", f"x_{suffix}"))
    return area * float(measured_in.converted("1", "mm2", f"x_{suffix}"))


def _readings(brief: Brief, pairs: Sequence[Pair]) -> pd.DataFrame:
    """Rows as those of the table of stations."""
    names = [rule.response for rule in brief.traces]
    rows = []
    for item in pairs:
        value = math.nan if item.taken is None else item.taken.value * unit_of(item.rule)
        keys = dict(
            zip(KEYS, (item.run_id, item.after.part_id, item.after.station_id, item.after.reading), strict=True)
        )
        rows.append({**keys, **dict.fromkeys(names, math.nan), item.rule.response: value})
    frame = pd.DataFrame(rows, columns=[*KEYS, *names])
    return frame.astype({**dict.fromkeys(KEYS[:3], "str"), "reading": "int64", **dict.fromkeys(names, "float64")})


def _table(pairs: Sequence[Pair]) -> pd.DataFrame:
    """One row a pair, with the figures of its wear."""
    rows = []
    for item in pairs:
        row: dict[str, object] = dict.fromkeys(TABLE)
        row |= {"run_id": item.run_id, "part_id": item.after.part_id, "station_id": item.after.station_id}
        row |= {"response": item.rule.response, "reading": item.after.reading, "note": item.note}
        if item.aligned is not None and item.taken is not None:
            scale = unit_of(item.rule)
            row |= {"wear": item.taken.value * scale, "of_readings": item.taken.of_readings * scale}
            row |= {"of_alignment": item.taken.of_alignment * scale, "combined_sd": item.taken.std_error * scale}
            row |= {name: float(getattr(item.aligned, name)) for name in ("shift", "offset", "tilt", "scatter")}
            row |= _whole(item)
        rows.append(row)
    return pd.DataFrame(rows, columns=list(TABLE), dtype=object)


def _whole(item: Pair) -> dict[str, float]:
    """Greatest, mean and area of the worn zone, whatever is taken; none for a scheme of positions."""
    if item.aligned is None or item.rule.worn is None:
        return {}
    found = traces.worn(item.aligned, (float(item.rule.worn[0]), float(item.rule.worn[1])))
    return {name: getattr(found, name) for name in ("greatest", "greatest_at", "mean", "area")}


def _key(item: Trace) -> tuple[str, str, str, str]:
    """What pairs a trace before with one after."""
    return item.run_id, item.part_id, item.station_id, str(item.reading)
