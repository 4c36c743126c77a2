"""F promises against noncentral F, against the t promise at one df, and against an independent simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from toolkit.numeric import noncentral, promise, term_promise


def test_known_scatter_is_cohens_power_of_an_f_test():
    # J. Cohen, Statistical Power Analysis (2nd ed. 1988): four groups of 45, f = 0.25; lambda = f^2 N = 11.25.
    found = term_promise.assurance_f(1.0, 3, (1 / 11.25, 176), [(1.0, math.inf)])
    assert found[0] == pytest.approx(float(noncentral.power_f(11.25, 3, 176)), abs=1e-12)
    assert found[0] == pytest.approx(stats.ncf.sf(stats.f.isf(0.05, 3, 176), 3, 176, 11.25), abs=1e-9)


def test_one_degree_of_freedom_is_the_t_promise():
    t = promise.assurance(0.3, [(np.array([0.5, 0.25]), np.array([3.0, 9.0]))], [(0.02, 3.0)])
    f = term_promise.assurance_f(0.3, 1, (np.array([0.5, 0.25]), np.array([3.0, 9.0])), [(0.02, 3.0)])
    assert f == pytest.approx(t, abs=2e-4)


def test_doubt_of_the_pilot_against_simulation():
    draw = np.random.default_rng(11)
    sims, nu, df1, df2, variance, delta = 200_000, 4, 2, 9, 0.5, 0.5
    square = 0.02 * nu / draw.chisquare(nu, sims)
    shown = draw.noncentral_chisquare(df1, delta**2 / (variance * square)) / df1 / (draw.chisquare(df2, sims) / df2)
    share = (shown > stats.f.isf(0.05, df1, df2)).mean()
    found = term_promise.assurance_f(delta, df1, (variance, df2), [(0.02, nu)])[0]
    assert abs(found - share) < 3.3 * math.sqrt(share * (1 - share) / sims)


def test_smallest_difference_has_the_power_asked():
    smallest = term_promise.detectable_f(0.1, 2, np.array([6.0, 20.0, 0.0]))
    assert noncentral.power_f((smallest[:2] / 0.1) ** 2, 2, np.array([6.0, 20.0])) == pytest.approx([0.8, 0.8])
    assert smallest[2] == math.inf
    assert term_promise.detectable_f(0.1, 1, 6.0) == pytest.approx(noncentral.detectable(0.1, 6.0))
