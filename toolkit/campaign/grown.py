"""Whether a table that is kept by hand only grew since it was taken in, or lines of it were changed (rank 9)."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Mapping

from toolkit.intake.columns import VERDICTS

_PENDING = "pending"


def lost(old: bytes, new: bytes) -> tuple[int, ...]:
    """Numbers of the lines of an old table that the new one does not hold any more; none: it only grew.

    A line is still there when it stands below those before it with the same cells, or with cells filled in that
    were blank, or judged where it was pending. Lines may be put in anywhere.

    Parameters
    ----------
    old, new : bytes
        The table as it was taken in, and as it is now.

    Returns
    -------
    tuple of int
        Lines of the old table, counted from 1.
    """
    before, after = old.split(b"\n"), new.split(b"\n")
    # A line that had its end must still have it; what follows the last end is no line.
    if before[-1] == b"":
        before.pop()
        after.pop()
    gone, at = [], 0
    for number, line in enumerate(before, start=1):
        found = next((place for place in range(at, len(after)) if _kept(line, after[place])), None)
        if found is None:
            gone.append(number)
        else:
            at = found + 1
    return tuple(gone)


def altered(old: bytes, new: bytes) -> list[dict[str, str]]:
    """The rows of an old table that no row of the new one holds: figures in them were changed or taken away.

    Rows may stand in another order, and have more columns or cells filled in that were blank.

    Parameters
    ----------
    old, new : bytes
        The table as it was taken in, and as it is now.

    Returns
    -------
    list of dict
        Column to cell, of each such row; blank cells are left out.
    """
    left = Counter(frozenset(row.items()) for row in _rows(new))
    wanted = [frozenset(row.items()) for row in _rows(old)]
    changed = []
    for row in wanted:
        if left[row]:
            left[row] -= 1
        else:
            changed.append(row)
    gone = []
    for row in changed:
        found = next((other for other, count in left.items() if count and _holds(dict(row), dict(other))), None)
        if found is None:
            gone.append({name: cell for name, cell in sorted(row)})
        else:
            left[found] -= 1
    return gone


def _rows(content: bytes) -> list[dict[str, str]]:
    """The rows of a table, their cells that are not blank."""
    reader = csv.DictReader(io.StringIO(content.decode("utf-8-sig", "replace"), newline=""))
    return [{str(name): cell for name, cell in row.items() if isinstance(cell, str) and cell.strip()} for row in reader]


def _holds(old: Mapping[str, str], new: Mapping[str, str]) -> bool:
    """Whether a row says all that an old one said."""
    return all(new.get(name) == cell or (cell == _PENDING and new.get(name) in VERDICTS) for name, cell in old.items())


def _kept(old: bytes, new: bytes) -> bool:
    """Whether a line says all that it said before."""
    if old == new:
        return True
    cells, filled = _cells(old), _cells(new)
    return (
        cells is not None
        and filled is not None
        and len(cells) == len(filled)
        and any(cells)
        and all(
            was in ("", now) or (was == _PENDING and now in VERDICTS) for was, now in zip(cells, filled, strict=True)
        )
    )


def _cells(line: bytes) -> list[str] | None:
    """The cells of a line; None when it cannot be taken apart."""
    try:
        return next(csv.reader([line.decode("utf-8")], strict=True), [])
    except (UnicodeDecodeError, csv.Error):
        return None
