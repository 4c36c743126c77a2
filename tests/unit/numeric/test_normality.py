"""Straightness of normal plots: false alarms of the drawn p, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric.normality import shapiro_wilk, straightness

BLOCKS = np.column_stack([np.tile([0, 1, 0, 1], 3), np.tile([0, 0, 1, 1], 3), np.repeat(np.eye(3), 4, axis=0)])


def left_of(values):
    """Residuals of a 2x2 in three builds."""
    return values - BLOCKS @ np.linalg.pinv(BLOCKS) @ values


def test_a_normal_scatter_is_called_bent_in_five_of_a_hundred_campaigns():
    # 600 campaigns of 12 runs on 7 df; 3.24 binomial SE, and as much again for the 400 drawn to each.
    draw = np.random.default_rng(3)
    found = [straightness(BLOCKS, left_of(draw.normal(size=12)), seed=at, drawn=400).p_value for at in range(600)]
    assert abs(np.mean(np.array(found) < 0.05) - 0.05) < 3.24 * np.sqrt(0.05 * 0.95 / 600) + 0.005


def test_the_p_value_is_that_of_residuals_and_not_that_of_a_plain_sample():
    # Least squares by another route, 40,000 campaigns each; 3.24 binomial SE of the difference. A plain sample of
    # twelve is as crooked in a twentieth of all draws where residuals of this layout are in about a thirtieth.
    draw = np.random.default_rng(11)
    errors = draw.normal(size=(40_000, 12))
    plain, rest = shapiro_wilk(errors), shapiro_wilk(errors - errors @ BLOCKS @ np.linalg.pinv(BLOCKS))
    limit = np.quantile(plain, 0.05)
    own = left_of(errors[np.argmin(np.abs(rest - limit))])
    expected = np.mean(rest <= float(shapiro_wilk(own)))
    bound = 3.24 * np.sqrt(2.0 * expected * (1.0 - expected) / 40_000)
    assert abs(straightness(BLOCKS, own, seed=5, drawn=40_000).p_value - expected) < bound < 0.05 - expected


def test_a_run_far_out_bends_the_plot():
    values, one = np.random.default_rng(1).normal(size=12), np.ones((12, 1))
    plain = straightness(one, values - values.mean(), seed=1)
    values[4] += 30.0
    bent = straightness(one, values - values.mean(), seed=1)
    assert bent.w < plain.w and bent.p_value < 0.005 < plain.p_value
    # The same draws, hence the same answer; another unit says nothing.
    other = straightness(one, 1e3 * (values - values.mean()), seed=1)
    assert (other.w, other.p_value) == (pytest.approx(bent.w, rel=1e-12), bent.p_value)


def test_w_of_equal_steps_of_the_normal_scale_is_near_one():
    # A sample that is its own expected order statistics (Blom's, textbook) is as straight as can be.
    from scipy import special

    assert float(shapiro_wilk(special.ndtri((np.arange(1, 31) - 0.375) / 30.25))) > 0.99


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda: shapiro_wilk([1.0, 2.0]), "values: 2 in a sample; expected 3 to 5,000."),
        (lambda: shapiro_wilk([5.0] * 6), "values: all of a sample are alike; expected values that scatter."),
        (lambda: straightness(np.eye(4), [1.0, 2.0, 3.0, 4.0], seed=1),
         "columns: 4 of 4 degrees of freedom taken out; expected one or more left."),
        (lambda: straightness(BLOCKS, np.arange(12.0), seed=1, drawn=5), "drawn: 5; expected 100 or more."),
    ],
)  # fmt: skip
def test_what_cannot_be_told_says_why(call, told):
    with pytest.raises(ModelError) as stopped:
        call()
    assert str(stopped.value) == f"How straight the normal plot is cannot be told.\n  {told}"
