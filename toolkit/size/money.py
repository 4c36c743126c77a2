"""What a design costs: hours and money from the brief's list of items, with the runs that will be lost (rank 5)."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import pandas as pd

from toolkit.brief.model import Brief, CostItem, Stations
from toolkit.design.design import Design


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
        Runs times the share of the brief.
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
    Items per run, station and reading are paid again for each lost run (expected repeats = runs times
    ``lost_runs_pct``); items per build and per campaign are not, since a repeat goes into a build that stands.
    Readings count each state (before, after); items per campaign are not paid again for an extension. (common
    practice)
    """
    runs = design.table
    return _price(design.brief, runs, set(runs["build_id"]), 0.0 if design.phase == "extension" else 1.0)


def of_added(brief: Brief, runs: pd.DataFrame, builds: Collection[str]) -> Price:
    """The price of runs that are added to a plan: theirs, and that of the builds that are built for them.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        The added runs: build_id and one column per factor.
    builds : collection of str
        Builds that are built for them; the others stand already. Items per campaign are paid already too.
    """
    return _price(brief, runs, set(builds), 0.0)


def _price(brief: Brief, runs: pd.DataFrame, builds: set[str], campaigns: float) -> Price:
    """What runs cost, with the builds among theirs that are paid for."""
    lost = brief.cost.lost_runs_pct / 100.0
    hours = money = repeat_hours = repeat_money = 0.0
    for item in brief.cost.items:
        count = _count(brief, item, runs, builds, campaigns)
        hours += count * item.hours
        money += count * item.price
        if item.per in ("run", "station", "reading"):
            repeat_hours += lost * count * item.hours
            repeat_money += lost * count * item.price
    return Price(hours + repeat_hours, money + repeat_money, hours, money, lost * len(runs))


def _count(brief: Brief, item: CostItem, runs: pd.DataFrame, builds: set[str], campaigns: float) -> float:
    """How many times an item is paid."""
    chosen = pd.Series(True, index=runs.index)
    for name, level in item.where.items():
        chosen &= runs[name] == level
    if item.per == "campaign":
        return campaigns
    if item.per == "build":
        return float(len(set(runs.loc[chosen, "build_id"]) & builds))
    return float(chosen.sum()) * _within_run(brief, item)


def _within_run(brief: Brief, item: CostItem) -> float:
    """How many stations or readings one run has; 1 for items per run."""
    kinds: dict[str, list[Stations]] = {}
    for response in brief.responses:
        if response.stations is not None:
            kinds.setdefault(response.stations.kind, []).append(response.stations)
    # Responses measured at the same kind of station share the stations; each has readings of its own.
    if item.per == "station":
        return float(sum(max(one.count for one in held) for held in kinds.values()))
    if item.per == "reading":
        return float(sum(s.count * s.readings * max(1, len(s.states)) for held in kinds.values() for s in held))
    return 1.0
