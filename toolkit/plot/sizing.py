"""Pictures of plans side by side: what can be found for the money, and chances by number of runs (rank 8).

They take the table of ``size.options`` and compute nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief, gain_sign
from toolkit.plot import answers, ends, look, rounding

# A title with more letters than this counts instead of naming.
_LONGEST = 150


@dataclass(frozen=True)
class Line:
    """One comparison over the plans, the cheapest first; plans that a cheaper one outdoes are left out."""

    name: str
    assumed: str
    worthwhile: float | None
    runs: tuple[int, ...]
    cost: tuple[float, ...]
    values: tuple[float, ...]


@look.styled
def detectable(table: pd.DataFrame, brief: Brief, *, response: str, ax: Any = None) -> Any:
    """The smallest change each comparison would show with the asked power, against what the plan costs.

    Parameters
    ----------
    table : DataFrame
        As ``Options.table`` gives it.
    brief : Brief
    response : str
    ax : Axes, optional

    Returns
    -------
    Axes
        One line a comparison, the budget and the worthwhile change drawn in.
    """
    import seaborn

    asked = brief.response(response)
    log = asked.scale == "log"
    column = "detectable_ratio" if log else "detectable_change"
    found = lines(table, response, column, brief)
    ax = look.axes(ax, 8.6, ends.tall([line.name for line in found], 4.6) + 0.2)
    thousands = 1000.0 if max((x for line in found for x in line.cost), default=0) >= 10_000 else 1.0
    values = [value for line in found for value in line.values]
    marks = {line.worthwhile for line in found if line.worthwhile is not None}
    low, high = look.limits([*values, *marks, *([1.0] if log else [0.0])], log=log)
    named = []
    for at, line in enumerate(found):
        mark = look.mark(at)
        cost = [item / thousands for item in line.cost]
        ax.plot(cost, line.values, color=mark.colour, linestyle=mark.line)
        drawn = {"color": mark.colour, "marker": mark.marker, "s": 60, "linewidth": 0, "zorder": 3}
        seaborn.scatterplot(x=cost, y=list(line.values), ax=ax, legend=False, **drawn)
        named.append((cost[-1], line.values[-1], line.name, mark.colour))
    if log:
        look.log_axis(ax, low, high, along="y")
        ticks = look.ratio_ticks(low, high)
        ax.set_yticks(ticks, [answers.per_cent(tick, None) for tick in ticks])
    else:
        ax.set_ylim(low, high)
    for edge in sorted(marks):
        ax.axhline(edge, color=look.QUIET, linestyle="--", linewidth=1.2)
    budget = brief.cost.budget
    costs = [item / thousands for line in found for item in line.cost]
    left, right = look.limits([*costs, *([budget / thousands] if budget else [])], log=False, room=0.05)
    ax.set_xlim(left, right)
    if budget:
        ax.axvspan(budget / thousands, right, color=look.BAND, linewidth=0, zorder=0)
        ax.axvline(budget / thousands, color=look.INK, linewidth=1.2)
        told = f"budget {budget:,.0f} {brief.cost.currency}".rstrip()
        ax.annotate(told, (budget / thousands, 1.0), xycoords=("data", "axes fraction"), va="bottom", ha="center")
    for edge in sorted(marks):
        named.append((right, edge, f"worthwhile: {change(edge, log, asked.measured_in)}", look.QUIET))
    ends.names(ax, named)
    money = " ".join(part for part in ("thousand" if thousands > 1 else "", brief.cost.currency or "money") if part)
    ax.set_xlabel(f"cost with expected repeats ({money})")
    ax.set_ylabel(
        f"smallest change of {measured_in.label(response)}\nshown with power {share(brief.power)}"
        f"{', log scale' if log else f' ({asked.measured_in})' if asked.measured_in else ''}"
    )
    look.title(ax, money_title(found, brief, log, asked.measured_in))
    return ax


def alt_detectable(table: pd.DataFrame, brief: Brief, *, response: str) -> str:
    """What ``detectable`` shows, as text made from the same numbers."""
    log = brief.response(response).scale == "log"
    found = lines(table, response, "detectable_ratio" if log else "detectable_change", brief)
    said = []
    for line in found:
        points = ", ".join(
            f"{change(value, log, brief.response(response).measured_in)} for {cost:,.0f}"
            for value, cost in zip(line.values, line.cost, strict=True)
        )
        said.append(f"{line.name}: {points}.")
    budget = f" Budget {brief.cost.budget:,.0f} {brief.cost.currency}." if brief.cost.budget else ""
    return (
        f"Smallest change of {measured_in.label(response)} shown with power {share(brief.power)}, by cost "
        f"with expected repeats. {' '.join(said)}{budget}"
    )


def lines(table: pd.DataFrame, response: str, column: str, brief: Brief, *, of: str = "comparison") -> list[Line]:
    """One line a comparison, or a term, with ``column`` over the plans, by cost; outdone plans are left out.

    Outdone is a plan with a smaller assurance, or a larger detectable change, than a cheaper one.
    """
    chosen = table[(table["response"] == response) & table[of].map(lambda item: isinstance(item, str))]
    made = []
    for name in dict.fromkeys(chosen[of]):
        rows = [
            row
            for row in chosen[chosen[of] == name].sort_values(["cost", "runs"]).to_dict("records")
            if rounding.known(row[column])
        ]
        kept: list[dict[str, Any]] = []
        for row in rows:
            better = not kept or _reach(row[column], column) > _reach(kept[-1][column], column)
            if better:
                kept.append(row)
        if kept:
            worthwhile = answers.value(kept[0]["worthwhile_change"])
            made.append(
                Line(
                    name,
                    assumed(kept[0], brief, response),
                    _edge(worthwhile, column, brief, response),
                    tuple(int(row["runs"]) for row in kept),
                    tuple(float(row["cost"]) for row in kept),
                    tuple(float(row[column]) for row in kept),
                )
            )
    return made


def assumed(row: dict[str, Any], brief: Brief, response: str) -> str:
    """The true change a claim was told for, with its direction: '−26 %'."""
    change = answers.value(row["assumed_change"])
    if change is None:
        return "none stated"
    asked = brief.response(response)
    sign = rounding.MINUS if asked.better == "smaller" else "+"
    unit = "%" if asked.scale == "log" else asked.measured_in
    return f"{sign}{abs(change):.4g} {unit}".rstrip()


def _reach(value: float, column: str) -> float:
    """How good a value is, larger is better: assurance as it is, a detectable change reversed."""
    if column == "assurance":
        return value
    return -abs(math.log(value)) if column == "detectable_ratio" else -abs(value)


def _edge(worthwhile: float | None, column: str, brief: Brief, response: str) -> float | None:
    """The worthwhile change where the axis of ``column`` has it; None where it has no such axis."""
    if worthwhile is None or column == "assurance":
        return None
    if column != "detectable_ratio":
        return worthwhile
    ratio = 1.0 + gain_sign(brief.response(response)) * abs(worthwhile) / 100.0
    return ratio


def change(value: float, log: bool, unit: str) -> str:
    """A detectable or worthwhile change as text."""
    return answers.per_cent(value, None) if log else f"{value:.3g} {unit}".rstrip()


def share(power: float) -> str:
    """0.8 gives '80 %'."""
    return f"{100 * power:.3g} %"


def money_title(found: Sequence[Line], brief: Brief, log: bool, unit: str) -> str:
    """What the budget can find, comparison by comparison or counted; without a budget what the dearest plan can."""
    budget = brief.cost.budget
    lead = "Within the budget" if budget else "With the dearest plan"
    said, enough = [], 0
    for line in found:
        inside = [value for value, cost in zip(line.values, line.cost, strict=True) if budget is None or cost <= budget]
        said.append(f"{line.name} from {change(inside[-1], log, unit)}" if inside else f"{line.name} nothing")
        column = "detectable_ratio" if log else "detectable_change"
        enough += bool(
            inside and line.worthwhile is not None and _reach(inside[-1], column) >= _reach(line.worthwhile, column)
        )
    if sum(map(len, said)) > _LONGEST:
        return f"{lead} {enough} of {len(found)} comparisons can be shown at the worthwhile change"
    return f"{lead} can be found: {'; '.join(said)}" if said else ""
