"""Time run of recordings with known gaps, restarts and doubled readings."""

from __future__ import annotations

import numpy as np
import pytest

from toolkit.errors import IntakeError
from toolkit.numeric import log_clock


def test_an_even_clock_runs_as_shown():
    made = log_clock.clock(np.arange(50.0, 60.0, 0.1), longest_step_s=1.0)
    assert made.run == pytest.approx(np.arange(0.0, 10.0, 0.1))
    assert (made.step, made.breaks, made.longest_gap) == (pytest.approx(0.1), (), 0.0)
    assert made.hours == pytest.approx(10.0 / 3600.0)


def test_gap_restart_and_doubled_reading_are_told_and_not_credited():
    shown = [0.0, 1.0, 2.0, 62.0, 63.0, 0.0, 1.0, 1.0, 2.0]
    made = log_clock.clock(shown, longest_step_s=5.0)
    assert [(item.at, item.kind, item.before, item.after, item.length) for item in made.breaks] == [
        (3, "gap", 2.0, 62.0, 60.0),
        (5, "set back or started anew", 63.0, 0.0, 0.0),
        (7, "same time twice", 1.0, 1.0, 0.0),
    ]
    assert made.run == pytest.approx([0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 6.001, 7.001])
    assert (made.longest_gap, made.hours) == (60.0, pytest.approx(8.001 / 3600.0))


def test_readings_left_out_between_others():
    made = log_clock.clock([0.0, 1.0, 2.0, 4.0, 5.0, 8.0, 9.0, 10.0], longest_step_s=5.0)
    assert made.breaks == ()
    assert log_clock.left_out(made) == 3


def test_what_is_no_recording_is_refused():
    with pytest.raises(IntakeError) as told:
        log_clock.clock([0.0, np.nan], longest_step_s=0.0)
    assert str(told.value) == (
        "The clock of the recording cannot be read.\n"
        "  time: a missing value was given; expected a finite number.\n"
        "  longest step: 0 was given; expected a number above 0."
    )
    with pytest.raises(IntakeError) as told:
        log_clock.clock([1.0], longest_step_s=1.0)
    assert str(told.value) == (
        "The clock of the recording cannot be read.\n  time: readings: 1; expected at least 2."
    )
    with pytest.raises(IntakeError) as told:
        log_clock.clock([0.0, 60.0, 120.0], longest_step_s=1.0)
    assert str(told.value) == (
        "The clock of the recording cannot be read.\n"
        "  time: no reading follows another within the longest step of 1 s; "
        "expected a recording. Is the time in another unit?"
    )
