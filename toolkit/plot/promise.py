"""Picture of what one plan promises: the chance that a difference is shown, against how large it truly is (rank 8)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief, Response
from toolkit.plot import ends, look, rounding, sizing
from toolkit.wording import joined

# A title with more letters than this counts instead of naming.
_LONGEST = 170


@dataclass(frozen=True)
class Line:
    """One curve, and the comparisons it is the same for."""

    names: tuple[str, ...]
    changes: tuple[float, ...]
    chances: tuple[float, ...]
    worthwhile: float | None
    there: float | None


@look.styled
def curves(table: pd.DataFrame, brief: Brief, *, response: str, plan: str, ax: Any = None) -> Any:
    """The chance that each comparison is shown by one plan, against its true change; alike ones share a line.

    Parameters
    ----------
    table : DataFrame
        As ``WhatIf.curve`` gives it.
    brief : Brief
    response : str
    plan : str
        The plan in a few words, with runs, hours and money, as ``WhatIf.priced`` says it.
    ax : Axes, optional

    Returns
    -------
    Axes
        With the asked power, the worthwhile changes and the false alarms drawn in; where the worthwhile change is
        reached, a marker.
    """
    asked = brief.response(response)
    found = lines(table)
    ax = look.axes(ax, 8.6, ends.tall([joined(line.names) for line in found], 3.9))
    most = max((line.changes[-1] for line in found), default=1.0)
    ax.set_xlim(0.0, most)
    ax.set_ylim(0.0, 100.0)
    for edge in sorted({line.worthwhile for line in found if line.worthwhile is not None}):
        ax.axvline(edge, color=look.QUIET, linestyle="--", linewidth=1.2)
        ax.annotate(
            f"worthwhile: {stated(edge, asked)}", (edge, 1.0), xycoords=("data", "axes fraction"),
            xytext=(0, 2), textcoords="offset points", ha="center", va="bottom", color=look.QUIET,
        )  # fmt: skip
    ax.axhline(100 * brief.power, color=look.INK, linestyle=":", linewidth=1.3)
    named = []
    for at, line in enumerate(found):
        mark = look.mark(at)
        ax.plot(line.changes, [100 * chance for chance in line.chances], color=mark.colour, linestyle=mark.line)
        if line.worthwhile is not None and line.there is not None:
            ax.plot([line.worthwhile], [100 * line.there], color=mark.colour, marker=mark.marker, linestyle="")
        named.append((most, 100 * line.chances[-1], joined(line.names), mark.colour))
    ends.names(ax, named, inches=ax.figure.get_figheight() - 1.5)
    ax.annotate(
        f"asked: {sizing.share(brief.power)}", (0.0, 100 * brief.power), xycoords=("axes fraction", "data"),
        xytext=(4, 3), textcoords="offset points", ha="left", va="bottom",
    )  # fmt: skip
    unit = "%" if asked.scale == "log" else asked.measured_in
    way = "less" if asked.better == "smaller" else "more"
    ax.set_xlabel(
        f"true change of {measured_in.label(response)} ({f'{unit} {way}'.strip()}); "
        f"at 0 every difference shown is a false alarm",
        parse_math=False,
    )
    ax.set_ylabel("chance that a difference\nis shown (%)")
    look.title(ax, _title(found, asked, plan))
    return ax


def alt_curves(table: pd.DataFrame, brief: Brief, *, response: str, plan: str) -> str:
    """What ``curves`` shows, as text made from the same numbers."""
    asked = brief.response(response)
    said = []
    for line in lines(table):
        every = list(zip(line.changes, line.chances, strict=True))
        points = ", ".join(f"{_chance(chance)} at {stated(change, asked)}" for change, chance in every[::4])
        said.append(f"{joined(line.names)}: {points}.")
    return (
        f"Chance that a difference of {measured_in.label(response)} is shown, by its true size, with {plan}. "
        f"{' '.join(said)} Asked: {sizing.share(brief.power)}."
    )


def lines(table: pd.DataFrame) -> list[Line]:
    """The curves of a table, each with all comparisons that it is the same for, in their order."""
    found: dict[tuple[Any, ...], list[str]] = {}
    for name in dict.fromkeys(table["comparison"]):
        mine = table[table["comparison"] == name]
        marked = mine[mine["worthwhile"].astype(bool)]
        edge = None if marked.empty else (float(marked["change"].iloc[0]), float(marked["chance"].iloc[0]))
        found.setdefault((tuple(mine["change"]), tuple(mine["chance"]), edge), []).append(str(name))
    return [
        Line(tuple(names), changes, chances, *(edge or (None, None)))
        for (changes, chances, edge), names in found.items()
    ]


def stated(change: float, response: Response) -> str:
    """A true change with its sign and unit: '−20 %'."""
    sign = "" if not change else rounding.MINUS if response.better == "smaller" else "+"
    return f"{sign}{change:.3g} {'%' if response.scale == 'log' else response.measured_in}".rstrip()


def _title(found: list[Line], response: Response, plan: str) -> str:
    """What the plan shows at the worthwhile change."""
    marked = [line for line in found if line.worthwhile is not None and line.there is not None]
    if not marked:
        return f"What {plan} can show"
    edges = {stated(line.worthwhile or 0.0, response) for line in marked}
    at = f"at {edges.pop()}" if len(edges) == 1 else "at the worthwhile change"
    told = [f"{_chance(line.there)} for {joined(line.names)}" for line in marked]
    if sum(map(len, told)) > _LONGEST:
        known = [line.there for line in marked if line.there is not None]
        ends_at = list(dict.fromkeys(map(_chance, (min(known), max(known)))))
        told = [f"{' to '.join(ends_at)} by comparison" if len(ends_at) > 1 else f"{ends_at[0]} for each comparison"]
    return f"{look.capital(plan)}: chance {at}: {'; '.join(told)}"


def _chance(share: float | None) -> str:
    """A chance in whole per cent."""
    return f"{100 * (share or 0.0):.0f} %"
