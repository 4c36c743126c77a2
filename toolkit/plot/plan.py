"""Picture of a plan: which combination runs when in which build (rank 8)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import Brief
from toolkit.design import strata
from toolkit.plot import combinations, look
from toolkit.wording import counted

# Letters in a line of the narrowest field, and how wide that is.
_LETTERS, _FIELD_IN = 14, 1.15
_LINE_IN, _MARKED_LINE_IN = 0.17, 0.195


@dataclass(frozen=True)
class Field:
    """One run's field in the map."""

    row: int
    column: int
    run: dict[str, Any]


@look.styled
def plan_map(order: pd.DataFrame, brief: Brief, *, ax: Any = None) -> Any:
    """The runs of a phase as fields: a row for each build, from left to right in planned order.

    Parameters
    ----------
    order : DataFrame
        As ``Order.table`` gives it: run_id, build_id, planned_order and one column per factor.
    brief : Brief
    ax : Axes, optional

    Returns
    -------
    Axes
        One field a run with its combination and number; colour and mark as ``combinations.mark``.
    """
    from matplotlib.patches import Rectangle

    told, marked = by_position.as_recorded(brief), by_position.whole(brief)
    fields = layout(order)
    wide = max((field.column for field in fields), default=0) + 1
    high = max((field.row for field in fields), default=0) + 1
    # Fields grow with the longest word of a name, as far as a row of them stays within a page.
    words = [word for field in fields for word in combinations.name(told, field.run).split(" ")]
    letters = max(min(max(map(len, words), default=0) + 1, 22, int(9.9 / wide * _LETTERS / _FIELD_IN)), _LETTERS)
    # Names of factors that no line of a field holds stand once, below the map.
    alone = any(len(word) > letters for one in told.factors for word in combinations.factor_name(one).split(" "))
    stacked = combinations.stacked_alone if alone else combinations.stacked
    names = [stacked(told, field.run, letters) for field in fields]
    # Letters with marks above them, as Ä, make a line higher.
    line = _LINE_IN if all(name.isascii() for name in names) else _MARKED_LINE_IN
    tall = 0.36 + line * max((name.count("\n") + 1 for name in names), default=1)
    ax = look.axes(ax, max(min(1.6 + _FIELD_IN * letters / _LETTERS * wide, 11.5), 5.5), 1.0 + tall * high)
    for field, name in zip(fields, names, strict=True):
        mark = combinations.mark(marked, field.run)
        left, top = field.column + 0.04, field.row + 0.05
        ax.add_artist(Rectangle((left, top), 0.92, 0.9, facecolor="white", edgecolor=mark.colour, linewidth=2.2))
        ax.plot(
            [left + 0.82],
            [top + 0.15 / tall],
            marker=mark.marker,
            color=mark.colour,
            markersize=6,
            linestyle="none",
        )
        ax.text(left + 0.06, top + 0.15 / tall, field.run["run_id"], va="center", ha="left", fontweight="bold")
        ax.text(left + 0.06, top + 0.25 / tall, name, va="top", ha="left")
    ax.set_xlim(0, wide)
    ax.set_ylim(high, 0)
    begins = [field for field in fields if field.column == 0]
    builds = order["build_id"].nunique()
    # Without builds in the brief a build is no more than a name that every run has.
    none = builds == 1 and strata.layout_of_builds(brief) == strata.RANDOMISED
    names = ["" if none else look.wrapped(str(field.run["build_id"]), 12) for field in begins]
    look.ticks(ax, "y", [field.row + 0.5 for field in begins], names)
    ax.set_xticks([])
    ax.tick_params(length=0)
    for side in ("left", "bottom"):
        ax.spines[side].set_visible(False)
    told_by = (
        f"planned order from left to right, {'row after row' if none else 'a row for each build'}; "
        f"{combinations.mark_words(marked)}"
    )
    if alone:
        told_by = f"levels of {', '.join(map(combinations.factor_name, told.factors))}; {told_by}"
    # 0.074 inch a letter; beside the axes stand the names of the builds.
    ax.set_xlabel(look.wrapped(told_by, int((ax.figure.get_figwidth() - 1.3) / 0.074)))
    look.title(ax, f"{len(order)} runs" if none else f"{len(order)} runs in {counted(builds, 'build')}")
    return ax


def alt_plan_map(order: pd.DataFrame, brief: Brief) -> str:
    """What ``plan_map`` shows, as text.

    Examples
    --------
    >>> from toolkit import shipped
    >>> from toolkit.brief import reading
    >>> from toolkit.design import factorial, orders
    >>> brief = reading.read(shipped.folder("data") / "chain-soot" / "campaign.toml")
    >>> order = orders.randomise(factorial.full(brief, builds=3), seed=brief.seed)
    >>> alt_plan_map(order.table, brief).split(". ")[0]
    '12 runs in planned order'
    """
    ordered, brief = order.sort_values("planned_order"), by_position.as_recorded(brief)
    said = []
    for build in dict.fromkeys(ordered["build_id"]):
        runs = ordered[ordered["build_id"] == build].to_dict("records")
        said.append(f"Build {build}: " + "; ".join(f"{run['run_id']} {combinations.name(brief, run)}" for run in runs))
    return f"{len(ordered)} runs in planned order. {'. '.join(said)}."


def layout(order: pd.DataFrame, most: int = 8) -> list[Field]:
    """Where each run stands: a build begins a new row, and so does every further ``most`` runs of a build."""
    made: list[Field] = []
    row, column, build = -1, 0, None
    for run in order.sort_values("planned_order").to_dict("records"):
        if run["build_id"] != build or column == most:
            row, column, build = row + 1, 0, run["build_id"]
        made.append(Field(row, column, run))
        column += 1
    return made
