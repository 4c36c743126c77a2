"""The records by which a response is judged, where the positions of a run hold parts of their own (rank 6)."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import Brief, Response
from toolkit.brief.positions import POSITION
from toolkit.design import positions as design_positions
from toolkit.intake import positions
from toolkit.intake.records import Records


def judged_by(records: Records, response: str) -> Records:
    """The records by which a response is judged, with the brief that judges it.

    Parameters
    ----------
    records : Records
    response : str

    Returns
    -------
    Records
        The same where runs are not divided. Of a response measured in positions: a row a run and position, run_id
        naming both ('R03/cyl 2'), stations and findings too. Of another: the runs, and the brief without factors of
        positions.

    Notes
    -----
    Checked against: rows by hand, tests/unit/intake/test_positions.py.
    """
    brief, frames = records.brief, records._frames
    asked = brief.response(response)
    if not by_position.divided(brief):
        return records
    if not by_position.by_position(brief, asked):
        return replace(records, brief=by_position.judged(brief, asked))
    rows = design_positions.rows_of(brief, frames.runs)
    known = frames.positions.set_index(["run_id", POSITION])
    keys = list(zip(rows["run"], rows[POSITION], strict=True))
    for name in (item.name for item in brief.responses if item.stations is not None):
        held = known[name]
        rows[name] = [float(held[key]) for key in keys]
        # A run whose values are hidden, because it is still to be judged, hides those of its positions.
        hidden = frames.runs.set_index("run_id")[name].isna()
        rows.loc[rows["run"].map(hidden).to_numpy(dtype=bool), name] = math.nan
    return replace(
        records,
        _frames=replace(
            frames,
            runs=rows,
            readings=_placed(brief, asked, frames.readings),
            stations=_placed(brief, asked, frames.stations),
            findings=_of_rows(frames.findings, rows),
        ),
    )


def _placed(brief: Brief, response: Response, table: pd.DataFrame | None) -> pd.DataFrame | None:
    """Those of a response with the row that they belong to; stations have the same names in every position."""
    if table is None:
        return None
    lies = by_position.position_of(brief, response)
    first = positions.alike(brief)
    home = brief.positions.names[0]
    made = table[table["station_id"].isin(list(lies))].reset_index(drop=True)
    made["run_id"] = made["run_id"].astype(str) + "/" + made["station_id"].map(lies)
    made["station_id"] = [first[station, home] for station in made["station_id"]]
    return made


def _of_rows(found: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """The findings with one line for each row of the run that they are about."""
    names = rows.groupby("run", sort=False)["run_id"].agg(list).to_dict()
    lines = [
        {**line, "run_id": row}
        for line in found.to_dict("records")
        for row in names.get(line["run_id"], [line["run_id"]])
    ]
    return pd.DataFrame(lines, columns=found.columns, dtype=object)

