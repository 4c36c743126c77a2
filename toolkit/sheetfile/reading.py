"""Reading a workbook: filled cells with their kind, nothing guessed."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from toolkit.errors import IntakeError
from toolkit.sheetfile import limits

_PACKED_AT = (1980, 1, 1, 0, 0, 0)
_HELD_AS = re.compile("_x([0-9A-Fa-f]{4})_")
# Text within a number format, which is shown as it stands.
_QUOTED = re.compile(r'"[^"]*"|\\.')
_ODD = re.compile(rb"(_?)x005F_")
_MERGED = re.compile(rb"<(?:[\w.-]+:)?mergeCell\b[^<>]*?\bref\s*=\s*[\"']([A-Z]+\d+(?::[A-Z]+\d+)?)[\"']")


@dataclass(frozen=True)
class Found:
    """One cell that was read: where ('C7'), its kind, its value.

    Kinds: text, number, per cent (a number that is shown a hundred times as large, with a %), yes or no, date,
    formula (``value`` is what was last computed, None when nothing was, and ``computed`` its kind), error. Blank
    cells are left out.
    """

    where: str
    row: int
    column: int
    kind: str
    value: str | int | float | bool | date | datetime | time | timedelta | None
    computed: str = ""


@dataclass(frozen=True)
class Read:
    """One sheet that was read: its filled cells row by row, and its merged ranges."""

    name: str
    cells: tuple[Found, ...]
    merged: tuple[str, ...]


def read(content: bytes, *, where: str) -> tuple[Read, ...]:
    """The sheets of a workbook, looked at before they are parsed.

    Parameters
    ----------
    content : bytes
    where : str
        The file's name, for messages.

    Raises
    ------
    IntakeError
        When it is not a workbook, or larger in any way than a filled-in sheet can be.
    """
    from openpyxl.utils.exceptions import InvalidFileException

    odd = limits.looked_at(content, where)
    try:
        # The parser warns of what lies beside the cells and is left out: extensions, names, lists of choices.
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _sheets(_marked(content) if odd else content, where)
    except IntakeError:
        raise
    # A hand-made or damaged file fails in the parser in a hundred ways; each means the same to the reader.
    except (
        InvalidFileException,
        zipfile.BadZipFile,
        ArithmeticError,
        AttributeError,
        LookupError,
        OSError,
        SyntaxError,
        TypeError,
        ValueError,
    ) as problem:
        raise limits.not_a_workbook(where) from problem


def _sheets(content: bytes, where: str) -> tuple[Read, ...]:
    """The sheets of a workbook that was looked at."""
    import openpyxl

    # Formulas are never asked what they say, only what they last gave.
    book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, keep_links=False, data_only=True)
    parts = [sheet._worksheet_path for sheet in book.worksheets]
    if len(set(parts)) < len(parts):
        raise limits.not_a_workbook(where)
    found = []
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        for part, sheet in zip(parts, book.worksheets, strict=True):
            text = archive.read(part)
            merged = _MERGED.findall(text)
            if len(merged) > limits.MOST_MERGED:
                raise limits.too_large(where, f"{len(merged):,} merged ranges", f"at most {limits.MOST_MERGED:,}")
            room = limits.MOST_CELLS - sum(len(read.cells) for read in found)
            cells = _cells(sheet, limits.extent(text, where).formulas, where, room)
            found.append(Read(sheet.title, tuple(cells), tuple(name.decode() for name in merged)))
    return tuple(found)


def _cells(sheet: object, formulas: Collection[tuple[int, int]], where: str, most: int) -> list[Found]:
    """The filled cells of a sheet opened for reading, refused when there are more than ``most``."""
    from openpyxl.utils import get_column_letter

    kinds = {"s": "text", "inlineStr": "text", "str": "text", "n": "number", "b": "yes or no", "d": "date"}
    kinds |= {"e": "error"}
    sheet.reset_dimensions()
    found = []
    for at, row in enumerate(sheet.iter_rows(), start=1):
        if at > limits.MOST_ROWS or len(row) > limits.MOST_COLUMNS:
            raise limits.too_wide(where)
        for column, cell in enumerate(row, start=1):
            value, formula = cell.value, (at, column) in formulas
            blank = value is None or value == ""
            if blank and not formula:
                continue
            kind = "date" if isinstance(value, date | time | timedelta) else kinds.get(cell.data_type, "text")
            if kind == "number" and "%" in _QUOTED.sub("", str(cell.number_format)):
                kind = "per cent"
            if isinstance(value, str):
                value = _HELD_AS.sub(lambda hit: chr(int(hit[1], 16)), value)
            if len(found) >= most:
                raise limits.too_large(where, "more filled cells", f"at most {limits.MOST_CELLS:,}")
            place = f"{get_column_letter(column)}{at}"
            if formula:
                found.append(Found(place, at, column, "formula", None if blank else value, "" if blank else kind))
            else:
                found.append(Found(place, at, column, kind, value))
    return found


def _marked(content: bytes) -> bytes:
    """The workbook with the marks of its shared texts in the spelling that openpyxl leaves alone."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(buffer, "w") as new:
        for member in old.infolist():
            text = old.read(member)
            if b"sst" in text and member.filename.endswith(".xml"):
                text = _ODD.sub(lambda hit: b"_x005f_" if hit[1] else b"x_x0030_05F_", text)
            new.writestr(zipfile.ZipInfo(member.filename, _PACKED_AT), text)
    return buffer.getvalue()
