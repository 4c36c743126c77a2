"""Two-level fractions against fractions tried one by one."""

from __future__ import annotations

from itertools import combinations, permutations

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric import aliases, fractions


def pattern_of(columns: tuple[int, ...]) -> tuple[int, ...]:
    """Words of three letters and more, counted one by one."""
    return tuple(
        sum(np.bitwise_xor.reduce(effect) == 0 for effect in combinations(columns, size))
        for size in range(3, len(columns) + 1)
    )


def clear_of(columns: tuple[int, ...]) -> set[tuple[int, int]]:
    """Pairs whose product is no column and no other product."""
    products: dict[int, list[tuple[int, int]]] = {}
    for pair in combinations(range(len(columns)), 2):
        products.setdefault(columns[pair[0]] ^ columns[pair[1]], []).append(pair)
    return {pairs[0] for one, pairs in products.items() if len(pairs) == 1 and one not in columns}


@pytest.mark.parametrize(
    ("runs", "factors"), [(8, 4), (8, 5), (8, 6), (8, 7), (16, 5), (16, 6), (16, 7), (16, 8), (16, 9), (16, 13)]
)
def test_no_choice_of_generators_has_fewer_short_words(runs: int, factors: int) -> None:
    """Every choice of columns for the factors beyond the basic ones was tried here too."""
    basic = tuple(1 << bit for bit in range(runs.bit_length() - 1))
    rest = [one for one in range(1, runs) if one not in basic]
    least = min(pattern_of((*basic, *chosen)) for chosen in combinations(rest, factors - len(basic)))
    found = fractions.minimum_aberration(factors, runs)
    assert found.word_lengths == least
    assert found.proved


def test_words_resolution_and_levels_hang_together() -> None:
    """Words are constant in the runs, generators give the columns, projections below the resolution are full."""
    for factors, runs in ((7, 8), (6, 16), (7, 16), (9, 32), (8, 64)):
        found = fractions.minimum_aberration(factors, runs)
        levels = found.levels
        assert levels.shape == (runs, factors)
        assert np.array_equal(levels.T @ levels, runs * np.eye(factors))
        assert (levels == 1.0).all(axis=1).sum() == 1
        for word in found.words:
            assert np.all(levels[:, word].prod(axis=1) == levels[0, word].prod())
        _, constant = aliases.chains(levels)
        assert set(constant.effects) == set(found.words)
        for at, word in found.generators:
            assert abs(levels[:, at] @ levels[:, word].prod(axis=1)) == runs
        assert found.resolution == len(found.words[0])
        for chosen in combinations(range(factors), found.resolution - 1):
            assert len(np.unique(levels[:, chosen], axis=0)) == 2 ** (found.resolution - 1)


def test_clear_effects_are_those_alone_in_their_chain() -> None:
    """Clear pairs and main effects against the chains that the runs themselves show."""
    for factors, runs in ((5, 16), (6, 16), (7, 32), (9, 32)):
        found = fractions.minimum_aberration(factors, runs)
        chains, _ = aliases.chains(found.levels)
        alone = [
            chain.effects[0] for chain in chains if sum(len(effect) <= 2 for effect in chain.effects) == 1
        ]
        assert [effect for effect in alone if len(effect) == 2] == list(found.clear_pairs)
        assert [effect[0] for effect in alone if len(effect) == 1] == list(found.clear_main)


def test_full_factorial_has_no_words() -> None:
    """2^3 in 8 runs: no resolution, everything clear."""
    found = fractions.minimum_aberration(3, 8)
    assert (found.words, found.resolution, found.generators, found.proved) == ((), None, (), True)
    assert found.clear_pairs == ((0, 1), (0, 2), (1, 2))


def test_64_runs_are_not_called_proved() -> None:
    """2^(9-3) has one word of four letters and four of five (Chen, Sun and Wu 1993, from memory)."""
    found = fractions.minimum_aberration(9, 64)
    assert found.word_lengths[:3] == (0, 1, 4)
    assert not found.proved


