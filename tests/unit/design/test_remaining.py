"""Remaining runs drawn anew: what was made stays, restrictions hold for every seed, every order is equally likely.

Uniformity: chi-square over all orders (textbook: a random permutation gives each of n! orders the same chance); the
least p accepted is that of one bad draw in ten thousand, and single shares lie within 3.3 binomial standard errors.
"""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit import briefs
from toolkit.design import factorial, orders, remaining

SEEDS = range(40)


def plan(brief, seed=7):
    """A run list as it was sealed."""
    return orders.randomise(factorial.full(brief), seed=seed).table


def added(table, run_id, like, build):
    """The run list with one run more: the levels of another one, in a build."""
    more = table[table["run_id"] == like].assign(run_id=run_id, planned_order=0, build_id=build)
    return pd.concat([table, more], ignore_index=True)


def row(table, run_id):
    """A row as a mapping."""
    return table[table["run_id"] == run_id].iloc[0].to_dict()


BLOCKED = plan(briefs.blocked())
MADE = [f"R{at:02d}" for at in range(1, 6)]


@pytest.mark.parametrize("seed", SEEDS)
def test_a_run_replaced_in_its_build_is_drawn_among_those_left_of_it(seed):
    # R05, the first run of the second build, was lost.
    made = remaining.redraw(added(BLOCKED, "R13", "R05", "B2"), fixed=MADE, anew=["B2"], seed=[7, 1, seed])
    table = made.table
    assert list(table["planned_order"]) == list(range(1, 14))
    assert list(table["build_id"]) == ["B1"] * 4 + ["B2"] * 5 + ["B3"] * 4
    assert all(row(table, run) == row(BLOCKED, run) for run in MADE)
    assert sorted(table["run_id"][5:9]) == ["R06", "R07", "R08", "R13"]
    # The third build keeps its order and moves one place on.
    assert list(table["run_id"][9:]) == ["R09", "R10", "R11", "R12"]
    assert set(made.drawn_anew) == {"R06", "R07", "R08", "R13"}
    assert made.moved == ("R09", "R10", "R11", "R12")
    untouched = [name for name in BLOCKED.columns if name != "planned_order"]
    whole = table.sort_values("run_id", ignore_index=True)[untouched].iloc[:12]
    pd.testing.assert_frame_equal(whole, BLOCKED.sort_values("run_id", ignore_index=True)[untouched])


def test_the_same_seed_gives_the_same_order_and_another_one_another():
    given = added(BLOCKED, "R13", "R05", "B2")
    first, again, other = (
        remaining.redraw(given, fixed=MADE, anew=["B2"], seed=[7, 1, seed]).table for seed in (1, 1, 2)
    )
    pd.testing.assert_frame_equal(first, again)
    assert not first.equals(other)


def test_every_order_of_the_remaining_runs_is_equally_likely():
    brief = briefs.randomised(plan=briefs.PlanChoice(replicates=2))
    table = added(plan(brief), "R07", "R01", "B1")
    counts = dict.fromkeys(permutations(["R04", "R05", "R06", "R07"]), 0)
    draws = 480
    for seed in range(draws):
        made = remaining.redraw(table, fixed=["R01", "R02", "R03"], anew=["B1"], seed=[seed, 1, 1, 1]).table
        assert list(made["run_id"][:3]) == ["R01", "R02", "R03"]
        counts[tuple(made["run_id"][3:])] += 1
    assert stats.chisquare(list(counts.values())).pvalue > 1e-4
    first = sum(number for order, number in counts.items() if order[0] == "R07") / draws
    assert abs(first - 0.25) < 3.3 * np.sqrt(0.25 * 0.75 / draws)


def test_builds_whose_runs_did_not_change_are_left_alone():
    made = remaining.redraw(added(BLOCKED, "R13", "R05", "B4"), fixed=MADE, anew=["B4"], seed=[7, 1, 1])
    pd.testing.assert_frame_equal(made.table.iloc[:12], BLOCKED)
    assert row(made.table, "R13")["planned_order"] == 13
    assert (made.drawn_anew, made.moved) == (("R13",), ())


