"""Alias chains of two-level runs by hand, and against a published fraction."""

from itertools import product

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric import aliases


def test_a_full_factorial_has_no_aliases():
    full = np.array(list(product((-1, 1), repeat=4)))
    found, constant = aliases.chains(full)
    assert [chain.effects for chain in found][:6] == [((0,),), ((1,),), ((2,),), ((3,),), ((0, 1),), ((0, 2),)]
    assert len(found) == 15 and all(chain.signs == (1,) for chain in found)
    assert constant.effects == ()


@pytest.mark.parametrize("sign", [1, -1])
def test_a_half_fraction_by_hand(sign):
    # D = +-ABC: A = +-BCD and so on, AB = +-CD; I = +-ABCD.
    base = np.array(list(product((-1, 1), repeat=3)))
    found, constant = aliases.chains(np.column_stack([base, sign * base.prod(axis=1)]))
    told = {chain.effects: chain.signs for chain in found}
    assert told == {
        ((0,), (1, 2, 3)): (1, sign),
        ((1,), (0, 2, 3)): (1, sign),
        ((2,), (0, 1, 3)): (1, sign),
        ((3,), (0, 1, 2)): (1, sign),
        ((0, 1), (2, 3)): (1, sign),
        ((0, 2), (1, 3)): (1, sign),
        ((0, 3), (1, 2)): (1, sign),
    }
    assert (constant.effects, constant.signs) == (((0, 1, 2, 3),), (sign,))


def test_chains_of_seven_factors_in_eight_runs():
    # G. E. P. Box, W. G. Hunter and J. S. Hunter, Statistics for Experimenters (1978) ch. 12: D = AB, E = AC, F = BC,
    # G = ABC. Two-factor aliases of each main effect, from the printed table (from memory; each is a word by hand).
    base = np.array(list(product((-1, 1), repeat=3)))
    a, b, c = base.T
    found, constant = aliases.chains(np.column_stack([a, b, c, a * b, a * c, b * c, a * b * c]))
    letters = {
        "".join("ABCDEFG"[at] for at in chain.effects[0]): {
            "".join("ABCDEFG"[at] for at in effect) for effect in chain.effects[1:] if len(effect) == 2
        }
        for chain in found
    }
    assert letters == {
        "A": {"BD", "CE", "FG"}, "B": {"AD", "CF", "EG"}, "C": {"AE", "BF", "DG"}, "D": {"AB", "CG", "EF"},
        "E": {"AC", "BG", "DF"}, "F": {"BC", "AG", "DE"}, "G": {"CD", "BE", "AF"}}
    assert len(constant.effects) == 15 and set(constant.signs) == {1}
    assert all(len(chain.effects) == 16 for chain in found)


def test_a_column_is_that_of_the_first_effect():
    runs = np.array([[1, 1, -1], [-1, 1, 1], [1, -1, 1], [-1, -1, -1]])
    found, _ = aliases.chains(runs)
    for chain in found:
        for effect, sign in zip(chain.effects, chain.signs, strict=True):
            assert (sign * runs[:, list(effect)].prod(axis=1) == chain.column).all()


@pytest.mark.parametrize(
    "levels, text",
    [
        ([[0.5, 1]], "levels: a number other than -1 and 1 was given; expected -1 or 1."),
        ([1, -1], "levels: an array of shape (2,) was given; expected runs by factors."),
        (np.ones((2, 16)), "factors: 16 were given; expected 15 at most."),
        ([[np.nan, 1]], "levels: a missing value was given; expected a finite number."),
    ],
)
def test_other_levels_are_refused(levels, text):
    with pytest.raises(ModelError) as refused:
        aliases.chains(levels)
    assert str(refused.value) == f"The aliases cannot be told.\n  {text}"


def test_shares_of_a_regular_fraction_are_its_chains():
    # 2^(3-1), C = -AB: each main effect takes the whole product of the others, with the sign of the word.
    base = np.array(list(product((-1.0, 1.0), repeat=2)))
    levels = np.column_stack([base, -base.prod(axis=1)])
    pairs = np.column_stack([levels[:, 0] * levels[:, 1], levels[:, 0] * levels[:, 2], levels[:, 1] * levels[:, 2]])
    found = aliases.shares(np.column_stack([np.ones(4), levels]), pairs)
    assert found.tolist() == [[0, 0, 0], [0, 0, -1], [0, -1, 0], [-1, 0, 0]]


def test_shares_need_a_model_that_can_be_estimated():
    ones = np.ones((4, 1))
    with pytest.raises(ModelError) as told:
        aliases.shares(np.hstack([ones, ones]), ones)
    assert str(told.value) == (
        "The aliases cannot be told.\n  model: a column that is a sum of others; expected columns that can all be "
        "estimated."
    )
    with pytest.raises(ModelError) as told:
        aliases.shares(ones, np.ones((3, 1)))
    assert str(told.value) == (
        "The aliases cannot be told.\n  others: arrays of shape (4, 1) and (3, 1) were given; expected a row a run in "
        "both."
    )
