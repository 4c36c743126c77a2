"""Picture of every station of every run: a map in which a number stands in each place (rank 8)."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from toolkit import measured_in
from toolkit.errors import ModelError
from toolkit.plot import look, rounding


@look.styled
def station_map(stations: pd.DataFrame, response: str, *, ax: Any = None) -> Any:
    """The wear of every station, a row a run and a column a station; darker is more.

    Parameters
    ----------
    stations : DataFrame
        As ``Records.stations``.
    response : str
    ax : Axes, optional
    """
    table = _wide(stations, response)
    rows, columns = table.shape
    ax = look.axes(ax, max(5.6, 1.6 + 0.66 * columns), min(12.0, 1.2 + 0.3 * rows))
    values = table.to_numpy(dtype=float)
    known = values[np.isfinite(values)]
    low, high = (float(known.min()), float(known.max())) if len(known) else (0.0, 1.0)
    span = (high - low) or 1.0
    for at in range(rows):
        for place in range(columns):
            value = values[at, place]
            if not np.isfinite(value):
                ax.text(place, at, "–", ha="center", va="center", color=look.QUIET)
                continue
            depth = (value - low) / span
            shade = 1.0 - 0.65 * depth
            ax.add_artist(_square(place, at, (shade, shade, shade)))
            ink = "white" if shade < 0.55 else look.INK
            ax.text(place, at, rounding.significant(float(value), 3), ha="center", va="center", color=ink)
    ax.set_xlim(-0.5, columns - 0.5)
    ax.set_ylim(rows - 0.5, -0.5)
    look.ticks(ax, "x", list(range(columns)), [str(name) for name in table.columns], rotation=90 if columns > 6 else 0)
    look.ticks(ax, "y", list(range(rows)), [str(name) for name in table.index])
    ax.set_xlabel(f"station; {measured_in.quantity(response)}, darker: more")
    look.title(ax, _finding(table, response))
    return ax


def alt_station_map(stations: pd.DataFrame, response: str) -> str:
    """What ``station_map`` shows, as text made from the same numbers."""
    table = _wide(stations, response)
    low, high = table.min(), table.max()
    spans = "; ".join(
        f"{name} {rounding.significant(float(low[name]), 3)} to {rounding.significant(float(high[name]), 3)}"
        for name in table.columns
    )
    return f"{_finding(table, response)}. Lowest and highest of each station over the runs: {spans}."


def _wide(stations: pd.DataFrame, response: str) -> pd.DataFrame:
    """Runs by stations; a row a part where a run has several."""
    if response not in stations.columns:
        raise ModelError(f"{response}: no station was measured for it; expected a response that has stations.")
    known = stations[stations[response].notna()]
    several = known.duplicated(["run_id", "station_id"]).any()
    rows = known["run_id"].astype(str) + (" " + known["part_id"].astype(str) if several else "")
    return known.assign(row=rows).pivot(index="row", columns="station_id", values=response)


def _finding(table: pd.DataFrame, response: str) -> str:
    """Which station wears most in how many runs."""
    label = look.capital(measured_in.label(response))
    if table.empty:
        return f"{label}: no station has a value"
    most = table.idxmax(axis=1).value_counts()
    return f"{label}: {most.index[0]} wears most in {int(most.iloc[0])} of {len(table)} runs"


def _square(x: float, y: float, colour: tuple[float, float, float]) -> Any:
    """One place of the map."""
    from matplotlib.patches import Rectangle

    return Rectangle((x - 0.5, y - 0.5), 1.0, 1.0, facecolor=colour, edgecolor="white", linewidth=1.0)
