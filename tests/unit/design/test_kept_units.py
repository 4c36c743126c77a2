"""Designs with parts or fills kept over several runs: their runs, their orders, their layers, their false alarms.

Degrees of freedom and expected mean squares: split plot in blocks, split-split-plot, split plot completely randomised
(Cochran and Cox, Experimental Designs, chapter 7, from memory).
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit import briefs
from toolkit.brief.model import PlanChoice
from toolkit.design import chosen, factorial, layouts, orders, questions
from toolkit.errors import DesignError

SETTING = briefs.factor("load", "L0", "L1", undo="setting")


def kept(*new: str, **changes: object):
    """Pin a part, oil a fill, load a setting; what is not new in every run is kept."""
    brief = briefs.blocked(new_each_run=new, **changes)
    return replace(brief, factors=(*brief.factors, SETTING))


def skeleton(brief, **size):
    """Layer to its terms' df and error df."""
    laid = factorial.full(brief, **size).strata
    assert laid.balanced
    return {item.name: (item.units, item.term_df, item.error_df) for item in laid.strata if item.error_df is not None}


def test_split_plot_in_blocks():
    """r = 3 blocks, a = 2 whole plots, b = 4: (r-1)(a-1) and a(r-1)(b-1)."""
    assert skeleton(kept("fill"), builds=3) == {"part": (6, 1, 2), "run": (24, 6, 12)}
    assert skeleton(kept("part"), builds=3) == {"fill": (6, 1, 2), "run": (24, 6, 12)}


def test_split_split_plot_in_blocks():
    """r = 3, a = b = c = 2: (r-1)(a-1), a(r-1)(b-1), ab(r-1)(c-1)."""
    brief = kept()
    assert skeleton(brief, builds=3) == {"part": (6, 1, 2), "fill": (12, 2, 4), "run": (24, 4, 8)}
    laid = factorial.full(brief, builds=3).strata
    assert {name: laid.expected(name) for name in ("build", "part", "fill", "run")} == {
        "build": {"build": 8.0, "part": 4.0, "fill": 2.0, "run": 1.0},
        "part": {"part": 4.0, "fill": 2.0, "run": 1.0},
        "fill": {"fill": 2.0, "run": 1.0},
        "run": {"run": 1.0},
    }
    # A main effect of two levels: 4 / N of its own mean square.
    asked = {item.name: questions.of_comparison(brief, item, laid.terms).row for item in brief.comparisons}
    (part,) = laid.parts(asked["coating"])
    assert (part.stratum, part.unit_variance, part.error_df) == ("part", pytest.approx(4 / 24), 2)
    assert [item.stratum for item in laid.parts(asked["both"])] == ["part", "fill"]


def test_split_plot_completely_randomised():
    """r = 4 sets a level: a(r-1), then a(r-1)(b-1)."""
    brief = kept("fill", block_by=None)
    assert skeleton(brief, replicates=4) == {"part": (8, 1, 6), "run": (32, 6, 18)}
    assert factorial.full(brief, replicates=4).strata.layout == "whole plots, completely randomised"


def test_builds_as_units_hold_kept_fills():
    brief = briefs.whole_plots(new_each_run=("part",))
    brief = replace(brief, factors=(*brief.factors, SETTING))
    assert skeleton(brief, builds=6) == {"build": (6, 1, 4), "fill": (12, 2, 4), "run": (24, 4, 8)}


def test_replicates_have_parts_of_their_own():
    table = factorial.full(kept("fill"), builds=2, replicates=2).table
    sets = table.groupby(["build_id", "part_set_id"])
    assert Counter(table.groupby("build_id")["part_set_id"].nunique()) == {4: 2}
    assert {len(rows) for _, rows in sets} == {4}
    assert {rows["pin"].nunique() for _, rows in sets} == {1}
    assert list(table.columns[:4]) == ["build_id", "part_set_id", "replicate", "pin"]


def test_units_are_drawn_within_what_holds_them():
    """Every order of sets, fills and runs comes up; units stay together; ids count in the order as made."""
    brief = kept()
    design = factorial.full(brief, builds=1)
    seen = Counter()
    for seed in range(400):
        order = orders.randomise(design, seed=seed)
        table = order.table
        assert list(table["part_set_id"]) == ["1"] * 4 + ["2"] * 4
        assert list(table["fill_id"]) == ["1"] * 2 + ["2"] * 2 + ["3"] * 2 + ["4"] * 2
        assert list(table["planned_order"]) == list(range(1, 9))
        for names in (["part_set_id", "pin"], ["fill_id", "oil"]):
            assert (table.groupby(names[0])[names[1]].nunique() == 1).all()
        seen[tuple(table["pin"] + table["oil"] + table["load"])] += 1
    # 2 orders of sets, 2 of fills in each, 2 of runs in each: 2^7 in all, each equally likely.
    assert order.drawn == (
        "sets of parts at random, fills at random within sets of parts, runs at random within fills"
    )
    first = Counter({key[:1]: 0 for key in seen})
    for key, times in seen.items():
        first[key[:1]] += times
    assert stats.chisquare(list(first.values())).pvalue > 0.001
    assert len(seen) > 100
    again = orders.randomise(design, seed=3).table
    pd.testing.assert_frame_equal(again, orders.randomise(design, seed=3).table)


