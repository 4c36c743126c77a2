"""The band of ordered residuals against a closed form and against campaigns drawn anew."""

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric.envelope import residual_envelope

ONES = np.ones((2, 1))


def test_of_two_runs_each_residual_is_the_error_sd_over_root_two():
    # Residuals +d and -d: sum of squares 2 d^2 on 1 df, so each is 1 / sqrt(2) error SDs whatever was drawn.
    found = residual_envelope(ONES, seed=1, drawn=200)
    assert found.df == 1
    for part in (found.low, found.middle, found.high):
        assert part == pytest.approx([-np.sqrt(0.5), np.sqrt(0.5)], abs=1e-12)


@pytest.mark.parametrize("level", [0.8, 0.95])
def test_campaigns_drawn_anew_lie_inside_as_often_as_promised(level):
    # A 2x2 in three builds as blocks; residuals by statsmodels.
    import statsmodels.api as sm

    build = np.repeat(np.eye(3), 4, axis=0)
    pin, oil = np.tile([-1, -1, 1, 1], 3), np.tile([-1, 1, -1, 1], 3)
    columns = np.column_stack([build, pin, oil, pin * oil])
    found = residual_envelope(columns, seed=3, conf_level=level)
    assert found.df == 6
    draw = np.random.default_rng(99)
    inside = np.zeros(12)
    for _ in range(1500):
        fitted = sm.OLS(draw.normal(5.0, 2.0, 12), columns).fit()
        ordered = np.sort(fitted.resid) / np.sqrt(fitted.mse_resid)
        inside += (found.low <= ordered) & (ordered <= found.high)
    # 3.9 binomial standard errors (12 places), and as much again for the band's own drawing at 4000.
    spread = np.sqrt(level * (1 - level))
    assert np.abs(inside / 1500 - level).max() < 3.9 * spread * (1 / np.sqrt(1500) + 1 / np.sqrt(4000))


def test_the_coding_of_the_columns_does_not_matter_and_the_seed_does():
    one = np.column_stack([np.ones(6), [0, 0, 0, 1, 1, 1]])
    other = np.column_stack([np.ones(6), [-1, -1, -1, 1, 1, 1], [2, 2, 2, 2, 2, 2]])
    first, second = residual_envelope(one, seed=5), residual_envelope(other, seed=5)
    assert first.high == pytest.approx(second.high, abs=1e-12) and second.df == 4
    assert not np.allclose(first.high, residual_envelope(one, seed=6).high)


def test_nothing_left_and_arguments_out_of_range_are_named():
    with pytest.raises(ModelError, match="columns: 2 of 2 degrees of freedom taken out; expected one or more left"):
        residual_envelope(np.eye(2), seed=1)
    with pytest.raises(ModelError) as told:
        residual_envelope(ONES, seed=1, conf_level=1.0, drawn=10)
    assert "conf_level: 1; expected a number between 0 and 1" in str(told.value)
    assert "drawn: 10; expected 100 or more" in str(told.value)
