"""Cost and hours of a plan, by hand from the items of an INVENTED price list.

Per run: 110 h at 110, 7 h at 70, 1,215, and 140 for the coated half: 13,875 on average; per build 24 h at 70 and
900: 2,580.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
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


# Twelve runs take 12 / .92 attempts: 13,875 x 12 / .92 + 3 x 2,580.
@pytest.mark.parametrize(
    ("builds", "as_planned", "with_repeats"), [(3, 174_240, 188_718.26), (4, 232_320, 251_624.35)]
)
def test_repeats_are_paid_for_runs_and_not_for_builds(builds, as_planned, with_repeats):
    price = priced(builds)
    assert price.cost_as_planned == pytest.approx(as_planned)
    assert price.cost == pytest.approx(with_repeats, abs=0.005)
    assert price.expected_lost_runs == pytest.approx(4 * builds * 8 / 92)
    assert price.hours == pytest.approx(117 * 4 * builds / 0.92 + 24 * builds)


def test_attempts_until_every_run_is_valid_are_those_of_drawn_campaigns():
    draw = np.random.default_rng(4)
    attempts = draw.geometric(1 - 0.25, (50_000, 12)).sum(axis=1)
    brief = briefs.blocked(cost=Cost(lost_runs_pct=25, items=(CostItem("run", "cell", amount=1.0),)))
    price = money.of_design(factorial.full(brief, builds=3))
    assert price.cost == pytest.approx(attempts.mean(), abs=4 * attempts.std() / np.sqrt(len(attempts)))
    assert money.repeats(brief) == pytest.approx(1 / 3)


def test_stations_readings_and_campaign_items_count_once_each():
    items = (
        CostItem("station", "set", amount=1),
        CostItem("reading", "gauge", amount=1),
        CostItem("campaign", "set-up", amount=1000),
    )
    # 12 runs of 10 stations, 2 readings before and after: 120 stations, 480 readings.
    price = priced(3, items=items)
    assert price.cost_as_planned == 120 + 480 + 1000
    assert [money.within_run(briefs.blocked(), per) for per in ("run", "station", "reading")] == [1, 10, 40]


def test_parts_are_bought_with_spares_and_a_set_up_is_paid_where_its_level_runs():
    items = (
        CostItem("part", "coated pin", amount=100, where={"pin": "P1"}),
        CostItem("part", "ground pin", amount=10, where={"pin": "P0"}),
        CostItem("campaign", "set-up of the coating", amount=2000, where={"pin": "P1"}),
        CostItem("campaign", "set-up of nothing", amount=5000, where={"pin": "P1", "oil": "none"}),
    )
    # Three builds: six pins of each kind, one spare of each; 6 x 8 / 92 repeats of each are fewer than one.
    assert priced(3, items=items).cost == 7 * 100 + 7 * 10 + 2000
    # Eight builds: 16 of each, 16 x 8 / 92 = 1.4 repeats, so two spares; one where no run is lost.
    price = priced(8, items=items)
    assert (price.cost, price.cost_as_planned) == (18 * 110 + 2000, 17 * 110 + 2000)


def test_what_is_kept_over_a_build_is_paid_once_a_build():
    items = (CostItem("fill", "flush", amount=1.0), CostItem("part", "chain", amount=10.0))
    cost = Cost(lost_runs_pct=20, items=items)
    sprocket = (briefs.factor("sprocket", "S0", "S1", undo="build"),)
    kept = briefs.whole_plots(cost=cost, new_each_run=(), factors=sprocket)
    price = money.of_design(factorial.full(kept, builds=4, replicates=3))
    # Four builds of three runs: a fill and a chain for each; one spare chain; a repeat goes into what stands.
    assert (price.cost, price.cost_as_planned) == (4 + 50, 4 + 50)
    new = briefs.whole_plots(cost=cost)
    # Eight builds of two runs with a fill and a chain each: 16 / .8 fills, 16 chains and four spares.
    assert money.of_design(factorial.full(new, builds=8)).cost == pytest.approx(16 / 0.8 + 200)


def test_a_build_that_is_new_in_every_run_is_paid_for_every_attempt():
    cost = Cost(lost_runs_pct=20, items=(CostItem("build", "rebuild", amount=1.0),))
    brief = briefs.randomised(cost=cost, new_each_run=("build", "part", "fill"))
    price = money.of_design(factorial.full(brief, replicates=4))
    assert (price.cost_as_planned, price.cost) == (12, pytest.approx(15))
    # One run in each build of its own comes to the same, whatever the reason.
    single = briefs.whole_plots(cost=cost, factors=(briefs.factor("sprocket", "S0", "S1", undo="build"),))
    assert money.of_design(factorial.full(single, builds=12)).cost == pytest.approx(15)


def test_changes_of_a_level_are_those_of_drawn_orders():
    cost = Cost(items=(CostItem("change", "flush", hours=4, rate=70, of="oil"),))
    draw = np.random.default_rng(6)
    for design in (
        factorial.full(briefs.blocked(cost=cost), builds=3),
        factorial.full(briefs.blocked(cost=cost, block_by=None), replicates=3),
    ):
        held = [list(part["oil"]) for _, part in design.table.groupby("build_id")]
        counted = []
        for _ in range(4000):
            levels = [level for at in draw.permutation(len(held)) for level in draw.permutation(held[at])]
            counted.append(sum(one != other for one, other in pairwise(levels)))
        found = money.of_items(design).iloc[0]
        assert found["count"] == pytest.approx(np.mean(counted), abs=4 * np.std(counted) / np.sqrt(4000))
        assert found["hours"] == 4 * found["count"]
        assert found["cost"] == pytest.approx(280 * found["count"])


def test_a_factor_kept_over_a_build_is_changed_between_builds_only():
    cost = Cost(items=(CostItem("change", "sprocket", amount=1.0, of="sprocket"),))
    design = factorial.full(briefs.whole_plots(cost=cost), builds=8)
    # Seven neighbours among eight builds, four of each level: each pair differs with 4 / 7.
    assert money.of_design(design).cost == pytest.approx(4.0)


def test_item_by_item():
    design = factorial.full(briefs.blocked(cost=Cost(lost_runs_pct=8, items=ITEMS)), builds=3)
    found = money.of_items(design)
    assert list(found.columns[:6]) == list(money.COLUMNS)
    assert list(found["what"]) == ["test cell", "chain swap", "fill and laboratory", "coating", "rebuild"]
    assert list(found["count"]) == [12, 12, 12, 6, 3]
    assert list(found["count_with_repeats"]) == pytest.approx([12 / 0.92, 12 / 0.92, 12 / 0.92, 6 / 0.92, 3])
    assert found["cost"].sum() == pytest.approx(money.of_design(design).cost)


def test_further_runs_pay_for_themselves_and_for_the_builds_that_are_built_for_them():
    items = (*ITEMS, CostItem("campaign", "set-up", amount=1000))
    brief = briefs.blocked(cost=Cost(currency="EUR", lost_runs_pct=8, items=items))
    runs = pd.DataFrame([{"build_id": "B2", "pin": "P1", "oil": "O0"}, {"build_id": "B4", "pin": "P0", "oil": "O0"}])
    # 110 h at 110, 7 h at 70 and 1,215 a run, 140 once for the coating; 24 h at 70 and 900 for the one new build,
    # which is built again for each repeat of its only run.
    runs_alone = 2 * (12_100 + 490 + 1_215) + 140
    price = money.of_added(brief, runs, ["B4"])
    assert price.cost_as_planned == pytest.approx(runs_alone + 2_580)
    assert price.cost == pytest.approx((runs_alone + 2_580) / 0.92)
    assert price.hours_as_planned == 2 * 117 + 24
    assert money.of_added(brief, runs, []).cost_as_planned == pytest.approx(runs_alone)
    assert money.of_added(brief, runs.iloc[:0], []).cost == 0.0


def test_a_kept_set_of_parts_that_stands_is_not_paid_again():
    items = (CostItem("run", "test cell", amount=1.0), CostItem("part", "chain", amount=100.0))
    brief = briefs.blocked(new_each_run=("fill",), cost=Cost(currency="EUR", items=items))
    there = pd.DataFrame([{"build_id": "B2", "part_set_id": "1", "pin": "P1", "oil": "O0"}])
    more = pd.concat([there.assign(oil="O1"), there.assign(part_set_id="3")], ignore_index=True)
    # Two runs; a set for the one that is set up anew. The register issues a spare for a new kind alone.
    assert money.of_added(brief, more, [], there=there).cost_as_planned == pytest.approx(2 + 100)
    other = more.assign(pin="P0", part_set_id=["4", "5"])
    assert money.of_added(brief, other, [], there=there).cost_as_planned == pytest.approx(2 + 300)
    assert money.of_added(brief, more, []).cost_as_planned == pytest.approx(2 + 300)


def test_a_run_made_again_pays_its_part_and_the_change_of_oil_before_it_and_no_spare_that_is_there():
    items = (
        CostItem("run", "test cell", hours=58.0, rate=1.0),
        CostItem("part", "ring set", amount=100.0),
        CostItem("change", "flush", hours=5.0, rate=1.0, of="oil"),
    )
    brief = briefs.blocked(new_each_run=("part",), block_by=None, cost=Cost(currency="EUR", items=items))
    fills = [("1", "O0"), ("2", "O1"), ("3", "O0"), ("4", "O1")]
    there = pd.DataFrame([
        {"build_id": "B1", "fill_id": fill, "pin": pin, "oil": oil} for fill, oil in fills for pin in ("P0", "P1")
    ])
    again = pd.DataFrame([{"build_id": "B1", "fill_id": "5", "pin": "P0", "oil": "O0"}])
    # Of four fills, two of each oil, three neighbours differ with 4/6: 2 changes; of five, three and two: 4 x 12/20.
    price = money.of_added(brief, again, [], there=there)
    assert price.hours_as_planned == pytest.approx(58 + 5 * (4 * 12 / 20 - 3 * 4 / 6))
    assert price.cost_as_planned == pytest.approx(58 + 5 * 0.4 + 100)
    whole = money.of_added(brief, pd.concat([there, again], ignore_index=True), [])
    before = money.of_added(brief, there, [])
    assert price.cost == pytest.approx(whole.cost - before.cost)


def test_what_is_paid_once_a_campaign_is_not_paid_again_for_an_extension():
    cost = Cost(currency="EUR", items=(CostItem("campaign", "set-up", amount=1000), CostItem("run", "cell", amount=1)))
    brief = briefs.blocked(cost=cost, extension=Extension(builds=1))
    assert money.of_design(factorial.extension(brief)).cost == 4
    assert money.of_design(factorial.full(brief)).cost == 1012
