"""What recordings say goes into the table of runs; where a person wrote something else, both are told (rank 6)."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from decimal import Decimal

import pandas as pd

from toolkit.brief import check_dyno
from toolkit.brief.model import Brief
from toolkit.intake import columns
from toolkit.intake.dyno_summary import Summary
from toolkit.intake.gathered import Finding, finding, quantity

RULE = "two figures"


def filled(
    brief: Brief,
    runs: pd.DataFrame,
    recorded: Mapping[str, Summary],
    noted: Collection[tuple[str, str]] = (),
    rules: Mapping[str, Brief] | None = None,
) -> tuple[pd.DataFrame, list[Finding]]:
    """The runs with the figures of their recordings.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        As ``tables.runs`` gives them.
    recorded : mapping of str to Summary
    noted : collection of (run_id, column)
        Cells that a note put right: they count whatever was recorded.
    rules : mapping of str to Brief, optional
        Phase to the brief that its runs are judged by.

    Returns
    -------
    runs : DataFrame
        A copy: held variables with a channel of their name, run_time_h where the protocol has one, and what
        [dyno_log] gives hold the figure of the recording, told to six figures as no channel carries more.
    findings : list of Finding
        Where the table had another figure, to the places it was written in.
    """
    made = runs.copy()
    told: list[Finding] = []
    places = {name: _places(made[name]) for name in made if pd.api.types.is_float_dtype(made[name])}
    for at, run in made.iterrows():
        summary = recorded.get(str(run["run_id"]))
        if summary is None:
            continue
        judged = (rules or {}).get(str(run["phase"]), brief)
        for name, value in _given(judged, summary).items():
            if name not in made:
                made[name] = math.nan
            if value is None or (str(run["run_id"]), name) in noted:
                continue
            before = float(made.at[at, name])
            value = float(f"{value:.6g}")
            made.at[at, name] = value
            if not math.isnan(before) and abs(before - value) > 0.51 * 10.0 ** -places.get(name, 0):
                told.append(
                    finding(
                        "note",
                        RULE,
                        run_id=str(run["run_id"]),
                        column=name,
                        found=f"{quantity(before, name)} in the table of runs",
                        expected=f"{quantity(value, name)}, as recorded",
                        action="the recording counts; put the table right, or note the figure that is",
                    )
                )
    return made, told


def given(
    brief: Brief,
    recorded: Mapping[str, Summary],
    phases: Mapping[str, str],
    rules: Mapping[str, Brief] | None = None,
) -> dict[str, set[str]]:
    """Run to the columns that its recordings give a figure: nobody has to type them."""
    made = {}
    for run, summary in recorded.items():
        judged = (rules or {}).get(phases.get(run, ""), brief)
        made[run] = {name for name, value in _given(judged, summary).items() if value is not None}
    return made


def _given(brief: Brief, summary: Summary) -> dict[str, float | None]:
    """Column to the figure that a recording gives it."""
    made: dict[str, float | None] = {item.name: summary.means.get(item.name) for item in columns.held(brief)}
    made = {name: value for name, value in made.items() if name in summary.means}
    gives = check_dyno.given(brief)
    if brief.protocol.run_time_h is not None:
        made["run_time_h"] = summary.hours
    return made | {name: summary.given(what) for name, what in gives.items()}


def _places(values: pd.Series) -> int:
    """How many decimal places the figures of a column are written to."""
    known = [float(value) for value in values if not math.isnan(value)]
    return max((max(0, -int(Decimal(repr(value)).normalize().as_tuple().exponent)) for value in known), default=0)
