"""The drift of a gauge by its master: R's line through Anscombe's first set, and simulation."""

from __future__ import annotations

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric import master_drift

# F. J. Anscombe, The American Statistician 27 (1973) 17-21, first set; R's lm gives slope 0.5000909 with standard error
# 0.1179055 and p = 0.00217 (datasets::anscombe, printed in its help).
X = [10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5]
Y = [8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68]


def test_the_line_is_that_of_r():
    found = master_drift.drift(X, range(11), Y, 3.0)
    assert found.slope == pytest.approx(0.5000909, abs=5e-8)
    assert found.p_value == pytest.approx(0.00217, abs=5e-6)
    # t at 9 df, 0.975: 2.262157 (any table).
    assert found.slope_high - found.slope == pytest.approx(2.262157 * 0.1179055, rel=1e-5)
    assert found.off == pytest.approx(np.array(Y) - 3.0)
    assert found.reading_sd is None and np.isnan(found.off_sd).all()


def test_readings_of_a_session_give_its_doubt():
    # Two sessions of 1, 3 and 2, 2, 5 against a value of 1: off 1 and 2, pooled variance (2 + 6) / 3.
    found = master_drift.drift([0, 0, 7, 7, 7], [0, 0, 1, 1, 1], [1.0, 3.0, 2.0, 2.0, 5.0], 1.0)
    assert found.off.tolist() == [1.0, 2.0]
    assert found.reading_sd == pytest.approx(np.sqrt(8 / 3)) and found.reading_df == 3
    assert found.session_covariance == pytest.approx(np.diag([8 / 6, 8 / 9]))
    assert found.slope is None and found.line.tolist() == [1.5, 1.5]


def test_the_line_and_its_covariance_are_as_simulated():
    day, draw = np.arange(12.0) * 6.0, np.random.default_rng(11)
    lines, told, covers = [], [], []
    for _ in range(400):
        made = master_drift.drift(day, range(12), 0.02 * day + draw.normal(0.0, 0.5, 12), 0.0)
        lines.append(made.line)
        told.append(np.diag(made.line_covariance))
        covers.append(made.slope_low < 0.02 < made.slope_high)
    # 400 draws: a variance is known to a standard error of 7 %.
    assert np.var(lines, axis=0, ddof=1) == pytest.approx(np.mean(told, axis=0), rel=0.28)
    assert 0.95 - 3.24 * np.sqrt(0.95 * 0.05 / 400) < np.mean(covers) <= 1.0


def test_missing_figures_are_refused():
    with pytest.raises(ModelError) as caught:
        master_drift.drift([], [], [], 0.0)
    assert str(caught.value) == (
        "The drift of the gauge cannot be told.\n  readings of the master: none; expected one at least."
    )
