"""The cells of an old table's columns: figures, dates, the decimal mark, and what is wrong with them (rank 9)."""

from __future__ import annotations

import re
from collections.abc import Sequence

from toolkit.brief.found import printable
from toolkit.campaign.old_names import suffix_for, unit_typed
from toolkit.campaign.old_table import Cell, OldColumn, OldTable
from toolkit.intake import cells, typed
from toolkit.intake.gathered import Gathered

_MEND = "Mend it in a copy of the table, and name the copy."


def decimal(table: OldTable) -> str:
    """Which decimal mark the table has, where a figure in it could be read in two ways."""
    texts = [cell.text for column in table.columns for cell in column.cells if cell and cell.found.kind == "text"]
    commas = any(typed.decimal_comma(text) for text in texts)
    asked = typed.Column("x", "number", commas=commas)
    made = [typed.of_text(text, asked) for text in texts]
    if not any(isinstance(one, cells.Problem) and one.kind == "two ways" for one in made):
        return ""
    points = any(re.fullmatch(r"[+-]?\d+\.(\d{1,2}|\d{4,})", text) for text in texts)
    return "?" if commas == points else "comma" if commas else "point"


def is_figure(cell: Cell, decimal: str) -> bool:
    """True for a number, whatever its unit."""
    made = typed.taken(cell.found, typed.Column("x", "number", "", "comma" if decimal == "?" else decimal))
    if isinstance(made, cells.Problem) and made.kind == "unit":
        # 5 mg is one; 5W-30 is the grade of an oil.
        return bool(suffix_for(unit_typed(cell.text))[0])
    return isinstance(made, typed.Typed) or made.kind in ("two ways", "grouped", "decimal mark")


def figures(column: OldColumn, suffix: str, theirs: str, decimal: str, told: Gathered) -> list[str]:
    """The figures of a column in the unit of ours, as text; faults kept of what is none; blanks are left out."""
    asked = typed.Column(f"x_{suffix}" if suffix else "x", "number", theirs, "comma" if decimal == "?" else decimal)
    made = []
    for cell in column.cells:
        value = None if cell is None else typed.taken(cell.found, asked)
        if cell is not None and isinstance(value, cells.Problem):
            where = _where(cell, column)
            told.add(where, where, value.found, value.expected, value.remedy, column=column.heading, kind=value.kind)
        elif isinstance(value, typed.Typed) and value.text not in ("", cells.LOST):
            made.append(value.text)
    return made


def dated(column: OldColumn) -> bool:
    """True for a column of dates that can be read in one way."""
    when = typed.Column("x", "when", day_first=typed.day_first(column.texts))
    made = [typed.taken(cell.found, when) for cell in column.cells if cell is not None]
    return all(isinstance(one, typed.Typed) for one in made)


def counted(texts: Sequence[str]) -> bool:
    """True for whole numbers."""
    return all(re.fullmatch(r"\d{1,6}", text) for text in texts)


def tell_blank(table: OldTable, column: OldColumn, told: Gathered) -> None:
    """Keep a fault of each line in which a treatment is not said."""
    for at, text in enumerate(column.texts):
        if not text:
            where = f"{table.name} {table.lines[at]}, column {column.heading}"
            told.add(where, where, "a blank cell in a treatment", "the level of every run", _MEND, kind="blank")


def tell_spelling(table: OldTable, column: OldColumn, told: Gathered) -> None:
    """Keep a fault of words that differ only in capitals or blanks (one level or two?) or that do not print."""
    first: dict[str, Cell] = {}
    for cell in column.cells:
        if cell is None:
            continue
        if not printable(cell.text):
            told.add(cell.where, _where(cell, column), f"{cells.shown(cell.text)} in a treatment", "a word on one line",
                     _MEND, column=column.heading, kind="sign")  # fmt: skip
        same = " ".join(cell.text.split()).casefold()
        earlier = first.setdefault(same, cell)
        if earlier.text != cell.text:
            first_at = earlier.where.removeprefix(f"{table.name} ")
            told.add(
                cell.where,
                _where(cell, column),
                f"{cells.shown(cell.text)}, and {cells.shown(earlier.text)} at {first_at}",
                "every level written in one way",
                _MEND,
                column=column.heading,
                kind="spelling",
            )


def _where(cell: Cell, column: OldColumn) -> str:
    """Where a cell is, with its column."""
    return f"{cell.where}, column {column.heading}"
