"""Picture of the reference runs: each in the limits the runs before it set, and the smoothed level below (rank 8)."""

from __future__ import annotations

from typing import Any

from toolkit import measured_in
from toolkit.decide.reference_chart import ReferenceChart
from toolkit.plot import answers, look, rounding


@look.styled
def reference_chart(chart: ReferenceChart) -> list[Any]:
    """The reference runs in order, and how far their level has moved.

    Parameters
    ----------
    chart : ReferenceChart

    Returns
    -------
    list of Axes
        Left the runs in their own unit with the limits of each, a line at every rebuild; right the smoothed level in
        standard deviations, 0 where nothing changed.
    """
    rows = chart.table.to_dict("records")
    single, moved = look.grid(max(8.6, 4.2 + 0.34 * len(rows)), 3.9, 2)
    places = [row["place"] for row in rows]
    names = [str(row["run_id"]) for row in rows]
    _values(single, chart, rows)
    _level(moved, chart, rows)
    for ax in (single, moved):
        ax.set_xlim(0.4, len(rows) + 0.6)
        turned = 90 if len(rows) > 6 or max(map(len, names)) > 4 else 0
        look.ticks(ax, "x", places, names, rotation=turned)
        for at, row in enumerate(rows[1:], start=1):
            if row["build_id"] != rows[at - 1]["build_id"]:
                ax.axvline(at + 0.5, color=look.QUIET, linewidth=0.8, linestyle=":", zorder=0)
    look.whole_title(single.figure, look.capital(chart.finding))
    single.set_title("Runs", fontsize=look.SMALLEST_PT, fontweight="normal")
    moved.set_title("Level, smoothed", fontsize=look.SMALLEST_PT, fontweight="normal")
    return [single, moved]


def alt_reference_chart(chart: ReferenceChart) -> str:
    """What ``reference_chart`` shows, as text made from the same numbers."""
    unit = measured_in.shown(chart.response)
    said = []
    for row in chart.table.to_dict("records"):
        edges = ""
        if row["low"] is not None and row["high"] is not None:
            edges = f" (limits {_text(row['low'])} to {_text(row['high'])})"
        mark = ", outside" if row["outside"] else ""
        level = "" if row["smoothed"] is None else f", level {rounding.fixed(row['smoothed'], 2, sign=True)} SD"
        out = ", outside its limits" if row["smoothed_outside"] else ""
        said.append(f"{row['run_id']} {_text(row['value'])}{edges}{mark}{level}{out}")
    what = look.capital(measured_in.label(chart.response)) + (f" in {unit}" if unit else "")
    return f"{look.capital(chart.finding)}. {what} of the reference runs in order: {'; '.join(said)}."


def _values(ax: Any, chart: ReferenceChart, rows: list[dict[str, Any]]) -> None:
    """The runs with the limits that those before them set."""
    values = [float(row["value"]) for row in rows]
    log = chart.scale == "log"
    edges = [row[side] for row in rows for side in ("low", "high")]
    # Limits of the third and fourth run can be a hundred times as wide as the runs: they are cut off, not drawn small.
    span = look.limits(values, log=log, room=1.6)
    inside = [edge for edge in edges if edge is not None and span[0] <= edge <= span[1]]
    low, high = look.limits([*values, *inside], log=log)
    (look.log_axis(ax, low, high, along="y") if log else ax.set_ylim(low, high))
    if log:
        ticks = look.value_ticks(low, high)
        look.ticks(ax, "y", ticks, [f"{tick:,.6g}" for tick in ticks])
    for row in rows:
        if row["low"] is not None and row["high"] is not None:
            ends = [max(row["low"], low), min(row["high"], high)]
            if ends[0] < ends[1]:
                ax.plot([row["place"]] * 2, ends, color=look.BAND, linewidth=9.0, solid_capstyle="butt", zorder=1)
    ax.plot([row["place"] for row in rows], values, color=look.QUIET, linewidth=1.0, zorder=2)
    for row in rows:
        out = bool(row["outside"])
        ax.plot([row["place"]], [row["value"]], marker=look.MARKERS[1] if out else look.MARKERS[0], linestyle="",
                color=look.PALETTE[1] if out else look.PALETTE[0], markersize=8 if out else 6.5, zorder=3)  # fmt: skip
    ax.set_ylabel(look.wrapped(measured_in.quantity(chart.response) + (", log scale" if log else ""), 36))
    ax.set_xlabel(f"reference runs in order; bars: {answers.level_text(chart.conf_level)} limits of each, told by\n"
                  f"the runs before it; dotted: rebuild")  # fmt: skip


def _level(ax: Any, chart: ReferenceChart, rows: list[dict[str, Any]]) -> None:
    """The smoothed level within its limits."""
    known = [row for row in rows if row["smoothed"] is not None]
    ax.axhline(0.0, color=look.QUIET, linewidth=0.8)
    places = [row["place"] for row in known]
    limits = [row["smoothed_limit"] for row in known]
    for sign in (1.0, -1.0):
        ax.plot(places, [sign * limit for limit in limits], color=look.INK, linewidth=1.0, linestyle="--",
                drawstyle="steps-mid")  # fmt: skip
    ax.plot(places, [row["smoothed"] for row in known], color=look.PALETTE[0], linewidth=1.2)
    for row in known:
        out = bool(row["smoothed_outside"])
        ax.plot([row["place"]], [row["smoothed"]], marker=look.MARKERS[1] if out else look.MARKERS[0], linestyle="",
                color=look.PALETTE[1] if out else look.PALETTE[0], markersize=8 if out else 6)  # fmt: skip
    reach = max([1.0, *limits, *(abs(row["smoothed"]) for row in known)])
    ax.set_ylim(-1.15 * reach, 1.15 * reach)
    ax.set_ylabel("SD of a run, 0: nothing changed")
    ax.set_xlabel(f"dashed: {answers.level_text(chart.conf_level)} limits")


def _text(value: float) -> str:
    """A value for the alt text."""
    return rounding.significant(float(value), 3)
