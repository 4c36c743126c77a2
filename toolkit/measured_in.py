"""What a column is measured in, told by the suffix of its name, and other units converted to it (rank 0).

One fixed table; names without a suffix are dimensionless. Units are taken from a closed list as well, so that no
letter is read as a unit nobody in the trade means by it (C is no coulomb, MM no megametre).
"""

from __future__ import annotations

import re
from decimal import Context, Decimal
from functools import lru_cache
from typing import Any

# suffix -> text shown to people
SUFFIXES: dict[str, str] = {
    "um": "µm",
    "mm": "mm",
    "mm2": "mm²",
    "mm3": "mm³",
    "mg": "mg",
    "g": "g",
    "kg": "kg",
    "pct": "%",
    "ppm": "mg/kg",
    "h": "h",
    "s": "s",
    "min": "min",
    "rpm": "r/min",
    "Nm": "N·m",
    "kW": "kW",
    "N": "N",
    "kN": "kN",
    "MPa": "MPa",
    "GPa": "GPa",
    "kPa": "kPa",
    "bar": "bar",
    "mbar": "mbar",
    "degC": "°C",
    "K": "K",
    "mm2_s": "mm²/s",
    "g_h": "g/h",
    "L_min": "L/min",
    "m_s": "m/s",
    "deg": "°",
    "HV": "HV",
}


# Chemical symbols of what oil laboratories report, as columns have them.
_SYMBOLS = frozenset("ag,al,b,ba,ca,cd,cr,cu,fe,k,li,mg,mn,mo,na,ni,p,pb,s,sb,si,sn,ti,v,w,zn".split(","))

# What people write for a unit, or for a part of one -> the name the conversion knows it by.
_PARTS: dict[str, str] = {
    **{f"{sign}m": name for sign, name in (("n", "nanometer"), ("u", "micrometer"), ("m", "millimeter"))},
    **{"cm": "centimeter", "m": "meter", "km": "kilometer"},
    **{"in": "inch", "inch": "inch", "thou": "thou", "mil": "thou", "ft": "foot"},
    **{"ug": "microgram", "mg": "milligram", "g": "gram", "kg": "kilogram", "lb": "pound", "oz": "ounce"},
    **{"s": "second", "sec": "second", "min": "minute", "d": "day"},
    **{name: "hour" for name in ("h", "hr", "hrs", "hour", "hours")},
    **{"ul": "microliter", "ml": "milliliter", "l": "liter", "L": "liter", "mL": "milliliter"},
    **{"mN": "millinewton", "N": "newton", "kN": "kilonewton", "lbf": "pound_force"},
    **{"Nm": "newton*meter", "kNm": "kilonewton*meter"},
    **{"Pa": "pascal", "hPa": "hectopascal", "kPa": "kilopascal", "MPa": "megapascal", "GPa": "gigapascal"},
    **{"mbar": "millibar", "bar": "bar", "psi": "psi", "ksi": "ksi", "inHg": "inch_Hg", "mmHg": "mm_Hg"},
    **{"W": "watt", "kW": "kilowatt", "St": "stokes", "cSt": "centistokes"},
    **{"%": "percent", "pct": "percent", "\u2030": "permille", "ppm": "ppm", "ppb": "microgram/kilogram"},
    **{"\u00b0": "degree", "deg": "degree", "rad": "radian", "mrad": "milliradian"},
}
# Whole units that are not put together from parts.
_TURNS = {
    **{name: "revolution/minute" for name in ("rpm", "r/min", "1/min", "min-1", "min^-1", "U/min")},
    **{name: "revolution/second" for name in ("r/s", "1/s", "s-1", "s^-1", "rps")},
}
_TEMPERATURES = {
    **{name: "degree_Celsius" for name in ("degC", "\u00b0C", "C", "\u2103")},
    **{name: "degree_Fahrenheit" for name in ("degF", "\u00b0F", "F", "\u2109")},
    "K": "kelvin",
}
_TORQUES = {
    **{f"{one}{sign}{other}": "foot*pound_force" for sign in "-. " for name in ("lb", "lbf")
       for one, other in (("ft", name), (name, "ft"))},
    "N.m": "newton*meter",
}  # fmt: skip
_SQUARED = str.maketrans("\u00b2\u00b3\u03bc\u00b5\u00b7\u22c5", "23uu**")
_PART = re.compile(r"([^\W\d_]+|[%\u2030\u00b0])\^?([23]?)")
_LONGEST = 20
_DIGITS = 15


def suffix_of(name: str) -> str | None:
    """The suffix of a column's name that says what it is measured in; None when it has none."""
    words = name.split("_")
    for take in (2, 1):
        if len(words) > take and "_".join(words[-take:]) in SUFFIXES:
            return "_".join(words[-take:])
    return None


