"""A received file as grids of cells: the sheets of a workbook, or the one table of a text file (rank 6)."""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cached_property

from toolkit import sheetfile
from toolkit.errors import IntakeError
from toolkit.intake import cells, csv_text
from toolkit.intake.gathered import Gathered
from toolkit.sheetfile import Found

FIRST_ROWS = 50
_WORKBOOK = b"PK\x03\x04"
_PLAIN_SHEET = re.compile(r"[A-Za-z_][A-Za-z0-9_.]*")
_RANGE = re.compile(r"([A-Z]+)(\d+)(?::([A-Z]+)(\d+))?")


@dataclass(frozen=True)
class Grid:
    """Filled cells by row and column, both counted from 1; ``sheet`` is None for a table of text."""

    file: str
    sheet: str | None
    rows: Mapping[int, Mapping[int, Found]]
    merged: tuple[str, ...] = ()

    def where(self, row: int, column: int = 0) -> str:
        """A cell as 'R05!C12', a row as 'R05!12:12'; in a table of text both are 'line 3'."""
        if self.sheet is None:
            return f"line {row}"
        return f"{_quoted(self.sheet)}!{f'{letters(column)}{row}' if column else f'{row}:{row}'}"

    def text(self, row: int, column: int) -> str:
        """The text of a cell, without blanks around it; empty when it holds none."""
        found = self.rows.get(row, {}).get(column)
        return str(found.value).strip() if found is not None and found.kind in ("text", "number") else ""

    def headings(self, row: int) -> dict[str, list[int]]:
        """The headings that stand in a row, as they are compared, with the columns each stands in."""
        made: dict[str, list[int]] = {}
        for column in sorted(self.rows.get(row, {})):
            name = compared(self.text(row, column))
            if name:
                made.setdefault(name, []).append(column)
        return made

    def heading_row(self, names: Collection[str], least: int = 1) -> int | None:
        """The first of the rows that hold the most of these headings; None when none holds ``least``."""
        wanted = {compared(name) for name in names}
        best, most = None, least - 1
        for row in sorted(self.rows)[:FIRST_ROWS]:
            count = len(wanted & set(self.headings(row)))
            if count > most:
                best, most = row, count
        return best

    def merged_over(self, row: int, column: int) -> str | None:
        """The merged range that a cell is part of; None when it is by itself."""
        return next((name for left, right, name in self._merged.get(row, ()) if left <= column <= right), None)

    @cached_property
    def _merged(self) -> dict[int, list[tuple[int, int, str]]]:
        """By row the merged ranges that touch it: first and last column, and the range."""
        made: dict[int, list[tuple[int, int, str]]] = {}
        filled = sorted(self.rows)
        for name in self.merged:
            found = _RANGE.fullmatch(name)
            if found is None:
                continue
            left, top = place(found[1]), int(found[2])
            right, bottom = (place(found[3]), int(found[4])) if found[3] else (left, top)
            for row in filled[bisect_left(filled, top) : bisect_right(filled, bottom)]:
                made.setdefault(row, []).append((left, right, name))
        return made


def of_file(name: str, content: bytes, told: Gathered) -> tuple[Grid, ...]:
    """The grids of a file that hold anything; none, and a fault kept, when it cannot be read."""
    if content.startswith(_WORKBOOK):
        try:
            sheets = sheetfile.read(content, where=name)
        except IntakeError as problem:
            found, _, rest = str(problem).removeprefix(f"{name}: ").partition("; expected ")
            expected, _, remedy = rest.partition(". ")
            told.add(name, name, found, expected, remedy)
            return ()
        grids = []
        for sheet in sheets:
            rows: dict[int, dict[int, Found]] = {}
            for cell in sheet.cells:
                rows.setdefault(cell.row, {})[cell.column] = cell
            if rows:
                grids.append(Grid(name, sheet.name, rows, sheet.merged))
        if not grids:
            told.add(name, name, "a workbook with nothing in it", "a filled-in sheet or table")
        return tuple(grids)
    raw = csv_text.of_bytes(name, content, told)
    if raw is None:
        return ()
    lines = {1: raw.header, **{number: tuple(cells.clean(text or "") for text in row) for number, row in raw.rows}}
    return (
        Grid(
            name,
            None,
            {
                number: {
                    at: Found("", number, at, "text", text) for at, text in enumerate(line, start=1) if text.strip()
                }
                for number, line in lines.items()
            },
        ),
    )


def compared(heading: str) -> str:
    """A heading as it is compared: without capitals, with single blanks."""
    return " ".join(heading.split()).casefold()


def letters(column: int) -> str:
    """The letters of a column: 3 gives 'C'."""
    text = ""
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(65 + rest) + text
    return text


def place(text: str) -> int:
    """The number of a column from its letters."""
    number = 0
    for letter in text:
        number = number * 26 + ord(letter) - 64
    return number


def _quoted(sheet: str) -> str:
    """The name of a sheet as it stands in an address; quotes where a spreadsheet has them."""
    if _PLAIN_SHEET.fullmatch(sheet):
        return sheet
    safe = "".join(sign if sign.isprintable() else "?" for sign in sheet)
    return "'{}'".format(safe.replace("'", "''"))
