"""The scatter of the run values and where it comes from: builds, runs, stations, readings."""

from __future__ import annotations

import numpy as np
import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import Brief, Response
from toolkit.design import units
from toolkit.model import _component_lines as lines
from toolkit.model._unit_scatter import of_units
from toolkit.model.fit import Fit, fit
from toolkit.numeric import contrasts


def table(
    brief: Brief,
    runs: pd.DataFrame,
    response: str,
    *,
    stations: pd.DataFrame | None = None,
    readings: pd.DataFrame | None = None,
    phase: str | None = None,
) -> pd.DataFrame:
    """The SD of the run values, and its split as far as the records can tell the parts apart.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        Run values, all phases and verdicts.
    response : str
    stations : DataFrame, optional
        One row a station of a run: run_id, station_id and the response (mean of its readings, after less
        before).
    readings : DataFrame, optional
        One row a reading: run_id, station_id, state where there are states, and the response.
    phase : str, optional
        main or pilot; left out: main where there are such runs, else pilot.

    Returns
    -------
    DataFrame
        response, source, stratum, sd, conf_low, conf_high, df, conf_level, variance (signed), note. SDs are
        those of ln on the log scale (about the coefficient of variation), else in the unit of the response.
        Sources: 'run value' (what comparisons are judged by; the planning scatter), 'build', 'part' and 'fill' (where
        these are kept over several runs and carry a factor), 'run' (between
        runs, less the share of the stations), 'station' (less the share of the readings, where these are
        given), 'reading'. What cannot be told keeps its row, empty places None, and a note.

    Raises
    ------
    ModelError
        When the run values themselves cannot be analysed (see ``toolkit.model.fit.fit``).

    Notes
    -----
    Limits by chi-square for a mean square of its own; by Williams and Tukey for what lies between groups
    (toolkit.numeric.components.between_scatter). Positions are the same in every run: their means are taken
    out first, so that the station mean square is that of position by run.

    Checked against: k08-dyestuff (R 4.2.2), a two-way layout by hand, tests/unit/model/test_components.py.

    Examples
    --------
    Tappets measured at four stations each: what is between runs, and what between stations of a run.

    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = bundled.bring("tappet-finish", place, phases=("pilot", "main"))
    ...     records = campaign.records()
    >>> made = table(campaign.brief, records.runs, "mass_loss_mg", stations=records.stations)
    >>> print(made[["source", "sd", "df"]].astype({"sd": float}).round(3).to_string(index=False))
       source    sd    df
    run value 0.216  11.0
          run 0.195  11.0
      station 0.184  39.0
    """
    if phase is None:
        phase = "main" if "phase" not in runs.columns or (runs["phase"] == "main").any() else "pilot"
    made = fit(brief, runs, response, phase=phase)
    finest = made.strata.finest
    square, df = made.mean_squares[finest]
    rows = [
        lines.pure(
            made,
            f"{finest} value",
            finest,
            square,
            df,
            _of_runs(made),
        )
    ]
    rows += of_units(made)
    if made.response.stations is not None and stations is not None:
        rows += _split(made, stations, readings)
    return pd.DataFrame(rows, columns=list(lines.COLUMNS), dtype=object)


def _of_runs(made: Fit) -> str:
    """What the runs that are compared have in common, in words."""
    if by_position.divided(made.brief):
        return "between positions of the same level within a run, positions themselves taken out"
    if made.strata.plots:
        return f"between runs of the same combination and {units.NAMES[made.strata.units[-2]]}"
    return "between runs of the same combination" + (" and build" if made.strata.blocked else "")


