"""A raw table as text, from a file or from a frame, and its rows as they are walked (rank 6)."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from toolkit.errors import nearest
from toolkit.intake import cells
from toolkit.intake.gathered import Gathered

MOST_ROWS = 20_000
MOST_COLUMNS = 500
NOTE = "note"


@dataclass(frozen=True)
class Entry:
    """One cell of a file that was taken in, as text for the strict readers.

    ``text`` is None where a fault was kept of it; ``where`` is 'R05!C12' in a workbook, 'line 3' in a table of text.
    """

    text: str | None
    file: str
    where: str

    def place(self, column: str) -> str:
        """Where it is, for a message: 'R05.xlsx R05!C12, column verdict'."""
        return f"{self.file} {self.where}, column {column}"


@dataclass(frozen=True)
class Origin:
    """Which cells of a row come from files that were taken in; ``file`` and ``where`` of a row that does as a whole."""

    cells: Mapping[str, Entry]
    file: str = ""
    where: str = ""


@dataclass(frozen=True)
class Raw:
    """A table as text.

    Attributes
    ----------
    name : str
        As people know it: 'raw/runs.csv', or 'runs' for a frame.
    unit : str
        What its rows are counted in: line or row.
    header : tuple of str
    rows : tuple of (int, tuple of str)
        Line number and cells; every row has as many cells as the header.
    broken : tuple of tuple of str
        Rows that had not; kept only for the run ids they name.
    origins : mapping of int to Origin
        By row, where cells come from files that were taken in.
    own : tuple of str or None
        The header that stands in the table itself, where files that were taken in bring more columns.
    """

    name: str
    unit: str
    header: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str | None, ...]], ...]
    broken: tuple[tuple[str, ...], ...] = ()
    origins: Mapping[int, Origin] = field(default_factory=dict)
    own: tuple[str, ...] | None = None

    def place(self, number: int, column: str = "") -> str:
        """Where a cell is: 'raw/runs.csv line 3, column pin', or in the file it came from."""
        origin = self.origins.get(number)
        if origin and column in origin.cells:
            return origin.cells[column].place(column)
        row = f"{origin.file} {origin.where}" if origin and origin.file else f"{self.name} {self.unit} {number}"
        return f"{row}{f', column {column}' if column else ''}"

    def file(self, number: int, column: str = "") -> str:
        """The table or file that a cell stands in."""
        origin = self.origins.get(number)
        if origin and column in origin.cells:
            return origin.cells[column].file
        return origin.file if origin and origin.file else self.name

    def beside(self, number: int, column: str, other: int) -> str:
        """Where another row is, seen from this one: 'on line 5', or 'at' and its place in another file."""
        if self.file(other, column) == self.name == self.file(number, column):
            return f"on {self.unit} {other}"
        return f"at {self.place(other, column).removesuffix(f', column {column}')}"

    def ids(self, column: str) -> frozenset[str]:
        """Every name in a column, also in rows with the wrong number of cells; empty without that column."""
        if column not in self.header:
            return frozenset()
        at = self.header.index(column)
        every = [row for _, row in self.rows] + [row for row in self.broken if len(row) > at]
        return frozenset(cells.clean(row[at] or "") for row in every) - {""}


@dataclass(frozen=True)
class Row:
    """One row of a raw table while it is read; faults go to ``gathered``."""

    raw: Raw
    number: int
    texts: Mapping[str, str]
    gathered: Gathered

    def text(self, column: str) -> str:
        """The cleaned cell; an empty text where the table has no such column."""
        return self.texts.get(column, "")

    def take(
        self,
        column: str,
        reader: Callable[..., Any],
        *given: Any,
        needed: str = "",
        remedy: str = "",
        **options: Any,
    ) -> Any:
        """The value of a cell by ``reader``; None, and a fault kept, when it cannot be taken.

        ``needed`` says what a blank cell should hold; left out, a blank cell is None and no fault.
        """
        text = self.text(column)
        if text == "" and column not in self.texts:
            return None
        if text == "":
            if needed:
                self.fault(column, "blank", "the cell is blank", needed, remedy)
            return None
        value = reader(text, *given, **options)
        if isinstance(value, cells.Problem):
            self.fault(column, value.kind, value.found, value.expected, value.remedy)
            return None
        return value

    def fault(self, column: str, kind: str, found: str, expected: str, remedy: str | Callable[[], str] = "") -> None:
        """Keep a fault of this row."""
        self.gathered.add(
            self.raw.file(self.number, column),
            self.raw.place(self.number, column),
            found,
            expected,
            remedy,
            column=column,
            kind=kind,
        )

    def once(self, seen: dict[Any, int], column: str, key: Any, expected: str, *, said: str = "") -> None:
        """A fault of this row when ``key`` was seen in a row before; else it is seen now. None is no key.

        ``said`` is the key in words; left out, the key itself in quotes.
        """
        if key is None:
            return
        if key in seen:
            text = key if isinstance(key, str) else " ".join(str(part) for part in key if part not in ("", None))
            self.fault(
                column,
                "twice",
                f"{said or cells.shown(text)} also stands {self.raw.beside(self.number, column, seen[key])}",
                expected,
                "Delete or correct one of them.",
            )
        else:
            seen[key] = self.number


def walk(raw: Raw, gathered: Gathered) -> Iterator[Row]:
    """The rows of a raw table, cells cleaned; of a column that stands twice the first counts."""
    for number, line in raw.rows:
        texts: dict[str, str] = {}
        given = raw.origins[number].cells if number in raw.origins else {}
        for name, text in zip(raw.header, line, strict=True):
            # None: a fault was kept of the cell. What came from a file is clean, and free text keeps its blanks.
            if text is not None:
                texts.setdefault(name, text if name in given else cells.clean(text))
        yield Row(raw, number, texts, gathered)


def check_header(
    raw: Raw,
    required: Sequence[str],
    optional: Sequence[str],
    gathered: Gathered,
    *,
    also: Callable[[str], bool] = lambda name: False,
    hint: str = "",
) -> None:
    """Find columns that are missing, unknown, without a name, or stand twice.

    Parameters
    ----------
    raw : Raw
    required, optional : sequence of str
    gathered : Gathered
    also : callable
        Tells of a name in neither list whether it is known all the same.
    hint : str
        What else a column may be called, for the message.
    """
    where = f"{raw.name} line 1" if raw.unit == "line" else raw.name
    known = [*dict.fromkeys([*required, *optional, NOTE])]
    meant = set()  # what unknown names are taken for: told once, not again as missing
    header = raw.header if raw.own is None else raw.own
    for at, name in enumerate(header):
        if not name:
            gathered.add(
                raw.name,
                where,
                f"column {at + 1} has no name",
                "a name over every column",
                "Name it, or delete the column.",
                kind="unnamed",
            )
        elif name in header[:at]:
            gathered.add(
                raw.name,
                where,
                f"column {cells.shown(name)} stands twice",
                "each column once",
                "Delete or rename one of them.",
                kind="twice",
            )
        elif name not in known and not also(name):
            near = nearest(name, [item for item in known if item not in header])
            meant.add(near)
            gathered.add(
                raw.name,
                where,
                f"unknown column {cells.shown(name)}",
                f"only {', '.join(known)}{hint}",
                near or "Leave the column out.",
                kind="unknown column",
            )
    lacking = [name for name in required if name not in header and f"Did you mean '{name}'?" not in meant]
    if lacking:
        several = len(lacking) > 1
        gathered.add(
            raw.name,
            where,
            f"column{'s' * several} {', '.join(map(repr, lacking))} {'are' if several else 'is'} missing",
            f"the columns {', '.join(required)}",
            f"Add {'them' if several else 'it'}, also where {'their' if several else 'its'} cells are blank.",
        )


def of_frame(name: str, frame: pd.DataFrame, gathered: Gathered) -> Raw | None:
    """A frame as a raw table, so that it passes the same checks as a file; None when it cannot be.

    Parameters
    ----------
    name : str
        What it is called in messages.
    frame : DataFrame
        Numbers keep all their digits; missing values are blank cells.
    gathered : Gathered
    """
    if not isinstance(frame, pd.DataFrame):
        gathered.add(name, name, f"a {type(frame).__name__}", "a pandas DataFrame")
        return None
    if len(frame) > MOST_ROWS or len(frame.columns) > MOST_COLUMNS:
        gathered.add(
            name,
            name,
            f"{len(frame)} rows in {len(frame.columns)} columns",
            f"at most {MOST_ROWS} rows in {MOST_COLUMNS} columns",
        )
        return None
    columns = [[_as_text(value) for value in frame.iloc[:, at].astype(object)] for at in range(frame.shape[1])]
    lines = list(zip(*columns, strict=True)) if columns else []
    return Raw(
        name,
        "row",
        tuple(str(item).strip() for item in frame.columns),
        tuple((at + 1, line) for at, line in enumerate(lines)),
    )


def _as_text(value: object) -> str:
    """A value of a frame as a person would have typed it."""
    if value is None or value is pd.NA or value is pd.NaT:
        return ""
    if isinstance(value, (bool, np.bool_)):
        return "true" if value else "false"
    if isinstance(value, (float, np.floating)):
        return "" if math.isnan(value) else repr(float(value))
    return str(value)
