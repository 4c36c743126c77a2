"""What habits claim wrongly: against Student's t, drawn campaigns, and rates told elsewhere."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit import briefs
from tests.unit.size.test_simulate import scatter
from toolkit.brief.model import PlanChoice
from toolkit.design import factorial
from toolkit.size import habit_cost

GAIN = -math.log(0.8)


def rates(found):
    """Habit and comparison to false claims and wrong rankings."""
    return {(item.habit, item.comparison): (item.false_claims, item.wrong_way) for item in found.habits}


def test_single_runs_read_as_they_are():
    """Over the doubt of a pilot a normal error is Student's t with its df, two runs twice its variance (textbook)."""
    brief = briefs.randomised()
    laid = factorial.full(brief, replicates=4).strata
    found = rates(habit_cost.habit_cost(brief, laid, scatter(brief, (0.02, 6.0)), plan="p", campaigns=200))
    error = math.sqrt(2 * 0.02)
    for habit in (habit_cost.RAW, habit_cost.IN_TURN):
        false, wrong = found[habit, "honing"]
        assert false == pytest.approx(2 * stats.t.sf(GAIN / error, 6), abs=1e-4)
        assert wrong == pytest.approx(stats.t.sf(GAIN / error, 6), abs=1e-4)


def test_builds_count_where_they_carry_the_factor():
    """Two mean squares in doubt, drawn 200,000 times: builds differ by their scatter, oils within a build do not."""
    brief = briefs.whole_plots()
    laid = factorial.full(brief, builds=8, replicates=1).strata
    known = scatter(brief, (0.02, 6.0), build=(0.05, 4.0))
    found = rates(habit_cost.habit_cost(brief, laid, known, plan="p", campaigns=200))
    rng = np.random.default_rng(3)
    run = 0.02 * 6 / rng.chisquare(6, 200_000)
    between = np.maximum(0.05 * 4 / rng.chisquare(4, 200_000) - run, 0.0) / 2
    expected = {
        (habit_cost.RAW, "sprocket"): 2 * between + run,
        (habit_cost.RAW, "oil"): run,
        (habit_cost.RAW, "both"): 2 * between + 2 * run,
        (habit_cost.IN_TURN, "sprocket"): 2 * between + 2 * run,
        (habit_cost.IN_TURN, "oil"): 2 * run,
    }
    for key, variance in expected.items():
        tail = stats.norm.sf(GAIN / np.sqrt(variance)).mean()
        assert found[key] == pytest.approx((2 * tail, tail), abs=0.004), key


def test_looks_and_stations_of_a_2x2_in_blocks():
    """Rates told elsewhere: five looks at block ends 14.1 %, after every run from the fifth to the 24th 22.3 %, a block
    more while p is .05 to .20 from the third block on 9.2 % (there up to eight blocks); ten segments as runs 39 %."""
    brief = briefs.blocked()
    lines = pd.DataFrame([{"stratum": "station", "sd": 0.15}])
    known = replace(scatter(brief, (0.12**2 + 0.15**2 / 10, 6.0)), _table=lines)
    six = factorial.full(brief, builds=6, replicates=1).strata
    found = habit_cost.habit_cost(brief, six, known, plan="p")
    told = {item.habit: item for item in found.habits if item.comparison is None}
    assert told[habit_cost.BLOCKS].false_claims == pytest.approx(0.141, abs=0.009)
    assert told[habit_cost.RUNS].false_claims == pytest.approx(0.223, abs=0.012)
    assert told[habit_cost.ONE_MORE].false_claims == pytest.approx(0.09, abs=0.008)
    assert [told[name].meant for name in (habit_cost.BLOCKS, habit_cost.RUNS, habit_cost.ONE_MORE)] == [0.05] * 3
    three = factorial.full(brief, builds=3, replicates=1).strata
    found = habit_cost.habit_cost(brief, three, known, plan="p", campaigns=200)
    stations = next(item for item in found.habits if item.habit == habit_cost.STATIONS)
    assert stations.false_claims == pytest.approx(0.39, abs=0.025)
    assert stations.sentence == (
        "Stations counted as runs: 10 segments of 12 runs taken for 120 runs claim a difference where there is none in "
        "40 % of campaigns; 5 % is meant."
    )


def test_sentences_and_notes():
    brief = briefs.blocked()
    laid = factorial.full(brief, builds=4, replicates=1).strata
    found = habit_cost.habit_cost(brief, laid, scatter(brief), plan="four builds")
    assert found.habits[0].sentence == (
        "One run of each combination, read as it is: of coating, 20 % or more is seen, one way or the other, in 17 % "
        "of tests where there is no difference, and a true change of 20 % comes out the wrong way round in 8.3 %."
    )
    assert found.notes == (
        "changing one factor at a time tells nothing of both and together, and of the others only what they do beside "
        "the first levels",
        "what counting stations as runs costs needs the station values of a pilot",
    )
    look = next(item for item in found.habits if item.habit == habit_cost.BLOCKS)
    assert look.sentence == (
        "A look after every block or repeat, stopping at the first answer (3 looks, claimed at p < 5 %): a difference "
        "is claimed where there is none in 11 % of campaigns; 5 % is meant."
    )
    assert found.to_json()["habits"][0]["comparison"] == "coating"
    assert found.table.columns.tolist()[3:] == [
        "claims a difference where there is none (%)",
        "meant (%)",
        "ranks the wrong way round (%)",
    ]
    again = habit_cost.habit_cost(brief, laid, scatter(brief), plan="four builds")
    assert again.to_json() == found.to_json()


def test_two_blocks_have_a_single_look():
    brief = briefs.blocked()
    laid = factorial.full(brief, builds=2, replicates=1).strata
    found = habit_cost.habit_cost(brief, laid, scatter(brief), plan="p", campaigns=200)
    assert "looks after every block are told where at least two of them can be analysed" in found.notes
    assert {item.habit for item in found.habits} == {habit_cost.RAW, habit_cost.IN_TURN}


def test_more_combinations_than_anyone_runs_are_not_told():
    factors = tuple(briefs.factor(f"f{at}", "0", "1") for at in range(6))
    asked = replace(briefs.randomised().comparisons[0], of={"f0": "1"}, against={"f0": "0"})
    brief = briefs.randomised(factors=factors, comparisons=(asked,))
    laid = factorial.full(brief, replicates=1).strata
    found = habit_cost.habit_cost(brief, laid, scatter(brief), plan="p", campaigns=200)
    assert "one run of each of the 64 combinations is more than 60 runs, so not told" in found.notes
    assert habit_cost.RAW not in {item.habit for item in found.habits}


def test_a_question_of_terms_that_are_not_in_the_model_is_not_looked_at():
    """An interaction in a plan for main effects alone: no figure, no warning of a division by nothing."""
    factors = tuple(briefs.factor(name, "0", "1") for name in ("pin", "oil", "shaft"))
    pair = replace(briefs.blocked().comparisons[2], interaction=("pin", "oil"))
    brief = briefs.randomised(factors=factors, comparisons=(pair,), plan=PlanChoice(replicates=3, interactions_up_to=1))
    laid = factorial.full(brief, replicates=3).strata
    assert (max(len(term) for term in laid.terms), laid.columns.shape[1]) == (1, 4)
    found = habit_cost.habit_cost(brief, laid, scatter(brief), plan="p", campaigns=200)
    assert found.habits == ()
