"""The bound that no design can beat, against cases worked out otherwise."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric import optimality


def test_the_bound_of_two_level_models_is_an_orthogonal_design() -> None:
    """Main effects and interactions of corners: 1 for D, p for A, p for I (its mean variance is p / n)."""
    corners = np.array(list(product([-1.0, 1.0], repeat=3)))
    rows = np.column_stack([np.ones(8), corners, corners[:, 0] * corners[:, 1]])
    assert optimality.bound(rows, "D") == pytest.approx(1.0, rel=1e-6)
    assert optimality.bound(rows, "A") == pytest.approx(5.0, rel=1e-6)
    assert optimality.bound(rows, "I") == pytest.approx(5.0, rel=1e-6)
    assert optimality.bound(rows, "D", mean=False) == pytest.approx(1.0, rel=1e-6)
    assert optimality.bound(rows, "A", mean=False) == pytest.approx(4.0, rel=1e-6)


def test_the_bound_of_a_quadratic_in_one_factor() -> None:
    """A third of the runs at each of -1, 0, 1 has the largest determinant, 4/27; the least trace is 8 (textbook)."""
    steps = np.linspace(-1.0, 1.0, 21)
    rows = np.column_stack([np.ones(21), steps, steps**2])
    assert optimality.bound(rows, "D") == pytest.approx((4.0 / 27.0) ** (1.0 / 3.0), rel=1e-6)
    assert optimality.bound(rows, "A") == pytest.approx(8.0, rel=1e-6)


def test_the_bound_of_prediction_by_a_search_over_weights() -> None:
    """Weights w at both ends and 1 - 2 w in the middle, gone through on a fine grid."""
    rows = np.array([[1.0, -1.0, 1.0], [1.0, 0.0, 0.0], [1.0, 1.0, 1.0]])
    aim = optimality.moments("I", rows)
    best = min(
        float(np.trace(np.linalg.inv(rows.T @ (rows * np.array([[w], [1 - 2 * w], [w]]))) @ aim))
        for w in np.linspace(0.05, 0.45, 4001)
    )
    assert optimality.bound(rows, "I") == pytest.approx(best, rel=1e-6)


def test_moments_are_means_over_the_region() -> None:
    """None for D, the unit matrix for A, products averaged for I; without the constant less the mean."""
    rows = np.array([[1.0, 2.0], [1.0, 4.0]])
    assert optimality.moments("D", rows) is None
    assert np.array_equal(optimality.moments("A", rows), np.eye(2))
    assert np.array_equal(optimality.moments("I", rows), [[1.0, 3.0], [3.0, 10.0]])
    assert np.array_equal(optimality.moments("I", rows, mean=False), [[1.0]])


def test_no_design_beats_the_bound() -> None:
    """Random designs of a quadratic in two factors, by each criterion."""
    grid = np.array(list(product([-1.0, 0.0, 1.0], repeat=2)))
    rows = np.column_stack([np.ones(9), grid, grid[:, 0] * grid[:, 1], grid**2])
    draw = np.random.default_rng(5)
    limits = {criterion: optimality.bound(rows, criterion) for criterion in "DAI"}
    best = dict.fromkeys("DAI", 0.0)
    for _ in range(300):
        chosen = rows[draw.integers(0, 9, size=12)]
        information = chosen.T @ chosen
        if np.linalg.matrix_rank(information) < 6:
            continue
        values = {"D": np.linalg.slogdet(information)[1]}
        for criterion in "AI":
            values[criterion] = -np.trace(np.linalg.inv(information) @ optimality.moments(criterion, rows))
        for criterion, value in values.items():
            told = optimality.of_bound(value, criterion, limits[criterion], 12, 6)
            best[criterion] = max(best[criterion], told)
    assert all(80.0 < value <= 100.0 for value in best.values()), best
    assert optimality.of_bound(-np.inf, "D", 1.0, 12, 6) == 0.0


def test_runs_that_cannot_tell_every_parameter() -> None:
    """Refused, with what is expected."""
    with pytest.raises(ModelError) as told:
        optimality.of_runs([[1.0, 1.0], [1.0, 1.0]], [[1.0, -1.0]])
    assert str(told.value) == (
        "The optimality of the runs cannot be told.\n"
        "  model: runs that cannot tell every parameter; expected a column that is no sum of others."
    )
