"""Days of builds and runs, against days counted by hand on the calendar of May 2026 (1 May is a Friday)."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pandas as pd
import pytest

from tests.unit import briefs
from toolkit.brief.model import Booking, Cost, CostItem, Held, Protocol, Response
from toolkit.design import factorial
from toolkit.errors import SizingError
from toolkit.size import dates, money


def brief(*items: CostItem, lost: float = 0.0, **booking):
    given = {"start": "2026-05-04", "hours_a_day": 8.0, "days_a_week": 5} | booking
    return replace(briefs.blocked(), cost=Cost(items=items, lost_runs_pct=lost), booking=Booking(**given))


def runs(*rows: tuple[str, str, str]) -> pd.DataFrame:
    """Runs from (build, pin, oil)."""
    made = pd.DataFrame(rows, columns=["build_id", "pin", "oil"])
    made.insert(0, "run_id", [f"R{at:02d}" for at in range(1, len(rows) + 1)])
    return made


FOUR = runs(("B1", "P0", "O0"), ("B1", "P1", "O0"), ("B2", "P1", "O1"), ("B2", "P0", "O1"))
CELL = CostItem("run", "cell", hours=20.0)
REBUILD = CostItem("build", "rebuild", hours=4.0)


def days(found: dates.Dates) -> list[tuple[str, str, int, int, float]]:
    """What, of, first and last day of May 2026, hours."""
    return [(row["what"], row["of"], row["begins"].day, row["ends"].day, row["hours"])
            for row in found.table.to_dict("records")]  # fmt: skip


def test_a_run_goes_on_on_the_next_working_day():
    found = dates.dates(brief(CELL, REBUILD, free_days=("2026-05-07",)), FOUR, phase="main")
    # Mon 4 to Wed 6: 24 h. Thu 7 is free. Fri 8, Mon 11, Tue 12 (4 h of it): the second run. And so on.
    assert days(found) == [
        ("rebuild", "B1", 4, 4, 4.0),
        ("run", "R01", 4, 6, 20.0),
        ("run", "R02", 8, 12, 20.0),
        ("rebuild", "B2", 12, 12, 4.0),
        ("run", "R03", 13, 15, 20.0),
        ("run", "R04", 15, 19, 20.0),
    ]
    assert (found.hours, found.kept_free, found.notes) == (88.0, 0.0, ())
    assert (found.complete, found.parts_ordered_by) == (date(2026, 5, 19), None)


def test_a_cell_that_never_stops_and_what_is_known_of_parts_and_figures():
    known = {"parts_in_days": 30, "metrology_in_days": 2, "laboratory_in_days": 10}
    asked = brief(CELL, REBUILD, hours_a_day=24.0, days_a_week=7, **known)
    iron = Response("fe_ppm", role="secondary", per_run="increase")
    found = dates.dates(replace(asked, responses=(*asked.responses, iron)), FOUR, phase="main")
    assert days(found)[:3] == [("rebuild", "B1", 4, 4, 4.0), ("run", "R01", 4, 4, 20.0), ("run", "R02", 5, 5, 20.0)]
    assert found.parts_ordered_by == date(2026, 4, 4)
    last = found.table.iloc[-1]
    assert (last["ends"], last["measured_by"], last["oil_back_by"]) == (
        date(2026, 5, 7), date(2026, 5, 9), date(2026, 5, 17)
    )  # fmt: skip
    assert found.complete == date(2026, 5, 17)
    # Without a response from the oil nobody waits for the laboratory.
    assert dates.dates(asked, FOUR, phase="main").complete == date(2026, 5, 9)


def test_items_fall_due_where_they_are_for():
    items = (
        CELL,
        CostItem("part", "fit it", hours=1.0, where={"pin": "P1"}),
        CostItem("change", "flush", hours=2.0, of="oil"),
        CostItem("station", "gauge in the cell", hours=0.1),
        CostItem("campaign", "set-up", hours=8.0, where={"pin": "P1"}),
        CostItem("build", "other guide", hours=5.0, where={"oil": "O1"}),
    )
    found = dates.dates(brief(*items), FOUR, phase="main")
    stations = 0.1 * money.within_run(briefs.blocked(), "station")
    assert [(what, of, round(hours, 9)) for what, of, _, _, hours in days(found)] == [
        ("set-up", "", 8.0),
        ("run", "R01", round(20 + stations, 9)),
        ("run", "R02", round(21 + stations, 9)),
        ("rebuild", "B2", 5.0),
        ("run", "R03", round(23 + stations, 9)),
        ("run", "R04", round(20 + stations, 9)),
    ]
    # An extension goes on with what was set up.
    assert days(dates.dates(brief(*items), FOUR, phase="extension"))[0][0] == "run"


def test_hours_are_those_that_the_price_counts():
    made = brief(CELL, REBUILD, CostItem("part", "fit", hours=1.0), lost=10.0)
    design = factorial.full(made, builds=3)
    price = money.of_design(design)
    listed = design.table.assign(run_id=[f"R{at:02d}" for at in range(1, design.runs + 1)])
    found = dates.dates(made, listed, phase="main")
    spares = 2  # paid for with the parts, and fitted only when a run is lost
    assert found.hours == pytest.approx(price.hours_as_planned - spares)
    assert found.table.iloc[-1]["what"] == dates.KEPT_FREE
    # One in nine of the runs is made again, and of the fitted parts.
    assert found.table.iloc[-1]["hours"] == found.kept_free == pytest.approx(price.hours - price.hours_as_planned)
    assert found.kept_free > 12 * 20 / 9


def test_without_hours_in_the_prices_the_run_time_counts_and_this_is_said():
    lasts = replace(brief(), protocol=Protocol(run_time_h=Held("run_time_h", 10.0, (9.0, 11.0))))
    found = dates.dates(lasts, FOUR, phase="main")
    assert found.notes == (
        "no item of [cost] says what hours a run takes: 10 h each, the target of run_time_h, without any time between "
        "runs",
    )
    assert days(found)[-1] == ("run", "R04", 7, 8, 10.0)
    with pytest.raises(SizingError) as error:
        dates.dates(replace(brief(), protocol=Protocol()), FOUR, phase="main")
    assert str(error.value) == (
        'The brief says neither what hours a run takes (an item per = "run" with hours in [cost]) nor how long it '
        "lasts ([protocol] run_time_h), so there are no days to tell. Add one of them."
    )


def test_no_booking_and_runs_without_end():
    with pytest.raises(SizingError, match="^The brief has no \\[booking\\], so there are no days to tell."):
        dates.dates(briefs.blocked(), FOUR, phase="main")
    with pytest.raises(SizingError) as error:
        dates.dates(brief(CostItem("run", "cell", hours=9e5), hours_a_day=1.0), FOUR, phase="main")
    assert str(error.value) == (
        "The runs would reach beyond the year 2150 at 1 hours a day. Look at [booking] and at the hours in [cost]."
    )
