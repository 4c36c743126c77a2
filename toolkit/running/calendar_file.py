"""Days as an iCalendar file (RFC 5545), which calendar programs take in (rank 5)."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from toolkit import stamp

_EDITION, _MADE_AT = re.compile(rb"(?m)^SEQUENCE:(\d{1,6})\r$"), re.compile(rb"(?m)^DTSTAMP:.*\r\n")
_FOLD, _OWN = re.compile(rb"\r\n[ \t]"), re.compile(rb"(?m)^(?:DTSTAMP|SEQUENCE):.*\r\n")
_PRODUCER = "-//Wearbook//dates of a campaign//EN"


@dataclass(frozen=True)
class Entry:
    """One entry of a calendar: whole days.

    Attributes
    ----------
    key : str
        What it is; the same key is the same entry when the file is taken in again.
    title, told : str
        Its heading and what else there is to know.
    begins, ends : date
        First and last day.
    busy : bool
        Whether it takes the test cell.
    """

    key: str
    title: str
    told: str
    begins: date
    ends: date
    busy: bool = True


def calendar(name: str, entries: Sequence[Entry], *, at: str, edition: int = 0) -> bytes:
    """The bytes of a calendar file; the same entries give the same bytes.

    Parameters
    ----------
    name : str
        What the calendar is called.
    entries : sequence of Entry
    at : str
        When it was made, ISO 8601 in UTC: the time of the last record, not that of the clock.
    edition : int
        A later one replaces an earlier one where both are taken in.

    Notes
    -----
    Checked against: RFC 5545 (whole days end on the day before DTEND; lines of 75 octets; escaped text), read back by
    the icalendar library and by a reader of our own; tests/unit/running/test_calendar_file.py.
    """
    from icalendar import Calendar, Event

    made = Calendar()
    made.add("prodid", _PRODUCER)
    made.add("version", "2.0")
    made.add("x-wr-calname", name)
    for entry in entries:
        event = Event()
        event.add("uid", f"{stamp.checksum([name, entry.key])[:32]}@wearbook")
        event.add("dtstamp", datetime.fromisoformat(at))
        event.add("sequence", edition)
        event.add("dtstart", entry.begins)
        event.add("dtend", entry.ends + timedelta(days=1))
        event.add("summary", entry.title)
        if entry.told:
            event.add("description", entry.told)
        event.add("transp", "OPAQUE" if entry.busy else "TRANSPARENT")
        made.add_component(event)
    return made.to_ical()


def continued(name: str, entries: Sequence[Entry], *, at: str, edition: int = 0, stored: bytes = b"") -> bytes:
    """The bytes of a calendar file that may replace an earlier one: its edition is higher where an entry is another.

    Parameters
    ----------
    name, entries, at
        As for ``calendar``.
    edition : int
        The lowest it may have.
    stored : bytes
        The earlier file; empty: there is none.

    Notes
    -----
    Calendar programs keep what they have where neither SEQUENCE nor DTSTAMP is later, so that days moved in
    campaign.toml alone would not move in the calendar.

    Checked against: RFC 5545, 3.8.7.4 (the number rises with every significant revision, such as another DTSTART);
    tests/unit/running/test_calendar_file.py.
    """
    before = max(map(int, _EDITION.findall(stored)), default=0)
    same = calendar(name, entries, at=at, edition=max(edition, before))
    if not stored or _MADE_AT.sub(b"", same) == _MADE_AT.sub(b"", stored):
        return same
    return calendar(name, entries, at=at, edition=max(edition, before + 1))


def said(content: bytes) -> list[str]:
    """What a calendar file says, line by line: without when it was made and how often before, lines not folded.

    Notes
    -----
    Checked against: RFC 5545, 3.1 (a line goes on behind a line end and a blank), and files that say the same in other
    editions; tests/unit/running/test_calendar_file.py.
    """
    return _FOLD.sub(b"", _OWN.sub(b"", content)).decode("utf-8", "replace").splitlines()
