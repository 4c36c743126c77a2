"""Viscosity of an oil at any temperature, from two reference viscosities.

May import numpy and the error classes. Kinematic viscosity in mm2/s, temperatures in degrees Celsius.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards

_KELVIN = 273.15
_SHIFT = 0.7
# Below it the plain form leaves out a term that counts.
LEAST = 2.0
_HEADLINE = "The viscosity cannot be worked out."


def walther(
    viscosities: tuple[float, float], temperatures_degC: tuple[float, float] = (40.0, 100.0)
) -> tuple[float, float]:
    """Give back A and B of log10 log10(v + 0.7) = A - B log10 T (T in kelvin) through two reference viscosities.

    Parameters
    ----------
    viscosities : (float, float)
        Kinematic viscosities [mm2/s], each 2 or more; the one at the lower temperature is the higher.
    temperatures_degC : (float, float)
        Where they were found.

    Returns
    -------
    (float, float)
        A and B, without unit.

    Raises
    ------
    ModelError
        When a figure is missing or out of range, or the oil would thicken as it warms.

    Notes
    -----
    ASTM D341, the form for 2 mm2/s and more (C. Walther, Erdoel und Teer 7 (1931) 382-384).

    Checked against: the constants of an oil of 62 and 11.0 mm2/s worked by hand, tests/unit/numeric/test_viscosity.py.
    """
    given, warm = np.asarray(viscosities, dtype=float), np.asarray(temperatures_degC, dtype=float)
    faults = [*guards.finite("reference viscosity", given), *guards.finite("reference temperature", warm)]
    raise_all(ModelError, _HEADLINE, faults)
    if bool((given < LEAST).any()):
        faults.append(Fault("reference viscosity", f"{given.min():g} mm²/s", f"{LEAST:g} mm²/s or more"))
    if bool((warm <= -_KELVIN).any()):
        faults.append(Fault("reference temperature", f"{warm.min():g} °C", "a temperature above -273.15 °C"))
    if not (warm[1] - warm[0]) * (given[0] - given[1]) > 0.0:
        found = f"{given[0]:g} mm²/s at {warm[0]:g} °C and {given[1]:g} mm²/s at {warm[1]:g} °C"
        faults.append(Fault("reference viscosities", found, "an oil that thins as it warms"))
    raise_all(ModelError, _HEADLINE, faults)
    level, heat = np.log10(np.log10(given + _SHIFT)), np.log10(warm + _KELVIN)
    slope = (level[0] - level[1]) / (heat[1] - heat[0])
    return float(level[0] + slope * heat[0]), float(slope)


def at(
    temperature_degC: ArrayLike,
    viscosities: tuple[float, float],
    temperatures_degC: tuple[float, float] = (40.0, 100.0),
) -> NDArray[np.float64]:
    """Give back the kinematic viscosity of a fresh oil at a temperature.

    Parameters
    ----------
    temperature_degC : array_like
        Such as that of the sump.
    viscosities, temperatures_degC
        As for ``walther``.

    Returns
    -------
    ndarray
        mm2/s, of the shape of ``temperature_degC``.

    Raises
    ------
    ModelError
        As ``walther``; and where the viscosity would be below 2 mm2/s, where this form does not hold.

    Notes
    -----
    ASTM D341. Used oil that is sooted, diluted or sheared departs from it: measure it then.

    Checked against: figures at 90, 97, 103 and 110 degrees of an oil of 62 and 11.0 mm2/s,
    tests/unit/numeric/test_viscosity.py.
    """
    level, slope = walther(viscosities, temperatures_degC)
    warm = np.asarray(temperature_degC, dtype=float)
    faults = guards.finite("temperature", warm)
    raise_all(ModelError, _HEADLINE, faults)
    if bool((warm <= -_KELVIN).any()):
        raise_all(ModelError, _HEADLINE, [Fault("temperature", f"{warm.min():g} °C", "a temperature above -273.15 °C")])
    exponent = 10.0 ** (level - slope * np.log10(warm + _KELVIN))
    # log10 of the viscosity: beyond 300 there is no number for it, and no oil.
    if bool((exponent > 12.0).any()):
        cold = float(warm.min())
        raise_all(ModelError, _HEADLINE, [Fault("temperature", f"{cold:g} °C", "one at which the oil still flows")])
    found = 10.0**exponent - _SHIFT
    if bool((found < LEAST).any()):
        hot, least = float(warm.max()), float(found.min())
        words = f"{least:.3g} mm²/s at {hot:g} °C"
        raise_all(
            ModelError, _HEADLINE, [Fault("viscosity", words, f"{LEAST:g} mm²/s or more, where D341's form holds")]
        )
    return np.asarray(found)
