"""Cost and hours of a plan, by hand from the items of an INVENTED price list.

Per run: 110 h at 110, 7 h at 70, 1,215, and 140 for the coated half: 13,875 on average; per build 24 h at 70 and
900: 2,580.
"""

from __future__ import annotations

import pandas as pd
import pytest

from tests.unit import briefs
from toolkit.brief.model import Cost, CostItem, Extension
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


def test_further_runs_pay_for_themselves_and_for_the_builds_that_are_built_for_them():
    items = (*ITEMS, CostItem("campaign", "set-up", amount=1000))
    brief = briefs.blocked(cost=Cost(currency="EUR", lost_runs_pct=8, items=items))
    runs = pd.DataFrame([{"build_id": "B2", "pin": "P1", "oil": "O0"}, {"build_id": "B4", "pin": "P0", "oil": "O0"}])
    # 110 h at 110, 7 h at 70 and 1,215 a run, 140 once for the coating; 24 h at 70 and 900 for the one new build.
    runs_alone = 2 * (12_100 + 490 + 1_215) + 140
    price = money.of_added(brief, runs, ["B4"])
    assert price.cost_as_planned == pytest.approx(runs_alone + 2_580)
    assert price.cost == pytest.approx(1.08 * runs_alone + 2_580)
    assert price.hours_as_planned == 2 * 117 + 24
    assert money.of_added(brief, runs, []).cost_as_planned == pytest.approx(runs_alone)
    assert money.of_added(brief, runs.iloc[:0], []).cost == 0.0


def test_what_is_paid_once_a_campaign_is_not_paid_again_for_an_extension():
    cost = Cost(currency="EUR", items=(CostItem("campaign", "set-up", amount=1000), CostItem("run", "cell", amount=1)))
    brief = briefs.blocked(cost=cost, extension=Extension(builds=1))
    assert money.of_design(factorial.extension(brief)).cost == 4
    assert money.of_design(factorial.full(brief)).cost == 1012
