"""Arrangements against itertools with the doubles taken out."""

from __future__ import annotations

from itertools import permutations

import pytest

from toolkit.errors import ModelError
from toolkit.numeric import arrangements


@pytest.mark.parametrize("counts", [(1, 1, 1, 1), (2, 2), (3, 1, 2), (0, 2, 1), (4,)])
def test_every_arrangement_comes_once(counts):
    things = [kind for kind, count in enumerate(counts) for _ in range(count)]
    assert [tuple(row) for row in arrangements.arrangements(counts).tolist()] == sorted(set(permutations(things)))
    assert arrangements.number(counts) == len(set(permutations(things)))


def test_counts_stay_exact_and_are_no_debts():
    # 12 runs of 4 combinations: 12! / (3!)^4; 32 different runs: 32!, beyond what a float holds.
    assert arrangements.number([3, 3, 3, 3]) == 369_600
    assert arrangements.number([1] * 32) == 263130836933693530167218012160000000
    with pytest.raises(ModelError) as problem:
        arrangements.number([2, -1])
    assert str(problem.value) == (
        "Arrangements cannot be counted.\n  counts: -1 was given; expected whole numbers from 0 up."
    )
