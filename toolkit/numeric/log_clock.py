"""The clock of a recording: what it counts as time run, and where it stopped, started anew or was set.

May import numpy and the error classes. Nothing is put in order silently: every place where the clock did not simply go
on is told.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import IntakeError, raise_all
from toolkit.numeric import _guards as guards

GAP, BACK, TWICE = "gap", "set back or started anew", "same time twice"
# A recording keeps its own step to within this factor; more is a reading left out.
_OFF_STEP = 1.5


@dataclass(frozen=True)
class Break:
    """A place where the clock did not simply go on.

    Attributes
    ----------
    at : int
        Number of the reading after it, counted from 0.
    kind : str
        gap, set back or started anew, same time twice.
    before, after : float
        What the clock showed [s].
    """

    at: int
    kind: str
    before: float
    after: float

    @property
    def length(self) -> float:
        """How long nothing was recorded [s]; nought where that cannot be told."""
        return self.after - self.before if self.kind == GAP else 0.0


@dataclass(frozen=True, eq=False)
class Clock:
    """Time run of a recording.

    Attributes
    ----------
    run : ndarray, shape (readings,)
        Time run at each reading [s], from 0, rising; a gap adds one usual step and no more.
    step : float
        The usual time between readings [s].
    breaks : tuple of Break
    """

    run: NDArray[np.float64]
    step: float
    breaks: tuple[Break, ...]

    @property
    def hours(self) -> float:
        """Hours that the readings speak for."""
        return float((self.run[-1] + self.step) / 3600.0)

    @property
    def longest_gap(self) -> float:
        """The longest gap [s]; nought when there is none."""
        return max((item.length for item in self.breaks), default=0.0)


def clock(time_s: ArrayLike, *, longest_step_s: float) -> Clock:
    """Give back the time run of a recording and every place where its clock did not simply go on.

    Parameters
    ----------
    time_s : array_like
        What the clock showed at each reading [s], as recorded.
    longest_step_s : float
        A longer step is a gap: nothing is known of the time in it and it is not credited.

    Returns
    -------
    Clock

    Raises
    ------
    IntakeError
        When fewer than two readings are there, or a time is missing.

    Notes
    -----
    The usual step is the median of the steps that go forward. A step backwards is a restart of the counter or a clock
    that was set back: how long the pause was cannot be told, so that one usual step is counted. A reading at the same
    time as the one before counts with a step of nought told as such, and is moved on by a thousandth of a step.

    Checked against: recordings with known gaps, restarts and doubled readings, tests/unit/numeric/test_log_clock.py.
    """
    shown = np.asarray(time_s, dtype=float).ravel()
    faults = guards.finite("time", shown) + guards.positive("longest step", longest_step_s)
    raise_all(IntakeError, "The clock of the recording cannot be read.", faults)
    if len(shown) < 2:
        raise IntakeError(
            f"The clock of the recording cannot be read.\n  time: readings: {len(shown)}; expected at least 2."
        )
    steps = np.diff(shown)
    forward = steps[(steps > 0.0) & (steps <= longest_step_s)]
    if not len(forward):
        raise IntakeError(
            "The clock of the recording cannot be read.\n  time: no reading follows another within the longest step of "
            f"{longest_step_s:g} s; expected a recording. Is the time in another unit?"
        )
    usual = float(np.median(forward))
    places = np.flatnonzero((steps > longest_step_s) | (steps <= 0.0))
    breaks = tuple(
        Break(int(place) + 1, _kind(steps[place]), float(shown[place]), float(shown[place + 1])) for place in places
    )
    counted = steps
    counted[places] = np.where(steps[places] == 0.0, usual * 1e-3, usual)
    return Clock(np.concatenate([[0.0], np.cumsum(counted)]), usual, breaks)


def _kind(step: float) -> str:
    """What a step that does not simply go on is."""
    return GAP if step > 0.0 else BACK if step < 0.0 else TWICE


def left_out(made: Clock) -> int:
    """Give back how many readings seem to be left out between others, apart from gaps.

    Parameters
    ----------
    made : Clock

    Returns
    -------
    int

    Notes
    -----
    Steps of more than 1.5 usual ones are counted by how many usual steps they hold, less one.

    Checked against: tests/unit/numeric/test_log_clock.py.
    """
    steps = np.diff(made.run)
    long = steps > _OFF_STEP * made.step
    return int(np.sum(np.round(steps[long] / made.step) - 1))
