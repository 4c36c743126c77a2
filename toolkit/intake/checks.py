"""Findings about the records: windows, limits and bounds, and what lies far apart (rank 6).

A finding tells; it drops nothing and changes nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief, Held
from toolkit.intake import columns, slips
from toolkit.intake.gathered import Finding, figure, finding, quantity

FAR_FACTOR = 10.0
FAR_SCALED = 6.0
LEAST_STATIONS = 4
LEAST_PAIRS = 8
_TO_SD = 1.4826  # a normal sample's SD over its median absolute deviation


def protocol(brief: Brief, runs: pd.DataFrame, samples: pd.DataFrame | None = None) -> list[Finding]:
    """Findings of runs outside windows, limits and upper bounds.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        As ``tables.runs`` gives them.
    samples : DataFrame or None
        Oil samples: a bound on an element holds for every sample of the run.

    Returns
    -------
    list of Finding
        Outside limits or above a bound: exclude in a valid run, else note. Outside a window only: note.
        Nothing follows from it by itself: the verdict is given by a person.
    """
    told: list[Finding] = []
    held = list(columns.held(brief))
    if brief.protocol.run_time_h is not None:
        held.append(brief.protocol.run_time_h)
    bounded = [name for name in brief.protocol.max if samples is not None and name in samples]
    highest = samples.groupby("run_id")[bounded].max() if samples is not None and bounded else pd.DataFrame()
    for _, run in runs.iterrows():
        # A pilot that is no block of the analysis lends its scatter and nothing else.
        counts_in = "the answers" if run["phase"] in brief.counted_phases else "the pilot's scatter"
        for item in held:
            value = run[item.name]
            if not math.isnan(value):
                told += _against(item, float(value), run, counts_in)
        for name, bound in brief.protocol.max.items():
            values = [float(run[name])] if name in runs else []
            if name in highest and run["run_id"] in highest.index:
                values.append(float(highest.at[run["run_id"], name]))
            most = max((value for value in values if not math.isnan(value)), default=-math.inf)
            if most > bound:
                told.append(
                    _outside(
                        run,
                        name,
                        "protocol",
                        most,
                        f"at most {quantity(bound, name)}",
                        "above the protocol's upper bound",
                        counts_in,
                    )
                )
    return told


def _against(item: Held, value: float, run: pd.Series, counts_in: str) -> list[Finding]:
    """What a held variable's figure gives rise to."""
    if item.limits is not None and not item.limits[0] <= value <= item.limits[1]:
        low, high = item.limits
        return [
            _outside(
                run,
                item.name,
                "limits",
                value,
                f"{figure(low)} to {quantity(high, item.name)}",
                "outside the limits the rule says invalid",
                counts_in,
            )
        ]
    low, high = item.window
    if low <= value <= high:
        return []
    action = "none: the run is void" if run["verdict"] in columns.VOID else "review the run"
    return [
        finding(
            "note",
            "window",
            run_id=run["run_id"],
            column=item.name,
            found=quantity(value, item.name),
            expected=f"{figure(low)} to {quantity(high, item.name)}",
            action=action,
        )
    ]


def _outside(
    run: pd.Series, column: str, rule: str, value: float, expected: str, why: str, counts_in: str
) -> Finding:
    """A finding of a run beyond what makes a run valid."""
    severity, action = {
        "valid": ("exclude", f"judge the run again: {why}; until then it counts in {counts_in}"),
        "pending": ("note", f"judge the run: {why}"),
    }.get(run["verdict"], ("note", "none: the run is void"))
    return finding(
        severity,
        rule,
        run_id=run["run_id"],
        column=column,
        found=quantity(value, column),
        expected=expected,
        action=action,
    )


