"""Every fault of a chosen design, in whole sentences, with the nearest that can be."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.unit import briefs
from tests.unit.design.test_base import numbers, two_level
from toolkit.brief import arrays, checks
from toolkit.brief.model import Brief, Comparison, PlanChoice

FRACTION = "two-level fraction"


def told(brief: Brief) -> list[str]:
    """The faults as lines."""
    return [str(fault) for fault in checks.check(brief)]


def six(**plan: object) -> Brief:
    """Six factors at two levels in a fraction."""
    return two_level(6, design=FRACTION, replicates=1, **plan)


def test_what_cannot_be_says_why_and_what_can() -> None:
    """Resolution V in 8 runs for 6 factors; too few runs; too many; none chosen."""
    assert told(six(runs=8, resolution=5)) == [
        "[plan] resolution: 5 for 6 factors in 8 runs, which cannot be (the mean, 6 main effects and 15 "
        "interactions of "
        "two are 22 terms); expected 3 at most. Take resolution = 3; 32 runs give it."
    ]
    assert told(two_level(7, design=FRACTION, replicates=1, runs=32, resolution=5)) == [
        "[plan] resolution: 5 for 7 factors in 32 runs, which cannot be (every kind of such fractions was "
        "gone through); "
        "expected 4 at most. Take resolution = 4; 64 runs give it."
    ]
    assert told(six(runs=4)) == [
        "[plan] runs: 4 runs for 6 main effects and the mean, which are 7 terms; expected 8 or 16 or 32 or 64."
    ]
    assert told(two_level(3, design=FRACTION, replicates=1, runs=16)) == [
        "[plan] runs: 16 runs, but all 3 factors have only 8 combinations; expected 4 or 8."
    ]
    assert told(six(runs=12)) == [
        "[plan] runs: 12 runs; a regular fraction has 4, 8, 16, 32 or 64; expected 8 or 16 or 32 or 64."
    ]
    assert told(six()) == [
        "[plan] runs: 0, so the size of the fraction is not chosen; expected 8 or 16 or 32 or 64."
    ]
    assert told(six(runs=16, resolution=4)) == []


def test_interactions_that_cannot_be_kept_name_the_reason_and_a_part_that_can() -> None:
    """Three clear pairs of three factors in 16 runs; more terms than runs; interactions asked for."""
    clear = (("pin", "oil"), ("oil", "link"), ("link", "pin"))
    assert told(six(runs=16, keep_clear=clear)) == [
        "[plan] keep_clear: no fraction of 6 factors in 16 runs keeps pin × oil, pin × link, oil × link apart (all 4 "
        "kinds of such fractions were gone through); expected fewer interactions, or more runs. 32 runs do. In 16 runs "
        "pin × oil, pin × link can be clear."
    ]
    assert told(two_level(7, design=FRACTION, replicates=1, runs=8, keep_clear=(("pin", "oil"),))) == [
        "[plan] keep_clear: no fraction of 7 factors in 8 runs keeps pin × oil apart (with the mean and the "
        "main effects "
        "they are 9 terms); expected fewer interactions, or more runs. 16 runs do."
    ]
    asked = replace(
        two_level(7, design=FRACTION, replicates=1, runs=8),
        comparisons=(Comparison("both", interaction=("pin", "oil")),),
    )
    assert told(asked) == [
        "[plan] runs: no fraction of 7 factors in 8 runs keeps pin × oil apart (with the mean and the main "
        "effects they "
        "are 9 terms); expected fewer interactions, or more runs. 16 runs do."
    ]
    assert told(six(runs=16, resolution=4, keep_clear=(("pin", "oil"),))) == [
        "[plan] resolution: 4, but what is to be kept leaves resolution 3 in 16 runs; expected 3 or less. Or "
        "keep fewer "
        "interactions clear."
    ]


def test_builds_of_a_set() -> None:
    """Builds that are no blocks; three builds; a saturated fraction."""
    assert told(six(runs=16, split_over=2)) == [
        '[plan] split_over: 2 though builds are no blocks; expected 1. Add [blocks] with by = "build".'
    ]
    blocked = replace(six(runs=16, split_over=3, builds=3), block_by="build")
    assert told(blocked) == ["[plan] split_over: 3 for 16 runs; expected 2 or 4 or 8."]
    full = replace(two_level(7, design=FRACTION, runs=8, split_over=2, builds=2), block_by="build")
    assert told(full) == [
        "[plan] split_over: every way to make 2 builds of 4 runs gives up a main effect; expected no builds, or more "
        "runs."
    ]
    box = numbers(4, (1.0, 2.0, 3.0), design="Box-Behnken", split_over=2, builds=2, centre_points=1)
    assert told(replace(box, block_by="build")) == ["[plan] split_over: 2; expected 1 or 3."]


def test_keys_of_another_design_and_numbers_out_of_range() -> None:
    """Each is told at its key."""
    brief = briefs.blocked(plan=PlanChoice(builds=3, runs=8, keep_clear=(("pin", "oil"),)))
    assert told(brief) == [
        "[plan] runs: set, though design = 'full factorial' has no use for it; expected left out. Delete it, or choose "
        "design = 'two-level fraction', 'Plackett-Burman' or 'optimal'.",
        "[plan] keep_clear: set, though design = 'full factorial' has no use for it; expected left out. Delete it, or "
        "choose design = 'two-level fraction' or '18-run array'.",
    ]
    assert "[plan] runs: 128; expected a whole number from 0 to 64." in told(six(runs=128))
    lines = told(six(runs=16, keep_clear=(("pin", "pin"), ("pin", "cork"))))
    assert lines == [
        "[plan] keep_clear no. 1: 2 names: pin × pin; expected two different factors.",
        "[plan] keep_clear no. 2: 'cork' is no factor; expected 'pin', 'oil', 'link', 'guide', 'soot' or 'seal'.",
    ]


def test_factors_that_a_design_does_not_take() -> None:
    """Levels, numbers, units."""
    three = replace(six(runs=16), factors=(briefs.factor("pin", "0", "1", "2"), *six().factors[1:]))
    assert told(three) == [
        "factor 'pin', levels: 3 levels in a two-level fraction plan; expected two levels. For factors of "
        "two and three "
        "levels there is the 18-run array, for numbers the three-level designs; any other mixture is searched for by "
        "design = 'optimal'."
    ]
    kept = replace(six(runs=16), new_each_run=())
    assert told(kept)[0].startswith(
        "[plan] design: every factor is changed with the part or what holds it, so that the runs of a part are the "
        "same; expected a factor that changes from run to run. Put \"part\" into new_each_run, or choose the full "
        "factorial."
    )
    burman = replace(kept, plan=PlanChoice("Plackett-Burman", replicates=1))
    assert told(burman)[0].startswith(
        "[plan] design: 'Plackett-Burman' though factor 'pin' is changed with the part; expected factors that can "
        "change from run to run. Put \"part\" into new_each_run, or choose the full factorial."
    )
    few = two_level(2, design=FRACTION, runs=4, replicates=1)
    assert told(few) == [
        "[plan] design: 'two-level fraction' for 2 factors; expected 3 to 15 factors."
        " Take other factors, or fewer."
    ]
    names = replace(two_level(3, design="Box-Behnken", replicates=1), comparisons=())
    assert told(names) == [
        f"factor '{name}', levels: names; expected 3 numbers in a Box-Behnken plan." for name in ("pin", "oil", "link")
    ]
    array = replace(six(), plan=PlanChoice("18-run array", replicates=1))
    assert told(array) == [
        "[plan] design: 6 factors of two levels and 0 of three; expected one factor of two levels at most, "
        "one to seven "
        "of three. Give a factor a third level, or choose design = 'optimal' or the full factorial (`wearbook size` "
        "tells "
        "their runs)."
    ]


def test_levels_of_a_surface_are_where_its_name_puts_them() -> None:
    """The levels that would do are written out."""
    plan = {"design": "central composite", "axial": "rotatable", "centre_points": 4, "replicates": 1}
    lines = told(numbers(3, (100.0, 200.0, 300.0), **plan))
    assert lines[0] == (
        "factor 'speed_rpm', levels: 3 levels in a central composite plan; expected 5 levels. Write levels = [31.8207, "
        "100, 200, 300, 368.179]."
    )
    wrong = numbers(3, (50.0, 100.0, 200.0, 300.0, 350.0), **plan)
    assert told(wrong)[0] == (
        "factor 'speed_rpm', levels: levels at -1.5, -1, 0, 1, 1.5 in coded units; expected -1.682, -1, 0, 1, 1.682. "
        "Write levels = [31.8207, 100, 200, 300, 368.179]."
    )
    assert told(numbers(3, (100.0, 200.0, 300.0), design="central composite", replicates=1, centre_points=1)) == [
        "[plan] axial: left out; expected 'rotatable', 'face-centred', 'orthogonal quadratic' or 'orthogonal blocking'."
    ]
    assert arrays.steps_of(numbers(3, (1.0, 2.0, 3.0), design="Box-Behnken")) == (-1.0, 0.0, 1.0)
    skew = numbers(3, (1.0, 2.0, 4.0), design="Box-Behnken", centre_points=1, replicates=1)
    assert told(skew)[0] == (
        "factor 'speed_rpm', levels: levels at -0.667, 0, 1.33 in coded units; expected -1, 0, 1. Write levels = [1, "
        "2.5, 4]."
    )


@pytest.mark.parametrize("design", ["Plackett-Burman", "three-level screening"])
def test_interactions_asked_of_a_screening_plan(design: str) -> None:
    """They are mixed with others; a fraction can keep one."""
    brief = (
        two_level(7, design=design, replicates=1)
        if design == "Plackett-Burman"
        else numbers(4, (1.0, 2.0, 3.0), design=design, replicates=1)
    )
    pair = brief.factor_names[:2]
    lines = told(replace(brief, comparisons=(Comparison("both", interaction=pair),)))
    assert (
        f"comparison 'both', interaction: {pair[0]} × {pair[1]} in a {design} plan, which mixes interactions with "
        "others; expected main effects. Choose design = 'two-level fraction' and name it in keep_clear."
    ) in lines


def test_plackett_burman_runs() -> None:
    """16 runs are a fraction; 12 do not hold 12 factors."""
    assert told(two_level(7, design="Plackett-Burman", replicates=1, runs=16)) == [
        "[plan] runs: 16 for 7 factors; expected 12 or 20 or 24. 16 runs are a two-level fraction."
    ]
    assert arrays.plackett_burman_runs(two_level(7, design="Plackett-Burman")) == 12


def test_interactions_asked_for_that_the_plan_takes_as_nil_or_cannot_name() -> None:
    """More factors than interactions_up_to allows; three factors in a fraction."""
    both = Comparison("both", interaction=("pin", "oil"))
    assert told(replace(six(runs=16, interactions_up_to=1, keep_clear=(("pin", "link"),)), comparisons=(both,))) == [
        "comparison 'both', interaction: an interaction of 2 factors, though [plan] interactions_up_to = 1 takes it as "
        "nil; expected no interaction. Raise interactions_up_to, or delete one of the two.",
        "[plan] keep_clear no. 1: an interaction of 2 factors, though [plan] interactions_up_to = 1 takes it as nil; "
        "expected no interaction. Raise interactions_up_to, or delete one of the two.",
    ]
    three = Comparison("three", interaction=("pin", "oil", "link"))
    assert told(replace(six(runs=16), comparisons=(three,))) == [
        "comparison 'three', interaction: pin × oil × link in a fraction, where it shares its contrast with other "
        "effects; expected two factors. Ask for interactions of two, or choose the full factorial."
    ]
    whole = two_level(3, design=FRACTION, runs=8, replicates=2)
    assert told(replace(whole, comparisons=(three,))) == []
