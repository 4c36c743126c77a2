"""Recordings of a dynamometer: one or several files of a run as channels in our units, with all that was odd (rank 6).

Files are read in pieces, so that a hundred hours fit into memory; a piece that cannot be read is told and left out,
never a whole file for the sake of one line.
"""

from __future__ import annotations

import gzip
import io
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from toolkit import measured_in
from toolkit.brief.dyno_log import CLOCK, SECONDS, DynoLog
from toolkit.errors import Fault, IntakeError, listing, nearest, raise_all
from toolkit.intake.gathered import Finding, finding
from toolkit.wording import counted

HEADLINE = "The recording cannot be read."
_PIECE = 200_000
_MOST_HEADER = 65_536
_SHOWN = 40


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
    scales = {name: _scale(name, rule, faults) for name in rule.columns}
    opened = []
    for path in paths:
        header = _header(path, rule, faults)
        if header:
            opened.append(path)
    if not paths:
        faults.append(Fault(f"run {run_id}", "no recording", "at least one file"))
    raise_all(IntakeError, HEADLINE, faults)
    parts = [_file(path, rule, scales, run_id) for path in opened]
    empty = [part for part in parts if not len(part.time_s)]
    raise_all(
        IntakeError, HEADLINE, [Fault(part.files[0], "no line that can be read", "at least one") for part in empty]
    )
    parts.sort(key=lambda part: part.time_s[0] if rule.time_in == CLOCK else 0.0)
    return Recording(
        np.concatenate([part.time_s for part in parts]),
        {name: np.concatenate([part.channels[name] for part in parts]) for name in rule.columns},
        tuple(item for part in parts for item in part.findings),
        tuple(part.files[0] for part in parts),
    )


def _scale(name: str, rule: DynoLog, faults: list[Fault]) -> tuple[float, float]:
    """Factor and constant that bring a channel into our unit."""
    unit = rule.measured_in.get(name)
    if unit is None:
        return 1.0, 0.0
    try:
        nought, one = (Decimal(measured_in.converted(value, unit, name)) for value in ("0", "1"))
    except ValueError as problem:
        faults.append(Fault(f"[dyno_log] measured_in {name}", f"'{unit}' ({problem})", measured_in.shown(name)))
        return 1.0, 0.0
    return float(one - nought), float(nought)


def _header(path: Path, rule: DynoLog, faults: list[Fault]) -> list[str]:
    """The headings of a file; a fault for each that is asked for and not there."""
    try:
        with _stream(path) as handle:
            first = handle.readline(_MOST_HEADER)
    except (OSError, EOFError, zlib.error) as problem:
        faults.append(Fault(path.name, f"cannot be read ({problem})", "a CSV file, or one packed by gzip"))
        return []
    try:
        text = first.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = first.decode("cp1252", errors="replace")
    headings = [cell.strip().strip('"') for cell in text.rstrip("\r\n").split(rule.separator)]
    wanted = [rule.time, *rule.columns.values()]
    missing = [name for name in wanted if name not in headings]
    for name in missing:
        faults.append(
            Fault(f"{path.name} line 1", f"no column '{name}'", listing(headings[:_SHOWN]), nearest(name, headings))
        )
    twice = [name for name in dict.fromkeys(wanted) if headings.count(name) > 1]
    for name in twice:
        faults.append(Fault(f"{path.name} line 1", f"column '{name}' twice", "each heading once"))
    return [] if missing or twice else headings


def _file(path: Path, rule: DynoLog, scales: dict[str, tuple[float, float]], run_id: str) -> Recording:
    """The channels of one file."""
    times: list[NDArray[np.float64]] = []
    held: dict[str, list[NDArray[np.float32]]] = {name: [] for name in rule.columns}
    odd: dict[str, list[int]] = {}
    untimed: list[int] = []
    skipped: list[int] = []
    broken, row = "", 0
    pieces = _pieces(path, rule, skipped)
    while True:
        try:
            piece = next(pieces)
        except StopIteration:
            break
        except (EOFError, zlib.error, OSError, pd.errors.ParserError) as problem:
            broken = f"breaks off after {row} readings ({problem})"
            break
        at = _times(piece[rule.time], rule)
        good = np.isfinite(at)
        untimed += [row + int(place) for place in np.flatnonzero(~good)]
        times.append(at[good])
        for name, heading in rule.columns.items():
            values, wrong = _figures(piece[heading], rule)
            if len(wrong):
                odd.setdefault(heading, []).extend(row + int(place) for place in wrong)
            factor, constant = scales[name]
            held[name].append((values[good] * factor + constant).astype(np.float32))
        row += len(piece)
    at_lines = {heading: _lines(rows, skipped) for heading, rows in odd.items()}
    findings = _told(path.name, run_id, at_lines, _lines(untimed, skipped), skipped, broken or _broken_off(path))
    channels = {name: np.concatenate(parts) if parts else np.empty(0, np.float32) for name, parts in held.items()}
    return Recording(np.concatenate(times) if times else np.empty(0), channels, findings, (path.name,))


def _lines(rows: Sequence[int], skipped: Sequence[int]) -> list[int]:
    """The lines of the file that rows stand in, those that were skipped counted."""
    made = []
    for row in rows:
        line = row + 2
        for other in skipped:
            if other > line:
                break
            line += 1
        made.append(line)
    return made


