"""What a recording says of its run: hours credited, gaps, every held channel against its window, sweeps (rank 6)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from toolkit import stamp
from toolkit.brief.dyno_log import DynoLog
from toolkit.brief.model import Held
from toolkit.intake import dyno_sweeps
from toolkit.intake.dyno_file import Recording
from toolkit.intake.gathered import Finding, finding
from toolkit.numeric import log_clock, run_quality
from toolkit.numeric.log_clock import Clock
from toolkit.wording import counted, filled

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
EXCURSIONS = ("channel", "from_h", "to_h", "furthest")
SHOWN = ("channel", "at_h", "lowest", "mean", "highest")
# Enough for a picture as wide as a page; a stretch outside is kept apart, however short.
_PLACES = 300
_MOST_EXCURSIONS = 200
_FEWEST = 2


@dataclass(frozen=True, eq=False)
class Summary:
    """One run as its recording has it; all of it is plain, so that it can be kept and read back as it was.

    Attributes
    ----------
    run_id : str
    files : tuple of str
    hours : float
        Credited: time that readings speak for, gaps and pauses left out [h].
    gaps, restarts : int
        How many places where nothing was recorded, or where the clock went back.
    gaps_h, longest_gap_h : float
        All of them together, and the longest, of the recording or of a held channel in it [h].
    channels : DataFrame
        One row a held channel: target, window, readings, mean, per cent of the time inside, per cent deviation,
        quality index, readings cut off, stretches outside, the furthest reading, its longest gap.
    excursions : DataFrame
        Every stretch of a held channel outside its window, up to 200 a channel: from, to [h], the furthest reading.
    shown : DataFrame
        The held channels for a picture: lowest, mean and highest in up to 300 even stretches of the run.
    means : dict
        Mean of every channel that is held or given to the runs, over the readings that count; None without readings.
    sweeps, curves : DataFrame
    figures, trend : dict
        As ``dyno_sweeps.Swept`` has them.
    findings : tuple
    """

    run_id: str
    files: tuple[str, ...]
    hours: float
    gaps: int
    restarts: int
    gaps_h: float
    longest_gap_h: float
    channels: pd.DataFrame
    excursions: pd.DataFrame
    shown: pd.DataFrame
    means: dict[str, float | None]
    sweeps: pd.DataFrame
    curves: pd.DataFrame
    figures: dict[str, float | None]
    trend: dict[str, float | None]
    findings: tuple[Finding, ...]

    def to_json(self) -> dict[str, Any]:
        """The summary as plain data; ``of_json`` makes it again."""
        made = {name: getattr(self, name) for name in self.__dataclass_fields__}
        frames = {name: stamp.records(item) for name, item in made.items() if isinstance(item, pd.DataFrame)}
        return stamp.plain({**made, **frames})

    def without_sweeps(self) -> Summary:
        """The summary of a run whose power is a response and must not be seen yet."""
        none = dict.fromkeys(self.figures)
        trend = dict.fromkeys(self.trend)
        return replace(self, sweeps=self.sweeps[:0], curves=self.curves[:0], figures=none, trend=trend)

    def given(self, what: str) -> float | None:
        """What a line of ``gives`` names: a figure of the recording or the mean of a channel."""
        own = {"hours": self.hours, "gaps": self.gaps_h, "longest gap": self.longest_gap_h}
        return {**self.means, **self.figures, **own}.get(what)

    def __repr__(self) -> str:
        """Which files tell how much of the run, and what was found in them."""
        head = f"{self.run_id}: {self.hours:.1f} h in {', '.join(self.files)}; {counted(len(self.findings), 'finding')}"
        return f"{head}\n{filled(self.channels).to_string(index=False)}"


def of_json(told: Mapping[str, Any]) -> Summary:
    """A summary from what ``to_json`` gave.

    Raises
    ------
    KeyError, TypeError, ValueError
        When it is not that.
    """
    columns = {
        **{"channels": CHANNELS, "excursions": EXCURSIONS, "shown": SHOWN},
        **{"sweeps": dyno_sweeps.COLUMNS, "curves": dyno_sweeps.CURVES},
    }
    frames = {
        name: pd.DataFrame(
            [[row[column] for column in names] for row in told[name]], columns=list(names), dtype=object
        )
        for name, names in columns.items()
    }
    plain = {name: told[name] for name in Summary.__dataclass_fields__ if name not in frames}
    plain |= {"files": tuple(plain["files"]), "findings": tuple(dict(row) for row in plain["findings"])}
    return Summary(**plain, **frames)


def looked_at(rule: DynoLog, held: Sequence[Held]) -> frozenset[str]:
    """The channels that ``summarise`` looks at; others need not be kept."""
    made = {*(item.name for item in held), *rule.gives.values()}
    if rule.steady is not None:
        made |= set(rule.steady.within)
    if rule.sweeps is not None:
        made |= {rule.sweeps.speed, rule.sweeps.torque, rule.sweeps.load}
    if rule.standard is not None:
        made |= {rule.standard.pressure, rule.standard.temperature, rule.standard.humidity}
    return frozenset(made & set(rule.columns))


def summarise(recording: Recording, rule: DynoLog, held: Sequence[Held], *, run_id: str) -> Summary:
    """What a recording says of its run; every correction and every place that is odd is among the findings.

    Parameters
    ----------
    recording : Recording
    rule : DynoLog
    held : sequence of Held
        Those with a channel in the recording are looked at; the others are left to the table of runs.
    run_id : str

    Returns
    -------
    Summary

    Raises
    ------
    IntakeError
        When the clock cannot be read at all.

    Notes
    -----
    Windows are judged by the readings that are steady, where the rule says when the engine runs so. Readings beyond
    the hard limits of a channel count in its quality index as these limits, and are counted. No run is judged here.

    Checked against: recordings of known content, tests/unit/intake/test_dyno_summary.py.
    """
    clock = log_clock.clock(recording.time_s, longest_step_s=rule.longest_step_s)
    told = list(recording.findings)
    counts = _steady(recording, clock, rule)
    rows, outside, shown = [], [], []
    for item in held:
        if item.name in recording.channels:
            row, kept = _channel(recording, clock, item, rule, counts)
            rows.append(row)
            told += _silent(recording, item, row, run_id)
            if kept is not None:
                outside.append(_outside(item, kept))
                shown.append(_shown(recording, clock, item))
    asked = [*(item.name for item in held), *rule.gives.values()]
    means = {
        name: _mean(recording.channels[name], clock, counts, rule) for name in rule.columns if name in asked
    }
    swept = dyno_sweeps.swept(recording, clock, rule, run_id, told)
    gaps = [item for item in clock.breaks if item.kind == log_clock.GAP]
    back = [item for item in clock.breaks if item.kind == log_clock.BACK]
    told += _of_clock(clock, gaps, back, run_id)
    silent = [float(row["longest_gap_h"]) for row in rows if row["longest_gap_h"] is not None]
    return Summary(
        run_id,
        recording.files,
        clock.hours,
        len(gaps),
        len(back),
        sum(item.length for item in gaps) / 3600.0,
        max([clock.longest_gap / 3600.0, *silent]),
        pd.DataFrame(rows, columns=list(CHANNELS), dtype=object),
        _frame(outside, EXCURSIONS),
        _frame(shown, SHOWN),
        means,
        swept.table,
        swept.curves,
        swept.figures,
        swept.trend,
        tuple(told),
    )


def _frame(parts: Sequence[Mapping[str, list[Any]]], columns: Sequence[str]) -> pd.DataFrame:
    """Columns below each other, as they are read back when they were kept: Python's own numbers."""
    lists = {name: [value for part in parts for value in part[name]] for name in columns}
    return pd.DataFrame(lists, columns=list(columns), dtype=object)


