"""Incomplete blocks that are not balanced: lattices as published, balanced ones found, all sets of small sizes."""

from __future__ import annotations

from itertools import combinations, combinations_with_replacement

import pytest

from toolkit.errors import ModelError
from toolkit.numeric import efficient_blocks as found
from toolkit.numeric import incomplete_blocks


# Square lattices of k x k in blocks of k: F. Yates, Journal of Agricultural Science 26 (1936) 424-455, from memory; the
# simple lattice (two replications) has efficiency (k + 1) / (k + 3), the triple one (2 k + 2) / (2 k + 5).
@pytest.mark.parametrize(("size", "blocks", "efficiency"), [(3, 6, 4 / 6), (3, 9, 8 / 11), (4, 8, 5 / 7)])
def test_square_lattices_are_found(size, blocks, efficiency):
    made = found.search(size * size, size, blocks, seed=(1,))
    assert made.efficiency == pytest.approx(efficiency, abs=1e-9)
    assert made.meetings == (0, 1)
    assert made.bound == pytest.approx(size * size * (size - 1) / ((size * size - 1) * size))
    assert made.lowest < made.efficiency < made.highest < 1.0 and made.efficiency < made.bound


@pytest.mark.parametrize(("treatments", "size", "blocks"), [(7, 3, 7), (6, 3, 10), (9, 3, 12), (5, 2, 10)])
def test_where_balanced_blocks_exist_the_bound_is_reached(treatments, size, blocks):
    made = found.search(treatments, size, blocks, seed=(3,))
    assert made.efficiency == pytest.approx(made.bound, abs=1e-9)
    exact = incomplete_blocks.balanced(treatments, size).efficiency
    assert made.efficiency == pytest.approx(float(exact)) == pytest.approx(made.lowest)


@pytest.mark.parametrize(("treatments", "size", "blocks"), [(5, 3, 4), (5, 2, 6), (6, 4, 4), (4, 3, 3)])
def test_no_set_of_blocks_is_better(treatments, size, blocks):
    """Every multiset of blocks gone through; replications as equal as can be."""
    best = 0.0
    for chosen in combinations_with_replacement(tuple(combinations(range(treatments), size)), blocks):
        counts = [sum(at in block for block in chosen) for at in range(treatments)]
        if max(counts) - min(counts) > 1:
            continue
        try:
            best = max(best, found.efficiencies(chosen, treatments)[0])
        except ModelError:
            continue
    assert found.search(treatments, size, blocks, seed=(5,)).efficiency == pytest.approx(best, abs=1e-9)


def test_pairs_are_told_as_exact_fractions_have_it_and_the_same_seed_gives_the_same_blocks():
    made = found.search(8, 3, 6, seed=(2, 9))
    assert made == found.search(8, 3, 6, seed=(2, 9))
    each = [
        float(incomplete_blocks.efficiency(made.blocks, 8, one, other)) for one, other in combinations(range(8), 2)
    ]
    assert (made.lowest, made.highest) == pytest.approx((min(each), max(each)))
    counts = [sum(at in block for block in made.blocks) for at in range(8)]
    assert max(counts) - min(counts) <= 1 and all(len(set(block)) == 3 for block in made.blocks)


def test_blocks_beside_others_are_the_best_of_all():
    first = found.search(9, 3, 6, seed=(1,))
    more = found.search(9, 3, 6, seed=(1,), beside=first.blocks)
    # A balanced square lattice: four replications, every two once together.
    assert len(more.blocks) == 6 and more.efficiency == pytest.approx(0.75)


def test_what_was_run_less_often_before_is_run_more_often_now():
    first = found.search(7, 3, 5, seed=(1, 2))
    more = found.search(7, 3, 3, seed=(1, 2), beside=first.blocks)
    counts = [sum(at in block for block in (*first.blocks, *more.blocks)) for at in range(7)]
    assert sorted(counts) == [3, 3, 3, 3, 4, 4, 4]
    # A search that counts the further blocks alone ends at 0.746, some pairs at 0.654.
    assert more.efficiency > 0.755 and more.lowest > 0.75


def test_what_cannot_be_says_so():
    for asked, told in (
        ((2, 2, 4), "treatments: 2; expected 3 to 16"),
        ((6, 6, 4), "block size: 6; expected 2 to 5, fewer than there are to compare"),
        ((9, 3, 3), "blocks: 3; expected 4 to 60, since fewer do not join all of them"),
        ((9, 3, 61), "blocks: 61; expected 4 to 60"),
    ):
        with pytest.raises(ModelError) as problem:
            found.search(*asked, seed=(1,))
        assert str(problem.value).splitlines()[-1] == f"  {told}."
    with pytest.raises(ModelError, match="the blocks do not join all treatments"):
        found.efficiencies(((0, 1), (2, 3)), 4)
    assert [found.fewest(9, 3), found.fewest(4, 2), found.fewest(10, 4)] == [5, 4, 4]