def tried(factors: int, runs: int, asked: list[tuple[int, int]], others_nil: bool) -> tuple[int, ...] | None:
    """The least pattern over every way to give the factors columns that keeps the pairs; None when there is none."""
    best: tuple[int, ...] | None = None
    for chosen in combinations(range(1, runs), factors):
        sums = {0}
        for one in chosen:
            sums |= {one ^ other for other in sums}
        if len(sums) < runs:
            continue
        pattern = pattern_of(chosen)
        if best is not None and pattern >= best:
            continue
        clear = clear_of(chosen)
        if not others_nil and len(clear) < len(asked):
            continue
        for place in permutations(range(factors)):
            pairs = [(place[one], place[other]) for one, other in asked]
            products = [chosen[one] ^ chosen[other] for one, other in pairs]
            apart = len(set(products)) == len(products) and not set(products) & set(chosen)
            if apart and (others_nil or all((min(pair), max(pair)) in clear for pair in pairs)):
                best = pattern
                break
    return best


@pytest.mark.parametrize("others_nil", [False, True])
@pytest.mark.parametrize(
    ("factors", "runs", "asked"),
    [
        (5, 8, [(0, 1)]),
        (5, 8, [(0, 1), (0, 2)]),
        (5, 8, [(0, 1), (2, 3)]),
        (4, 8, [(0, 1), (0, 2), (0, 3)]),
        (6, 16, [(0, 1), (0, 2), (0, 3)]),
        (6, 16, [(0, 1), (2, 3)]),
        (6, 16, [(0, 1), (2, 3), (4, 5)]),
    ],
)
def test_named_interactions_are_kept_if_any_fraction_keeps_them(
    factors: int, runs: int, asked: list[tuple[int, int]], others_nil: bool
) -> None:
    """The same pattern as trying everything, or none where nothing does; and the pairs are in truth kept."""
    best = tried(factors, runs, asked, others_nil)
    found = (
        fractions.keeping(factors, runs, (), apart=tuple(asked))
        if others_nil
        else fractions.keeping(factors, runs, tuple(asked))
    )
    assert (found is None) == (best is None)
    if found is not None:
        assert found.word_lengths == best
        if not others_nil:
            assert set(asked) <= set(found.clear_pairs)


def test_some_clear_and_others_apart() -> None:
    """One pair clear, another apart from main effects and from it, in one fraction."""
    found = fractions.keeping(6, 16, ((0, 1),), apart=((2, 3),))
    assert (0, 1) in found.clear_pairs
    columns = found.columns
    assert columns[2] ^ columns[3] not in (*columns, columns[0] ^ columns[1])
    assert fractions.keeping(7, 8, (), apart=((0, 1),)) is None


def test_pairs_are_the_same_whichever_way_they_are_written() -> None:
    """(1, 0) is (0, 1); the factors stay where they are."""
    assert fractions.keeping(7, 32, ((1, 0), (4, 3))) == fractions.keeping(7, 32, ((0, 1), (3, 4)))


def test_what_cannot_be_says_what_can() -> None:
    """Too few runs, too many, no power of two, too many factors."""
    for factors, runs, words in (
        (9, 8, "runs: 8 runs for 9 main effects and the mean, which are 10 terms; expected 16 or 32 or 64."),
        (4, 12, "runs: 12 runs; a regular fraction has 4, 8, 16, 32 or 64; expected 8 or 16."),
        (3, 16, "runs: 16 runs, but all 3 factors have only 8 combinations; expected 4 or 8."),
        (16, 32, "factors: 16 at two levels; expected 2 to 15."),
    ):
        with pytest.raises(ModelError) as told:
            fractions.minimum_aberration(factors, runs)
        assert str(told.value) == f"There is no such fraction.\n  {words}"
    with pytest.raises(ModelError) as told:
        fractions.keeping(5, 16, ((0, 0), (1, 7)))
    assert str(told.value) == (
        "The fraction cannot be looked for.\n"
        "  interactions: (0, 0) was given; expected two of the factors 0 to 4.\n"
        "  interactions: (1, 7) was given; expected two of the factors 0 to 4."
    )


def test_fewest_runs_of_a_resolution() -> None:
    """Resolution V of six factors needs 32 runs; of nine more than 64."""
    assert [fractions.smallest(6, resolution) for resolution in (3, 4, 5, 6, 7)] == [8, 16, 32, 32, 64]
    assert fractions.smallest(9, 5) is None
    assert fractions.smallest(5, 5) == 16
