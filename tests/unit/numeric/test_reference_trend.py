"""Slope, steps and adjustment of reference runs, against R's lm, scipy and simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from toolkit.errors import ModelError
from toolkit.numeric import reference_trend as trend

# Anscombe, The American Statistician 27 (1973) 17-21, first set; R: lm(y1 ~ x1).
X = [10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5]
Y = [8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68]


def test_a_slope_is_that_of_r():
    found = trend.slope(X, Y)
    assert found.estimate == pytest.approx(0.5000909, abs=5e-8)
    assert found.std_error == pytest.approx(0.1179055, abs=5e-8)
    assert found.p_value == pytest.approx(0.00217, abs=5e-6)
    assert (found.df, found.low) == (9, pytest.approx(0.5000909 - 2.262157 * 0.1179055, abs=1e-6))


def test_a_slope_within_builds_leaves_their_levels_out():
    builds = ["a"] * 4 + ["b"] * 4
    base = np.array([0.0, 1, 2, 3, 4, 5, 6, 7])
    values = 0.25 * base + np.array([0.0] * 4 + [100.0] * 4)
    found = trend.slope(base, values, builds)
    assert found.estimate == pytest.approx(0.25, abs=1e-12) and found.df == 5
    renamed = ["b" if item == "a" else "a" for item in builds]
    assert trend.slope(base, values + 3, renamed).estimate == pytest.approx(0.25)
    assert trend.slope([1, 2], [3.0, 4.0], ["a", "b"]) is None
    alone = trend.slope([1, 2], [3.0, 4.0])
    assert (alone.estimate, alone.std_error, alone.df) == (1.0, None, 0)


def test_a_step_between_two_builds_is_students_test():
    one, other = [4.1, 4.4, 3.9], [5.0, 4.8, 5.3, 5.2]
    ((before, after, found),) = trend.steps([*one, *other], ["B1"] * 3 + ["B2"] * 4)
    test = stats.ttest_ind(other, one)
    assert (before, after, found.df) == ("B1", "B2", 5)
    assert found.p_value == pytest.approx(test.pvalue, rel=1e-9)
    edges = test.confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((edges.low, edges.high), rel=1e-9)
    assert trend.steps([1.0, 2.0], ["B1", "B2"])[0][2].std_error is None
    assert trend.steps([1.0, 2.0], ["B1", "B1"]) == []


def test_a_bracket_of_two_adds_half_of_a_runs_variance():
    found = trend.adjustment([2, 3], [1, 4], [10.0, 12.0], target=10.0)
    assert found.amount.tolist() == [1.0, 1.0]
    assert found.added.tolist() == [0.5, 0.5]
    # Both runs share both references: they go together by half.
    assert found.covariance.tolist() == [[1.5, 0.5], [0.5, 1.5]]
    # One reference alone adds a whole run.
    assert trend.adjustment([9], [1, 4], [10.0, 12.0], target=10.0).added.tolist() == [1.0]


def test_references_of_the_same_build_come_first():
    found = trend.adjustment(
        [3, 5, 9], [1, 4, 8], [10.0, 12.0, 20.0], target=0.0, groups=["a", "b", "c"], reference_groups=["a", "a", "b"]
    )
    assert found.amount.tolist() == [11.0, 20.0, 20.0]


def test_the_variance_it_adds_is_that_of_drawn_runs():
    rng = np.random.default_rng(8)
    order, when = [1, 2, 4, 5, 7], [0, 3, 6, 8]
    runs, references = rng.normal(0, 1, (20_000, 5)), rng.normal(0, 1, (20_000, 4))
    plan = trend.adjustment(order, when, references[0])
    adjusted = runs - references @ plan.weights.T
    # 4 standard errors of a variance of 20,000 draws.
    assert np.cov(adjusted.T) == pytest.approx(plan.covariance, abs=4 * 2.2 * math.sqrt(2 / 20_000))
    assert trend.adjustment(order, when, references[0] + 7).amount == pytest.approx(plan.amount, abs=1e-12)


def test_what_cannot_be_is_told():
    with pytest.raises(ModelError) as caught:
        trend.slope([1.0, math.nan], [1.0, 2.0])
    assert str(caught.value) == (
        "The reference runs cannot be judged.\n  order: a missing value was given; expected a finite number."
    )
    with pytest.raises(ModelError, match="reference runs: none; expected one at least"):
        trend.adjustment([1.0], [], [])
    with pytest.raises(ModelError, match="lists of 1 and 2; expected one item a run in each"):
        trend.steps([1.0, 2.0], ["B1"])
