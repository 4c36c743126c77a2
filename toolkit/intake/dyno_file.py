"""Recordings of a dynamometer: one or several files of a run as channels in our units, with all that was odd (rank 6).

Files are read in pieces, so that a hundred hours fit into memory; a line that cannot be read is told and left out,
never a whole file for the sake of it.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from toolkit import measured_in
from toolkit.brief.dyno_log import CLOCK, SECONDS, DynoLog
from toolkit.errors import Fault, IntakeError, raise_all
from toolkit.intake import cells, dyno_lines, dyno_told
from toolkit.intake.gathered import Finding

HEADLINE = "The recording cannot be read."
_PIECE = 50_000
_AS_OURS = (1.0, 0.0)
_COMMA = 'Write decimal = "comma" in [dyno_log].'


@dataclass(frozen=True, eq=False)
class Recording:
    """The channels of one run.

    Attributes
    ----------
    time_s : ndarray, shape (readings,)
        What the clock showed [s], as recorded; of several files one after the other.
    channels : dict of str to ndarray
        Our names; NaN where the recorder had none. Single precision, as no channel carries seven digits.
    findings : tuple
        What was odd: lines left out, cells that are no figures, a last line that breaks off.
    files : tuple of str
    """

    time_s: NDArray[np.float64]
    channels: dict[str, NDArray[np.float32]]
    findings: tuple[Finding, ...]
    files: tuple[str, ...]


def read(paths: Sequence[Path], rule: DynoLog, *, run_id: str) -> Recording:
    """The recording of a run from its files, in the order of their first readings.

    Parameters
    ----------
    paths : sequence of Path
        CSV, or CSV packed by gzip (.gz).
    rule : DynoLog
    run_id : str
        For the findings.

    Returns
    -------
    Recording

    Raises
    ------
    IntakeError
        With every fault of every file: headings that are not there, units that cannot be converted, no readings.

    Notes
    -----
    Checked against: recordings of known content, whole, packed, split, broken off, tests/unit/intake/test_dyno_file.py.
    """
    faults: list[Fault] = []
    made = gathered(paths, rule, faults, run_id=run_id)
    raise_all(IntakeError, HEADLINE, faults)
    if made is None:
        raise IntakeError(HEADLINE)
    return made


def gathered(
    paths: Sequence[Path],
    rule: DynoLog,
    faults: list[Fault],
    *,
    run_id: str,
    wanted: Collection[str] | None = None,
) -> Recording | None:
    """As ``read``; every fault goes to ``faults``, and the recording is None then.

    Channels that are not ``wanted`` are looked at for cells without a figure and let go; None: all are kept.
    """
    kept = tuple(name for name in rule.columns if wanted is None or name in wanted)
    before = len(faults)
    scales = {name: _scale(name, rule, faults) for name in rule.columns}
    opened = {path: found for path in paths if (found := dyno_lines.headings(path, rule, faults))}
    if not paths:
        faults.append(Fault(f"run {run_id}", "no recording", "at least one file"))
    if len(faults) > before:
        return None
    parts = [
        part
        for path, found in opened.items()
        if (part := _file(path, found, rule, scales, kept, run_id, faults)) is not None
    ]
    if len(faults) > before:
        return None
    parts.sort(key=lambda part: part.time_s[0] if rule.time_in == CLOCK else 0.0)
    if len(parts) == 1:
        return parts[0]
    return Recording(
        np.concatenate([part.time_s for part in parts]),
        {name: np.concatenate([part.channels.pop(name) for part in parts]) for name in kept},
        tuple(item for part in parts for item in part.findings),
        tuple(part.files[0] for part in parts),
    )


def _scale(name: str, rule: DynoLog, faults: list[Fault]) -> tuple[float, float]:
    """Factor and constant that bring a channel into our unit."""
    unit = rule.measured_in.get(name)
    if unit is None:
        return _AS_OURS
    try:
        nought, one = (Decimal(measured_in.converted(value, unit, name)) for value in ("0", "1"))
    except ValueError as problem:
        faults.append(Fault(f"[dyno_log] measured_in {name}", f"'{unit}' ({problem})", measured_in.shown(name)))
        return _AS_OURS
    return float(one - nought), float(nought)


def _file(
    path: Path,
    found: Sequence[str],
    rule: DynoLog,
    scales: dict[str, tuple[float, float]],
    kept: Sequence[str],
    run_id: str,
    faults: list[Fault],
) -> Recording | None:
    """The channels of one file; None where nothing of it can be used."""
    times: list[NDArray[np.float64]] = []
    held: dict[str, list[NDArray[np.float32]]] = {name: [] for name in kept}
    odd: dict[str, list[int]] = {}
    untimed: list[int] = []
    filled = dict.fromkeys(rule.columns, False)
    sample: dict[str, str] = {}
    lines, row = dyno_lines.WholeLines(path, rule.separator), 0
    for piece in _pieces(lines, found, rule):
        at = _times(piece[rule.time], rule)
        good = np.isfinite(at)
        # None: there is no line that is left out.
        timed = None if good.all() else good
        if timed is not None:
            untimed += (row + np.flatnonzero(~good)).tolist()
        times.append(_of(at, timed))
        for name, heading in rule.columns.items():
            column = piece[heading]
            if name not in held and filled[name] and column.dtype.kind in "fi":
                continue
            values, wrong = _figures(column, rule)
            filled[name] = filled[name] or bool(np.isfinite(values).any())
            # A line without a time is told as such.
            wrong = wrong[good[wrong]]
            if len(wrong):
                sample.setdefault(heading, str(column.iloc[wrong[0]]))
                odd.setdefault(heading, []).extend((row + wrong).tolist())
            if name in held:
                factor, constant = scales[name]
                plain = values if scales[name] == _AS_OURS else values * factor + constant
                held[name].append(_of(plain, timed).astype(np.float32))
        row += len(piece)
    before = len(faults)
    if not sum(map(len, times)):
        cut = f": all {len(lines.skipped)} have more or fewer cells" * bool(lines.skipped)
        told = f"no line that can be read{cut}"
        faults.append(Fault(path.name, told, "a time and as many cells as headings in each"))
    for name, heading in rule.columns.items():
        if heading in sample and not filled[name] and len(faults) == before:
            text = sample[heading]
            remedy = _COMMA if rule.decimal == "point" and re.fullmatch(r"-?\d+,\d+", text.strip()) else ""
            told = f"no figure in column '{heading}': {cells.shown(text)}"
            faults.append(Fault(path.name, told, "figures", remedy))
    if len(faults) > before:
        return None
    at_lines = {heading: lines.numbers(rows) for heading, rows in odd.items()}
    broken = f"breaks off after {row} readings ({lines.problem})" if lines.problem else ""
    broken = broken or (f"line {lines.unfinished}, the last one, breaks off" if lines.unfinished else "")
    findings = dyno_told.findings(path.name, run_id, at_lines, lines.numbers(untimed), lines.skipped, broken)
    # One channel after the other, so that no more than one of them is there twice.
    channels = {name: np.concatenate(held.pop(name)) for name in kept}
    return Recording(np.concatenate(times), channels, findings, (path.name,))


def _of(values: NDArray[np.float64], timed: NDArray[np.bool_] | None) -> NDArray[np.float64]:
    """Those of the lines that have a time; no copy where all have one."""
    return values if timed is None else values[timed]


def _pieces(lines: dyno_lines.WholeLines, found: Sequence[str], rule: DynoLog) -> Iterator[pd.DataFrame]:
    """The file in pieces, only the columns asked for."""
    wanted = sorted(found.index(name) for name in dict.fromkeys([rule.time, *rule.columns.values()]))
    options: dict[str, Any] = {
        "sep": rule.separator,
        "decimal": "," if rule.decimal == "comma" else ".",
        # By place: a heading may have blanks about it, and others may stand twice.
        "usecols": wanted,
        "names": [found[place] for place in wanted],
        "header": 0,
        "chunksize": _PIECE,
        "encoding": "utf-8-sig",
        "encoding_errors": "replace",
        "low_memory": False,
        "skip_blank_lines": False,
    }
    with lines, pd.read_csv(lines, **options) as read_in:
        yield from read_in


def _times(column: pd.Series, rule: DynoLog) -> NDArray[np.float64]:
    """Times [s]; NaN where a cell tells none."""
    if rule.time_in == CLOCK:
        if column.dtype.kind in "fiub":
            return np.full(len(column), np.nan)
        told = pd.to_datetime(column, errors="coerce", utc=True, format="ISO8601")
        made = told.to_numpy(dtype=f"datetime64[{told.dt.unit}]")
        return (made - np.datetime64(0, told.dt.unit)) / np.timedelta64(1, "s")
    return _figures(column, rule)[0] * SECONDS[rule.time_in]


def _figures(column: pd.Series, rule: DynoLog) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Figures of a column, NaN where there is none, and the places of cells that are neither blank nor a figure."""
    wrong: NDArray[np.int64] = np.empty(0, dtype=np.int64)
    if column.dtype.kind in "fiub":
        values = column.to_numpy(dtype=float)
    else:
        text = column.astype("string")
        plain = text.str.replace(",", ".", regex=False) if rule.decimal == "comma" else text
        values = pd.to_numeric(plain, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
        blank = (column.isna() | (text.str.strip() == "")).fillna(True).to_numpy(dtype=bool)
        wrong = np.flatnonzero(np.isnan(values) & ~blank)
    none = ~np.isfinite(values)
    for figure in rule.missing:
        none |= values == figure
    return (np.where(none, np.nan, values) if none.any() else values), wrong
