"""Torque and power brought to standard conditions, for full-load readings of engines that breathe freely.

May import numpy and the error classes. Only the factor is worked out here; whether a reading may be corrected at all
(full load, no boost control that makes up for the weather) is for the caller to know. The raw reading is always kept.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import IntakeError, raise_all
from toolkit.numeric import _guards as guards

HEADLINE = "The factor to standard conditions cannot be worked out."
# Exponents of dry pressure and temperature by how the engine breathes.
CHARGING = {
    "naturally aspirated": (1.0, 0.7),
    "boosted": (0.7, 1.2),
    "boosted, liquid cooled": (0.7, 0.7),
}


@dataclass(frozen=True, eq=False)
class Factor:
    """A correction factor, and whether the standard lets it be used.

    Attributes
    ----------
    factor : ndarray
        Corrected torque or power = factor times the reading.
    within : ndarray of bool
        True where the factor lies in the range the form is meant for; outside, raw value and weather are reported.
    low, high : float
        That range.
    """

    factor: NDArray[np.float64]
    within: NDArray[np.bool_]
    low: float
    high: float


def vapour_pressure(temperature_degC: ArrayLike, relative_humidity: ArrayLike) -> NDArray[np.float64]:
    """Give back the pressure of the water in the air.

    Parameters
    ----------
    temperature_degC : array_like
        Of the air [degC], from -40 to 60.
    relative_humidity : array_like
        As a share from 0 to 1.

    Returns
    -------
    ndarray
        [hPa].

    Raises
    ------
    IntakeError
        When a value is out of range.

    Notes
    -----
    relative humidity * 6.112 exp(17.62 T / (243.12 + T)), the form of the World Meteorological Organization's guide
    to instruments (from memory).

    Checked against: three worked air states and saturation at 0 and 100 hPa-scale handbook points,
    tests/unit/numeric/test_standard_conditions.py.
    """
    warm, damp = np.asarray(temperature_degC, dtype=float), np.asarray(relative_humidity, dtype=float)
    faults = guards.between("temperature of the air [degC]", warm, -40.0, 60.0)
    faults += guards.between("relative humidity", damp, 0.0, 1.0)
    raise_all(IntakeError, HEADLINE, faults)
    return np.asarray(damp * 6.112 * np.exp(17.62 * warm / (243.12 + warm)))


def dry_pressure(
    pressure_hPa: ArrayLike, temperature_degC: ArrayLike, relative_humidity: ArrayLike
) -> NDArray[np.float64]:
    """Give back the pressure of the air without its water.

    Parameters
    ----------
    pressure_hPa : array_like
        Of the air as it is [hPa], from 500 to 1100.
    temperature_degC : array_like
        [degC], from -40 to 60.
    relative_humidity : array_like
        As a share from 0 to 1.

    Returns
    -------
    ndarray
        [hPa].

    Raises
    ------
    IntakeError
        When a value is out of range.

    Notes
    -----
    Checked against: tests/unit/numeric/test_standard_conditions.py.
    """
    raise_all(IntakeError, HEADLINE, guards.between("pressure of the air [hPa]", pressure_hPa, 500.0, 1100.0))
    return np.asarray(pressure_hPa, dtype=float) - vapour_pressure(temperature_degC, relative_humidity)


def j1349(dry_hPa: ArrayLike, temperature_degC: ArrayLike) -> Factor:
    """Give back the factor to 990 hPa dry and 25 degC, in the form of 1990.

    Parameters
    ----------
    dry_hPa : array_like
        Dry pressure of the intake air [hPa].
    temperature_degC : array_like
        Of the intake air [degC].

    Returns
    -------
    Factor
        Meant for 0.93 to 1.07 (from memory).

    Raises
    ------
    IntakeError
        When a value is out of range.

    Notes
    -----
    1.180 (990 / p) sqrt((T + 273) / 298) - 0.18: SAE J1349, the form published in 1990, for a mechanical efficiency
    of 85 %.

    Checked against: three worked air states, tests/unit/numeric/test_standard_conditions.py.
    """
    dry, warm = _air(dry_hPa, temperature_degC)
    return _in_range(1.180 * (990.0 / dry) * np.sqrt((warm + 273.0) / 298.0) - 0.18, 0.93, 1.07)


def iso1585_spark(dry_hPa: ArrayLike, temperature_degC: ArrayLike) -> Factor:
    """Give back the factor to 990 hPa dry and 25 degC for an engine with spark ignition.

    Parameters
    ----------
    dry_hPa : array_like
        Dry pressure of the intake air [hPa].
    temperature_degC : array_like
        Of the intake air [degC].

    Returns
    -------
    Factor
        Meant for 0.93 to 1.07 (from memory); outside, the reading and the conditions are reported.

    Raises
    ------
    IntakeError
        When a value is out of range.

    Notes
    -----
    (990 / p)^1.2 (T / 298)^0.6, T in kelvin: ISO 1585 and UN Regulation 85 for spark ignition (exponents from memory).

    Checked against: three worked air states, tests/unit/numeric/test_standard_conditions.py.
    """
    dry, warm = _air(dry_hPa, temperature_degC)
    return _in_range((990.0 / dry) ** 1.2 * ((warm + 273.0) / 298.0) ** 0.6, 0.93, 1.07)


def iso1585_compression(
    dry_hPa: ArrayLike, temperature_degC: ArrayLike, fuel_mg_per_L: ArrayLike, *, charging: str
) -> Factor:
    """Give back the factor to 990 hPa dry and 25 degC for an engine with compression ignition.

    Parameters
    ----------
    dry_hPa : array_like
        Dry pressure of the intake air [hPa].
    temperature_degC : array_like
        Of the intake air [degC].
    fuel_mg_per_L : array_like
        Fuel a litre of displacement and working cycle [mg/L], with boost divided by the ratio of boost pressure.
    charging : str
        'naturally aspirated', 'boosted' (no cooler, or one cooled by air) or 'boosted, liquid cooled'.

    Returns
    -------
    Factor
        Meant for 0.9 to 1.1.

    Raises
    ------
    IntakeError
        When a value is out of range or the way of charging is none of these.

    Notes
    -----
    fa^fm: fa = (990 / p)^a (T / 298)^b with (a, b) = (1, 0.7), (0.7, 1.2) or (0.7, 0.7); fm = 0.036 qc - 1.14 between
    37.2 and 65 mg/L, 0.2 below and 1.2 above: ISO 1585 and UN Regulation 85 (exponents and ends from memory).

    Checked against: the ends of fm and the two forms by hand, tests/unit/numeric/test_standard_conditions.py.
    """
    if charging not in CHARGING:
        raise IntakeError(f"{HEADLINE}\n  charging: '{charging}' was given; expected one of {', '.join(CHARGING)}.")
    dry, warm = _air(dry_hPa, temperature_degC)
    raise_all(IntakeError, HEADLINE, guards.positive("fuel a litre and cycle [mg/L]", fuel_mg_per_L))
    fuel = np.asarray(fuel_mg_per_L, dtype=float)
    power = np.where(fuel < 37.2, 0.2, np.where(fuel > 65.0, 1.2, 0.036 * fuel - 1.14))
    of_pressure, of_warmth = CHARGING[charging]
    air = (990.0 / dry) ** of_pressure * ((warm + 273.0) / 298.0) ** of_warmth
    return _in_range(air**power, 0.9, 1.1)


def _air(dry_hPa: ArrayLike, temperature_degC: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Dry pressure and temperature, checked."""
    faults = guards.between("dry pressure of the air [hPa]", dry_hPa, 500.0, 1100.0)
    faults += guards.between("temperature of the air [degC]", temperature_degC, -40.0, 60.0)
    raise_all(IntakeError, HEADLINE, faults)
    return np.asarray(dry_hPa, dtype=float), np.asarray(temperature_degC, dtype=float)


def _in_range(factor: NDArray[np.float64], low: float, high: float) -> Factor:
    """A factor with the range it is meant for."""
    made = np.asarray(factor)
    return Factor(made, (made >= low) & (made <= high), low, high)