def test_a_pilot_numbers_its_parts_too():
    brief = kept("fill", pilot=briefs.Pilot(
        ({"pin": "P0", "oil": "O0", "load": "L0"}, {"pin": "P0", "oil": "O1", "load": "L0"},
         {"pin": "P1", "oil": "O0", "load": "L0"}, {"pin": "P1", "oil": "O1", "load": "L0"}), replicates=4, builds=2))
    design = factorial.pilot(brief)
    assert {name: len(rows) for name, rows in design.table.groupby(["build_id", "part_set_id"])} == {
        (build, label): 2 for build in ("PB1", "PB2") for label in ("1", "2", "3", "4")
    }
    assert design.strata.alike


def test_what_is_not_laid_out_says_so():
    half = kept("fill", plan=PlanChoice(builds=2, design="half fraction"))
    with pytest.raises(DesignError) as told:
        chosen.main(half)
    assert str(told.value) == (
        "[plan] design = 'half fraction': only 'full factorial' is laid out where a set of parts is kept over several "
        "runs and carries a factor. Choose that, or put what is undone into new_each_run."
    )


def test_false_alarms_in_every_layer_are_five_per_cent():
    """2,000 campaigns without effects, scatter in every layer: the F test of each layer within 3.24 binomial SE."""
    brief = kept()
    laid = factorial.full(brief, builds=4).strata
    draw = np.random.default_rng(8)
    campaigns = 2000
    y = draw.normal(size=(campaigns, len(laid.runs)))
    builds = pd.factorize(laid.runs["build_id"])[0]
    y += 2.0 * draw.normal(size=(campaigns, 4))[:, builds]
    for unit, size in (("part", 1.5), ("fill", 0.8)):
        codes = laid.members[unit]
        y += size * draw.normal(size=(campaigns, codes.max() + 1))[:, codes]
    bound = 3.24 * math.sqrt(0.05 * 0.95 / campaigns)
    alarms = {}
    for unit, chosen_columns in laid.columns_of().items():
        own = laid.stratum(unit)
        columns = laid.scaled(unit, laid.columns[:, chosen_columns])
        base = np.zeros((len(columns), 0))
        if unit == laid.units[0]:
            base = laid.scaled(unit, np.hstack([np.ones((len(laid.runs), 1)), laid.block_columns]))
        values = laid.scaled(unit, y.T)
        rests = []
        for held in (base, np.hstack([base, columns])):
            rests.append(((values - held @ np.linalg.pinv(held) @ values) ** 2).sum(axis=0) if held.size else
                         (values**2).sum(axis=0))  # fmt: skip
        f = (rests[0] - rests[1]) / own.term_df / (rests[1] / own.error_df)
        alarms[unit] = float(np.mean(stats.f.sf(f, own.term_df, own.error_df) < 0.05))
    assert list(alarms) == ["part", "fill", "run"]
    assert all(abs(share - 0.05) < bound for share in alarms.values()), alarms
    # Judged by the scatter of the runs alone, the pins would alarm far too often.
    row = questions.of_comparison(brief, brief.comparisons[0], laid.terms).row
    full = laid.full_columns
    weights = full @ np.linalg.pinv(full.T @ full) @ np.concatenate([row, np.zeros(full.shape[1] - len(row))])
    rest = y - y @ full @ np.linalg.pinv(full)
    df = len(laid.runs) - np.linalg.matrix_rank(full)
    t = y @ weights / np.sqrt(weights @ weights * (rest**2).sum(axis=1) / df)
    assert np.mean(2 * stats.t.sf(np.abs(t), df) < 0.05) > 0.2


def test_a_contrast_in_two_layers_adds_their_variances():
    """The variance of 'both' over drawn campaigns is that of its parts."""
    brief = kept()
    laid = factorial.full(brief, builds=3).strata
    variances = {"part": 1.2, "fill": 0.5, "run": 1.0}
    row = questions.of_comparison(brief, brief.comparisons[1], laid.terms).row
    told = sum(
        part.unit_variance * sum(times * variances[unit] for unit, times in laid.expected(part.stratum).items())
        for part in laid.parts(row)
    )
    cov = np.zeros((len(laid.runs),) * 2)
    for unit, variance in variances.items():
        codes = laid.members[unit]
        cov += variance * (codes[:, None] == codes[None, :])
    full = laid.full_columns
    weights = full @ np.linalg.pinv(full.T @ full) @ np.concatenate([row, np.zeros(full.shape[1] - len(row))])
    assert told == pytest.approx(float(weights @ cov @ weights), rel=1e-10)


def test_layouts_of_builds_stay_what_they_are():
    assert layouts.layout_of_builds(kept("fill")) == "complete blocks"
    assert layouts.layout_of_builds(kept("fill", block_by=None)) == "completely randomised"
    assert layouts.layout_of_builds(briefs.whole_plots(new_each_run=())) == "whole plots"
