"""Old tables that cannot be used, each with the whole message that a person gets; INVENTED."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from toolkit.sheetfile import Cell, Sheet, write

GOOD = """Run;Date;Pin;Oil;Wear (um);Fe ppm;Remark
T1;2019-03-04;bare;A;12,0;36;
T2;2019-04-01;coated;A;9,3;31;
T3;2019-05-20;coated;B;8,6;28;late
T4;2019-06-11;bare;B;10,4;33;
"""
_MEND = "Mend it in a copy of the file, and name the copy."
_COPY = "Mend it in a copy of the table, and name the copy."
_AS_CSV = "Save the table as CSV, UTF-8, with commas between the columns."
_A_NUMBER = "a number (µm), or 'lost'"


def book(*sheets: tuple[str, tuple[tuple[object, ...], ...]]) -> bytes:
    """A workbook with these sheets of plain cells."""
    made = [
        Sheet(name, tuple(tuple(None if cell is None else Cell(cell) for cell in row) for row in rows), (12.0,) * 8)
        for name, rows in sheets
    ]
    return write(made, title="old", at="2026-01-01T00:00:00Z")


ROWS = (("Run", "Pin", "Oil", "Wear (um)"), ("T1", "bare", "A", 12.0), ("T2", "coated", "A", 9.3),
        ("T3", "coated", "B", 8.6), ("T4", "bare", "B", 10.4))  # fmt: skip


def patched(content: bytes, member: str, change: Callable[[str], str]) -> bytes:
    """A workbook with one of its members changed by hand."""
    import io
    import zipfile

    buffer = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(buffer, "w") as new:
        for item in old.infolist():
            text = old.read(item)
            if item.filename == member:
                text = change(text.decode("utf-8")).encode("utf-8")
            new.writestr(item.filename, text)
    return buffer.getvalue()


SHEET = "xl/worksheets/sheet1.xml"


@dataclass(frozen=True)
class Broken:
    """One way in which an old table is broken, and every line of the message after its headline."""

    name: str
    content: bytes
    messages: tuple[str, ...]
    file: str = "old.csv"


def text(old: str, new: str) -> bytes:
    """The good table with one text in place of another."""
    assert GOOD.count(old) == 1, old
    return GOOD.replace(old, new).encode("utf-8")


EVERY = (
    Broken(
        "empty",
        b"",
        (
            "old.csv: an empty file; expected an xlsx file or a table as CSV.",
        ),
    ),
    Broken(
        "headings alone",
        GOOD.split("\n")[0].encode(),
        ("old.csv: a line of headings and no other; expected a line for each run below the headings.",),
    ),
    Broken(
        "old spreadsheet",
        b"\xd0\xcf\x11\xe0" + bytes(100),
        (
            "old.csv: an old spreadsheet file, whatever its name says; expected an xlsx file or a table as CSV. Open "
            "it, and save it as xlsx.",
        ),
    ),
    Broken(
        "a picture",
        b"\x89PNG\r\n",
        (
            "old.csv: a picture, whatever its name says; expected an xlsx file or a table as CSV. Ask for the table "
            "itself.",
        ),
    ),
    Broken(
        "another encoding",
        GOOD.replace("Remark", "Anmerkung für später").encode("cp1252"),
        (f"old.csv line 1: a byte that is not UTF-8 (0xfc); expected text in UTF-8. {_AS_CSV}",),
    ),
    Broken(
        "UTF-16",
        GOOD.encode("utf-16"),
        (f"old.csv: text in UTF-16; expected text in UTF-8. {_AS_CSV}",),
    ),
    Broken(
        "a control character",
        text("late", "la\x00te"),
        (
            "old.csv line 4: a NUL byte; expected text only. The file is damaged or no text: save it as CSV again.",
        ),
    ),
    Broken(
        "a quote left open",
        text("late", '"late'),
        (
            "old.csv line 4: a double quote that does not open and close one cell of this line; expected double quotes "
            "around a whole cell, on one line. A quote within a cell is written twice.",
        ),
    ),
    Broken(
        "a cell too many",
        text("8,6;28;late", "8,6;28;late;er"),
        (
            "old.csv line 4: 8 cells; expected 7 cells, as in the header. Look for a semicolon too many or too few; "
            "put a text that holds a semicolon in double quotes.",
        ),
    ),
    Broken(
        "a column without a heading",
        text("Wear (um);Fe ppm", ";Fe ppm"),
        (
            f"old.csv line 2: '12,0' in column 5, which has no heading; expected a heading over every column. Name the "
            f"column, or clear it. {_MEND}",
        ),
    ),
    Broken(
        "a heading twice",
        text("Fe ppm", "wear (UM)"),
        (
            f"old.csv, headings: 'wear (UM)' over columns 5 and 6; expected each heading once. Rename one of them. "
            f"{_MEND}",
        ),
    ),
    Broken(
        "a blank treatment",
        text("T3;2019-05-20;coated", "T3;2019-05-20;"),
        (
            f"old.csv line 4, column Pin: a blank cell in a treatment; expected the level of every run. {_COPY}",
        ),
    ),
    Broken(
        "a level spelled in two ways",
        text("T4;2019-06-11;bare", "T4;2019-06-11;Bare"),
        (
            f"old.csv line 5, column Pin: 'Bare', and 'bare' at line 2; expected every level written in one way. "
            f"{_COPY}",
        ),
    ),
    Broken(
        "a word among figures",
        text("8,6;28", "ca. 8;28"),
        (
            f"old.csv line 4, column Wear (um): 'ca. 8'; expected {_A_NUMBER}. Leave the cell blank while it is not "
            f"known yet.",
        ),
    ),
    Broken(
        "another unit in a cell",
        text("8,6;28", "8,6 mg;28"),
        (
            "old.csv line 4, column Wear (um): '8,6 mg'; expected a number in µm, or in a unit that converts to it. It "
            "does not measure the same as µm.",
        ),
    ),
    Broken(
        "below the limit",
        text("8,6;28", "8,6;<5"),
        (
            "old.csv line 4, column Fe ppm: '<5'; expected a number (mg/kg), or 'lost'. Leave the cell blank while it "
            "is not known yet.",
        ),
    ),
    Broken(
        "marks that cannot be read",
        text("8,6;28", "1.2.3;28"),
        (
            "old.csv line 4, column Wear (um): '1.2.3'; expected a number without marks or blanks between its digits.",
        ),
    ),
    Broken(
        "no treatment",
        b"Run,Wear (um)\nT1,12.0\nT2,9.3\n",
        (
            "old.csv: no column that could be a treatment (columns: 'Run', 'Wear (um)'); expected a column in which a "
            "few words or numbers come back, such as 'pin' with 'bare' and 'DLC'.",
        ),
    ),
    Broken(
        "no response",
        b"Run,Pin,Oil\nT1,bare,A\nT2,coated,A\nT3,coated,B\n",
        (
            "old.csv: no column that could be a response (columns: 'Run', 'Pin', 'Oil'); expected a column of figures "
            "with its unit in the heading, such as 'wear (um)'.",
        ),
    ),
    Broken(
        "too many treatments",
        "\n".join(
            [
                "Run," + ",".join(f"T{at}" for at in range(9)) + ",Wear (um)",
                *(f"R{row}," + ",".join("ab"[row % 2] for _ in range(9)) + f",{10 + row}" for row in range(4)),
            ]
        ).encode(),
        (
            "old.csv: 9 columns that could be a treatment: T0, T1, T2, T3, T4, T5, T6, T7, T8; expected at most 8. "
            f"Delete the others in a copy. {_COPY}",
        ),
    ),
    Broken(
        "a log of channels",
        ("Pin,Wear (um)\n" + "".join(f"{'ab'[at % 2]},{at}\n" for at in range(1001))).encode(),
        (
            "old.csv: 1,001 lines; expected at most 1,000, one for each run or reading. A log of channels is no table "
            "of runs: make one line of each run.",
        ),
    ),
    Broken(
        "a heading that does not print",
        text("Remark", "Re\u202emark"),
        (
            f"old.csv, headings: 'Re\\x202emark' over column 7; expected a heading of at most 200 characters, all of "
            f"which print. {_MEND}",
        ),
    ),
    Broken(
        "two faults at once",
        text("T3;2019-05-20;coated;B;8,6", "T3;2019-05-20;;B;few"),
        (
            f"old.csv line 4, column Pin: a blank cell in a treatment; expected the level of every run. {_COPY}",
            f"old.csv line 4, column Wear (um): 'few'; expected {_A_NUMBER}. Leave the cell blank while it is not "
            f"known yet.",
        ),
    ),
    Broken(
        "a workbook with two sheets",
        book(("Runs", ROWS), ("Costs", (("what", "EUR"), ("cell", 100)))),
        (
            "old.xlsx: 2 sheets with something on them ('Runs', 'Costs'); expected one sheet, with a line of headings "
            "and a line for each run below. Save the sheet with the runs in a file of its own, and name that.",
        ),
        "old.xlsx",
    ),
    Broken(
        "a workbook with nothing in it",
        book(("Runs", ((None,),))),
        ("old.xlsx: a workbook with nothing in it; expected a filled-in sheet or table.",),
        "old.xlsx",
    ),
    Broken(
        "no workbook",
        b"PK\x03\x04" + bytes(50),
        (
            "old.xlsx: cannot be read as a workbook; expected an xlsx file. Open it in a spreadsheet program and save "
            "it as xlsx.",
        ),
        "old.xlsx",
    ),
    Broken(
        "merged cells",
        patched(
            book(("Runs", ROWS)),
            SHEET,
            lambda page: page.replace("</sheetData>", '</sheetData><mergeCells><mergeCell ref="B2:B3"/></mergeCells>')
            if "<sheetProtection" not in page
            else page.replace(
                page[page.index("<sheetProtection") : page.index("/>", page.index("<sheetProtection")) + 2],
                '<mergeCells><mergeCell ref="B2:B3"/></mergeCells>',
            ),
        ),
        (
            f"old.xlsx Runs!B2:B3: merged cells; expected a cell of its own for every value. Take them apart and fill "
            f"in each. {_MEND}",
        ),
        "old.xlsx",
    ),
    Broken(
        "a formula without a value",
        patched(book(("Runs", ROWS)), SHEET, lambda page: page.replace("<v>8.6</v>", "<f>4.3*2</f>")),
        (
            "old.xlsx Runs!D4, column Wear (um): a formula without a stored value; expected the value itself. Open and "
            "save the file in a spreadsheet program, or type the value.",
        ),
        "old.xlsx",
    ),
    Broken(
        "an error value",
        patched(
            book(("Runs", ROWS)),
            SHEET,
            lambda page: page.replace('t="n"><v>8.6</v>', 't="e"><v>#DIV/0!</v>'),
        ),
        (
            "old.xlsx Runs!D4, column Wear (um): the error value '#DIV/0!'; expected a value. Type the value, or clear "
            "it.",
        ),
        "old.xlsx",
    ),
    Broken(
        "a line break in a level",
        book(("Runs", (*ROWS[:4], ("T4", "ba\nre", "B", 10.4)))),
        (
            f"old.xlsx Runs!B5, column Pin: 'ba\\x0are' in a treatment; expected a word on one line. {_COPY}",
        ),
        "old.xlsx",
    ),
)
