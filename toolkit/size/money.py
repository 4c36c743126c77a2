"""What a design costs: hours and money from the brief's list of items, with the runs that will be lost (rank 5)."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

import pandas as pd

from toolkit.brief.model import Brief, CostItem, Stations
from toolkit.brief.positions import POSITION, column
from toolkit.design import units as kept_units
from toolkit.design.design import Design
from toolkit.size import _changes

COLUMNS = ("what", "per", "count", "count_with_repeats", "hours", "cost")


@dataclass(frozen=True)
class Price:
    """Hours and money of a design.

    Attributes
    ----------
    hours, cost : float
        With the expected repeats: this is what counts against the budget.
    hours_as_planned, cost_as_planned : float
        When no run is lost.
    expected_lost_runs : float
        Repeats that are to be expected, those of lost repeats among them: runs times p / (1 - p) for the share p.
    """

    hours: float
    cost: float
    hours_as_planned: float
    cost_as_planned: float
    expected_lost_runs: float


def of_design(design: Design) -> Price:
    """The price of a design in the brief's currency and in hours.

    Parameters
    ----------
    design : Design

    Returns
    -------
    Price

    Notes
    -----
    A lost run is made again until it is valid, so that n runs take n / (1 - p) attempts on average for the share p of
    ``lost_runs_pct`` (mean of the geometric law, textbook). Items per run, station, reading and change of a level are
    paid for each attempt. A build, part or fill is one for each run where it is new in every run, one for each unit
    where it is kept over several and carries a factor, else one for each build. What serves several runs is not paid
    again, since a repeat goes into what stands; what serves one run is. Items per position are paid for each position
    of each attempt that holds the levels of ``where``. Parts are bought beforehand: one each, and for
    each kind as many spares as repeats are expected, rounded up, one at least, which is what the register issues.
    Readings count each state (before, after). Items per campaign are paid once if a run has the levels of ``where``,
    and not again for an extension.

    Checked against: prices by hand, and attempts drawn run by run; tests/unit/size/test_money.py.
    """
    return _sum(design.brief, of_items(design), design.runs)


def of_items(design: Design) -> pd.DataFrame:
    """What a design costs, item by item.

    Returns
    -------
    DataFrame
        what, per, count and count_with_repeats (how many are paid), hours and cost (with the repeats), hours_as_planned
        and cost_as_planned; one row an item of the brief.

    Notes
    -----
    Checked against: prices by hand, tests/unit/size/test_money.py.
    """
    runs = design.table
    return _lines(design.brief, runs, set(runs["build_id"]), 0.0 if design.phase == "extension" else 1.0)


def of_added(
    brief: Brief, runs: pd.DataFrame, builds: Collection[str], *, there: pd.DataFrame | None = None
) -> Price:
    """The price of runs that are added to a plan: theirs, and that of the builds that are built for them.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        The added runs: build_id and one column per factor.
    builds : collection of str
        Builds that are built for them; the others stand already. Items per campaign are paid already too.
    there : DataFrame, optional
        The runs that they are added to: a part or fill that is kept over several runs and stands there is not paid
        again, nor are spares of a kind that has some there; the level of a factor is changed between them too.

    Notes
    -----
    Checked against: prices by hand, tests/unit/size/test_money.py.
    """
    return _sum(brief, _lines(brief, runs, set(builds), 0.0, there), len(runs))


def repeats(brief: Brief) -> float:
    """Repeats that are to be expected for each run that must be valid in the end: p / (1 - p).

    Notes
    -----
    Checked against: attempts drawn run by run, tests/unit/size/test_money.py.
    """
    lost = brief.cost.lost_runs_pct / 100.0
    return lost / (1.0 - lost)


def _sum(brief: Brief, lines: pd.DataFrame, runs: int) -> Price:
    """The price of all items together."""
    total = lines[["hours", "cost", "hours_as_planned", "cost_as_planned"]].sum()
    return Price(*(float(value) for value in total), repeats(brief) * runs)


def _lines(
    brief: Brief, runs: pd.DataFrame, builds: set[str], campaigns: float, there: pd.DataFrame | None = None
) -> pd.DataFrame:
    """One row an item: how many are paid, as planned and with the repeats, and what they come to."""
    rows = []
    for item in brief.cost.items:
        planned, with_repeats = _counts(brief, item, runs, builds, campaigns, there)
        rows.append(
            {
                "what": item.what,
                "per": item.per,
                "count": planned,
                "count_with_repeats": with_repeats,
                "hours": with_repeats * item.hours,
                "cost": with_repeats * item.price,
                "hours_as_planned": planned * item.hours,
                "cost_as_planned": planned * item.price,
            }
        )
    return pd.DataFrame(rows, columns=[*COLUMNS, "hours_as_planned", "cost_as_planned"])


def _counts(
    brief: Brief,
    item: CostItem,
    runs: pd.DataFrame,
    builds: set[str],
    campaigns: float,
    there: pd.DataFrame | None = None,
) -> tuple[float, float]:
    """How many times an item is paid: as planned, and with the repeats."""
    again = repeats(brief)
    if item.per == POSITION:
        count = _positions(brief, item, runs)
        return count, count * (1.0 + again)
    chosen = _are_for(item, runs)
    if item.per == "campaign":
        count = campaigns * float(chosen.any())
        return count, count
    if item.per == "change":
        count = _changes.expected(brief, runs, item.of)
        if there is not None:
            both = _changes.expected(brief, pd.concat([there, runs], ignore_index=True), item.of)
            count = max(0.0, both - _changes.expected(brief, there, item.of))
        return count, count * (1.0 + again)
    if item.per == "part" and there is not None:
        both = pd.concat([there, runs], ignore_index=True)
        after, before = (_parts(brief, made[_are_for(item, made)], again) for made in (both, there))
        return after[0] - before[0], after[1] - before[1]
    if there is not None and item.per in kept_units.kept(brief):
        standing = set(_changes.units_of(brief, there, item.per))
        chosen &= ~_changes.units_of(brief, runs, item.per).isin(standing)
    if item.per == "part":
        return _parts(brief, runs[chosen], again)
    if item.per in ("build", "fill"):
        # A build that stands already is not paid; a fill is, whatever build it goes into.
        paid = chosen & runs["build_id"].isin(builds) if item.per == "build" else chosen
        return _of_units(_changes.units_of(brief, runs, item.per), paid, again)
    count = float(chosen.sum()) * within_run(brief, item.per)
    return count, count * (1.0 + again)


def _are_for(item: CostItem, runs: pd.DataFrame) -> pd.Series:
    """The runs with the levels that an item is paid for."""
    chosen = pd.Series(True, index=runs.index)
    for name, level in item.where.items():
        chosen &= runs[name] == level
    return chosen


def _positions(brief: Brief, item: CostItem, runs: pd.DataFrame) -> float:
    """How many positions of the runs hold the levels of ``where``; of a factor of the run all of its positions."""
    count = 0
    for name in brief.positions.names:
        held = pd.Series(True, index=runs.index)
        for factor, level in item.where.items():
            divided = brief.factor(factor).undo == POSITION
            held &= runs[column(factor, name) if divided else factor] == level
        count += int(held.sum())
    return float(count)


def _of_units(units: pd.Series, paid: pd.Series, again: float) -> tuple[float, float]:
    """Units that hold a run for which they are paid; those of one run are needed again for every repeat."""
    each = units.value_counts()
    names = set(units[paid])
    return float(len(names)), len(names) + again * len(names & set(each[each == 1].index))


def _parts(brief: Brief, runs: pd.DataFrame, again: float) -> tuple[float, float]:
    """Parts that are bought for runs: one each, and spares of each kind."""
    if runs.empty:
        return 0.0, 0.0
    units = _changes.units_of(brief, runs, "part")
    kinds = [item.name for item in brief.factors if item.undo == "part"]
    labels = runs[kinds].astype(str).agg(" ".join, axis=1) if kinds else pd.Series("", index=runs.index)
    each = units.groupby(labels).nunique()
    alone = units.groupby(units).transform("size") == 1
    repeated = (alone.groupby(labels).sum() * again).map(lambda lost: max(1, math.ceil(lost - 1e-9)))
    return float(each.sum() + len(each)), float((each + repeated).sum())


def within_run(brief: Brief, per: str) -> float:
    """How many stations or readings one run has; 1 for what is paid once a run.

    Parameters
    ----------
    brief : Brief
    per : str
        run, station or reading.

    Notes
    -----
    Checked against: counts by hand, tests/unit/size/test_money.py.
    """
    kinds: dict[str, list[Stations]] = {}
    for response in brief.responses:
        if response.stations is not None:
            kinds.setdefault(response.stations.kind, []).append(response.stations)
    # Responses measured at the same kind of station share the stations; each has readings of its own.
    if per == "station":
        return float(sum(max(one.count for one in held) for held in kinds.values()))
    if per == "reading":
        return float(sum(s.count * s.readings * max(1, len(s.states)) for held in kinds.values() for s in held))
    return 1.0
