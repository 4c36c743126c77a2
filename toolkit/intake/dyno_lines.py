"""The lines of a recording: its headings, the whole lines of it, where it breaks off (rank 6).

A recorder that is switched off leaves half a line; what it had no time to finish is no reading.
"""

from __future__ import annotations

import csv
import gzip
import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import BinaryIO

import numpy as np

from toolkit.brief.dyno_log import SEPARATORS, DynoLog
from toolkit.errors import Fault, listing, nearest

_MOST_HEADER = 65_536
_SHOWN = 40
_LONGEST = 60
_BLOCK = 1 << 18


def headings(path: Path, rule: DynoLog, faults: list[Fault]) -> list[str]:
    """The headings of a file; a fault for each that is asked for and not there."""
    try:
        with stream(path) as handle:
            first = handle.readline(_MOST_HEADER)
    except (OSError, EOFError, zlib.error) as problem:
        faults.append(Fault(path.name, f"cannot be read ({problem})", "a CSV file, or one packed by gzip"))
        return []
    if b"\x00" in first or len(first) == _MOST_HEADER:
        what = "bytes that are no text" if b"\x00" in first else f"a first line of {_MOST_HEADER:,} bytes or more"
        faults.append(Fault(path.name, what, "a CSV file in UTF-8", "Save it again as CSV in UTF-8."))
        return []
    if not first.strip():
        what = "empty" if not first else "a blank first line"
        faults.append(Fault(path.name, what, "headings, then a line a reading"))
        return []
    try:
        text = first.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = first.decode("cp1252", errors="replace")
    # A separator within quotes is none, as further down.
    cells = csv.reader([text.rstrip("\r\n")], delimiter=rule.separator, skipinitialspace=True)
    found = [cell.strip().strip('"') for cell in next(cells)]
    wanted = [rule.time, *rule.columns.values()]
    missing = [name for name in wanted if name not in found]
    shown = [_plain(heading) for heading in found[:_SHOWN]]
    # A line with other signs between its cells is one long heading.
    others = [sign for sign in SEPARATORS if sign != rule.separator and text.count(sign) >= len(wanted) - 1 > 0]
    if len(missing) == len(wanted) and others and len(found) < len(wanted):
        told = {",": "commas", ";": "semicolons", "\t": "tabs"}
        faults.append(
            Fault(
                f"{path.name} line 1",
                f"headings parted by {told[others[0]]}",
                f"by {told[rule.separator]}, as [dyno_log] separator has it",
            )
        )
        return []
    for name in missing:
        faults.append(Fault(f"{path.name} line 1", f"no column '{name}'", listing(shown), nearest(name, found)))
    twice = [name for name in dict.fromkeys(wanted) if found.count(name) > 1]
    for name in twice:
        faults.append(Fault(f"{path.name} line 1", f"column '{name}' twice", "each heading once"))
    return [] if missing or twice else found


class WholeLines:
    """The lines that hold as many cells as the first, as bytes: what a recorder had no time to finish is no reading.

    No stream of Python's own: such a one would be decoded and encoded again on its way.

    Attributes
    ----------
    skipped : list of int
        Numbers of the lines that were left out.
    unfinished : int
        Number of a last line without an end, which is left out too; 0 where there is none.
    problem : Exception or None
        What stopped the reading; whole lines before it are there.
    """

    def __init__(self, path: Path, separator: str) -> None:
        self.skipped: list[int] = []
        self.unfinished = 0
        self.problem: Exception | None = None
        self._path, self._separator = path, separator.encode()
        self._handle: BinaryIO | None = None
        self._left, self._ended = b"", False
        self._cells, self._line = -1, 1
        self._others = bytes(sign for sign in range(256) if sign not in (ord(separator), ord("\n")))

    def __enter__(self) -> WholeLines:
        """Itself, opened."""
        self._handle = stream(self._path)
        return self

    def __exit__(self, *_: object) -> None:
        """Close the file."""
        if self._handle is not None:
            self._handle.close()

    def __iter__(self) -> Iterator[bytes]:
        """Its lines in blocks."""
        return iter(self.read, b"")

    def read(self, size: int = -1) -> bytes:
        """The next lines."""
        while not self._ended:
            piece = self._piece(max(size or 0, _BLOCK))
            end = piece.rfind(b"\n") + 1
            kept = self._kept(self._left + piece[:end]) if end else b""
            self._left = piece[end:] if end else self._left + piece
            if self._ended and self._left and self.problem is None:
                self.unfinished = self._line
            if kept:
                return kept
        return b""

    def numbers(self, rows: Sequence[int]) -> list[int]:
        """The lines of the file that rows stand in, those that were skipped counted."""
        before = np.asarray(self.skipped, dtype=int) - 2 - np.arange(len(self.skipped))
        found = np.asarray(rows, dtype=int)
        return (found + 2 + np.searchsorted(before, found, side="right")).tolist()

    def _piece(self, size: int) -> bytes:
        """So many bytes, fewer at the end and where the file breaks off."""
        made: list[bytes] = []
        missing = size
        try:
            while missing > 0 and self._handle is not None and (piece := self._handle.read1(missing)):
                made.append(piece)
                missing -= len(piece)
        except (EOFError, zlib.error, OSError) as problem:
            self.problem = problem
        self._ended = missing > 0
        return b"".join(made)

    def _kept(self, block: bytes) -> bytes:
        """The lines of a block that hold as many cells as the first line of the file."""
        signs = block.translate(None, self._others)
        if self._cells < 0:
            self._cells = self._separators(block[: block.index(b"\n")])
        line = self._separator * self._cells + b"\n"
        lines, more = divmod(len(signs), len(line))
        first, self._line = self._line, self._line + signs.count(b"\n")
        if b" " in block:
            block = self._without_blanks(block)
        if not more and signs == line * lines and b'"' not in block:
            return block
        made = []
        for number, line in enumerate(block.splitlines(keepends=True), start=first):
            # A quote that is not closed would swallow the lines after it.
            if self._separators(line) == self._cells and not line.count(b'"') % 2:
                made.append(line)
            else:
                self.skipped.append(number)
        return b"".join(made)

    def _separators(self, line: bytes) -> int:
        """How many separators a line holds; one within quotes is none."""
        return sum(part.count(self._separator) for part in line.split(b'"')[::2])

    def _without_blanks(self, block: bytes) -> bytes:
        """A block without blanks before its cells: taking them out here costs less than looking for them at each."""
        for before in (self._separator, b"\n"):
            while before + b" " in block:
                block = block.replace(before + b" ", before)
        return block.lstrip(b" ")


def stream(path: Path) -> BinaryIO:
    """The bytes of a file, unpacked where it is packed."""
    if path.suffix == ".gz":
        return gzip.open(path, "rb")  # type: ignore[return-value]
    return path.open("rb")


def is_one(first: bytes, rule: DynoLog) -> bool:
    """Whether the first line of a file has the headings of a recording: the time and a channel at least."""
    text = first.decode("utf-8-sig", errors="replace").rstrip("\r\n")
    found = {cell.strip().strip('"') for cell in text.split(rule.separator)}
    return rule.time in found and bool(found & set(rule.columns.values()))


def _plain(heading: str) -> str:
    """A heading for a message: what does not print written as a question mark, cut where it is long."""
    return "".join(sign if sign.isprintable() else "?" for sign in heading[:_LONGEST])
