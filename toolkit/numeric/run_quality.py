"""How well a channel kept to its target through a run: quality index, per cent deviation, time in its window.

May import numpy and the error classes. A quality index below nought asks for a review of the run by an engineer; it
never makes a run invalid by itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import Fault, IntakeError, raise_all
from toolkit.numeric import _guards as guards

HEADLINE = "How well the channel kept to its target cannot be worked out."


@dataclass(frozen=True)
class Quality:
    """The quality index of a channel.

    Attributes
    ----------
    index : float
        1: always on target; 0: on average at the limits; below: to be reviewed.
    readings : int
        How many readings it rests on.
    under, over : int
        Readings below the under-range limit and above the over-range limit; they count as these limits.
    """

    index: float
    readings: int
    under: int
    over: int

    @property
    def review(self) -> bool:
        """True when the run should be reviewed by an engineer."""
        return self.index < 0.0


@dataclass(frozen=True, eq=False)
class Kept:
    """Time of a channel inside and outside its window.

    Attributes
    ----------
    hours : float
        Time that the readings speak for [h].
    mean : float
        Of the readings, each weighted by the time it speaks for.
    inside : float
        Share of it inside the window, 0 to 1.
    deviation_pct : float
        Per cent deviation: time outside weighted by how far outside, in half widths of the window.
    starts, ends, furthest : ndarray
        Each stretch outside: from, to [h], and the reading furthest from the window in it.
    """

    hours: float
    mean: float
    inside: float
    deviation_pct: float
    starts: NDArray[np.float64]
    ends: NDArray[np.float64]
    furthest: NDArray[np.float64]


def quality_index(
    readings: ArrayLike,
    low: float,
    high: float,
    *,
    under_range: float | None = None,
    over_range: float | None = None,
    weights: ArrayLike | None = None,
) -> Quality:
    """Give back the quality index of a channel.

    Parameters
    ----------
    readings : array_like
        One channel [its unit]; missing readings are refused, leave them out and count the gap instead.
    low, high : float
        The limits of the index, as a rule tighter than those of an alarm.
    under_range, over_range : float, optional
        Readings beyond them count as if they stood there, and are counted. None: nothing is cut off.
    weights : array_like, optional
        The time that each reading speaks for, where they do not all speak for as long.

    Returns
    -------
    Quality

    Raises
    ------
    IntakeError
        When limits are the wrong way round, or a reading is missing or none is there.

    Notes
    -----
    1 - mean(((U + L - 2 x) / (U - L))^2), the form used with engine tests of lubricants (from memory).

    Checked against: a worked example of five readings, cut off and not, tests/unit/numeric/test_run_quality.py.
    """
    found = np.asarray(readings, dtype=float).ravel()
    faults = _window_faults(low, high) + _readings_faults(found)
    if under_range is not None and under_range > low:
        faults.append(Fault("under-range limit", f"{under_range:g} was given", f"at most the lower limit {low:g}"))
    if over_range is not None and over_range < high:
        faults.append(Fault("over-range limit", f"{over_range:g} was given", f"at least the upper limit {high:g}"))
    raise_all(IntakeError, HEADLINE, faults)
    under = 0 if under_range is None else int((found < under_range).sum())
    over = 0 if over_range is None else int((found > over_range).sum())
    off = np.clip(found, -np.inf if under_range is None else under_range, np.inf if over_range is None else over_range)
    # ((U + L - 2 x) / (U - L))^2 in place: a hundred hours of readings are long.
    off *= 2.0
    np.subtract(high + low, off, out=off)
    off /= high - low
    off *= off
    index = 1.0 - float(np.average(off, weights=weights))
    return Quality(index, len(found), under, over)


def kept(time_h: ArrayLike, readings: ArrayLike, low: float, high: float, *, longest_step_h: float) -> Kept:
    """Give back the time inside a window, the mean over time, per cent deviation, and every stretch outside.

    Parameters
    ----------
    time_h : array_like
        When each reading was taken [h], rising.
    readings : array_like
        One channel [its unit], as many.
    low, high : float
        The window.
    longest_step_h : float
        A reading speaks for the time to the next one, at most so long [h]: what is longer is a gap, and counts
        neither inside nor outside.

    Returns
    -------
    Kept

    Raises
    ------
    IntakeError
        When times do not rise, lengths differ, a reading is missing or none is there.

    Notes
    -----
    Per cent deviation = 100 sum over the time outside of (how far outside / half the window) / time of the readings,
    the form used with engine tests of lubricants (from memory). The last reading speaks for as long as the one before.

    Checked against: steps of known height and length, tests/unit/numeric/test_run_quality.py.
    """
    at, found = np.asarray(time_h, dtype=float).ravel(), np.asarray(readings, dtype=float).ravel()
    faults = _window_faults(low, high) + _readings_faults(found) + guards.finite("time", at)
    faults += guards.positive("longest step", longest_step_h)
    if len(at) != len(found):
        faults.append(Fault("time", f"{len(at)} times for {len(found)} readings", "as many of both"))
    between = np.diff(at)
    if len(at) == len(found) and np.any(between <= 0.0):
        place = int(np.argmax(between <= 0.0)) + 2
        faults.append(Fault("time", f"reading {place} is not later than the one before", "times that rise"))
    raise_all(IntakeError, HEADLINE, faults)
    # A stretch ends where a reading is inside again, or where a gap follows.
    broken = np.append(between > longest_step_h, True)
    steps = np.full(len(at), longest_step_h)
    np.minimum(between, longest_step_h, out=steps[:-1])
    if len(between):
        steps[-1] = steps[-2]
    del between
    beyond = low - found
    np.maximum(beyond, found - high, out=beyond)
    np.maximum(beyond, 0.0, out=beyond)
    outside = beyond > 0.0
    total = float(steps.sum())
    begins = outside & np.concatenate([[True], ~outside[:-1] | broken[:-1]])
    stops = outside & np.concatenate([~outside[1:] | broken[:-1], [True]])
    first, last = np.flatnonzero(begins), np.flatnonzero(stops)
    worst = np.array([found[a + int(np.argmax(beyond[a : b + 1]))] for a, b in zip(first, last, strict=True)])
    # In place, as it is not looked at any more.
    beyond /= 0.5 * (high - low)
    beyond *= steps
    return Kept(
        total,
        float(np.sum(found * steps) / total),
        float(steps[~outside].sum() / total),
        float(100.0 * np.sum(beyond) / total),
        at[first],
        at[last] + steps[last],
        worst,
    )


def steady(time_s: ArrayLike, within: ArrayLike, *, settle_s: float, longest_step_s: float) -> NDArray[np.bool_]:
    """Give back which readings count as steady: those after all conditions have held for long enough without a gap.

    Parameters
    ----------
    time_s : array_like
        When each reading was taken [s], rising.
    within : array_like of bool
        Whether all conditions hold at that reading.
    settle_s : float
        How long they must have held [s]; 0: at once.
    longest_step_s : float
        After a longer step they must hold anew.

    Returns
    -------
    ndarray of bool

    Raises
    ------
    IntakeError
        When lengths differ or a time is missing.

    Notes
    -----
    Checked against: stretches of known length, tests/unit/numeric/test_run_quality.py.
    """
    at, good = np.asarray(time_s, dtype=float).ravel(), np.asarray(within, dtype=bool).ravel()
    faults = guards.finite("time", at)
    if len(at) != len(good):
        faults.append(Fault("time", f"{len(at)} times for {len(good)} readings", "as many of both"))
    raise_all(IntakeError, HEADLINE, faults)
    if not len(at):
        return good
    anew = np.concatenate([[True], ~good[:-1] | (np.diff(at) > longest_step_s)]) & good
    since = np.maximum.accumulate(np.where(anew, at, -np.inf))
    return good & (at - since >= settle_s)


def _window_faults(low: float, high: float) -> list[Fault]:
    """What is wrong with the ends of a window."""
    faults = [*guards.finite("lower limit", low), *guards.finite("upper limit", high)]
    if not faults and not low < high:
        faults.append(Fault("limits", f"{low:g} to {high:g} was given", "a lower limit below the upper one"))
    return faults


def _readings_faults(found: NDArray[np.float64]) -> list[Fault]:
    """What is wrong with the readings."""
    if not len(found):
        return [Fault("readings", "none was given", "at least one")]
    return guards.finite("readings", found)
