"""Which extensions pay, against alias chains by hand and variances by numpy alone."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit import briefs, rings
from tests.unit.design.test_extend import FRACTION, fraction, signs
from toolkit.brief.model import Comparison, Cost, CostItem, PlanChoice
from toolkit.decide import next_runs, verdict, ways_to_extend
from toolkit.design import chosen, factorial, strata
from toolkit.model import comparisons
from toolkit.model.fit import of_strata

TOGETHER = Comparison("together", interaction=("a", "b"))
COST = Cost(currency="EUR", items=(CostItem(per="run", what="cell", amount=1000.0),))


def four(**changes):
    """Four factors in eight runs made twice: a × b shares its contrast with c × d."""
    return fraction(4, None, plan=replace(FRACTION, replicates=2), cost=COST, **changes)


def fitted(brief, effects, *, sd=0.1, seed=3, drop=()):
    """A fit of the main phase as planned, with these effects."""
    runs = chosen.main(brief).table.assign(phase="main")
    runs = runs.drop(index=list(drop)).reset_index(drop=True)
    runs["run_id"] = [f"R{at + 1:02d}" for at in range(len(runs))]
    levels = signs(runs, brief.factor_names)
    y = 3.0 + np.random.default_rng(seed).normal(0.0, sd, len(runs))
    for names, size in effects.items():
        y += size / 2.0 * levels[:, [brief.factor_names.index(name) for name in names]].prod(axis=1)
    made = of_strata(brief, brief.responses[0], strata.of_runs(brief, runs), y)
    return made, verdict.verdicts(comparisons.comparisons(made), brief)


def told(brief, fit, verdicts):
    """The ways as a table by name."""
    return ways_to_extend.ways(brief, fit, verdicts)


def test_only_what_frees_the_interaction_asked_for_is_shown_and_the_cheapest_first():
    brief = replace(four(), comparisons=(TOGETHER,))
    fit, verdicts = fitted(brief, {"ab": 0.8})
    assert next_runs.rests_on(fit) == {"together": "as far as c × d is nil"}
    found = told(brief, fit, verdicts)
    table = found.table
    assert table["way"].iloc[0] == "semifold by a, the half with d high, 2 sets"
    assert (table["runs"].iloc[0], table["cost"].iloc[0]) == (8, 8000.0)
    assert table["why"].iloc[0].startswith("'together' stands for itself then (now as far as c × d is nil); clear only")
    assert list(table["cost"]) == sorted(table["cost"])
    assert {row["frees"] for row in table.to_dict("records")} == {("together",)}
    # All factors swapped give the same eight runs: a word of four letters keeps its sign. It is not even looked at.
    assert "full fold-over, 2 sets" not in set(table["way"])
    assert found.sentences[0].startswith(f"Of {found.tried} extensions {len(table)} would do something for what is ask")


def test_half_widths_are_those_of_least_squares_over_both_phases():
    brief = replace(four(), comparisons=(TOGETHER,))
    fit, verdicts = fitted(brief, {"ab": 0.8})
    row = told(brief, fit, verdicts).table.set_index("way").loc["fold-over by a, 2 sets"]
    main = signs(chosen.main(brief).table, "abcd")
    both = np.vstack([main, main * [-1, 1, 1, 1]])
    terms = [[0], [1], [2], [3], [0, 1], [0, 2], [0, 3], [1, 2], [1, 3], [2, 3], [0, 1, 2], [0, 1, 3], [0, 2, 3]]
    columns = np.column_stack([np.ones(32), np.repeat([1.0, -1.0], 16), *(both[:, one].prod(axis=1) for one in terms)])
    # The block is the product of all four; the fourteenth contrast is b × c × d.
    columns = np.column_stack([columns, both[:, [1, 2, 3]].prod(axis=1)])
    after = np.linalg.inv(columns.T @ columns)[6, 6]
    df = 32 - np.linalg.matrix_rank(columns)
    ratio = stats.t.isf(0.025, df) / stats.t.isf(0.025, 8) * np.sqrt(after / (1.0 / 16.0))
    assert row["half_width_factor"]["together"] == pytest.approx(ratio, rel=1e-9)


def test_the_lines_that_choose_it():
    brief = replace(four(), comparisons=(TOGETHER,))
    fit, verdicts = fitted(brief, {"ab": 0.8})
    row = told(brief, fit, verdicts).table.iloc[0]
    assert row["lines"] == '[extension]\ndesign = "semifold"\nswap = ["a"]\nhalf = { d = "high" }'


def test_a_missing_combination_is_made_up():
    brief = briefs.blocked(pilot=None, cost=COST)
    runs = factorial.full(brief).table.assign(phase="main")
    runs = runs[~((runs["pin"] == "P1") & (runs["oil"] == "O1"))].reset_index(drop=True)
    runs["run_id"] = [f"R{at + 1:02d}" for at in range(len(runs))]
    y = np.random.default_rng(1).normal(2.0, 0.1, len(runs))
    fit = of_strata(brief, brief.responses[0], strata.of_runs(brief, runs), y)
    verdicts = verdict.verdicts(comparisons.comparisons(fit), brief)
    table = told(brief, fit, verdicts).table
    first = table.iloc[0]
    assert first["way"] == "make-up runs of 2 combinations, 1 build"
    assert set(first["tells"]) == {"together", "both", "coating"}
    assert first["lines"].startswith('[extension]\ndesign = "make-up runs"\ncombinations = [ { pin = ')
    assert '{ pin = "P1", oil = "O1" }' in first["lines"]


def test_axial_points_where_curvature_is_shown_and_not_elsewhere():
    factors = (briefs.numeric("speed_rpm", 2000, 4000), briefs.numeric("load_N", 500, 900))
    asked = Comparison("speed", of={"speed_rpm": "4000"}, against={"speed_rpm": "2000"})
    brief = briefs.randomised(factors=factors, comparisons=(asked,), plan=PlanChoice(replicates=3, centre_points=4))
    runs = chosen.main(brief).table.assign(phase="main")
    runs["run_id"] = [f"R{at + 1:02d}" for at in range(len(runs))]
    noise = np.random.default_rng(5).normal(0.0, 0.05, len(runs))
    centre = (runs["speed_rpm"] == "centre").to_numpy()
    ways = {}
    for bend in (0.0, 0.6):
        y = 2.0 + 0.4 * (runs["speed_rpm"] == "4000").to_numpy() + (0.2 + bend) * centre + noise
        fit = of_strata(brief, brief.responses[0], strata.of_runs(brief, runs), y)
        ways[bend] = told(brief, fit, verdict.verdicts(comparisons.comparisons(fit), brief)).table
    assert not any("axial" in way for way in ways[0.0]["way"])
    assert [way for way in ways[0.6]["way"] if "axial" in way] == [
        "axial points, face-centred, 1 set",
        "axial points, rotatable (1.861), 1 set",
    ]
    assert "tells which factor bends: curvature is shown (p = " in ways[0.6]["why"].iloc[0]


def test_where_nothing_pays_and_where_an_extension_is_in():
    brief = replace(four(), comparisons=(Comparison("a", of={"a": "high"}, against={"a": "low"}),))
    fit, verdicts = fitted(brief, {"a": 1.5})
    found = told(brief, fit, verdicts)
    assert found.table.empty
    assert found.sentences == (
        f"No extension pays: of {found.tried} looked at none would tell, free or settle what is asked.",
    )
    laid = replace(fit.strata, runs=fit.strata.runs.assign(phase=["extension", *["main"] * 15]))
    assert told(brief, replace(fit, strata=laid), verdicts).sentences == (
        "An extension is in already; further runs are a campaign of their own, sized from this one's scatter.",
    )
    whole = briefs.whole_plots()
    assert ways_to_extend.ways(whole, fit, verdicts).sentences == (
        "Where builds are the units of a factor an extension is not covered; further builds are an amendment.",
    )


def test_more_of_the_same_only_where_it_settles_and_then_the_fewest():
    brief = replace(four(), comparisons=(Comparison("a", of={"a": "high"}, against={"a": "low"}),))
    fit, verdicts = fitted(brief, {"a": -0.30}, sd=0.06)
    assert verdicts["verdict"].iloc[0] not in next_runs.SETTLED
    table = told(brief, fit, verdicts).table
    same = table[table["lines"].str.startswith("[extension]\nreplicates")]
    assert len(same) == 1
    sets = int(same["lines"].iloc[0].split("= ")[1])
    one, margin = verdicts.iloc[0], float(verdicts["worthwhile"].iloc[0])
    square = fit.mean_squares["run"][0]
    for count in (sets - 1, sets):
        # 16 + 8 runs a set in two blocks, seven effects; the error SD stays as it is.
        total = 16 + 8 * count
        half = stats.t.isf(0.025, total - 9) * np.sqrt(4.0 * square / total)
        low, high = float(one["gain"]) - half, float(one["gain"]) + half
        settled = low > margin or (high < margin and low > -margin)
        assert settled == (count == sets) or count == 0


def test_where_positions_hold_parts_no_extension_is_offered():
    fit = SimpleNamespace(strata=SimpleNamespace(runs=pd.DataFrame()))
    made = ways_to_extend.ways(rings.brief(), fit, pd.DataFrame())
    assert (made.tried, len(made.table)) == (0, 0)
    assert made.sentences == (
        "Where positions of a run hold parts of their own an extension is not covered; further runs are a campaign of "
        "their own, sized from this one's scatter.",
    )


def kept_parts(gain, *, between, within=0.01, lost=()):
    """The coating on sets of parts that each stay for two oils, three sets a side; sets scatter, runs hardly do."""
    asked = Comparison("coating", of={"pin": "P1"}, against={"pin": "P0"}, direction="smaller")
    brief = briefs.blocked(new_each_run=("fill",), block_by=None, comparisons=(asked,), pilot=None, cost=COST)
    brief = replace(brief, plan=PlanChoice(replicates=3))
    runs = factorial.full(brief).table.assign(phase="main")
    sets = sorted(set(runs["part_set_id"]))
    kind = dict(zip(runs["part_set_id"], runs["pin"], strict=True))
    off = {}
    for level in ("P0", "P1"):
        own = [name for name in sets if kind[name] == level]
        off |= dict(zip(own, between * np.array([-1.0, 0.0, 1.0]), strict=True))
    coated = runs["pin"] == "P1"
    y = 3.0 - gain * coated + runs["part_set_id"].map(off) + within * np.where(runs["oil"] == "O1", 1.0, -1.0)
    y += within * np.cos(3.0 * np.arange(len(runs)))
    runs["run_id"] = [f"R{at + 1:02d}" for at in range(len(runs))]
    runs, y = runs.drop(index=list(lost)).reset_index(drop=True), y.drop(index=list(lost)).to_numpy()
    fit = of_strata(brief, brief.responses[0], strata.of_runs(brief, runs), y)
    return brief, fit, verdict.verdicts(comparisons.comparisons(fit), brief)


def test_more_of_the_same_is_judged_by_the_scatter_of_the_units_that_carry_the_factor():
    brief, fit, verdicts = kept_parts(0.38, between=0.16)
    square = fit.mean_squares["part"][0]
    assert square > 20.0 * fit.mean_squares["run"][0]
    found = told(brief, fit, verdicts)
    gain, margin = float(verdicts["gain"].iloc[0]), float(verdicts["worthwhile"].iloc[0])
    fewest = None
    for count in range(1, 13):
        # 3 + c sets of two runs a side; df: their 2 (3 + c) means less the grand mean, a side and a phase.
        half = stats.t.isf(0.025, 2 * (3 + count) - 3) * np.sqrt(square / (3 + count))
        if fewest is None and gain - half > margin:
            fewest = count
    assert fewest is not None and fewest > 1
    assert list(found.table["lines"]) == [f"[extension]\nreplicates = {fewest}"]
    ratio = stats.t.isf(0.025, 2 * fewest + 3) / stats.t.isf(0.025, 4) * np.sqrt(3.0 / (3 + fewest))
    assert found.table["half_width_factor"].iloc[0]["coating"] == pytest.approx(ratio, rel=1e-9)


def test_with_a_run_lost_the_units_still_say_which_extension_settles():
    brief, fit, verdicts = kept_parts(0.38, between=0.16, lost=(0,))
    assert fit.mixed is not None
    found = told(brief, fit, verdicts)
    assert [row["settles"] for row in found.table.to_dict("records")] == [("coating",)]
    assert found.sentences[0].startswith(f"Of {found.tried} extensions 1 would do something for what is asked; ")
