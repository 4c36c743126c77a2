"""One picture of what the money buys: comparisons, main effects, interactions, and what lost runs take away (rank 8).

It takes the tables of ``size.options`` and ``size.advice`` and computes nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief
from toolkit.plot import answers, ends, look, rounding, sizing
from toolkit.plot.sizing import Line

_WIDTH = 8.6
# Inches of the axes themselves; titles and labels come on top of them.
_LEAST, _TITLES = 2.3, 0.95
# What ``ends.tall`` adds to the height of the names for title and labels.
_AROUND, _LESS = 1.6, 1.3
# Letters in a line of a title: the axes begin where the longest name ends.
_TITLE = 66
_LOST = (
    ("as_planned", "as planned", "o", look.PALETTE[0]),
    ("after_one_lost", "one run lost for good", "s", look.PALETTE[1]),
    ("after_two_lost", "two runs lost", "^", look.PALETTE[2]),
)


@look.styled
def overview(table: pd.DataFrame, lost: pd.DataFrame, brief: Brief, *, response: str, plan: str) -> Any:
    """What each sum of money can find, comparisons and terms apart, and the plan's chances after lost runs.

    Parameters
    ----------
    table : DataFrame
        As ``Options.table`` gives it.
    lost : DataFrame
        As ``Advice.lost`` gives it; may be empty.
    brief : Brief
    response : str
    plan : str
        The plan whose chances after lost runs are shown.

    Returns
    -------
    Figure
        Two panels of detectable changes against cost (against runs where there is no price list), with the budget and
        the worthwhile changes drawn in, and one of chances.
    """
    asked = brief.response(response)
    log = asked.scale == "log"
    column = "detectable_ratio" if log else "detectable_change"
    both = {of: sizing.lines(table, response, column, brief, of=of) for of in ("comparison", "term")}
    panels = {of: found for of, found in both.items() if found}
    heights = [
        ends.tall([*(line.name for line in found), *("worthwhile" for _ in _edges(found))], _LEAST + _AROUND) - _LESS
        for found in panels.values()
    ]
    if len(lost):
        heights.append(0.4 + sum(0.2 + 0.16 * look.wrapped(name, 30).count("\n") for name in lost["comparison"]))
    figure = look.figure(_WIDTH, sum(heights) + _TITLES * len(heights))
    made = figure.subplots(len(heights), 1, squeeze=False, gridspec_kw={"height_ratios": heights})[:, 0]
    limits = _limits([line for found in panels.values() for line in found], log)
    for ax, (of, found), height in zip(made, panels.items(), heights, strict=False):
        _money(ax, found, brief, response, terms=of == "term", limits=limits, height=height)
    if len(lost):
        _chances(made[-1], lost, brief, plan)
    return figure


def alt_overview(table: pd.DataFrame, lost: pd.DataFrame, brief: Brief, *, response: str, plan: str) -> str:
    """What ``overview`` shows, as text made from the same numbers."""
    asked = brief.response(response)
    log = asked.scale == "log"
    said = [sizing.alt_detectable(table, brief, response=response)]
    column = "detectable_ratio" if log else "detectable_change"
    for line in sizing.lines(table, response, column, brief, of="term"):
        points = ", ".join(
            f"{sizing.change(value, log, asked.measured_in)} with {runs} runs"
            for value, runs in zip(line.values, line.runs, strict=True)
        )
        said.append(f"{'Interaction' if _interaction(line) else 'Main effect'} {line.name}: {points}.")
    for row in lost.to_dict("records"):
        parts = [
            f"{100 * row[key]:.0f} % {words}"
            for key, words, _, _ in _LOST
            if rounding.known(row[key])
        ]
        said.append(f"{row['comparison']} by {plan}: chance shown {', '.join(parts)}.")
    return " ".join(said)


def _interaction(line: Line) -> bool:
    """True for the term of an interaction."""
    return "×" in line.name


def _edges(found: Sequence[Line]) -> list[float]:
    """The worthwhile changes of some lines, each once."""
    return sorted({line.worthwhile for line in found if line.worthwhile is not None})


def _limits(found: Sequence[Line], log: bool) -> tuple[float, float]:
    """The limits that both panels of changes share."""
    values = [value for line in found for value in line.values]
    return look.limits([*values, *_edges(found), 1.0 if log else 0.0], log=log)


def _money(
    ax: Any,
    found: Sequence[Line],
    brief: Brief,
    response: str,
    *,
    terms: bool,
    limits: tuple[float, float],
    height: float,
) -> None:
    """One panel of detectable changes."""
    asked = brief.response(response)
    log, priced = asked.scale == "log", bool(brief.cost.items)
    thousands = 1000.0 if priced and max((x for line in found for x in line.cost), default=0.0) >= 10_000 else 1.0
    named = []
    for at, line in enumerate(found):
        mark = look.mark(at)
        where = [item / thousands for item in line.cost] if priced else list(map(float, line.runs))
        hollow = terms and _interaction(line)
        ax.plot(
            where,
            line.values,
            color=mark.colour,
            marker=mark.marker,
            linestyle="--" if hollow else mark.line if not terms else "-",
            markerfacecolor="white" if hollow else mark.colour,
        )
        named.append((where[-1], line.values[-1], line.name, mark.colour))
    if log:
        look.log_axis(ax, *limits, along="y")
        ticks = look.ratio_ticks(*limits)
        ax.set_yticks(ticks, [answers.per_cent(tick, None) for tick in ticks])
    else:
        ax.set_ylim(*limits)
    budget = brief.cost.budget if priced else None
    places = [place for line in found for place in (line.cost if priced else line.runs)]
    at_budget = [] if budget is None else [budget / thousands]
    left, right = look.limits([*(place / thousands for place in places), *at_budget], log=False, room=0.05)
    ax.set_xlim(left, right)
    for place in at_budget:
        ax.axvspan(place, right, color=look.BAND, linewidth=0, zorder=0)
        ax.axvline(place, color=look.INK, linewidth=1.2)
        # Beside the line, so that the title of the panel has its place above it.
        ax.annotate(
            "budget", (place, 0.02), xycoords=("data", "axes fraction"), rotation=90, va="bottom", ha="right"
        )
    for edge in _edges(found):
        ax.axhline(edge, color=look.QUIET, linestyle="--", linewidth=1.2)
        named.append((right, edge, f"worthwhile: {sizing.change(edge, log, asked.measured_in)}", look.QUIET))
    ends.names(ax, named, inches=height)
    money = " ".join(part for part in ("thousand" if thousands > 1 else "", brief.cost.currency or "money") if part)
    marked = "; filled: main effects, hollow: interactions" if terms and any(map(_interaction, found)) else ""
    ax.set_xlabel((f"cost with expected repeats ({money})" if priced else "runs") + marked)
    power = sizing.share(brief.power)
    ax.set_ylabel(f"smallest change of {measured_in.label(response)}\nshown with power {power}", parse_math=False)
    head = sizing.money_title(found, brief, log, asked.measured_in)
    if terms:
        head = head.replace(f"of {len(found)} comparisons", f"of {len(found)} terms")
    ax.set_title(look.wrapped(head, _TITLE), loc="left", parse_math=False)


def _chances(ax: Any, lost: pd.DataFrame, brief: Brief, plan: str) -> None:
    """The panel of chances after lost runs."""
    names = [look.wrapped(str(name), 30) for name in lost["comparison"]]
    for key, words, marker, colour in _LOST:
        known = [rounding.known(value) for value in lost[key]]
        if not any(known):
            continue
        places = [at for at, there in enumerate(known) if there]
        ax.plot(
            [100 * float(value) for value, there in zip(lost[key], known, strict=True) if there],
            places,
            marker=marker,
            color=colour,
            linestyle="",
            label=words,
        )
    ax.axvline(100 * brief.power, color=look.INK, linestyle=":", linewidth=1.3)
    ax.set_xlim(0, 100)
    ax.set_ylim(len(lost) - 0.5, -0.5)
    look.ticks(ax, "y", range(len(lost)), names)
    ax.tick_params(axis="y", length=0)
    ax.set_xlabel(f"chance that a difference is shown (%), asked: {sizing.share(brief.power)}")
    ax.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False)
    ax.set_title(look.wrapped(f"What lost runs take away ({plan})", _TITLE), loc="left", parse_math=False)
