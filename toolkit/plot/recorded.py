"""Pictures of recordings: a held channel of every run against its window, and full-load sweeps overlaid (rank 8)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from toolkit import measured_in
from toolkit.intake.dyno_summary import Summary
from toolkit.plot import look, rounding

MOST_RUNS = 16
_ACROSS = 4
# More runs than these are counted in a title and not named.
_NAMED = 6


def chosen(found: Mapping[str, Summary], channel: str) -> list[str]:
    """The runs that are shown: in their order, those with time outside first where there are too many."""
    known = [run for run, item in found.items() if channel in set(item.shown["channel"])]
    if len(known) <= MOST_RUNS:
        return known
    outside = [run for run in known if channel in set(found[run].excursions["channel"])]
    kept = {*outside, *[run for run in known if run not in outside][: max(0, MOST_RUNS - len(outside))]}
    return [run for run in known if run in kept][:MOST_RUNS]


@look.styled
def windows(found: Mapping[str, Summary], channel: str) -> Any:
    """A held channel of every run over hours: its window as lines, what lies outside shaded.

    Parameters
    ----------
    found : mapping of str to Summary
        Run to what its recordings say.
    channel : str

    Returns
    -------
    Figure
        A panel a run, up to 16: lowest to highest reading as a band, the mean as a line.
    """
    runs = chosen(found, channel)
    across = min(_ACROSS, max(len(runs), 1))
    down = max(1, math.ceil(len(runs) / across))
    figure = look.figure(2.5 * across + 0.6, 1.55 * down + 1.1)
    panels = figure.subplots(down, across, sharex=True, sharey=True, squeeze=False)
    for panel in panels.flat[len(runs) :]:
        panel.set_axis_off()
    for panel, run in zip(panels.flat, runs, strict=False):
        _panel(panel, found[run], channel)
        panel.set_title(run, fontsize=look.SMALLEST_PT, loc="left", pad=2, parse_math=False)
    width, height = figure.get_size_inches()
    # 0.098 and 0.08 inch: a bold character of the title, and one of an axis, on average with some reserve.
    title = look.wrapped(_headline(found, channel, runs), max(int((width - 0.2) / 0.098), 12))
    figure.suptitle(title, fontsize=look.TITLE_PT, fontweight="bold", x=0.01, ha="left")
    below = look.wrapped("hours run; dashed: window; shaded: outside it", int(width / 0.08))
    figure.supxlabel(below, fontsize=look.SMALLEST_PT)
    figure.supylabel(look.wrapped(measured_in.quantity(channel), int(height / 0.1)), fontsize=look.SMALLEST_PT)
    return figure


def _panel(ax: Any, item: Summary, channel: str) -> None:
    """One run."""
    shown = item.shown[item.shown["channel"] == channel].astype({"at_h": float, "lowest": float, "highest": float})
    row = item.channels[item.channels["channel"] == channel].iloc[0]
    for part in item.excursions[item.excursions["channel"] == channel].to_dict("records"):
        ax.axvspan(part["from_h"], part["to_h"], color=look.PALETTE[1], alpha=0.35, linewidth=0)
    at = shown["at_h"].to_numpy()
    ax.fill_between(at, shown["lowest"].to_numpy(), shown["highest"].to_numpy(), color=look.BAND, linewidth=0)
    ax.plot(at, shown["mean"].astype(float).to_numpy(), color=look.PALETTE[0], linewidth=0.8)
    for edge in (row["low"], row["high"]):
        ax.axhline(edge, color=look.INK, linestyle="--", linewidth=0.8)


def alt_windows(found: Mapping[str, Summary], channel: str) -> str:
    """What ``windows`` shows, as text made from the same numbers."""
    unit = measured_in.shown(channel)
    told = []
    for run in chosen(found, channel):
        row = found[run].channels[found[run].channels["channel"] == channel].iloc[0]
        inside = "always inside"
        if row["excursions"]:
            furthest = f"furthest {rounding.significant(row['furthest'], 4)} {unit}".rstrip()
            stretches = f"{row['excursions']} stretch{'es' * (row['excursions'] > 1)} outside"
            inside = f"{row['inside_pct']:.3g} % of the time inside, {stretches}, {furthest}"
        told.append(f"{run} mean {rounding.significant(row['mean'], 4)} {unit}, {inside}")
    return f"{_headline(found, channel, chosen(found, channel))}. {'; '.join(told)}."


def _headline(found: Mapping[str, Summary], channel: str, runs: list[str]) -> str:
    """How many runs went outside."""
    out = [run for run in runs if channel in set(found[run].excursions["channel"])]
    label = look.capital(measured_in.label(channel))
    less = f" (of {len(found)} recorded)" if len(runs) < len(found) else ""
    which = f" ({', '.join(out)})" if 0 < len(out) <= _NAMED else ""
    return f"{label}: {len(out)} of {len(runs)} runs{less} outside the window at some time{which}"


@look.styled
def sweeps(found: Mapping[str, Summary], *, ax: Any = None) -> Any:
    """Full-load torque over speed of every sweep as recorded, overlaid; those that do not count are dashed.

    Parameters
    ----------
    found : mapping of str to Summary
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    ax = look.axes(ax, 7.2, 4.2)
    told = {"left": "does not count", "counts": "counts"}
    for item in found.values():
        counting = set(item.sweeps.loc[item.sweeps["counts"].astype(bool), "number"])
        for number, curve in item.curves.groupby("number", sort=False):
            counts = number in counting
            ax.plot(
                curve["speed_rpm"].astype(float).to_numpy(),
                curve["torque_Nm"].astype(float).to_numpy(),
                color=look.PALETTE[0] if counts else look.PALETTE[1],
                linestyle="-" if counts else "--",
                linewidth=0.8,
                alpha=0.6,
                zorder=2 if counts else 3,
                label=told.pop("counts" if counts else "left", None),
            )
    ax.set_xlabel("speed (r/min)")
    ax.set_ylabel("torque at full load, as recorded (N·m)")
    ax.legend(frameon=False, loc="best")
    look.title(ax, _swept(found))
    return ax


def alt_sweeps(found: Mapping[str, Summary]) -> str:
    """What ``sweeps`` shows, as text made from the same numbers."""
    told = []
    for run, item in found.items():
        if len(item.sweeps):
            values = item.sweeps.loc[item.sweeps["counts"].astype(bool), "torque_Nm"].astype(float)
            spread = f" of {values.min():.4g} to {values.max():.4g} N·m" if len(values) else ""
            told.append(f"{run} {len(values)} sweeps that count{spread}")
    return f"{_swept(found)}. Means over the window: {'; '.join(told)}."


def _swept(found: Mapping[str, Summary]) -> str:
    """How many sweeps there are."""
    every = sum(len(item.sweeps) for item in found.values())
    counting = sum(int(item.sweeps["counts"].astype(bool).sum()) for item in found.values())
    runs = sum(bool(len(item.sweeps)) for item in found.values())
    return f"{every} full-load sweeps of {runs} run{'s' * (runs != 1)}, {counting} of them count"
