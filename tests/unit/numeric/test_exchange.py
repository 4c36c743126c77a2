"""The search for optimal designs: known optima, small cases gone through, restrictions kept."""

from __future__ import annotations

from itertools import combinations_with_replacement, product

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric import exchange, optimality
from toolkit.numeric import exchange_model as em

# The largest determinants of n x n matrices of -1 and 1: OEIS A003433 (from memory); H. Ehlich, Math. Z. 83 (1964)
# 123-132 for the bounds of 6 and 10. A saturated plan of main effects at two levels reaches them.
LARGEST = {5: 48, 6: 160, 7: 576, 8: 4096, 9: 14336, 10: 73728, 11: 327680}


def two_level(factors: int) -> em.Space:
    """Main effects at two levels."""
    return em.Space(tuple(em.numbers([-1, 1]) for _ in range(factors)), em.main_effects(factors))


@pytest.mark.parametrize("runs", LARGEST)
def test_saturated_main_effects_have_the_largest_determinant(runs: int) -> None:
    """Known maxima, whether or not the number of runs is a multiple of four."""
    space = two_level(runs - 1)
    found = exchange.search(space, runs, seed=1, starts=4, kicks=12)
    assert round(abs(np.linalg.det(space.rows(found.levels)))) == LARGEST[runs]
    # |X'X|^(1/p) / n follows from it.
    assert found.d_efficiency == pytest.approx(100.0 * LARGEST[runs] ** (2.0 / runs) / runs)


def test_a_full_factorial_is_found_and_is_100_per_cent() -> None:
    """2^k runs, all interactions of two: every combination once is the one design that is orthogonal in all terms."""
    space = em.Space(tuple(em.numbers([-1, 1]) for _ in range(3)), (*em.interactions(3), (0, 1, 2)))
    for criterion in exchange.CRITERIA:
        found = exchange.search(space, 8, seed=3, criterion=criterion)
        assert sorted(found.levels.tolist()) == [list(one) for one in product(range(2), repeat=3)]
        assert found.efficiency == pytest.approx(100.0, abs=1e-4)
        assert found.d_efficiency == pytest.approx(100.0)
    linear = exchange.search(two_level(4), 16, seed=3)
    assert linear.d_efficiency == pytest.approx(100.0) and linear.efficiency == pytest.approx(100.0, abs=1e-4)


def values_of(rows: np.ndarray, weight: np.ndarray, criterion: str, region: np.ndarray) -> float:
    """The criterion of a design by its definition; -inf where it cannot be told."""
    information = rows.T @ weight @ rows
    if np.linalg.matrix_rank(information) < len(information):
        return -np.inf
    if criterion == "D":
        return float(np.linalg.slogdet(information)[1])
    aim = np.eye(len(information)) if criterion == "A" else region.T @ region / len(region)
    return -float(np.trace(np.linalg.inv(information) @ aim))


@pytest.mark.parametrize("criterion", exchange.CRITERIA)
def test_small_cases_against_every_design(criterion: str) -> None:
    """Six runs, one factor of three numbers (quadratic) and one of two categories: all 12,376 designs gone through."""
    axes = (em.numbers([-1, 0, 1]), em.categories(2))
    space = em.Space(axes, ((0,), (1,), (0, 0)))
    every = space.listed()
    assert every is not None
    rows = space.rows(every)
    chosen = list(combinations_with_replacement(range(6), 6))
    best = max(values_of(rows[list(one)], np.eye(6), criterion, rows) for one in chosen)
    found = exchange.search(space, 6, seed=2, criterion=criterion)
    assert values_of(space.rows(found.levels), np.eye(6), criterion, rows) == pytest.approx(best, rel=1e-9)
    limit = optimality.bound(rows, criterion)
    assert found.efficiency == pytest.approx(optimality.of_bound(best, criterion, limit, 6, 4))


