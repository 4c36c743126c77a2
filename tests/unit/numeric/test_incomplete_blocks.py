"""Balanced incomplete blocks: sizes of the printed index, every two counted, efficiencies exact."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric import incomplete_blocks as blocks_of

# Treatments, block size, blocks, replications, meetings: index of balanced incomplete blocks, R. A. Fisher and
# F. Yates, Statistical Tables, from memory; also W. G. Cochran and G. M. Cox, Experimental Designs (1957), table 11.3.
INDEX = [
    (4, 2, 6, 3, 1),
    (4, 3, 4, 3, 2),
    (5, 2, 10, 4, 1),
    (5, 3, 10, 6, 3),
    (5, 4, 5, 4, 3),
    (6, 2, 15, 5, 1),
    (6, 3, 10, 5, 2),
    (6, 4, 15, 10, 6),
    (6, 5, 6, 5, 4),
    (7, 3, 7, 3, 1),
    (7, 4, 7, 4, 2),
    (8, 4, 14, 7, 3),
    (9, 3, 12, 4, 1),
    (9, 4, 18, 8, 3),
    (9, 5, 18, 10, 5),
    (9, 6, 12, 8, 5),
    (10, 3, 30, 9, 2),
    (10, 4, 15, 6, 2),
    (10, 5, 18, 9, 4),
    (10, 6, 15, 9, 5),
    (11, 5, 11, 5, 2),
    (11, 6, 11, 6, 3),
    (13, 3, 26, 6, 1),
    (13, 4, 13, 4, 1),
    (13, 9, 13, 9, 6),
    (15, 3, 35, 7, 1),
    (15, 7, 15, 7, 3),
    (16, 4, 20, 5, 1),
    (16, 6, 16, 6, 2),
]


@pytest.mark.parametrize(("treatments", "size", "blocks", "replications", "meetings"), INDEX)
def test_the_sets_of_the_index_are_found(treatments, size, blocks, replications, meetings):
    found = blocks_of.balanced(treatments, size)
    assert (len(found.blocks), found.replications, found.meetings) == (blocks, replications, meetings)
    # Counted here by themselves.
    every = [sum(1 for held in found.blocks if {*pair} <= {*held}) for pair in combinations(range(treatments), 2)]
    assert set(every) == {meetings}
    assert [sum(at in held for held in found.blocks) for at in range(treatments)] == [replications] * treatments
    assert all(len(set(held)) == size for held in found.blocks)
    assert found.efficiency == Fraction(treatments * meetings, replications * size)
    assert blocks_of.efficiency(found.blocks, treatments, 0, treatments - 1) == found.efficiency


def test_what_counting_leaves_and_what_is_known_not_to_exist():
    assert blocks_of.smallest(7, 3) == (7, 3, 1)
    # Counting allows eight blocks of 6 for 16: Fisher's inequality does not.
    assert blocks_of.smallest(16, 6) == (8, 3, 1)
    assert blocks_of.impossible(16, 6, 8) == (
        "8 blocks for 16: Fisher's inequality, no fewer blocks than there are to compare"
    )
    assert blocks_of.impossible(7, 3, 9) == (
        "7 in blocks of 3: every one in as many blocks, and every two together as often, takes 7 blocks or a multiple "
        "of that"
    )
    assert blocks_of.impossible(7, 3, 7) == blocks_of.impossible(16, 6, 16) == ""
    # 15 in 21 blocks of 5 is known not to exist (M. Hall and W. S. Connor 1954, from memory): 42 are found.
    assert len(blocks_of.balanced(15, 5).blocks) == 42
    assert blocks_of.balanced(16, 2) is None


def test_as_many_blocks_as_an_even_number_needs_a_square(monkeypatch):
    # 22 in 22 blocks of 7, each two twice, is the textbook case (from memory): 7 less 2 is no square.
    monkeypatch.setattr(blocks_of, "MOST_TREATMENTS", 22)
    assert blocks_of.impossible(22, 7, 22) == (
        "22 blocks for as many to compare, an even number: 7 less 2 would have to be a square"
    )


def test_a_baseline_in_every_block_is_compared_best():
    found = blocks_of.with_baseline(7, 3)
    # Six others in pairs: 15 blocks; the baseline is in all of them, and meets each other five times.
    assert len(found.blocks) == 15 and all(block[0] == 0 for block in found.blocks)
    assert {found.table[0, other] for other in range(1, 7)} == {5}
    assert {found.table[pair] for pair in combinations(range(1, 7), 2)} == {1}
    against = {blocks_of.efficiency(found.blocks, 7, 0, other) for other in range(1, 7)}
    among = {blocks_of.efficiency(found.blocks, 7, *pair) for pair in combinations(range(1, 7), 2)}
    assert len(against) == len(among) == 1
    # Variance within blocks by hand: others 2 x 3 / (5 x 2 + 1), so 2/5 over 6/11; baseline by least squares below.
    assert among == {Fraction(11, 15)}
    assert float(next(iter(against))) == pytest.approx(_by_least_squares(found.blocks, 7, 0, 1), rel=1e-12)
    assert blocks_of.with_baseline(4, 2).blocks == ((0, 1), (0, 2), (0, 3))


@pytest.mark.parametrize("blocks", [((0, 1, 2), (0, 3, 1), (2, 3, 0)), ((0, 1), (1, 2), (2, 3), (3, 0), (0, 2))])
def test_efficiency_of_uneven_blocks_is_that_of_least_squares(blocks):
    for one, other in combinations(range(4), 2):
        exact = float(blocks_of.efficiency(blocks, 4, one, other))
        assert exact == pytest.approx(_by_least_squares(blocks, 4, one, other), rel=1e-12)


def test_concurrences_by_hand():
    assert blocks_of.concurrences(((0, 1, 2), (2, 1), (0, 3))) == {(0, 1): 1, (0, 2): 1, (1, 2): 2, (0, 3): 1}


def test_blocks_that_do_not_join_two_are_told():
    with pytest.raises(ModelError, match=r"0 and 2 are not joined by blocks\."):
        blocks_of.efficiency(((0, 1), (2, 3)), 4, 0, 2)


@pytest.mark.parametrize(
    ("treatments", "size", "told"),
    [
        (17, 3, "treatments: 17; expected 2 to 16"),
        (5, 5, "block size: 5; expected 1 to 4, fewer than there are to compare"),
    ],
)
def test_numbers_out_of_range_are_refused(treatments, size, told):
    with pytest.raises(ModelError, match=told):
        blocks_of.balanced(treatments, size)


def _by_least_squares(blocks, treatments, one, other):
    """The share left of a comparison, from the pseudo-inverse of a dummy-coded model."""
    rows = [(number, at) for number, block in enumerate(blocks) for at in block]
    model = np.zeros((len(rows), treatments + len(blocks)))
    for line, (number, at) in enumerate(rows):
        model[line, at] = model[line, treatments + number] = 1.0
    wanted = np.zeros(model.shape[1])
    wanted[one], wanted[other] = 1.0, -1.0
    within = wanted @ np.linalg.pinv(model.T @ model) @ wanted
    counts = model[:, :treatments].sum(axis=0)
    return (1.0 / counts[one] + 1.0 / counts[other]) / within
