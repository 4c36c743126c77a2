"""Fractions in blocks against textbook layouts."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric import fraction_blocks, fractions


def test_textbook_blocks_of_full_factorials() -> None:
    """2^3 in two blocks gives up ABC, in four AB, AC and BC; 2^4 in two gives up nothing of three factors."""
    two = fraction_blocks.in_blocks(fractions.minimum_aberration(3, 8), 2)
    assert two.confounded == (((0, 1, 2),),)
    assert two.confounded_pairs == ()
    levels = two.fraction.levels.prod(axis=1)
    assert abs(levels[two.blocks == 0].sum()) == 4
    four = fraction_blocks.in_blocks(two.fraction, 4)
    assert four.confounded_pairs == ((0, 1), (0, 2), (1, 2))
    assert fraction_blocks.in_blocks(fractions.minimum_aberration(4, 16), 2).confounded == ((),)


def test_main_effects_are_never_given_up() -> None:
    """In every block every factor is half the time high; the told interactions are constant in blocks, others not."""
    for factors, runs, blocks in ((5, 16, 2), (5, 16, 4), (7, 16, 2), (7, 32, 4), (6, 16, 4), (9, 32, 2)):
        found = fraction_blocks.in_blocks(fractions.minimum_aberration(factors, runs), blocks)
        levels = found.fraction.levels
        assert np.bincount(found.blocks).tolist() == [runs // blocks] * blocks
        told = set(found.confounded_pairs)
        for one in range(factors):
            sums = np.bincount(found.blocks, weights=levels[:, one])
            assert np.all(sums == 0.0)
            for other in range(one + 1, factors):
                sums = np.bincount(found.blocks, weights=levels[:, one] * levels[:, other])
                assert ((one, other) in told) == bool(np.any(sums != 0.0))


def test_interactions_to_be_kept_are_kept() -> None:
    """2^3 in four blocks without giving up AB cannot be; a kept interaction of a 2^(6-2) is not given up."""
    fraction = fractions.minimum_aberration(6, 16)
    free = fraction_blocks.in_blocks(fraction, 4)
    lost = free.confounded_pairs[0]
    again = fraction_blocks.in_blocks(fraction, 4, keep=[lost])
    assert lost not in again.confounded_pairs
    with pytest.raises(ModelError) as told:
        fraction_blocks.in_blocks(fractions.minimum_aberration(3, 8), 4, keep=[(0, 1), (0, 2), (1, 2)])
    assert str(told.value) == (
        "The fraction cannot be laid out in blocks.\n"
        "  blocks: every way to make 4 blocks of 2 runs gives up a main effect or an interaction to be kept; "
        "expected 2 blocks."
    )


def test_numbers_of_blocks_that_cannot_be() -> None:
    """Three blocks; a saturated fraction in two."""
    with pytest.raises(ModelError) as told:
        fraction_blocks.in_blocks(fractions.minimum_aberration(5, 16), 3)
    assert str(told.value) == (
        "The fraction cannot be laid out in blocks.\n  blocks: 3 for 16 runs; expected 2 or 4 or 8."
    )
    with pytest.raises(ModelError) as told:
        fraction_blocks.in_blocks(fractions.minimum_aberration(7, 8), 2)
    assert str(told.value) == (
        "The fraction cannot be laid out in blocks.\n"
        "  blocks: every way to make 2 blocks of 4 runs gives up a main effect; expected no blocks, or more runs."
    )


@pytest.mark.parametrize(
    ("factors", "runs", "blocks", "pairs"),
    [(5, 16, 4, ()), (6, 16, 4, ((0, 1),)), (9, 32, 4, ()), (7, 32, 4, ()), (6, 16, 2, ((0, 1), (0, 2)))],
)
def test_no_other_blocks_give_up_fewer_interactions(
    factors: int, runs: int, blocks: int, pairs: tuple[tuple[int, int], ...]
) -> None:
    """Clear interactions given up, then all of two, are the fewest over every choice of columns for the blocks."""
    fraction = fractions.keeping(factors, runs, pairs)
    columns = fraction.columns
    products = {pair: columns[pair[0]] ^ columns[pair[1]] for pair in combinations(range(factors), 2)}

    def cost(chosen: set[int]) -> tuple[int, int]:
        """Clear interactions and interactions of two among some columns."""
        lost = [pair for pair, product in products.items() if product in chosen]
        return sum(pair in fraction.clear_pairs for pair in lost), len(lost)

    free = [column for column in range(1, runs) if column not in columns]
    ways = [{one} for one in free] if blocks == 2 else [{a, b, a ^ b} for a, b in combinations(free, 2)]
    found = fraction_blocks.in_blocks(fraction, blocks)
    lost = found.confounded_pairs
    assert (sum(pair in fraction.clear_pairs for pair in lost), len(lost)) == min(
        cost(way) for way in ways if not way & set(columns)
    )
