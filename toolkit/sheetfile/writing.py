"""Writing a workbook: text as text, the same bytes for the same content, protected but for its input cells."""

from __future__ import annotations

import copy
import io
import math
import re
import tempfile
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from toolkit.errors import StorageError, WearbookError

MOST_TEXT = 32_767
_MOST_LIST = 255
_PACKED_AT = (1980, 1, 1, 0, 0, 0)

# What XML 1.0 cannot hold, and the carriage return, which it turns into a line feed (ECMA-376 part 1, ST_Xstring).
_UNHELD = re.compile("[\x00-\x08\x0b-\x0d\x0e-\x1f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")


@dataclass(frozen=True)
class Cell:
    """One cell to write.

    Attributes
    ----------
    value : str, int, float or None
        Text stays text; None leaves the cell blank.
    look : str
        plain, title, big, head, small, fine, input (text) or number; the last two are the cells that a protected
        sheet lets people fill.
    choices : tuple of str
        Offered as a drop-down list; other entries are refused.
    between : tuple of float or None
        Numbers outside are let through with a warning; the lower bound may be -inf.
    told : str
        What the warning says, at most 255 characters.
    hint : str
        Shown beside the cell while it is being filled in, at most 255 characters.
    """

    value: str | int | float | None = None
    look: str = "plain"
    choices: tuple[str, ...] = ()
    between: tuple[float, float] | None = None
    told: str = ""
    hint: str = ""


@dataclass(frozen=True)
class Sheet:
    """One sheet to write: rows of cells (None: no cell), widths of columns in characters, and how it is printed.

    ``heights`` are those of the rows in points (0: as the program likes), ``spans`` the rows whose first cell runs
    over the whole width (never an input row), ``repeated`` how many rows head every page and stay in view,
    ``one_page`` whether everything is shrunk to one A4 page.
    """

    name: str
    rows: tuple[tuple[Cell | None, ...], ...]
    widths: tuple[float, ...]
    heights: tuple[float, ...] = ()
    spans: tuple[int, ...] = ()
    repeated: int = 0
    one_page: bool = True
    foot: str = ""


def write(sheets: Sequence[Sheet], *, title: str, at: str) -> bytes:
    """A workbook as bytes; the same sheets, title and time give the same bytes.

    Parameters
    ----------
    sheets : sequence of Sheet
    title : str
        The document's title.
    at : str
        The time that stands in the document, ISO 8601.

    Raises
    ------
    WearbookError
        When a text is longer than a cell holds, or the choices do not fit a drop-down list.
    """
    import openpyxl

    book = openpyxl.Workbook()
    book.remove(book.active)
    looks: dict[str, object] = {}
    for sheet in sheets:
        _lay(book.create_sheet(sheet.name), sheet, looks)
    moment = datetime.fromisoformat(at).replace(tzinfo=None, microsecond=0)
    book.properties.creator = "wearbook"
    book.properties.title = title
    book.properties.created = moment
    buffer = io.BytesIO()
    try:
        book.save(buffer)
    except OSError as problem:
        # openpyxl puts each sheet together in a temporary file.
        place = tempfile.tempdir or "the folder of temporary files"
        raise StorageError(
            f"{place}: a workbook could not be put together there ({problem.strerror or problem}); nothing was "
            f"written. Free space or mend the permissions, or set TMPDIR to another folder, then repeat."
        ) from problem
    return _repacked(buffer.getvalue(), moment)


def _lay(target: object, sheet: Sheet, looks: dict[str, object]) -> None:
    """Put a sheet's cells, lists, warnings and printing on a sheet of openpyxl."""
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    rules: dict[tuple[object, ...], DataValidation] = {}
    for at, row in enumerate(sheet.rows, start=1):
        for place, cell in enumerate(row, start=1):
            if cell is None:
                continue
            there = target.cell(at, place)
            _fill(there, cell, looks)
            key = (cell.choices, cell.between, cell.told, cell.hint)
            if (cell.choices or cell.between or cell.hint) and key not in rules:
                rules[key] = _rule(DataValidation, cell)
                target.add_data_validation(rules[key])
            if key in rules:
                rules[key].add(there)
    for place, width in enumerate(sheet.widths, start=1):
        target.column_dimensions[get_column_letter(place)].width = width
    for at, height in enumerate(sheet.heights, start=1):
        if height:
            target.row_dimensions[at].height = height
    last = get_column_letter(len(sheet.widths))
    for at in sheet.spans:
        target.merge_cells(f"A{at}:{last}{at}")
    target.protection.sheet = True
    target.protection.formatColumns = False
    target.page_setup.paperSize = target.PAPERSIZE_A4
    target.page_setup.orientation = "portrait"
    target.page_setup.fitToWidth = 1
    target.page_setup.fitToHeight = 1 if sheet.one_page else 0
    target.sheet_properties.pageSetUpPr.fitToPage = True
    target.print_area = f"A1:{last}{len(sheet.rows)}"
    target.print_options.horizontalCentered = True
    for side in ("left", "right", "top"):
        setattr(target.page_margins, side, 0.5)
    target.page_margins.bottom = 0.6
    target.page_margins.header = target.page_margins.footer = 0.3
    # & begins a code in a page's foot and is written twice.
    target.oddFooter.left.text = sheet.foot.replace("&", "&&")
    target.oddFooter.left.size = 8
    target.oddFooter.right.text = "&P / &N"
    if sheet.repeated:
        target.freeze_panes = f"A{sheet.repeated + 1}"
        target.print_title_rows = f"1:{sheet.repeated}"


