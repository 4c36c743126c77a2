"""Where each figure of a run comes from: which table or file, which cell (rank 6)."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from toolkit.brief.record_columns import FITTED, is_fitted
from toolkit.intake import cells
from toolkit.intake.raw import Entry, Raw

COLUMNS = ("run_id", "column", "file", "where")
_KEYS = ("run_id", "part_id", "station_id", "sample_id", "reading", "state", "at_h")


def table(
    runs: Raw | None, built: Mapping[str, Mapping[str, Entry]], stations: Raw | None, oil: Raw | None
) -> pd.DataFrame:
    """A row for each filled cell of a run; of readings and samples one a run, column and file.

    Parameters
    ----------
    runs, stations, oil : Raw or None
    built : mapping
        Run to its cells, for what was fitted.

    Returns
    -------
    DataFrame
        run_id, column, file, where: of the first cell where there are several.
    """
    rows = _of(runs, every=True)
    for run, row in built.items():
        told = [name for name in sorted(filter(is_fitted, row), key=_place) if row[name].text]
        rows += [[run, name, row[name].file, row[name].where] for name in told]
    for raw in (stations, oil):
        rows += _of(raw, every=False)
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def _place(name: str) -> tuple[int, str]:
    """Where a column of what was fitted stands among them: parts of positions last."""
    return (FITTED.index(name), "") if name in FITTED else (len(FITTED), name)


def _of(raw: Raw | None, *, every: bool) -> list[list[str]]:
    """The cells of one table."""
    if raw is None or "run_id" not in raw.header:
        return []
    at = raw.header.index("run_id")
    rows, seen = [], set()
    for number, line in raw.rows:
        run = cells.clean(line[at] or "")
        given = raw.origins[number].cells if number in raw.origins else {}
        for name, text in zip(raw.header, line, strict=True):
            if not text or not text.strip() or name == "run_id" or (not every and name in _KEYS):
                continue
            entry = given.get(name)
            file, where = (entry.file, entry.where) if entry else (raw.name, f"{raw.unit} {number}")
            if every or (run, name, file) not in seen:
                seen.add((run, name, file))
                rows.append([run, name, file, where])
    return rows
