"""What must hold of any plan's promises: more runs, larger effects and larger alpha never promise less."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolkit.numeric import noncentral, promise

MANY = settings(max_examples=40, deadline=None, derandomize=True)
SCATTER = st.floats(0.02, 1.0)
CHANGE = st.floats(0.01, 1.5)
ALPHA = st.sampled_from([0.01, 0.05, 0.1])


@MANY
@given(SCATTER, CHANGE, ALPHA)
def test_power_rises_with_the_runs(scatter, change, alpha):
    runs = np.arange(2, 31)
    errors = scatter * np.sqrt(2.0 / runs)
    power = noncentral.power_t(change, errors, 2.0 * (runs - 1), alpha=alpha)
    assert (np.diff(power) >= -1e-9).all() and (power >= 0.0).all() and (power <= 1.0).all()


@MANY
@given(SCATTER, st.integers(1, 40), ALPHA)
def test_power_rises_with_the_change_from_alpha_on_and_falls_alike_to_both_sides(scatter, df, alpha):
    changes = np.linspace(0.0, 2.0, 41)
    power = noncentral.power_t(changes, scatter, df, alpha=alpha)
    assert power[0] == pytest.approx(alpha, rel=1e-6)
    assert (np.diff(power) >= -1e-9).all()
    assert noncentral.power_t(-changes, scatter, df, alpha=alpha) == pytest.approx(power, abs=1e-12)


@MANY
@given(SCATTER, CHANGE, st.integers(1, 40))
def test_power_rises_with_alpha(scatter, change, df):
    power = [float(noncentral.power_t(change, scatter, df, alpha=alpha)) for alpha in (0.01, 0.02, 0.05, 0.1, 0.2)]
    assert power == sorted(power)


@MANY
@given(SCATTER, st.integers(1, 40), st.floats(0.5, 0.95))
def test_what_is_detectable_is_detected_with_the_power_asked(error, df, asked):
    found = float(noncentral.detectable(error, df, power=asked))
    assert float(noncentral.power_t(found, error, df)) == pytest.approx(asked, abs=1e-6)


@settings(max_examples=10, deadline=None, derandomize=True)
@given(SCATTER, CHANGE, st.integers(2, 12), st.floats(0.05, 0.8))
def test_the_six_verdicts_share_all_campaigns_whatever_the_unit(scatter, change, pilot_df, margin):
    runs = np.arange(2, 13)
    parts, pilot = [(2.0 / runs, 2.0 * (runs - 1))], [(scatter**2, pilot_df)]
    shares = promise.outcome_shares(change, margin, parts, pilot)
    assert shares.sum(axis=-1) == pytest.approx(np.ones(len(runs)), abs=1e-9)
    assert (shares >= 0.0).all()
    # In another unit nothing changes.
    again = promise.outcome_shares(25.4 * change, 25.4 * margin, parts, [((25.4 * scatter) ** 2, pilot_df)])
    assert again == pytest.approx(shares, abs=1e-9)
    # Where a difference is shown the verdict is another one than 'not known yet'; more runs show it more often.
    assured = promise.assurance(change, parts, pilot)
    assert (assured <= 1.0 - shares[:, promise.OUTCOMES.index("not known yet")] + 1e-9).all()
    assert (np.diff(assured) >= -2e-3).all()
    assert all(math.isfinite(value) for value in assured)
