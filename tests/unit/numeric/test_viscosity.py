"""Viscosity between two reference temperatures, against figures worked by hand from the form of ASTM D341."""

from __future__ import annotations

import math

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric import viscosity

OIL = (62.0, 11.0)


def test_an_oil_of_62_and_11_worked_by_hand():
    # log10 log10(62.7) and log10 log10(11.7) over log10(373.15 / 313.15): A 7.6623, B 2.9681.
    assert viscosity.walther(OIL) == pytest.approx((7.6623, 2.9681), abs=5e-5)
    assert viscosity.at([90, 97, 103, 110], OIL).tolist() == pytest.approx([13.68, 11.72, 10.34, 9.02], abs=0.005)


def test_the_references_come_back_and_may_stand_in_either_order():
    assert viscosity.at([40, 100], OIL).tolist() == pytest.approx([62.0, 11.0], rel=1e-12)
    turned = viscosity.at(97, (11.0, 62.0), (100.0, 40.0))
    assert float(turned) == pytest.approx(float(viscosity.at(97, OIL)), rel=1e-12)


def test_three_degrees_are_six_to_seven_per_cent():
    low, high = viscosity.at([103, 97], OIL) / 11.0 - 1.0
    assert (round(100 * low, 1), round(100 * high, 1)) == (-6.0, 6.5)


def test_any_two_points_of_the_curve_give_the_same_curve():
    points = viscosity.at([60, 120], OIL)
    again = viscosity.at(np.linspace(30, 130, 11), tuple(points), (60.0, 120.0))
    assert again == pytest.approx(viscosity.at(np.linspace(30, 130, 11), OIL), rel=1e-10)


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda: viscosity.at(100, (11.0, 62.0)),
         "reference viscosities: 11 mm²/s at 40 °C and 62 mm²/s at 100 °C; expected an oil that thins as it warms."),
        (lambda: viscosity.at(100, (62.0, 1.5)), "reference viscosity: 1.5 mm²/s; expected 2 mm²/s or more."),
        (lambda: viscosity.at(math.nan, OIL), "temperature: a missing value was given; expected a finite number."),
        (lambda: viscosity.at(300, OIL),
         "viscosity: 1.29 mm²/s at 300 °C; expected 2 mm²/s or more, where D341's form holds."),
        (lambda: viscosity.at(-300, OIL), "temperature: -300 °C; expected a temperature above -273.15 °C."),
        (lambda: viscosity.at(-150, OIL), "temperature: -150 °C; expected one at which the oil still flows."),
    ],
)  # fmt: skip
def test_what_cannot_be_is_told(call, told):
    with pytest.raises(ModelError) as caught:
        call()
    assert str(caught.value) == f"The viscosity cannot be worked out.\n  {told}"