def _fill(there: object, cell: Cell, looks: dict[str, object]) -> None:
    """Put value and look on a cell of openpyxl; ``looks`` keeps what each look came to in this workbook."""
    if isinstance(cell.value, str) and len(cell.value) > MOST_TEXT:
        raise WearbookError(
            f"A text of {len(cell.value):,} characters; a cell holds at most {MOST_TEXT:,}. Shorten it in "
            f"campaign.toml."
        )
    if cell.look in looks:
        # Put together part by part, the same look takes openpyxl most of the time of a workbook.
        there._style = copy.copy(looks[cell.look])
    else:
        _dress(there, cell.look)
        looks[cell.look] = copy.copy(there._style)
    if isinstance(cell.value, str):
        there.value = _UNHELD.sub(lambda hit: f"_x{ord(hit[0]):04X}_", cell.value) or None
        if cell.value:
            there.data_type = "s"
            # Without this mark a program that edits the cell would read a leading sign as the start of a formula.
            there.quotePrefix = cell.value[0] in "=+-@\t\r"
    else:
        there.value = cell.value


def _dress(there: object, look: str) -> None:
    """Put a look on a cell of openpyxl."""
    from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side

    line = Side(style="thin", color="FF767676")
    sizes = {"big": 26, "title": 13, "small": 9, "fine": 7}
    there.font = Font(name="Liberation Sans", size=sizes.get(look, 11), bold=look in ("big", "title", "head"))
    there.alignment = Alignment(horizontal="left", vertical="center", wrap_text=look not in ("big", "title", "fine"))
    if look in ("input", "number", "plain", "head"):
        there.border = Border(left=line, right=line, top=line, bottom=line)
    if look == "head":
        there.fill = PatternFill("solid", start_color="FFEEEEEE")
    if look in ("input", "number"):
        there.protection = Protection(locked=False)
        there.number_format = "General" if look == "number" else "@"
        heavy = Side(style="medium", color="FF111111")
        there.border = Border(left=heavy, right=heavy, top=heavy, bottom=heavy)


def _rule(kind: type, cell: Cell) -> object:
    """The list, the warning or the hint of a cell."""
    shown = {"showInputMessage": True, "prompt": cell.hint[:_MOST_LIST]} if cell.hint else {}
    if cell.choices:
        joined = ",".join(cell.choices)
        if len(joined) > _MOST_LIST or any(mark in choice for choice in cell.choices for mark in ',"'):
            raise WearbookError(
                f"The choices '{joined}' do not fit a drop-down list: at most {_MOST_LIST} characters, no comma or "
                "quote. Name the levels so in campaign.toml."
            )
        return kind(type="list", formula1=f'"{joined}"', allow_blank=True, showErrorMessage=True, **shown)
    if cell.between is None:
        return kind(allow_blank=True, **shown)
    low, high = cell.between
    bounds = {"operator": "between", "formula1": repr(float(low)), "formula2": repr(float(high))}
    if math.isinf(low):
        bounds = {"operator": "lessThanOrEqual", "formula1": repr(float(high))}
    return kind(
        type="decimal",
        **bounds,
        allow_blank=True,
        errorStyle="warning",
        showErrorMessage=True,
        errorTitle="Outside the window",
        error=cell.told[:_MOST_LIST],
        **shown,
    )


def _repacked(content: bytes, moment: datetime) -> bytes:
    """The same archive with times that do not depend on the clock."""
    stamped = rb"\g<1>" + moment.strftime("%Y-%m-%dT%H:%M:%SZ").encode()
    buffer = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as new:
        for member in old.infolist():
            text = old.read(member)
            if member.filename == "docProps/core.xml":
                text = re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", stamped, text)
            entry = zipfile.ZipInfo(member.filename, _PACKED_AT)
            entry.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(entry, text)
    return buffer.getvalue()
