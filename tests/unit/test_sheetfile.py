"""Workbooks: text stays text and comes back unchanged, the same bytes twice, and bombs are refused at once."""

from __future__ import annotations

import io
import time
import zipfile

import openpyxl
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from toolkit import sheetfile
from toolkit.errors import IntakeError, WearbookError
from toolkit.sheetfile import Cell, Sheet

AT = "2026-03-02T08:00:00Z"
SAVE = "Copy the filled-in cells into a fresh sheet and save that as xlsx."
AGAIN = "Open it in a spreadsheet program and save it as xlsx."


def written(*cells: Cell) -> bytes:
    return sheetfile.write([Sheet("A", tuple((cell,) for cell in cells), (20.0,))], title="t", at=AT)


# The spelling of characters that XML cannot hold: ECMA-376 part 1, 22.9.2.19 (ST_Xstring).
@given(st.text(min_size=1, max_size=40), st.sampled_from(["plain", "input", "small"]))
@settings(max_examples=150)
@example("=1+1", "input")
@example('=HYPERLINK("x")', "plain")
@example("+1", "input")
@example("@SUM(A1)", "input")
@example("\t=1", "input")
@example("_x0041_", "input")
@example("_x005F_x0041_", "input")
@example("x005F_x005F_", "input")
@example("a\r\n\x07\ufffe", "input")
@example("  ", "input")
@example("#N/A", "input")
@example("NA", "input")
@example("1e5", "input")
def test_any_text_comes_back_and_is_never_a_formula(text, look):
    content = written(Cell(text, look))
    found = sheetfile.read(content, where="x.xlsx")[0].cells
    assert [(cell.where, cell.kind, cell.value) for cell in found] == [("A1", "text", text)]
    sheet = openpyxl.load_workbook(io.BytesIO(content)).active
    assert sheet["A1"].data_type == "s"
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert b"<f>" not in archive.read("xl/worksheets/sheet1.xml")


def test_the_hidden_spelling_is_that_of_the_standard():
    with zipfile.ZipFile(io.BytesIO(written(Cell("a\x07_x0041_")))) as archive:
        assert b"<t>a_x0007__x005F_x0041_</t>" in archive.read("xl/worksheets/sheet1.xml")


@pytest.mark.parametrize(
    ("kept", "meant"),
    [
        ("a_x0007__x005F_x0041_", "a\x07_x0041_"),
        ("_x005F_x005F_", "_x005F_"),
        ("x005F_", "x005F_"),
        ("_x000D_", "\r"),
        ("=1+1", "=1+1"),
    ],
)
def test_texts_that_a_spreadsheet_program_shares_are_read_as_the_standard_says(kept, meant):
    space = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
    with zipfile.ZipFile(io.BytesIO(written(Cell("a")))) as archive:
        types = archive.read("[Content_Types].xml").decode()
    parts = {
        "[Content_Types].xml": types.replace(
            "</Types>", f'<Override PartName="/xl/sharedStrings.xml" ContentType="{kind}"/></Types>'
        ).encode(),
        "xl/sharedStrings.xml": f"<sst {space}><si><t>{kept}</t></si></sst>".encode(),
        "xl/worksheets/sheet1.xml": SHEET % b'<row r="1"><c r="A1" t="s"><v>0</v></c></row>',
    }
    found = sheetfile.read(packed(parts), where="x.xlsx")[0].cells
    assert [(cell.kind, cell.value) for cell in found] == [("text", meant)]


