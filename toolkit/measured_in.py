"""What a column is measured in, told by the suffix of its name (rank 0).

One fixed table; names without a suffix are dimensionless. The table is checked against pint in the tests.
"""

from __future__ import annotations

# suffix -> (text shown to people, name understood by pint)
SUFFIXES: dict[str, tuple[str, str]] = {
    "um": ("µm", "micrometer"),
    "mm": ("mm", "millimeter"),
    "mm3": ("mm³", "millimeter ** 3"),
    "mg": ("mg", "milligram"),
    "g": ("g", "gram"),
    "kg": ("kg", "kilogram"),
    "pct": ("%", "percent"),
    "ppm": ("mg/kg", "milligram / kilogram"),
    "h": ("h", "hour"),
    "s": ("s", "second"),
    "min": ("min", "minute"),
    "rpm": ("r/min", "revolutions_per_minute"),
    "Nm": ("N·m", "newton * meter"),
    "kW": ("kW", "kilowatt"),
    "N": ("N", "newton"),
    "kN": ("kN", "kilonewton"),
    "MPa": ("MPa", "megapascal"),
    "GPa": ("GPa", "gigapascal"),
    "kPa": ("kPa", "kilopascal"),
    "bar": ("bar", "bar"),
    "mbar": ("mbar", "millibar"),
    "degC": ("°C", "degree_Celsius"),
    "K": ("K", "kelvin"),
    "mm2_s": ("mm²/s", "millimeter ** 2 / second"),
    "g_h": ("g/h", "gram / hour"),
    "L_min": ("L/min", "liter / minute"),
    "m_s": ("m/s", "meter / second"),
    "deg": ("°", "degree"),
    "HV": ("HV", ""),
}


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
    return SUFFIXES[suffix][0] if suffix else ""


def label(name: str) -> str:
    """The name without its suffix and underscores, for axes and tables: ``sump_temp_degC`` gives 'sump temp'."""
    suffix = suffix_of(name)
    bare = name[: -len(suffix) - 1] if suffix else name
    return bare.replace("_", " ")


def quantity(name: str) -> str:
    """Label and unit together: ``sump_temp_degC`` gives 'sump temp (°C)'."""
    unit = shown(name)
    return f"{label(name)} ({unit})" if unit else label(name)
