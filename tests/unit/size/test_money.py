"""Cost and hours of a plan, by hand from the items of an INVENTED price list.

Per run: 110 h at 110, 7 h at 70, 1,215, and 140 for the coated half: 13,875 on average; per build 24 h at 70 and
900: 2,580.
"""

from __future__ import annotations

import pytest

from tests.unit import briefs
from toolkit.brief.model import Cost, CostItem
from toolkit.design import factorial
from toolkit.size import money

ITEMS = (
    CostItem("run", "test cell", hours=110, rate=110),
    CostItem("run", "chain swap", hours=7, rate=70),
    CostItem("run", "fill and laboratory", amount=1215),
    CostItem("run", "coating", amount=140, where={"pin": "P1"}),
    CostItem("build", "rebuild", hours=24, rate=70, amount=900),
)


def priced(builds, **changes):
    cost = Cost(currency="EUR", budget=240_000, lost_runs_pct=8, items=changes.pop("items", ITEMS))
    return money.of_design(factorial.full(briefs.blocked(cost=cost, **changes), builds=builds))


@pytest.mark.parametrize(("builds", "as_planned", "with_repeats"), [(3, 174_240, 187_560), (4, 232_320, 250_080)])
def test_repeats_are_paid_for_runs_and_not_for_builds(builds, as_planned, with_repeats):
    price = priced(builds)
    assert price.cost_as_planned == pytest.approx(as_planned)
    assert price.cost == pytest.approx(with_repeats)
    assert price.expected_lost_runs == pytest.approx(0.08 * 4 * builds)
    assert price.hours == pytest.approx(1.08 * 117 * 4 * builds + 24 * builds)


def test_stations_readings_and_campaign_items_count_once_each():
    items = (
        CostItem("station", "set", amount=1),
        CostItem("reading", "gauge", amount=1),
        CostItem("campaign", "set-up", amount=1000),
    )
    # 12 runs of 10 stations, 2 readings before and after: 120 stations, 480 readings.
    price = priced(3, items=items)
    assert price.cost_as_planned == 120 + 480 + 1000
