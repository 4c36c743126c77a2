"""The kinds of two-level fractions, counted another way."""

from __future__ import annotations

from itertools import combinations, product
from math import comb

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric import fraction_classes


def powers_of_two(dimension: int) -> list[tuple[int, ...]]:
    """Every invertible binary matrix of the dimension, as the images of the basic columns."""
    made: list[tuple[int, ...]] = [()]
    for _ in range(dimension):
        grown = []
        for images in made:
            spanned = {0}
            for image in images:
                spanned |= {image ^ other for other in spanned}
            grown += [(*images, one) for one in range(1, 2**dimension) if one not in spanned]
        made = grown
    return made


def cycles_of(images: tuple[int, ...]) -> dict[int, int]:
    """How many cycles of each length a matrix makes of the columns."""
    dimension = len(images)
    moved = [0] * 2**dimension
    for value in range(1, 2**dimension):
        low = value & -value
        moved[value] = moved[value ^ low] ^ images[low.bit_length() - 1]
    left, found = set(range(1, 2**dimension)), {}
    while left:
        start = at = left.pop()
        length = 1
        while (at := moved[at]) != start:
            left.remove(at)
            length += 1
        found[length] = found.get(length, 0) + 1
    return found


def fixed_sets(cycles: dict[int, int], most: int) -> list[int]:
    """Of each size, how many sets of columns are made of whole cycles."""
    counts = [1] + [0] * most
    for length, times in cycles.items():
        for _ in range(times):
            counts = [counts[size] + (counts[size - length] if size >= length else 0) for size in range(most + 1)]
    return counts


