"""Screening plans: what they promise, counted."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric import aliases, screening


@pytest.mark.parametrize("runs", [12, 20, 24])
def test_main_effects_of_plackett_burman_stand_apart(runs: int) -> None:
    """Balanced and orthogonal for every number of factors; an interaction is never wholly a main effect."""
    for factors in (2, 3, runs // 2, runs - 1):
        made = screening.plackett_burman(factors, runs)
        assert made.shape == (runs, factors)
        assert np.array_equal(made.T @ made, runs * np.eye(factors))
        assert not made.sum(axis=0).any()
        if factors > 2:
            pairs = list(combinations(range(factors), 2))
            products = np.column_stack([made[:, one] * made[:, other] for one, other in pairs])
            found = aliases.shares(np.column_stack([np.ones(runs), made]), products)[1:]
            assert np.abs(found).max() < 1.0


def test_columns_of_twenty_runs_are_those_that_mix_least() -> None:
    """Up to seven factors no interaction gives more than a fifth of itself to a main effect (3/5 can happen)."""
    for factors in (5, 6, 7):
        made = screening.plackett_burman(factors, 20)
        triples = [abs(made[:, three].prod(axis=1).sum()) for three in combinations(range(factors), 3)]
        assert max(triples) == 4.0
    every = screening.plackett_burman(19, 20)
    assert max(abs(every[:, three].prod(axis=1).sum()) for three in combinations(range(19), 3)) == 12.0


@pytest.mark.parametrize("order", [6, 8, 10, 12])
def test_conference_matrices(order: int) -> None:
    """C'C = (n - 1) I, noughts on the diagonal alone; symmetric or skew as the order says."""
    made = screening.conference(order)
    assert np.array_equal(made.T @ made, (order - 1) * np.eye(order))
    assert np.array_equal(np.abs(made), 1.0 - np.eye(order))
    assert np.array_equal(made.T, made if order % 4 == 2 else -made)


def test_three_levels_keep_main_effects_free_of_second_order() -> None:
    """13 to 25 runs; main effects orthogonal to each other, to products and squares; all squares can be told."""
    counts = [len(screening.three_level(factors)) for factors in range(3, 13)]
    assert counts == [13] * 4 + [17] * 2 + [21] * 2 + [25] * 2
    for factors in range(3, 13):
        made = screening.three_level(factors)
        pairs = [made[:, one] * made[:, other] for one, other in combinations(range(factors), 2)]
        second = np.column_stack([made**2, *pairs])
        assert not (made.T @ second).any()
        assert not made.sum(axis=0).any()
        gram = made.T @ made
        assert np.array_equal(gram, np.diag(np.diag(gram)))
        model = np.column_stack([np.ones(len(made)), made, made**2])
        assert np.linalg.matrix_rank(model) == 1 + 2 * factors


def test_the_array_of_18_runs() -> None:
    """Every pair of columns holds each combination equally often; 2 x first 3-level stands apart from all."""
    made = screening.eighteen(7)
    assert made.shape == (18, 8)
    assert [len(np.unique(column)) for column in made.T] == [2] + [3] * 7
    for one, other in combinations(range(8), 2):
        counts = np.unique(made[:, [one, other]], axis=0, return_counts=True)[1]
        assert counts.tolist() == ([3] * 6 if one == 0 else [2] * 9)
    assert len(np.unique(made, axis=0)) == 18
    coded = np.column_stack([column[:, None] == np.arange(1, column.max() + 1) for column in made.T]).astype(float)
    main = np.column_stack([np.ones(18), coded])
    assert np.linalg.matrix_rank(main) == 16
    inner = (made[:, 0] - 0.5)[:, None] * (np.eye(3)[made[:, 1]] - 1.0 / 3.0)
    assert np.abs(main.T @ inner).max() < 1e-12
    assert screening.eighteen(4, two=False).shape == (18, 4)


def test_what_is_not_there() -> None:
    """Sizes beyond each array."""
    for call, words in (
        (lambda: screening.plackett_burman(12, 12), "factors: 12 in 12 runs; expected 2 to 11."),
        (lambda: screening.plackett_burman(5, 16), "runs: 16 were given; expected 12, 20 or 24."),
        (lambda: screening.three_level(13), "factors: 13 were given; expected 3 to 12."),
    ):
        with pytest.raises(ModelError) as told:
            call()
        assert str(told.value) == f"There is no such screening plan.\n  {words}"
    with pytest.raises(ModelError) as told:
        screening.conference(14)
    assert str(told.value) == "There is no such matrix here.\n  order: 14 was given; expected 6, 8, 10 or 12."
    with pytest.raises(ModelError) as told:
        screening.eighteen(8)
    assert str(told.value) == "There is no such array.\n  factors at three levels: 8 were given; expected 1 to 7."
