"""The expected largest of normal values against tables and closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from toolkit.numeric.order_statistics import expected_largest


def test_tables_and_closed_forms():
    assert expected_largest(1) == pytest.approx(0.0, abs=1e-12)
    assert expected_largest(2) == pytest.approx(1.0 / np.sqrt(np.pi), abs=1e-12)
    assert expected_largest(3) == pytest.approx(1.5 / np.sqrt(np.pi), abs=1e-12)
    # Harter 1961, five decimals (from memory).
    for count, printed in ((4, 1.02938), (5, 1.16296), (10, 1.53875), (20, 1.86748), (100, 2.50759)):
        assert round(expected_largest(count), 5) == printed


def test_a_thousand_by_drawing_and_what_is_out_of_range():
    drawn = np.random.default_rng(1).standard_normal((2000, 1000)).max(axis=1)
    assert expected_largest(1000) == pytest.approx(drawn.mean(), abs=4 * drawn.std() / np.sqrt(2000))
    with pytest.raises(ValueError, match="count = 0: expected a whole number from 1 to 10000."):
        expected_largest(0)
