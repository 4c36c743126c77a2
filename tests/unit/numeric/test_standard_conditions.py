"""Factors to standard conditions: worked air states, ends of ranges, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from toolkit.errors import IntakeError
from toolkit.numeric import standard_conditions as standard

# Pressure [hPa], humidity, temperature [degC]; dry pressure, J1349 (1990), ISO 1585 for spark ignition, worked by hand
# from the published forms and rounded as here.
STATES = [
    (1005.0, 0.5, 22.0, 991.8, 0.9919, 0.9918),
    (980.0, 0.4, 32.0, 961.0, 1.0498, 1.0508),
    (960.0, 0.6, 18.0, 947.6, 1.0382, 1.0389),
]


@pytest.mark.parametrize(("pressure", "humidity", "warm", "dry", "j1349", "iso"), STATES)
def test_three_air_states_to_their_printed_digits(pressure, humidity, warm, dry, j1349, iso):
    found = standard.dry_pressure(pressure, warm, humidity)
    assert round(float(found), 1) == dry
    assert round(float(standard.j1349(found, warm).factor), 4) == j1349
    assert round(float(standard.iso1585_spark(found, warm).factor), 4) == iso


def test_saturated_air_as_in_psychrometric_tables():
    # Saturation over water, common handbook values from memory: 6.11, 23.4 and 42.4 hPa at 0, 20 and 30 degC.
    assert standard.vapour_pressure([0.0, 20.0, 30.0], 1.0) == pytest.approx([6.11, 23.4, 42.4], rel=4e-3)
    assert float(standard.vapour_pressure(20.0, 0.0)) == 0.0


def test_reference_air_needs_no_correction():
    for made in (
        standard.j1349(990.0, 25.0),
        standard.iso1585_spark(990.0, 25.0),
        *(standard.iso1585_compression(990.0, 25.0, 50.0, charging=name) for name in standard.CHARGING),
    ):
        assert float(made.factor) == pytest.approx(1.0, abs=1e-12) and bool(made.within)


def test_compression_ignition_by_hand_and_at_the_ends_of_the_fuel():
    air = (990.0 / 940.0) * (308.0 / 298.0) ** 0.7
    found = standard.iso1585_compression(940.0, 35.0, [30.0, 37.2, 50.0, 65.0, 80.0], charging="naturally aspirated")
    expected = [air**0.2, air ** (0.036 * 37.2 - 1.14), air**0.66, air**1.2, air**1.2]
    assert found.factor == pytest.approx(expected, rel=1e-12)
    # The two forms meet at the ends to the digits of the standard's constants.
    assert 0.036 * 37.2 - 1.14 == pytest.approx(0.2, abs=1e-3)
    boosted = standard.iso1585_compression(940.0, 35.0, 80.0, charging="boosted")
    assert float(boosted.factor) == pytest.approx(((990 / 940) ** 0.7 * (308 / 298) ** 1.2) ** 1.2, rel=1e-12)


def test_outside_its_range_a_factor_says_so():
    made = standard.iso1585_spark([900.0, 990.0], [40.0, 25.0])
    assert made.within.tolist() == [False, True]
    assert (made.low, made.high) == (0.93, 1.07)


def test_units_slipped_are_refused_with_the_range():
    with pytest.raises(IntakeError) as told:
        standard.j1349(99.0, 298.0)
    assert str(told.value) == (
        "The factor to standard conditions cannot be worked out.\n"
        "  dry pressure of the air [hPa]: 99 was given; expected a number from 500 to 1100.\n"
        "  temperature of the air [degC]: 298 was given; expected a number from -40 to 60."
    )
    with pytest.raises(IntakeError) as told:
        standard.iso1585_compression(990.0, 25.0, np.array([-1.0]), charging="blown")
    assert "charging: 'blown' was given; expected one of naturally aspirated, boosted, boosted, liquid cooled." in str(
        told.value
    )
    with pytest.raises(IntakeError) as told:
        standard.vapour_pressure(20.0, 50.0)
    assert "relative humidity: 50 was given; expected a number from 0 to 1." in str(told.value)
