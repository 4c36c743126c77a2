"""Sweeps among the cycles of a two-hour recording, with scatter, gaps and a restart; curves known in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from toolkit.errors import IntakeError
from toolkit.numeric import log_clock, sweeps

HERTZ = 10.0
LOW, HIGH = 1500.0, 5500.0
FOUND_BY = {"low": LOW, "high": HIGH, "full_load": 180.0, "shortest_s": 30.0}


def torque_at(speed):
    """Full-load torque [Nm], a parabola with 190 Nm at 3600 r/min."""
    return 190.0 - 12.0 * ((speed - 3600.0) / 1000.0) ** 2


def recording(seed, *, noise=0.02, hours=2.0, every_s=1200.0, took_s=60.0):
    """What the clock showed, speed, torque and the times run at which sweeps began."""
    draw = np.random.default_rng(seed)
    at = np.arange(0.0, hours * 3600.0, 1.0 / HERTZ)
    # Cycles of a minute and a half between 1500 and 3500 r/min, some at full load, one quick pull up to 5400.
    phase = (at % 90.0) / 90.0
    speed = 2500.0 - 1000.0 * np.cos(2.0 * np.pi * phase)
    torque = np.where((at // 90.0) % 4 == 0, torque_at(speed), 60.0 + 40.0 * np.sin(2.0 * np.pi * phase))
    quick = (at >= 500.0) & (at < 508.0)
    speed[quick] = 1500.0 + 3900.0 * (at[quick] - 500.0) / 8.0
    torque[quick] = torque_at(speed[quick])
    begun = np.arange(600.0, hours * 3600.0 - took_s, every_s)
    for start in begun:
        during = (at >= start) & (at < start + took_s)
        speed[during] = LOW + (HIGH - LOW) * (at[during] - start) / took_s
        torque[during] = torque_at(speed[during])
    speed = speed * (1.0 + draw.normal(0.0, noise, len(at)))
    torque = torque * (1.0 + draw.normal(0.0, noise, len(at)))
    return at, speed, torque, begun


@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5])
def test_all_sweeps_are_found_and_no_other_with_gaps_and_a_restart(seed):
    at, speed, torque, begun = recording(seed)
    kept = np.ones(len(at), dtype=bool)
    for start, length in ((300.0, 40.0), (2500.0, 200.0), (5000.0, 15.0)):
        kept &= ~((at >= start) & (at < start + length))
    shown, speed, torque = at[kept].copy(), speed[kept], torque[kept]
    half = len(shown) // 2
    shown[half:] -= shown[half] - 3.0
    made = log_clock.clock(shown, longest_step_s=5.0)
    assert [item.kind for item in made.breaks] == ["gap", "gap", "set back or started anew", "gap"]
    found = sweeps.find(made.run, speed, torque, **FOUND_BY)
    # The time run leaves the gaps out.
    gaps = ((300, 40), (2500, 200), (5000, 15))
    lost = np.array([sum(length - 0.1 for start, length in gaps if start < b) for b in begun])
    assert len(found) == len(begun) == 6
    assert [item.begun for item in found] == pytest.approx(list(begun - lost), abs=6.0)
    assert all(50.0 <= item.took <= 62.0 for item in found)


def test_without_sweeps_none_is_found():
    at, speed, torque, begun = recording(7, every_s=1e9, hours=0.15)
    assert len(begun) == 0
    assert sweeps.find(at, speed, torque, **FOUND_BY) == ()


def test_a_sweep_at_part_load_is_none():
    at, speed, torque, begun = recording(8, hours=0.5)
    assert len(sweeps.find(at, speed, torque, **FOUND_BY)) == len(begun) == 1
    assert sweeps.find(at, speed, 0.7 * torque, **FOUND_BY) == ()


def test_curve_and_figures_against_the_closed_form():
    at, speed, torque, begun = recording(11)
    curves = [
        sweeps.curve(speed[s.first : s.last + 1], torque[s.first : s.last + 1], low=1800.0, high=5200.0, step=100.0)
        for s in sweeps.find(at, speed, torque, **FOUND_BY)
    ]
    made = sweeps.figures(curves, window=(2500.0, 4500.0), leave_out=1)
    places = np.arange(2500.0, 4501.0, 100.0)
    assert (made.sweeps, made.left_out) == (5, 1)
    # 2 % of one reading over some 315 readings of a window and five sweeps: 0.1 %.
    assert made.torque == pytest.approx(torque_at(places).mean(), rel=0.004)
    assert made.power == pytest.approx((torque_at(places) * places * 2 * np.pi / 60_000).mean(), rel=0.004)
    assert made.peak_torque == pytest.approx(190.0, rel=0.02) and abs(made.peak_torque_at - 3600.0) <= 700.0
    assert 0.0 < made.torque_sd < 0.005 * made.torque


def test_a_linear_curve_is_told_exactly():
    speed = np.linspace(1000.0, 5000.0, 401)
    made = sweeps.curve(speed, 100.0 + 0.01 * speed, low=1000.0, high=5000.0, step=500.0)
    assert made.torque[1:-1] == pytest.approx(100.0 + 0.01 * made.speed[1:-1], rel=1e-12)
    assert made.power == pytest.approx(made.torque * made.speed * np.pi / 30_000.0, rel=1e-12)


def risen(values, fall):
    """Rises by the rule itself, reading after reading: from the last lowest place to the first highest one."""
    made, low, top = [], 0, None
    for at, value in enumerate(values):
        if top is None:
            low = at if value <= values[low] else low
            top = at if value > values[low] + fall else None
        elif value > values[top]:
            top = at
        elif value < values[top] - fall:
            made.append((low, top))
            low, top = at, None
    return made + [(low, top)] * (top is not None)


def test_turning_points_tell_the_same_rises_as_every_reading():
    draw = np.random.default_rng(12)
    for number in range(400):
        count = int(draw.integers(1, 40))
        # Whole numbers for level stretches, at either end too; and walks.
        values = draw.integers(0, 5, count).astype(float) if number % 2 else np.cumsum(draw.normal(size=count))
        fall = float(draw.choice([0.5, 1.0, 2.0]))
        assert sweeps._rises(values, fall) == risen(values.tolist(), fall), values.tolist()


@pytest.mark.parametrize("width", [1, 2, 7, 20, 50])
def test_smoothing_is_the_mean_of_the_neighbours_that_are_there(width):
    values = np.random.default_rng(13).normal(size=30).astype(np.float32)
    half = width // 2
    plain = [float(values[max(at - half, 0) : at + half + 1].astype(float).mean()) for at in range(30)]
    assert sweeps._smoothed(values, width) == pytest.approx(plain if width > 1 else values.astype(float), abs=1e-12)


def test_one_sweep_says_nothing_of_scatter():
    one = sweeps.curve(np.linspace(1000, 5000, 401), np.full(401, 150.0), low=1000.0, high=5000.0, step=500.0)
    made = sweeps.figures([one, one], window=(1500.0, 4500.0))
    assert (made.sweeps, made.torque, made.torque_sd) == (1, pytest.approx(150.0), 0.0)


def test_every_fault_at_once():
    with pytest.raises(IntakeError) as told:
        sweeps.find([0.0, 1.0], [1.0], [np.nan, 2.0], low=3.0, high=2.0, full_load=0.0, shortest_s=-1.0)
    assert str(told.value) == (
        "Sweeps cannot be looked for.\n"
        "  readings: 2 times, 1 speeds, 2 loads; expected as many of each.\n"
        "  load: a missing value was given; expected a finite number.\n"
        "  speeds of a sweep: 3 to 2 r/min; expected from low to high.\n"
        "  full load: 0 was given; expected a number above 0.\n"
        "  shortest sweep: -1 was given; expected a number above 0."
    )
    one = sweeps.curve(np.linspace(1000, 5000, 401), np.full(401, 150.0), low=1000.0, high=5000.0, step=500.0)
    with pytest.raises(IntakeError) as told:
        sweeps.figures([one], window=(1500.0, 4500.0))
    assert str(told.value) == (
        "The sweeps of the run cannot be told in figures.\n"
        "  sweeps: 1, of which 1 are left out by rule; expected at least one that counts."
    )
    with pytest.raises(IntakeError) as told:
        sweeps.curve([1000.0, 2000.0], [1.0, 1.0], low=1000.0, high=5000.0, step=500.0)
    assert str(told.value) == (
        "The curve of the sweep cannot be told.\n"
        "  sweep: reaches from 1000 to 2000 r/min; expected from 1000 to 5000 r/min."
    )
