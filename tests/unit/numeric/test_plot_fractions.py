"""Split-plot fractions: against every choice of generators, and what published ones are known to be."""

from __future__ import annotations

from functools import reduce
from itertools import combinations, product
from operator import xor

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric import fractions, plot_fractions
from toolkit.numeric.fractions import Fraction
from toolkit.numeric.plot_fractions import in_plots


def by_generators(coarse: int, fine: int, basics: int, power: int):
    """The least word lengths over every choice: coarser factors in ``power`` basic columns, finer ones outside them."""
    inside = range(1, 1 << power)
    outside = [column for column in range(1, 1 << basics) if column >= 1 << power]
    first = tuple(1 << bit for bit in range(power))
    best = None
    for more in combinations([one for one in inside if one not in first], coarse - power):
        basic = tuple(1 << bit for bit in range(power, basics))
        for rest in combinations([one for one in outside if one not in basic], fine - len(basic)):
            made = Fraction(1 << basics, (*first, *more, *basic, *rest)).word_lengths
            best = made if best is None or made < best else best
    return best


@pytest.mark.parametrize(
    ("coarse", "fine", "basics", "power"),
    [(1, 3, 3, 1), (2, 3, 3, 2), (1, 4, 3, 1), (2, 4, 4, 2), (3, 3, 4, 2), (3, 4, 4, 3), (2, 5, 4, 2), (4, 3, 4, 3)],
)
def test_no_choice_of_generators_has_fewer_short_words(coarse, fine, basics, power):
    found = in_plots((0,) * coarse + (1,) * fine, 1 << basics, (1 << power,))
    assert found.fraction.word_lengths == by_generators(coarse, fine, basics, power)
    assert found.proved


def test_coarser_factors_are_constant_within_units_and_the_finer_balanced_there():
    layers = (1, 0, 2, 0, 2, 1, 2)
    found = in_plots(layers, 32, (4, 16))
    assert found.units == (4, 16, 32)
    levels = found.fraction.levels
    assert np.linalg.matrix_rank(levels) == 7 and (levels.sum(axis=0) == 0).all()
    for layer, count in enumerate((4, 16)):
        own = np.array(found.unit_of(layer))
        assert sorted(set(np.bincount(own))) == [32 // count] and len(set(own)) == count
        for factor, of in enumerate(layers):
            means = [levels[own == unit, factor].mean() for unit in range(count)]
            assert all(abs(one) == 1 for one in means) if of <= layer else not any(means)
    # A unit of the finer layer lies in one of the coarser.
    pairs = {(coarse, fine) for coarse, fine in zip(found.unit_of(0), found.unit_of(1), strict=True)}
    assert len(pairs) == 16


def test_an_unrestricted_fraction_may_not_fit_units():
    # Bingham and Sitter (from memory): 2^((3 + 4) - 3) in eight units has resolution IV, as the fraction without units;
    # in four units the three coarser factors are a half fraction with a word of three letters.
    free = fractions.minimum_aberration(7, 16)
    eight = in_plots((0, 0, 0, 1, 1, 1, 1), 16, (8,))
    four = in_plots((0, 0, 0, 1, 1, 1, 1), 16, (4,))
    assert eight.fraction.word_lengths == free.word_lengths and eight.words_of_units == ()
    assert four.words_of_units == ((0, 1, 2),) and four.fraction.resolution == 3


def test_interactions_taken_up_by_units_are_those_whose_column_is_constant_there():
    found = in_plots((0, 0, 1, 1, 1), 8, (4,))
    levels, own = found.fraction.levels, np.array(found.unit_of(0))
    for pair in combinations(range(5), 2):
        column = levels[:, pair[0]] * levels[:, pair[1]]
        constant = all(len(set(column[own == unit])) == 1 for unit in range(4))
        assert constant == (pair in found.taken_up or pair == (0, 1))
    # Two runs a unit: what the finer factors do together is the same in both.
    assert found.taken_up == ((2, 3), (2, 4), (3, 4))


def test_named_interactions_are_kept_clear_within_the_units():
    layers = (0, 0, 1, 1, 1, 1)
    wanted = ((0, 2), (1, 3))
    found = in_plots(layers, 32, (4,), clear=wanted)
    assert set(wanted) <= set(found.fraction.clear_pairs)
    assert in_plots((0, 0, 1, 1, 1), 8, (4,), clear=((2, 3),)) is None
    apart = in_plots((0, 1, 1, 1, 1), 16, (2,), apart=((0, 1), (0, 2)))
    columns = apart.fraction.columns
    assert len({*columns, columns[0] ^ columns[1], columns[0] ^ columns[2]}) == 7


def test_units_that_coarser_factors_take():
    assert plot_fractions.most_units((0, 0, 1, 1, 1), 16) == (4,)
    assert plot_fractions.most_units((0,) * 5 + (1,), 16) == (8,)
    assert plot_fractions.most_units((0, 1, 1, 2, 2), 16) == (2, 8)


def test_every_word_of_a_coarser_factor_holds_coarser_ones_alone():
    for layers, runs, units in [((0,) * 4 + (1,) * 4, 16, (8,)), ((0,) * 5 + (1,) * 5, 32, (8,))]:
        found = in_plots(layers, runs, units)
        for at, word in found.fraction.generators:
            assert layers[at] == 1 or all(layers[one] == 0 for one in word)
        # Words by hand: a product that is the same in all runs.
        levels = found.fraction.levels
        short = {
            word
            for size in (3, 4)
            for word in combinations(range(len(layers)), size)
            if len(set(np.prod(levels[:, list(word)], axis=1))) == 1
        }
        assert short == {word for word in found.fraction.words if len(word) in (3, 4)}


def test_columns_are_renamed_without_a_change_of_words():
    for columns, keep in product([(1, 2, 4, 7), (3, 5, 6, 1)], [True, False]):
        # Words are sets of columns that multiply to nothing.
        sizes = [size for size in (3, 4) for one in combinations(columns, size) if not reduce(xor, one)]
        assert fractions.based(8, columns, keep=keep).word_lengths == (sizes.count(3), sizes.count(4))
    assert fractions.placed([(0, 1)], [], (1, 2, 4, 8, 15), among=[{2, 3}, {0, 1}, {2, 3}, {0, 1}, {4}]) is not None


@pytest.mark.parametrize(
    ("layers", "runs", "units", "told"),
    [
        ((0, 0, 1, 1), 8, (8,), "units 1: 8 for 2 factors in 8 runs; expected 2 or 4"),
        ((0, 0, 1, 1), 8, (3,), "units 1: 3 for 2 factors in 8 runs; expected 2 or 4"),
        ((0, 0, 0, 0), 8, (4,), r"layers: \[0\] for 2 units; expected a factor of every unit"),
        ((0, 1, 2), 6, (2, 4), "runs: 6 were given; expected 4, 8, 16, 32 or 64"),
    ],
)
def test_units_that_cannot_be(layers, runs, units, told):
    with pytest.raises(ModelError, match=told):
        in_plots(layers, runs, units)


def test_sizes_that_cannot_be_are_told():
    assert fractions.size_faults(5, 16) == []
    assert [fault.found for fault in fractions.size_faults(5, 4)] == [
        "4 runs for 5 main effects and the mean, which are 6 terms"
    ]
