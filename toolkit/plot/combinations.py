"""Combinations of levels for pictures: their order, names, marks, run values and means (rank 8)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from toolkit.brief.model import CENTRE, Brief, Factor
from toolkit.plot import answers, look, rounding

Levels = tuple[str, ...]


def present(brief: Brief, runs: pd.DataFrame) -> list[Levels]:
    """The combinations there are runs of, in the order of the brief; centre points last."""
    there = list(dict.fromkeys(zip(*(runs[name].astype(str) for name in brief.factor_names), strict=True)))
    return sorted(
        there,
        key=lambda combo: [
            place(brief.factor(name), level) for name, level in zip(brief.factor_names, combo, strict=True)
        ],
    )


def place(factor: Factor, level: str) -> int:
    """Where a level stands in the order of its factor; centre points after the last."""
    return factor.names.index(level) if level in factor.names else len(factor.levels)


def mark(brief: Brief, levels: Mapping[str, Any]) -> look.Mark:
    """The mark of a run: colour by the level of the first factor, marker by that of the last."""
    first, last = brief.factors[0], brief.factors[-1]
    by_first, by_last = look.mark(place(first, levels[first.name])), look.mark(place(last, levels[last.name]))
    return look.Mark(by_first.colour, by_last.marker, by_first.line)


def level_name(factor: Factor, level: str) -> str:
    """A level in a picture: 'pin P1', or 'speed 1500 r/min' for a number."""
    if level == CENTRE:
        return f"{factor.name} {CENTRE}"
    return f"{factor.name} {level} {factor.measured_in}".strip()


def name(brief: Brief, combo: Sequence[str], separator: str = ", ") -> str:
    """A combination in a picture: 'pin P1, oil O0'."""
    return separator.join(
        level_name(factor, level) for factor, level in zip(brief.factors, combo, strict=True)
    )


def runs_of(runs: pd.DataFrame, brief: Brief, combo: Sequence[str]) -> pd.DataFrame:
    """The runs of one combination."""
    chosen = pd.Series(True, index=runs.index)
    for factor, level in zip(brief.factor_names, combo, strict=True):
        chosen &= runs[factor].astype(str) == level
    return runs[chosen]


def mean_of(means: pd.DataFrame, brief: Brief, response: str, combo: Sequence[str]) -> dict[str, Any] | None:
    """The row of ``means`` for one combination; None when there is none with an estimate."""
    wanted = ", ".join(f"{factor} {level}" for factor, level in zip(brief.factor_names, combo, strict=True))
    for row in means[means["response"] == response].to_dict("records"):
        if row["contrast"] == wanted and answers.value(row["estimate"]) is not None:
            return row
    return None


def error_of(row: Mapping[str, Any], log: bool) -> float | None:
    """The standard error of a mean on its natural scale; on the log scale that of ln times the mean."""
    error = answers.value(row["std_error"])
    return error * row["estimate"] if log and error is not None else error


def told(row: Mapping[str, Any], log: bool, unit: str) -> str:
    """A mean with its limits, as text: '0.115 % (0.098 to 0.135)'."""
    error = error_of(row, log)
    low, high = answers.value(row["conf_low"]), answers.value(row["conf_high"])
    middle = f"{rounding.estimate(row['estimate'], error)} {unit}".rstrip()
    if low is None or high is None:
        return middle
    return f"{middle} ({rounding.estimate(low, error)} to {rounding.estimate(high, error)})"


def spread(count: int) -> list[float]:
    """Shifts that set several runs of one place side by side, from the left."""
    if count < 2:
        return [0.0] * count
    width = min(0.08 * (count - 1), 0.24)
    return [width * (at / (count - 1) - 0.5) for at in range(count)]


def bar(ax: Any, at: float, middle: float, low: float | None, high: float | None, drawn: look.Mark) -> None:
    """A filled mark with its interval."""
    if low is not None and high is not None:
        ax.plot([at, at], [low, high], color=drawn.colour, linewidth=1.8, solid_capstyle="butt", zorder=4)
    ax.plot([at], [middle], color=drawn.colour, marker=drawn.marker, linestyle="none", markersize=8, zorder=5)


def upright(ax: Any, values: Sequence[float], log: bool) -> None:
    """Scale the vertical axis to hold the values, with plain numbers at its ticks."""
    low, high = look.limits(values, log=log)
    if not log:
        ax.set_ylim(low, high)
        return
    look.log_axis(ax, low, high, along="y")
    ticks = look.value_ticks(low, high)
    ax.set_yticks(ticks, [f"{tick:.3g}" for tick in ticks])


def tall(labels: Sequence[str]) -> float:
    """Inches that the tick labels below an axis need, by their lines."""
    return 0.17 * max((label.count("\n") + 1 for label in labels), default=1)


def on_scale(value: float, log: bool) -> bool:
    """True for a value that can be drawn on the axis."""
    return rounding.known(value) and (not log or (value > 0 and math.isfinite(math.log(value))))