def test_the_same_content_gives_the_same_bytes_and_no_clock_is_read(monkeypatch):
    first = written(Cell("a"), Cell(1.5, "number", between=(1.0, 2.0), told="x"))
    monkeypatch.setattr(time, "time", lambda: 2e9)
    assert written(Cell("a"), Cell(1.5, "number", between=(1.0, 2.0), told="x")) == first
    with zipfile.ZipFile(io.BytesIO(first)) as archive:
        assert {member.date_time for member in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        core = archive.read("docProps/core.xml").decode()
    assert core.count("2026-03-02T08:00:00Z") == 2


def test_kinds_merged_ranges_and_formulas_are_told():
    book = openpyxl.Workbook()
    sheet = book.active
    sheet["A1"], sheet["B2"], sheet["C3"], sheet["D4"] = 2.5, True, "=1+1", "text"
    sheet.merge_cells("A5:B6")
    buffer = io.BytesIO()
    book.save(buffer)
    found = sheetfile.read(buffer.getvalue(), where="x.xlsx")[0]
    assert [(cell.where, cell.kind, cell.value) for cell in found.cells] == [
        ("A1", "number", 2.5),
        ("B2", "yes or no", True),
        ("C3", "formula", None),
        ("D4", "text", "text"),
    ]
    assert found.merged == ("A5:B6",)


def test_shares_shown_as_per_cent_are_told_apart():
    book = openpyxl.Workbook()
    for at, (value, shown) in enumerate(
        [(0.03, "0%"), (0.03, "0.00%"), (3, '0.0" %"'), (3, "0.0\\%"), (0.03, "General"), ("0.03", "0%")], start=1
    ):
        book.active.cell(at, 1, value).number_format = shown
    buffer = io.BytesIO()
    book.save(buffer)
    found = sheetfile.read(buffer.getvalue(), where="x.xlsx")[0].cells
    assert [(cell.kind, cell.value) for cell in found] == [
        ("per cent", 0.03), ("per cent", 0.03), ("number", 3), ("number", 3), ("number", 0.03), ("text", "0.03"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("stored", "value", "computed"),
    [
        (b"<v>92.5</v>", 92.5, "number"),
        (b"<v></v>", None, ""),
        (b"", None, ""),
    ],
)
def test_what_a_formula_last_gave_has_a_kind(stored, value, computed):
    row = b'<row r="1"><c r="A1"><f>90+2.5</f>%s</c></row>' % stored
    found = sheetfile.read(packed({"xl/worksheets/sheet1.xml": SHEET % row}), where="x.xlsx")[0].cells
    assert [(cell.kind, cell.value, cell.computed) for cell in found] == [("formula", value, computed)]


@pytest.mark.parametrize(
    ("kind", "stored", "value", "computed"),
    [(b"str", b"ninety", "ninety", "text"), (b"e", b"#DIV/0!", "#DIV/0!", "error"), (b"b", b"1", True, "yes or no")],
)
def test_formulas_that_gave_no_number(kind, stored, value, computed):
    row = b'<row r="1"><c r="A1" t="%s"><f>A2</f><v>%s</v></c></row>' % (kind, stored)
    found = sheetfile.read(packed({"xl/worksheets/sheet1.xml": SHEET % row}), where="x.xlsx")[0].cells
    assert [(cell.kind, cell.value, cell.computed) for cell in found] == [("formula", value, computed)]


def test_lists_warnings_and_protection_are_set():
    content = written(
        Cell(None, "input", choices=("yes", "no")),
        Cell(None, "number", between=(98.5, 101.5), told="Outside: review."),
        Cell(None, "number", between=(float("-inf"), 24.0), told="Above: void."),
        Cell("fixed"),
    )
    sheet = openpyxl.load_workbook(io.BytesIO(content)).active
    rules = {str(rule.sqref): rule for rule in sheet.data_validations.dataValidation}
    assert rules["A1"].formula1 == '"yes,no"'
    assert (rules["A2"].errorStyle, rules["A2"].formula1, rules["A2"].formula2) == ("warning", "98.5", "101.5")
    assert (rules["A3"].operator, rules["A3"].formula1) == ("lessThanOrEqual", "24.0")
    assert [sheet[f"A{row}"].protection.locked for row in (1, 2, 3, 4)] == [False, False, False, True]
    assert sheet.protection.sheet and not sheet.protection.password


def test_a_hint_stands_beside_the_cell_with_and_without_a_rule():
    content = written(
        Cell(None, "number", hint="92.5 or 92,5"),
        Cell(None, "number", between=(1.0, 2.0), told="review", hint="92.5 or 92,5"),
        Cell(None, "input", choices=("yes", "no"), hint="tick"),
    )
    rules = {
        str(rule.sqref): (rule.type, rule.prompt, rule.showInputMessage)
        for rule in openpyxl.load_workbook(io.BytesIO(content)).active.data_validations.dataValidation
    }
    assert rules == {
        "A1": (None, "92.5 or 92,5", True),
        "A2": ("decimal", "92.5 or 92,5", True),
        "A3": ("list", "tick", True),
    }


def test_what_a_cell_or_a_list_cannot_hold_is_refused():
    with pytest.raises(WearbookError) as told:
        written(Cell("x" * 32_768))
    assert str(told.value) == "A text of 32,768 characters; a cell holds at most 32,767. Shorten it in campaign.toml."
    with pytest.raises(WearbookError) as told:
        written(Cell(None, "input", choices=("a,b",)))
    assert (
        str(told.value) == "The choices 'a,b' do not fit a drop-down list: at most 255 characters, no comma or quote. "
        "Name the levels so in campaign.toml."
    )


def packed(parts: dict[str, bytes]) -> bytes:
    """A workbook with some of its parts replaced or added."""
    buffer = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(written(Cell("a")))) as old,
        zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            if name not in parts:
                new.writestr(name, old.read(name))
        for name, text in parts.items():
            new.writestr(name, text)
    return buffer.getvalue()


def lying() -> bytes:
    """A workbook whose directory says that a part of 150 MB has 10 bytes."""
    content = bytearray(packed({"xl/big.bin": b"\x00" * 150_000_000}))
    size = (150_000_000).to_bytes(4, "little")
    while (at := content.find(size)) >= 0:
        content[at : at + 4] = (10).to_bytes(4, "little")
    return bytes(content)


SHEET = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>%s</sheetData></worksheet>'
LAUGHS = b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "cc">]><a>&b;</a>'
WIDE = f"x.xlsx: a sheet reaches further; expected at most 20,000 rows and 200 columns. {SAVE}"
BOMBS = {
    "bytes": (lambda: b"PK" + b"\x00" * 20_000_000, f"x.xlsx: 20,000,002 bytes; expected at most 20,000,000. {SAVE}"),
    "members": (
        lambda: packed({f"x/{n}.xml": b"<a/>" for n in range(300)}),
        f"x.xlsx: 309 parts in the file; expected at most 200. {SAVE}",
    ),
    "unpacked": (
        lambda: packed({"xl/big.bin": b"\x00" * 101_000_000}),
        None,
    ),
    "ratio": (lambda: packed({"xl/big.bin": b"\x00" * 50_000_000}), None),
    "types": (
        lambda: packed({"xl/sharedStrings.xml": LAUGHS}),
        "x.xlsx: xl/sharedStrings.xml brings a document type; expected a workbook as a spreadsheet program saves it. "
        "Open it there and save it again as xlsx.",
    ),
    "rows": (
        lambda: packed({"xl/worksheets/sheet1.xml": SHEET % b'<row r="1048576"><c r="A1048576"><v>1</v></c></row>'}),
        WIDE,
    ),
    "columns": (
        lambda: packed({"xl/worksheets/sheet1.xml": SHEET % b'<row r="1"><c r="XFD1"><v>1</v></c></row>'}),
        WIDE,
    ),
    "rows without numbers": (
        lambda: packed({"xl/worksheets/sheet1.xml": SHEET % (b"<row><c><v>1</v></c></row>" * 20_001)}),
        WIDE,
    ),
    "another encoding": (
        lambda: packed({"xl/sharedStrings.xml": LAUGHS.decode().encode("utf-16")}),
        "x.xlsx: xl/sharedStrings.xml is not written in UTF-8; expected a workbook as a spreadsheet program saves it. "
        "Open it there and save it again as xlsx.",
    ),
    "sizes that lie": (lying, f"x.xlsx: cannot be read as a workbook; expected an xlsx file. {AGAIN}"),
}


