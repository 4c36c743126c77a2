"""[dyno_log] and who judges runs in campaign.toml: read, every fault at once, sealed but for how files are written."""

from __future__ import annotations

from dataclasses import replace

from tests.unit.brief.faults import faults
from tests.unit.campaign import shop
from toolkit.brief import check_dyno, checks, reading
from toolkit.brief.dyno_log import StandardRule, SteadyRule, SweepRule
from toolkit.campaign.sealed_brief import brief_of, changes, covered

TEXT = shop.BRIEF.replace("window = [99, 101] }", "window = [99, 101] }\nmax = { downtime_h = 24 }")
GOOD = """
[dyno_log]
time = "Time [s]"
columns = { speed_rpm = "N", torque_Nm = "M", sump_temp_degC = "T", air_kPa = "p", air_degC = "TA", humidity_pct = "H" }
measured_in = { torque_Nm = "ft-lb" }
missing = [-9999]
longest_step_s = 90
gives = { downtime_h = "gaps" }
steady = { within = { speed_rpm = [1400, 3600] }, settle_s = 600 }
[dyno_log.sweeps]
speed = "speed_rpm"
torque = "torque_Nm"
load = "torque_Nm"
low_rpm = 1500
high_rpm = 5500
full_load = 180
shortest_s = 20
window_rpm = [2500, 4500]
asked = 6
[dyno_log.standard]
form = "ISO 1585 spark"
charging = "naturally aspirated"
pressure = "air_kPa"
temperature = "air_degC"
humidity = "humidity_pct"
"""


def test_what_is_in_order_is_read():
    asked = reading.parse(TEXT + GOOD).dyno_log
    assert (asked.time, asked.time_in, asked.missing, asked.longest_step_s) == ("Time [s]", "s", (-9999.0,), 90.0)
    assert asked.columns["sump_temp_degC"] == "T" and asked.measured_in == {"torque_Nm": "ft-lb"}
    assert asked.sweeps == SweepRule(
        *("speed_rpm", "torque_Nm", "torque_Nm"), *(1500.0, 5500.0, 180.0, 20.0), (2500.0, 4500.0), 50.0, 1, 6
    )
    assert asked.steady == SteadyRule({"speed_rpm": [1400.0, 3600.0]}, 600.0)
    assert asked.standard == StandardRule(
        "ISO 1585 spark", "naturally aspirated", "air_kPa", "air_degC", "humidity_pct"
    )
    assert check_dyno.given(reading.parse(TEXT + GOOD)) == {"downtime_h": "gaps"}


def test_rules_are_sealed_headings_are_not_and_a_brief_without_keeps_its_seal():
    brief, other = reading.parse(TEXT + GOOD), reading.parse(TEXT + GOOD.replace('"N"', '"rpm"'))
    held = covered(brief, "main")
    assert held == covered(other, "main")
    assert "columns" not in held["dyno_log"] and held["dyno_log"]["sweeps"]["asked"] == 6
    assert changes(held, covered(reading.parse(TEXT + GOOD.replace("asked = 6", "asked = 5")), "main")) == [
        "dyno_log.sweeps.asked"
    ]
    # Judged as sealed, read as files are written now.
    later = reading.parse(TEXT + GOOD.replace('"N"', '"rpm"').replace("asked = 6", "asked = 5"))
    sealed = brief_of(held, later).dyno_log
    assert (sealed.columns["speed_rpm"], sealed.sweeps.asked) == ("rpm", 6)
    bare = covered(reading.parse(TEXT), "main")
    assert "dyno_log" not in bare and not {"not_interpretable", "judged_by"} & set(bare["protocol"])
    assert brief_of(bare, brief).dyno_log is None