def _steady(recording: Recording, clock: Clock, rule: DynoLog) -> np.ndarray | None:
    """Which readings windows are judged by; None: all."""
    if rule.steady is None:
        return None
    within = np.ones(len(clock.run), dtype=bool)
    for name, (low, high) in rule.steady.within.items():
        values = recording.channels[name]
        within &= (values >= low) & (values <= high)
    # A gap adds one usual step to the time run: what came before it says nothing of after it.
    anew = np.zeros(len(within), dtype=bool)
    anew[[item.at for item in clock.breaks if item.kind != log_clock.TWICE]] = True
    at = clock.run + np.cumsum(anew) * (2.0 * rule.longest_step_s)
    return run_quality.steady(at, within, settle_s=rule.steady.settle_s, longest_step_s=rule.longest_step_s)


def _known(values: np.ndarray, counts: np.ndarray | None) -> np.ndarray:
    """The readings of a channel that are there and count."""
    known = np.isfinite(values)
    return known if counts is None else known & counts


def _of(values: np.ndarray, known: np.ndarray) -> np.ndarray:
    """The readings that are known; no copy where all are."""
    return values if known.all() else values[known]


def _mean(values: np.ndarray, clock: Clock, counts: np.ndarray | None, rule: DynoLog) -> float | None:
    """The mean of a channel over time; None without readings."""
    known = _known(values, counts)
    if known.sum() < _FEWEST:
        return None
    return float(np.average(_of(values, known).astype(float), weights=_speaks_for(_of(clock.run, known), rule)))


