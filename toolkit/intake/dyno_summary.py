"""What a recording says of its run: hours credited, gaps, every held channel against its window, sweeps (rank 6)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from toolkit import measured_in
from toolkit.brief.dyno_log import DynoLog, SweepRule
from toolkit.brief.model import Held
from toolkit.intake.dyno_file import Recording
from toolkit.intake.gathered import Finding, finding
from toolkit.numeric import log_clock, run_quality, sweeps
from toolkit.numeric.log_clock import Clock
from toolkit.numeric.sweeps import Curve, Figures, Sweep

CHANNELS = (
    "channel",
    "target",
    "low",
    "high",
    "readings",
    "mean",
    "inside_pct",
    "deviation_pct",
    "quality_index",
    "under_range",
    "over_range",
    "excursions",
    "furthest",
    "longest_gap_h",
)
_FEWEST = 2


@dataclass(frozen=True, eq=False)
class Summary:
    """One run as its recording has it.

    Attributes
    ----------
    run_id : str
    hours : float
        Credited: time that readings speak for, gaps and pauses left out [h].
    gaps, restarts : int
        How many places where nothing was recorded, or where the clock went back.
    longest_gap_h : float
    channels : DataFrame
        One row a held channel: target, window, readings, mean over the hours credited, per cent of them inside,
        per cent deviation, quality index, readings cut off, stretches outside, the furthest reading, its longest gap.
    sweeps : tuple of Sweep
    curves : tuple of Curve
    figures : Figures or None
        None without a sweep that counts.
    findings : tuple
    """

    run_id: str
    hours: float
    gaps: int
    restarts: int
    longest_gap_h: float
    channels: pd.DataFrame
    sweeps: tuple[Sweep, ...]
    curves: tuple[Curve, ...]
    figures: Figures | None
    findings: tuple[Finding, ...]


def summarise(
    recording: Recording,
    rule: DynoLog,
    held: Sequence[Held],
    *,
    run_id: str,
    run_time_h: Held | None = None,
) -> Summary:
    """What a recording says of its run; every correction and every place that is odd is among the findings.

    Parameters
    ----------
    recording : Recording
    rule : DynoLog
    held : sequence of Held
        Those with a channel in the recording are looked at; the others are left to the table of runs.
    run_id : str
    run_time_h : Held, optional
        The run time of the protocol.

    Returns
    -------
    Summary

    Raises
    ------
    IntakeError
        When the clock cannot be read at all.

    Notes
    -----
    Readings beyond the hard limits of a channel count in its quality index as these limits, and are counted. An index
    below nought is a finding that asks for a review; no run is judged here.

    Checked against: recordings of known content, tests/unit/intake/test_dyno_summary.py.
    """
    clock = log_clock.clock(recording.time_s, longest_step_s=rule.longest_step_s)
    told = list(recording.findings)
    rows = []
    for item in held:
        if item.name in recording.channels:
            row = _channel(recording, clock, item, rule)
            rows.append(row)
            told += _about(row, item, run_id)
    found, curves, figures = _sweeps(recording, clock, rule.sweeps, run_id, told)
    gaps = [item for item in clock.breaks if item.kind == log_clock.GAP]
    back = [item for item in clock.breaks if item.kind == log_clock.BACK]
    told += _of_clock(clock, gaps, back, run_id)
    if run_time_h is not None and not run_time_h.window[0] <= clock.hours <= run_time_h.window[1]:
        low, high = run_time_h.window
        told.append(
            finding(
                "exclude",
                "run time",
                run_id=run_id,
                column="run_time_h",
                found=f"{clock.hours:.4g} h recorded",
                expected=f"{low:g} to {high:g} h",
                action="judge the run: hours without a recording are not credited",
            )
        )
    table = pd.DataFrame(rows, columns=list(CHANNELS), dtype=object)
    longest = clock.longest_gap / 3600.0
    return Summary(run_id, clock.hours, len(gaps), len(back), longest, table, found, curves, figures, tuple(told))


def _channel(recording: Recording, clock: Clock, held: Held, rule: DynoLog) -> dict[str, object]:
    """One held channel against its window."""
    values = recording.channels[held.name]
    known = np.isfinite(values)
    row: dict[str, object] = {name: None for name in CHANNELS}
    low, high = held.window
    row |= {"channel": held.name, "target": held.target, "low": low, "high": high, "readings": int(known.sum())}
    if known.sum() < _FEWEST:
        return row
    at, found = clock.run[known] / 3600.0, values[known].astype(float)
    step_h = rule.longest_step_s / 3600.0
    kept = run_quality.kept(at, found, low, high, longest_step_h=step_h)
    limits = held.limits or (None, None)
    index = run_quality.quality_index(found, low, high, under_range=limits[0], over_range=limits[1])
    between = np.diff(at)
    weights = np.append(np.minimum(between, step_h), between[-1] if between[-1] <= step_h else step_h)
    worst = np.abs(kept.furthest - held.target).argmax() if len(kept.furthest) else None
    row |= {
        "mean": float(np.average(found, weights=weights)),
        "inside_pct": 100.0 * kept.inside,
        "deviation_pct": kept.deviation_pct,
        "quality_index": index.index,
        "under_range": index.under,
        "over_range": index.over,
        "excursions": len(kept.starts),
        "furthest": None if worst is None else float(kept.furthest[worst]),
        "longest_gap_h": float(max(0.0, between.max())) if between.max() > step_h else 0.0,
    }
    return row


def _about(row: Mapping[str, object], held: Held, run_id: str) -> list[Finding]:
    """What is to be known of a channel."""
    unit = measured_in.shown(held.name)
    low, high = held.window
    window = f"{low:g} to {high:g} {unit}".strip()
    if row["mean"] is None:
        return [
            finding(
                "exclude",
                "recording",
                run_id=run_id,
                column=held.name,
                found=f"{row['readings']} readings",
                expected=f"a channel within {window}",
                action="find out what the channel did; without it the window cannot be judged",
            )
        ]
    index, inside = (float(str(row[name])) for name in ("quality_index", "inside_pct"))
    if index >= 0.0:
        return []
    furthest = float(str(row["furthest"]))
    return [
        finding(
            "exclude",
            "quality index",
            run_id=run_id,
            column=held.name,
            found=f"quality index {index:.2f}: {inside:.3g} % of the time within {window}, furthest "
            f"{furthest:.4g} {unit}".rstrip(),
            expected="0 or more",
            action="an engineer reviews the run before its wear is looked at; the index alone makes no run invalid",
        )
    ]


def _sweeps(
    recording: Recording, clock: Clock, rule: SweepRule | None, run_id: str, told: list[Finding]
) -> tuple[tuple[Sweep, ...], tuple[Curve, ...], Figures | None]:
    """The full-load sweeps, their curves and figures; findings go to ``told``."""
    if rule is None:
        return (), (), None
    speed, torque, load = (recording.channels[name] for name in (rule.speed, rule.torque, rule.load))
    known = np.isfinite(speed) & np.isfinite(torque) & np.isfinite(load)
    places = np.flatnonzero(known)
    if len(places) < _FEWEST:
        return (), (), None
    found = sweeps.find(
        clock.run[known],
        speed[known],
        load[known],
        low=rule.low_rpm,
        high=rule.high_rpm,
        full_load=rule.full_load,
        shortest_s=rule.shortest_s,
    )
    curves = tuple(
        sweeps.curve(
            speed[known][item.first : item.last + 1],
            torque[known][item.first : item.last + 1],
            low=rule.window_rpm[0],
            high=rule.window_rpm[1],
            step=rule.step_rpm,
        )
        for item in found
    )
    if rule.asked and len(found) != rule.asked:
        told.append(
            finding(
                "note",
                "sweeps",
                run_id=run_id,
                found=f"{len(found)} full-load sweeps",
                expected=f"{rule.asked} by the protocol",
                action="look for a sweep that was left out or broken off",
            )
        )
    figures = None
    if len(curves) > rule.leave_out:
        figures = sweeps.figures(list(curves), window=rule.window_rpm, leave_out=rule.leave_out)
    return found, curves, figures


def _of_clock(
    clock: Clock, gaps: Sequence[log_clock.Break], back: Sequence[log_clock.Break], run_id: str
) -> list[Finding]:
    """Gaps, restarts and doubled readings, a finding each kind."""
    made = []
    if gaps:
        lost = sum(item.length for item in gaps) / 3600.0
        made.append(
            f"{len(gaps)} gap{'s' * (len(gaps) > 1)}, {lost:.3g} h in all, the longest {clock.longest_gap / 3600:.3g} h"
        )
    if back:
        made.append(
            f"{len(back)} time{'s' * (len(back) > 1)} the clock went back (first from {back[0].before:.6g} s to "
            f"{back[0].after:.6g} s): a restart, or a clock that was set"
        )
    twice = sum(item.kind == log_clock.TWICE for item in clock.breaks)
    if twice:
        made.append(f"{twice} reading{'s' * (twice > 1)} at the same time as the one before")
    return [
        finding(
            "note",
            "recording",
            run_id=run_id,
            found=text,
            expected="a clock that goes on",
            action="none: time without readings is not credited",
        )
        for text in made
    ]
