"""Ways to spoil a workbook: the archive, its parts, and the cells in them."""

from __future__ import annotations

import io
import random
import re
import zipfile

from tests.robust import spoiling
from tests.robust.spoiling import Way
from toolkit import sheetfile
from toolkit.sheetfile import Cell, Sheet

_CELL = re.compile(rb"<c\b[^>]*/>|<c\b.*?</c>", re.S)
_VALUES = (
    b"", b"1e999", b"nan", b"-1", b"1e308", b"9" * 400, b"0x1", b"1,5", b"x", b"99999999", b"-99999999", b"1.5",
    b"4294967296", b"\xf0\x9f\x94\xa5", b"&#0;", b"&#x10FFFF;", b"&lt;b&gt;", b"_x0000_", b"_xD800_", b"#REF!",
    b"43000.5",
)  # fmt: skip
_INSIDES = (b"<v>%s</v>", b"<f>1+1</f><v>%s</v>", b"<is><t>%s</t></is>", b"<f>%s</f>", b"<v><v>%s</v></v>")
_TYPES = (b"s", b"n", b"b", b"d", b"e", b"str", b"inlineStr", b"f", b"zz", b"")
_PLACES = (b"A0", b"A1", b"ZZZ1", b"XFD1", b"B1048576", b"1A", b"A", b"7", b"a1", b"$A$1", b"A1:B2", b"A-1", b"",
           b"A99999999999")  # fmt: skip


def book() -> bytes:
    """A small workbook of two sheets with all kinds of cells."""
    rows = (
        (Cell("part_id", "head"), Cell("station", "head"), Cell("wear_um", "head")),
        (Cell("P-0a1"), Cell(1), Cell(12.5, "number", between=(0.0, 50.0), told="Outside: look again.")),
        (Cell("P-0a2"), Cell(2), Cell("lost", "input")),
        (Cell("=1+1"), Cell(-3.25), Cell(None, "input", choices=("yes", "no"))),
    )
    sheets = [Sheet("Data", rows, (20.0, 10.0, 10.0)), Sheet("More", rows[:2], (20.0, 10.0, 10.0), spans=())]
    return sheetfile.write(sheets, title="t", at="2026-03-02T08:00:00Z")


def members(content: bytes) -> dict[str, bytes]:
    """The parts of a workbook."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def packed(parts: dict[str, bytes]) -> bytes:
    """The archive of these parts."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return buffer.getvalue()


def of_part(draw: random.Random, content: bytes) -> bytes:
    """One part of the archive is spoiled, the archive is whole."""
    parts = members(content)
    name = draw.choice(list(parts))
    way = draw.choice((spoiling.cut, spoiling.flip, spoiling.gone, spoiling.twice, spoiling.garbage, spoiling.nul))
    return packed({**parts, name: way(draw, parts[name])})


def without_part(draw: random.Random, content: bytes) -> bytes:
    """A part is missing, empty, or lies under another one's name."""
    parts = members(content)
    name, other = draw.choice(list(parts)), draw.choice(list(parts))
    way = draw.randrange(3)
    if way == 0:
        del parts[name]
    else:
        parts[name] = b"" if way == 1 else parts[other]
    return packed(parts)


def of_cell(draw: random.Random, content: bytes) -> bytes:
    """A cell holds something odd, is of another type or style, or says that it is elsewhere."""
    parts = members(content)
    name = draw.choice([part for part in parts if "worksheets/sheet" in part])
    cells = list(_CELL.finditer(parts[name]))
    cell = draw.choice(cells)
    text = cell[0]
    way = draw.randrange(5)
    if way == 0:
        text = re.sub(rb"\bt=\"[^\"]*\"", b't="' + draw.choice(_TYPES) + b'"', text)
    elif way == 1:
        text = re.sub(rb"\br=\"[^\"]*\"", b'r="' + draw.choice(_PLACES) + b'"', text)
    elif way == 2:
        text = re.sub(rb"\bs=\"[^\"]*\"", b's="' + draw.choice((b"0", b"999999", b"-1", b"x", b"1.5")) + b'"', text)
    else:
        place = re.search(rb"\br=\"([^\"]*)\"", text)[1]
        kind = draw.choice(_TYPES)
        text = b'<c r="%s" t="%s">' % (place, kind) + draw.choice(_INSIDES) % draw.choice(_VALUES) + b"</c>"
    parts[name] = parts[name][: cell.start()] + text + parts[name][cell.end() :]
    return packed(parts)


def of_row(draw: random.Random, content: bytes) -> bytes:
    """Rows out of order, twice, without end, or with numbers that cannot be."""
    parts = members(content)
    name = draw.choice([part for part in parts if "worksheets/sheet" in part])
    rows = list(re.finditer(rb"<row\b.*?</row>", parts[name], re.S))
    row, other = draw.choice(rows), draw.choice(rows)
    number = draw.choice((b"0", b"1", b"-3", b"x", b"20001", b"1048577", b"9" * 30, b"1.5"))
    text = draw.choice((other[0], b"", row[0] * 3, re.sub(rb"<row r=\"\d+\"", b'<row r="' + number + b'"', row[0])))
    parts[name] = parts[name][: row.start()] + text + parts[name][row.end() :]
    return packed(parts)


def date_style(draw: random.Random, content: bytes) -> bytes:
    """Every style shows dates, and some numbers are none."""
    parts = members(content)
    number = b'numFmtId="%d"' % draw.choice((14, 20, 22, 46))
    parts["xl/styles.xml"] = re.sub(rb"numFmtId=\"\d+\"", number, parts["xl/styles.xml"])
    return of_cell(draw, packed(parts))


WAYS: dict[str, Way] = {
    **{name: way for name, way in spoiling.BYTES.items() if name != "twice"},
    "part": of_part,
    "part missing": without_part,
    "cell": of_cell,
    "cell again": of_cell,
    "row": of_row,
    "dates": date_style,
}
