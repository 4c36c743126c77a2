"""Traces before and after become the wear of stations, with its uncertainty; what does not fit is told (rank 6).

A finding tells; no trace is dropped or turned round for it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from toolkit import measured_in
from toolkit.brief.metrology import Traces
from toolkit.brief.model import Brief
from toolkit.errors import IntakeError
from toolkit.intake import attribution
from toolkit.intake.fitted import Parts
from toolkit.intake.gathered import Finding, Gathered, finding, some
from toolkit.intake.raw import Entry
from toolkit.intake.told import Told
from toolkit.intake.trace_files import FOLDER, STATES, Trace
from toolkit.numeric import trace_takes, traces
from toolkit.numeric.trace_takes import Taken
from toolkit.numeric.traces import Aligned

# A pair fits this much worse than usual, and another way at most half as badly: common practice and no test. Both are
# far beyond what the scatter of readings does to the scatter of forty.
WORSE, BETTER = 3.0, 0.5
# Factors of units that are mixed up, and how far the logarithm of a ratio may lie from theirs.
SLIPS = {"mm for inch": 25.4, "µm for mm": 1000.0}
_SLIP_NEAR = 0.4
_LEAST = 4
TABLE = (
    *("run_id", "part_id", "station_id", "response", "reading", "wear", "of_readings", "of_alignment", "combined_sd"),
    *("greatest", "greatest_at", "mean", "area", "shift", "offset", "tilt", "scatter", "note"),
)
KEYS = ("run_id", "part_id", "station_id", "reading")


@dataclass(frozen=True, eq=False)
class Pair:
    """One station before and after, brought together; ``aligned`` is None where ``note`` says why they cannot be."""

    rule: Traces
    before: Trace
    after: Trace
    aligned: Aligned | None
    taken: Taken | None
    note: str

    @property
    def run_id(self) -> str:
        """The run the part ran in."""
        return self.after.run_id


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
        findings += _lone(rule, keys, states)
        findings += _slips(rule, mine)
        made = [
            _pair(rule, states["before"][key], states["after"][key])
            for key in keys
            if all(key in states[state] for state in STATES)
        ]
        findings += _unfit(rule, made)
        pairs += made
    return TraceWear(tuple(pairs), _readings(brief, pairs), _table(pairs), tuple(findings))


def _checked(given: Sequence[Trace], known: frozenset[str] | None, told: Gathered) -> list[Trace]:
    """The traces of known runs, each once."""
    kept: dict[tuple[str, ...], Trace] = {}
    for item in given:
        file = item.where.partition(" ")[0]
        key = (item.response, *_key(item), item.state)
        if known is not None and item.run_id not in known:
            told.add(
                file,
                item.where,
                f"unknown run '{item.run_id}'",
                "a run of the campaign",
                column="run_id",
                kind="unknown run",
            )
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


def _pair(rule: Traces, before: Trace, after: Trace) -> Pair:
    """Two traces brought together, or why they cannot be."""
    try:
        aligned = _aligned(rule, before, after)
        zone = None if rule.worn is None else (float(rule.worn[0]), float(rule.worn[1]))
        what = "area" if rule.take == "volume" else rule.take
        taken = trace_takes.take(aligned, what, zone=zone, positions=rule.positions)
    except IntakeError as problem:
        return Pair(rule, before, after, None, None, "; ".join(line.strip() for line in str(problem).splitlines()[1:]))
    return Pair(rule, before, after, aligned, taken, "; ".join(aligned.notes))


def _aligned(rule: Traces, before: Trace, after: Trace, *, turned: bool = False) -> Aligned:
    """Two traces brought together; ``turned``: the one after from end to end."""
    at, height = after.position, after.height
    if turned:
        at, height = (at[0] + at[-1] - at)[::-1], height[::-1]
    return traces.align(before.position, before.height, at, height, rule.reference, moves=rule.may_move)


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


def _lone(
    rule: Traces, keys: Sequence[tuple[str, str, str, str]], states: Mapping[str, Mapping[tuple[str, ...], Trace]]
) -> list[Finding]:
    """Findings of stations with a trace in one state only."""
    made = []
    for lacking, there in (("before", "after"), ("after", "before")):
        lone: dict[tuple[str, str], list[str]] = {}
        for run, part, station, _ in (key for key in keys if key in states[there] and key not in states[lacking]):
            lone.setdefault((run, part), []).append(station)
        made += [
            finding(
                "note",
                "trace alone",
                run_id=run,
                part_id=part,
                column=rule.response,
                found=f"no trace {lacking} of station{'s' * (len(stations) > 1)} {some(stations)}",
                expected="one before and one after",
                action="the station has no wear until the other trace is there",
            )
            for (run, part), stations in lone.items()
        ]
    return made


def _slips(rule: Traces, mine: Sequence[Trace]) -> list[Finding]:
    """Findings of traces whose positions or heights lie by the factor of another unit from the usual."""
    made = []
    if len(mine) < _LEAST:
        return []
    spans = {
        "position": [float(np.ptp(item.position)) if len(item.position) else 0.0 for item in mine],
        "height": [float(np.ptp(item.height)) if len(item.height) else 0.0 for item in mine],
    }
    for name, values in spans.items():
        usual = float(np.median(values))
        for item, value in zip(mine, values, strict=True):
            if not (value > 0.0 and usual > 0.0):
                continue
            ratio = math.log(value / usual)
            slip = next(
                (words for words, factor in SLIPS.items() if abs(abs(ratio) - math.log(factor)) < _SLIP_NEAR), None
            )
            if slip is not None:
                made.append(
                    finding(
                        "exclude",
                        "unit of a trace",
                        run_id=item.run_id,
                        part_id=item.part_id,
                        column=rule.response,
                        found=f"{item.where}, station {item.station_id} {item.state}: its {name}s span "
                        f"{math.exp(abs(ratio)):.3g} times {'more' if ratio > 0 else 'less'} than usual",
                        expected="a span as that of the other traces",
                        action=f"look for {slip}, and take the corrected file in its place; it is read as it is",
                    )
                )
    return made


def _unfit(rule: Traces, pairs: Sequence[Pair]) -> list[Finding]:
    """Findings of pairs that cannot be brought together, or fit far worse than the others."""
    made = []
    usual = [item.aligned.scatter for item in pairs if item.aligned is not None]
    middle = float(np.median(usual)) if len(usual) >= _LEAST else math.inf
    for item in pairs:
        if item.aligned is None:
            found, action = (
                f"station {item.after.station_id}: {item.note}",
                "the station has no wear until it is put right",
            )
            made.append(_told(item, "note", "trace", found, "two traces that can be brought together", action))
        elif item.aligned.scatter > WORSE * middle:
            made.append(_worse(rule, item, pairs, middle))
    return made


def _worse(rule: Traces, item: Pair, pairs: Sequence[Pair], middle: float) -> Finding:
    """The finding of a pair that fits far worse than usual, with what it fits better."""
    own = item.aligned.scatter if item.aligned is not None else math.inf
    station = f"station {item.after.station_id}"
    found = f"{station}: traces lie {own:.3g} µm apart on the reference zones"
    usual = f"about {middle:.3g} µm, as usual in these records"
    if _scatter(rule, item.before, item.after, turned=True) < BETTER * own:
        return _told(
            item,
            "exclude",
            "ends swapped",
            f"{found}, and turned round they fit",
            usual,
            "look at which end came first, and take the corrected file in its place; it is read as it is",
        )
    others = [
        other for other in pairs if other.before is not item.before and other.before.part_id != item.before.part_id
    ]
    fits = [(_scatter(rule, other.before, item.after), other.before) for other in others]
    best = min(fits, key=lambda pair: pair[0], default=(math.inf, None))
    if best[1] is not None and best[0] < BETTER * own:
        other = best[1]
        words = f"{found}; the one after fits that before of part {other.part_id}, station {other.station_id}"
        return _told(
            item, "exclude", "wrong part", words, usual, "find out which part was measured; it is read as it is"
        )
    return _told(
        item,
        "exclude",
        "traces do not fit",
        found,
        usual,
        "look at part, station and clamping, and measure again; it is read as it is",
    )


def _scatter(rule: Traces, before: Trace, after: Trace, *, turned: bool = False) -> float:
    """How badly two traces fit on the reference zones."""
    try:
        return _aligned(rule, before, after, turned=turned).scatter
    except IntakeError:
        return math.inf


def _told(item: Pair, severity: str, rule: str, found: str, expected: str, action: str) -> Finding:
    """A finding about a pair."""
    where = f" ({item.after.where})" if FOLDER in item.after.where else ""
    return finding(
        severity,
        rule,
        run_id=item.run_id,
        part_id=item.after.part_id,
        column=item.rule.response,
        found=f"{found}{where}",
        expected=expected,
        action=action,
    )