def far_apart(brief: Brief, readings: pd.DataFrame, wear: pd.DataFrame) -> list[Finding]:
    """Findings of stations and readings that look like a slip: a wrong unit, a lost decimal, a swapped line.

    Parameters
    ----------
    brief : Brief
    readings, wear : DataFrame
        As ``tables.stations`` and ``run_values.station_wear`` give them.

    Returns
    -------
    list of Finding
        Station: its wear is more than ten times, or less than a tenth of, the median of its run, and more
        than six scaled median absolute deviations from it. Reading: those of a station in one state lie
        further apart than ten times the usual. Both are common practice for finding slips, not tests.
    """
    told: list[Finding] = []
    for response in columns.stationed(brief):
        name = response.name
        for run, part in wear[wear[name].notna()].groupby("run_id", sort=False):
            values = part[name].to_numpy()
            middle = float(np.median(values))
            spread = _TO_SD * float(np.median(np.abs(values - middle)))
            if len(values) < LEAST_STATIONS or middle == 0.0:
                continue
            size = np.abs(values)
            far = (size > FAR_FACTOR * abs(middle)) | (size * FAR_FACTOR < abs(middle))
            far &= np.abs(values - middle) > FAR_SCALED * spread
            for at in np.flatnonzero(far):
                told.append(
                    finding(
                        "note",
                        "station far off",
                        run_id=str(run),
                        part_id=str(part["part_id"].iloc[at]),
                        column=name,
                        found=f"station {part['station_id'].iloc[at]}: {quantity(values[at], name)}",
                        expected=f"about the median of the run ({quantity(middle, name)})",
                        action="look for a wrong unit or a slip; kept as it is",
                    )
                )
        told += _readings_apart(readings, name)
    return told


def _readings_apart(readings: pd.DataFrame, name: str) -> list[Finding]:
    """Readings of one station and state that lie much further apart than the others of the campaign, a row a part."""
    keys = ["run_id", "part_id", "station_id", *(["state"] if "state" in readings else [])]
    spans = readings[readings[name].notna()].groupby(keys, sort=False)[name].agg(["min", "max"])
    spans["apart"] = spans["max"] - spans["min"]
    spread = spans[spans["apart"] > 0.0]
    if len(spread) < LEAST_PAIRS:
        return []
    usual = float(spread["apart"].median())
    mine: dict[tuple[str, str], list[tuple[str, float, str]]] = {}
    for key, row in spread[spread["apart"] > FAR_FACTOR * usual].iterrows():
        low, high = float(row["min"]), float(row["max"])
        where = f"station {' '.join(map(str, key[2:]))}".rstrip()
        told = f"{where}: readings {quantity(float(row['apart']), name)} apart"
        both = f"{told} ({figure(low)} and {figure(high)})"
        unit = slips.unit_between(low, high)
        mine.setdefault((str(key[0]), str(key[1])), []).append((both, float(row["apart"]), unit))
    made = []
    for (run, part), found in mine.items():
        words, _, unit = max(found, key=lambda item: item[1])
        more = f", and those of {len(found) - 1} more" if len(found) > 1 else ""
        look = f"a unit, {unit}" if unit else "a slip"
        made.append(
            finding(
                "note",
                "readings far apart",
                run_id=run,
                part_id=part,
                column=name,
                found=f"{words}{more}",
                expected=f"about {quantity(usual, name)} apart, as usual in these records",
                action=f"look for {look}; the mean is taken as it is",
            )
        )
    return made


def parts_twice(brief: Brief, readings: pd.DataFrame) -> list[Finding]:
    """Findings of parts measured in several runs though the brief has new parts in every run."""
    if "part" not in brief.new_each_run:
        return []
    told = []
    for part, runs in readings.groupby("part_id", sort=False)["run_id"]:
        names = list(dict.fromkeys(runs))
        told += [
            finding(
                "note",
                "part in several runs",
                run_id=later,
                part_id=str(part),
                column="part_id",
                found=f"part {part} also in run {names[0]}",
                expected="a new part in every run",
                action="look for a swapped or mistyped part",
            )
            for later in names[1:]
        ]
    return told


def unused(names: Sequence[str]) -> list[Finding]:
    """Findings of tables that are there although the brief asks for nothing in them."""
    return [
        finding(
            "note",
            "not read",
            found=name,
            expected="tables the brief has responses for",
            action="none; name a response to have it read",
        )
        for name in names
    ]
