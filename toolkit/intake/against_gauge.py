"""The uncertainty of every run value by the gauge, and wear below nought judged by it (rank 6)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief, Response
from toolkit.intake import columns, masters, run_values
from toolkit.intake.gathered import Finding, figure, finding, quantity, some
from toolkit.intake.masters import MasterDrift
from toolkit.intake.trace_wear import TraceWear

TABLE = (
    *("run_id", "response", "value", "as_read", "of_readings", "of_alignment", "of_correction", "combined_sd"),
    *("times", "source", "note"),
)
STATED, READ, TRACED = "as stated", "from repeated readings", "from the traces"
# Wear below nought by more than this many times its uncertainty is no scatter of the gauge.
BEYOND = 2.0
_KEYS = ["run_id", "part_id", "station_id"]


def uncertainties(
    brief: Brief,
    runs: pd.DataFrame,
    as_read: pd.DataFrame,
    used: pd.DataFrame,
    traced: TraceWear | None,
    shown: tuple[MasterDrift, ...],
) -> tuple[pd.DataFrame, dict[str, pd.DataFrame], list[Finding]]:
    """The standard uncertainty of every run value that comes from stations, by what it is made of.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        With the run values.
    as_read, used : DataFrame
        Readings as they were taken, and with drift taken off.
    traced : TraceWear or None
    shown : tuple of MasterDrift

    Returns
    -------
    table : DataFrame
        run_id, response, value, as_read (without a correction), of_readings, of_alignment, of_correction and
        combined_sd (their root sum of squares), times (value over combined_sd), source, note. Empty places None.
    covariances : dict
        Response to the covariance of its run values by the correction, runs by runs; only of those corrected.
    findings : list of Finding
        Wear below nought, judged against its uncertainty.

    Notes
    -----
    Propagation of uncertainty (JCGM 100:2008, 5.1.2). Readings: pooled SD of repeated readings, each state by its own
    number of them. Correction: the change of every run value with that of every session, times the covariance of the
    sessions; runs of one session go together. The certificate of a master cancels in a difference of two states.

    Checked against: hand calculations and simulation, tests/unit/intake/test_against_gauge.py.
    """
    rows: list[dict[str, object]] = []
    told: list[Finding] = []
    shares: dict[str, pd.DataFrame] = {}
    for response in columns.stationed(brief):
        name = response.name
        stations = _traced(traced, name) if _is_traced(brief, name) else _read(response, used)
        drift = masters.correcting(brief, shown, name)
        plain = _values(brief, response, runs, as_read) if drift is not None else runs[name]
        shift = None if drift is None else _covariance(brief, response, runs, as_read, drift)
        if shift is not None:
            shares[name] = shift
        for at, run in runs.iterrows():
            value = float(run[name])
            if math.isnan(value):
                continue
            mine = {key: item for key, item in stations.items() if key[0] == run["run_id"]}
            row: dict[str, object] = dict.fromkeys(TABLE)
            row |= {
                "run_id": run["run_id"],
                "response": name,
                "value": value,
                "as_read": float(plain.loc[at]),
                "note": "",
            }
            parts = _combined(response, value, mine)
            if shift is not None:
                variance = float(shift.at[run["run_id"], run["run_id"]])
                row["of_correction"] = None if math.isnan(variance) else math.sqrt(max(variance, 0.0))
            if response.gauge_sd is not None:
                parts, row["source"] = (response.gauge_sd, 0.0), STATED
            elif parts is None:
                row["note"] = "each station was read once: the scatter of readings is not known; state gauge_sd"
            else:
                row["source"] = TRACED if _is_traced(brief, name) else READ
            if parts is not None:
                row["of_readings"], row["of_alignment"] = parts
                known = [*parts, float(str(row["of_correction"] or 0.0))]
                total = math.sqrt(math.fsum(part * part for part in known))
                row["combined_sd"], row["times"] = total, value / total if total > 0.0 else None
            rows.append(row)
            told += _below_nought(response, run, row, mine)
    return pd.DataFrame(rows, columns=list(TABLE), dtype=object), shares, told


def _is_traced(brief: Brief, name: str) -> bool:
    """True for a response that is read from traces."""
    return any(rule.response == name for rule in brief.traces)


def _traced(traced: TraceWear | None, name: str) -> dict[tuple[str, str, str], tuple[float, float, float]]:
    """Station to its wear and the two shares of its uncertainty; readings of one station averaged."""
    made: dict[tuple[str, str, str], list[tuple[float, float, float]]] = {}
    for row in () if traced is None else traced.table.to_dict("records"):
        if row["response"] == name and row["wear"] is not None:
            key = (str(row["run_id"]), str(row["part_id"]), str(row["station_id"]))
            made.setdefault(key, []).append((row["wear"], row["of_readings"], row["of_alignment"]))
    return {
        key: (
            math.fsum(item[0] for item in found) / len(found),
            *(math.sqrt(math.fsum(item[at] ** 2 for item in found)) / len(found) for at in (1, 2)),
        )
        for key, found in made.items()
    }


def _read(response: Response, used: pd.DataFrame) -> dict[tuple[str, str, str], tuple[float, float, float]]:
    """Station to its wear and its uncertainty by the pooled scatter of repeated readings; none where there are none."""
    name = response.name
    if used.empty or name not in used:
        return {}
    states = response.stations.states if response.stations else ()
    known = used[used[name].notna()]
    state = known["state"].tolist() if states else [""] * len(known)
    groups: dict[tuple[str, str, str], dict[str, list[float]]] = {}
    for run, part, station, when, value in zip(
        *(known[key].tolist() for key in _KEYS), state, known[name].tolist(), strict=True
    ):
        groups.setdefault((str(run), str(part), str(station)), {}).setdefault(str(when), []).append(value)
    cells = [values for found in groups.values() for values in found.values()]
    df = sum(len(values) - 1 for values in cells)
    if df < 1:
        return {}
    variance = math.fsum((value - _mean(values)) ** 2 for values in cells for value in values) / df
    made: dict[tuple[str, str, str], tuple[float, float, float]] = {}
    for key, found in groups.items():
        if states and not set(states) <= set(found):
            continue
        wear = _mean(found[states[-1]]) - _mean(found[states[0]]) if states else _mean(found[""])
        counted = [found[when] for when in dict.fromkeys((states[0], states[-1]))] if states else [found[""]]
        made[key] = (wear, math.sqrt(variance * math.fsum(1.0 / len(values) for values in counted)), 0.0)
    return made


def _mean(values: Sequence[float]) -> float:
    """The mean of readings."""
    return math.fsum(values) / len(values)


def _combined(
    response: Response, value: float, mine: Mapping[tuple[str, str, str], tuple[float, float, float]]
) -> tuple[float, float] | None:
    """Both shares of the uncertainty of a run value from those of its stations; None where they are not known."""
    if not mine:
        return None
    found = list(mine.values())
    if response.per_run == "max":
        best = max(found, key=lambda item: item[0])
        return best[1], best[2]
    weights = [1.0 if response.per_run == "total" else 1.0 / len(found)] * len(found)
    if response.per_run == "mean_of_log":
        weights = [value / (len(found) * item[0]) if item[0] > 0.0 else math.nan for item in found]
    pair = [
        math.sqrt(math.fsum((weight * item[at]) ** 2 for weight, item in zip(weights, found, strict=True)))
        for at in (1, 2)
    ]
    return None if math.isnan(pair[0]) else (pair[0], pair[1])


def _values(brief: Brief, response: Response, runs: pd.DataFrame, readings: pd.DataFrame) -> pd.Series:
    """The run values of one response from other readings."""
    alone = replace(brief, responses=(response,))
    bare = runs.drop(columns=[response.name])
    return run_values.add(alone, bare, readings, None)[0][response.name]


def _covariance(
    brief: Brief, response: Response, runs: pd.DataFrame, as_read: pd.DataFrame, drift: MasterDrift
) -> pd.DataFrame:
    """The covariance of the run values by the correction: their change with each session's, times its covariance."""
    off, covariance = drift.taken_off()
    sessions = list(drift.sessions)
    at = as_read[masters.SESSION].map({name: place for place, name in enumerate(sessions)}).astype(float)
    measured = as_read[response.name].notna() & at.notna()
    base = _with(as_read, response.name, measured, at, off)
    middle = _values(brief, response, runs, base).to_numpy(dtype=float)
    jacobian = np.zeros((len(runs), len(sessions)))
    size = float(np.sqrt(np.nanmax(np.abs(np.diag(covariance))))) if np.isfinite(covariance).any() else 0.0
    step = size or 1e-6
    for place in range(len(sessions)):
        moved = off.copy()
        moved[place] += step
        there = _values(brief, response, runs, _with(as_read, response.name, measured, at, moved)).to_numpy(dtype=float)
        jacobian[:, place] = np.nan_to_num((there - middle) / step)
    used = np.abs(jacobian).max(axis=0) > 0.0
    whole = jacobian[:, used] @ covariance[np.ix_(used, used)] @ jacobian[:, used].T
    names = runs["run_id"].tolist()
    return pd.DataFrame(whole, index=names, columns=names)


