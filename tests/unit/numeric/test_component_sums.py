"""Limits of sums of components, against chi-square and by how often they hold."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from toolkit.errors import ModelError
from toolkit.numeric import component_sums


def test_one_mean_square_has_the_limits_of_chi_square():
    low, high = component_sums.sum_limits([4.0], [12.0], [0.5])
    exact = [0.5 * 4.0 * 12 / stats.chi2.ppf(share, 12) for share in (0.975, 0.025)]
    assert (low, high) == pytest.approx(exact, rel=0.02)


@pytest.mark.parametrize(
    ("operator", "both"), [(0.0, 0.0), (0.3, 0.1), (2.0, 0.5)]
)  # fmt: skip
def test_what_a_gauge_adds_is_held_as_often_as_said(operator, both):
    # 10 parts, 3 operators, 3 readings of SD 1: mean squares of operators (2 df), of both (18 df), of readings (60 df).
    expected = np.array([30 * operator + 3 * both + 1, 3 * both + 1, 1.0])
    df, weights = np.array([2.0, 18.0, 60.0]), np.array([1 / 30, 1 / 3 - 1 / 30, 1 - 1 / 3])
    true = operator + both + 1.0
    assert weights @ expected == pytest.approx(true)
    rng, count = np.random.default_rng(6), 1500
    drawn = expected * rng.chisquare(df, (count, 3)) / df
    limits = np.array([component_sums.sum_limits(row, df, weights, draws=2000) for row in drawn])
    held = ((limits[:, 0] <= true) & (true <= limits[:, 1])).mean()
    # 3.24 standard errors of 1,500 studies, and 1 % for 2,000 draws and for an interval that is not exact.
    assert held > 0.95 - 3.24 * math.sqrt(0.95 * 0.05 / count) - 0.01
    assert held < 0.995


def test_another_unit_changes_only_the_unit_and_negative_sums_end_at_nought():
    one = component_sums.sum_limits([2.0, 1.0], [3.0, 20.0], [0.5, 0.5])
    other = component_sums.sum_limits([2e6, 1e6], [3.0, 20.0], [0.5, 0.5])
    assert other == pytest.approx((1e6 * one[0], 1e6 * one[1]), rel=1e-9)
    assert component_sums.sum_limits([0.1, 9.0], [5.0, 5.0], [1.0, -1.0])[0] == 0.0


def test_what_cannot_be_is_told():
    with pytest.raises(ModelError) as caught:
        component_sums.sum_limits([1.0, -1.0], [0.0], [1.0], draws=10)
    assert str(caught.value) == (
        "The limits of the sum cannot be worked out.\n"
        "  mean square: -1 was given; expected 0 or a number above 0.\n"
        "  df: 0 was given; expected a number above 0.\n"
        "  mean squares, df and weights: 2, 1 and 1; expected as many of each.\n"
        "  draws: 10; expected 1000 at least."
    )
