"""Wear between two traces: simulated surfaces of known wear, set up anew on the gauge between before and after."""

from __future__ import annotations

import numpy as np
import pytest

from toolkit.errors import IntakeError
from toolkit.numeric import traces

GAUGE = 0.1
STEP = 0.1
POSITION = np.arange(-60.0, 60.0 + STEP / 2, STEP)
# Flanks of the reference zones have slopes of up to 90 micrometres a degree, as those of a lobe.
REFERENCE = ((-55.0, -25.0), (25.0, 55.0))
WORN = (-12.05, 12.05)
SHIFT, OFFSET, TILT = 0.23, 4.0, 0.02


def surface(at):
    """A lobe: lift over the angle [micrometre]."""
    return 4000.0 * np.exp(-0.5 * (at / 26.0) ** 2)


def depth(at):
    """The wear put in [micrometre]: 3 at the nose, none outside 12 degrees."""
    return np.where(np.abs(at) < 12.0, 3.0 * np.cos(np.pi * at / 24.0) ** 2, 0.0)


def pair(draw, *, surface=surface, depth=depth):
    """Before and after, each with its own scatter; the part lies otherwise on the gauge the second time."""
    before = surface(POSITION) + draw.normal(0.0, GAUGE, len(POSITION))
    moved = surface(POSITION - SHIFT) + OFFSET + TILT * (POSITION - POSITION.mean())
    after = moved - depth(POSITION) + draw.normal(0.0, GAUGE, len(POSITION))
    return POSITION, before, POSITION, after


def test_bias_below_a_twentieth_and_scatter_as_told_over_500_traces():
    draw = np.random.default_rng(20261)
    truth = float(depth(POSITION[np.abs(POSITION) <= 12.05]).mean())
    found, told = np.empty(500), np.empty(500)
    settled = np.empty((500, 3))
    for turn in range(500):
        made = traces.align(*pair(draw), REFERENCE)
        wear = traces.worn(made, WORN)
        found[turn], told[turn] = wear.mean, wear.std_error
        settled[turn] = made.shift, made.offset, made.tilt
    assert abs(found.mean() - truth) < 0.05
    # SD of 500 draws: a relative standard error of 3 %, so that 1.2 lies far beyond chance and 0.8 too.
    assert 0.8 < found.std(ddof=1) / told.mean() < 1.2
    assert settled.mean(axis=0) == pytest.approx([SHIFT, OFFSET, TILT], abs=0.01)


def test_greatest_and_area_of_a_known_wear():
    made = traces.align(*pair(np.random.default_rng(5)), REFERENCE)
    wear = traces.worn(made, WORN)
    # The area of 3 cos^2 over 24 degrees is 36; the mean of five neighbours near the top is 3.00 to three digits.
    assert wear.area == pytest.approx(36.0, abs=4.0 * wear.area_std_error)
    assert wear.greatest == pytest.approx(3.0, abs=0.15)
    assert abs(wear.greatest_at) < 3.0
    assert made.scatter == pytest.approx(GAUGE, rel=0.15)
    assert wear.std_error == pytest.approx(np.hypot(wear.of_readings, wear.of_alignment), rel=1e-12)
    assert wear.of_readings == pytest.approx(made.scatter * np.sqrt(2 / 241), rel=1e-9)


def test_no_wear_is_no_wear():
    draw = np.random.default_rng(9)
    wear = [traces.worn(traces.align(*pair(draw, depth=np.zeros_like), REFERENCE), WORN) for _ in range(40)]
    scaled = np.array([item.mean / item.std_error for item in wear])
    # 40 standard normal values: chance leaves the mean square within 0.35 and 2.1 with more than 0.9999.
    assert 0.35 < np.mean(scaled**2) < 2.1


def test_units_of_height_and_position_change_nothing_but_the_unit():
    given = pair(np.random.default_rng(3))
    one = traces.worn(traces.align(*given, REFERENCE), WORN)
    x0, y0, x1, y1 = given
    zones = [(low * 60.0, high * 60.0) for low, high in REFERENCE]
    other = traces.worn(traces.align(x0 * 60.0, y0 / 1000.0, x1 * 60.0, y1 / 1000.0, zones), (-723.0, 723.0))
    assert other.mean * 1000.0 == pytest.approx(one.mean, rel=1e-6)
    assert other.std_error * 1000.0 == pytest.approx(one.std_error, rel=1e-6)
    assert other.area * 1000.0 / 60.0 == pytest.approx(one.area, rel=1e-6)


def test_flat_reference_zones_show_no_shift_and_it_is_said():
    made = traces.align(*pair(np.random.default_rng(4), surface=lambda at: np.zeros(len(at))), REFERENCE)
    assert made.moved == ("offset", "tilt")
    assert made.shift == 0.0
    assert made.notes == (
        "the reference zones are too flat to show a shift along the surface; none was looked for",
    )
    assert traces.worn(made, WORN).mean == pytest.approx(1.5, abs=0.08)


def test_a_worn_zone_among_the_reference_zones_would_hide_the_wear():
    given = pair(np.random.default_rng(6))
    honest = traces.worn(traces.align(*given, REFERENCE), WORN).mean
    hidden = traces.worn(traces.align(*given, [(-55.0, 55.0)]), WORN).mean
    assert hidden < 0.9 * honest


def test_every_fault_at_once():
    with pytest.raises(IntakeError) as told:
        traces.align([0, 1, 1, 2, 3, 4, 5, 6], range(8), range(5), [0, 1, 2, 3, np.nan], [(3, 1)], moves=["turn"])
    assert str(told.value) == (
        "The traces cannot be brought together.\n"
        "  positions before: reading 3 is not beyond the one before; expected positions that rise.\n"
        "  heights after: a missing value was given; expected a finite number.\n"
        "  trace after: 5 readings; expected at least 8.\n"
        "  moves: turn was given; expected some of shift, offset, tilt.\n"
        "  reference zone 3 to 1: empty; expected from below to above."
    )


def test_a_zone_that_a_trace_does_not_reach_is_refused():
    x0, y0, x1, y1 = pair(np.random.default_rng(8))
    made = traces.align(x0[x0 < 5.0], y0[x0 < 5.0], x1, y1, [(-55.0, -25.0)])
    with pytest.raises(IntakeError) as told:
        traces.worn(made, WORN, neighbours=4)
    assert str(told.value) == (
        "The wear of the zone cannot be told.\n"
        "  neighbours: 4 was given; expected an odd number from 1.\n"
        "  zone -12.05 to 12.05: the trace before reaches 172 of 241 readings; expected both traces over the whole "
        "zone."
    )