def test_whole_plots_against_every_design() -> None:
    """Three plots of two runs, ratio 2: a hard factor of two levels, an easy one of three, gone through."""
    axes = (em.numbers([-1, 1]), em.numbers([-1, 0, 1]))
    space = em.Space(axes, ((0,), (1,), (1, 1)))
    plots = exchange.Plots((0, 0, 1, 1, 2, 2), (0,), 2.0)
    weight = np.linalg.inv(np.eye(6) + 2.0 * np.kron(np.eye(3), np.ones((2, 2))))
    assert np.allclose(exchange.weights(6, None, [plots]), weight)
    best = -np.inf
    for hard in product(range(2), repeat=3):
        for easy in product(range(3), repeat=6):
            levels = np.column_stack([np.repeat(hard, 2), easy])
            best = max(best, values_of(space.rows(levels), weight, "D", levels))
    found = exchange.search(space, 6, seed=4, plots=[plots], starts=4, kicks=8)
    assert (found.levels[::2, 0] == found.levels[1::2, 0]).all()
    assert values_of(space.rows(found.levels), weight, "D", found.levels) == pytest.approx(best, rel=1e-9)
    assert found.d_efficiency == pytest.approx(100.0 * np.exp(best / 4) / 6)


def test_blocks_are_taken_out_as_least_squares_does() -> None:
    """The information within blocks is the inverse of the terms' part of (X'X)^-1 with blocks in the model."""
    draw = np.random.default_rng(8)
    terms, codes = draw.normal(size=(9, 3)), [0, 0, 0, 1, 1, 1, 1, 2, 2]
    inside = (np.array(codes)[:, None] == np.arange(3)).astype(float)
    full = np.column_stack([terms, inside])
    part = np.linalg.inv(full.T @ full)[:3, :3]
    assert np.allclose(terms.T @ exchange.weights(9, codes, ()) @ terms, np.linalg.inv(part))


def test_designs_in_blocks_are_orthogonal_to_them_where_that_can_be() -> None:
    """Three two-level factors in two blocks of four: 100 %, as the half fractions of a 2^3 are."""
    found = exchange.search(two_level(3), 8, seed=1, blocks=[0, 0, 0, 0, 1, 1, 1, 1])
    signs = 2 * found.levels - 1
    assert found.efficiency == pytest.approx(100.0, abs=1e-4)
    assert not signs[:4].sum(axis=0).any() and not signs[4:].sum(axis=0).any()
    assert np.array_equal(signs.T @ signs, 8 * np.eye(3))


def test_restrictions_fixed_runs_and_repeats_are_kept() -> None:
    """Nothing forbidden is run, runs made already stay first as they are, tied runs repeat each other."""
    axes = (em.numbers([-1, 0, 1]), em.numbers([-1, 0, 1]), em.categories(3))

    def allowed(levels: np.ndarray) -> np.ndarray:
        """One corner of the numbers and one of the categories with the low level are left out."""
        return (levels[:, 0] + levels[:, 1] < 4) & ~((levels[:, 2] == 1) & (levels[:, 0] == 0))

    space = em.Space(axes, em.quadratic(axes), allowed)
    made = [[2, 2, 1], [0, 0, 0]]
    for criterion in exchange.CRITERIA:
        found = exchange.search(
            space, 18, seed=5, criterion=criterion, fixed=made, tied=[[2, 3], [4, 5, 6]], starts=3, kicks=5
        )
        assert found.levels[:2].tolist() == made
        assert allowed(found.levels[2:]).all()
        assert (found.levels[2] == found.levels[3]).all() and (found.levels[4] == found.levels[[5, 6]]).all()
        assert found.slip < 1e-8


