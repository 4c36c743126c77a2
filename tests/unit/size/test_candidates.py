"""Which plans are proposed: counts by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.unit import briefs
from toolkit.brief.model import Comparison, Extension
from toolkit.errors import SizingError
from toolkit.size import candidates

NUMERIC = (briefs.numeric("load_Nm", 80, 120), briefs.factor("oil", "O0", "O1", undo="fill"))


def shapes(brief):
    return [(item.runs, item.builds, item.brief.plan.centre_points) for item in candidates.of_brief(brief)]


def test_builds_times_replicates_in_blocks():
    # One, two or three of each of four combinations in a build; a build of four alone has no error.
    found = shapes(briefs.blocked())
    expected = [(4 * turns * n, n, 0) for turns in (1, 2, 3) for n in range(1, 60 // (4 * turns) + 1) if turns * n > 1]
    assert found == sorted(expected)
    assert max(shapes(briefs.blocked(most_runs_in_build=4))) == (60, 15, 0)


def test_replicates_where_runs_are_randomised():
    assert shapes(briefs.randomised()) == [(3 * n, 1, 0) for n in range(2, 21)]


def test_centre_points_are_proposed_where_factors_have_numbers():
    brief = briefs.randomised(factors=NUMERIC, comparisons=())
    found = shapes(brief)
    # Two oils: 2 x 3 or 2 x 5 centre points beside n times four corners, corners once at least.
    assert [item for item in found if item[2] == 3] == [(4 * n + 6, 1, 3) for n in range(1, 14)]
    assert [item for item in found if item[2] == 5] == [(4 * n + 10, 1, 5) for n in range(1, 13)]
    assert [item for item in found if not item[2]] == [(4 * n, 1, 0) for n in range(2, 16)]
    names = [item.name for item in candidates.of_brief(brief) if item.brief.plan.centre_points]
    assert names[0] == "full factorial, 1 replicate, 3 centre points"


def test_centre_points_that_the_brief_has_are_kept_and_no_others_proposed():
    brief = briefs.randomised(factors=NUMERIC, comparisons=(), plan=briefs.PlanChoice(centre_points=4))
    assert {item[2] for item in shapes(brief)} == {4}


def test_a_build_that_does_not_last_gets_no_centre_points():
    brief = briefs.blocked(factors=NUMERIC, comparisons=(), most_runs_in_build=6, pilot=None)
    assert {(runs // builds, centre) for runs, builds, centre in shapes(brief)} == {(4, 0), (6, 1)}


FOUR = briefs.randomised(
    factors=tuple(briefs.factor(name, f"{name}0", f"{name}1") for name in "abcd"),
    comparisons=tuple(Comparison(n, of={n: f"{n}1"}, against={n: f"{n}0"}) for n in "abcd"),
)


def test_a_part_of_the_combinations_is_proposed_for_four_factors_of_two_levels():
    found = candidates.of_brief(FOUR)
    names = [(item.brief.plan.design, item.runs) for item in found]
    # Halves of 16 combinations, resolution IV; a quarter has main effects on interactions, and no set is run once only.
    assert [runs for design, runs in names if design == "two-level fraction"] == [16, 24, 32, 40, 48, 56]
    assert [runs for design, runs in names if design == "full factorial"] == [32, 48]
    asked = replace(FOUR, comparisons=(*FOUR.comparisons, Comparison("ab", interaction=("a", "b"))))
    # In a half of sixteen ab shares its contrast with cd.
    assert {item.brief.plan.design for item in candidates.of_brief(asked)} == {"full factorial"}
    three = replace(FOUR, factors=FOUR.factors[:3], comparisons=FOUR.comparisons[:3])
    assert {item.brief.plan.design for item in candidates.of_brief(three)} == {"full factorial"}


def test_too_many_combinations_are_refused_where_no_smaller_model_tells_what_is_asked():
    factors = tuple(briefs.factor(name, *"012") for name in "abcd")
    asked = (Comparison("abc", interaction=("a", "b", "c")),)
    with pytest.raises(SizingError) as told:
        candidates.of_brief(replace(briefs.randomised(), factors=factors, comparisons=asked))
    assert str(told.value) == (
        "81 combinations: two runs of each are more than 60 runs, or than a build lasts; that is the most that is "
        "sized here. Leave out levels or factors, or choose design = 'optimal' in [plan]: a stated number of runs that "
        "tells a stated model."
    )


def test_extensions_are_further_builds():
    brief = briefs.blocked(extension=Extension(), most_runs_in_build=4)
    assert [(item.runs, item.builds) for item in candidates.of_extension(brief)] == [(4 * n, n) for n in range(1, 16)]
