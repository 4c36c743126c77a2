"""Pictures of the records: every run in the order it was run, void and pending ones too (rank 8)."""

from __future__ import annotations

from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import PHASES, Brief
from toolkit.plot import combinations, look, rounding

_LISTED = 6


@look.styled
def timeline(runs: pd.DataFrame, brief: Brief, *, response: str, ax: Any = None) -> Any:
    """The run values in the order they were run: builds shaded, void runs crossed with their reason.

    Parameters
    ----------
    runs : DataFrame
        Run values, also void and pending runs; phases one after the other.
    brief : Brief
    response : str
    ax : Axes, optional

    Returns
    -------
    Axes
        One place on the horizontal axis for each run that was made; pending runs are listed below it.
    """
    log = brief.response(response).scale == "log"
    made, pending = in_order(runs)
    on_axis = made[response].map(lambda value: combinations.on_scale(value, log)).astype(bool)
    void = made["verdict"] != "valid"
    below = [look.wrapped(line, 105) for line in listed_below(made[void], made[~void & ~on_axis], pending, response)]
    shown = made[~void & on_axis]
    marks = _by_mark(brief, shown)
    names = [look.wrapped(combinations.name(brief, levels), 24) for levels in marks]
    beside = 1.6 + sum(0.17 * (name.count("\n") + 1) + 0.12 for name in names)
    ax = look.axes(ax, 9.0, max(3.9, beside) + 0.17 * sum(text.count("\n") + 1 for text in below))
    combinations.upright(ax, made.loc[on_axis, response].tolist(), brief.response(response))
    _shade(ax, made)
    for name, levels in zip(names, marks, strict=True):
        mark = combinations.mark(brief, levels)
        drawn = {"marker": mark.marker, "s": 62, "facecolor": "none", "edgecolor": mark.colour, "linewidth": 1.7}
        chosen = combinations.runs_of(shown, levels)
        ax.scatter(chosen["place"], chosen[response].astype(float), label=name, zorder=4, **drawn)
    bottom = ax.get_ylim()[0]
    crossed = [
        (row["place"], row[response] if seen else bottom)
        for row, seen in zip(made[void].to_dict("records"), on_axis[void], strict=True)
    ]
    if crossed:
        ax.scatter(
            *zip(*crossed, strict=True),
            marker="x",
            color=look.INK,
            s=80,
            linewidth=2.2,
            zorder=5,
            clip_on=False,
            label="void (reason below)",
        )
    ax.set_xlim(0.3, max(len(made), 1) + 0.7)
    step = max(1, -(-len(made) // 24))
    named = made.iloc[::step]
    look.ticks(ax, "x", named["place"].tolist(), named["run_id"].tolist(), rotation=90 if len(made) > 14 else 0)
    ax.set_xlabel("\n".join([f"runs {ordered_by(made)}, builds shaded", *below]))
    ax.xaxis.label.set_horizontalalignment("left")
    ax.xaxis.label.set_x(0.0)
    if len(made):
        ax.legend(loc="center left", bbox_to_anchor=(1.0, 0.5), frameon=False, labelspacing=0.9)
    look.title(ax, f"{look.capital(measured_in.label(response))} of {count(made, pending)}")
    return ax


def alt_timeline(runs: pd.DataFrame, brief: Brief, *, response: str) -> str:
    """What ``timeline`` shows, as text made from the same numbers."""
    asked = brief.response(response)
    made, pending = in_order(runs)
    said = []
    for row in made.to_dict("records"):
        combo = combinations.name(brief, row)
        value = (
            f"{rounding.significant(row[response])} {asked.measured_in}".rstrip()
            if rounding.known(row[response])
            else "no value"
        )
        void = "" if row["verdict"] == "valid" else f", {row['verdict']}: {row['reason'] or 'no reason given'}"
        said.append(f"{row['run_id']} (build {row['build_id']}, {combo}) {value}{void}")
    waiting = f" Pending: {', '.join(pending['run_id'])}." if len(pending) else ""
    return (
        f"{look.capital(measured_in.label(response))} of {count(made, pending)} {ordered_by(made)}. "
        f"{'; '.join(said)}.{waiting}"
    )


def listed_below(void: pd.DataFrame, unseen: pd.DataFrame, pending: pd.DataFrame, response: str) -> list[str]:
    """The lines under the picture: void runs with their reason, valid runs off the axis, pending runs."""
    lines = [
        f"× {row['run_id']} {row['verdict']}: {row['reason'] or 'no reason given'}" for row in void.to_dict("records")
    ]
    if len(lines) > _LISTED:
        lines = [*lines[:_LISTED], f"and {len(lines) - _LISTED} more void runs: see the table"]
    missing = [row["run_id"] for row in unseen.to_dict("records") if not rounding.known(row[response])]
    if missing:
        lines.append(f"no value: {', '.join(missing)}")
    lines += [
        f"{row['run_id']}: {rounding.significant(row[response])} has no place on a log scale"
        for row in unseen.to_dict("records")
        if rounding.known(row[response])
    ]
    return [*lines, f"pending: {', '.join(pending['run_id'])}"] if len(pending) else lines


def ordered_by(made: pd.DataFrame) -> str:
    """What the order of the runs is: as run, or only as they are recorded."""
    known = "actual_order" in made and made["actual_order"].notna().all()
    return "in the order they were run" if known else "as they are recorded (the order they were run in is not known)"


def in_order(runs: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The runs that were made, in order, their place from 1 in a column ``place``; and the pending ones."""
    waiting = runs["verdict"] == "pending"
    phases = runs["phase"].map(lambda phase: PHASES.index(phase) if phase in PHASES else len(PHASES))
    sorted_runs = runs.assign(_phase=phases).sort_values(["_phase", "actual_order", "planned_order"], kind="stable")
    made = sorted_runs[~waiting.loc[sorted_runs.index]].drop(columns="_phase").reset_index(drop=True)
    pending = sorted_runs[waiting.loc[sorted_runs.index]].drop(columns="_phase").reset_index(drop=True)
    return made.assign(place=range(1, len(made) + 1)), pending


def count(made: pd.DataFrame, pending: pd.DataFrame) -> str:
    """How many runs are valid, void and pending, in words: '11 valid runs, 1 void, 1 pending'."""
    valid = int((made["verdict"] == "valid").sum())
    void = len(made) - valid
    text = f"{valid} valid run" + ("" if valid == 1 else "s")
    text += f", {void} void" if void else ""
    return text + (f", {len(pending)} pending" if len(pending) else "")


def _by_mark(brief: Brief, runs: pd.DataFrame) -> list[dict[str, str]]:
    """The levels told by each mark that the runs need, in the order of the brief."""
    made = [
        combinations.shown_by_mark(brief, combinations.levels_of(brief, combo))
        for combo in combinations.present(brief, runs)
    ]
    return [levels for at, levels in enumerate(made) if levels not in made[:at]]


def _shade(ax: Any, made: pd.DataFrame) -> None:
    """Shade every second build and write the names on top, upright where they would touch, or not at all."""
    builds = [str(name) for name in made["build_id"]]
    starts = [at for at in range(len(builds)) if at == 0 or builds[at] != builds[at - 1]]
    spans = list(zip(starts, [*starts[1:], len(builds)][: len(starts)], strict=True))
    for turn, (start, end) in enumerate(spans):
        if turn % 2 == 0:
            ax.axvspan(start + 0.5, end + 0.5, color=look.SHADE, linewidth=0, zorder=0)
    # Inches of the axes for each run; 0.65: what the legend and the labels at the left leave of the figure.
    each = 0.65 * ax.figure.get_figwidth() / max(len(builds), 1)
    names = {start: look.wrapped(builds[start], max(int((end - start) * each / 0.09), 1)) for start, end in spans}
    flat = all(name.count("\n") < 2 for name in names.values())
    if not flat and any(end - start < 0.2 / each for start, end in spans):
        return
    for start, end in spans:
        name = names[start] if flat else builds[start] if len(builds[start]) <= 24 else f"{builds[start][:23]}…"
        ax.annotate(
            name,
            ((start + end + 1) / 2, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 3),
            textcoords="offset points",
            ha="center",
            va="bottom",
            rotation=0 if flat else 90,
            annotation_clip=False,
        )
