"""Full-load sweeps in a recording: where they are, their curves over speed, and what they say in one figure.

May import numpy and the error classes. A sweep is a rise of speed from low to high at full load; the daily cycle of a
test has rises of its own, which are shorter or not at full load.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import Fault, IntakeError, raise_all
from toolkit.numeric import _guards as guards

HEADLINE = "Sweeps cannot be looked for."
Floats = NDArray[np.float64]
# Speed may fall for a moment, by its own scatter, without the sweep being over.
_FALL = 0.06
_EDGE = 0.08
_FULL = 0.85


@dataclass(frozen=True)
class Sweep:
    """One sweep: its first and last reading, when it began [s], how long it took [s], how complete it is."""

    first: int
    last: int
    begun: float
    took: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class Curve:
    """A sweep on even steps of speed.

    Attributes
    ----------
    speed : ndarray
        [r/min].
    torque, power : ndarray
        [Nm], [kW].
    """

    speed: Floats
    torque: Floats
    power: Floats


@dataclass(frozen=True)
class Figures:
    """What sweeps say in figures.

    Attributes
    ----------
    sweeps : int
        How many count.
    left_out : int
        How many at the start were left out by rule.
    torque, power : float
        Means over the window of speed, of the sweeps that count [Nm, kW].
    torque_sd, power_sd : float
        Between sweeps; 0 for a single one, which says nothing of scatter.
    peak_torque, peak_torque_at, peak_power, peak_power_at : float
        Of the mean curve: [Nm], [r/min], [kW], [r/min].
    """

    sweeps: int
    left_out: int
    torque: float
    power: float
    torque_sd: float
    power_sd: float
    peak_torque: float
    peak_torque_at: float
    peak_power: float
    peak_power_at: float


def find(
    time_s: ArrayLike,
    speed: ArrayLike,
    load: ArrayLike,
    *,
    low: float,
    high: float,
    full_load: float,
    shortest_s: float,
) -> tuple[Sweep, ...]:
    """Give back every full-load sweep from low to high speed.

    Parameters
    ----------
    time_s : array_like
        Time run [s], rising.
    speed : array_like
        [r/min].
    load : array_like
        Pedal or load share [per cent], or torque [Nm]: what is high at full load.
    low, high : float
        A sweep begins at or below ``low`` and ends at or above ``high`` [r/min], each within 8 per cent of the span.
    full_load : float
        ``load`` at full load; a sweep has at least 85 per cent of it at four of five readings.
    shortest_s : float
        A rise that takes less is none: the cycle may pull away faster [s].

    Returns
    -------
    tuple of Sweep
        In the order of time.

    Raises
    ------
    IntakeError
        When arrays differ in length, a reading is missing or a limit makes no sense.

    Notes
    -----
    Speed is smoothed by a mean over a tenth of the shortest sweep. A rise goes on until speed has fallen by 6 per cent
    of the span below its highest value so far.

    Checked against: recordings of two hours with sweeps at known times among cycles, with scatter, gaps and a restart,
    tests/unit/numeric/test_sweeps.py.
    """
    at = np.asarray(time_s, dtype=float).ravel()
    # As they come: a hundred hours in double precision would be there twice.
    turning, pulling = np.asarray(speed).ravel(), np.asarray(load).ravel()
    faults = _faults(at, turning, pulling)
    if not low < high:
        faults.append(Fault("speeds of a sweep", f"{low:g} to {high:g} r/min", "from low to high"))
    faults += guards.positive("full load", full_load) + guards.positive("shortest sweep", shortest_s)
    raise_all(IntakeError, HEADLINE, faults)
    span = high - low
    usual = float(np.median(np.diff(at))) if len(at) > 1 else 1.0
    smooth = _smoothed(turning, max(1, int(shortest_s / 10.0 / usual)))
    found = []
    for first, last in _rises(smooth, _FALL * span):
        inside = smooth[first : last + 1]
        begins = first + int(np.flatnonzero(inside <= max(inside[0], low + _EDGE * span))[-1])
        starts, ends = smooth[begins], smooth[last]
        took = float(at[last] - at[begins])
        if starts > low + _EDGE * span or ends < high - _EDGE * span or took < shortest_s:
            continue
        if np.mean(pulling[begins : last + 1].astype(float) >= _FULL * full_load) < 0.8:
            continue
        found.append(Sweep(begins, last, float(at[begins]), took, float(starts), float(ends)))
    return tuple(found)


def curve(speed: ArrayLike, torque: ArrayLike, *, low: float, high: float, step: float) -> Curve:
    """Give back one sweep on even steps of speed.

    Parameters
    ----------
    speed : array_like
        [r/min], of the readings of one sweep.
    torque : array_like
        [Nm].
    low, high, step : float
        The even steps [r/min].

    Returns
    -------
    Curve
        Each value is the mean of the readings within half a step; between them a line, where a step holds none.

    Raises
    ------
    IntakeError
        When the sweep does not reach from low to high, or a limit makes no sense.

    Notes
    -----
    Power [kW] = torque [Nm] * speed [r/min] * 2 pi / 60000.

    Checked against: a curve known in closed form, tests/unit/numeric/test_sweeps.py.
    """
    turning, pulling = np.asarray(speed, dtype=float).ravel(), np.asarray(torque, dtype=float).ravel()
    faults = _faults(np.arange(len(turning), dtype=float), turning, pulling) + guards.positive("step of speed", step)
    if not faults and not (low < high and turning.min() <= low + step and turning.max() >= high - step):
        faults.append(
            Fault(
                "sweep",
                f"reaches from {turning.min():.0f} to {turning.max():.0f} r/min",
                f"from {low:g} to {high:g} r/min",
            )
        )
    raise_all(IntakeError, "The curve of the sweep cannot be told.", faults)
    places = np.arange(low, high + step * 0.5, step)
    bins = np.round((turning - low) / step).astype(int)
    inside = (bins >= 0) & (bins < len(places))
    count = np.bincount(bins[inside], minlength=len(places))
    # The readings of a step lie where they lie, not in its middle.
    mean_speed = np.bincount(bins[inside], weights=turning[inside], minlength=len(places))
    mean_torque = np.bincount(bins[inside], weights=pulling[inside], minlength=len(places))
    held = count > 0
    made = np.interp(places, mean_speed[held] / count[held], mean_torque[held] / count[held])
    return Curve(places, made, made * places * 2.0 * np.pi / 60_000.0)


def figures(curves: list[Curve], *, window: tuple[float, float], leave_out: int = 1) -> Figures:
    """Give back what sweeps of one run say: means over a window of speed, their scatter, and peaks.

    Parameters
    ----------
    curves : list of Curve
        In the order of time, on the same steps of speed.
    window : (from, to)
        Speeds [r/min] over which torque and power are averaged, the same in a whole campaign.
    leave_out : int
        So many at the start of a series are left out by rule (the first one soaks up heat).

    Returns
    -------
    Figures

    Raises
    ------
    IntakeError
        When no sweep is left, the steps differ, or the window holds fewer than two of them.

    Notes
    -----
    A mean over a window rests on all its readings, a peak on few: peaks are told and are no responses.

    Checked against: curves known in closed form, tests/unit/numeric/test_sweeps.py.
    """
    faults = []
    if leave_out < 0 or len(curves) <= leave_out:
        faults.append(
            Fault("sweeps", f"{len(curves)}, of which {leave_out} are left out by rule", "at least one that counts")
        )
    elif any(len(item.speed) != len(curves[0].speed) or np.any(item.speed != curves[0].speed) for item in curves):
        faults.append(Fault("sweeps", "curves on different steps of speed", "the same steps"))
    else:
        speed = curves[0].speed
        inside = (speed >= window[0]) & (speed <= window[1])
        if inside.sum() < 2:
            faults.append(
                Fault(
                    "window of speed",
                    f"{window[0]:g} to {window[1]:g} r/min holds {int(inside.sum())} steps of the curve",
                    f"at least 2 between {speed[0]:g} and {speed[-1]:g} r/min",
                )
            )
    raise_all(IntakeError, "The sweeps of the run cannot be told in figures.", faults)
    kept = curves[leave_out:]
    torque = np.array([item.torque[inside].mean() for item in kept])
    power = np.array([item.power[inside].mean() for item in kept])
    mean_torque = np.mean([item.torque for item in kept], axis=0)
    mean_power = np.mean([item.power for item in kept], axis=0)
    at_torque, at_power = int(np.argmax(mean_torque)), int(np.argmax(mean_power))
    more = len(kept) > 1
    return Figures(
        len(kept),
        leave_out,
        float(torque.mean()),
        float(power.mean()),
        float(torque.std(ddof=1)) if more else 0.0,
        float(power.std(ddof=1)) if more else 0.0,
        float(mean_torque[at_torque]),
        float(speed[at_torque]),
        float(mean_power[at_power]),
        float(speed[at_power]),
    )


def _rises(smooth: Floats, fall: float) -> list[tuple[int, int]]:
    """First and last reading of every rise: from a low to the highest value before speed falls by ``fall``."""
    made: list[tuple[int, int]] = []
    bottom = top = 0
    lowest = highest = float(smooth[0])
    rising = False
    places = _turns(smooth)
    # Python's own numbers: an array hands out each of many of them a dozen times slower.
    for place, value in zip(places.tolist(), smooth[places].tolist(), strict=True):
        if rising:
            if value > highest:
                top, highest = place, value
            elif value < highest - fall:
                made.append((bottom, top))
                bottom, lowest, rising = place, value, False
        elif value <= lowest:
            bottom, lowest = place, value
        elif value > lowest + fall:
            top, highest, rising = place, value, True
    if rising:
        made.append((bottom, top))
    return made


def _turns(values: Floats) -> NDArray[np.int64]:
    """The places between which values only rise or only fall: the last of equal lows, the first of equal highs."""
    steps = np.diff(values)
    moved = np.flatnonzero(steps)
    if not len(moved):
        return np.array([len(values) - 1])
    up = steps[moved] > 0.0
    turned = np.flatnonzero(up[1:] != up[:-1])
    # What rises afterwards was low until then; what fell afterwards was high from the step before on.
    places = np.where(up[turned + 1], moved[turned + 1], moved[turned] + 1)
    first = [moved[0]] if up[0] else []
    last = moved[-1] + 1 if up[-1] else len(values) - 1
    return np.concatenate([first, places, [last]]).astype(np.int64)


def _smoothed(values: Floats, width: int) -> Floats:
    """The mean over ``width`` neighbours; fewer at the ends."""
    if width < 2:
        return values.astype(float)
    half, count = width // 2, len(values)
    total = np.zeros(count + 1)
    np.cumsum(values, dtype=float, out=total[1:])
    edge = min(half, count)
    ends = np.concatenate([np.arange(edge), np.arange(max(count - edge, edge), count)])
    low, high = np.maximum(ends - half, 0), np.minimum(ends + half + 1, count)
    made = np.empty(count)
    made[ends] = (total[high] - total[low]) / (high - low)
    if count > 2 * half:
        made[half : count - half] = (total[2 * half + 1 :] - total[: count - 2 * half]) / (2 * half + 1)
    return made


def _faults(at: Floats, turning: Floats, pulling: Floats) -> list[Fault]:
    """What is wrong with readings of equal number."""
    faults = []
    if not len(at) == len(turning) == len(pulling):
        faults.append(
            Fault("readings", f"{len(at)} times, {len(turning)} speeds, {len(pulling)} loads", "as many of each")
        )
    if not len(at):
        faults.append(Fault("readings", "none was given", "at least one"))
    for name, values in (("time", at), ("speed", turning), ("load", pulling)):
        faults += guards.finite(name, values)
    if len(at) > 1 and np.any(np.diff(at) <= 0.0):
        place = int(np.argmax(np.diff(at) <= 0.0)) + 2
        faults.append(Fault("time", f"reading {place} is not later than the one before", "times that rise"))
    return faults
