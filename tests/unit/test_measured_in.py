"""Columns and their units: suffixes, and the conversion of other units."""

import pytest

from toolkit import measured_in

# NIST Special Publication 811 (2008), appendix B.8, to the figures printed there; those marked exact there, exactly.
NIST = [
    ("1", "in", "wear_mm", "25.4"),
    ("1", "mil", "wear_um", "25.4"),
    ("1", "ft", "wear_mm", "304.8"),
    ("1", "lb", "mass_g", "453.59237"),
    ("1", "oz", "mass_g", "28.349523125"),
    ("1", "bar", "boost_kPa", "100"),
    ("1", "psi", "boost_kPa", "6.89475729316836"),
    ("1", "lbf", "load_N", "4.4482216152605"),
    ("1", "ft-lb", "load_Nm", "1.3558179483314"),
    ("1", "cSt", "viscosity_mm2_s", "1"),
    ("212", "°F", "sump_temp_degC", "100"),
    ("98.6", "degF", "sump_temp_degC", "37"),
    ("373.15", "K", "sump_temp_degC", "100"),
]


@pytest.mark.parametrize(("number", "unit", "name", "expected"), NIST)
def test_published_factors(number, unit, name, expected):
    assert measured_in.converted(number, unit, name) == expected


@pytest.mark.parametrize(
    ("unit", "name", "expected"),
    [
        # The same appendix: conventional columns of mercury, to the seven figures printed there.
        ("inHg", "air_mbar", 33.86389),
        ("mmHg", "air_kPa", 0.1333224),
        *((unit, "load_Nm", 1.355818) for unit in ("lbf.ft", "lbf-ft", "lb ft", "ft.lbf", "ft-lb")),
        ("N.m", "load_Nm", 1.0),
    ],
)
def test_units_of_american_test_cells(unit, name, expected):
    assert float(measured_in.converted("1", unit, name)) == pytest.approx(expected, rel=2e-7)


@pytest.mark.parametrize(
    ("number", "unit", "name", "expected"),
    [
        ("12.345", "mm", "wear_um", "12345"),
        ("12.345", "μm", "wear_mm", "0.012345"),
        ("0.1", "mm/m", "elongation_pct", "0.01"),
        ("0.5", "%", "fe_ppm", "5000"),
        ("3", "ug/g", "fe_ppm", "3"),
        ("7", "mg/kg", "fe_ppm", "7"),
        ("250", "ppb", "fe_ppm", "0.25"),
        ("2", "‰", "soot_pct", "0.2"),
        ("20", "1/s", "speed_rpm", "1200"),
        ("1500", "U/min", "speed_rpm", "1500"),
        ("1.5", "min", "run_time_h", "0.025"),
        ("90", "C", "sump_temp_degC", "90"),
        ("3", "m³/h", "flow_L_min", "50"),
        ("-0.5", "mm", "wear_um", "-500"),
        ("1.50", "µm", "wear_um", "1.50"),
        ("2", "mm^2/s", "viscosity_mm2_s", "2"),
        ("90", "deg", "angle_deg", "90"),
        ("500", "mrad", "angle_deg", "28.6478897565412"),
    ],
)
def test_other_units_of_the_trade(number, unit, name, expected):
    # Powers of ten and sixties; the milliradian is 180/(1000 pi) degrees.
    assert measured_in.converted(number, unit, name) == expected


@pytest.mark.parametrize(
    ("unit", "name", "why"),
    [
        ("MM", "wear_mm", "Write mm: large and small letters tell units apart."),
        ("kg", "wear_um", "It does not measure the same as µm."),
        ("mg/L", "fe_ppm", "It does not measure the same as mg/kg."),
        ("°", "soot_pct", "It does not measure the same as %."),
        ("%", "angle_deg", "It does not measure the same as °."),
        ("°C", "rise_K", "Kelvin may be a temperature or a difference: convert it by hand."),
        ("Hz", "speed_rpm", ""),
        ("HRC", "hardness_HV", ""),
        ("furlong", "wear_um", ""),
        ("m**9999999999", "wear_um", ""),
        ("__import__('os')", "wear_um", ""),
        ("", "wear_um", ""),
        ("mm", "verdict", "The column is measured in nothing."),
    ],
)
def test_what_is_not_converted(unit, name, why):
    assert measured_in.not_converted(unit, name) == why
    with pytest.raises(ValueError, match="cannot be converted"):
        measured_in.converted("1", unit, name)


@pytest.mark.parametrize("suffix", measured_in.SUFFIXES)
def test_every_suffix_takes_its_own_unit_in_every_spelling(suffix):
    for unit in (suffix, measured_in.SUFFIXES[suffix]):
        assert measured_in.not_converted(unit, f"x_{suffix}") is None
        assert measured_in.converted("1.25", unit, f"x_{suffix}") == "1.25"
