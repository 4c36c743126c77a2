"""When the test cell works, and how long parts, metrology and laboratory take (rank 2)."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Booking:
    """What the dates of a phase follow from, beside the hours in the prices.

    Attributes
    ----------
    start : str
        The first day in the test cell, as 2026-05-04.
    hours_a_day : float
        How long the cell works on a working day.
    days_a_week : int
        How many days of a week it works, from Monday on.
    free_days : tuple of str
        Days on which nobody works, whatever day of the week: 2026-05-14.
    parts_in_days : int or None
        Days of the calendar from ordering parts until they are there; None: nothing is said of it.
    metrology_in_days : int or None
        Days of the calendar from the end of a run until its parts are measured.
    laboratory_in_days : int or None
        Days of the calendar from the end of a run until the figures of its oil samples are back.
    """

    start: str
    hours_a_day: float
    days_a_week: int
    free_days: tuple[str, ...] = ()
    parts_in_days: int | None = None
    metrology_in_days: int | None = None
    laboratory_in_days: int | None = None