def _split(made: Fit, stations: pd.DataFrame, readings: pd.DataFrame | None) -> list[dict[str, object]]:
    """The lines of runs, stations and readings."""
    response = made.response
    if response.per_run == "max":
        return [
            lines.row(
                made,
                "station",
                "station",
                note="not split: the run value is the largest station, and its scatter is not a sum of parts",
            )
        ]
    table = stations.loc[
        stations["run_id"].isin(made.runs["run_id"]), ["run_id", "station_id", response.name]
    ]
    lost = int(table[response.name].isna().sum())
    table = table.dropna(subset=[response.name]).reset_index(drop=True)
    if table.empty:
        return [lines.row(made, "station", "station", note="not split: no station of these runs has a value")]
    values, divisor, how = _on_scale(response, table)
    square, df, positions = _station_square(table, values)
    told = f"{how}; " + ("position means taken out (position × run)" if positions else "within runs")
    told += f"; {lost} stations without a value left out" if lost else ""
    if df < 1:
        return [lines.row(made, "station", "station", note=f"{told}: no degrees of freedom to tell it")]
    gauge = _reading_square(response, table, divisor, readings)
    rows = [_run_line(made, table, square, df)]
    if gauge is None:
        note = f"{told}; the scatter of the readings is in it"
        return [*rows, lines.pure(made, "station", "station", square, df, note)]
    reading, reading_df, times = gauge
    rows.append(
        lines.between(
            made,
            "station",
            "station",
            (times * square, df),
            (reading, reading_df),
            times,
            f"{told}, less the share of the readings",
        )
    )
    pair = (
        " (one before, one after)" if len(response.stations.states if response.stations else ()) == 2 else ""
    )
    rows.append(
        lines.pure(made, "reading", "reading", reading, reading_df, f"{how}; wear from single readings{pair}")
    )
    return rows


def _on_scale(response: Response, table: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, str]:
    """Station values on the analysis scale, what a reading is divided by to get there, and how, in words."""
    raw = table[response.name].to_numpy(dtype=float)
    if response.scale != "log":
        return raw, np.ones(len(raw)), "in the unit of the response"
    if (raw > 0.0).all():
        return np.log(raw), raw, "ln of the station values"
    average = table.groupby("run_id")[response.name].transform("mean").to_numpy(dtype=float)
    count = int((raw <= 0.0).sum())
    return raw / average, average, f"relative to the mean of the run ({count} stations are at or below 0)"


def _station_square(table: pd.DataFrame, values: np.ndarray) -> tuple[float, int, bool]:
    """The mean square of stations within runs, its df, and whether position means could be taken out."""
    in_run = _marks(table["run_id"])
    shared = table["station_id"].duplicated(keep=False).any()
    columns = np.hstack([in_run, _marks(table["station_id"])]) if shared else in_run
    solved = contrasts.least_squares(columns, values)
    return (solved.residual_ss / solved.df if solved.df else 0.0), solved.df, bool(shared)


def _reading_square(
    response: Response,
    table: pd.DataFrame,
    divisor: np.ndarray,
    readings: pd.DataFrame | None,
) -> tuple[float, int, float] | None:
    """The mean square of a wear value from single readings, its df and the readings a station; None if not
    told."""
    if readings is None or response.name not in readings.columns:
        return None
    keys = ["run_id", "station_id"]
    by = (
        [*keys, "state"]
        if "state" in readings.columns and response.stations and response.stations.states
        else keys
    )
    known = readings.dropna(subset=[response.name]).merge(table[keys].assign(divisor=divisor), on=keys)
    groups = known.groupby(by)[response.name]
    counts = groups.size()
    if counts.empty or counts.nunique() > 1 or counts.iloc[0] < 2:
        return None
    apart = (known[response.name] - groups.transform("mean")) / known["divisor"]
    df = int((counts - 1).sum())
    states = max(1, len(response.stations.states)) if response.stations else 1
    return states * float((apart**2).sum()) / df, df, float(counts.iloc[0])


def _run_line(made: Fit, table: pd.DataFrame, square: float, df: int) -> dict[str, object]:
    """The line of what lies between runs beyond their stations."""
    counts = table.groupby("run_id").size()
    finest = made.strata.finest
    total, total_df = made.mean_squares[finest]
    note = f"between {units.PLURALS[finest]}, less the share of the stations"
    if counts.nunique() > 1:
        return lines.row(
            made, finest, finest, note=f"{note}: not told, because the runs hold different numbers of stations"
        )
    if not total or square == 0.0:
        return lines.row(made, finest, finest, note=f"{note}: no degrees of freedom to tell it")
    size = float(counts.iloc[0])
    if made.response.per_run == "total" and made.response.scale != "log":
        total = total / size**2
    return lines.between(made, finest, finest, (size * total, total_df), (square, df), size, note)


def _marks(names: pd.Series) -> np.ndarray:
    """One column a name, 1 where a row has it, shape (rows, names)."""
    codes, distinct = pd.factorize(names.astype(str))
    return np.eye(len(distinct))[codes]
