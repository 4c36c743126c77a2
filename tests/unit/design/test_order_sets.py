"""Orders within limits: counted as by going through them, drawn with equal chance, of use where there is drift.

Counts of 2 x 2 plans in blocks: gone through by itertools for 1 to 3 blocks, by numpy on all 24^4 for 4; for 5 a count
told beforehand (447,120 of 24^5), which nothing here made.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations, product

import numpy as np
import pytest
from scipy import stats

from tests.unit import briefs
from tests.unit.design.test_latin import brief_of as latin_of
from toolkit.brief.model import Comparison, OrderLimits, PlanChoice
from toolkit.design import chosen, factorial, followed, order_sets, orders
from toolkit.errors import DesignError

EFFECTS = (
    Comparison("pin", of={"pin": "P1"}, against={"pin": "P0"}),
    Comparison("oil", of={"oil": "O1"}, against={"oil": "O0"}),
    Comparison("both", interaction=("pin", "oil")),
)
SIGNS = np.array([[-1, -1, 1], [-1, 1, -1], [1, -1, -1], [1, 1, 1]], dtype=float)
PLACE = np.array([-1.5, -0.5, 0.5, 1.5])


def blocks(count, *limits):
    """A 2 x 2 in blocks with limits on its orders."""
    return briefs.blocked(plan=PlanChoice(builds=count), comparisons=EFFECTS, order=OrderLimits(*limits))


def by_hand(count):
    """The largest correlation of an effect with the place in its block, over every order of so many blocks."""
    sums = np.array([PLACE @ SIGNS[list(order)] for order in permutations(range(4))])
    total = np.zeros((1, 3))
    for _ in range(count):
        total = (total[:, None] + sums[None]).reshape(-1, 3)
    return np.abs(total).max(axis=1) / np.sqrt(count * PLACE @ PLACE) / np.sqrt(4 * count)


@pytest.mark.parametrize(
    ("count", "least", "kept"),
    [(1, 0.8944, 24), (2, 0.0, 24), (3, 0.1491, 1_248), (4, 0.0, 2_520), (5, 0.0894, 447_120)],
)
def test_the_best_orders_of_a_two_by_two_in_blocks_are_counted(count, least, kept):
    found = order_sets.of_design(factorial.full(blocks(count, least + 0.0001)))
    assert (found.kept, found.every, found.counted) == (kept, 24**count, True)
    if count < 5:
        worst = by_hand(count)
        assert int((worst < worst.min() + 1e-9).sum()) == kept
        assert worst.min() == pytest.approx(least, abs=5e-5)


def test_the_sentence_tells_how_many_there_are_and_what_a_plain_order_risks():
    found = order_sets.of_design(factorial.full(blocks(3, 0.15)))
    worst = by_hand(3)
    assert np.mean(worst > found.plain_tenth - 1e-9) >= 0.1 >= np.mean(worst > found.plain_tenth + 1e-9)
    assert found.sentence == (
        "1,248 of 13,824 orders keep the limits (correlation with run order at most 0.15); one plain random order in "
        f"ten would be above {found.plain_tenth:.2f}"
    )
    assert found.to_dict()["orders"] == 1_248 and found.to_dict()["most_quadratic"] is None
    both = order_sets.limits_words(OrderLimits(0.2, 0.5))
    assert both == "correlation with run order at most 0.2, correlation with its square at most 0.5"


def test_all_runs_at_random_are_counted_with_alike_runs_taken_together():
    # One factor of two levels, 3 runs of each: 20 orders, gone through by hand.
    brief = briefs.randomised(
        factors=(briefs.factor("pin", "P0", "P1"),),
        comparisons=(EFFECTS[0],),
        plan=PlanChoice(replicates=3),
        order=OrderLimits(0.3, 0.5),
    )
    line = np.array([-5, -3, -1, 1, 3, 5]) / np.sqrt(70)
    bend = np.array([5, -1, -4, -4, -1, 5]) / np.sqrt(84)
    signs = np.array(sorted(set(permutations([-1, -1, -1, 1, 1, 1])))) / np.sqrt(6)
    hand = int(((np.abs(signs @ line) <= 0.3) & (np.abs(signs @ bend) <= 0.5)).sum())
    found = order_sets.of_design(factorial.full(brief))
    assert (found.kept, found.every) == (hand, 20)
    assert 0 < hand < 20


def test_orders_of_whole_plots_are_counted_with_builds_alike():
    # Four builds, two of each sprocket, two oils in each: 6 ways to allot, 2 orders in each build.
    brief = briefs.whole_plots(plan=PlanChoice(builds=4), order=OrderLimits(0.5))
    found = order_sets.of_design(factorial.full(brief))
    design = factorial.full(brief)
    assert found.every == 6 * 2**4
    hand = 0
    for plots in sorted(set(permutations(["S0", "S0", "S1", "S1"]))):
        for oils in product([("O0", "O1"), ("O1", "O0")], repeat=4):
            table = design.table.assign(
                run_id=[f"R{at}" for at in range(8)],
                planned_order=range(1, 9),
                build_id=np.repeat(["B1", "B2", "B3", "B4"], 2),
                sprocket=np.repeat(plots, 2),
                oil=np.concatenate(oils),
            )
            told = orders.correlations(design, table)[["with_run_order", "within_builds"]].astype(float)
            hand += bool((told.abs().fillna(0.0) <= 0.5 + 1e-9).all(axis=None))
    assert found.kept == hand


def test_more_orders_than_can_be_counted_are_told_from_a_sample(monkeypatch):
    monkeypatch.setattr(order_sets.order_counts, "kept", lambda *given: None)
    found = order_sets.of_design(factorial.full(blocks(3, 0.15)))
    assert (found.counted, found.sampled, found.every) == (False, 100_000, 13_824)
    share = 1_248 / 13_824
    assert abs(found.kept / 13_824 - share) < 3.5 * np.sqrt(share * (1 - share) / 100_000) + 1 / 13_824
    assert ", as 100,000 drawn orders tell; one plain" in found.sentence


def test_a_drawn_order_keeps_the_limits_and_follows_the_seed():
    brief = blocks(3, 0.15)
    first, again = (orders.randomise(factorial.full(brief), seed=7) for _ in range(2))
    assert first.table.equals(again.table)
    others = [orders.randomise(factorial.full(brief), seed=seed) for seed in range(8, 20)]
    assert not all(first.table.equals(one.table) for one in others)
    for one in others:
        assert one.drift[["with_run_order", "within_builds"]].astype(float).abs().max(axis=None) <= 0.1492
        assert list(one.table["build_id"]) == ["B1"] * 4 + ["B2"] * 4 + ["B3"] * 4
    assert first.drawn == (
        "the runs within each build at random, one of the 1,248 such orders that keep the limits of [order]"
    )


def test_every_order_within_the_limits_is_drawn_as_often_as_any_other():
    found = order_sets.of_design(factorial.full(blocks(2, 0.0)))
    drawn = [tuple(found.draw(seed).tolist()) for seed in range(360)]
    assert len(set(drawn)) == 24
    counts = [drawn.count(one) for one in set(drawn)]
    assert stats.chisquare(counts).pvalue > 1e-4


def test_plain_orders_are_uniform_whatever_is_kept_together():
    found = order_sets.plain(factorial.full(blocks(2)), 100_000, np.random.default_rng(1))
    _, counts = np.unique(found @ 8 ** np.arange(8), return_counts=True)
    assert len(counts) == 576
    assert stats.chisquare(counts).pvalue > 1e-4
    design = factorial.full(briefs.whole_plots(plan=PlanChoice(builds=4)))
    builds = np.repeat(np.arange(4), 2)
    held = builds[order_sets.plain(design, 4_800, np.random.default_rng(2))]
    assert (held[:, ::2] == held[:, 1::2]).all()
    assert stats.chisquare(np.unique(held[:, ::2], axis=0, return_counts=True)[1]).pvalue > 1e-4


def test_limits_that_no_order_keeps_are_refused_with_the_nearest():
    with pytest.raises(DesignError) as problem:
        order_sets.of_design(factorial.full(blocks(3, 0.1)))
    assert str(problem.value) == (
        "[order]: none of 13,824 orders of full factorial, 3 builds of 4 runs keeps the limits (correlation with run "
        "order at most 0.1); the nearest found keeps most_linear = 0.15. Write that, or take another number of builds "
        "or runs."
    )
    assert order_sets.of_design(factorial.full(briefs.blocked())) is None


def test_limits_are_refused_where_the_order_is_no_free_draw():
    brief = replace(latin_of(4, 4), comparisons=(Comparison("f", of={"finish": "F1"}, against={"finish": "F0"}),))
    with pytest.raises(DesignError) as problem:
        order_sets.of_design(chosen.main(replace(brief, order=OrderLimits(0.2))))
    assert str(problem.value).startswith("[order]: a Latin square has its order drawn with it")


def test_limits_hold_for_no_pilot():
    brief = briefs.blocked(order=OrderLimits(0.2), pilot=briefs.Pilot(({"pin": "P0", "oil": "O0"},), 2))
    assert order_sets.of_design(factorial.pilot(brief)) is None


def test_sums_are_the_correlations_that_are_told():
    design = factorial.full(blocks(3, 0.5))
    table = orders.randomise(design, seed=3).table
    laid = followed.followed(order_sets.strata.of_runs(design.brief, table), OrderLimits(0.5), table["planned_order"])
    told = orders.correlations(design, table)[list(orders.CORRELATIONS)].astype(float).to_numpy().T
    np.testing.assert_allclose(laid.correlations(np.arange(12)[None, :])[0], told, atol=1e-12)
    # Each level of the pin stands in six of twelve runs: a sixth of their sums.
    weights = followed.weights_of(order_sets.strata.of_runs(design.brief, table))
    np.testing.assert_allclose(weights[:, 0], np.where(table["pin"] == "P1", 1 / 6, -1 / 6), atol=1e-12)


def test_good_orders_are_worth_it_under_drift_and_cost_nothing_in_false_alarms():
    """Orders from the best set, and plain ones, with drift of .6 SD a run and its slope taken out: alarms and power.

    Bounds: 3.24 binomial standard errors about .05, and of the difference in power (.05 at least, as was told).
    """
    design = factorial.full(blocks(3, 0.15))
    limits, count = OrderLimits(0.15), 4_000
    draw = np.random.default_rng(11)
    found = order_sets._of_places(design, limits)
    plain = order_sets.plain(design, 12 * count, draw)
    good = plain[found.within(found.correlations(plain))][:count]
    assert len(good) == count
    line = np.tile(np.arange(12.0), (count, 1))
    step = (draw.random((count, 12)) < 0.2).cumsum(axis=1)
    walk = draw.normal(size=(count, 12)).cumsum(axis=1)
    shapes = {"line": line, "step": step, "walk": walk}
    alarms = {name: _shown(design, good, 0.6 * change, 0.0, draw) for name, change in shapes.items()}
    room = 3.24 * np.sqrt(0.05 * 0.95 / count)
    assert max(alarms.values()) <= 0.05 + room, alarms
    assert abs(alarms["line"] - 0.05) <= room
    chosen = {"good": good, "plain": plain[:count]}
    power = {name: _shown(design, stands, 0.6 * line, 2.0, draw) for name, stands in chosen.items()}
    assert power["good"] - power["plain"] >= 0.05, power
    assert power["good"] == pytest.approx(0.79, abs=0.03)
    assert power["plain"] == pytest.approx(0.70, abs=0.03)


def _shown(design, stands, added, effect, draw):
    """The share of campaigns in which the first comparison is shown, the place in the build taken out as a slope."""
    laid = design.strata
    pin = np.where(laid.runs["pin"] == "P1", 0.5, -0.5)[stands]
    columns = laid.full_columns[stands]
    # Run ``order[k]`` is made at place k.
    place = np.tile(np.tile(PLACE, 3), (len(stands), 1))
    model = np.concatenate([columns, place[:, :, None]], axis=2)
    y = effect * pin + added + draw.normal(size=pin.shape)
    inverse = np.linalg.pinv(model.swapaxes(1, 2) @ model)
    beta = (inverse @ (model.swapaxes(1, 2) @ y[:, :, None]))[..., 0]
    left = y - (model @ beta[:, :, None])[..., 0]
    rank = np.linalg.matrix_rank(model)
    row = np.einsum("ok,okc->oc", np.where(pin > 0, 1.0, -1.0) / 6, columns)
    asked = np.hstack([row, np.zeros((len(row), 1))])
    error = np.sqrt(np.einsum("oc,ocd,od->o", asked, inverse, asked) * (left**2).sum(axis=1) / (12 - rank))
    return float(np.mean(np.abs((asked * beta).sum(axis=1)) > stats.t.ppf(0.975, 12 - rank) * error))
