"""What recordings of known content say of their runs."""

from __future__ import annotations

import numpy as np
import pytest

from tests.unit.numeric.test_sweeps import recording, torque_at
from toolkit.brief.dyno_log import DynoLog, SweepRule
from toolkit.brief.model import Held
from toolkit.intake.dyno_file import Recording
from toolkit.intake.dyno_summary import summarise

SWEEPS = SweepRule(
    speed="speed_rpm",
    torque="torque_Nm",
    load="torque_Nm",
    low_rpm=1500.0,
    high_rpm=5500.0,
    full_load=180.0,
    shortest_s=30.0,
    window_rpm=(2500.0, 4500.0),
    step_rpm=100.0,
    asked=6,
)
RULE = DynoLog(
    time="t",
    columns={"speed_rpm": "N", "torque_Nm": "M", "sump_temp_degC": "T", "coolant_temp_degC": "C"},
    sweeps=SWEEPS,
)
OIL = Held("sump_temp_degC", 100.0, (98.5, 101.5), (94.0, 106.0))
COOLANT = Held("coolant_temp_degC", 90.0, (88.0, 92.0))


def made(*, oil=100.0, coolant=np.nan, seed=1):
    """Two hours with sweeps; the sump as given over the second half hour, the coolant never recorded."""
    at, speed, torque, _ = recording(seed)
    sump = np.full(len(at), 100.0)
    sump[18_000:36_000] = oil
    channels = {
        "speed_rpm": speed,
        "torque_Nm": torque,
        "sump_temp_degC": sump,
        "coolant_temp_degC": np.full(len(at), coolant),
    }
    return Recording(at, {name: values.astype(np.float32) for name, values in channels.items()}, (), ("R01.csv",))


def told(summary):
    return [(row["severity"], row["rule"], row["column"], row["found"]) for row in summary.findings]


def test_a_clean_run_has_no_finding():
    found = summarise(
        made(coolant=90.0), RULE, [OIL, COOLANT], run_id="R01", run_time_h=Held("run_time_h", 2.0, (1.99, 2.01))
    )
    assert told(found) == []
    assert (found.hours, found.gaps, found.restarts, found.longest_gap_h) == (pytest.approx(2.0), 0, 0, 0.0)
    assert found.channels["channel"].tolist() == ["sump_temp_degC", "coolant_temp_degC"]
    assert found.channels["inside_pct"].tolist() == [100.0, 100.0]
    assert found.channels["quality_index"].tolist() == [1.0, 1.0]
    assert len(found.sweeps) == len(found.curves) == 6
    places = np.arange(2500.0, 4501.0, 100.0)
    assert (found.figures.sweeps, found.figures.left_out) == (5, 1)
    assert found.figures.torque == pytest.approx(torque_at(places).mean(), rel=0.004)


def test_a_hot_half_hour_asks_for_a_review_and_makes_nothing_invalid():
    found = summarise(made(oil=105.0, coolant=90.0), RULE, [OIL], run_id="R01")
    row = found.channels.iloc[0]
    # A quarter of the time 5 above target, with half a window of 1.5: 1 - 0.25 (5 / 1.5)^2.
    assert row["quality_index"] == pytest.approx(1.0 - 0.25 * (5.0 / 1.5) ** 2, rel=1e-6)
    assert row["deviation_pct"] == pytest.approx(100.0 * 0.25 * 3.5 / 1.5, rel=1e-3)
    assert (row["mean"], row["inside_pct"]) == (pytest.approx(101.25, rel=1e-6), pytest.approx(75.0, abs=0.01))
    assert (row["excursions"], row["furthest"], row["over_range"]) == (1, 105.0, 0)
    assert told(found) == [
        (
            "exclude",
            "quality index",
            "sump_temp_degC",
            "quality index -1.78: 75 % of the time within 98.5 to 101.5 °C, furthest 105 °C",
        )
    ]
    assert found.findings[0]["action"] == (
        "an engineer reviews the run before its wear is looked at; the index alone makes no run invalid"
    )


def test_readings_beyond_the_hard_limits_are_cut_off_and_counted():
    row = summarise(made(oil=150.0), RULE, [OIL], run_id="R01").channels.iloc[0]
    assert row["quality_index"] == pytest.approx(1.0 - 0.25 * (6.0 / 1.5) ** 2, rel=1e-6)
    assert (row["over_range"], row["under_range"], row["furthest"]) == (18_000, 0, 150.0)


def test_gaps_restart_a_silent_channel_a_missing_sweep_and_short_hours():
    whole = made()
    kept = np.ones(len(whole.time_s), dtype=bool)
    kept[5_500:6_700] = False
    shown = whole.time_s[kept].copy()
    shown[40_000:] -= shown[40_000]
    cut = Recording(shown, {name: values[kept] for name, values in whole.channels.items()}, (), whole.files)
    found = summarise(cut, RULE, [OIL, COOLANT], run_id="R01", run_time_h=Held("run_time_h", 2.0, (1.99, 2.01)))
    assert told(found) == [
        ("exclude", "recording", "coolant_temp_degC", "0 readings"),
        ("note", "sweeps", None, "5 full-load sweeps"),
        ("note", "recording", None, "1 gap, 0.0334 h in all, the longest 0.0334 h"),
        (
            "note",
            "recording",
            None,
            "1 time the clock went back (first from 4119.9 s to 0 s): a restart, or a clock that was set",
        ),
        ("exclude", "run time", "run_time_h", "1.967 h recorded"),
    ]
    assert (found.gaps, found.restarts) == (1, 1)
    assert found.hours == pytest.approx(2.0 - 120.0 / 3600.0, abs=1e-3)
