"""Exchanges within limits: the set an exact test goes through, against orders put together one by one."""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
import pytest

from tests.unit import briefs
from tests.unit.design.test_order_sets import EFFECTS, blocks
from toolkit.brief.model import OrderLimits, PlanChoice
from toolkit.design import factorial, orders, strata, swaps
from toolkit.model.fit import of_strata
from toolkit.model.randomisation import exact_p


def drawn(brief, seed=5):
    """The sealed order of the main phase, as an analysis gets it."""
    return orders.randomise(factorial.full(brief), seed=seed)


def exchanged(table):
    """Every table in which P0 and P1 change places within builds where the oil is the same."""
    pairs = [part.index.tolist() for _, part in table.groupby(["build_id", "oil"])]
    for turned in product([False, True], repeat=len(pairs)):
        levels = table["pin"].to_numpy(copy=True)
        for (one, other), turn in zip(pairs, turned, strict=True):
            if turn:
                levels[[one, other]] = levels[[other, one]]
        yield table.assign(pin=levels)


def within(design, table, most):
    """True when no comparison of the table follows the run order more closely than ``most``."""
    told = orders.correlations(design, table)[["with_run_order", "within_builds"]].astype(float)
    return bool((told.abs().fillna(0.0) <= most + 1e-9).all(axis=None))


def test_exchanges_that_keep_the_limits_are_those_found_one_by_one():
    order = drawn(blocks(3, 0.3))
    laid = strata.of_runs(order.design.brief, order.table)
    found = swaps.groups(laid, EFFECTS[0], "run", apart=("phase",))
    judge = swaps.allowed(laid, EFFECTS[0], "run", order.table)
    every = swaps.every(found, 12)
    assert swaps.number(found) == len(every) == 64
    hand = [within(order.design, table, 0.3) for table in exchanged(order.table)]
    assert int(judge.holds(every).sum()) == sum(hand)
    assert 1 < sum(hand) < 64
    assert judge.holds(np.arange(12)[None, :])[0]
    # The mirror image follows the run order as closely, the other way.
    assert judge.holds(swaps.mirrored(found, 12))[0]


@pytest.mark.parametrize(("builds", "smallest"), [(2, 0.125), (3, 0.03125), (4, 0.0078125), (5, 0.001953125)])
def test_without_limits_the_smallest_p_is_two_over_four_to_the_builds(builds, smallest):
    order = drawn(briefs.blocked(plan=PlanChoice(builds=builds), comparisons=EFFECTS))
    found = swaps.floors(order.design.brief, order.table).set_index("comparison")
    assert found.loc["pin"].tolist() == [4**builds, smallest, ""]
    assert found.loc["both"].tolist() == [None, None, "an interaction has no exact test"]


def test_the_exact_p_of_limited_orders_is_the_share_found_by_brute_force():
    order = drawn(blocks(3, 0.3))
    brief, table = order.design.brief, order.table
    y = np.random.default_rng(8).normal(size=12) - 0.8 * (table["pin"] == "P1").to_numpy()

    def size(one):
        """Estimate over the root of the residual sum of squares, by least squares on cells and builds."""
        cell = (one["pin"] + one["oil"]).to_numpy()
        model = np.column_stack(
            [cell == name for name in np.unique(cell)] + [one["build_id"] == build for build in ("B2", "B3")]
        ).astype(float)
        left = y - model @ np.linalg.lstsq(model, y, rcond=None)[0]
        way = np.where(one["pin"] == "P1", 1.0, -1.0)
        return abs(way @ y) / np.sqrt(left @ left)

    kept = [size(one) for one in exchanged(table) if within(order.design, one, 0.3)]
    by_hand = np.mean(np.array(kept) >= size(table) * (1 - 1e-9))
    fitted = of_strata(brief, brief.responses[0], strata.of_runs(brief, table), y)
    row = exact_p(fitted, table).set_index("comparison").loc["pin"]
    assert row["orders"] == len(kept)
    assert row["p_value"] == by_hand
    assert row["smallest_p"] == swaps.floors(brief, table).set_index("comparison").loc["pin", "smallest_p"]
    assert row["sentence"] == (
        f"pin: {int(by_hand * len(kept))} of {len(kept)} orders within the limits of [order] differ as much "
        f"(p = {by_hand:.3g}; the smallest here is {2 / len(kept):.2g})"
    )


