"""What recordings of known content say of their runs."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from tests.unit.numeric.test_sweeps import recording, torque_at
from toolkit.brief.dyno_log import DynoLog, StandardRule, SteadyRule, SweepRule
from toolkit.brief.model import Held
from toolkit.intake.dyno_file import Recording
from toolkit.intake.dyno_summary import of_json, summarise

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
    found = summarise(made(coolant=90.0), RULE, [OIL, COOLANT], run_id="R01")
    assert told(found) == []
    assert (found.hours, found.gaps, found.restarts, found.longest_gap_h) == (pytest.approx(2.0), 0, 0, 0.0)
    assert (found.gaps_h, found.files, len(found.excursions)) == (0.0, ("R01.csv",), 0)
    assert found.channels["channel"].tolist() == ["sump_temp_degC", "coolant_temp_degC"]
    assert found.channels["inside_pct"].tolist() == [100.0, 100.0]
    assert found.channels["quality_index"].tolist() == [1.0, 1.0]
    places = np.arange(2500.0, 4501.0, 100.0)
    assert found.sweeps["counts"].tolist() == [False, True, True, True, True, True]
    assert found.curves.groupby("number")["speed_rpm"].apply(list).tolist() == [places.tolist()] * 6
    assert found.figures["sweep torque"] == pytest.approx(torque_at(places).mean(), rel=0.004)
    assert found.figures["sweep power"] == pytest.approx(
        (torque_at(places) * places).mean() * 2.0 * np.pi / 60_000.0, rel=0.004
    )
    # 190 Nm at 3600 r/min, told at the step of the window next to it; readings scatter by 2 %.
    assert found.figures["peak torque"] == pytest.approx(190.0, rel=0.01)
    assert found.figures["raw sweep torque"] == found.figures["sweep torque"] == found.given("sweep torque")
    # No trend was put in: its interval holds nought.
    assert found.trend["sweeps"] == 5.0 and found.trend["low"] < 0.0 < found.trend["high"]
    assert (found.given("hours"), found.given("gaps"), found.given("longest gap")) == (found.hours, 0.0, 0.0)
    assert found.given("sump_temp_degC") == pytest.approx(100.0)


def test_a_hot_half_hour_asks_for_a_review_and_makes_nothing_invalid():
    found = summarise(made(oil=105.0, coolant=90.0), RULE, [OIL], run_id="R01")
    row = found.channels.iloc[0]
    # A quarter of the time 5 above target, with half a window of 1.5: 1 - 0.25 (5 / 1.5)^2.
    assert row["quality_index"] == pytest.approx(1.0 - 0.25 * (5.0 / 1.5) ** 2, rel=1e-6)
    assert row["deviation_pct"] == pytest.approx(100.0 * 0.25 * 3.5 / 1.5, rel=1e-3)
    assert (row["mean"], row["inside_pct"]) == (pytest.approx(101.25, rel=1e-6), pytest.approx(75.0, abs=0.01))
    assert (row["excursions"], row["furthest"], row["over_range"]) == (1, 105.0, 0)
    assert found.excursions.to_dict("records") == [
        {"channel": "sump_temp_degC", "from_h": pytest.approx(0.5), "to_h": pytest.approx(1.0), "furthest": 105.0}
    ]
    # Nobody is judged here.
    assert told(found) == []
    shown = found.shown[found.shown["channel"] == "sump_temp_degC"]
    assert len(shown) == 300 and shown["highest"].tolist().count(105.0) in (75, 76)


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
    found = summarise(cut, RULE, [OIL, COOLANT], run_id="R01")
    assert found.channels["readings"].tolist() == [70_800, 0] and found.channels["mean"][1] is None
    assert told(found) == [
        ("note", "sweeps", None, "5 full-load sweeps"),
        ("note", "recording", None, "1 gap, 0.0334 h in all, the longest 0.0334 h"),
        (
            "note",
            "recording",
            None,
            "1 time the clock went back (first from 4119.9 s to 0 s): a restart, or a clock that was set",
        ),
    ]
    assert (found.gaps, found.restarts) == (1, 1)
    assert found.gaps_h == found.longest_gap_h == pytest.approx(120.1 / 3600.0)
    assert found.hours == pytest.approx(2.0 - 120.0 / 3600.0, abs=1e-3)


def test_a_summary_is_the_same_when_it_was_kept():
    found = summarise(made(oil=105.0, coolant=90.0), RULE, [OIL, COOLANT], run_id="R01")
    again = of_json(json.loads(json.dumps(found.to_json(), allow_nan=False)))
    assert json.dumps(again.to_json()) == json.dumps(found.to_json())
    for name in ("channels", "excursions", "shown", "sweeps", "curves"):
        assert getattr(again, name).equals(getattr(found, name))


def test_windows_are_judged_by_steady_readings_alone():
    # Hot by 5 while the engine warms up: the second half hour of two.
    whole = made(oil=105.0)
    speed = np.full(len(whole.time_s), 2500.0, dtype=np.float32)
    speed[:36_000] = 900.0
    recording = Recording(whole.time_s, {**whole.channels, "speed_rpm": speed}, (), whole.files)
    rule = replace(RULE, sweeps=None, steady=SteadyRule({"speed_rpm": (2000.0, 3000.0)}, settle_s=60.0))
    row = summarise(recording, rule, [OIL], run_id="R01").channels.iloc[0]
    assert (row["readings"], row["excursions"], row["mean"]) == (36_000 - 600, 0, pytest.approx(100.0))
    found = summarise(recording, replace(rule, steady=None), [OIL], run_id="R01").channels.iloc[0]
    assert (found["readings"], found["excursions"]) == (72_000, 1)


def test_full_load_figures_at_standard_conditions_and_raw_ones_beside():
    whole = made()
    air = {"air_kPa": 98.0, "air_degC": 32.0, "humidity_pct": 40.0}
    channels = {name: np.full(len(whole.time_s), value, dtype=np.float32) for name, value in air.items()}
    recording = Recording(whole.time_s, {**whole.channels, **channels}, (), whole.files)
    rule = replace(
        RULE,
        columns={**RULE.columns, **{name: name for name in air}},
        standard=StandardRule("J1349", "naturally aspirated", "air_kPa", "air_degC", "humidity_pct"),
    )
    found = summarise(recording, rule, [OIL], run_id="R01")
    # 980 mbar, 32 degrees, 40 %: SAE J1349 of 1990 gives 1.0498 (worked example, four places).
    assert found.sweeps["factor"].astype(float).tolist() == pytest.approx([1.0498] * 6, abs=5e-5)
    assert found.figures["sweep power"] / found.figures["raw sweep power"] == pytest.approx(1.0498, abs=5e-5)
    assert told(found) == []
    # In the mountains the form does not hold: no figure, and the raw one beside.
    channels["air_kPa"][:] = 85.0
    recording = Recording(whole.time_s, {**whole.channels, **channels}, (), whole.files)
    high = summarise(recording, rule, [OIL], run_id="R01")
    assert high.figures["sweep power"] is None
    assert high.figures["raw sweep power"] == pytest.approx(found.figures["raw sweep power"], rel=1e-9)
    [(severity, rule_name, _, text)] = told(high)
    assert (severity, rule_name) == ("note", "standard conditions")
    # 850 - 0.4 * 47.57 mbar dry: 1.18 * 990 / 830.97 * sqrt(305 / 298) - 0.18.
    assert text == "factor of 5 of 5 sweeps: 1.2422, 1.2422, 1.2422"


def test_readings_that_speak_for_longer_count_for_more():
    # One reading a minute at 100, and ten seconds of ten readings a second at 105: 10 of 610 s.
    at = np.concatenate([np.arange(0.0, 600.0, 60.0), 600.0 + np.arange(0.0, 10.0, 0.1)])
    sump = np.where(at < 600.0, 100.0, 105.0).astype(np.float32)
    rule = DynoLog(time="t", columns={"sump_temp_degC": "T"}, longest_step_s=61.0)
    row = summarise(Recording(at, {"sump_temp_degC": sump}, (), ("a.csv",)), rule, [OIL], run_id="R01").channels.iloc[0]
    assert row["mean"] == pytest.approx(100.0 + 5.0 * 10.0 / 610.0, rel=1e-6)
    assert row["quality_index"] == pytest.approx(1.0 - 10.0 / 610.0 * (5.0 / 1.5) ** 2, rel=1e-6)
