"""Quality index, per cent deviation and time in the window: worked figures, and steps of known height and length."""

from __future__ import annotations

import numpy as np
import pytest

from toolkit.errors import IntakeError
from toolkit.numeric import run_quality as quality

WORKED = [99.5, 100.4, 101.2, 98.9, 103.4]


def test_worked_example_cut_off_and_not():
    # Worked by hand: the mean of ((200 - 2 x) / 6)^2 is 0.3247, with 103.4 read as 103 it is 0.2678.
    assert round(quality.quality_index(WORKED, 97.0, 103.0).index, 3) == 0.675
    cut = quality.quality_index(WORKED, 97.0, 103.0, under_range=97.0, over_range=103.0)
    assert (round(cut.index, 3), cut.readings, cut.under, cut.over, cut.review) == (0.732, 5, 0, 1, False)


def test_on_target_at_the_limits_and_beyond():
    assert quality.quality_index([100.0] * 4, 97.0, 103.0).index == 1.0
    assert quality.quality_index([97.0, 103.0], 97.0, 103.0).index == pytest.approx(0.0, abs=1e-12)
    far = quality.quality_index([110.0, 90.0], 97.0, 103.0, under_range=94.0, over_range=106.0)
    assert (far.index, far.under, far.over, far.review) == (pytest.approx(-3.0, abs=1e-12), 1, 1, True)


def test_time_and_deviation_of_steps_of_known_height_and_length():
    at = np.arange(0.0, 10.0, 0.1)
    found = np.full(len(at), 100.0)
    found[20:30] = 104.5
    found[60:65] = 97.0
    made = quality.kept(at, found, 98.5, 101.5, longest_step_h=0.1 + 1e-9)
    assert made.hours == pytest.approx(10.0, rel=1e-9)
    assert made.inside == pytest.approx(0.85, rel=1e-9)
    # 8.5 h at 100, 1 h at 104.5, half an hour at 97.
    assert made.mean == pytest.approx(100.3, rel=1e-9)
    # 1 h at 3 beyond (twice half the window of 1.5), half an hour at 1.5 beyond: (2 * 1 + 1 * 0.5) / 10.
    assert made.deviation_pct == pytest.approx(25.0, rel=1e-9)
    assert made.starts == pytest.approx([2.0, 6.0]) and made.ends == pytest.approx([3.0, 6.5])
    assert made.furthest.tolist() == [104.5, 97.0]


def test_a_gap_counts_neither_inside_nor_outside_and_ends_a_stretch():
    at = [0.0, 0.1, 0.2, 5.0, 5.1]
    made = quality.kept(at, [100.0, 110.0, 110.0, 110.0, 100.0], 98.0, 102.0, longest_step_h=0.1)
    assert made.hours == pytest.approx(0.5)
    assert made.inside == pytest.approx(0.4)
    # The reading before the gap speaks for no longer than the others.
    assert made.mean == pytest.approx(106.0)
    assert made.starts == pytest.approx([0.1, 5.0]) and made.ends == pytest.approx([0.3, 5.1])


def test_all_inside_has_no_stretch():
    made = quality.kept([0.0, 1.0], [1.0, 2.0], 0.0, 3.0, longest_step_h=2.0)
    assert (made.inside, made.deviation_pct, len(made.starts)) == (1.0, 0.0, 0)


def test_every_fault_at_once():
    with pytest.raises(IntakeError) as told:
        quality.quality_index([], 103.0, 97.0, under_range=104.0, over_range=96.0)
    assert str(told.value) == (
        "How well the channel kept to its target cannot be worked out.\n"
        "  limits: 103 to 97 was given; expected a lower limit below the upper one.\n"
        "  readings: none was given; expected at least one.\n"
        "  under-range limit: 104 was given; expected at most the lower limit 103.\n"
        "  over-range limit: 96 was given; expected at least the upper limit 97."
    )
    with pytest.raises(IntakeError) as told:
        quality.kept([0.0, 0.2, 0.1], [1.0, np.nan, 2.0], 0.0, 1.0, longest_step_h=0.0)
    assert str(told.value) == (
        "How well the channel kept to its target cannot be worked out.\n"
        "  readings: a missing value was given; expected a finite number.\n"
        "  longest step: 0 was given; expected a number above 0.\n"
        "  time: reading 3 is not later than the one before; expected times that rise."
    )


def test_readings_are_steady_once_conditions_have_held_long_enough():
    at = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 20.0, 21.0, 22.0])
    within = np.array([1, 1, 1, 0, 1, 1, 1, 1, 1], dtype=bool)
    found = quality.steady(at, within, settle_s=1.0, longest_step_s=5.0)
    # Anew after the reading outside at 3 s, and after the gap up to 20 s.
    assert found.tolist() == [False, True, True, False, False, True, False, True, True]
    assert quality.steady(at, within, settle_s=0.0, longest_step_s=5.0).tolist() == within.tolist()
    with pytest.raises(IntakeError) as told:
        quality.steady([0.0, 1.0], [True], settle_s=0.0, longest_step_s=5.0)
    assert str(told.value) == (
        "How well the channel kept to its target cannot be worked out.\n"
        "  time: 2 times for 1 readings; expected as many of both."
    )