def test_runs_taken_out_leave_the_order_of_the_others():
    made = remaining.redraw(BLOCKED[BLOCKED["run_id"] != "R10"], fixed=MADE, anew=[], seed=[7, 1, 1])
    pd.testing.assert_frame_equal(made.table, BLOCKED[BLOCKED["run_id"] != "R10"].reset_index(drop=True))
    assert (made.drawn_anew, made.moved) == ((), ())


@pytest.mark.parametrize("seed", SEEDS)
def test_a_run_that_is_set_up_keeps_its_place_among_those_drawn_anew(seed):
    brief = briefs.randomised()
    table = added(plan(brief), "R13", "R02", "B1")
    made = remaining.redraw(table, fixed=[*MADE, "R09"], anew=["B1"], seed=[7, 1, seed]).table
    assert list(made["planned_order"]) == list(range(1, 14))
    assert row(made, "R09") == row(table, "R09")
    assert list(made["run_id"][:5]) == MADE


@pytest.mark.parametrize("seed", range(40))
def test_repeats_come_behind_all_others_in_random_order(seed):
    table = added(added(plan(briefs.randomised()), "R13", "R02", "B1"), "R14", "R04", "B1")
    made = remaining.redraw(table, fixed=MADE, anew=[], last=["R13", "R14"], seed=[seed, 1, 1])
    pd.testing.assert_frame_equal(made.table.iloc[:12], table.iloc[:12])
    assert sorted(made.table["run_id"][12:]) == ["R13", "R14"]
    assert set(made.drawn_anew) == {"R13", "R14"}


def test_which_repeat_comes_first_is_even():
    table = added(added(plan(briefs.randomised()), "R13", "R02", "B1"), "R14", "R04", "B1")
    first = [
        remaining.redraw(table, fixed=MADE, anew=[], last=["R13", "R14"], seed=[seed, 1, 1]).table["run_id"].iloc[12]
        for seed in range(400)
    ]
    assert abs(first.count("R13") / 400 - 0.5) < 3.3 * 0.5 / 20


def whole_plots():
    """Eight builds of two runs, two of them begun, and two builds more, one for each sprocket."""
    table = plan(briefs.whole_plots())
    for build, sprocket, runs in (("B9", "S0", ("R17", "R18")), ("B10", "S1", ("R19", "R20"))):
        more = pd.DataFrame({"run_id": runs, "oil": ["O0", "O1"]}).assign(
            phase="main", build_id=build, planned_order=0, replicate=5, sprocket=sprocket
        )
        table = pd.concat([table, more[table.columns]], ignore_index=True)
    return table


@pytest.mark.parametrize("seed", SEEDS)
def test_whole_plots_that_nobody_has_begun_are_allotted_anew_and_stay_whole(seed):
    table = whole_plots()
    fixed = ["R01", "R02", "R03", "R04"]
    open_builds = [f"B{at}" for at in range(3, 11)]
    made = remaining.redraw(table, fixed=fixed, anew=open_builds, allotted=open_builds, seed=[7, 1, seed]).table
    assert list(made["build_id"]) == [f"B{at}" for at in range(1, 11) for _ in range(2)]
    assert list(made["planned_order"]) == list(range(1, 21))
    assert all(row(made, run) == row(table, run) for run in fixed)
    assert all(part["sprocket"].nunique() == 1 for _, part in made.groupby("build_id"))
    assert all(sorted(part["oil"]) == ["O0", "O1"] for _, part in made.groupby("build_id"))
    assert made.groupby("sprocket").size().to_dict() == {"S0": 10, "S1": 10}


def test_whole_plots_are_allotted_evenly():
    table = whole_plots()
    fixed = ["R01", "R02", "R03", "R04"]
    open_builds = [f"B{at}" for at in range(3, 11)]
    begun = table[table["run_id"].isin(fixed)]["sprocket"].tolist()
    chance = (10 - begun.count("S1")) / 16
    draws = 150
    found = np.zeros(8)
    for seed in range(draws):
        made = remaining.redraw(table, fixed=fixed, anew=open_builds, allotted=open_builds, seed=[seed, 1, 1]).table
        found += (made.drop_duplicates("build_id")["sprocket"].to_numpy()[2:] == "S1").astype(float)
    assert np.abs(found / draws - chance).max() < 3.9 * np.sqrt(chance * (1 - chance) / draws)
