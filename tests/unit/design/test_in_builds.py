"""Sets over builds: how many builds a set takes, further sets, and what is refused."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.unit.briefs import blocked
from tests.unit.design.test_incomplete_blocks import brief_of
from tests.unit.design.test_latin import brief_of as latin_of
from toolkit.brief.model import Extension
from toolkit.design import chosen, in_builds
from toolkit.errors import DesignError


def test_sizes_of_a_set():
    assert [(in_builds.spread(one), in_builds.set_size(one)) for one in (brief_of(7, 3), latin_of(4, 4))] == [
        (7, 21),
        (4, 16),
    ]
    both = latin_of(5, 10, balance_carry_over=True)
    assert (chosen.spread(both), chosen.set_size(both)) == (10, 50)


def test_names_and_words():
    assert chosen.main(brief_of(7, 3, 7)).name == "balanced incomplete blocks, 7 builds of 3 runs, efficiency 7/9"
    assert chosen.main(latin_of(4, 4)).name == "Latin square, 1 square, 4 builds of 4 runs"
    assert chosen.main(latin_of(3, 6, balance_carry_over=True)).name == (
        "Latin squares, balanced for carry-over, 2 squares, 6 builds of 3 runs"
    )
    assert in_builds.layout(brief_of(7, 3)) == "balanced incomplete blocks"
    assert in_builds.layout(latin_of(4, 4)) == "builds by places in a Latin square"
    assert in_builds.layout(blocked()) == "complete blocks"
    assert in_builds.sentence(blocked()) == "" == in_builds.drawn(blocked())
    assert in_builds.sentence(latin_of(4, 4)) == (
        "Every build runs all 4, and in a square each stands once at every place in the order of a build: differences "
        "between builds, and between places, touch no comparison."
    )
    assert in_builds.sentence(latin_of(5, 10, balance_carry_over=True)) == (
        "Every build runs all 5, each as often at every place in the order of a build; in two squares each follows "
        "every other one twice: differences between builds, and between places, touch no comparison."
    )


def test_further_sets_are_builds_of_their_own_with_a_draw_of_their_own():
    brief = replace(brief_of(7, 3, 7), extension=Extension(builds=7))
    main, more = chosen.main(brief), chosen.extension(brief)
    assert more.name == "extension, balanced incomplete blocks, 7 builds of 3 runs, efficiency 7/9"
    assert sorted(set(more.table["build_id"])) == [f"X{at}" for at in range(1, 8)]
    assert more.table["finish"].tolist() != main.table["finish"].tolist()


@pytest.mark.parametrize(
    ("brief", "builds", "told"),
    [
        (brief_of(7, 3), 0, r"\[plan\] builds = 0: the size of the main phase is not chosen yet\. Run `wearbook size`"),
        (
            brief_of(7, 3),
            9,
            "builds = 9: 7 in builds of 3: every one in as many builds, and every two together as often, takes 7 "
            "builds or a multiple of that; choose 7 or 14; or design = 'incomplete blocks', which takes 9 builds too.",
        ),
        (brief_of(15, 5), 21, "builds = 21: the set that is known takes 42 builds; choose 42"),
        (latin_of(4, 4), 6, "a square of 4 takes 4 builds, so their number is a multiple of it; choose 4 or 8"),
        (
            latin_of(5, 5, balance_carry_over=True),
            5,
            "two squares of 5 take 10 builds, so their number is a multiple of it; choose 10",
        ),
    ],
)
def test_numbers_of_builds_that_cannot_be(brief, builds, told):
    with pytest.raises(DesignError, match=told):
        in_builds.phase(brief, "main", builds)


def test_what_plan_json_holds():
    assert in_builds.as_plain(latin_of(5, 10, balance_carry_over=True)) == {
        "latin_square": {
            "levels": 5,
            "builds_in_set": 10,
            "followed_equally": True,
            "sentence": in_builds.sentence(latin_of(5, 10, balance_carry_over=True)),
        }
    }
    assert in_builds.as_plain(brief_of(7, 3))["incomplete_blocks"]["efficiency"] == {
        "every two": {"exact": "7/9", "value": 7 / 9}
    }
    assert in_builds.as_plain(blocked()) == {} and not in_builds.used(blocked())
