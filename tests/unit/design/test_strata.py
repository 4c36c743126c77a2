"""The strata of planned and of awkward run tables.

Degrees of freedom: textbook skeleton tables (randomised blocks: (b-1)(t-1); split plot: a(r-1) between whole plots and
a(r-1)(b-1) between subplots; Cochran & Cox, Experimental Designs, from memory). Variance of an effect of a two-level
factorial, 4 sigma^2 / N: the formula se = 2 sigma / sqrt(N) recorded with case k09-power-2k-effect.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from tests.unit import briefs
from toolkit.design import factorial, layouts, questions, strata
from toolkit.errors import DesignError


def parts(brief, laid, name):
    comparison = next(item for item in brief.comparisons if item.name == name)
    found = laid.parts(questions.of_comparison(brief, comparison, laid.terms).row)
    return [(part.stratum, pytest.approx(part.unit_variance), part.error_df) for part in found]


def test_complete_blocks_leave_blocks_less_one_times_treatments_less_one():
    brief = briefs.blocked()
    laid = factorial.full(brief).strata
    assert laid.layout == "complete blocks"
    assert [(s.name, s.units, s.term_df, s.error_df) for s in laid.strata] == [
        ("build", 3, 0, None),
        ("run", 12, 3, 6),
        ("station", 120, 0, None),
        ("reading", 240, 0, None),
    ]
    assert parts(brief, laid, "coating") == [("run", 4 / 12, 6)]
    assert parts(brief, laid, "both") == [("run", 2 / 3, 6)]
    assert parts(brief, laid, "together") == [("run", 16 / 12, 6)]


def test_completely_randomised_runs_judge_against_replicates():
    brief = briefs.randomised()
    laid = factorial.full(brief).strata
    assert laid.layout == "completely randomised"
    assert (laid.stratum("run").term_df, laid.stratum("run").error_df) == (2, 9)
    assert parts(brief, laid, "honing") == [("run", 2 / 4, 9)]


def test_build_level_factor_is_judged_between_builds():
    brief = briefs.whole_plots()
    laid = factorial.full(brief).strata
    assert [(s.name, s.units, s.term_df, s.error_df) for s in laid.strata[:2]] == [
        ("build", 8, 1, 6),
        ("run", 16, 2, 6),
    ]
    assert parts(brief, laid, "sprocket") == [("build", 0.25, 6)]
    assert parts(brief, laid, "oil") == [("run", 0.25, 6)]
    # (S1,O1) less (S0,O0) holds half a change of each stratum: 4/16 of each mean square.
    assert parts(brief, laid, "both") == [("build", 0.25, 6), ("run", 0.25, 6)]


def test_what_must_be_undone_decides_unit_and_layout():
    chain = briefs.blocked()
    assert [strata.unit_of(chain, item) for item in chain.factors] == ["run", "run"]
    plots = briefs.whole_plots()
    assert [strata.unit_of(plots, item) for item in plots.factors] == ["build", "run"]
    assert [layouts.layout_of(item) for item in (chain, plots, briefs.randomised())] == [
        "complete blocks",
        "whole plots",
        "completely randomised",
    ]
    assert layouts.layout_of(briefs.whole_plots(new_each_run=("build", "fill"))) == "completely randomised"


def test_a_lost_run_is_taken_as_run():
    brief = briefs.blocked()
    table = factorial.full(brief).table.iloc[1:]
    laid = strata.of_runs(brief, table)
    assert laid.stratum("run").error_df == 5
    (part,) = laid.parts(questions.of_comparison(brief, brief.comparisons[0], laid.terms).row)
    # One of four missing in one of three blocks: least squares of the remaining eleven by an independent route.
    x = pd.get_dummies(table[["build_id"]], dtype=float).to_numpy()
    cells = pd.get_dummies(table["pin"] + table["oil"], dtype=float).to_numpy()
    full = np.hstack([x, cells[:, 1:]])
    names = sorted(set(table["pin"] + table["oil"]))[1:]
    row = np.array([0, 0, 0, *(0.5 * (n[:2] == "P1") - 0.5 * (n[:2] == "P0") for n in names)])
    assert part.unit_variance == pytest.approx(row @ np.linalg.inv(full.T @ full) @ row)


def test_a_missing_combination_leaves_the_interaction_without_an_answer():
    brief = briefs.randomised(
        factors=(briefs.factor("pin", "P0", "P1"), briefs.factor("oil", "O0", "O1")),
        comparisons=briefs.blocked().comparisons,
    )
    table = factorial.full(brief, replicates=3).table
    laid = strata.of_runs(brief, table[(table["pin"] == "P0") | (table["oil"] == "O0")])
    assert laid.stratum("run").term_df == 2
    assert [bool(laid.parts(questions.of_comparison(brief, item, laid.terms).row)) for item in brief.comparisons] == [
        False,
        False,
        False,
    ]


def test_declaring_the_interaction_nil_makes_the_other_comparisons_estimable():
    brief = briefs.randomised(
        factors=(briefs.factor("pin", "P0", "P1"), briefs.factor("oil", "O0", "O1")),
        comparisons=briefs.blocked().comparisons,
        plan=briefs.PlanChoice(replicates=3, nil_interactions=(("pin", "oil"),)),
    )
    table = factorial.full(brief).table
    laid = strata.of_runs(brief, table[(table["pin"] == "P0") | (table["oil"] == "O0")])
    assert [
        bool(laid.parts(questions.of_comparison(brief, item, laid.terms).row)) for item in brief.comparisons[:2]
    ] == [True, True]
    assert laid.stratum("run").error_df == 6


def test_broken_whole_plots_say_which_build():
    brief = briefs.whole_plots()
    laid = strata.of_runs(brief, factorial.full(brief).table.iloc[1:])
    assert laid.unbalanced == "build B1 does not hold the same combinations as the other builds"
    assert not laid.balanced
    assert laid.parts(questions.of_comparison(brief, brief.comparisons[1], laid.terms).row) == ()
    assert laid.expected("build") == {"build": 15 / 8, "run": 1.0}


def test_a_build_level_factor_cannot_change_within_a_build():
    brief = briefs.whole_plots()
    table = factorial.full(brief).table
    table.loc[0, "sprocket"] = "S1"
    with pytest.raises(DesignError) as told:
        strata.of_runs(brief, table)
    assert str(told.value) == (
        "build 'B1': factor 'sprocket' changes within the build (S1 and S0) though changing it means "
        "a new build. Give the runs after the change a build_id of their own."
    )
