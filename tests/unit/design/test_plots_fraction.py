"""Two-level fractions in builds, parts and fills: strata by rank, what units take up, set-ups."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from tests.unit.brief.test_designs import told
from tests.unit.briefs import factor, numeric, randomised
from toolkit.brief import plots
from toolkit.brief.model import Brief, Comparison, PlanChoice
from toolkit.design import base, chosen, orders, plots_fraction, questions, units
from toolkit.errors import DesignError

NAMES = ("sprocket", "guide", "pin", "oil", "speed_rpm", "load_N")


def brief_of(undo: dict[str, str], new: tuple[str, ...] = (), *, block: bool = False, **plan: object) -> Brief:
    """Six factors at two levels, some of them kept over several runs."""
    made = tuple(
        numeric(name, 1000.0, 2000.0) if "_" in name else factor(name, f"{name[0]}0", f"{name[0]}1", undo=undo[name])
        for name in NAMES
    )
    asked = tuple(
        Comparison(item.name, of={item.name: item.names[1]}, against={item.name: item.names[0]}) for item in made
    )
    brief = randomised(factors=made, comparisons=asked, new_each_run=new, block_by="build" if block else None)
    return replace(brief, plan=PlanChoice(design="two-level fraction", **plan))


IN_BUILDS = {"sprocket": "build", "guide": "build", "pin": "part", "oil": "fill"}


def test_builds_hold_one_level_of_what_is_changed_with_them_and_the_rest_is_balanced_there():
    brief = brief_of(IN_BUILDS, ("part", "fill"), runs=16, builds=8)
    assert told(brief) == []
    design = chosen.main(brief)
    assert design.name == "two-level fraction 2^(6-2), resolution IV, 16 runs a set, 8 builds of 4 runs"
    for _, part in design.table.groupby("build_id"):
        assert all(part[name].nunique() == 1 for name in ("sprocket", "guide"))
        assert all(set(part[name].value_counts()) == {2} for name in NAMES[2:])
    laid = design.strata
    assert laid.balanced
    strata = {item.name: (item.units, item.term_df, item.error_df) for item in laid.strata if item.error_df is not None}
    # 8 builds: sprocket, guide and both; 32 runs within them: the other 12 contrasts of 16 runs.
    assert strata == {"build": (8, 3, 4), "run": (32, 12, 12)}
    parts = {
        item.name: laid.parts(questions.of_comparison(brief, item, laid.terms).row) for item in brief.comparisons
    }
    assert {name: [part.stratum for part in found] for name, found in parts.items()} == {
        "sprocket": ["build"], "guide": ["build"], "pin": ["run"], "oil": ["run"], "speed_rpm": ["run"],
        "load_N": ["run"],
    }  # fmt: skip
    # A difference of two halves of 32 runs: 4 / 32 of the mean square of its stratum.
    assert [part.unit_variance for found in parts.values() for part in found] == pytest.approx([0.125] * 6)


def test_a_term_is_judged_by_the_coarsest_unit_within_which_its_column_is_the_same():
    brief = brief_of(IN_BUILDS, ("part", "fill"), runs=16, builds=8)
    laid = chosen.main(brief).strata
    builds = laid.members["build"]
    coded = {name: np.where(laid.runs[name] == brief.factor(name).names[1], 1, -1) for name in NAMES}
    for term in [(name,) for name in NAMES] + list(combinations(NAMES, 2)):
        column = np.prod([coded[name] for name in term], axis=0)
        same = all(len(set(column[builds == build])) == 1 for build in set(builds))
        assert laid.of_term(term) == ("build" if same else "run"), term
        assert (base.unit_of_contrast(brief, term) == "build") == same
    assert plots_fraction.sentences(brief) == (
        "pin × oil: the same in all runs of a build, so judged by the scatter between builds, with what it stands for "
        "there.",
    )
    assert plots_fraction.sentences(randomised()) == () and not plots_fraction.used(randomised())


def test_fills_within_builds_are_units_of_their_own():
    brief = brief_of(IN_BUILDS, ("part",), runs=32, builds=8)
    design = chosen.main(brief)
    assert design.name.endswith("8 builds of 8 runs, 16 fills")
    found = {item.name: (item.units, item.error_df) for item in design.strata.strata if item.error_df is not None}
    assert found == {"build": (8, 4), "fill": (16, 4), "run": (64, 24)}
    assert design.strata.balanced and design.strata.of_term(("oil",)) == "fill"
    order = orders.randomise(design, seed=3).table
    changes = (order[["build_id", "fill_id"]].shift() != order[["build_id", "fill_id"]]).any(axis=1)
    # Every fill is filled once.
    assert int(changes.sum()) == 16
    units.check(brief, order)


def test_every_set_and_every_block_has_fills_of_its_own():
    kept = {**IN_BUILDS, "sprocket": "part", "guide": "part"}
    sets = chosen.main(brief_of(kept, ("part", "build"), runs=16, replicates=3))
    assert sets.name == "two-level fraction 2^(6-2), resolution IV, 16 runs a set, 3 sets, 6 fills"
    assert {item.name: item.error_df for item in sets.strata.strata}["fill"] == 4
    blocks = chosen.main(brief_of(kept, ("part",), block=True, runs=16, builds=3))
    assert blocks.name.endswith("3 builds of 16 runs, 6 fills")
    found = {item.name: item.error_df for item in blocks.strata.strata if item.error_df is not None}
    assert found == {"fill": 2, "run": 28}


def test_fewer_builds_a_set_are_a_fraction_of_what_is_changed_with_them():
    undo = {**IN_BUILDS, "pin": "build"}
    few = brief_of(undo, ("part", "fill"), runs=16, builds=8, split_over=4)
    assert plots.units_of_set(few) == (4,) and chosen.spread(few) == 4
    assert base.of_brief(few).plots.words_of_units == ((0, 1, 2),)
    many = brief_of(undo, ("part", "fill"), runs=16, builds=16)
    assert plots.units_of_set(many) == (8,) and base.of_brief(many).plots.words_of_units == ()
    three = brief_of(IN_BUILDS, ("part",), runs=32, split_over=2)
    assert plots.units_of_set(three) == (2, 4)


@pytest.mark.parametrize(
    ("brief", "lines"),
    [
        (
            brief_of(dict.fromkeys(IN_BUILDS, "build"), ("fill",), runs=16, builds=2, split_over=16),
            [
                "[plan] split_over: 16 builds for 4 factors changed with them, in 16 runs; expected 2 or 4 or 8. Left "
                "out: all combinations of these factors, or as many as the runs hold."
            ],
        ),
        (
            brief_of(IN_BUILDS, ("part", "fill"), runs=16, builds=8, resolution=5),
            [
                "[plan] resolution: 5 for 6 factors in 16 runs, which cannot be (the mean, 6 main effects and 15 "
                "interactions of two are 22 terms); expected 4 at most. Take resolution = 4; 32 runs give it."
            ],
        ),
        (
            brief_of({**IN_BUILDS, "pin": "build"}, ("part", "fill"), runs=16, builds=8, split_over=4, resolution=4),
            [
                "[plan] resolution: 4, but 4 builds in 16 runs leave resolution 3; expected 3 or less. Take resolution "
                "= 3, more runs, or put 'build' into new_each_run."
            ],
        ),
        (
            brief_of(IN_BUILDS, ("part",), runs=16, builds=8, split_over=8),
            [
                "[plan] split_over: 8 builds for 2 factors changed with them, in 16 runs; expected 2 or 4. Left out: "
                "all combinations of these factors, or as many as the runs hold."
            ],
        ),
        (
            brief_of(IN_BUILDS, ("part", "build"), runs=16, replicates=2, split_over=2, centre_points=1),
            [
                "[plan] split_over: 2 where a fill is kept over several runs; expected 1. A build, or a randomisation, "
                "holds the whole set.",
                "[plan] centre_points: 1 where oil is changed with the fill; expected 0. Make a plan without them: its "
                "coarser units are compared with units of their own kind.",
            ],
        ),
    ],
)
def test_what_cannot_be_says_why_and_what_can(brief, lines):
    assert told(brief) == lines


def test_numbers_of_builds_that_are_no_multiple():
    with pytest.raises(DesignError, match="one set of 16 runs takes 4 builds, so their number must be a multiple of 4"):
        chosen.main(brief_of(IN_BUILDS, ("part", "fill"), runs=16, builds=6))
    with pytest.raises(DesignError, match=r"\[plan\] builds = 0: the size of the main phase is not chosen yet"):
        plots_fraction.phase(brief_of(IN_BUILDS, ("part", "fill"), runs=16), "main", builds=0, replicates=0)
