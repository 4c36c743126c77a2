"""Second-order surfaces against grids, Fieller's theorem and simulation."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy import stats

from toolkit.errors import ModelError
from toolkit.numeric import second_order, surface_settings, surfaces


def made(factors: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """A composite with a made response."""
    points = surfaces.central_composite("rotatable", factors, centres=(2, 3)).points
    rng = np.random.default_rng(seed)
    true = rng.normal(size=second_order.columns(points).shape[1])
    return points, second_order.columns(points) @ true + 0.3 * rng.normal(size=len(points))


@pytest.mark.parametrize("factors", [2, 3])
@pytest.mark.parametrize("larger", [True, False])
def test_best_setting_is_that_of_a_fine_grid(factors: int, larger: bool) -> None:
    """Whatever the surface: nothing on a grid is better, and something near is almost as good."""
    grid = np.array(list(product(np.linspace(-1.0, 1.0, 41), repeat=factors)))
    for seed in range(8):
        surface = second_order.fit(*made(factors, seed))
        found = surface_settings.best(surface, [-1.0] * factors, [1.0] * factors, larger=larger)
        told = second_order.columns(grid) @ surface.beta
        sign = 1.0 if larger else -1.0
        best = (sign * told).max()
        assert best <= sign * found.predicted + 1e-9
        assert best >= sign * found.predicted - 0.05 * (told.max() - told.min())
        assert found.run_low < found.mean_low < found.predicted < found.mean_high < found.run_high
        assert np.all(np.abs(found.point) <= 1.0)
        assert set(found.at_limit) == set(np.flatnonzero(np.abs(found.point) == 1.0).tolist())


def test_intervals_are_those_of_ordinary_least_squares() -> None:
    """Mean and single run at the best setting as statsmodels has them."""
    import statsmodels.api as sm

    points, y = made(2, 3)
    found = surface_settings.best(second_order.fit(points, y), [-1, -1], [1, 1], larger=True, conf_level=0.9)
    theirs = sm.OLS(y, second_order.columns(points)).fit()
    frame = theirs.get_prediction(second_order.columns(found.point[None, :])).summary_frame(alpha=0.1)
    assert found.mean_low == pytest.approx(frame["mean_ci_lower"].iloc[0], rel=1e-9)
    assert found.mean_high == pytest.approx(frame["mean_ci_upper"].iloc[0], rel=1e-9)
    assert found.run_low == pytest.approx(frame["obs_ci_lower"].iloc[0], rel=1e-9)
    assert found.run_high == pytest.approx(frame["obs_ci_upper"].iloc[0], rel=1e-9)


def test_region_of_one_factor_is_fiellers() -> None:
    """For one factor the region is Fieller's interval for -b1 / (2 b11), here by its quadratic equation."""
    rng = np.random.default_rng(5)
    x = np.repeat(np.linspace(-1.0, 1.0, 5), 3)
    y = 2.0 + 0.6 * x - 1.5 * x**2 + 0.15 * rng.normal(size=15)
    surface = second_order.fit(x[:, None], y)
    found = surface_settings.region(surface, [-1.0], [1.0], seed=1)
    _, b1, b2 = surface.beta
    cov = surface.cov * surface.residual_ss / surface.df
    f = stats.f.ppf(0.95, 1, surface.df)
    # (b1 + 2 b2 x)^2 <= f (c11 + 4 x c12 + 4 x^2 c22)
    roots = np.roots([4 * b2**2 - 4 * f * cov[2, 2], 4 * b1 * b2 - 4 * f * cov[1, 2], b1**2 - f * cov[1, 1]])
    assert sorted([found.low[0], found.high[0]]) == pytest.approx(sorted(roots.tolist()), abs=2e-4)
    assert found.at_edge == ()
    assert found.share == pytest.approx(abs(roots[0] - roots[1]) / 2.0, abs=2e-4)


def test_region_holds_the_true_point_as_often_as_it_says() -> None:
    """95 % of 800 campaigns, within 3.24 binomial standard errors."""
    points = surfaces.central_composite("rotatable", 2, centres=(0, 5)).points
    true = np.array([10.0, 0.4, -0.3, -1.0, -0.6, 0.5])
    matrix = np.array([[-1.0, 0.25], [0.25, -0.6]])
    at = -0.5 * np.linalg.solve(matrix, true[1:3])
    rng = np.random.default_rng(11)
    noise = rng.normal(size=(800, len(points)))
    inside = sum(
        bool(surface_settings.in_region(second_order.fit(points, second_order.columns(points) @ true + one), at)[0])
        for one in noise
    )
    assert abs(inside / 800 - 0.95) < 3.24 * np.sqrt(0.95 * 0.05 / 800)