def _with(readings: pd.DataFrame, name: str, measured: pd.Series, at: pd.Series, off: np.ndarray) -> pd.DataFrame:
    """The readings with so much taken off in each session."""
    made = readings.copy()
    made.loc[measured, name] -= off[at[measured].astype(int).to_numpy()]
    return made


def _below_nought(
    response: Response,
    run: pd.Series,
    row: Mapping[str, object],
    mine: Mapping[tuple[str, str, str], tuple[float, float, float]],
) -> Sequence[Finding]:
    """The finding of a run with stations whose wear lies below nought."""
    low = {key: item for key, item in mine.items() if item[0] < 0.0}
    if not low:
        return []
    shared = float(str(row["of_correction"] or 0.0))
    times = {
        key: -item[0] / math.hypot(item[1], item[2], shared)
        for key, item in low.items()
        if math.hypot(*item[1:], shared) > 0.0
    }
    worst = max(times, key=lambda key: times[key], default=None)
    if worst is None:
        return []
    names = some([key[2] for key in low])
    value = quantity(float(f"{low[worst][0]:.3g}"), response.name)
    found = (
        f"wear below 0 at station{'s' * (len(low) > 1)} {names}: down to {value}, "
        f"{figure(round(times[worst], 1))} times its uncertainty"
    )
    beyond = times[worst] > BEYOND
    action = "none: the gauge alone does this now and then; kept as it is"
    if beyond:
        action = "look for a swapped state or part, or for deposits; kept as it is"
    return [
        finding(
            "note",
            "wear below nought",
            run_id=str(run["run_id"]),
            column=response.name,
            found=found,
            expected=f"no less than {figure(BEYOND)} times its uncertainty below 0",
            action=action,
        )
    ]