def test_renamed_levels_and_axes_change_nothing() -> None:
    """The best of a small model is found whichever way levels are numbered and axes are ordered."""
    axes = (em.categories(3), em.categories(2), em.numbers([-1.0, 0.0, 1.0]))
    plain = exchange.search(em.Space(axes, em.quadratic(axes)), 14, seed=1, starts=3)
    turned = (em.numbers([1.0, 0.0, -1.0]), em.categories(2), em.categories(3))
    other = exchange.search(em.Space(turned, em.quadratic(turned)), 14, seed=9, starts=3)
    assert other.d_efficiency == pytest.approx(plain.d_efficiency, rel=1e-9)
    for criterion in "AI":
        values = [
            exchange.search(em.Space(one, em.quadratic(one)), 14, seed=seed, criterion=criterion, starts=3).efficiency
            for one, seed in ((axes, 1), (turned, 9))
        ]
        assert values[0] == pytest.approx(values[1], rel=1e-6)


def test_the_same_seed_gives_the_same_design() -> None:
    """And tells how far it has come after each start."""
    space = em.Space((em.numbers([-1, 0, 1]),) * 3, em.quadratic((em.numbers([-1, 0, 1]),) * 3))
    told: list[tuple[int, int, float]] = []
    one = exchange.search(space, 13, seed=[7, 1], starts=3, kicks=4, progress=lambda *item: told.append(item))
    two = exchange.search(space, 13, seed=[7, 1], starts=3, kicks=4)
    assert np.array_equal(one.levels, two.levels)
    assert [item[:2] for item in told] == [(1, 3), (2, 3), (3, 3)] and told[-1][2] == one.efficiency
    assert [item[2] for item in told] == sorted(item[2] for item in told)


def test_where_combinations_are_too_many_to_list() -> None:
    """One axis of a run is changed at a time: three factors on a grid of 21 steps end at the corners of the cube."""
    grid = (em.numbers(np.linspace(-1, 1, 21)),) * 3
    space = em.Space(grid, em.main_effects(3))
    assert space.listed() is None
    found = exchange.search(space, 8, seed=1, starts=2, kicks=3)
    assert set(found.levels.ravel().tolist()) == {0, 20} and found.d_efficiency == pytest.approx(100.0)


def test_the_quadratic_of_six_factors_in_forty_runs() -> None:
    """Three levels, 28 terms: at least 51.0 per cent, where plain starts end near 49.7; one seed of those benched."""
    axes = (em.numbers([-1, 0, 1]),) * 6
    found = exchange.search(em.Space(axes, em.quadratic(axes)), 40, seed=0, starts=1)
    rows = em.Space(axes, em.quadratic(axes)).rows(found.levels)
    assert 100.0 * np.linalg.det(rows.T @ rows) ** (1.0 / 28.0) / 40.0 == pytest.approx(found.d_efficiency)
    assert found.d_efficiency >= 51.0
    assert 0.0 < found.slip < 1e-9


def test_what_cannot_be() -> None:
    """Too few runs, plots and ties that do not fit, all at once; restrictions that leave nothing or too little."""
    with pytest.raises(ModelError) as told:
        exchange.search(
            two_level(4), 5, seed=1, criterion="G", plots=[exchange.Plots((0, 1), (0,), -1.0)], tied=[[1, 9]]
        )
    assert str(told.value) == (
        "There is no such design.\n"
        "  criterion: 'G' was given; expected D, A or I.\n"
        "  plots no. 1: 2 for 5 runs; expected one for each run.\n"
        "  plots: a ratio of -1.0 was given; expected 0 or more.\n"
        "  tied: a run that is named twice, held fixed or not there; expected each run once.\n"
        "  runs: 5 runs, 1 of them repeats, for 5 parameters; expected 6 runs at least."
    )
    axes = (em.numbers([-1, 1]),) * 2
    nothing = em.Space(axes, em.main_effects(2), lambda levels: np.zeros(len(levels), dtype=bool))
    with pytest.raises(ModelError, match="allowed: not one combination is left; expected one at least"):
        exchange.search(nothing, 4, seed=1)
    alike = em.Space(axes, em.main_effects(2), lambda levels: levels[:, 0] == levels[:, 1])
    with pytest.raises(ModelError, match="allowed: what is allowed tells 2 of 3 parameters"):
        exchange.search(alike, 4, seed=1)
