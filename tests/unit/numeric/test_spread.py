"""Contrasts without a common scatter, against published and other implementations' numbers."""

from __future__ import annotations

import pytest
from scipy import stats

from toolkit.numeric import spread

# Student's sleep data (W. S. Gosset, Biometrika 6 (1908) 20), extra hours of sleep with two drugs.
ONE = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
TWO = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]


def test_two_groups_are_those_of_the_printed_t_test():
    # R's t.test(extra ~ group, sleep) prints t = -1.8608, df = 17.776, p-value = 0.07939 (from memory, as printed).
    found = spread.separate([1.0, -1.0], [ONE, TWO])
    assert round(found.estimate / found.std_error, 4) == -1.8608
    assert round(found.df, 3) == 17.776
    t = found.estimate / found.std_error
    assert round(2.0 * float(stats.t.sf(abs(t), found.df)), 5) == 0.07939


def test_a_group_of_weight_nought_takes_no_part_and_weights_scale():
    own = stats.ttest_ind([1.0, 2.0, 4.0], [3.0, 9.0], equal_var=False)
    found = spread.separate([0.5, 0.0, -0.5], [[1.0, 2.0, 4.0], [7.0], [3.0, 9.0]])
    assert found.estimate / found.std_error == pytest.approx(own.statistic, rel=1e-12)
    assert found.df == pytest.approx(own.df, rel=1e-12)


def test_what_cannot_be_judged_is_refused():
    with pytest.raises(ValueError, match="every group that takes part needs two values at least."):
        spread.separate([1.0, -1.0], [[1.0, 2.0], [3.0]])
    with pytest.raises(ValueError, match="the values of every group agree: there is no scatter to judge by."):
        spread.separate([1.0, -1.0], [[1.0, 1.0], [3.0, 3.0]])
