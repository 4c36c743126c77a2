"""A calendar file as RFC 5545 wants it, read by the library and by a reader of our own."""

from __future__ import annotations

from datetime import date

from icalendar import Calendar

from toolkit.running.calendar_file import Entry, calendar, continued, said

LONG = "INVENTED: run R01, build B1; with, commas; and a \\ backslash, Kühlwasser " + "x" * 60
ENTRIES = (
    Entry("run R01", LONG, "117 h", date(2026, 5, 5), date(2026, 5, 11)),
    Entry("parts", "order 14 parts", "", date(2026, 4, 4), date(2026, 4, 4), busy=False),
)


def made(edition: int = 0) -> bytes:
    return calendar("chain, main phase", ENTRIES, at="2026-03-02T08:00:00Z", edition=edition)


def test_the_library_reads_back_what_was_written():
    events = Calendar.from_ical(made(2)).walk("VEVENT")
    assert [str(event["summary"]) for event in events] == [LONG, "order 14 parts"]
    # RFC 5545, 3.6.1: the end of whole days is the day after the last one.
    assert [(event.decoded("dtstart"), event.decoded("dtend")) for event in events] == [
        (date(2026, 5, 5), date(2026, 5, 12)),
        (date(2026, 4, 4), date(2026, 4, 5)),
    ]
    assert [(str(event["transp"]), int(event["sequence"])) for event in events] == [("OPAQUE", 2), ("TRANSPARENT", 2)]
    assert "description" not in events[1]


def test_lines_are_those_of_the_standard():
    content = made()
    lines = content.split(b"\r\n")
    # RFC 5545, 3.1: lines end in CR and LF and have 75 octets at most, longer ones go on after a blank.
    assert lines[-1] == b"" and b"\n" not in b"".join(lines)
    assert max(map(len, lines)) <= 75
    whole = content.replace(b"\r\n ", b"").decode()
    escaped = LONG.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    assert f"SUMMARY:{escaped}\r\n" in whole
    assert whole.startswith("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Wearbook//")
    assert whole.count("DTSTAMP:20260302T080000Z\r\n") == 2
    # RFC 5545, 3.8.4.7: one identifier an entry.
    names = [line for line in whole.split("\r\n") if line.startswith("UID:")]
    assert len(set(names)) == 2 == len(names)


def test_the_same_entries_have_the_same_bytes_and_identifiers_that_last():
    assert made() == made()
    later = calendar("chain, main phase", ENTRIES[:1], at="2026-04-02T08:00:00Z")
    uid = [line for line in later.split(b"\r\n") if line.startswith(b"UID:")]
    assert uid[0] in made()


def test_days_that_moved_are_a_later_edition_and_days_that_did_not_are_none():
    def sequences(content: bytes) -> set[int]:
        return {int(event["sequence"]) for event in Calendar.from_ical(content).walk("VEVENT")}

    name, at, moved = "chain, main phase", "2026-03-02T08:00:00Z", (ENTRIES[0],)
    first = continued(name, ENTRIES, at=at)
    assert first == made() and continued(name, ENTRIES, at=at, stored=first) == first
    # A later record alone, without a day that moved, is no revision of the entries.
    assert sequences(continued(name, ENTRIES, at="2026-04-02T08:00:00Z", stored=first)) == {0}
    # RFC 5545, 3.8.7.4: the number rises with every significant revision.
    second = continued(name, moved, at=at, stored=first)
    assert sequences(second) == {1} and continued(name, moved, at=at, stored=second) == second
    assert sequences(continued(name, ENTRIES, at=at, stored=second)) == {2}
    # An amendment has a number of its own, and never one that is lower than what was taken in before.
    assert sequences(continued(name, moved, at=at, edition=5, stored=second)) == {5}
    third = continued(name, ENTRIES, at=at, stored=second)
    assert sequences(continued(name, moved, at=at, edition=1, stored=third)) == {3}


def test_what_a_calendar_says_has_no_edition_and_no_folded_lines():
    later = calendar("chain, main phase", ENTRIES, at="2027-01-01T00:00:00Z", edition=3)
    assert (later != made(), said(later)) == (True, said(made()))
    lines = said(made())
    assert [line for line in lines if line.startswith(("DTSTAMP", "SEQUENCE"))] == []
    assert f"SUMMARY:{LONG}".replace("\\", "\\\\").replace(",", "\\,").replace(";", "\\;") in lines
    assert [line for line in lines if line.startswith("DTSTART")] == [
        "DTSTART;VALUE=DATE:20260505", "DTSTART;VALUE=DATE:20260404"
    ]  # fmt: skip
