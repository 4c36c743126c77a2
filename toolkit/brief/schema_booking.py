"""The form of [booking] (rank 2)."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field

from toolkit.brief.schema_table import Table

_DAYS = "days of the calendar, a whole number from 0 up"


class Booking(Table):
    """The section [booking]."""

    shape: ClassVar[str] = "a section [booking] with start, hours_a_day and days_a_week"
    start: str = Field(description="a date such as 2026-05-04")
    hours_a_day: float = Field(description="hours, a number above 0 up to 24")
    days_a_week: int = Field(description="a whole number from 1 to 7")
    free_days: list[str] = Field([], description="a list of dates such as [2026-05-14]")
    parts_in_days: int | None = Field(None, description=_DAYS)
    metrology_in_days: int | None = Field(None, description=_DAYS)
    laboratory_in_days: int | None = Field(None, description=_DAYS)
