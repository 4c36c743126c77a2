"""Runs, stations and readings shared out: against an exhaustive search written out here with the laws of scipy."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd
import pytest
from scipy import stats

from tests.unit import briefs
from toolkit.brief.model import Comparison, Cost, CostItem
from toolkit.design import factorial
from toolkit.size import split
from toolkit.size.scatter import MeanSquare, Scatter

COATING = Comparison("coating", of={"pin": "P1"}, against={"pin": "P0"})
# INVENTED: a station costs little and a reading less, a run much; three of the four shares are worth weighing.
ITEMS = (
    CostItem("run", "cell", amount=900.0),
    CostItem("station", "set", amount=40.0),
    CostItem("reading", "gauge", amount=15.0),
    CostItem("build", "rebuild", amount=500.0),
)
RUN, STATION, READING = 0.10**2, 0.22**2, 0.15**2
GAIN = -math.log(0.8)


def lines(station=STATION, reading=READING):
    found = [("run", 0.13, "pilot"), ("station", math.sqrt(station), "pilot")]
    found += [("reading", math.sqrt(reading), "pilot")] if reading else []
    return pd.DataFrame([{"response": "elongation_pct", "stratum": n, "sd": sd, "source": s} for n, sd, s in found])


def scatter_of(brief, df=math.inf, run=RUN, table=None, build=None):
    square = run + STATION / 10 + READING / 20
    between = None if build is None else MeanSquare(square + 2 * build, math.inf)
    made = lines() if table is None else table
    return Scatter(brief.responses[0], "pilot", MeanSquare(square, df), between, 2.0, None, (), made)


def blocked(budget):
    return briefs.blocked(
        comparisons=(COATING,), cost=Cost(currency="EUR", budget=budget, lost_runs_pct=10, items=ITEMS), pilot=None
    )


def searched(budget, layouts=range(2, 11)):
    """Every split by hand: cost, half-width, power of a known scatter."""
    rows = []
    for builds in layouts:
        runs = 4 * builds
        df, unit = runs - builds - 3, 1 / builds
        for stations in range(1, 11):
            for readings in range(1, 7):
                # Readings are taken before and after.
                paid = runs / 0.9 * (900 + stations * 40 + 2 * stations * readings * 15) + 500 * builds
                variance = RUN + STATION / stations + READING / (stations * readings)
                error = math.sqrt(variance * unit)
                width = stats.t.isf(0.025, df) * error
                shown = stats.ncf.sf(stats.f.isf(0.05, 1, df), 1, df, (GAIN / error) ** 2)
                rows.append((runs, stations, readings, paid, width, shown))
    inside = [row for row in rows if row[3] <= budget]
    enough = [row for row in rows if row[5] >= 0.80]
    return min(inside, key=lambda row: row[4]), min(enough, key=lambda row: row[3]), len(rows)


@pytest.mark.parametrize("budget", [15_000, 22_000, 40_000])
def test_best_and_cheapest_are_those_of_an_exhaustive_search(budget):
    brief = blocked(budget)
    designs = [factorial.full(brief, builds=builds) for builds in range(2, 11)]
    found = split.split(designs, scatter_of(brief), COATING)
    best, cheapest, count = searched(budget)
    assert len(found.table) == count == 540
    for told, by_hand in ((found.best, best), (found.cheapest, cheapest)):
        assert (told["runs"], told["stations"], told["readings"]) == by_hand[:3]
        assert told["cost"] == pytest.approx(by_hand[3])
        assert told["half_width"] == pytest.approx(by_hand[4])
        assert told["assurance"] == pytest.approx(by_hand[5], abs=5e-5)
    assert found.cheapest["assurance"] >= 0.80
    # Neither all stations nor one of them: the search has something to find.
    assert 1 < found.cheapest["stations"] < 10


def test_builds_as_units_lose_only_their_share_of_the_stations():
    brief = briefs.whole_plots(cost=Cost(items=ITEMS), power=0.6)
    scatter = scatter_of(brief, build=0.02)
    sprocket = brief.comparisons[0]
    found = split.split([factorial.full(brief, builds=n) for n in (8, 12)], scatter, sprocket)
    row = found.table[(found.table["builds"] == 8) & (found.table["stations"] == 3) & (found.table["readings"] == 2)]
    # Eight builds of two runs: the difference has 2 / 4 of the variance of a build mean, on 6 df.
    square = 2 * 0.02 + RUN + STATION / 3 + READING / 6
    assert row["half_width"].iloc[0] == pytest.approx(stats.t.isf(0.025, 6) * math.sqrt(square / 2 * 2 / 4))
    assert found.best is None


def test_doubt_is_averaged_in_the_promise_of_the_cheapest():
    brief = blocked(40_000)
    designs = [factorial.full(brief, builds=builds) for builds in range(2, 11)]
    known = split.split(designs, scatter_of(brief), COATING).cheapest
    doubted = split.split(designs, scatter_of(brief, df=3.0), COATING).cheapest
    assert doubted["cost"] > known["cost"]
    # The cheapest is the cheapest: nothing cheaper in the table reaches the power.
    table = split.split(designs, scatter_of(brief, df=3.0), COATING).table
    assert table.loc[table["reached"], "cost"].min() == pytest.approx(doubted["cost"])


def test_what_stations_buy_is_said():
    brief = blocked(22_000)
    found = split.split([factorial.full(brief, builds=n) for n in range(2, 11)], scatter_of(brief), COATING)
    share = 100 * RUN / (RUN + STATION / 10 + READING / 20)
    assert found.sentences[0] == (
        f"Stations sharpen a run value and never replace runs: with 10 segments read twice a run value scatters by "
        f"0.126 (SD of ln), with endless segments and readings still by 0.1: {share:.0f} % of its variance lies "
        f"between runs, and only more runs lessen what that does to an answer."
    )
    assert found.sentences[1].startswith("For the budget coating is known best from ")
    assert found.sentences[2].startswith("The cheapest way to 80 % for coating: ")
    assert list(found.curve["stations"]) == list(range(1, 11))
    assert found.curve["times_least"].iloc[0] == pytest.approx(math.sqrt(RUN + STATION + READING / 2) / 0.1)
    assert found.to_json()["splits_tried"] == 540


def test_stations_without_a_price_are_not_shared_out():
    brief = replace(blocked(22_000), cost=Cost(currency="EUR", budget=22_000, items=ITEMS[:1]))
    found = split.split([factorial.full(brief, builds=n) for n in (2, 3)], scatter_of(brief), COATING)
    assert found.sentences[1] == (
        "The price list has no item per station or reading, so that only runs are shared out here."
    )
    assert (found.best["stations"], found.best["readings"], len(found.table)) == (10, 2, 2)


def test_a_pilot_whose_stations_explain_it_all_tells_nothing_of_stations():
    brief = blocked(22_000)
    found = split.components_of(scatter_of(brief, run=-0.001))
    assert (found.run, found.floored) == (0.0, True)
    told = split.split([factorial.full(brief, builds=3)], scatter_of(brief, run=-0.001), COATING)
    assert told.sentences[0] == (
        "The pilot cannot tell the scatter between runs from that of the segments: what stations would buy is not told "
        "by it, and their number stays as the brief has it. They never replace runs."
    )
    assert told.curve["times_least"].isna().all()


def test_a_plan_is_promised_the_same_there_where_stations_scatter_more_than_run_values_do():
    brief = blocked(40_000)
    known = scatter_of(brief, run=-0.005)
    design = factorial.full(brief, builds=3)
    told = split.split([design], known, COATING)
    assert list(zip(told.table["stations"], told.table["readings"], strict=True)) == [(10, 2)]
    # Twelve runs in three builds leave six degrees of freedom; a run value scatters by what the pilot says of it.
    square = -0.005 + STATION / 10 + READING / 20
    assert known.run.value == pytest.approx(square)
    assert told.best["sd_of_run_value"] == pytest.approx(math.sqrt(square))
    assert told.best["half_width"] == pytest.approx(stats.t.isf(0.025, 6) * math.sqrt(square / 3))
    shown = stats.ncf.sf(stats.f.isf(0.05, 1, 6), 1, 6, GAIN**2 / (square / 3))
    assert told.best["assurance"] == pytest.approx(shown, abs=1e-6)
    assert told.curve["sd_of_run_value"].iloc[-1] == pytest.approx(math.sqrt(square))


def test_what_cannot_be_split_says_why():
    brief = blocked(22_000)
    assert split.components_of(scatter_of(brief, table=lines().iloc[:1])) == (
        "no records of single stations of elongation_pct tell how much they scatter"
    )
    largest = replace(brief, responses=(replace(brief.responses[0], per_run="max"),))
    assert split.components_of(scatter_of(largest)) == (
        "the run value of elongation_pct is the max over stations, which is not a sum of parts"
    )
    bare = replace(brief, responses=(replace(brief.responses[0], stations=None, per_run="value"),))
    assert split.components_of(scatter_of(bare)) == "elongation_pct has no stations"
    assert split.components_of(replace(scatter_of(brief), run_known=False)) == (
        "the scatter between runs of a build is not known"
    )
    # Stations that were read once carry the readings' scatter with them.
    once = split.components_of(scatter_of(brief, table=lines(reading=0)))
    assert (once.reading, once.station) == (0.0, pytest.approx(STATION))
