"""Text in CSV that a spreadsheet program would run as a formula: one quote in front, which our readers take away.

Source of the signs: OWASP, CSV Injection (and ASVS 1.2.10).
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence

_SIGNS = "[=+\\-@\t\r\n＝＋－＠]"
_LIVE = re.compile(f"'*{_SIGNS}")
_QUOTED = re.compile(f"'+{_SIGNS}")
_NUMBER = re.compile(r"[+-](?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")


def guarded(text: str) -> str:
    """A text as it is written to a cell of a CSV file; numbers stay as they are."""
    return f"'{text}" if _LIVE.match(text) and not _NUMBER.fullmatch(text) else text


def csv_lines(rows: Iterable[Sequence[str]]) -> str:
    """Rows of text as CSV with Unix line ends, every cell guarded.

    A row with a carriage return in it is quoted throughout: Python's writer leaves such a cell without quotes, and
    every reader then sees two rows.
    """
    out = io.StringIO(newline="")
    plain = csv.writer(out, lineterminator="\n")
    quoted = csv.writer(out, lineterminator="\n", quoting=csv.QUOTE_ALL)
    for row in rows:
        (quoted if any("\r" in cell for cell in row) else plain).writerow([guarded(cell) for cell in row])
    return out.getvalue()


def unguarded(text: str) -> str:
    """The text of a cell that was written guarded."""
    return text[1:] if _QUOTED.match(text) else text
