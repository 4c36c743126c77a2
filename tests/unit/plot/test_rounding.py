"""Decimals by the standard error, minus signs, p values."""

import math

import pytest

from toolkit.plot import rounding


@pytest.mark.parametrize(
    ("value", "error", "shown"),
    [
        # The two examples of the rule's own text: Particle Data Group, Review of Particle Physics, Introduction,
        # section on rounding (from memory): 0.827 +- 0.119 and 0.827 +- 0.367.
        (0.827, 0.119, "0.83"),
        (0.827, 0.367, "0.8"),
        # The third part of the rule by hand: 950 to 999 is taken as 1000 with two digits kept.
        (0.827, 0.0096, "0.827"),
        (14.0, 0.96, "14.0"),
        (1234.0, 367.0, "1200"),
        (1234.0, 21.0, "1234"),
        (1234.0, 210.0, "1230"),
        (-26.4, 3.6, "−26"),
        (-0.04, 0.4, "0.0"),
    ],
)
def test_an_estimate_is_shown_as_far_as_its_error_allows(value, error, shown):
    assert rounding.estimate(value, error) == shown


@pytest.mark.parametrize("error", [None, 0.0, -1.0, math.nan, math.inf])
def test_without_an_error_three_digits_are_shown(error):
    assert rounding.decimals(error) is None
    assert rounding.estimate(0.0123456, error) == "0.0123"


@pytest.mark.parametrize(
    ("value", "shown"),
    [(0.0, "0"), (1234567.0, "1230000"), (12345678.0, "1.23e+07"), (0.00001234, "1.23e−05"), (-5.0, "−5.00"),
     (0.9996, "1.00"), (999.6, "1000")],
)  # fmt: skip
def test_significant_digits(value, shown):
    assert rounding.significant(value) == shown


def test_a_rounded_nought_has_no_sign():
    assert rounding.fixed(-0.04, 1) == "0.0"
    assert rounding.fixed(-0.04, 1, sign=True) == "0.0"
    assert rounding.fixed(0.06, 1, sign=True) == "+0.1"


@pytest.mark.parametrize(
    ("value", "shown"),
    [(0.00009, "< 0.0001"), (0.0001, "0.0001"), (0.00123, "0.0012"), (0.0123, "0.012"), (0.5, "0.500"), (1.0, "1.000")],
)
def test_p_values(value, shown):
    assert rounding.p_value(value) == shown


@pytest.mark.parametrize("value", [None, math.nan, math.inf, True, "1"])
def test_what_is_not_a_number_is_not_known(value):
    assert not rounding.known(value)
