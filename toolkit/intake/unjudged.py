"""Runs without a verdict keep their wear to themselves, so that they can still be judged without it (rank 6)."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from toolkit.intake import columns
from toolkit.intake.dyno_summary import Summary
from toolkit.intake.records import Records

# Findings that a run's wear could be taken from, whatever column they name.
TELLS_WEAR = (
    *("lost", "station far off", "readings far apart", "run value", "nought"),
    *("duplicates", "coarse debris", "oil account", "zero-hour figure"),
    *("wear below nought", "trace with gaps"),
)


def hidden(records: Records) -> Records:
    """The records without what was measured on runs that are not judged yet.

    Parameters
    ----------
    records : Records

    Returns
    -------
    Records
        Runs whose verdict is pending have no value of any response, no readings, no samples, and no finding that a
        value could be taken from; all else stays.
    """
    frames = records._frames
    late = set(frames.runs.loc[frames.runs["verdict"] == "pending", "run_id"])
    if not late:
        return records
    runs = frames.runs.copy()
    measured = [item.name for item in records.brief.responses]
    open_runs = runs["run_id"].isin(late)
    runs.loc[open_runs, measured] = float("nan")
    for name in (f"{item}{columns.BELOW}" for item in measured):
        if name in runs:
            runs.loc[open_runs, name] = False
    found = frames.findings
    telling = found["column"].isin(measured) | found["rule"].isin(TELLS_WEAR) if len(found) else None
    return Records(
        records.brief,
        records.inputs,
        replace(
            frames,
            runs=runs,
            readings=_without(frames.readings, late),
            stations=_without(frames.stations, late),
            oil=_without(frames.oil, late),
            metrology=frames.metrology.without(late),
            recorded=_recorded(records, late),
            findings=found if telling is None else _left(found, telling, late),
        ),
    )


def _recorded(records: Records, late: set[str]) -> dict[str, Summary]:
    """What recordings say, without figures that are a response of these runs."""
    asked = records.brief.dyno_log
    names = {item.name for item in records.brief.responses}
    tells = asked is not None and any(name in names for name in asked.gives)
    return {
        run: item.without_sweeps() if tells and run in late else item for run, item in records.recordings.items()
    }


def _left(found: pd.DataFrame, telling: pd.Series, runs: set[str]) -> pd.DataFrame:
    """The findings that tell nothing of these runs' wear."""
    return found[~(telling & found["run_id"].isin(runs))].reset_index(drop=True)


def _without(frame: pd.DataFrame | None, runs: set[str]) -> pd.DataFrame | None:
    """The rows of other runs."""
    return None if frame is None else frame[~frame["run_id"].isin(runs)].reset_index(drop=True)
