"""Sums of squares over values between two ends: every corner, values drawn inside, a bounded minimiser of scipy."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy import optimize

from toolkit.errors import ModelError
from toolkit.numeric import square_ends as ends
from toolkit.numeric.square_ends import square_ends


def left_over(columns, values):
    """The residual sum of squares by numpy's least squares."""
    fitted = columns @ np.linalg.lstsq(columns, values, rcond=None)[0]
    return float(((values - fitted) ** 2).sum())


def drawn(seed, builds=2, share=0.7, level=0.0):
    """A 2 x 2 in complete builds without the interaction, some of the values between two ends."""
    rng = np.random.default_rng(seed)
    pin, oil = np.tile([-1.0, -1.0, 1.0, 1.0], builds), np.tile([-1.0, 1.0], 2 * builds)
    columns = np.column_stack([np.eye(builds)[np.repeat(np.arange(builds), 4)], pin, oil])
    high = level + rng.normal(size=4 * builds)
    width = np.where(rng.random(4 * builds) < share, rng.uniform(0.1, 1.5, 4 * builds), 0.0)
    return columns, high - width, high


@pytest.mark.parametrize("seed", range(4))
def test_the_greatest_is_that_of_a_corner_and_the_least_that_of_a_bounded_minimiser(seed):
    columns, low, high = drawn(seed)
    found = square_ends(columns, low, high)
    corners = [left_over(columns, np.array(one)) for one in product(*zip(low, high, strict=True))]
    assert found.most == pytest.approx(max(corners), rel=1e-10)
    outside = optimize.lsq_linear(
        np.hstack([columns, -np.eye(len(low))]),
        np.zeros(len(low)),
        bounds=(np.append([-np.inf] * columns.shape[1], low), np.append([np.inf] * columns.shape[1], high + 1e-12)),
        tol=1e-13,
    )
    assert found.least == pytest.approx(2.0 * outside.cost, abs=1e-8)
    rng = np.random.default_rng(seed + 100)
    inside = [left_over(columns, rng.uniform(low, high)) for _ in range(200)]
    assert found.least - 1e-9 <= min(inside) and max(inside) <= found.most + 1e-9


def test_two_pairs_by_hand_and_a_level_far_from_nought():
    # Within pairs d^2 / 2: the first pair is 3 and 4 to 6 (1 to 3 apart), the second 1 to 2 and 2 to 5 (0 to 4 apart).
    columns = np.repeat(np.eye(2), 2, axis=0)
    for level in (0.0, 1e6):
        found = square_ends(columns, level + np.array([3.0, 4.0, 1.0, 2.0]), level + np.array([3.0, 6.0, 2.0, 5.0]))
        assert found.most == pytest.approx(3.0**2 / 2 + 4.0**2 / 2, rel=1e-9)
        assert found.least == pytest.approx(1.0**2 / 2, rel=1e-9)


def test_known_values_leave_what_least_squares_leaves():
    columns, _, high = drawn(5)
    found = square_ends(columns, high, high)
    assert (found.least, found.most) == pytest.approx((left_over(columns, high),) * 2, rel=1e-10)


def test_more_values_than_are_tried_are_bounded(monkeypatch):
    columns, low, high = drawn(6, share=1.0)
    reached = square_ends(columns, low, high)
    monkeypatch.setattr(ends, "_MOST_TRIED", 3)
    bounded = square_ends(columns, low, high)
    assert reached.most < bounded.most < 3.0 * reached.most
    assert bounded.least == reached.least
    # Sixteen in four pairs of pairs are tried four at a time.
    monkeypatch.setattr(ends, "_MOST_TRIED", 4)
    four = np.repeat(np.eye(4), 4, axis=0)
    low, high = np.zeros(16), np.tile([1.0, 2.0, 1.0, 2.0], 4)
    corner = max(left_over(np.ones((4, 1)), np.array(one)) for one in product(*zip(low[:4], high[:4], strict=True)))
    assert square_ends(four, low, high).most == pytest.approx(4 * corner)


def test_ends_that_bound_nothing_are_told():
    with pytest.raises(ModelError) as told:
        square_ends(np.ones((3, 1)), [1.0, 2.0, 3.0], [1.0, 1.5, 3.0])
    assert "value 2: from 2 to 1.5; expected the lower end first" in str(told.value)
    with pytest.raises(ModelError, match=r"^shapes \(3, 1\), \(3,\) and \(2,\): expected \(n, p\), \(n,\) and \(n,\)"):
        square_ends(np.ones((3, 1)), [1.0, 2.0, 3.0], [1.0, 2.0])
    with pytest.raises(ModelError, match="a number that is not finite; expected finite numbers"):
        square_ends(np.ones((2, 1)), [1.0, np.nan], [1.0, 2.0])
