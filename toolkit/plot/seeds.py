"""Picture of what chance alone does to the answers: many campaigns with the same truth (rank 8)."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief import model as brief_model
from toolkit.brief.model import Brief
from toolkit.plot import answers, look


@look.styled
def spread(luck: pd.DataFrame, brief: Brief, *, ax: Any = None) -> Any:
    """Each comparison over many campaigns that differ by chance alone, with the truth and one campaign marked.

    Parameters
    ----------
    luck : DataFrame
        As ``demo.lessons.luck`` gives it.
    brief : Brief
        Its primary response, on the log scale, is the one told of.
    ax : Axes, optional

    Returns
    -------
    Axes
        One row a comparison from the top: thin line 5 to 95 % of the campaigns, thick line 25 to 75 %, diamond the
        truth, ring the marked campaign.
    """
    rows = luck.to_dict("records")
    names = [look.wrapped(row["comparison"], 26) for row in rows]
    lines = max(name.count("\n") + 1 for name in names)
    ax = look.axes(ax, 8.2, 1.65 + max(0.45, 0.12 + 0.17 * lines) * len(rows))
    response = next(item for item in brief.responses if item.role == "primary")
    every = [_ratio(row[name]) for row in rows for name in luck.columns if name.endswith("_pct")]
    low, high = look.limits(every, log=True)
    look.log_axis(ax, low, high)
    ticks = look.ratio_ticks(low, high)
    ax.set_xticks(ticks, [answers.per_cent(tick, None) for tick in ticks])
    ax.set_ylim(len(rows) - 0.5, -0.5)
    ax.set_yticks(range(len(rows)), names)
    ax.tick_params(axis="y", length=0)
    ax.axvline(1.0, color=look.QUIET, linewidth=1, zorder=1)
    for place, row in enumerate(rows):
        asked = next(item for item in brief.comparisons if item.name == row["comparison"])
        edge = brief_model.worthwhile(brief, asked, response)
        if edge is not None:
            band = [math.exp(-edge), math.exp(edge)]
            ax.fill_betweenx([place - 0.5, place + 0.5], *band, color=look.BAND, linewidth=0, zorder=0)
        _row(ax, place, row)
    look.title(ax, _finding(rows))
    ax.set_xlabel(
        f"change of {measured_in.label(response.name)}, log scale; grey: too small to matter\n"
        "lines: where 90 % (thin) and 50 % (thick) of the campaigns lie\n"
        f"diamond: the truth; ring: the campaign with seed {rows[0]['seed']}"
    )
    return ax


def _finding(rows: list[dict[str, Any]]) -> str:
    """The title: how far apart chance alone puts the answer that it moves most."""
    widest = max(rows, key=lambda row: math.log(_ratio(row["high_95_pct"]) / _ratio(row["low_5_pct"])))
    return (
        f"The same truth {rows[0]['campaigns']:,} times: chance alone puts 90 % of the answers on "
        f"'{widest['comparison']}' anywhere from {_signed(widest['low_5_pct'])} to {_signed(widest['high_95_pct'])}"
    )


def alt_spread(luck: pd.DataFrame, brief: Brief) -> str:
    """What ``spread`` shows, as text made from the same numbers."""
    rows = luck.to_dict("records")
    response = next(item for item in brief.responses if item.role == "primary")
    said = [
        f"{row['comparison']}: 90 % of the campaigns find {_signed(row['low_5_pct'])} to "
        f"{_signed(row['high_95_pct'])}, true {_signed(row['true_pct'])}, "
        f"with seed {row['seed']} {_signed(row['this_pct'])}."
        for row in rows
    ]
    return (
        f"Changes of {measured_in.label(response.name)} found in {rows[0]['campaigns']:,} campaigns with the same "
        f"truth. {' '.join(said)}"
    )


def _row(ax: Any, place: int, row: dict[str, Any]) -> None:
    """Draw one comparison."""
    drawn = {"color": look.PALETTE[0], "solid_capstyle": "butt"}
    ax.plot([_ratio(row["low_5_pct"]), _ratio(row["high_95_pct"])], [place] * 2, linewidth=1.4, zorder=2, **drawn)
    ax.plot([_ratio(row["low_25_pct"]), _ratio(row["high_75_pct"])], [place] * 2, linewidth=6, zorder=3, **drawn)
    ax.plot([_ratio(row["true_pct"])], [place], marker="D", color=look.INK, markersize=7, linestyle="none", zorder=4)
    ring = {"markerfacecolor": "none", "markeredgewidth": 2.2, "linestyle": "none"}
    ax.plot([_ratio(row["this_pct"])], [place], marker="o", color=look.PALETTE[1], markersize=12, zorder=5, **ring)


def _ratio(change: float) -> float:
    """A change in per cent as a ratio."""
    return 1.0 + change / 100.0


def _signed(change: float) -> str:
    """A change in per cent with its sign."""
    return answers.per_cent(_ratio(change), 0)
