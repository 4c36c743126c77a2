"""Workbooks made to exhaust whoever opens them: refused within 2 s of work and 300 MB, before they are parsed.

Each is read in a process of its own that starts fresh; its work is measured in seconds of the processor, so that a
busy machine does not fail the test.
"""

from __future__ import annotations

import json
import random
import subprocess
import sys
from pathlib import Path

import pytest

from tests.robust import spoiling_books

SECONDS, MEGABYTES = 2.0, 300
ROOT = Path(__file__).resolve().parents[2]
SPACE = b'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
SHEET = b"<worksheet " + SPACE + b"><sheetData>%s</sheetData>%s</worksheet>"
ONE = "xl/worksheets/sheet1.xml"
TYPES, BOOK = "[Content_Types].xml", "xl/workbook.xml"
COPY = "Copy the filled-in cells into a fresh sheet and save that as xlsx."
AGAIN = "Open it there and save it again as xlsx."
LAUGHS = (
    b'<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a "ha">'
    + b"".join(b'<!ENTITY %c "%s">' % (98 + n, b"&%c;" % (97 + n) * 10) for n in range(9))
    + b"]><l>&j;</l>"
)
# Runs each file that is named: what it says, its seconds, and the most memory it took (Linux counts afresh).
CODE = """
import json, sys, time
from pathlib import Path
import openpyxl
from toolkit import sheetfile
from toolkit.errors import IntakeError
said = {}
for name in sys.argv[1:]:
    content = Path(name).read_bytes()
    Path("/proc/self/clear_refs").write_text("5")
    begun = time.process_time()
    try:
        told = f"{sum(len(sheet.cells) for sheet in sheetfile.read(content, where='x.xlsx'))} cells"
    except IntakeError as problem:
        told = str(problem)
    used = time.process_time() - begun
    peak = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM"))
    said[Path(name).stem] = [told, used, int(peak.split()[1]) / 1024]
print(json.dumps(said))
"""


def with_parts(**parts: bytes) -> bytes:
    """A whole workbook with some parts replaced or added."""
    return spoiling_books.packed({**spoiling_books.members(spoiling_books.book()), **parts})


def own(part: str) -> bytes:
    """A part of the whole workbook."""
    return spoiling_books.members(spoiling_books.book())[part]


def many(piece: bytes, count: int) -> bytes:
    """A piece with a number in it, many times, the numbers such that they do not pack a hundredfold."""
    draw = random.Random(1)
    return b"".join(piece % draw.randrange(10**9) for _ in range(count))


def lying() -> bytes:
    """A workbook whose directory says that a part of 150 MB has 10 bytes."""
    content = bytearray(with_parts(big=b"\x00" * 150_000_000))
    size = (150_000_000).to_bytes(4, "little")
    while (at := content.find(size)) >= 0:
        content[at : at + 4] = (10).to_bytes(4, "little")
    return bytes(content)


def shared_part() -> bytes:
    """A workbook of 40 sheets that are all the same wide part."""
    row = b"".join(b'<row r="%d"><c r="GR%d"/></row>' % (at, at) for at in range(1, 900))
    named = b'<sheet name="s%d" sheetId="%d" r:id="rId1" xmlns:r="%s"/>'
    kind = b"http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    more = b"".join(named % (number, number + 5, kind) for number in range(40))
    return with_parts(**{ONE: SHEET % (row, b""), BOOK: own(BOOK).replace(b"</sheets>", more + b"</sheets>")})


def shared_formula() -> bytes:
    """A long formula shared by the cells of a sheet: putting it in terms of each of them takes minutes."""
    first = b'<row r="1"><c r="A1"><f t="shared" ref="A1:J999" si="0">' + b"A1+" * 2000 + b"1</f><v>1</v></c></row>"
    rest = b"".join(
        b'<row r="%d">' % row + b'<c><f t="shared" si="0"/><v>1.%d</v></c>' % row * 10 + b"</row>"
        for row in range(2, 1000)
    )
    return with_parts(**{ONE: SHEET % (first + rest, b"")})


def named() -> bytes:
    """A workbook with very many names of cells."""
    names = b"<definedNames>" + many(b'<definedName name="a%d">A1</definedName>', 60_000) + b"</definedNames>"
    return with_parts(**{BOOK: own(BOOK).replace(b"</sheets>", b"</sheets>" + names)})


def text_of_wide_letters() -> bytes:
    """A document type, hidden in an encoding of two bytes a letter."""
    return with_parts(**{"xl/sharedStrings.xml": LAUGHS.decode().encode("utf-16")})


