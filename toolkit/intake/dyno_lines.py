"""The lines of a recording: its headings, the whole lines of it, where it breaks off (rank 6).

A recorder that is switched off leaves half a line; what it had no time to finish is no reading.
"""

from __future__ import annotations

import gzip
import io
import zlib
from pathlib import Path
from typing import BinaryIO

import numpy as np

from toolkit.brief.dyno_log import SEPARATORS, DynoLog
from toolkit.errors import Fault, listing, nearest

_MOST_HEADER = 65_536
_SHOWN = 40
_LONGEST = 60


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
    found = [cell.strip().strip('"') for cell in text.rstrip("\r\n").split(rule.separator)]
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


class WholeLines(io.RawIOBase):
    """A stream of the lines that hold as many cells as the first: what a recorder had no time to finish is no reading.

    Numbers of lines left out go to ``skipped``, that of a last line without an end, which is left out too, to
    ``unfinished``.
    """

    def __init__(self, handle: BinaryIO, separator: str, skipped: list[int], unfinished: list[int]) -> None:
        super().__init__()
        self._unfinished = unfinished
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
                self._unfinished += [self._line] * bool(self._left)
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
        between = np.flatnonzero(signs == ord(self._separator))
        if self._cells < 0:
            self._cells = int(np.searchsorted(between, ends[0]))
        first, self._line = self._line, self._line + len(ends)
        # As many as there should be in all, the last of each line before its end and the first after the one before.
        if len(between) == len(ends) * self._cells and (
            not self._cells
            or ((between[self._cells - 1 :: self._cells] < ends).all()
                and (between[self._cells :: self._cells] > ends[:-1]).all())
        ):  # fmt: skip
            return block
        made = []
        for number, line in enumerate(block.splitlines(keepends=True), start=first):
            # A separator within quotes is none.
            if line.count(self._separator) == self._cells or b'"' in line:
                made.append(line)
            else:
                self._skipped.append(number)
        return b"".join(made)


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
