"""Checks of when the test cell works (rank 2)."""

from __future__ import annotations

import re
from datetime import date

from toolkit.brief.found import Found, Loc, quoted, within
from toolkit.brief.model import Brief

LONGEST_DAYS = 1000
_MOST_FREE = 400
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
_WEEK = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_FORM = "a day between 2000 and 2100, written as 2026-05-04"


def booking(brief: Brief) -> list[Found]:
    """What is wrong with [booking]."""
    asked = brief.booking
    if asked is None:
        return []
    made = within(("booking", "hours_a_day"), asked.hours_a_day, lambda v: 0 < v <= 24, "hours above 0, up to 24")
    made += within(("booking", "days_a_week"), asked.days_a_week, lambda v: 1 <= v <= 7, "a whole number from 1 to 7")
    for key in ("parts_in_days", "metrology_in_days", "laboratory_in_days"):
        made += within(
            ("booking", key), getattr(asked, key), lambda v: 0 <= v <= LONGEST_DAYS, f"0 to {LONGEST_DAYS} days"
        )
    free = asked.free_days or ()
    if len(free) > _MOST_FREE:
        made.append(Found(("booking", "free_days"), f"{len(free)} free days", f"{_MOST_FREE} at most"))
    for at, day in enumerate(free):
        loc: Loc = ("booking", "free_days", at)
        made += _date(loc, day)
        if day is not None and day in free[:at]:
            made.append(Found(loc, f"{quoted(day)} stands twice", "every day once", "Delete one of them."))
    wrong = _date(("booking", "start"), asked.start)
    return made + (wrong or _worked(brief, made))


def _date(loc: Loc, value: str | None) -> list[Found]:
    """Text that is no date."""
    if value is None or day_of(value) is not None:
        return []
    return [Found(loc, f"{quoted(value)} is no date", _FORM)]


def day_of(text: str) -> date | None:
    """The day that a text names as 2026-05-04; None where it names none between 2000 and 2100."""
    try:
        found = date.fromisoformat(text) if _DATE.fullmatch(text) else None
    except ValueError:
        return None
    return found if found is not None and 2000 <= found.year <= 2100 else None


def _worked(brief: Brief, made: list[Found]) -> list[Found]:
    """A first day on which nobody works."""
    asked = brief.booking
    if made or asked is None or asked.start is None or asked.days_a_week is None:
        return []
    first = day_of(asked.start)
    loc: Loc = ("booking", "start")
    if first is not None and asked.start in asked.free_days:
        return [Found(loc, f"{asked.start} is one of the free days", "a working day", "Take the next one.")]
    if first is not None and first.weekday() >= asked.days_a_week:
        told = f"{asked.start} is a {_WEEK[first.weekday()]}"
        worked = f"a working day, Monday to {_WEEK[asked.days_a_week - 1]}" if asked.days_a_week > 1 else "a Monday"
        return [Found(loc, told, worked, "Take the next one, or change days_a_week.")]
    return []
