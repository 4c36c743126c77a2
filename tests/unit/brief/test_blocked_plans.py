"""What is refused of balanced incomplete blocks and Latin squares, with the nearest that can be."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.unit.brief.test_designs import told
from tests.unit.briefs import blocked, factor
from tests.unit.design.test_incomplete_blocks import brief_of
from tests.unit.design.test_latin import brief_of as latin_of
from toolkit.brief.model import Extension, OrderLimits, PlanChoice


def few(levels: int, size: int, **plan: object):
    """A brief with as few comparisons as it needs."""
    made = brief_of(levels, size, **plan)
    return replace(made, comparisons=made.comparisons[:1])


@pytest.mark.parametrize(
    ("brief", "lines"),
    [
        (few(7, 3), []),
        (few(5, 3, baseline_in_every_build=True), []),
        (replace(few(7, 0), most_runs_in_build=3), []),
        (latin_of(4, 4), []),
        (
            few(7, 0),
            [
                "[plan] runs_in_build: 0, so it is not said how many runs a build holds; expected 2 to 6. Or say how "
                "many a build lasts: [blocks] most_runs."
            ],
        ),
        (
            few(4, 4),
            [
                "[plan] runs_in_build: 4 for 4 levels; expected 2 to 3. A build that holds them all is a complete "
                "block: choose design = 'full factorial'."
            ],
        ),
        (
            replace(few(7, 4), most_runs_in_build=3),
            ["[plan] runs_in_build: 4 though a build lasts 3; expected no more than it lasts."],
        ),
        (
            few(12, 5),
            [
                "[plan] runs_in_build: 5 of 12 levels in a build: every two as often together takes 132 builds, more "
                "than 60; expected 4 (33 builds) or 6 (22 builds). Or choose design = 'incomplete blocks': 3 builds or "
                "more, the most efficient that is found."
            ],
        ),
        (
            few(12, 2),
            [
                "[plan] runs_in_build: 2 of 12 levels in a build: every two as often together takes 66 builds, more "
                "than 60; expected 3 (44 builds) or 4 (33 builds). Or choose design = 'incomplete blocks': 12 builds "
                "or more, the most efficient that is found."
            ],
        ),
        (
            replace(few(7, 3), block_by=None),
            [
                "[plan] design: 'balanced incomplete blocks' though builds are no blocks; expected builds as blocks. "
                'Add [blocks] with by = "build".'
            ],
        ),
        (replace(few(9, 3), plan=PlanChoice(design="incomplete blocks", runs_in_build=3, builds=6)), []),
        (
            replace(few(9, 3), plan=PlanChoice(design="incomplete blocks", runs_in_build=3, builds=4)),
            [
                "[plan] builds: 4 builds of 3 of 9 levels, which do not join all of them and leave an error; expected "
                "5 to 60."
            ],
        ),
        (
            replace(few(9, 3), plan=PlanChoice(design="incomplete blocks", runs_in_build=9, builds=6)),
            [
                "[plan] runs_in_build: 9 for 9 levels; expected 2 to 8. A build that holds them all is a complete "
                "block: choose design = 'full factorial'."
            ],
        ),
        (
            few(7, 3, replicates=2),
            ["[plan] replicates: 2 in a balanced incomplete blocks plan; expected 0 or 1. Take more builds."],
        ),
        (
            few(7, 3, centre_points=1),
            ["[plan] centre_points: 1; expected 0 in a balanced incomplete blocks plan."],
        ),
        (
            replace(few(7, 3), extension=Extension(builds=7, design="fold-over")),
            ["[extension] design: 'fold-over' beside a balanced incomplete blocks plan; expected 'more of the same'."],
        ),
        (
            replace(blocked(), pilot=None, plan=replace(few(5, 3, baseline_in_every_build=True).plan)),
            [
                "[plan] baseline_in_every_build: true for 2 factors, which have no one baseline; expected one factor, "
                "or false."
            ],
        ),
        (
            replace(blocked(), pilot=None, plan=PlanChoice(builds=3, runs_in_build=3)),
            [
                "[plan] runs_in_build: set, though design = 'full factorial' has no use for it; expected left out. "
                "Delete it, or choose design = 'balanced incomplete blocks' or 'incomplete blocks'."
            ],
        ),
        (
            replace(latin_of(4, 4), most_runs_in_build=3),
            [
                "[blocks] most_runs: 3 though a Latin square runs all 4 levels in every build; expected at least 4. "
                "Choose design = 'balanced incomplete blocks', whose builds hold a part of them."
            ],
        ),
        (
            latin_of(2, 2),
            [
                "[plan] design: a Latin square for 2 levels; expected 3 to 12. Choose design = 'full factorial' or "
                "'balanced incomplete blocks'."
            ],
        ),
        (
            replace(latin_of(4, 4), factors=(factor("finish", "F0", "F1", "F2", "F3", undo="build"),), block_by=None),
            [
                "[plan] design: 'Latin square' though factor 'finish' is changed with the build; expected factors that "
                'can change from run to run. Put "build" into new_each_run, or choose the full factorial.'
            ],
        ),
        (
            replace(latin_of(3, 3), order=OrderLimits(most_linear=0.2), comparisons=few(3, 2).comparisons),
            [
                "[order]: set, though the places in the order are those of the Latin square; expected left out. No "
                "comparison follows a drift that all builds share."
            ],
        ),
    ],
)
def test_what_cannot_be_says_why_and_what_can(brief, lines):
    assert told(brief) == lines
