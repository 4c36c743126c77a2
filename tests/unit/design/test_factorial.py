"""Full factorials against enumeration, pyDOE3's array, and hand counts."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from tests.unit import briefs
from toolkit.brief.model import Extension, PlanChoice
from toolkit.design import factorial
from toolkit.errors import DesignError


def test_every_combination_once_in_each_build():
    design = factorial.full(briefs.blocked())
    table = design.table
    assert (design.runs, design.builds, design.name) == (12, 3, "full factorial, 3 builds of 4 runs")
    for _, held in table.groupby("build_id"):
        assert sorted(zip(held["pin"], held["oil"], strict=True)) == sorted(product(["P0", "P1"], ["O0", "O1"]))


def test_same_points_as_the_array_of_a_general_library():
    # pyDOE3.fullfact is the independent enumeration here; it gives bare level numbers.
    from pyDOE3 import fullfact

    brief = briefs.randomised(
        factors=(
            briefs.factor("a", "x", "y", "z"),
            briefs.factor("b", "u", "v"),
            briefs.factor("c", "k", "l", "m", "n"),
        ),
        comparisons=(),
    )
    table = factorial.full(brief, replicates=1).table
    ours = {tuple(row) for row in table[["a", "b", "c"]].to_numpy().tolist()}
    theirs = {("xyz"[int(i)], "uv"[int(j)], "klmn"[int(k)]) for i, j, k in fullfact([3, 2, 4])}
    assert ours == theirs
    assert len(table) == 24


def test_replicates_in_blocks_and_in_whole_plots():
    assert factorial.full(briefs.blocked(), builds=2, replicates=2).name == "full factorial, 2 builds of 8 runs"
    design = factorial.full(briefs.whole_plots(), builds=4, replicates=2)
    assert (design.runs, design.name) == (16, "full factorial, 4 builds as units, 4 runs in each")
    assert all(held["sprocket"].nunique() == 1 for _, held in design.table.groupby("build_id"))


def test_centre_points_stand_midway_and_show_curvature_only():
    brief = briefs.randomised(
        factors=(briefs.numeric("temp_degC", 90, 120), briefs.factor("oil", "O0", "O1", undo="fill")),
        new_each_run=("part", "fill"),
        comparisons=(),
        plan=PlanChoice(replicates=2, centre_points=2),
    )
    design = factorial.full(brief)
    assert design.runs == 8 + 4
    assert factorial.centre_points(brief) == 2
    assert (design.table["temp_degC"] == "centre").sum() == 4
    assert ("curvature",) in design.strata.terms
    columns = design.strata.columns
    centre = np.asarray(design.table["temp_degC"] == "centre")
    assert np.allclose(columns[centre][:, design.strata.spans[("temp_degC",)]], 0.0)
    # 4 corners, 2 centres (one an oil): mean, 3 factorial terms, curvature; 12 runs leave 7.
    assert design.strata.stratum("run").error_df == 7


def test_centre_points_need_two_level_numbers():
    with pytest.raises(DesignError) as told:
        factorial.full(briefs.blocked(plan=PlanChoice(builds=2, centre_points=1)))
    assert str(told.value) == (
        "centre_points: only where every numeric factor has two levels and there is one at least; a "
        "factor with three levels shows its own curvature. Leave centre_points out."
    )


def test_builds_must_hold_every_level_equally_often():
    with pytest.raises(DesignError) as told:
        factorial.full(briefs.whole_plots(), builds=5)
    assert str(told.value) == (
        "builds = 5: sprocket is changed with the build, so the number of builds must be a multiple of "
        "2 to hold every level equally often; choose 4 or 6."
    )


def test_a_size_that_is_not_chosen_is_asked_for():
    with pytest.raises(DesignError) as told:
        factorial.full(briefs.blocked(plan=PlanChoice()))
    assert str(told.value) == (
        "[plan] builds = 0: the size of the main phase is not chosen yet. Run `wearbook size`, decide, "
        "and write your choice into campaign.toml."
    )


def test_pilot_repeats_its_few_combinations():
    pilot = factorial.pilot(briefs.blocked())
    assert pilot.name == "pilot, 2 runs of 2 combinations"
    assert sorted(zip(pilot.table["pin"], pilot.table["oil"], strict=True)) == [("P0", "O0")] * 2 + [("P1", "O0")] * 2
    assert pilot.strata.stratum("run").error_df == 2


def test_pilot_over_builds_must_be_even():
    brief = briefs.blocked(pilot=briefs.Pilot(({"pin": "P0", "oil": "O0"},), replicates=3, builds=2))
    with pytest.raises(DesignError) as told:
        factorial.pilot(brief)
    assert str(told.value) == (
        "pilot: 3 runs of each of 1 combinations cannot be spread evenly over 2 builds; choose "
        "replicates and builds so that every build holds the same number of runs of each combination."
    )


def test_an_extension_in_builds_holds_what_a_build_of_the_main_phase_holds():
    brief = briefs.blocked(plan=PlanChoice(builds=3, replicates=2), extension=Extension(builds=2))
    made = factorial.extension(brief)
    assert (made.phase, made.name, made.runs, made.builds) == ("extension", "extension, 2 builds of 8 runs", 16, 2)
    per_build = made.table.groupby(["build_id", "pin", "oil"]).size()
    assert list(per_build.index.get_level_values(0).unique()) == ["X1", "X2"]
    assert set(per_build) == {2} and len(per_build) == 8
    assert factorial.extension(brief, builds=1).builds == 1


def test_a_randomised_extension_runs_the_combinations_it_names_again():
    every = factorial.extension(briefs.randomised(extension=Extension(replicates=2)))
    assert (every.name, every.runs) == ("extension, 2 replicates", 6)
    named = briefs.randomised(extension=Extension(replicates=3, combinations=({"finish": "honed"},)))
    some = factorial.extension(named)
    assert some.name == "extension, 3 replicates of 1 combination"
    assert list(some.table["finish"]) == ["honed"] * 3
    assert set(some.table["build_id"]) == {"X1"}


@pytest.mark.parametrize(
    ("brief", "words"),
    [
        (briefs.blocked(), "the brief has no [extension]; add one with builds or replicates."),
        (
            briefs.blocked(extension=Extension()),
            "[extension] builds = 0: the size of the extension is not chosen yet. Run `wearbook size`, decide, and "
            "write your choice into campaign.toml.",
        ),
        (
            briefs.randomised(extension=Extension()),
            "[extension] replicates = 0: the size of the extension is not chosen yet. Run `wearbook size`, decide, and "
            "write your choice into campaign.toml.",
        ),
        (
            briefs.whole_plots(extension=Extension(builds=2)),
            "[extension]: not covered where builds are the units of a factor, because a build of the extension would "
            "count as one more unit of the main phase. Delete the section, and plan further builds as a campaign of "
            "their own.",
        ),
    ],
)
def test_an_extension_that_cannot_be_laid_out_says_why(brief, words):
    with pytest.raises(DesignError) as told:
        factorial.extension(brief)
    assert str(told.value) == words
