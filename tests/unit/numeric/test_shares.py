"""Intervals of counted shares against scipy's exact binomial interval and the rule of three."""

import pytest
from scipy import stats

from toolkit.errors import SizingError
from toolkit.numeric import shares


@pytest.mark.parametrize(("count", "of"), [(0, 10), (3, 10), (10, 10), (1, 1), (97, 2000), (2000, 2000)])
def test_limits_are_those_of_scipy(count, of):
    for level in (0.8, 0.95, 0.998):
        exact = stats.binomtest(count, of).proportion_ci(level, method="exact")
        low, high = shares.limits(count, of, conf_level=level)
        assert (float(low), float(high)) == pytest.approx((exact.low, exact.high), abs=1e-10)


def test_nothing_in_a_thousand_is_below_three_in_a_thousand():
    """The rule of three (textbook): 0 of n, one-sided 95 %, is 3 / n."""
    low, high = shares.limits([0, 1000], 1000, conf_level=0.90)
    assert (low[0], high[1]) == (0.0, 1.0)
    assert high[0] == pytest.approx(3 / 1000, rel=0.01)
    assert low[1] == pytest.approx(1 - 3 / 1000, rel=1e-4)


def test_more_than_there_were_is_refused():
    with pytest.raises(SizingError) as told:
        shares.limits(5, 4)
    expected = "The share has no interval.\n  count: more than there were; expected a count of at most their number."
    assert str(told.value) == expected
    with pytest.raises(SizingError) as told:
        shares.limits(-1, 0)
    assert str(told.value) == (
        "The share has no interval.\n  count: -1 was given; expected 0 or a number above 0.\n"
        "  of: 0 was given; expected a number above 0."
    )