def _pieces(path: Path, rule: DynoLog, skipped: list[int]) -> Iterator[pd.DataFrame]:
    """The file in pieces, only the columns asked for; lines with other numbers of cells are put down in ``skipped``."""
    wanted = list(dict.fromkeys([rule.time, *rule.columns.values()]))
    options: dict[str, Any] = {
        "sep": rule.separator,
        "decimal": "," if rule.decimal == "comma" else ".",
        "usecols": wanted,
        "chunksize": _PIECE,
        "encoding": "utf-8-sig",
        "encoding_errors": "replace",
        "low_memory": False,
        "skip_blank_lines": False,
        "skipinitialspace": True,
    }
    with _stream(path) as handle, pd.read_csv(_WholeLines(handle, rule.separator, skipped), **options) as found:
        yield from found


class _WholeLines(io.RawIOBase):
    """A stream of the lines that hold as many cells as the first: what a recorder had no time to finish is no reading.

    Numbers of lines left out go to ``skipped``; a last line without an end is left out and told by its file.
    """

    def __init__(self, handle: BinaryIO, separator: str, skipped: list[int]) -> None:
        super().__init__()
        self._handle, self._left, self._ended = handle, b"", False
        self._separator, self._skipped = separator.encode(), skipped
        self._cells, self._line = -1, 1

    def readable(self) -> bool:
        """True."""
        return True

    def read(self, size: int = -1) -> bytes:
        """The next lines."""
        while not self._ended:
            piece = self._handle.read(max(size or 0, 1 << 18))
            if not piece:
                self._ended = True
                break
            whole, end, rest = (self._left + piece).rpartition(b"\n")
            self._left = rest
            if end and (kept := self._kept(whole + end)):
                return kept
        return b""

    def _kept(self, block: bytes) -> bytes:
        """The lines of a block that hold as many cells as the first line of the file."""
        signs = np.frombuffer(block, dtype=np.uint8)
        ends = np.flatnonzero(signs == ord("\n"))
        there = np.diff(np.searchsorted(np.flatnonzero(signs == ord(self._separator)), ends), prepend=0)
        if self._cells < 0:
            self._cells = int(there[0])
        first, self._line = self._line, self._line + len(ends)
        if (there == self._cells).all():
            return block
        made = []
        for number, line in enumerate(block.splitlines(keepends=True), start=first):
            # A separator within quotes is none.
            if line.count(self._separator) == self._cells or b'"' in line:
                made.append(line)
            else:
                self._skipped.append(number)
        return b"".join(made)


def _stream(path: Path) -> BinaryIO:
    """The bytes of a file, unpacked where it is packed."""
    if path.suffix == ".gz":
        return gzip.open(path, "rb")  # type: ignore[return-value]
    return path.open("rb")


def _broken_off(path: Path) -> str:
    """Whether the last line has no end; a packed file is told by its own end."""
    with path.open("rb") as handle:
        if path.suffix == ".gz" or not path.stat().st_size:
            return ""
        handle.seek(-1, io.SEEK_END)
        return "" if handle.read(1) == b"\n" else "last line breaks off"


def _times(column: pd.Series, rule: DynoLog) -> NDArray[np.float64]:
    """Times [s]; NaN where a cell tells none."""
    if rule.time_in == CLOCK:
        told = pd.to_datetime(column, errors="coerce", utc=True, format="ISO8601")
        made = (told - pd.Timestamp(0, tz="UTC")).dt.total_seconds()
        return made.to_numpy(dtype=float)
    return _figures(column, rule)[0] * SECONDS[rule.time_in]


def _figures(column: pd.Series, rule: DynoLog) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Figures of a column, NaN where there is none, and the places of cells that are neither blank nor a figure."""
    wrong: NDArray[np.int64] = np.empty(0, dtype=np.int64)
    if column.dtype.kind in "fiub":
        values = column.to_numpy(dtype=float, copy=True)
    else:
        text = column.astype("string")
        plain = text.str.replace(",", ".", regex=False) if rule.decimal == "comma" else text
        values = pd.to_numeric(plain, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
        blank = (column.isna() | (text.str.strip() == "")).fillna(True).to_numpy(dtype=bool)
        wrong = np.flatnonzero(np.isnan(values) & ~blank)
    for figure in rule.missing:
        values[values == figure] = np.nan
    values[~np.isfinite(values)] = np.nan
    return values, wrong


def _told(
    name: str,
    run_id: str,
    odd: dict[str, list[int]],
    untimed: list[int],
    skipped: list[int],
    broken: str,
) -> tuple[Finding, ...]:
    """What was odd in a file."""
    made = [
        finding(
            "note",
            "recording",
            run_id=run_id,
            column=heading,
            found=f"{counted(len(lines), 'cell')} without a figure in it ({_places(name, lines)})",
            expected="figures",
            action="none: these readings are left out",
        )
        for heading, lines in odd.items()
    ]
    if untimed:
        made.append(
            finding(
                "note",
                "recording",
                run_id=run_id,
                found=f"{counted(len(untimed), 'line')} without a time ({_places(name, untimed)})",
                expected="a time in each line",
                action="none: these lines are left out",
            )
        )
    if skipped:
        made.append(
            finding(
                "note",
                "recording",
                run_id=run_id,
                found=f"{counted(len(skipped), 'line')} with more or fewer cells ({_places(name, skipped)})",
                expected="as many cells as headings",
                action="none: these lines are left out",
            )
        )
    if broken:
        made.append(
            finding(
                "note",
                "recording",
                run_id=run_id,
                found=f"{name}: {broken}",
                expected="a file that was closed",
                action="none: what was whole is used; look for the rest of the recording",
            )
        )
    return tuple(made)


def _places(name: str, lines: Sequence[int]) -> str:
    """The first lines, and how many more."""
    shown = ", ".join(map(str, lines[:3]))
    more = f" and {len(lines) - 3} more" if len(lines) > 3 else ""
    return f"{name} line {shown}{more}"
