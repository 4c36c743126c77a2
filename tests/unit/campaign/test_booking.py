"""Dates of a sealed phase on its folder: table, calendar file, parts with spares, what is refused."""

from __future__ import annotations

import pytest
from icalendar import Calendar

from toolkit.campaign import booking, folder, log, steps
from toolkit.demo import bundled
from toolkit.errors import CampaignError


@pytest.fixture
def chain(tmp_path):
    """The bundled campaign with its pilot sealed."""
    made = bundled.bring("chain-soot", tmp_path / "chain")
    steps.plan(made, phase="pilot")
    return made


def test_a_phase_is_booked_and_the_same_inputs_have_the_same_bytes(chain):
    made = booking.book(chain)
    assert made.sentences == (
        "Order 3 parts with pin P0 (1 spare among them); 3 parts with pin P1 (1 spare among them) by 2026-03-16.",
        "The test cell is needed from 2026-04-13 to 2026-05-12: 492 h as planned.",
        "Keep 41 h free behind them, to 2026-05-15: what lost runs are expected to take.",
        "The last figure is in on 2026-05-22 if no run is lost.",
    )
    assert made.written == ("derived/booking-pilot.csv", "derived/booking-pilot.ics")
    before = [(chain.folder / name).read_bytes() for name in made.written]
    head = log.log_head(log.read(chain.folder))
    booking.book(chain, phase="pilot")
    assert [(chain.folder / name).read_bytes() for name in made.written] == before
    assert log.log_head(log.read(chain.folder)) == head
    text = before[0].decode().splitlines()
    assert text[0] == "what,of,build_id,begins,ends,hours,measured_by,oil_back_by"
    assert text[1] == "rebuild,PB1,PB1,2026-04-13,2026-04-13,24.0,,"
    assert made.to_json()["parts_ordered_by"] == "2026-03-16"


def test_the_calendar_holds_no_treatment_and_the_time_of_the_last_record(chain):
    booking.book(chain)
    content = (chain.folder / "derived" / "booking-pilot.ics").read_bytes()
    events = Calendar.from_ical(content).walk("VEVENT")
    assert [str(event["summary"]) for event in events] == [
        "chain-soot: order 6 parts",
        "chain-soot: rebuild PB1",
        *(f"chain-soot: run P0{at} (build PB1)" for at in (1, 2, 3, 4)),
        "chain-soot: kept free for repeats",
        "chain-soot: parts of build PB1 measured",
        "chain-soot: oil figures of build PB1 back",
    ]
    for word in (b"P1", b"O0", b"coated", b"pin"):
        assert word not in content.replace(b"PB1", b"")
    at = log.records_head(log.read(chain.folder))["at"]
    assert {event.decoded("dtstamp").strftime("%Y-%m-%dT%H:%M:%SZ") for event in events} == {at}


def test_other_dates_do_not_touch_the_seal(chain):
    path = chain.folder / "campaign.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("2026-04-13", "2026-04-20"), encoding="utf-8")
    moved = folder.open_campaign(chain.folder)
    assert booking.book(moved).table["begins"].iloc[0] == "2026-04-20"
    assert moved.plan("pilot")["seal"] == chain.plan("pilot")["seal"]
    # Other days again: whoever took in the ones before gets these in their place.
    booking.book(chain)
    content = (chain.folder / "derived" / "booking-pilot.ics").read_bytes()
    assert (content.count(b"SEQUENCE:1\r\n"), content.count(b"BEGIN:VEVENT")) == (9, 9)


def test_without_a_booking_or_a_plan_it_is_refused(chain, tmp_path):
    with pytest.raises(CampaignError) as error:
        booking.book(chain, phase="main")
    assert str(error.value) == "main: there is no sealed plan yet. Run `wearbook plan` first."
    path = chain.folder / "campaign.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.index("[booking]")], encoding="utf-8")
    with pytest.raises(CampaignError) as error:
        booking.book(folder.open_campaign(chain.folder))
    assert str(error.value) == (
        "campaign.toml has no [booking], so there are no days to tell. Add it: start, hours_a_day, days_a_week, and "
        "what is known of parts_in_days, metrology_in_days, laboratory_in_days. It stands outside every seal."
    )
    assert list(chain.folder.glob("derived/booking*")) == []