def test_region_that_reaches_a_limit_says_so() -> None:
    """A weak surface: the region goes on beyond the limits of some factor."""
    rng = np.random.default_rng(2)
    points = surfaces.central_composite("face-centred", 4, centres=(0, 4)).points
    y = points[:, 0] + 0.2 * rng.normal(size=len(points))
    found = surface_settings.region(second_order.fit(points, y), [-1] * 4, [1] * 4, seed=3)
    if found.low is None:
        assert found.share == 0.0
    else:
        assert found.at_edge


def test_nature_by_its_signs() -> None:
    """A made maximum, minimum and saddle are told as such, at the point they were made at; a plane has none."""
    points = surfaces.central_composite("rotatable", 2, centres=(0, 3)).points
    for diagonal, nature in (([-2.0, -1.0], "maximum"), ([1.0, 3.0], "minimum"), ([1.0, -2.0], "saddle point")):
        y = 5.0 + (points - [0.3, -0.2]) ** 2 @ np.array(diagonal)
        found = second_order.stationary(second_order.fit(points, y))
        assert found.nature == nature
        assert found.point == pytest.approx([0.3, -0.2])
        assert found.predicted == pytest.approx(5.0)
        assert found.eigenvalues == pytest.approx(sorted(diagonal, reverse=True))
    from dataclasses import replace

    surface = second_order.fit(points, y)
    flat = replace(surface, beta=np.concatenate([surface.beta[:3], np.zeros(3)]))
    assert second_order.stationary(flat) is None


def test_blocks_are_taken_out_and_repeats_count_within_them() -> None:
    """A shift of a whole block changes no coefficient of the surface but its mean."""
    laid = surfaces.central_composite("orthogonal blocking", 2, centres=(3, 3))
    rng = np.random.default_rng(8)
    y = rng.normal(size=len(laid.points))
    one = second_order.fit(laid.points, y, blocks=laid.blocks)
    other = second_order.fit(laid.points, y + 40.0 * laid.blocks, blocks=laid.blocks)
    assert other.beta[1:6] == pytest.approx(one.beta[1:6])
    assert other.residual_ss == pytest.approx(one.residual_ss)
    assert (one.df, one.lack_of_fit.pure_df, one.lack_of_fit.df) == (7, 4, 3)
    assert second_order.fit(laid.points, y).lack_of_fit.pure_df == 5
    # The surface is that of the mean of the blocks: their columns count nothing in it.
    rows = second_order.padded(one, second_order.columns(laid.points[:2]))
    assert rows.shape == (2, 7)
    assert not rows[:, 6].any()


def test_runs_that_cannot_tell_the_surface() -> None:
    """Corners alone: the squares are one."""
    corners = np.array(list(product((-1.0, 1.0), repeat=3)))
    with pytest.raises(ModelError) as told:
        second_order.fit(corners, np.arange(8.0))
    assert str(told.value) == (
        "The surface cannot be fitted.\n  points: 7 of 10 coefficients can be told from these 8 runs; expected every "
        "square and every product; add axial or edge points, or leave factors out."
    )
    points, y = made(2, 1)
    with pytest.raises(ModelError) as told:
        surface_settings.best(second_order.fit(points, y), [1, -1], [0, 1], larger=True)
    assert str(told.value) == (
        "The limits cannot be used.\n  limits: a lower limit at or above the upper one; expected lower below upper."
    )


@pytest.mark.parametrize("factors", [2, 3])
def test_errors_of_eigenvalues_are_those_of_squares_along_the_axes(factors: int) -> None:
    """The surface fitted again in coordinates along its axes: its squares are the eigenvalues, with their errors."""
    points, y = made(factors, 4)
    surface = second_order.fit(points, y)
    found = second_order.stationary(surface)
    turned = second_order.fit(points @ found.axes, y)
    squares = slice(1 + factors, 1 + 2 * factors)
    assert turned.beta[squares] == pytest.approx(found.eigenvalues)
    assert turned.std_error[squares] == pytest.approx(found.eigenvalue_errors)
