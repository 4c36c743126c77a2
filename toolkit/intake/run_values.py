"""Stations and samples become one value a run; the stations are sub-samples and never replicates (rank 6).

Wear is signed throughout: a part that seems to have grown keeps its negative value.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import pandas as pd

from toolkit.brief.model import Brief, Response, Stations
from toolkit.intake import columns, oil, oil_carry_over
from toolkit.intake.gathered import Finding, figure, finding, some

COMPARABLE_WITH_FEWER = ("mean", "mean_of_log")
_KIND = {"mean": "mean", "mean_of_log": "mean of ln", "max": "maximum", "total": "total"}
_KEYS = ["run_id", "part_id", "station_id"]


@dataclass
class _Station:
    """The readings of one station, by state."""

    readings: dict[str, list[float]] = field(default_factory=dict)
    wear: float | None = None


def combine(wear: Sequence[float], per_run: str) -> float:
    """The run value made of the wear of its stations.

    Parameters
    ----------
    wear : sequence of float
        Signed wear of each station, at least one; in the response's unit.
    per_run : str
        mean (arithmetic), mean_of_log (exp of the mean of ln, the geometric mean), max or total.

    Returns
    -------
    float
        In the response's unit; NaN for mean_of_log with a station at or below 0.

    Checked against
    ---------------
    Hand calculations in tests/unit/intake/test_run_values.py.
    """
    if per_run == "max":
        return max(wear)
    if per_run == "total":
        return math.fsum(wear)
    if per_run == "mean_of_log":
        return math.exp(math.fsum(map(math.log, wear)) / len(wear)) if min(wear) > 0.0 else math.nan
    return math.fsum(wear) / len(wear)


def station_wear(brief: Brief, readings: pd.DataFrame) -> pd.DataFrame:
    """Wear of every station: after less before, each the mean of its readings; or the mean reading.

    Parameters
    ----------
    brief : Brief
    readings : DataFrame
        As ``tables.stations`` gives them.

    Returns
    -------
    DataFrame
        run_id, part_id, station_id and one column per response that has stations, in the response's unit,
        signed; NaN where a station has no reading, or none in one of its states. Stations in the order they
        are first met.
    """
    made = readings[_KEYS].drop_duplicates().reset_index(drop=True)
    for response in columns.stationed(brief):
        found = _by_station(response, readings)
        made[response.name] = [_wear_of(found, tuple(key)) for key in made[_KEYS].itertuples(index=False, name=None)]
        made[response.name] = made[response.name].astype("float64")
    return made


def add(
    brief: Brief, runs: pd.DataFrame, readings: pd.DataFrame | None, samples: pd.DataFrame | None
) -> tuple[pd.DataFrame, list[Finding]]:
    """The runs with a column for the run value of every response.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        As ``tables.runs`` gives them.
    readings, samples : DataFrame or None
        As ``tables.stations`` and ``oil.samples`` give them; None when the table is not there yet.

    Returns
    -------
    runs : DataFrame
        A copy; one more column a response, on its natural scale, signed, NaN where there is no value;
        beside oil responses <response>_below_limit (true or false), and where a zero-hour sample is below its limit
        <response>_at_least, the lower end of what the run value can be.
    findings : list of Finding
        Of severity exclude (for ``max`` and ``total`` of another number of stations) or stop
        (``mean_of_log`` of a station at or below 0) only in valid runs.
    """
    made = runs.copy()
    samples, told = oil_carry_over.zero_filled(brief, runs, samples)
    for response in brief.responses:
        if response.source == "stations":
            by_run: dict[str, dict[tuple[str, str], _Station]] = {}
            if readings is not None:
                for (run_id, part, station), item in _by_station(response, readings).items():
                    by_run.setdefault(run_id, {})[part, station] = item
            made[response.name] = pd.Series(
                [
                    _of_stations(response, run, by_run.get(run["run_id"], {}), readings is not None, told)
                    for _, run in runs.iterrows()
                ],
                index=made.index,
                dtype="float64",
            )
        elif response.source == "oil":
            drawn = {} if samples is None else dict(tuple(samples.groupby("run_id", sort=False)))
            values, below, least = [], [], []
            for _, run in runs.iterrows():
                taken = drawn.get(run["run_id"])
                value, limited, at_least, found = oil.run_value(brief, response, run, taken)
                values.append(value)
                below.append(limited)
                least.append(at_least)
                told += found
            made[response.name] = pd.Series(values, index=made.index, dtype="float64")
            made[response.name + columns.BELOW] = pd.Series(below, index=made.index, dtype="bool")
            if not all(math.isnan(item) for item in least):
                made[response.name + columns.AT_LEAST] = pd.Series(least, index=made.index, dtype="float64")
        else:
            made[response.name] = made.pop(response.name)
    return made, told


def _by_station(response: Response, readings: pd.DataFrame) -> dict[tuple[str, str, str], _Station]:
    """Every station for which the response has a row, with its readings and its wear."""
    states = response.stations.states if response.stations else ()
    named = readings["state"].tolist() if "state" in readings else [""] * len(readings)
    found: dict[tuple[str, str, str], _Station] = {}
    for run, part, station, state, value in zip(
        *(readings[key].tolist() for key in _KEYS), named, readings[response.name].tolist(), strict=True
    ):
        item = found.setdefault((run, part, station), _Station())
        if not math.isnan(value):
            item.readings.setdefault(state if states else "", []).append(value)
    for item in found.values():
        means = {state: math.fsum(values) / len(values) for state, values in item.readings.items()}
        if states and states[0] in means and states[-1] in means:
            item.wear = means[states[-1]] - means[states[0]]
        elif not states:
            item.wear = means.get("")
    return found


def _wear_of(found: dict[tuple[str, str, str], _Station], key: tuple[str, str, str]) -> float:
    """The wear of a station; NaN when it has none."""
    wear = found[key].wear if key in found else None
    return math.nan if wear is None else wear


def _of_stations(
    response: Response,
    run: pd.Series,
    found: dict[tuple[str, str], _Station],
    there: bool,
    told: list[Finding],
) -> float:
    """The run value from stations; what is to be known about it goes to ``told``."""
    asked = response.stations
    valid = run["verdict"] == "valid"
    if asked is None:
        return math.nan

    def tell(severity: str, rule: str, seen: str, expected: str, action: str) -> None:
        grade = severity if valid else "note"
        told.append(finding(grade, rule, run_id=str(run["run_id"]), column=response.name, found=seen,
                            expected=expected, action=action))  # fmt: skip

    worn = {key: item.wear for key, item in found.items() if item.wear is not None}
    if not worn and not valid:
        return math.nan
    if not worn:
        seen = "no station with a value" if there else "no table of stations yet"
        action = "enter the readings; the run has no value of this response until then"
        tell("note", "no value", seen, f"{asked.count} stations ({asked.kind})", action)
        return math.nan
    _tell_missing(response, asked, found, len(worn), tell)
    value = combine(list(worn.values()), response.per_run)
    low = {key: wear for key, wear in worn.items() if wear <= 0.0}
    figures = ", ".join(figure(wear) for wear in list(low.values())[:6])
    if math.isnan(value):
        action = 'choose per_run = "mean", correct the reading or judge the run again; the run has no value'
        tell("stop", "mean of log", f"{_named(list(low))} at or below 0 ({figures})", "wear above 0", action)
    elif low and response.scale == "log":
        action = "kept as it is; look for a swapped part, station or state"
        tell("note", "no wear", f"{_named(list(low))} at or below 0 ({figures})", "wear above 0", action)
    return value


def _tell_missing(
    response: Response,
    asked: Stations,
    found: dict[tuple[str, str], _Station],
    count: int,
    tell: Callable[[str, str, str, str, str], None],
) -> None:
    """Tell of stations without a value and of readings that are missing or too many."""
    for state in asked.states:
        lone = [key for key, item in found.items() if item.readings and state not in item.readings]
        if lone:
            action = "the station has no wear and is left out of the run value"
            tell("note", "pair", f"no reading {state}: {_named(lone)}", " and ".join(asked.states), action)
    if count != asked.count:
        kind = _KIND[response.per_run]
        usable = response.per_run in COMPARABLE_WITH_FEWER
        action = f"the {kind} is made from {count}"
        if not usable:
            action = f"a {kind} of {count} cannot be compared with one of {asked.count}; judge the run again"
        expected = f"{asked.count} stations ({asked.kind})"
        tell("note" if usable else "exclude", "stations", f"{count} with a value", expected, action)
    odd = [
        key
        for key, item in found.items()
        if item.wear is not None and any(len(values) != asked.readings for values in item.readings.values())
    ]
    if odd:
        expected = f"{asked.readings} of each station{' in each state' if asked.states else ''}"
        action = "the mean of those there is taken"
        tell("note", "readings", f"another number of readings: {_named(odd)}", expected, action)


def _named(keys: Sequence[tuple[str, str]]) -> str:
    """Stations for a message; parts are named where there are several."""
    several = len({part for part, _ in keys}) > 1
    word = "station" if len(keys) == 1 else "stations"
    return f"{word} {some([f'{part}/{station}' if several else station for part, station in keys])}"