def untold_part() -> bytes:
    """A document type in a part whose name is not that of XML."""
    types = own(TYPES).replace(b"/xl/styles.xml", b"/xl/styles.bin")
    return with_parts(**{"xl/styles.bin": LAUGHS, TYPES: types})


REACHES = f"x.xlsx: a sheet reaches further; expected at most 20,000 rows and 200 columns. {COPY}"
UTF8 = f"is not written in UTF-8; expected a workbook as a spreadsheet program saves it. {AGAIN}"
BRINGS = f"brings a document type; expected a workbook as a spreadsheet program saves it. {AGAIN}"
BOMBS = {
    "last cell of a sheet": (
        lambda: with_parts(**{ONE: SHEET % (b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>', b"")}),
        REACHES,
    ),
    "400000 rows": (lambda: with_parts(**{ONE: SHEET % (many(b"<row><c><v>%d</v></c></row>", 400_000), b"")}), None),
    "20001 rows": (lambda: with_parts(**{ONE: SHEET % (many(b"<row><c><v>%d</v></c></row>", 20_001), b"")}), REACHES),
    "zeros": (lambda: with_parts(big=b"\x00" * 99_000_000), None),
    "unpacked": (lambda: with_parts(big=b"\x00" * 110_000_000), None),
    "sizes that lie": (
        lying,
        "x.xlsx: cannot be read as a workbook; expected an xlsx file. Open it in a spreadsheet program and save it as "
        "xlsx.",
    ),
    "parts": (
        lambda: with_parts(**{f"x/{number}.xml": b"<a/>" for number in range(300)}),
        f"x.xlsx: 310 parts in the file; expected at most 200. {COPY}",
    ),
    "laughs": (lambda: with_parts(**{"xl/sharedStrings.xml": LAUGHS}), f"x.xlsx: xl/sharedStrings.xml {BRINGS}"),
    "laughs in wide letters": (text_of_wide_letters, f"x.xlsx: xl/sharedStrings.xml {UTF8}"),
    "laughs under another name": (untold_part, f"x.xlsx: xl/styles.bin {BRINGS}"),
    "names": (named, None),
    "shared texts": (
        lambda: with_parts(**{"xl/sharedStrings.xml": b"<sst " + SPACE + b">" + many(b"<si><t>%d</t></si>", 300_000)}),
        None,
    ),
    "merged": (
        lambda: with_parts(**{ONE: SHEET % (b"", many(b'<mergeCell ref="A%d:B9"/>', 30_000))}),
        f"x.xlsx: 30,000 merged ranges; expected at most 2,000. {COPY}",
    ),
    "wide": (
        lambda: with_parts(
            **{ONE: SHEET % (b"".join(b'<row r="%d"><c r="GR%d"/></row>' % (at, at) for at in range(1, 1101)), b"")}
        ),
        f"x.xlsx: 220,000 cells, blank ones too; expected at most 200,000. {COPY}",
    ),
    "one part as 41 sheets": (
        shared_part,
        "x.xlsx: cannot be read as a workbook; expected an xlsx file. Open it in a spreadsheet program and save it as "
        "xlsx.",
    ),
    # No bomb as long as nobody asks what the formulas say; so it is read, and as fast.
    "one formula in 10000 cells": (shared_formula, "9987 cells"),
}


@pytest.fixture(scope="module")
def ends(tmp_path_factory) -> dict[str, tuple[str, float, float]]:
    """What each of them ends in: the words, the seconds, the memory [MB]."""
    folder = tmp_path_factory.mktemp("bombs")
    files = []
    for name, (make, _) in BOMBS.items():
        files.append(folder / f"{name}.xlsx")
        files[-1].write_bytes(make())
    run = subprocess.run([sys.executable, "-c", CODE, *files], cwd=ROOT, capture_output=True, text=True, timeout=300)
    assert run.returncode == 0, run.stderr
    return {name: tuple(told) for name, told in json.loads(run.stdout).items()}


@pytest.mark.parametrize("name", BOMBS)
def test_it_is_refused_before_it_takes_time_or_memory(ends, name):
    told, seconds, megabytes = ends[name]
    print(f"{name}: {seconds:.2f} s, {megabytes:.0f} MB, {told}")
    expected = BOMBS[name][1]
    assert expected in (None, told)
    if expected is None:
        assert told.startswith("x.xlsx: ")
        assert told.endswith(COPY)
    assert seconds < SECONDS
    assert megabytes < MEGABYTES
