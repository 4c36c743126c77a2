"""Picture of the scatter known before the runs are booked, source by source (rank 8)."""

from __future__ import annotations

from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief, Response
from toolkit.plot import answers, look, rounding


@look.styled
def scatter(table: pd.DataFrame, brief: Brief, *, response: str, ax: Any = None) -> Any:
    """What is known of the scatter from each source, with intervals that show how little a few runs tell.

    Parameters
    ----------
    table : DataFrame
        As ``Scatter.table`` gives it.
    brief : Brief
    response : str
    ax : Axes, optional

    Returns
    -------
    Axes
        One row a source, the SD on a logarithmic axis; in per cent where the response is analysed as ln.
    """
    rows = _known(table, response)
    percent = brief.response(response).scale == "log"
    factor = 100.0 if percent else 1.0
    labels = [
        look.wrapped(
            f"{row['source']}, {row['stratum']}" + (f" ({row['df']:.3g} df)" if rounding.known(row["df"]) else ""),
            28,
        )
        for row in rows
    ]
    ax = look.axes(ax, 8.2, 1.5 + sum(0.25 + 0.17 * (label.count("\n") + 1) for label in labels))
    edges = [factor * row[key] for row in rows for key in ("sd", "conf_low", "conf_high") if rounding.known(row[key])]
    low, high = look.limits([edge for edge in edges if edge > 0], log=True)
    look.log_axis(ax, low, high)
    ticks = look.value_ticks(low, high)
    ax.set_xticks(ticks, [f"{tick:,.6g}" for tick in ticks])
    for at, row in enumerate(rows):
        colour = look.PALETTE[0] if row.get("used") is True else look.INK
        ends = [row["conf_low"], row["conf_high"]]
        if all(rounding.known(end) for end in ends):
            ax.plot(
                [max(factor * ends[0], low), factor * ends[1]],
                [at, at],
                color=colour,
                linewidth=2.2,
                solid_capstyle="butt",
            )
        if row["sd"] > 0:
            ax.plot([factor * row["sd"]], [at], marker="o", color=colour, markersize=7.5)
        ax.annotate(
            _spread(row, factor, percent, brief.response(response).measured_in)
            + ("\nthe sizing rests on this" if row.get("used") is True else ""),
            (1.02, at),
            xycoords=("axes fraction", "data"),
            va="center",
            annotation_clip=False,
        )
    ax.set_ylim(len(rows) - 0.4, -0.6)
    look.ticks(ax, "y", range(len(rows)), labels)
    ax.tick_params(axis="y", length=0)
    level = f"{answers.level_text(float(rows[0]['conf_level']))} interval" if rows else "interval"
    unit = "%, SD of ln, about the CV" if percent else brief.response(response).measured_in
    ax.set_xlabel(f"standard deviation of {measured_in.label(response)} ({unit}), log scale; bars: {level}")
    look.title(ax, _finding(rows, factor, percent, brief.response(response)))
    return ax


def _finding(rows: list[dict[str, Any]], factor: float, percent: bool, asked: Response) -> str:
    """The title: the scatter that the sizing rests on, with its interval."""
    label = measured_in.label(asked.name)
    used = [row for row in rows if row.get("used") is True]
    if not used:
        return f"Scatter of {label} by source; the sizing rests on none of them"
    told = "; ".join(
        f"{_spread(row, factor, percent, asked.measured_in)} from {row['stratum']} to {row['stratum']}" for row in used
    )
    return f"The sizing rests on a scatter of {label} of {told}"


def alt_scatter(table: pd.DataFrame, brief: Brief, *, response: str) -> str:
    """What ``scatter`` shows, as text made from the same numbers."""
    asked = brief.response(response)
    percent = asked.scale == "log"
    factor = 100.0 if percent else 1.0
    said = [
        f"{row['source']}, {row['stratum']}: {_spread(row, factor, percent, asked.measured_in)}"
        + (f" on {row['df']:.3g} df" if rounding.known(row["df"]) else "")
        + (", used for the sizing" if row.get("used") is True else "")
        for row in _known(table, response)
    ]
    return f"Standard deviation of {measured_in.label(response)} by source. {'; '.join(said)}."


def _known(table: pd.DataFrame, response: str) -> list[dict[str, Any]]:
    """The sources of one response that have an SD."""
    return [row for row in table[table["response"] == response].to_dict("records") if rounding.known(row["sd"])]


def _spread(row: dict[str, Any], factor: float, percent: bool, unit: str) -> str:
    """An SD with its interval as text: '12 % (7 to 45 %)'; of a bound 'at most 12 % (6 to 45 %)'."""
    unit = "%" if percent else unit
    middle = f"{rounding.significant(factor * row['sd'], 2)} {unit}".rstrip()
    middle = f"at most {middle}" if row.get("bound") is True else middle
    if not (rounding.known(row["conf_low"]) and rounding.known(row["conf_high"])):
        return middle
    low, high = (rounding.significant(factor * row[key], 2) for key in ("conf_low", "conf_high"))
    return f"{middle} ({low} to {high} {unit}".rstrip() + ")"
