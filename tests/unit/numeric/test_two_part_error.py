"""Means under a fixed and a growing error against another implementation and by simulation."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import special

from toolkit.numeric import two_part_error

A, B, BUILD = np.tile([-1.0, -1.0, 1.0, 1.0], 3), np.tile([-1.0, 1.0, -1.0, 1.0], 3), np.repeat([0, 1, 2], 4)
X = np.column_stack([np.ones(12), A, B, A * B, (BUILD == 0) * 1.0 - (BUILD == 2), (BUILD == 1) * 1.0 - (BUILD == 2)])


def drawn(seed, level=5.0, gauge=1.0, cv=0.15, effect=0.0):
    """Twelve run values, INVENTED: a 2x2 in three builds; the whole effect of A in ln."""
    draw = np.random.default_rng(seed)
    mean = level * np.exp(effect * A / 2.0) * np.array([1.2, 1.0, 0.8])[BUILD]
    return mean * (1.0 + cv * draw.standard_normal(12)) + gauge * draw.standard_normal(12)


class TwoPart(sm.families.varfuncs.VarianceFunction):
    """The variance of the two parts, for statsmodels."""

    def __init__(self, gauge, square):
        """Keep both parts."""
        self.gauge, self.square = gauge, square

    def __call__(self, mu):
        """The variance at a mean."""
        return self.gauge**2 + self.square * mu**2

    def deriv(self, mu):
        """Its slope."""
        return 2.0 * self.square * mu


def test_coefficients_and_errors_are_those_of_a_generalised_linear_model():
    for seed in range(4):
        y = drawn(seed, level=8.0, effect=-0.5)
        found = two_part_error.fit(X, y, 1.0)
        # Newton's weights by hand until nothing moves: statsmodels' weights come from the same variance function.
        variance = TwoPart(1.0, found.cv**2)
        beta = found.beta.copy()
        for _ in range(3):
            mu = np.exp(X @ beta)
            step = sm.WLS((y - mu) / mu, X, weights=mu**2 / variance(mu)).fit()
            assert np.abs(step.params).max() < 1e-6
        assert np.sqrt(np.diag(found.covariance)) == pytest.approx(
            np.sqrt(np.diag(step.normalized_cov_params)), rel=1e-6
        )
        if found.cv > 0.0:
            assert float(((y - found.means) ** 2 / variance(found.means)).sum()) == pytest.approx(6.0, rel=1e-6)


def test_without_the_gauge_it_is_a_constant_coefficient_of_variation():
    y = np.abs(drawn(3, level=50.0, gauge=1e-9, cv=0.1, effect=-0.4))
    found = two_part_error.fit(X, y, 1e-6)
    outside = sm.GLM(y, X, family=sm.families.Gamma(link=sm.families.links.Log())).fit(scale="X2", tol=1e-12)
    assert found.beta == pytest.approx(outside.params, abs=1e-6)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(outside.bse, rel=1e-5)


def test_the_unit_changes_nothing_but_the_level():
    y = drawn(5)
    one, other = two_part_error.fit(X, y, 1.0), two_part_error.fit(X, 1000.0 * y, 1000.0)
    assert one.beta[1:] == pytest.approx(other.beta[1:], abs=1e-7)
    assert other.beta[0] - one.beta[0] == pytest.approx(np.log(1000.0), abs=1e-7)
    assert one.cv == pytest.approx(other.cv, abs=1e-7)


def test_no_more_false_alarms_than_told_also_with_values_below_nought():
    # 150 campaigns each; bound: 3.24 binomial standard errors above 5 %. Near the gauge it is on the safe side.
    most = 0.05 + 3.24 * np.sqrt(0.05 * 0.95 / 150)
    for level in (3.0, 10.0):
        alarms, signs = [], 0
        for seed in range(150):
            y = drawn(seed, level=level, effect=-0.7 if seed % 2 else 0.0)
            signs += bool((y <= 0.0).any())
            found = two_part_error.fit(X, y, 1.0)
            estimate, error = 2.0 * found.beta[1], 2.0 * np.sqrt(found.covariance[1, 1])
            truth = -0.7 if seed % 2 else 0.0
            alarms.append(abs(estimate - truth) > special.stdtrit(6, 0.975) * error)
        assert np.mean(alarms) <= most
        assert signs > 0 or level == 10.0


def test_a_mean_that_is_nought_has_no_ratio_and_what_is_wrong_is_refused():
    y = drawn(1, level=20.0)
    y[A > 0] = np.array([-0.5, 0.1, 0.3, -0.2, -0.1, 0.05])
    assert two_part_error.fit(X, y, 1.0) is None
    with pytest.raises(ValueError, match="gauge_sd = 0.0: expected a number above 0."):
        two_part_error.fit(X, y, 0.0)
    with pytest.raises(ValueError, match="no degrees of freedom are left for the error."):
        two_part_error.fit(np.eye(3), [1.0, 2.0, 3.0], 1.0)
    with pytest.raises(ValueError, match="columns are aliased: take out those that say nothing of their own."):
        two_part_error.fit(np.ones((4, 2)), [1.0, 2.0, 3.0, 4.0], 1.0)
