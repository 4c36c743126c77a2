"""Combinations of levels for pictures: their order, names, marks, run values and means (rank 8)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from toolkit import measured_in, stamp
from toolkit.brief.model import CENTRE, Brief, Factor, Response
from toolkit.plot import answers, look, rounding


def present(brief: Brief, runs: pd.DataFrame) -> list[tuple[str, ...]]:
    """The combinations there are runs of, in the order of the brief; centre points last."""
    levels = (runs[name].astype(str) for name in brief.factor_names)
    there = dict.fromkeys(zip(*levels, strict=True))
    return sorted(there, key=lambda combo: [place(f, level) for f, level in zip(brief.factors, combo, strict=True)])


def levels_of(brief: Brief, combo: Sequence[str]) -> dict[str, str]:
    """A combination as factor name to level name."""
    return dict(zip(brief.factor_names, combo, strict=True))


def place(factor: Factor, level: str) -> int:
    """Where a level stands in the order of its factor; centre points after the last."""
    return factor.names.index(level) if level in factor.names else len(factor.levels)


def mark(brief: Brief, levels: Mapping[str, Any]) -> look.Mark:
    """The mark of a run: colour by the level of the first factor, marker by those of the first and the last.

    In grey two colours are as good as one; so each pair of levels has a marker of its own as far as markers go.
    """
    first, last = brief.factors[0], brief.factors[-1]
    by_first, by_last = look.mark(place(first, levels[first.name])), look.mark(place(last, levels[last.name]))
    marker = by_last.marker
    if _marked_by_both(brief):
        pair = place(first, levels[first.name]) * _places(last) + place(last, levels[last.name])
        marker = look.mark(pair).marker
    return look.Mark(by_first.colour, marker, by_first.line)


def mark_words(brief: Brief) -> str:
    """What the mark of a run tells, in words: 'colour by pin, mark by pin and oil'."""
    first, last = (factor_name(factor) for factor in (brief.factors[0], brief.factors[-1]))
    if len(brief.factors) == 1:
        return f"colour and mark by {first}"
    return f"colour by {first}, mark by {f'{first} and ' if _marked_by_both(brief) else ''}{last}"


def _marked_by_both(brief: Brief) -> bool:
    """True when there are markers enough for every pair of a level of the first and one of the last factor."""
    first, last = brief.factors[0], brief.factors[-1]
    return first is not last and _places(first) * _places(last) <= len(look.MARKERS)


def _places(factor: Factor) -> int:
    """How many levels a run may have of a factor: those of the brief, and the centre of numbers."""
    return len(factor.levels) + (1 if factor.numeric else 0)


def shown_by_mark(brief: Brief, levels: Mapping[str, Any]) -> dict[str, str]:
    """The levels that the mark of a run tells: those of the first and the last factor."""
    return {factor.name: str(levels[factor.name]) for factor in (brief.factors[0], brief.factors[-1])}


def factor_name(factor: Factor) -> str:
    """A factor as people say it: of a number without the suffix that says what it is measured in."""
    return measured_in.label(factor.name) if factor.numeric else factor.name


def level_name(factor: Factor, level: str) -> str:
    """A level in a picture: 'pin P1', or 'speed 1500 r/min' for a number."""
    unit = factor.measured_in if factor.numeric and level != CENTRE else ""
    return f"{factor_name(factor)} {level} {unit}".strip()


def name(brief: Brief, levels: Mapping[str, str]) -> str:
    """Levels in a picture, in the order of the factors: 'pin P1, oil O0'."""
    return ", ".join(level_name(f, levels[f.name]) for f in brief.factors if f.name in levels)


def stacked(brief: Brief, levels: Mapping[str, str], width: int) -> str:
    """Levels below each other, each broken into lines of at most ``width`` characters."""
    return "\n".join(look.wrapped(level_name(f, levels[f.name]), width) for f in brief.factors if f.name in levels)


def stacked_alone(brief: Brief, levels: Mapping[str, str], width: int) -> str:
    """Levels below each other without the names of their factors, each broken into lines of at most ``width``."""
    return "\n".join(look.wrapped(levels[f.name], width) for f in brief.factors if f.name in levels)


def upended(brief: Brief, levels: Mapping[str, str]) -> str:
    """Levels alone in at most two lines, for a label that is read from the side."""
    words = [levels[f.name] for f in brief.factors if f.name in levels]
    text = ", ".join(words)
    return look.wrapped(text, max(34, math.ceil(len(text) / 2) + max(map(len, words)) // 2))


def long(labels: Sequence[str]) -> float:
    """Inches that upended tick labels below an axis need, by their longest line."""
    return 0.085 * max((len(line) for label in labels for line in label.split("\n")), default=1)


def runs_of(runs: pd.DataFrame, levels: Mapping[str, str]) -> pd.DataFrame:
    """The runs that have these levels."""
    chosen = pd.Series(True, index=runs.index)
    for factor, level in levels.items():
        chosen &= runs[factor].astype(str) == level
    return runs[chosen]


def mean_of(means: pd.DataFrame, response: str, levels: Mapping[str, str]) -> dict[str, Any] | None:
    """The row of ``means`` for a combination or a level; None when there is none with an estimate."""
    for row in stamp.rows(means):
        if row["response"] == response and row["levels"] == dict(levels) and rounding.known(row["estimate"]):
            return row
    return None


def mean_name(response: Response) -> str:
    """What a mean of the response is called: on the log scale it estimates the median."""
    return "median (geometric mean)" if response.scale == "log" else "mean"


def told(row: Mapping[str, Any] | None, response: Response) -> str:
    """A mean with its limits, as text: '0.115 % (0.098 to 0.135)'; 'no mean' without a row."""
    if row is None:
        return "no mean"
    error = error_of(row, response)
    middle = f"{rounding.estimate(row['estimate'], error)} {response.measured_in}".rstrip()
    low, high = answers.value(row["conf_low"]), answers.value(row["conf_high"])
    if low is None or high is None:
        return middle
    return f"{middle} ({rounding.estimate(low, error)} to {rounding.estimate(high, error)})"


def error_of(row: Mapping[str, Any], response: Response) -> float | None:
    """The standard error of a mean on its natural scale: on the log scale that of ln times the mean."""
    error = answers.value(row["std_error"])
    return error * row["estimate"] if response.scale == "log" and error is not None else error


def hollow(ax: Any, at: float, runs: pd.DataFrame, response: Response, drawn: look.Mark) -> list[float]:
    """Draw runs side by side around a place as hollow marks, and give their values."""
    log = response.scale == "log"
    values = [float(item) for item in runs[response.name].tolist() if on_scale(item, log)]
    width = min(0.08 * (len(values) - 1), 0.24)
    places = [
        at + (width * (turn / (len(values) - 1) - 0.5) if len(values) > 1 else 0.0) for turn in range(len(values))
    ]
    ax.plot(
        places,
        values,
        linestyle="none",
        marker=drawn.marker,
        markerfacecolor="none",
        markeredgecolor=drawn.colour,
        markersize=6,
        zorder=3,
    )
    return values


def bar(ax: Any, at: float, row: Mapping[str, Any], drawn: look.Mark) -> list[float]:
    """Draw a mean with its interval, and give the values drawn."""
    low, high = answers.value(row["conf_low"]), answers.value(row["conf_high"])
    ax.plot(
        [at],
        [row["estimate"]],
        color=drawn.colour,
        marker=drawn.marker,
        linestyle="none",
        markersize=8,
        zorder=5,
    )
    if low is None or high is None:
        return [row["estimate"]]
    ax.plot([at, at], [low, high], color=drawn.colour, linewidth=1.8, solid_capstyle="butt", zorder=4)
    return [row["estimate"], low, high]


def upright(ax: Any, values: Sequence[float], response: Response) -> None:
    """Scale the vertical axis to hold the values, label it, and put plain numbers at its ticks."""
    log = response.scale == "log"
    low, high = look.limits(values, log=log)
    if log:
        look.log_axis(ax, low, high, along="y")
        ticks = look.value_ticks(low, high)
        ax.set_yticks(ticks, [f"{tick:,.6g}" for tick in ticks])
    else:
        ax.set_ylim(low, high)
    ax.set_ylabel(f"{answers.quantity(response)}{', log scale' if log else ''}")


def tall(labels: Sequence[str]) -> float:
    """Inches that the tick labels below an axis need, by their lines."""
    return 0.17 * max((label.count("\n") + 1 for label in labels), default=1)


def on_scale(value: object, log: bool) -> bool:
    """True for a value that has a place on the axis."""
    return rounding.known(value) and (not log or (value > 0 and math.isfinite(math.log(value))))  # type: ignore
