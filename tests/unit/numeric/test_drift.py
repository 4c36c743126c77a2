"""Shapes of drift and how comparisons follow them, against printed polynomials and numpy's corrcoef."""

from __future__ import annotations

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric import drift

# Orthogonal polynomials of first and second degree (Fisher and Yates, Statistical Tables, XXIII; from memory).
PRINTED = {
    4: ([-3, -1, 1, 3], [1, -1, -1, 1]),
    5: ([-2, -1, 0, 1, 2], [2, -1, -2, -1, 2]),
    8: ([-7, -5, -3, -1, 1, 3, 5, 7], [7, 1, -3, -5, -5, -3, 1, 7]),
}


@pytest.mark.parametrize("places", PRINTED)
def test_shapes_are_the_printed_orthogonal_polynomials(places):
    found = drift.trends(np.arange(1, places + 1), np.zeros(places, dtype=int))
    line, bend = (np.array(one) / np.linalg.norm(one) for one in PRINTED[places])
    np.testing.assert_allclose(found, [line, line, bend, bend], atol=1e-12)


def test_within_builds_every_build_has_the_same_slope_and_bend():
    found = drift.trends(np.arange(8), [0, 0, 0, 0, 1, 1, 1, 1])
    line, bend = (np.array([*one, *one]) / np.linalg.norm([*one, *one]) for one in PRINTED[4])
    np.testing.assert_allclose(found[1], line, atol=1e-12)
    np.testing.assert_allclose(found[3], bend, atol=1e-12)
    # A place that stays empty counts: the line goes on over it.
    gap = drift.trends([1, 2, 4], [0, 0, 0])[0]
    np.testing.assert_allclose(gap, np.array([-4, -1, 5]) / np.sqrt(42), atol=1e-12)
    # The bend has nothing of level and line, by hand: 2 - 3 + 1 = 0 and -8 + 3 + 5 = 0.
    bend = drift.trends([1, 2, 4], [0, 0, 0])[2]
    np.testing.assert_allclose(bend, np.array([2, -3, 1]) / np.sqrt(14), atol=1e-12)


def test_correlations_are_those_of_numpy():
    draw = np.random.default_rng(4)
    weights, builds = draw.normal(size=(9, 2)), np.repeat([0, 1, 2], 3)
    shapes = drift.trends(np.arange(9), builds)
    found = drift.correlations(weights, shapes, builds)
    where, inside = np.arange(9.0), np.tile([-1.0, 0.0, 1.0], 3)
    for at in range(2):
        own = weights[:, at]
        apart = own - np.repeat(own.reshape(3, 3).mean(axis=1), 3)
        assert found[0, at] == pytest.approx(np.corrcoef(own, where)[0, 1])
        assert found[1, at] == pytest.approx(np.corrcoef(apart, inside)[0, 1])
        assert found[2, at] == pytest.approx(np.corrcoef(own, (where - 4) ** 2)[0, 1])
        assert found[3, at] == pytest.approx(np.corrcoef(apart, inside**2)[0, 1])


def test_what_does_not_vary_has_no_correlation():
    # Builds against each other: nothing within builds; two places: no bend.
    shapes = drift.trends(np.arange(4), [0, 0, 1, 1])
    found = drift.correlations([[-1.0], [-1.0], [1.0], [1.0]], shapes, [0, 0, 1, 1])
    assert found[0, 0] == pytest.approx(2 / np.sqrt(5))
    assert np.isnan(found[1, 0]) and np.isnan(found[3, 0])
    assert np.isinf(drift.norms([[-1.0], [-1.0], [1.0], [1.0]], [0, 0, 1, 1])[1, 0])


def test_positions_that_fit_no_groups_are_refused():
    with pytest.raises(ModelError) as problem:
        drift.trends([1, 2, 3], [0, 0])
    assert str(problem.value) == (
        "The drift of an order cannot be told.\n  positions and groups: shapes (3,) and (2,) were given; expected one "
        "of each for each run."
    )