def test_a_lost_run_keeps_its_level_and_the_others_the_limits():
    order = drawn(blocks(3, 0.3))
    brief, table = order.design.brief, order.table
    left = table.drop(index=4).reset_index(drop=True)
    laid = strata.of_runs(brief, left)
    found = swaps.groups(laid, EFFECTS[0], "run", apart=("phase",))
    assert swaps.number(found) == 32
    kept = swaps.allowed(laid, EFFECTS[0], "run", table).holds(swaps.every(found, 11))
    lost = table.loc[4, "pin"]
    hand = [within(order.design, one, 0.3) for one in exchanged(table) if one.loc[4, "pin"] == lost]
    assert (len(kept), int(kept.sum())) == (32, sum(hand))


def test_builds_change_places_with_all_their_runs():
    brief = briefs.whole_plots(plan=PlanChoice(builds=4), order=OrderLimits(0.5))
    order = drawn(brief)
    laid = strata.of_runs(brief, order.table)
    asked = brief.comparisons[0]
    found = swaps.groups(laid, asked, "build", apart=("phase",))
    kept = swaps.allowed(laid, asked, "build", order.table).holds(swaps.every(found, 4))
    builds = order.table["build_id"].to_numpy()
    hand = 0
    for chosen in combinations(["B1", "B2", "B3", "B4"], 2):
        levels = np.where(np.isin(builds, chosen), "S1", "S0")
        hand += within(order.design, order.table.assign(sprocket=levels), 0.5)
    assert (len(kept), int(kept.sum())) == (6, hand)


def test_more_exchanges_than_are_gone_through_are_drawn_and_their_number_told_from_the_sample():
    order = drawn(blocks(8, 0.2))
    laid = strata.of_runs(order.design.brief, order.table)
    found = swaps.groups(laid, EFFECTS[0], "run", apart=("phase",))
    judge = swaps.allowed(laid, EFFECTS[0], "run", order.table)
    exchanges, exact, number = swaps.through(found, 32, judge, swaps.seed_of(order.design.brief, 0))
    some = swaps.some(found, 32, 50, np.random.default_rng(1))
    assert (np.sort(some, axis=1) == np.arange(32)).all() and len(np.unique(some, axis=0)) == 50
    assert not exact and judge.holds(exchanges).all()
    assert swaps.number(found) == 4**8
    every = int(judge.holds(swaps.every(found, 32)).sum())
    share = every / 4**8
    assert abs(number - every) <= 4**8 * 3.5 * np.sqrt(share * (1 - share) / swaps.DRAWN)


def test_why_there_is_no_exact_test_within_limits():
    order = drawn(blocks(3, 0.3))
    brief, table = order.design.brief, order.table
    fitted = of_strata(brief, brief.responses[0], strata.of_runs(brief, table), np.arange(12.0) ** 1.5)
    told = exact_p(fitted)["sentence"].tolist()
    limits = "no exact test: [order] limits the orders and no plan is sealed, so that none was drawn within them"
    assert told == [f"pin: {limits}", f"oil: {limits}", "both: an interaction has no exact test"]
    anew = "no exact test: the order was drawn anew by an amendment, within limits that rest on the runs made by then"
    assert exact_p(fitted, table.assign(redrawn=True))["sentence"][0] == f"pin: {anew}"
    other = table.assign(pin=table["pin"].replace({"P0": "P1", "P1": "P0"}))
    assert exact_p(fitted, other)["sentence"][0] == (
        "pin: no exact test: run R01 was not made as planned, so that its place was not drawn"
    )
    # In each build both runs of P0 first: no such order was ever drawn.
    late = table.sort_values(["build_id", "pin"]).assign(planned_order=range(1, 13))
    assert exact_p(fitted, late)["sentence"][0] == (
        "pin: no exact test: the order on record does not keep the limits of [order]"
    )