def shown(name: str) -> str:
    """What the column ``name`` is measured in, as people write it; empty when dimensionless."""
    suffix = suffix_of(name)
    return SUFFIXES[suffix] if suffix else ""


def label(name: str) -> str:
    """The name without its suffix and underscores, for axes and tables: ``sump_temp_degC`` gives 'sump temp'.

    A chemical symbol in mg/kg is written as one.

    Examples
    --------
    >>> label("fe_ppm"), label("si_ppm"), label("water_ppm")
    ('Fe', 'Si', 'water')
    """
    suffix = suffix_of(name)
    bare = name[: -len(suffix) - 1] if suffix else name
    if suffix == "ppm" and bare in _SYMBOLS:
        return bare.capitalize()
    return bare.replace("_", " ")


def quantity(name: str) -> str:
    """Label and unit together.

    Examples
    --------
    >>> quantity("sump_temp_degC")
    'sump temp (°C)'
    """
    unit = shown(name)
    return f"{label(name)} ({unit})" if unit else label(name)


def not_converted(unit: str, name: str) -> str | None:
    """None when numbers in ``unit`` can be converted to what the column ``name`` is measured in; else why not.

    Parameters
    ----------
    unit : str
        As people write it: 'mm/m', 'psi', '°F'.
    name : str
        A column whose name ends in its unit.
    """
    suffix = suffix_of(name)
    if suffix is None:
        return "The column is measured in nothing."
    if _same(unit, suffix):
        return None
    theirs, ours = _named(unit, suffix), _named(suffix, suffix)
    if theirs is None or ours is None:
        near = next((own for own in (suffix, shown(name)) if own.casefold() == unit.strip().casefold()), None)
        return f"Write {near}: large and small letters tell units apart." if near else ""
    if suffix == "K" and theirs != "kelvin":
        return "Kelvin may be a temperature or a difference: convert it by hand."
    kinds = [_registry().Unit(item) for item in (theirs, ours)]
    turned = [str(kind) in ("degree", "radian", "milliradian") for kind in kinds]
    if turned[0] != turned[1] or not kinds[0].is_compatible_with(kinds[1]):
        return f"It does not measure the same as {SUFFIXES[suffix]}."
    return None


def converted(number: str, unit: str, name: str) -> str:
    """A number in ``unit`` as a number in what the column ``name`` is measured in, to 15 figures.

    Parameters
    ----------
    number : str
        With a decimal point.
    unit, name : str
        As for ``not_converted``.

    Raises
    ------
    ValueError
        When it cannot be converted.

    Notes
    -----
    Decimal arithmetic: 12.345 mm are 12345 µm and nothing beside it.

    Checked against
    ---------------
    The factors of NIST Special Publication 811, appendix B.8, in tests/unit/test_measured_in.py.
    """
    suffix = suffix_of(name)
    if not_converted(unit, name) is not None or suffix is None:
        raise ValueError(f"{unit} cannot be converted to {shown(name)}")
    if _same(unit, suffix):
        return number
    units = _registry()
    found = units.Quantity(Decimal(number), units.Unit(_named(unit, suffix))).to(units.Unit(_named(suffix, suffix)))
    return plain_number(found.magnitude)


def plain_number(value: Decimal) -> str:
    """A decimal number as people type it: at most 15 figures, no noughts at its end."""
    if not value:
        return "0"
    short = Context(prec=_DIGITS).create_decimal(value).normalize()
    return f"{short:f}" if abs(short.adjusted()) <= _DIGITS else str(short)


def _same(unit: str, suffix: str) -> bool:
    """True for another way of writing the column's own unit."""
    own = {suffix, SUFFIXES[suffix]}
    return unit.strip().translate(_SQUARED) in {item.translate(_SQUARED) for item in own}


def _named(unit: str, suffix: str) -> str | None:
    """A unit by the names the conversion knows; None when it is not among those known here."""
    text = " ".join(unit.split())
    if suffix == "rpm":
        return _TURNS.get(text)
    if suffix in ("degC", "K"):
        return _TEMPERATURES.get(text)
    if suffix == "Nm" and text in _TORQUES:
        return _TORQUES[text]
    if suffix == "HV" or not text or len(text) > _LONGEST:
        return None
    text = {"mm2_s": "mm2/s", "g_h": "g/h", "L_min": "L/min", "m_s": "m/s"}.get(text, text)
    made = []
    for at, half in enumerate(text.translate(_SQUARED).replace(" ", "").split("/")):
        parts = [_PART.fullmatch(item) for item in half.split("*")]
        if at > 1 or not all(part and part[1] in _PARTS for part in parts):
            return None
        made.append("*".join(f"({_PARTS[part[1]]})**{part[2] or 1}" for part in parts if part))
    return "/".join(f"({half})" for half in made)


@lru_cache(maxsize=1)
def _registry() -> Any:
    """The table of units, made when the first number is converted."""
    import pint

    return pint.UnitRegistry(non_int_type=Decimal)
