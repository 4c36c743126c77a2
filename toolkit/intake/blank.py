"""Blank raw tables for the runs of a plan: the right headings, one line a value to enter, nothing measured (rank 6)."""

from __future__ import annotations

import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import Brief
from toolkit.intake import columns


def tables(brief: Brief, planned: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Tables to fill in and put into raw/, by the name of their file.

    Parameters
    ----------
    brief : Brief
    planned : DataFrame
        The run list of a phase: run_id, phase, build_id, planned_order and one column per factor.

    Returns
    -------
    dict of DataFrame
        ``runs`` with treatment, build and order as planned, every run pending; ``stations`` with one line a
        reading; ``oil`` with a zero-hour and a last sample a run. Tables that the brief does not need are left out.
        Further stations, readings or samples are lines of the same kind.
    """
    brief = by_position.as_recorded(brief)
    made = {"runs": _runs(brief, planned)}
    if columns.of_source(brief, "stations"):
        made["stations"] = _stations(brief, planned)
    if columns.of_source(brief, "oil"):
        made["oil"] = _oil(brief, planned)
    return made


def _runs(brief: Brief, planned: pd.DataFrame) -> pd.DataFrame:
    """runs.csv: what was planned, all else open."""
    names = [*columns.of_runs(brief)[: -len(columns.JUDGED)], *columns.optional(brief), *columns.JUDGED]
    made = pd.DataFrame("", index=planned.index, columns=names, dtype=object)
    for name in ("run_id", "phase", "build_id", *columns.kept(brief), "planned_order", *brief.factor_names):
        made[name] = planned[name].astype(str)
    made["verdict"] = "pending"
    return made


def _stations(brief: Brief, planned: pd.DataFrame) -> pd.DataFrame:
    """stations.csv: a line a run, state, station and reading."""
    names = columns.of_stations(brief)
    rows = []
    for run in planned["run_id"]:
        seen: dict[tuple[str, str, int], None] = {}
        for response in columns.of_source(brief, "stations"):
            asked = response.stations
            if asked is not None:
                seen |= dict.fromkeys(
                    (state, f"{asked.kind[:3].upper()}{place + 1:02d}", reading + 1)
                    for state in asked.states or ("",)
                    for place in range(asked.count)
                    for reading in range(asked.readings)
                )
        for state, station, reading in seen:
            known = {"run_id": run, "station_id": station, "reading": str(reading), "state": state}
            rows.append({name: known.get(name, "") for name in names})
    return pd.DataFrame(rows, columns=list(names), dtype=object)


def _oil(brief: Brief, planned: pd.DataFrame) -> pd.DataFrame:
    """oil.csv: the zero-hour and the last sample of each run."""
    names = columns.of_oil(brief) + (columns.OIL_ACCOUNT if brief.oil is not None else ())
    hours = brief.protocol.run_time_h
    rows = []
    for run in planned["run_id"]:
        for at, word in ((0.0, "start"), (hours.target if hours else None, "end")):
            known = {"run_id": run, "sample_id": f"{run}-{word}", "at_h": "" if at is None else f"{at:g}"}
            rows.append({name: known.get(name, "") for name in names})
    return pd.DataFrame(rows, columns=list(names), dtype=object)
