"""What a column is measured in, told by the suffix of its name (rank 0).

One fixed table; names without a suffix are dimensionless.
"""

from __future__ import annotations

# suffix -> text shown to people
SUFFIXES: dict[str, str] = {
    "um": "µm",
    "mm": "mm",
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
    """The name without its suffix and underscores, for axes and tables: ``sump_temp_degC`` gives 'sump temp'."""
    suffix = suffix_of(name)
    bare = name[: -len(suffix) - 1] if suffix else name
    return bare.replace("_", " ")


def quantity(name: str) -> str:
    """Label and unit together: ``sump_temp_degC`` gives 'sump temp (°C)'."""
    unit = shown(name)
    return f"{label(name)} ({unit})" if unit else label(name)