def test_every_fault_is_told_at_once():
    text = GOOD
    for old, new in (
        ('torque_Nm = "M"', 'torque_Nm = "N"'),
        ('"ft-lb"', '"kg"'),
        ("[-9999]", '[-9999]\nseparator = "|"\ntime_in = "days"'),
        ("longest_step_s = 90", "longest_step_s = 0"),
        ('"gaps"', '"sweep torque"'),
        ("speed_rpm = [1400, 3600]", "speed_rpm = [3600, 1400], pedal = [1, 2]"),
        ('load = "torque_Nm"', 'load = "pedal_pct"'),
        ("[2500, 4500]", "[1000, 4500]"),
        ('"naturally aspirated"', '"boosted"'),
        ('pressure = "air_kPa"', 'pressure = "air_degC"'),
    ):
        text = text.replace(old, new)
    channels = "'speed_rpm', 'torque_Nm', 'sump_temp_degC', 'air_kPa', 'air_degC' or 'humidity_pct'"
    assert faults(TEXT + text) == [
        "[dyno_log] columns.torque_Nm: the heading 'N' is also that of speed_rpm; expected each heading once.",
        "[dyno_log] measured_in.torque_Nm: 'kg'; expected a unit that converts to N·m. It does not measure the same "
        "as N·m.",
        "[dyno_log] separator: '|'; expected \",\", \";\" or \"\\t\".",
        "[dyno_log] time_in: 'days'; expected 's', 'min', 'h' or 'clock'.",
        "[dyno_log] longest_step_s: 0; expected more than 0 seconds.",
        "[dyno_log] gives.downtime_h: 'sweep torque' is measured in N·m; expected a column that ends in _Nm.",
        "[dyno_log] steady.within.speed_rpm: [3600, 1400]; expected two numbers, the lower first.",
        f"[dyno_log] steady.within.pedal: 'pedal' is not among columns; expected {channels}.",
        f"[dyno_log] sweeps.load: 'pedal_pct' is not among columns; expected {channels}.",
        "[dyno_log] sweeps.window_rpm: [1000, 4500]; expected a range within 1500 to 5500.",
        "[dyno_log] standard.charging: 'boosted' with ISO 1585 spark; expected 'naturally aspirated'. Boosted engines "
        "are not corrected by it.",
        "[dyno_log] standard.pressure: 'air_degC'; expected a channel that ends in '_mbar', '_kPa' or '_bar'.",
    ]


def test_rules_that_do_not_fit_each_other_are_refused():
    bare, standard = GOOD.split("[dyno_log.sweeps]")[0], "[dyno_log.standard]" + GOOD.split("[dyno_log.standard]")[1]
    assert faults(TEXT + bare + standard.replace("naturally aspirated", "compensated")) == [
        "[dyno_log] standard: nothing that is at full load; expected sweeps beside it.",
        "[dyno_log] standard.charging: 'compensated'; expected 'naturally aspirated', 'boosted' or 'boosted, liquid "
        "cooled'. An engine whose control makes up for the weather is not corrected: delete the rule.",
    ]
    assert faults(TEXT + GOOD.replace('downtime_h = "gaps"', 'sump_temp_degC = "speed_rpm"')) == [
        "[dyno_log] gives.sump_temp_degC: 'sump_temp_degC' is held: the channel of its own name gives it; expected "
        "the name among columns. Delete the line.",
    ]


def test_who_judges_and_bounds_that_say_nothing():
    text = TEXT.replace("[protocol]", '[protocol]\nnot_interpretable = ["downtime_h"]\njudged_by = "test engineer"')
    protocol = reading.parse(text).protocol
    assert (protocol.not_interpretable, protocol.judged_by) == (("downtime_h",), "test engineer")
    assert covered(reading.parse(text), "main")["protocol"]["judged_by"] == "test engineer"
    brief = reading.parse(TEXT)
    wrong = replace(brief, protocol=replace(brief.protocol, not_interpretable=("si_ppm",)))
    assert [str(fault) for fault in checks.check(wrong)] == [
        "[protocol] not_interpretable no. 1: 'si_ppm' is no bound; expected 'downtime_h'."
    ]
