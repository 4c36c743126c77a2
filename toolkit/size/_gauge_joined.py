"""A gauge study beside the scatter of runs: what a reading adds, and how much of the scatter is its own (rank 5)."""

from __future__ import annotations

import math

import pandas as pd

from toolkit.brief.model import Brief, Response
from toolkit.model.gauge_study import READING, GaugeStudy
from toolkit.size import _scatter_lines as scatter_lines
from toolkit.size.layers import Scatter

SOURCE = "gauge study"


def join(
    brief: Brief,
    response: Response,
    known: Scatter,
    study: GaugeStudy,
    runs: pd.DataFrame | None,
    lines: list[dict[str, object]],
    notes: list[str],
) -> None:
    """Add the line and the note of a gauge study; nothing where it is not of this response."""
    measured = next((item for item in brief.responses if item.stations is not None), None)
    if measured is None or measured.name != response.name or response.stations is None:
        return
    if response.per_run not in ("mean", "mean_of_log"):
        notes.append(f"{response.name}: the gauge study is not joined, because run values are no means of stations.")
        return
    level, how = 1.0, "in the unit of the response"
    if response.scale == "log":
        level = _level(response, runs)
        if not level > 0.0:
            notes.append(f"{response.name}: the gauge study is not joined: there is no run value to set it against.")
            return
        how = f"relative to a wear of {level:.3g} {response.measured_in}".rstrip()
    stations, states = response.stations, max(1, len(response.stations.states))
    found = study.table.set_index("source").loc[READING]
    factor = math.sqrt(states) / level
    limits = [None if found[name] is None else factor * float(found[name]) for name in ("conf_low", "conf_high")]
    pair = " (one before, one after)" if states == 2 else ""
    note = f"wear from single readings{pair}, {how}; by the gauge study"
    df = None
    if study.anova is not None:
        df = float(study.anova.set_index("source").loc[READING, "df"])
    lines.append(scatter_lines.line(brief, response, SOURCE, "reading", factor * float(found["sd"]), *limits, df, note))
    own = study.run_value_variance(stations=stations.count, readings=stations.readings, states=states) / level**2
    share = own / known.run.value
    times = {1: "once", 2: "twice"}.get(stations.readings, f"{stations.readings} times")
    read = f"{stations.count} stations read {times} by one operator"
    if share > 1.0:
        notes.append(
            f"{response.name}: by the gauge study alone {read} scatter more than the runs do "
            f"({100 * share:.0f} %): is it of this gauge, and in the same unit?"
        )
        return
    notes.append(f"{response.name}: the gauge makes {100 * share:.2g} % of the variance between runs ({read}).")


def _level(response: Response, runs: pd.DataFrame | None) -> float:
    """The typical run value: the median of the valid ones; 0 where there is none."""
    if runs is None or response.name not in runs:
        return 0.0
    values = runs.loc[runs["verdict"] == "valid", response.name].astype(float).dropna()
    return float(values.median()) if len(values) else 0.0
