"""Exact joint laws of several t values: the studentised range, and comparisons with one baseline."""

import numpy as np
import pytest
from scipy import stats

from toolkit.errors import ModelError
from toolkit.numeric import joint_t


@pytest.mark.parametrize("groups", [2, 3, 6, 10])
@pytest.mark.parametrize("df", [1, 1.5, 2, 7.3, 50])
def test_the_range_is_that_of_scipy(groups, df):
    # scipy's studentized_range is itself checked against published tables.
    for limit in (0.5, 2.0, 4.0):
        expected = stats.studentized_range.sf(limit * np.sqrt(2), groups, df)
        # Between 1 and 2 df scipy's own rule is good to about 1e-7.
        assert joint_t.range_beyond(limit, groups, df) == pytest.approx(expected, abs=1e-9 if df != 1.5 else 1e-6)


# Upper 5 % points of the studentised range (3 means: 10 df 3.88, 20 df 3.58; 4 means: 10 df 4.33; 5 means: 6 df 5.30):
# E. S. Pearson and H. O. Hartley, Biometrika Tables for Statisticians, from memory.
@pytest.mark.parametrize("groups, df, printed", [(3, 10, 3.88), (3, 20, 3.58), (4, 10, 4.33), (5, 6, 5.30)])
def test_the_range_meets_its_printed_table(groups, df, printed):
    wide, narrow = (joint_t.range_beyond((printed + apart) / np.sqrt(2), groups, df) for apart in (-0.005, 0.005))
    assert narrow < 0.05 < wide


@pytest.mark.parametrize("df", [1, 1.2, 3, 12, 50])
def test_two_means_and_one_comparison_are_t_down_to_the_smallest_p(df):
    for limit in (0.1, 2.5, 25.0):
        alone = 2 * stats.t.sf(limit, df)
        assert joint_t.range_beyond(limit, 2, df) == pytest.approx(alone, rel=1e-8)
        assert joint_t.product_beyond(limit, [0.7], df) == pytest.approx(alone, rel=1e-8)
    assert joint_t.product_beyond(-1.0, [0.7], df, sides=1) == pytest.approx(stats.t.sf(-1.0, df), rel=1e-9)


@pytest.mark.parametrize("sides, lowest", [(2, -2.0), (1, -np.inf)])
def test_unequal_comparisons_with_one_baseline_are_scipys_multivariate_t(sides, lowest):
    runs = np.array([3.0, 5.0, 8.0])
    loadings = np.sqrt(runs / (runs + 4.0)) * [1, 1, -1]
    shape = np.outer(loadings, loadings)
    np.fill_diagonal(shape, 1.0)
    inside = stats.multivariate_t.cdf(
        [2.0] * 3, shape=shape, df=9, lower_limit=[lowest] * 3, maxpts=200_000, random_state=3
    )
    assert joint_t.product_beyond(2.0, loadings, 9, sides=sides) == pytest.approx(1 - inside, abs=2e-5)


def test_loadings_are_found_and_nothing_else_is_taken_for_them():
    loadings = np.array([0.6, -0.3, 0.8, 0.5])
    given = np.outer(loadings, loadings)
    np.fill_diagonal(given, 1.0)
    found = joint_t.loadings_of(given)
    assert found == pytest.approx(loadings, rel=1e-12)
    off = given.copy()
    off[2, 3] = off[3, 2] = 0.41
    assert joint_t.loadings_of(off) is None
    assert joint_t.loadings_of(np.eye(3)) is None
    assert joint_t.loadings_of(given[:2, :2]) is None
    assert joint_t.loadings_of([[1, 0.9, 0.9], [0.9, 1, 0.1], [0.9, 0.1, 1]]) is None


def test_what_is_out_of_range_is_told_at_once():
    with pytest.raises(ModelError) as refused:
        joint_t.range_beyond(-1.0, 1, 0.5)
    assert str(refused.value) == (
        "The law of the range cannot be worked out.\n"
        "  limit: -1 was given; expected a number above 0.\n"
        "  df: 0.5 was given; expected 1 or more.\n"
        "  means: 1 were given; expected two or more."
    )
    with pytest.raises(ModelError) as refused:
        joint_t.product_beyond(2.0, [1.0], 5, sides=3)
    assert str(refused.value) == (
        "The joint law cannot be worked out.\n"
        "  sides: 3 was given; expected 1 or 2.\n"
        "  loadings: [1.0] was given; expected at least one, each between -1 and 1."
    )