@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_is_refused_before_it_is_parsed(name):
    make, message = BOMBS[name]
    content = make()
    begun = time.perf_counter()
    with pytest.raises(IntakeError) as told:
        sheetfile.read(content, where="x.xlsx")
    # Not a timing: parsing one of these takes the better part of a minute and more.
    assert time.perf_counter() - begun < 20.0
    if message is not None:
        assert str(told.value) == message


def test_how_far_a_bomb_would_unpack_is_told():
    with pytest.raises(
        IntakeError, match=r"^x\.xlsx: 101,\d{3},\d{3} bytes unpacked; expected at most 100,000,000\. Copy"
    ):
        sheetfile.read(BOMBS["unpacked"][0](), where="x.xlsx")
    with pytest.raises(
        IntakeError,
        match=r"^x\.xlsx: a part of [\d,]+ bytes that unpacks to more than [\d,]+; expected at most 100 times",
    ):
        sheetfile.read(BOMBS["ratio"][0](), where="x.xlsx")


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04", b"a,b\n1,2\n", packed({"xl/workbook.xml": b"<a"})])
def test_what_is_no_workbook_is_refused(content):
    with pytest.raises(IntakeError) as told:
        sheetfile.read(content, where="x.xlsx")
    assert str(told.value) == f"x.xlsx: cannot be read as a workbook; expected an xlsx file. {AGAIN}"


def test_every_cut_of_a_workbook_is_refused_or_read():
    whole = written(Cell("a"), Cell("b"))
    ends = []
    for at in range(0, len(whole), 97):
        with pytest.raises(IntakeError) as told:
            sheetfile.read(whole[:at], where="x.xlsx")
        ends.append(str(told.value))
    assert set(ends) == {f"x.xlsx: cannot be read as a workbook; expected an xlsx file. {AGAIN}"}
