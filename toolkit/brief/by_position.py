"""A brief as tables of runs see it, and as a response of the whole run sees it, where positions hold parts (rank 2).

Tables of runs have a row a run: what a position held stands in a column of its own (``ring@cyl 1``). What is measured
in a position is analysed with a row a run and position; what is measured once a run (oil, blow-by) says nothing of a
factor whose levels run side by side in it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from itertools import product

from toolkit.brief.model import Brief, Comparison, CostItem, Factor, Response
from toolkit.brief.positions import POSITION, column

# What a factor of one column of a run table counts as: it has the run as its unit.
_COLUMN = "setting"


def divided(brief: Brief) -> bool:
    """True where a run is divided into positions that hold levels of their own."""
    return any(item.undo == POSITION for item in brief.factors)


def factors(brief: Brief) -> tuple[Factor, ...]:
    """The factors whose unit is the position."""
    return tuple(item for item in brief.factors if item.undo == POSITION)


def of_whole_runs(brief: Brief) -> tuple[Factor, ...]:
    """The factors that a run has one level of."""
    return tuple(item for item in brief.factors if item.undo != POSITION)


def run_combinations(brief: Brief) -> tuple[tuple[str, ...], ...]:
    """Every combination that a run can be: of the levels of what is not changed from position to position."""
    return tuple(product(*(item.names for item in of_whole_runs(brief))))


def symbols(brief: Brief) -> tuple[tuple[str, ...], ...]:
    """Every combination of levels that a position can hold."""
    return tuple(product(*(item.names for item in factors(brief))))


def each_held(brief: Brief) -> str:
    """What a run holds side by side, in words: '4 levels of ring over 4 positions of each run'."""
    held, names = factors(brief), brief.positions.names
    what = " × ".join(item.name for item in held)
    kind = "levels" if len(held) == 1 else "combinations"
    return f"{len(symbols(brief))} {kind} of {what} over {len(names)} positions of each run"


def columns(brief: Brief) -> tuple[str, ...]:
    """The columns of a run table that hold levels: a factor of the run each, then each position of the others."""
    if not divided(brief):
        return brief.factor_names
    held = (column(item.name, name) for item in factors(brief) for name in brief.positions.names)
    return (*(item.name for item in of_whole_runs(brief)), *held)


def as_recorded(brief: Brief) -> Brief:
    """The brief as tables of runs see it: each column that holds levels is a factor; the brief itself elsewhere.

    Nothing is compared by it: questions are asked of the brief itself. Its positions stay, for the parts in them.
    """
    if not divided(brief):
        return brief
    held = tuple(
        replace(item, name=column(item.name, name), undo=_COLUMN)
        for item in factors(brief)
        for name in brief.positions.names
    )
    return replace(
        brief, factors=(*of_whole_runs(brief), *held), comparisons=(), best_of=(), families=()
    )


def whole(brief: Brief) -> Brief:
    """The brief of what changes with whole runs, for pictures with a mark a run; as recorded where nothing does."""
    kept = of_whole_runs(brief)
    return replace(brief, factors=kept) if kept and divided(brief) else as_recorded(brief)


def by_position(brief: Brief, response: Response) -> bool:
    """True where a response has a value for every position, so that it can tell factors of positions apart."""
    return divided(brief) and response.source == "stations"


def judged(brief: Brief, response: Response) -> Brief:
    """The brief by which a response is judged: without factors of positions where it is measured once a run."""
    if not divided(brief) or by_position(brief, response):
        return brief
    gone = {item.name for item in factors(brief)}
    kept = tuple(item for item in brief.comparisons if not gone & named(item))
    return replace(
        brief,
        factors=of_whole_runs(brief),
        positions=None,
        comparisons=kept,
        best_of=tuple(item for item in brief.best_of if item.factor not in gone),
        families=tuple(item for item in brief.families if any(one.family == item.name for one in kept)),
        plan=replace(
            brief.plan,
            nil_interactions=tuple(item for item in brief.plan.nil_interactions if not gone & set(item)),
        ),
        cost=replace(brief.cost, items=tuple(_of_run(brief, item) for item in brief.cost.items)),
    )


def _of_run(brief: Brief, item: CostItem) -> CostItem:
    """A line of the price by the run: every run holds each level of its positions equally often."""
    if item.per != POSITION:
        return item
    inside = [factor for factor in factors(brief) if factor.name in item.where]
    times = len(brief.positions.names) / math.prod(len(factor.levels) for factor in inside)
    held = {name: level for name, level in item.where.items() if name not in {factor.name for factor in inside}}
    return replace(item, per="run", hours=item.hours * times, amount=item.amount * times, where=held)


def named(comparison: Comparison) -> set[str]:
    """The factors that a comparison names."""
    return {*comparison.of, *comparison.against, *comparison.interaction}


def untold(brief: Brief, response: Response) -> tuple[Comparison, ...]:
    """The comparisons that a response cannot answer, since it is measured over all positions of a run together."""
    if not divided(brief) or by_position(brief, response):
        return ()
    gone = {item.name for item in factors(brief)}
    return tuple(item for item in brief.comparisons if gone & named(item))


def why_untold(brief: Brief, response: Response, comparison: Comparison) -> str:
    """Why a response measured over all positions of a run cannot answer a comparison."""
    names = " and ".join(item.name for item in factors(brief) if item.name in named(comparison))
    what = "the oil gathers the metal of all positions" if response.source == "oil" else "it has one value a run"
    return (
        f"not told by {response.name}: {what}, and every run holds all levels of {names} side by side, so that nothing "
        f"of it can be attributed to one of them; readings at stations in the positions tell it"
    )


def station_ids(response: Response) -> tuple[str, ...]:
    """The ids of the stations of a response in order: the first three letters of the kind and a number, 'RIN01'."""
    asked = response.stations
    return () if asked is None else tuple(f"{asked.kind[:3].upper()}{at + 1:02d}" for at in range(asked.count))


@lru_cache(maxsize=64)
def _dealt(ids: tuple[str, ...], names: tuple[str, ...]) -> Mapping[str, str]:
    """Stations to positions, in order, the same number each."""
    each = max(len(ids) // len(names), 1)
    return {station: names[min(at // each, len(names) - 1)] for at, station in enumerate(ids)}


def position_of(brief: Brief, response: Response) -> Mapping[str, str]:
    """Station id to the position in which it lies; empty without positions."""
    return {} if brief.positions is None else _dealt(station_ids(response), tuple(brief.positions.names))


def where_stations_lie(brief: Brief) -> dict[str, str]:
    """Station id to position, over all responses with stations."""
    found: dict[str, str] = {}
    for response in brief.responses:
        if response.stations is not None:
            found |= position_of(brief, response)
    return found
