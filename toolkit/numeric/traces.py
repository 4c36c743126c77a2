"""Wear from two traces of one surface, before and after: brought together on places that do not wear, then subtracted.

May import numpy and the error classes. The worn zone never takes part in bringing the traces together, or wear would
hide itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import Fault, IntakeError, raise_all
from toolkit.numeric import _guards as guards

HEADLINE = "The traces cannot be brought together."
Floats = NDArray[np.float64]
Zone = tuple[float, float]
MOVES = ("shift", "offset", "tilt")
_FEWEST = 8
_STEPS = 30
# Below this share of slope against the scatter of the readings a shift along the surface cannot be seen.
_SEEN = 3.0
_SMOOTH = 7
# A shift beyond this share of a trace is none of its setting on the gauge.
_FARTHEST = 0.25
_SHORTEST = 1e-6


@dataclass(frozen=True, eq=False)
class Aligned:
    """Two traces brought together, and the wear between them.

    Attributes
    ----------
    position : ndarray, shape (readings,)
        Of the trace after [its unit].
    wear : ndarray, shape (readings,)
        Height before less height after, signed; NaN where the trace before does not reach.
    shift, offset, tilt : float
        What was added to positions, heights, and heights per unit of position of the trace before.
    scatter : float
        SD of one reading of one trace, from what is left on the reference zones.
    moved : tuple of str
        Which of shift, offset and tilt were looked for.
    covariance : ndarray, shape (moved, moved)
        Of these, in this order.
    notes : tuple of str
    slopes : ndarray, shape (readings, moved)
        How the wear at each position changes with each of them.
    """

    position: Floats
    wear: Floats
    shift: float
    offset: float
    tilt: float
    scatter: float
    moved: tuple[str, ...]
    covariance: Floats
    notes: tuple[str, ...]
    slopes: Floats


@dataclass(frozen=True)
class Worn:
    """The wear of one zone.

    Attributes
    ----------
    greatest, greatest_at : float
        The greatest depth, a mean over neighbouring readings, and where it lies.
    mean : float
    area : float
        Depth integrated over position [unit of height times unit of position].
    std_error : float
        Of ``mean``: readings and alignment together.
    of_readings, of_alignment : float
        The two shares of ``std_error``, as SDs.
    area_std_error : float
    """

    greatest: float
    greatest_at: float
    mean: float
    area: float
    std_error: float
    of_readings: float
    of_alignment: float
    area_std_error: float


def align(
    position_before: ArrayLike,
    height_before: ArrayLike,
    position_after: ArrayLike,
    height_after: ArrayLike,
    reference: Sequence[Zone],
    *,
    moves: Sequence[str] = MOVES,
) -> Aligned:
    """Give back two traces brought together on zones that do not wear, and the wear everywhere.

    Parameters
    ----------
    position_before, height_before : array_like, shape (n,)
        Positions rise; heights in one unit, positions in one unit.
    position_after, height_after : array_like, shape (m,)
    reference : sequence of (from, to)
        Zones of positions (of the trace after) where nothing wears: base circle, shoulder, below the ring travel.
    moves : sequence of str
        What may differ between the two settings on the gauge: shift (along the surface), offset (in height), tilt.

    Returns
    -------
    Aligned
        A shift is left at nought, and said so, where the reference zones are too flat to show one.

    Raises
    ------
    IntakeError
        With everything that is wrong: positions that do not rise, missing readings, zones with too few readings; or
        that no shift brings them together.

    Notes
    -----
    Least squares on the reference zones by Gauss-Newton steps, halved where they lead too far; heights before are read
    between their positions by a cubic through the four nearest readings; slopes are those of a line through seven
    neighbours, so that the scatter of the readings does not enter them. The scatter of one reading is that of the
    differences over the square root of two.

    Checked against: simulated traces of known wear, shift, offset and tilt, tests/unit/numeric/test_traces.py.
    """
    x0, y0, x1, y1 = (
        np.asarray(item, dtype=float).ravel() for item in (position_before, height_before, position_after, height_after)
    )
    raise_all(IntakeError, HEADLINE, _faults(x0, y0, x1, y1, reference, moves))
    centre = float(x1.mean())
    held = _within(x1, reference)
    grade = _grade(x0, y0)
    state = dict.fromkeys(MOVES, 0.0)
    wanted, notes = [name for name in MOVES if name in moves], []
    for _ in range(2):
        left, columns = _fitted(x0, y0, x1, y1, grade, held, centre, wanted, state)
        usable = np.isfinite(left)
        scatter, covariance = _scatter(left[usable], columns[usable])
        if "shift" not in wanted:
            break
        if _shows_shift(columns[usable], wanted.index("shift"), scatter, x0, x1):
            break
        wanted = [name for name in wanted if name != "shift"]
        state = dict.fromkeys(MOVES, 0.0)
        notes.append("the reference zones are too flat to show a shift along the surface; none was looked for")
    wear = _read(x0, y0, x1 - state["shift"]) + state["offset"] + state["tilt"] * (x1 - centre) - y1
    every = _columns(x0, grade, x1, centre, wanted, state)
    found = (state["shift"], state["offset"], state["tilt"])
    return Aligned(x1, wear, *found, scatter, tuple(wanted), covariance, tuple(notes), every)


def worn(aligned: Aligned, zone: Zone, *, neighbours: int = 5) -> Worn:
    """Give back greatest, mean and area of the wear in a zone, with the doubt of readings and alignment.

    Parameters
    ----------
    aligned : Aligned
    zone : (from, to)
        Positions of the trace after.
    neighbours : int
        The greatest depth is that of a mean over so many neighbouring readings (odd): a single one would tell the
        scatter of the gauge as wear.

    Returns
    -------
    Worn

    Raises
    ------
    IntakeError
        When the zone holds too few readings, or the trace before does not reach it.

    Notes
    -----
    Var(mean) = 2 s^2 / n + g' C g, g the mean change of the wear with shift, offset and tilt, C their covariance
    (propagation of uncertainty, JCGM 100:2008). A mean over k neighbours still rises with scatter: its expected excess
    is not taken off.

    Checked against: simulated traces, tests/unit/numeric/test_traces.py.
    """
    inside = _within(aligned.position, [zone])
    known = inside & np.isfinite(aligned.wear)
    faults = []
    if neighbours < 1 or neighbours % 2 == 0:
        faults.append(Fault("neighbours", f"{neighbours} was given", "an odd number from 1"))
    if known.sum() < max(_FEWEST, neighbours):
        faults.append(
            Fault(
                f"zone {zone[0]:g} to {zone[1]:g}",
                f"{int(known.sum())} readings of both traces",
                f"at least {max(_FEWEST, neighbours)}",
            )
        )
    elif known.sum() < inside.sum():
        faults.append(
            Fault(
                f"zone {zone[0]:g} to {zone[1]:g}",
                f"the trace before reaches {int(known.sum())} of {int(inside.sum())} readings",
                "both traces over the whole zone",
            )
        )
    raise_all(IntakeError, "The wear of the zone cannot be told.", faults)
    at, depth = aligned.position[known], aligned.wear[known]
    smooth = np.convolve(depth, np.full(neighbours, 1.0 / neighbours), mode="valid")
    place = int(np.argmax(smooth))
    width = np.gradient(at)
    width[0] *= 0.5
    width[-1] *= 0.5
    gradient = aligned.slopes[known]
    of_mean, of_area = gradient.mean(axis=0), width @ gradient
    readings = aligned.scatter * np.sqrt(2.0 / len(depth))
    settled = float(np.sqrt(max(of_mean @ aligned.covariance @ of_mean, 0.0)))
    area = 2.0 * aligned.scatter**2 * float(np.sum(width**2)) + float(of_area @ aligned.covariance @ of_area)
    return Worn(
        float(smooth[place]),
        float(at[place + neighbours // 2]),
        float(depth.mean()),
        float(width @ depth),
        float(np.hypot(readings, settled)),
        float(readings),
        settled,
        float(np.sqrt(max(area, 0.0))),
    )


def _fitted(
    x0: Floats,
    y0: Floats,
    x1: Floats,
    y1: Floats,
    grade: Floats,
    held: NDArray[np.bool_],
    centre: float,
    wanted: Sequence[str],
    state: dict[str, float],
) -> tuple[Floats, Floats]:
    """What is left on the reference zones, and its columns, after moving the trace before; ``state`` is brought on."""
    at, height = x1[held], y1[held]

    def gap(moved: dict[str, float]) -> Floats:
        """What is left between both traces."""
        there = _read(x0, y0, at - moved["shift"]) + moved["offset"] + moved["tilt"] * (at - centre)
        return height - there

    left = gap(state)
    columns = _columns(x0, grade, at, centre, wanted, state)
    for _ in range(_STEPS if wanted else 0):
        usable = np.isfinite(left)
        # Two surfaces that are not one lead the shift astray, until nothing of the zones is left.
        if usable.sum() <= max(_FEWEST, len(wanted)) or abs(state["shift"]) > _FARTHEST * (x1[-1] - x1[0]):
            raise_all(IntakeError, HEADLINE, [Fault("traces", "no shift brings them together", "two of one surface")])
        step = np.linalg.lstsq(columns[usable], left[usable], rcond=None)[0]
        now, share = float(np.nanmean(np.square(left))), 1.0
        # Smoothed slopes are too small where a surface is wavy, and a whole step then leads too far.
        while share > _SHORTEST:
            tried = {
                **state,
                **{name: state[name] + share * float(part) for name, part in zip(wanted, step, strict=True)},
            }
            there = gap(tried)
            if np.isfinite(there).sum() > _FEWEST and float(np.nanmean(np.square(there))) < now:
                break
            share /= 2.0
        else:
            break
        state.update(tried)
        left, columns = there, _columns(x0, grade, at, centre, wanted, state)
        scale = np.abs(columns[usable]).max(axis=0)
        if np.all(np.abs(share * step) * scale < 1e-9 * (np.abs(left[usable]).max() + 1e-12)):
            break
    return left, columns


def _columns(
    x0: Floats, grade: Floats, at: Floats, centre: float, wanted: Sequence[str], state: dict[str, float]
) -> Floats:
    """How the moved trace before changes at positions with each move, shape (positions, moves)."""
    made = {
        "shift": -np.interp(at - state["shift"], x0, grade),
        "offset": np.ones(len(at)),
        "tilt": at - centre,
    }
    return np.column_stack([made[name] for name in wanted]) if wanted else np.empty((len(at), 0))


def _scatter(left: Floats, columns: Floats) -> tuple[float, Floats]:
    """SD of one reading, and the covariance of the moves."""
    freedom = len(left) - columns.shape[1]
    variance = float(left @ left) / freedom
    return float(np.sqrt(variance / 2.0)), variance * np.linalg.pinv(columns.T @ columns, hermitian=True)


def _grade(x: Floats, y: Floats) -> Floats:
    """The slope at each reading: that of the line through its neighbours."""
    half = _SMOOTH // 2
    made = np.empty(len(x))
    near, heights = (np.lib.stride_tricks.sliding_window_view(part, _SMOOTH) for part in (x, y))
    run = near - near.mean(axis=1, keepdims=True)
    made[half : len(x) - half] = (run * heights).sum(axis=1) / np.square(run).sum(axis=1)
    for place in (*range(half), *range(len(x) - half, len(x))):
        near = slice(max(0, place - half), min(len(x), place + half + 1))
        run = x[near] - x[near].mean()
        made[place] = run @ y[near] / (run @ run)
    return made


def _read(x: Floats, y: Floats, at: Floats) -> Floats:
    """Heights between readings, by the cubic through the four nearest; NaN outside the trace."""
    first = np.clip(np.searchsorted(x, at) - 2, 0, len(x) - 4)
    made = np.zeros(len(at))
    for one in range(4):
        weight = np.ones(len(at))
        for other in range(4):
            if other != one:
                weight *= (at - x[first + other]) / (x[first + one] - x[first + other])
        made += weight * y[first + one]
    return np.where((at >= x[0]) & (at <= x[-1]), made, np.nan)


def _within(at: Floats, zones: Sequence[Zone]) -> NDArray[np.bool_]:
    """Which positions lie in any of the zones."""
    inside = np.zeros(len(at), dtype=bool)
    for low, high in zones:
        inside |= (at >= low) & (at <= high)
    return inside


def _shows_shift(columns: Floats, at: int, scatter: float, x0: Floats, x1: Floats) -> bool:
    """Whether a third of the usual step between readings would be seen, in what the other moves leave of the slope."""
    others = np.delete(columns, at, axis=1)
    slope = columns[:, at]
    apart = slope - others @ np.linalg.lstsq(others, slope, rcond=None)[0] if others.shape[1] else slope
    # The scatter of the readings makes slopes where there are none.
    run = np.median(np.diff(x0)) * (np.arange(_SMOOTH) - _SMOOTH // 2)
    seeming = len(slope) * scatter**2 / float(run @ run)
    seen = max(float(apart @ apart) - seeming, 0.0)
    return bool(np.sqrt(seen) * np.median(np.diff(x1)) > _SEEN * scatter * np.sqrt(2.0))


def _faults(
    x0: Floats, y0: Floats, x1: Floats, y1: Floats, reference: Sequence[Zone], moves: Sequence[str]
) -> list[Fault]:
    """Everything that is wrong with two traces and their zones."""
    faults = []
    for name, at, height in (("before", x0, y0), ("after", x1, y1)):
        if len(at) != len(height):
            faults.append(Fault(f"trace {name}", f"{len(at)} positions, {len(height)} heights", "as many of both"))
            continue
        faults += guards.finite(f"positions {name}", at) + guards.finite(f"heights {name}", height)
        if len(at) < _FEWEST:
            faults.append(Fault(f"trace {name}", f"{len(at)} readings", f"at least {_FEWEST}"))
        elif np.any(np.diff(at) <= 0.0):
            place = int(np.argmax(np.diff(at) <= 0.0)) + 2
            faults.append(
                Fault(f"positions {name}", f"reading {place} is not beyond the one before", "positions that rise")
            )
    unknown = [name for name in moves if name not in MOVES]
    if unknown:
        faults.append(Fault("moves", f"{', '.join(unknown)} was given", f"some of {', '.join(MOVES)}"))
    if not reference:
        faults.append(Fault("reference zones", "none", "at least one zone that does not wear"))
    for low, high in reference:
        if not low < high:
            faults.append(Fault(f"reference zone {low:g} to {high:g}", "empty", "from below to above"))
    if not faults:
        held = _within(x1, reference) & (x1 >= x0[0]) & (x1 <= x0[-1])
        if held.sum() < _FEWEST:
            faults.append(Fault("reference zones", f"{int(held.sum())} readings of both traces", f"at least {_FEWEST}"))
    return faults