def orbits_by_burnside(dimension: int) -> list[int]:
    """How many kinds of sets of columns there are of each size, by Burnside's lemma over every matrix."""
    matrices = powers_of_two(dimension)
    total = [0] * 2**dimension
    for images in matrices:
        total = [one + more for one, more in zip(total, fixed_sets(cycles_of(images), 2**dimension - 1), strict=True)]
    assert all(count % len(matrices) == 0 for count in total)
    return [count // len(matrices) for count in total]


# Conjugacy classes of GL(5, 2): cycles on the 31 columns and how many matrices have them, from the factors of the
# characteristic polynomial (textbook: sizes are |GL| over the size of the centraliser).
def cycle_types_of_five() -> dict[tuple[tuple[int, int], ...], int]:
    """How many of the 9,999,360 matrices of dimension 5 have which cycles, from block matrices of every kind."""
    from functools import reduce

    def centraliser(parts: dict[int, list[int]]) -> int:
        """Size of the centraliser: irreducible factors by degree, each with a partition."""
        size = 1
        for degree, partition in parts.items():
            q = 2**degree
            largest = max(partition)
            conjugate = [sum(part >= row for part in partition) for row in range(1, largest + 1)]
            size *= q ** sum(count**2 for count in conjugate)
            for row in range(1, largest + 1):
                times = partition.count(row)
                size = size * reduce(lambda a, b: a * b, [(q**step - 1) for step in range(1, times + 1)], 1)
                size //= q ** (times * (times + 1) // 2)
        return size

    # Irreducible polynomials over GF(2) other than x, as binary numbers, by degree.
    irreducible = {1: [0b11], 2: [0b111], 3: [0b1011, 0b1101], 4: [0b10011, 0b11001, 0b11111]}
    irreducible[5] = [0b100101, 0b101001, 0b101111, 0b110111, 0b111011, 0b111101]
    polynomials = [(degree, one) for degree, group in irreducible.items() for one in group]

    def partitions(total: int, most: int | None = None) -> list[list[int]]:
        """The partitions of a number."""
        if total == 0:
            return [[]]
        top = min(total, most or total)
        return [[first, *rest] for first in range(top, 0, -1) for rest in partitions(total - first, first)]

    def multiplied(one: int, other: int) -> int:
        """The product of two binary polynomials."""
        found = 0
        for bit in range(other.bit_length()):
            if other >> bit & 1:
                found ^= one << bit
        return found

    def kinds(left: int, start: int) -> list[list[tuple[int, int, list[int]]]]:
        """Every choice of polynomials with partitions whose degrees add up."""
        if left == 0:
            return [[]]
        found = []
        for place in range(start, len(polynomials)):
            degree, one = polynomials[place]
            for times in range(1, left // degree + 1):
                for partition in partitions(times):
                    found += [[(degree, one, partition), *rest] for rest in kinds(left - degree * times, place + 1)]
        return found

    group = np.prod([2**5 - 2**step for step in range(5)])
    made: dict[tuple[tuple[int, int], ...], int] = {}
    for kind in kinds(5, 0):
        images: list[int] = []
        size = 1
        for degree, one, partition in kind:
            size *= centraliser({degree: partition})
            for part in partition:
                power = reduce(multiplied, [one] * part)
                offset, width = len(images), power.bit_length() - 1
                # The companion matrix of the power of the polynomial.
                images += [1 << (offset + step + 1) for step in range(width - 1)]
                images.append((power ^ (1 << width)) << offset)
        key = tuple(sorted(cycles_of(tuple(images)).items()))
        made[key] = made.get(key, 0) + int(group) // size
    return made


@pytest.mark.parametrize(("runs", "dimension"), [(4, 2), (8, 3), (16, 4)])
def test_as_many_kinds_as_burnside_counts(runs: int, dimension: int) -> None:
    """No two kinds were joined and none was told twice, up to 16 runs."""
    expected = orbits_by_burnside(dimension)
    most = min(runs - 1, 15)
    found = [len(fraction_classes._grown(dimension, size)) for size in range(1, most + 1)]
    assert found == expected[1 : most + 1]
    # Harrison's count of functions of so many variables takes each set with and without the zero point.
    assert 2 * sum(expected) == {2: 8, 3: 20, 4: 92}[dimension]


def test_as_many_kinds_in_32_runs_as_burnside_counts() -> None:
    """The same for 32 runs, over the conjugacy classes of the matrices."""
    types = cycle_types_of_five()
    group = sum(types.values())
    assert group == 31 * 30 * 28 * 24 * 16
    total = [0] * 32
    for cycles, matrices in types.items():
        total = [one + matrices * more for one, more in zip(total, fixed_sets(dict(cycles), 31), strict=True)]
    assert all(count % group == 0 for count in total)
    expected = [count // group for count in total]
    assert 2 * sum(expected) == 2744
    assert [len(fraction_classes._grown(5, size)) for size in range(1, 16)] == expected[1:16]


@pytest.mark.parametrize("runs", [8, 16])
def test_words_are_those_counted_one_by_one(runs: int) -> None:
    """The pattern from weights is the pattern of subsets whose columns cancel."""
    factors = 6 if runs == 8 else 9
    for held in fraction_classes.classes(runs, factors=factors):
        counts = [0] * factors
        for size in range(1, factors + 1):
            for effect in combinations(held, size):
                counts[size - 1] += np.bitwise_xor.reduce(effect) == 0
        row = np.zeros((1, runs - 1))
        row[0, np.array(held) - 1] = 1.0
        assert fraction_classes.word_lengths_of(row)[0].tolist() == counts
        assert sum(counts) == 2**factors // runs - 1


def test_every_kind_spans_its_runs_and_comes_in_order() -> None:
    """No fraction runs a smaller one several times; the patterns never fall."""
    before: tuple[int, ...] = ()
    for held in fraction_classes.classes(16, factors=7):
        sums = {0}
        for one in held:
            sums |= {one ^ other for other in sums}
        assert len(sums) == 16
        words = [
            sum(choice)
            for choice in product((0, 1), repeat=7)
            if any(choice) and np.bitwise_xor.reduce(np.array(held) * choice) == 0
        ]
        pattern = tuple(words.count(size) for size in range(1, 8))
        assert pattern >= before
        before = pattern


def test_sets_without_words_of_three_letters_in_64_runs() -> None:
    """In 64 runs no two columns have a third as their product."""
    for held in fraction_classes.classes(64, factors=8):
        assert not {one ^ other for one, other in combinations(held, 2)} & set(held)
    assert comb(8, 2) == 28


def test_sizes_that_cannot_be() -> None:
    """What was asked and what there is stand in one message each."""
    with pytest.raises(ModelError) as told:
        fraction_classes.classes(12, factors=5)
    assert str(told.value) == (
        "The fractions cannot be listed.\n  runs: 12 were given; expected 4, 8, 16, 32 or 64."
    )
    with pytest.raises(ModelError) as told:
        fraction_classes.classes(8, factors=9)
    assert "factors: 9 were given; expected 3 to 7." in str(told.value)
