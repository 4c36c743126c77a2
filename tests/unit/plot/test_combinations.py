"""The mark of a run: told apart in grey too, and said in words."""

import itertools

import pytest

from toolkit.brief.model import CENTRE, Factor, Level
from toolkit.plot import combinations, look


def of(count, name="pin"):
    """A factor of so many levels."""
    return Factor(name, "part", tuple(Level(f"{name[0]}{at}", "") for at in range(count)))


class Asked:
    """A brief of nothing but factors."""

    def __init__(self, *factors):
        self.factors = factors


@pytest.mark.parametrize("counts", [(2, 2), (2, 3), (3, 3), (3, 4), (2, 6)])
def test_runs_of_other_levels_have_another_marker_so_that_grey_is_enough(counts):
    first, middle, last = of(counts[0]), of(2, "jet"), of(counts[1], "oil")
    brief = Asked(first, middle, last)
    marks = [
        combinations.mark(brief, {"pin": one, "jet": "j0", "oil": other})
        for one, other in itertools.product(first.names, last.names)
    ]
    assert len({mark.marker for mark in marks}) == counts[0] * counts[1]
    assert len({mark.colour for mark in marks}) == counts[0]
    assert combinations.mark_words(brief) == "colour by pin, mark by pin and oil"


def test_with_more_pairs_than_markers_the_last_factor_alone_makes_the_marker():
    brief = Asked(of(4), of(4, "oil"))
    marks = {level: combinations.mark(brief, {"pin": "p3", "oil": level}).marker for level in ("o0", "o1", "o2")}
    assert list(marks.values()) == list(look.MARKERS[:3])
    assert combinations.mark_words(brief) == "colour by pin, mark by oil"


def test_one_factor_has_a_mark_a_level():
    brief = Asked(of(3))
    assert [combinations.mark(brief, {"pin": level}).marker for level in ("p0", "p1", "p2")] == ["o", "s", "^"]
    assert combinations.mark_words(brief) == "colour and mark by pin"


def test_the_centre_of_numbers_has_a_marker_of_its_own():
    levels = (Level("1", value=1.0), Level("2", value=2.0))
    numbers = [Factor(name, "setting", levels) for name in ("load_N", "speed_rpm")]
    brief = Asked(*numbers)
    every = [*itertools.product(("1", "2"), repeat=2), (CENTRE, CENTRE)]
    marks = [combinations.mark(brief, dict(zip(("load_N", "speed_rpm"), each, strict=True))).marker for each in every]
    assert len(set(marks)) == 5
    assert combinations.mark_words(brief) == "colour by load, mark by load and speed"
