"""Balanced incomplete blocks as a design of the brief: what each build holds, and what the error sees of it."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from itertools import combinations

import numpy as np
import pytest

from tests.unit.briefs import blocked, factor, randomised
from toolkit.brief.designs import BALANCED, INCOMPLETE
from toolkit.brief.model import Brief, Comparison, PlanChoice
from toolkit.design import chosen, incomplete_blocks, orders, questions
from toolkit.errors import DesignError


def brief_of(levels: int, size: int, builds: int = 0, **plan: object) -> Brief:
    """One factor of many levels, few runs in a build."""
    names = [f"F{at}" for at in range(levels)]
    asked = tuple(
        Comparison(f"{two} against {one}", of={"finish": two}, against={"finish": one})
        for one, two in combinations(names, 2)
    )
    made = randomised(factors=(factor("finish", *names),), block_by="build", comparisons=asked)
    return replace(made, plan=PlanChoice(design=BALANCED, runs_in_build=size, builds=builds, **plan))


@pytest.mark.parametrize(("levels", "size"), [(4, 3), (6, 3), (7, 3), (9, 3), (10, 4)])
def test_every_two_are_equally_often_in_a_build_and_their_variance_is_that_of_the_efficiency(levels, size):
    brief = brief_of(levels, size)
    design = chosen.main(brief, builds=chosen.spread(brief))
    held = [set(part["finish"]) for _, part in design.table.groupby("build_id")]
    assert {len(one) for one in held} == {size}
    met = Counter(pair for one in held for pair in combinations(sorted(one), 2))
    found = incomplete_blocks.of_brief(brief)
    assert len(met) == levels * (levels - 1) // 2 and set(met.values()) == {found.meetings}
    share = incomplete_blocks.efficiencies(brief)["every two"]
    laid = design.strata
    for comparison in brief.comparisons:
        row = questions.of_comparison(brief, comparison, laid.terms).row
        ((part),) = laid.parts(row)
        assert part.unit_variance == pytest.approx(2.0 / found.replications / float(share))
        assert part.error_df == design.runs - design.builds - (levels - 1)


def test_the_baseline_in_every_build():
    brief = brief_of(5, 3, baseline_in_every_build=True)
    design = chosen.main(brief, builds=6)
    assert all("F0" in set(part["finish"]) for _, part in design.table.groupby("build_id"))
    held = incomplete_blocks.efficiencies(brief)
    assert held == {"with the baseline": Fraction(7, 8), "others": Fraction(7, 9)}
    # Six runs of the baseline and three of each other: 1/6 + 1/3 over 7/8.
    row = questions.of_comparison(brief, brief.comparisons[0], design.strata.terms).row
    assert design.strata.parts(row)[0].unit_variance == pytest.approx((1 / 6 + 1 / 3) / (7 / 8))
    assert incomplete_blocks.described(brief) == "efficiency 7/8 against the baseline, 7/9 among the others"
    assert incomplete_blocks.sentence(brief) == (
        "Every build holds 3 of 5 levels, the baseline in all of them: within builds a difference from the baseline is "
        "told as by 7/8 (0.88) of the runs in builds that hold all, one among the others as by 7/9 (0.78), at the same "
        "scatter."
    )


def test_the_efficiency_in_words():
    brief = brief_of(7, 3)
    assert incomplete_blocks.used(brief) and not incomplete_blocks.used(blocked())
    assert incomplete_blocks.described(brief) == "efficiency 7/9"
    assert incomplete_blocks.as_plain(brief)["together"] == 1
    assert incomplete_blocks.sentence(brief) == (
        "Every build holds 3 of 7 levels, every two together in 1 of 7 builds: within builds a difference is told as "
        "by 7/9 (0.78) of the runs in builds that hold all, at the same scatter."
    )


def test_combinations_of_two_factors_are_blocked_as_levels_are():
    brief = replace(blocked(), pilot=None, plan=PlanChoice(design=BALANCED, runs_in_build=3))
    design = chosen.main(brief, builds=4)
    laid = design.strata
    assert [len(part) for _, part in design.table.groupby("build_id")] == [3] * 4
    # Main effects of two factors: variance 1 over (all runs / 4) in complete blocks, over 8/9 here.
    row = questions.of_comparison(brief, brief.comparisons[0], laid.terms).row
    assert laid.parts(row)[0].unit_variance == pytest.approx(4.0 / 12.0 / (8.0 / 9.0))
    assert "holds 3 of 4 combinations" in incomplete_blocks.sentence(brief)


def test_sets_are_drawn_each_by_itself_from_the_seed():
    brief = brief_of(7, 3)
    first, second = (chosen.main(brief, builds=14).table for _ in range(2))
    assert first.equals(second)
    halves = [
        [tuple(sorted(part["finish"])) for _, part in first[first["build_id"].isin(names)].groupby("build_id")]
        for names in ([f"B{at}" for at in range(1, 8)], [f"B{at}" for at in range(8, 15)])
    ]
    assert halves[0] != halves[1]
    other = chosen.main(replace(brief, seed=brief.seed + 1), builds=14).table
    assert not first["finish"].equals(other["finish"])
    drawn = orders.randomise(chosen.main(brief, builds=7), seed=brief.seed)
    assert drawn.drawn == (
        "levels allotted to the blocks and blocks to builds at random, then the runs within each build at random"
    )


def test_rows_are_evenly_drawn_over_the_levels():
    brief = brief_of(4, 2)
    draw = np.random.default_rng(1)
    # Which of the six pairs stands in the first build: chi-square on 5 df over 600 draws, below its 0.999 point 20.5.
    counts = Counter(tuple(incomplete_blocks.rows(brief, draw)[0]) for _ in range(600))
    assert len(counts) == 6 and sum((one - 100) ** 2 / 100 for one in counts.values()) < 20.5


def test_none_that_is_known_is_an_error():
    with pytest.raises(DesignError, match=r"no balanced incomplete blocks of 14 in builds of 2 are found\."):
        incomplete_blocks.of_brief(brief_of(14, 2))


def test_blocks_that_are_searched_for():
    """Simple square lattice: (k + 1) / (k + 3) on average as Yates has it (from memory); variances by the strata."""
    base = brief_of(9, 3, 6)
    brief = replace(base, plan=replace(base.plan, design=INCOMPLETE))
    assert incomplete_blocks.searched(brief) and not incomplete_blocks.searched(base)
    found = incomplete_blocks.of_builds(brief, 6)
    assert found == incomplete_blocks.of_brief(brief) and found.efficiency == pytest.approx(4 / 6)
    assert incomplete_blocks.told(found) == "efficiency 0.667 of 0.750 at most"
    placed = incomplete_blocks.placed(brief, found, np.random.default_rng(1))
    assert [len({*block}) for block in placed] == [3] * 6
    assert Counter(at for block in placed for at in block) == dict.fromkeys(range(9), 2)
    laid = chosen.main(brief).strata
    variances = [
        laid.parts(questions.of_comparison(brief, item, laid.terms).row)[0].unit_variance for item in brief.comparisons
    ]
    # Two runs of each level: 2 / 2 without builds.
    assert np.mean(variances) == pytest.approx(1.0 / (4 / 6))
    assert {round(1.0 / one, 6) for one in variances} == {round(found.lowest, 6), round(found.highest, 6)}
    with pytest.raises(DesignError) as told:
        incomplete_blocks.of_builds(brief, 3)
    assert str(told.value) == (
        "builds = 3: blocks: 3; expected 4 to 60, since fewer do not join all of them. Take 5 builds of 3 or more."
    )
