"""Latin squares: each level once in rows and places, followers counted, the draw uniform."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric import latin_squares


@pytest.mark.parametrize("levels", range(3, 13))
def test_every_level_stands_once_in_each_row_and_at_each_place(levels):
    draw = np.random.default_rng(levels)
    for rows in (latin_squares.square(levels, draw), latin_squares.followed_equally(levels, draw)):
        every = list(range(levels))
        assert all(sorted(row) == every for row in rows.tolist())
        for first in range(0, len(rows), levels):
            if len(rows) == levels:
                assert all(sorted(column) == every for column in rows[first : first + levels].T.tolist())
        # Two squares of an odd number are mixed by the draw: at each place every level stands twice.
        assert all(set(Counter(column).values()) == {len(rows) // levels} for column in rows.T.tolist())


@pytest.mark.parametrize("levels", range(3, 13))
def test_every_level_follows_every_other_equally_often(levels):
    rows = latin_squares.followed_equally(levels, np.random.default_rng(1))
    assert len(rows) == levels * (1 + levels % 2)
    counts = latin_squares.followers(rows.tolist())
    pairs = [(one, two) for one in range(levels) for two in range(levels) if one != two]
    assert {counts[pair] for pair in pairs} == {1 + levels % 2}
    assert sum(counts.values()) == len(pairs) * (1 + levels % 2)


class _AsListed:
    """A draw that changes nothing."""

    def permutation(self, count: int) -> np.ndarray:
        return np.arange(count)


def test_four_levels_are_the_rows_that_textbooks_print():
    # Textbook (from memory): A B D C, B C A D, C D B A, D A C B.
    rows = latin_squares.followed_equally(4, _AsListed())
    assert ["".join("ABCD"[at] for at in row) for row in rows] == ["ABDC", "BCAD", "CDBA", "DACB"]


def test_followers_by_hand():
    assert latin_squares.followers([[0, 1, 2], [1, 0, 2]]) == {(0, 1): 1, (1, 2): 1, (1, 0): 1, (0, 2): 1}


def test_every_level_is_drawn_for_every_cell_equally_often():
    draw = np.random.default_rng(5)
    counts = np.zeros((4, 4, 4))
    rows, places = np.indices((4, 4))
    for _ in range(2000):
        np.add.at(counts, (rows, places, latin_squares.square(4, draw)), 1)
    # In each cell 3 df against equal shares of 2000: the worst of 16 below the 1 - 0.001/16 point of chi-square, 23.2.
    assert ((counts - 500.0) ** 2 / 500.0).sum(axis=2).max() < 23.2
    # All 12 squares of three levels come up.
    seen = {latin_squares.square(3, draw).tobytes() for _ in range(200)}
    assert len(seen) == 12


@pytest.mark.parametrize(
    ("make", "levels", "expected"),
    [
        (latin_squares.square, 1, "2 to 24"),
        (latin_squares.square, 25, "2 to 24"),
        (latin_squares.followed_equally, 2, "3 to 12"),
        (latin_squares.followed_equally, 13, "3 to 12"),
    ],
)
def test_too_few_or_too_many_levels_are_refused(make, levels, expected):
    with pytest.raises(ModelError, match=f"levels: {levels}; expected {expected}"):
        make(levels, np.random.default_rng(1))