def _speaks_for(at: np.ndarray, rule: DynoLog) -> np.ndarray:
    """The time that each reading speaks for [s]: a recorder may write more often while something happens."""
    steps = np.empty(len(at))
    np.minimum(np.diff(at), rule.longest_step_s, out=steps[:-1])
    steps[-1] = steps[-2]
    return steps


def _channel(
    recording: Recording, clock: Clock, held: Held, rule: DynoLog, counts: np.ndarray | None
) -> tuple[dict[str, object], run_quality.Kept | None]:
    """One held channel against its window, and its stretches outside."""
    values = recording.channels[held.name]
    known = _known(values, counts)
    row: dict[str, object] = dict.fromkeys(CHANNELS)
    low, high = held.window
    row |= {"channel": held.name, "target": held.target, "low": low, "high": high, "readings": int(known.sum())}
    if known.sum() < _FEWEST:
        return row, None
    found = _of(values, known).astype(float)
    run = _of(clock.run, known)
    kept = run_quality.kept(run / 3600.0, found, low, high, longest_step_h=rule.longest_step_s / 3600.0)
    limits = held.limits or (None, None)
    index = run_quality.quality_index(
        found, low, high, under_range=limits[0], over_range=limits[1], weights=_speaks_for(run, rule)
    )
    worst = np.abs(kept.furthest - held.target).argmax() if len(kept.furthest) else None
    there = _of(clock.run, np.isfinite(values))
    longest = float(np.diff(there).max()) if len(there) > 1 else 0.0
    row |= {
        "mean": kept.mean,
        "inside_pct": 100.0 * kept.inside,
        "deviation_pct": kept.deviation_pct,
        "quality_index": index.index,
        "under_range": index.under,
        "over_range": index.over,
        "excursions": len(kept.starts),
        "furthest": None if worst is None else float(kept.furthest[worst]),
        "longest_gap_h": longest / 3600.0 if longest > rule.longest_step_s else 0.0,
    }
    return row, kept


def _silent(recording: Recording, held: Held, row: Mapping[str, object], run_id: str) -> list[Finding]:
    """A finding of a held channel that gave no reading for a while."""
    values = recording.channels[held.name]
    missing = int(len(values) - np.isfinite(values).sum())
    if not row["longest_gap_h"] or not missing:
        return []
    return [
        finding(
            "note",
            "recording",
            run_id=run_id,
            column=held.name,
            found=f"{missing} of {len(values)} readings missing, for {row['longest_gap_h']:.3g} h at a time",
            expected="a channel that is recorded throughout",
            action="none: what is known counts; look after the sensor",
        )
    ]


def _outside(held: Held, kept: run_quality.Kept) -> dict[str, list[Any]]:
    """The stretches of a channel outside its window, the longest ones where there are very many."""
    most = np.sort(np.argsort(kept.starts - kept.ends, kind="stable")[:_MOST_EXCURSIONS])
    lines = {"from_h": kept.starts[most], "to_h": kept.ends[most], "furthest": kept.furthest[most]}
    return {"channel": [held.name] * len(most), **{name: item.tolist() for name, item in lines.items()}}


def _shown(recording: Recording, clock: Clock, held: Held) -> dict[str, list[Any]]:
    """Lowest, mean and highest reading of a channel in even stretches of the run."""
    values = recording.channels[held.name]
    known = np.isfinite(values)
    at, found = _of(clock.run, known) / 3600.0, _of(values, known).astype(float)
    at /= clock.hours / _PLACES
    place = np.minimum(at.astype(int), _PLACES - 1)
    first = np.flatnonzero(np.diff(place, prepend=-1))
    counts = np.diff(np.append(first, len(place)))
    lines = {
        "at_h": (place[first] + 0.5) * clock.hours / _PLACES,
        "lowest": np.minimum.reduceat(found, first),
        "mean": np.add.reduceat(found, first) / counts,
        "highest": np.maximum.reduceat(found, first),
    }
    return {"channel": [held.name] * len(first), **{name: _short(item) for name, item in lines.items()}}


def _short(values: np.ndarray) -> list[float]:
    """Figures for a picture, to six places that count."""
    return [float(f"{value:.6g}") for value in values.tolist()]


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
