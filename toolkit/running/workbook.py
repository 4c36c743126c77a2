"""A run sheet as a workbook of one A4 page: input cells unlocked, lists, warnings, units beside (rank 5)."""

from __future__ import annotations

import math

from toolkit import cautions, sheetfile
from toolkit.running.sheets import Line, RunSheet
from toolkit.sheetfile import Cell, Sheet

HEADINGS = ("what", "column", "value", "unit", "planned, window, limits", "initials, time")
_WIDTHS = (29.0, 18.0, 16.0, 7.0, 38.0, 14.0)
_LINE, _ROOM = 14.0, 8.0
_FIGURE = "92.5 or 92,5. Blank: not known yet. lost: there will be no figure."


def workbook(sheet: RunSheet, *, at: str) -> bytes:
    """The sheet of a run as xlsx bytes; the same sheet and time give the same bytes.

    Parameters
    ----------
    sheet : RunSheet
    at : str
        The time that stands in the document, ISO 8601.
    """
    rows: list[tuple[Cell | None, ...]] = []
    heights: list[float] = []
    spans: list[int] = []

    def over(text: str, look: str, high: float) -> None:
        """A row whose text runs over the whole width."""
        rows.append((Cell(text, look),))
        heights.append(high)
        spans.append(len(rows))

    over(sheet.run_id, "big", 34.0)
    over(f"Run {sheet.place}, {sheet.phase} phase of {sheet.campaign}", "title", 20.0)
    rows.append(tuple(Cell(name, "head") for name in HEADINGS))
    heights.append(20.0)
    for name, value in (("run_id", sheet.run_id), ("phase", sheet.phase), *sheet.instruction):
        column = name if name in ("run_id", "phase") else ""
        rows.append((Cell(name), Cell(column), Cell(value), Cell(), Cell(), Cell()))
        if not column:
            # The instruction is wider than a value: it stands where the planned things stand.
            rows[-1] = (
                Cell(f"build: {name}" if name != "build" else name),
                Cell(),
                Cell(),
                Cell(),
                Cell(value),
                Cell(),
            )
        heights.append(_high(rows[-1]))
    for title, lines in sheet.parts:
        rows.append((Cell(title, "title"),))
        heights.append(20.0)
        for line in lines:
            rows.append(_row(line))
            heights.append(_high(rows[-1]))
    if sheet.void:
        over(f"Void if: {'; '.join(sheet.void)}.", "small", _lines("; ".join(sheet.void)) * 12.0)
    told = f"{cautions.HEADER} {' '.join(cautions.SHORT)}"
    over(told, "small", _lines(told) * 12.0)
    for name, value in (("seal", sheet.seal), ("row_checksum", sheet.row), ("records_head", sheet.head)):
        rows.append((Cell(name, "fine"), Cell(name, "fine"), Cell(value, "fine")))
        heights.append(12.0)
    return sheetfile.write(
        [
            Sheet(
                name=sheet.run_id,
                rows=tuple(rows),
                widths=_WIDTHS,
                heights=tuple(heights),
                spans=tuple(spans),
                foot=f"{sheet.campaign} {sheet.run_id} seal {sheet.seal[:12]} row {sheet.row[:12]}",
            )
        ],
        title=f"Run sheet {sheet.campaign} {sheet.run_id}",
        at=at,
    )


def _row(line: Line) -> tuple[Cell, ...]:
    """A line of the work: only its value and the initials are open."""
    hint = _FIGURE if line.number and line.unit else ""
    value = Cell(None, "number" if line.number else "input", line.choices, line.between, line.told, hint)
    return Cell(line.what), Cell(line.column), value, Cell(line.unit), Cell(line.rule), Cell(None, "input")


def _high(row: tuple[Cell | None, ...]) -> float:
    """The height of a row in points: as many lines as its longest text takes in its column."""
    texts = [(str(cell.value), wide) for cell, wide in zip(row, _WIDTHS, strict=True) if cell and cell.value]
    return _ROOM + _LINE * max((math.ceil(len(text) / wide) for text, wide in texts), default=1)


def _lines(text: str) -> int:
    """How many lines of small type a text takes over the whole width."""
    return 1 + int(len(text) / (sum(_WIDTHS) * 1.15))
