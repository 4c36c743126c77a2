"""Randomisation keeps the restrictions, follows the seed, and is uniform.

Uniformity: chi-square over the 24 orders of a block (all equally likely under the textbook scheme). Correlations with
run order: the extreme cases by hand.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit import briefs
from toolkit.design import factorial, orders, strata
from toolkit.design.design import Design


def test_same_seed_same_order_and_other_seed_another():
    design = factorial.full(briefs.blocked())
    first, again, other = (orders.randomise(design, seed=seed).table for seed in (7, 7, 8))
    pd.testing.assert_frame_equal(first, again)
    assert not first.equals(other)
    assert list(first["run_id"]) == [f"R{n:02d}" for n in range(1, 13)]


def test_builds_stay_together_and_hold_what_the_design_says():
    for seed in range(40):
        table = orders.randomise(factorial.full(briefs.blocked()), seed=seed).table
        assert list(table["build_id"]) == ["B1"] * 4 + ["B2"] * 4 + ["B3"] * 4
        assert all(len(set(zip(part["pin"], part["oil"], strict=True))) == 4 for _, part in table.groupby("build_id"))


def test_orders_of_a_block_are_uniform():
    design = factorial.full(briefs.blocked())
    counts: dict[str, int] = {}
    for seed in range(400):
        table = orders.randomise(design, seed=seed).table
        for _, part in table.groupby("build_id"):
            key = "".join(part["pin"] + part["oil"])
            counts[key] = counts.get(key, 0) + 1
    assert len(counts) == 24
    assert stats.chisquare(list(counts.values())).pvalue > 1e-4


def test_whole_plot_levels_are_allotted_to_builds_at_random():
    design = factorial.full(briefs.whole_plots())
    first = [orders.randomise(design, seed=seed).table.iloc[0]["sprocket"] for seed in range(120)]
    share = np.mean(np.array(first) == "S1")
    assert abs(share - 0.5) < 3.3 * 0.5 / np.sqrt(120)
    table = orders.randomise(design, seed=3).table
    assert all(part["sprocket"].nunique() == 1 for _, part in table.groupby("build_id"))
    assert list(table.drop_duplicates("build_id")["build_id"]) == [f"B{n}" for n in range(1, 9)]


def test_correlation_with_run_order_by_hand():
    brief = briefs.randomised(
        factors=(briefs.factor("pin", "P0", "P1"),),
        comparisons=(briefs.Comparison("pin", of={"pin": "P1"}, against={"pin": "P0"}),),
    )
    design = factorial.full(brief, replicates=2)
    table = design.table.assign(run_id=list("abcd"), planned_order=[1, 2, 3, 4])
    for levels, expected in (
        (["P0", "P1", "P1", "P0"], 0.0),
        (["P0", "P0", "P1", "P1"], 2 / np.sqrt(5)),
        (["P1", "P1", "P0", "P0"], -2 / np.sqrt(5)),
    ):
        found = orders.correlations(design, table.assign(pin=levels))
        assert found.loc[0, "with_run_order"] == pytest.approx(expected)


def test_an_order_drawn_before_is_taken_as_it_is_listed():
    drawn = orders.randomise(factorial.full(briefs.blocked()), seed=7)
    again = orders.as_listed(
        Design(drawn.design.brief, "main", "as it was", strata.of_runs(drawn.design.brief, drawn.table)),
        drawn.table,
        seed=7,
        drawn="as it was",
    )
    pd.testing.assert_frame_equal(again.table, drawn.table)
    pd.testing.assert_frame_equal(again.drift, drawn.drift)
    # With a run that was lost, the correlations are those of the others.
    left = drawn.table[drawn.table["run_id"] != "R05"].reset_index(drop=True)
    design = Design(drawn.design.brief, "main", "one lost", strata.of_runs(drawn.design.brief, left))
    lost = orders.as_listed(design, drawn.table, seed=7, drawn="one lost")
    assert len(lost.table) == 12
    pd.testing.assert_frame_equal(lost.drift, orders.correlations(design, left))
    assert not lost.drift.equals(drawn.drift)
