"""Picture of two responses of the same runs against each other: as measured, and with treatments taken out (rank 8).

It takes run values, residuals and their correlation, and computes nothing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief, Response
from toolkit.plot import answers, combinations, look, rounding

_NAMED = 2
# Key entries stand side by side as long as they are short.
_COLUMNS = 4


@look.styled
def together(
    row: Mapping[str, Any], runs: pd.DataFrame, one: pd.DataFrame, other: pd.DataFrame, brief: Brief
) -> list[Any]:
    """Two pictures side by side: the run values of both responses, and what is left of them within treatments.

    Parameters
    ----------
    row : mapping
        A line of ``Analysis.agreement``.
    runs : DataFrame
        The run values that were analysed, with both responses.
    one, other : DataFrame
        As ``Checks.residuals`` gives them: of ``row["response"]`` and of ``row["other"]``.
    brief : Brief

    Returns
    -------
    list of Axes
        As measured, marked by the first and the last factor; and treatments and builds taken out, the runs furthest
        out named.
    """
    first, second = (brief.response(row[key]) for key in ("response", "other"))
    both = _both(runs, one, other, first, second)
    marks = _by_mark(brief, both)
    names = [look.wrapped(combinations.name(brief, levels), 34) for levels in marks]
    longest = max((len(line) for name in names for line in name.split("\n")), default=1)
    columns = min(_COLUMNS, max(1, 116 // (6 + longest)), max(len(names), 1))
    lines = math.ceil(len(names) / columns) * max((name.count("\n") + 1 for name in names), default=1)
    left, right = look.grid(9.2, 4.3 + 0.2 * lines, 2)
    handles = []
    for levels in marks:
        drawn, chosen = combinations.mark(brief, levels), combinations.runs_of(both, levels)
        given = {"linestyle": "none", "marker": drawn.marker, "markerfacecolor": "none", "markeredgewidth": 1.7,
                 "markeredgecolor": drawn.colour, "zorder": 3}  # fmt: skip
        handles += left.plot(chosen[first.name].astype(float), chosen[second.name].astype(float), **given)
        right.plot(chosen["_one"], chosen["_other"], **given)
    for along, response in (("x", first), ("y", second)):
        _scale(left, both[response.name].tolist(), response, along)
    for ax, text in ((left, "As measured: treatments and builds too"), (right, "Within treatments and builds")):
        ax.set_title(text, loc="left", fontsize=look.SMALLEST_PT, fontweight="normal", parse_math=False)
    right.axhline(0.0, color=look.QUIET, linewidth=1, zorder=1)
    right.axvline(0.0, color=look.QUIET, linewidth=1, zorder=1)
    right.set_xlabel(f"residual of {_rest(first)}")
    right.set_ylabel(f"residual of {_rest(second)}")
    right.margins(x=0.14, y=0.12)
    _name(right, both)
    key = left.figure.legend(handles, names, loc="outside lower center", ncols=columns, frameon=False)
    for text in key.get_texts():
        text.set_parse_math(False)
    finding = look.wrapped(_finding(row), 92)
    left.figure.suptitle(finding, x=0.01, ha="left", fontsize=look.TITLE_PT, fontweight="bold")
    return [left, right]


def alt_together(
    row: Mapping[str, Any], runs: pd.DataFrame, one: pd.DataFrame, other: pd.DataFrame, brief: Brief
) -> str:
    """What ``together`` shows, as text made from the same numbers."""
    first, second = (brief.response(row[key]) for key in ("response", "other"))
    said = [
        f"{line['run_id']} ({combinations.name(brief, line)}) {_told(line[first.name], first)} and "
        f"{_told(line[second.name], second)}"
        for line in _both(runs, one, other, first, second).to_dict("records")
    ]
    names = f"{measured_in.label(first.name)} and {measured_in.label(second.name)}"
    return f"{_finding(row)}. Runs with {names}: {'; '.join(said)}."


def _both(
    runs: pd.DataFrame, one: pd.DataFrame, other: pd.DataFrame, first: Response, second: Response
) -> pd.DataFrame:
    """The runs with both residuals, as shown, and with a place on both axes."""
    made = runs
    for column, frame, response in (("_one", one, first), ("_other", other, second)):
        factor = 100.0 if response.scale == "log" else 1.0
        rest = {str(run): factor * float(value) for run, value in zip(frame["run_id"], frame["residual"], strict=True)}
        made = made.assign(**{column: [rest.get(str(run)) for run in made["run_id"]]})
        made = made[made[column].notna()]
        made = made[[combinations.on_scale(value, response.scale == "log") for value in made[response.name]]]
    return made


def _by_mark(brief: Brief, runs: pd.DataFrame) -> list[dict[str, str]]:
    """The levels that each mark tells, those of the first and the last factor, in the order of the brief."""
    made: list[dict[str, str]] = []
    for combo in combinations.present(brief, runs):
        levels = combinations.shown_by_mark(brief, combinations.levels_of(brief, combo))
        made += [] if levels in made else [levels]
    return made


def _scale(ax: Any, values: Sequence[float], response: Response, along: str) -> None:
    """One axis of run values: limits, plain numbers at its ticks, what it measures."""
    log = response.scale == "log"
    low, high = look.limits([float(value) for value in values], log=log)
    if log:
        look.log_axis(ax, low, high, along=along)
        marks = look.value_ticks(low, high, 5)
        look.ticks(ax, along, marks, [f"{mark:,.6g}" for mark in marks])
    else:
        (ax.set_xlim if along == "x" else ax.set_ylim)(low, high)
    label = ax.set_xlabel if along == "x" else ax.set_ylabel
    label(f"{answers.quantity(response)}{', log scale' if log else ''}")


def _name(ax: Any, both: pd.DataFrame) -> None:
    """The runs furthest out carry their number."""
    far = [abs(one) + abs(other) for one, other in zip(both["_one"], both["_other"], strict=True)]
    for at in sorted(range(len(both)), key=lambda place: -far[place])[:_NAMED]:
        x, y = float(both["_one"].iloc[at]), float(both["_other"].iloc[at])
        ax.annotate(str(both["run_id"].iloc[at]), (x, y), xytext=(7 if x <= 0 else -7, 0),
                    textcoords="offset points", ha="left" if x <= 0 else "right", va="center")  # fmt: skip


def _rest(response: Response) -> str:
    """What a residual is of, and what it is measured in."""
    unit = "%, of ln" if response.scale == "log" else response.measured_in or "as measured"
    return f"{measured_in.label(response.name)} ({unit})"


def _told(value: object, response: Response) -> str:
    """A run value with its unit."""
    return f"{rounding.significant(float(str(value)))} {response.measured_in}".rstrip()


def _finding(row: Mapping[str, Any]) -> str:
    """The correlation with its interval and what may be said of it."""
    names = " and ".join(measured_in.label(row[key]) for key in ("response", "other"))
    last = str(row["sentence"])
    if row["correlation"] is None:
        return f"{look.capital(names)}: {last.partition(': ')[2]}"
    r, low, high = (f"{row[key]:.2f}".replace("-", rounding.MINUS) for key in ("correlation", "conf_low", "conf_high"))
    level = answers.level_text(float(row["conf_level"]))
    return (
        f"{look.capital(names)} within treatments: r = {r} ({level} interval {low} to {high}, "
        f"{look.name_of_runs(int(row['runs']))}); {last.rpartition('; ')[2]}"
    )
