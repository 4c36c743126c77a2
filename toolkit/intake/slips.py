"""Slips in tables of stations, found against the campaign's own readings: units, ends, parts (rank 6).

A finding tells; it drops nothing and changes nothing.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief
from toolkit.intake import columns
from toolkit.intake.gathered import Finding, finding, quantity

# What figures are multiplied by when a unit is taken for another.
FACTORS = {25.4: "mm for inch", 1000.0: "µm for mm"}
# How far beyond the usual scatter a figure must lie, and how near to the factor; common practice and no test.
_FAR, _NEAR, _NARROWEST = 6.0, 3.0, 0.05
_LEAST, _LEAST_STATIONS = 4, 6
_TO_SD = 1.4826
# A part fits this much worse than usual, and another way at most half as badly.
WORSE, BETTER = 3.0, 0.5


def findings(brief: Brief, readings: pd.DataFrame, far: Sequence[Finding] = ()) -> list[Finding]:
    """Findings of readings in another unit, of ends that were swapped, and of another part's readings.

    Parameters
    ----------
    brief : Brief
    readings : DataFrame
        As ``tables.stations`` gives them.
    far : sequence of Finding
        Single stations that were found far off already: their unit is not told again.

    Returns
    -------
    list of Finding
        Units: a reading lies by a factor of 25.4 or 1000 from the usual one of its station and state, and far beyond
        the scatter of the others; or the stations of a part in one state do so together. Ends and parts, where stations
        are measured before and after: the stations of a part after fit its own before more than three times worse than
        usual, and from end to end (or another part's) at most half as badly.
    """
    told: list[Finding] = []
    told_of = {(item["run_id"], item["column"]) for item in far}
    for response in columns.of_source(brief, "stations"):
        known = readings[readings[response.name].notna()]
        told += [item for item in _units(known, response.name) if (item["run_id"], item["column"]) not in told_of]
        if response.stations is not None and response.stations.states:
            told += _fits(known, response.name)
    return told


def _units(known: pd.DataFrame, name: str) -> list[Finding]:
    """Findings of readings in another unit, one for each part and state."""
    keys = ["station_id", *(["state"] if "state" in known else [])]
    hit: dict[tuple[str, str, str, str], list[tuple[str, float]]] = {}
    for key, group in known[known[name] != 0.0].groupby(keys, sort=False):
        values = group[name].to_numpy(dtype=float)
        # Readings about nought lie by any factor from each other.
        apart = np.abs(values - np.median(values))
        far = apart > _FAR * _TO_SD * float(np.median(apart))
        sizes = np.log(np.abs(values))
        middle = float(np.median(sizes))
        spread = max(_TO_SD * float(np.median(np.abs(sizes - middle))), _NARROWEST / _NEAR)
        if len(sizes) < _LEAST:
            continue
        for at, size in enumerate(sizes - middle):
            words = next(
                (
                    text
                    for factor, text in FACTORS.items()
                    if abs(abs(size) - math.log(factor)) < _NEAR * spread and far[at] and abs(size) > _FAR * spread
                ),
                None,
            )
            if words is not None:
                row = group.iloc[at]
                state = key[1] if len(key) > 1 else ""
                hit.setdefault((str(row["run_id"]), str(row["part_id"]), state, words), []).append(
                    (f"station {key[0]}: {quantity(float(row[name]), name)}", math.exp(middle))
                )
    alone = {key[:3] for key in hit}
    return _together(known, name, alone) + [
        finding(
            "exclude",
            "unit of a reading",
            run_id=run,
            part_id=part,
            column=name,
            found=f"{places[0][0]}{f' {state}' if state else ''}"
            f"{f' and {len(places) - 1} more' if len(places) > 1 else ''}",
            expected=f"about {quantity(float(f'{places[0][1]:.3g}'), name)}, as usual there",
            action=f"look for {words}, and correct the reading; it is kept as it is",
        )
        for (run, part, state, words), places in hit.items()
    ]


def unit_between(one: float, other: float, near: float = 0.2) -> str:
    """The units that two readings of the same are told in, where they lie apart by their factor; else ''."""
    if one == 0.0 or other == 0.0 or (one < 0.0) != (other < 0.0):
        return ""
    apart = abs(math.log(one / other))
    return next((words for factor, words in FACTORS.items() if abs(apart - math.log(factor)) < near), "")


def _together(known: pd.DataFrame, name: str, told: Collection[tuple[str, str, str]]) -> list[Finding]:
    """Findings of parts whose stations lie in one state by a factor of another unit from those of the other parts.

    Single stations may scatter too much to tell; their median does not.
    """
    keys = ["run_id", "part_id", *(["state"] if "state" in known else [])]
    means = known.groupby([*keys, "station_id"], sort=False)[name].mean().reset_index()
    means = means[means[name] != 0.0]
    sizes = np.log(means[name].abs())
    places = [means["station_id"], *([means["state"]] if "state" in known else [])]
    means = means.assign(apart=sizes - sizes.groupby(places).transform("median"))
    parts = means.groupby(keys, sort=False).agg(apart=("apart", "median"), count=(name, "size"), size=(name, "median"))
    parts = parts[parts["count"] >= _LEAST].reset_index()
    made = []
    for state, mine in parts.groupby("state" if "state" in known else parts["run_id"].map(lambda _: ""), sort=False):
        if len(mine) < _LEAST:
            continue
        spread = max(_TO_SD * float(np.median(np.abs(mine["apart"] - mine["apart"].median()))), _NARROWEST)
        usual = float(mine["size"].median())
        for row in mine.to_dict("records"):
            middle = quantity(float(f"{row['size']:.3g}"), name)
            words = next(
                (
                    text
                    for factor, text in FACTORS.items()
                    if abs(abs(row["apart"]) - math.log(factor)) < _NEAR * spread and abs(row["apart"]) > _FAR * spread
                ),
                "",
            )
            if not words or (str(row["run_id"]), str(row["part_id"]), str(state)) in told:
                continue
            made.append(
                finding(
                    "exclude",
                    "unit of a reading",
                    run_id=str(row["run_id"]),
                    part_id=str(row["part_id"]),
                    column=name,
                    found=f"all {row['count']} stations{f' {state}' if state else ''}: "
                    f"{middle} in the middle",
                    expected=f"about {quantity(float(f'{usual:.3g}'), name)}, as usual in these records",
                    action=f"look for {words}, and correct the readings; they are kept as they are",
                )
            )
    return made


def _fits(known: pd.DataFrame, name: str) -> list[Finding]:
    """Findings of parts whose stations after fit their own before badly, and another order or part well."""
    parts = _parts(known, name)
    own = {key: _apart(before, after) for key, (before, after) in parts.items()}
    if len(own) < _LEAST:
        return []
    usual = float(np.median(list(own.values())))
    told = []
    for (run, part), apart in own.items():
        if not apart > WORSE * usual:
            continue
        before, after = parts[run, part]
        seen = f"stations after lie {quantity(float(f'{apart:.3g}'), name)} (SD) from those before"
        expected = f"about {quantity(float(f'{usual:.3g}'), name)}, as usual in these records"
        if _apart(before, after[::-1]) < BETTER * apart:
            told.append(
                finding(
                    "exclude",
                    "ends swapped",
                    run_id=run,
                    part_id=part,
                    column=name,
                    found=f"{seen}; numbered from the other end they fit",
                    expected=expected,
                    action="look at which end is station 1, and correct the rows; they are kept as they are",
                )
            )
            continue
        others = {
            key: _apart(pair[0], after) for key, pair in parts.items() if key[1] != part and len(pair[0]) == len(after)
        }
        best = min(others, key=lambda key: others[key], default=None)
        if best is not None and others[best] < BETTER * apart:
            told.append(
                finding(
                    "exclude",
                    "wrong part",
                    run_id=run,
                    part_id=part,
                    column=name,
                    found=f"{seen}; they fit those before of part {best[1]} ({best[0]})",
                    expected=expected,
                    action="find out which part was measured, and correct the rows; they are kept as they are",
                )
            )
    return told


def _parts(known: pd.DataFrame, name: str) -> Mapping[tuple[str, str], tuple[np.ndarray, np.ndarray]]:
    """Run and part to the stations before and after, means of their readings in the order of their ids."""
    made = {}
    means = known.groupby(["run_id", "part_id", "station_id", "state"], sort=True)[name].mean()
    for (run, part), mine in means.groupby(level=[0, 1], sort=False):
        wide = mine.droplevel([0, 1]).unstack("state")
        if {"before", "after"} <= set(wide) and len(whole := wide.dropna()) >= _LEAST_STATIONS:
            made[str(run), str(part)] = (whole["before"].to_numpy(), whole["after"].to_numpy())
    return made


def _apart(before: np.ndarray, after: np.ndarray) -> float:
    """SD over the stations of what lies between them."""
    return float(np.std(after - before, ddof=1))
