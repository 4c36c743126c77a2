"""Which hours of the test cell each build and run takes, and on which days they fall (rank 5)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pandas as pd

from toolkit.brief.booking import Booking
from toolkit.brief.model import Brief, CostItem
from toolkit.errors import SizingError
from toolkit.size import _changes, money

SET_UP, REBUILD, RUN, KEPT_FREE = "set-up", "rebuild", "run", "kept free"
COLUMNS = ("what", "of", "build_id", "begins", "ends", "hours", "measured_by", "oil_back_by")
_LAST_YEAR = 2150
_HAIR = 1e-9


@dataclass(frozen=True, eq=False)
class Dates:
    """The days of a phase.

    Attributes
    ----------
    parts_ordered_by : date or None
        The last day to order parts on; None where nothing is said of how long they take.
    complete : date
        The day on which the last figure is to be expected, if no run is lost.
    hours : float
        Of the test cell, as planned [h].
    kept_free : float
        Hours that the expected repeats of lost runs take [h].
    notes : tuple of str
    """

    parts_ordered_by: date | None
    complete: date
    hours: float
    kept_free: float
    notes: tuple[str, ...]
    _rows: pd.DataFrame

    @property
    def table(self) -> pd.DataFrame:
        """One row a set-up, rebuild, run, and the time kept free: what, of (the run or build), build_id, begins, ends
        (days), hours, measured_by, oil_back_by (None where nothing is said of it)."""
        return self._rows.copy()

    def __repr__(self) -> str:
        """When all is in, and what there is to know of it."""
        return "\n".join([f"complete on {self.complete}", *self.notes])


def dates(brief: Brief, runs: pd.DataFrame, *, phase: str) -> Dates:
    """The days on which builds and runs of a phase fall, in their planned order, one after the other.

    Parameters
    ----------
    brief : Brief
        With a ``booking``.
    runs : DataFrame
        The run list in planned order: run_id, build_id and one column per factor.
    phase : str
        pilot, main or extension.

    Returns
    -------
    Dates

    Raises
    ------
    SizingError
        When the brief says neither what hours a run takes nor how long it lasts, has no [booking], or the dates reach
        beyond the year 2150.

    Notes
    -----
    The hours of an item are taken where it falls due: per build before its first run, per change of a level before the
    run that has the new one, per part or fill with its first run, per campaign before all (not for an extension). A
    run that is longer than a day goes on on the next working day. What is kept free is what ``size.money`` expects
    lost runs to take; it stands behind all runs, since nobody knows which will be lost.

    Checked against: days counted by hand on a calendar, tests/unit/size/test_dates.py.
    """
    asked = brief.booking
    if asked is None:
        raise SizingError(
            "The brief has no [booking], so there are no days to tell. Add it with start, hours_a_day and days_a_week; "
            "campaign.toml of a new campaign has the lines."
        )
    each, told = _hours_of_runs(brief, runs)
    cell = _Cell(asked)
    rows: list[dict[str, Any]] = []

    def take(what: str, of: str, build: str, hours: float) -> None:
        """Take hours of the test cell, and keep a row of it."""
        begins, ends = cell.take(hours)
        back = {"measured_by": asked.metrology_in_days, "oil_back_by": asked.laboratory_in_days}
        later = {
            key: ends + timedelta(days=days) if what == RUN and days is not None else None
            for key, days in back.items()
        }
        row = {"what": what, "of": of, "build_id": build, "begins": begins, "ends": ends, "hours": hours}
        rows.append(row | later)

    once = _hours(brief.cost.items, "campaign", runs) if phase != "extension" else 0.0
    if once:
        take(SET_UP, "", "", once)
    before = ""
    for run, hours in zip(runs.to_dict("records"), each, strict=True):
        build = str(run["build_id"])
        if build != before:
            mine = runs[runs["build_id"] == run["build_id"]]
            rebuild = _hours(brief.cost.items, "build", mine)
            if rebuild:
                take(REBUILD, build, build, rebuild)
            before = build
        take(RUN, str(run["run_id"]), build, hours)
    if not any(item.source == "oil" for item in brief.responses):
        for row in rows:
            row["oil_back_by"] = None
    planned = sum(row["hours"] for row in rows)
    free = _repeats(brief, runs, each, told)
    if free:
        take(KEPT_FREE, "", "", free)
    days = [row[key] for row in rows for key in ("measured_by", "oil_back_by", "ends") if row["what"] != KEPT_FREE]
    order = None if asked.parts_in_days is None else cell.first - timedelta(days=asked.parts_in_days)
    frame = pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)
    return Dates(order, max(day for day in days if day is not None), float(planned), float(free), tuple(told), frame)


def _hours_of_runs(brief: Brief, runs: pd.DataFrame) -> tuple[list[float], list[str]]:
    """What hours each run takes with what is done for it alone, and what is to be said of it."""
    items = brief.cost.items
    if not any(item.per == "run" and item.hours for item in items):
        lasts = brief.protocol.run_time_h
        if lasts is None:
            raise SizingError(
                "The brief says neither what hours a run takes (an item per = \"run\" with hours in [cost]) nor how "
                "long it lasts ([protocol] run_time_h), so there are no days to tell. Add one of them."
            )
        return [lasts.target] * len(runs), [
            f"no item of [cost] says what hours a run takes: {lasts.target:g} h each, the target of run_time_h, "
            f"without any time between runs"
        ]
    units = {unit: _changes.units_of(brief, runs, unit).tolist() for unit in ("part", "fill")}
    made = []
    earlier: Mapping[str, Any] = {}
    for at, run in enumerate(runs.to_dict("records")):
        hours = 0.0
        for item in items:
            if any(str(run[name]) != level for name, level in item.where.items()):
                continue
            if item.per in ("run", "station", "reading"):
                hours += item.hours * money.within_run(brief, item.per)
            elif item.per in units:
                hours += item.hours * (units[item.per][at] not in units[item.per][:at])
            elif item.per == "change" and earlier:
                hours += item.hours * (earlier[item.of] != run[item.of])
        made.append(hours)
        earlier = run
    return made, []


def _hours(items: tuple[CostItem, ...], per: str, runs: pd.DataFrame) -> float:
    """What hours the items of one kind take once, where one of the runs has the levels they are for."""
    total = 0.0
    for item in items:
        chosen = pd.Series(True, index=runs.index)
        for name, level in item.where.items():
            chosen &= runs[name].astype(str) == level
        total += item.hours if item.per == per and chosen.any() else 0.0
    return total


def _repeats(brief: Brief, runs: pd.DataFrame, each: list[float], told: list[str]) -> float:
    """Hours that lost runs are expected to take."""
    if told:
        return sum(each) * money.repeats(brief)
    price = money.of_added(brief, runs, set(runs["build_id"]))
    return price.hours - price.hours_as_planned


class _Cell:
    """The test cell: which day it is, and how much of it is used."""

    def __init__(self, asked: Booking) -> None:
        """Begin on the first day."""
        self.first = self._day = date.fromisoformat(asked.start)
        self._used = 0.0
        self._asked = asked
        self._free = {date.fromisoformat(day) for day in asked.free_days}

    def take(self, hours: float) -> tuple[date, date]:
        """Take hours; the day they begin on and the day they end on."""
        if self._used > self._asked.hours_a_day - _HAIR:
            self._turn()
        begins = self._day
        while hours > self._asked.hours_a_day - self._used + _HAIR:
            hours -= self._asked.hours_a_day - self._used
            self._turn()
        self._used += hours
        return begins, self._day

    def _turn(self) -> None:
        """Go to the next working day."""
        self._used = 0.0
        while True:
            self._day += timedelta(days=1)
            if self._day.year > _LAST_YEAR:
                raise SizingError(
                    f"The runs would reach beyond the year {_LAST_YEAR} at {self._asked.hours_a_day:g} hours a day. "
                    f"Look at [booking] and at the hours in [cost]."
                )
            if self._day.weekday() < self._asked.days_a_week and self._day not in self._free:
                return
