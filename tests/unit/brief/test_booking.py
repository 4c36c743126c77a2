"""[booking]: what is taken, what is refused with place and remedy, and that it stands outside every seal."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from toolkit.brief import reading
from toolkit.brief.model import Booking
from toolkit.campaign import sealed_brief
from toolkit.errors import BriefError

EXAMPLE = Path(__file__).with_name("example.toml").read_text(encoding="utf-8")
GOOD = '[booking]\nstart = "2026-05-04"\nhours_a_day = 16\ndays_a_week = 5\n'


def refused(lines: str) -> list[str]:
    with pytest.raises(BriefError) as told:
        reading.parse(f"{EXAMPLE}\n{lines}")
    return [re.sub(r"^.*? line \d+: ", "", line) for line in str(told.value).splitlines()[1:]]


def test_a_booking_is_read_and_touches_no_seal():
    more = 'free_days = ["2026-05-14"]\nparts_in_days = 30\nlaboratory_in_days = 0\n'
    brief = reading.parse(f"{EXAMPLE}\n{GOOD}{more}")
    assert brief.booking == Booking("2026-05-04", 16.0, 5, ("2026-05-14",), 30, None, 0)
    without = reading.parse(EXAMPLE)
    assert without.booking is None
    for phase in ("pilot", "main"):
        assert sealed_brief.covered(brief, phase) == sealed_brief.covered(without, phase)


def test_days_may_stand_without_quotes():
    quoted = reading.parse(f"{EXAMPLE}\n{GOOD}" 'free_days = ["2026-05-14", "2026-05-25"]\n')
    bare = GOOD.replace('"', "") + "free_days = [2026-05-14, 2026-05-25]\n"
    assert "start = 2026-05-04\n" in bare
    assert reading.parse(f"{EXAMPLE}\n{bare}") == quoted


def test_what_is_missing_or_no_date_is_told_at_once():
    free = 'free_days = ["4 May", "2026-02-30", "2026-02-30"]'
    no_date = "is no date; expected a day between 2000 and 2100, written as 2026-05-04."
    assert refused(f"[booking]\nstart = 2026-05-04T08:00:00\nhours_a_day = 0\n{free}\n") == [
        "[booking] days_a_week: missing; expected a whole number from 1 to 7.",
        "[booking] start: a date or time; expected a date such as 2026-05-04.",
        "[booking] hours_a_day: 0; expected hours above 0, up to 24.",
        f"[booking] free_days no. 1: '4 May' {no_date}",
        f"[booking] free_days no. 2: '2026-02-30' {no_date}",
        f"[booking] free_days no. 3: '2026-02-30' {no_date}",
        "[booking] free_days no. 3: '2026-02-30' stands twice; expected every day once. Delete one of them.",
    ]


@pytest.mark.parametrize(
    ("start", "days", "free", "told"),
    [
        # 2 May 2026 is a Saturday: any calendar.
        ("2026-05-02", 5, "", "2026-05-02 is a Saturday; expected a working day, Monday to Friday. Take the next one, "
         "or change days_a_week."),
        ("2026-05-05", 1, "", "2026-05-05 is a Tuesday; expected a Monday. Take the next one, or change days_a_week."),
        ("2026-05-04", 5, '"2026-05-04"', "2026-05-04 is one of the free days; expected a working day. Take the next "
         "one."),
    ],
)  # fmt: skip
def test_a_first_day_on_which_nobody_works(start, days, free, told):
    lines = f'[booking]\nstart = "{start}"\nhours_a_day = 8\ndays_a_week = {days}\nfree_days = [{free}]\n'
    assert refused(lines) == [f"[booking] start: {told}"]
