"""What a received workbook is looked at for before it is parsed: size, members, unpacking, types, extent."""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from dataclasses import dataclass, field

from toolkit.errors import IntakeError

MOST_BYTES = 20_000_000
MOST_UNPACKED = 100_000_000
MOST_RATIO = 100
# Below this size of an unpacked member its ratio says nothing: blank styles pack a hundredfold by themselves.
RATIO_FLOOR = 1_000_000
MOST_MEMBERS = 200
MOST_ROWS = 20_000
MOST_COLUMNS = 200
MOST_CELLS = 100_000
MOST_SHEETS = 50
MOST_MERGED = 2_000
# Of cells filled or blank, of all that XML marks, and of what is neither a sheet nor its texts: within the sizes
# above these would still keep the parser busy for minutes.
MOST_PLACES = 200_000
MOST_TAGS = 1_000_000
MOST_PART = 25_000_000
MOST_SETTINGS = 2_000_000
_CHUNK = 1 << 20
# Of the archive; an encrypted or oddly packed member ends in a RuntimeError.
_BROKEN = (zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, EOFError, OSError, RuntimeError, ValueError)

_ROOT = re.compile(rb"(?:\xef\xbb\xbf)?\s*(?:<\?[^>]{0,300}>\s*)?<(?:[\w.-]+:)?(\w+)")
_SHEET = re.compile(rb"<(?:[\w.-]+:)?sheet[\s/>]")
_WIDE = (b"\xff\xfe", b"\xfe\xff", b"<\x00", b"\x00<")
_ENCODING = re.compile(rb"<\?xml[^>]{0,200}?encoding\s*=\s*[\"']([^\"']*)[\"']")
_PLACED = re.compile(rb"<(/?)(?:[\w.-]+:)?(row|c|f)\b([^<>]*)")
_PLACE = re.compile(rb"(?<![\w:.-])r\s*=\s*[\"']([^\"']*)[\"']")
_ROW_PLACE = re.compile(rb"\d{1,18}")
_CELL_PLACE = re.compile(rb"([A-Z]{1,9})(\d{1,18})")


def looked_at(content: bytes, where: str) -> bool:
    """True when shared texts hold marks that openpyxl would eat; what is no filled-in sheet is refused.

    Parameters
    ----------
    content : bytes
    where : str
        The file's name, for messages.

    Raises
    ------
    IntakeError
        When the file is no archive of XML in UTF-8, or larger in any way than a filled-in sheet can be.
    """
    if len(content) > MOST_BYTES:
        raise too_large(where, f"{len(content):,} bytes", f"at most {MOST_BYTES:,}")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = archive.infolist()
            if len(members) > MOST_MEMBERS:
                raise too_large(where, f"{len(members):,} parts in the file", f"at most {MOST_MEMBERS:,}")
            told = sum(member.file_size for member in members)
            if told > MOST_UNPACKED:
                raise too_large(where, f"{told:,} bytes unpacked", f"at most {MOST_UNPACKED:,}")
            whole, odd, seen = 0, False, _Seen()
            for member in members:
                text = _unpacked(archive, member, where, MOST_UNPACKED - whole)
                whole += len(text)
                # Whatever its name says: the parser goes by what one part says of another.
                if bytes(text[:100]).lstrip(b"\xef\xbb\xbf \t\r\n").startswith((b"<", *_WIDE)):
                    _no_document_type(text, where, member.filename)
                    seen.count(text, where, member.filename)
                    odd = odd or (b"x005F_" in text and b"sst" in text)
            return odd
    except (
        zipfile.BadZipFile,
        zipfile.LargeZipFile,
        zlib.error,
        EOFError,
        OSError,
        RuntimeError,
        ValueError,
    ) as problem:
        raise not_a_workbook(where) from problem


class _Seen:
    """How much of a workbook was seen so far."""

    def __init__(self) -> None:
        self.tags = self.places = self.sheets = 0

    def count(self, text: bytearray, where: str, part: str) -> None:
        """Count a part in; refuse it when it, or all of them, are more than a filled-in sheet can be."""
        root = _ROOT.match(text)
        sheet = bool(root) and root[1] == b"worksheet"
        most = MOST_PART if sheet or (root and root[1] == b"sst") else MOST_SETTINGS
        if len(text) > most:
            raise too_large(where, f"a part of {len(text):,} bytes ({part})", f"at most {most:,}")
        self.tags += text.count(b"<")
        self.sheets += sum(1 for _ in _SHEET.finditer(text))
        if sheet or "worksheets/" in part or b"sheetData" in text:
            self.places += extent(text, where).places
        for found, what, most in (
            (self.tags, "marks of cells and layout", MOST_TAGS),
            (self.places, "cells, blank ones too", MOST_PLACES),
            (self.sheets, "sheets", MOST_SHEETS),
        ):
            if found > most:
                raise too_large(where, f"{found:,} {what}", f"at most {most:,}")


def _unpacked(archive: zipfile.ZipFile, member: zipfile.ZipInfo, where: str, room: int) -> bytearray:
    """One member unpacked, stopped at the first byte too many: what an archive says of its sizes may be a lie."""
    most = min(room, max(RATIO_FLOOR, MOST_RATIO * member.compress_size))
    # Grown in place: pieces to be joined at the end would take the room twice.
    made = bytearray()
    with archive.open(member) as source:
        while piece := source.read(_CHUNK):
            made += piece
            if len(made) > most:
                if most == room:
                    raise too_large(where, f"more than {MOST_UNPACKED:,} bytes unpacked", f"at most {MOST_UNPACKED:,}")
                raise too_large(
                    where,
                    f"a part of {member.compress_size:,} bytes that unpacks to more than {most:,}",
                    f"at most {MOST_RATIO} times as much",
                )
    return made


def _no_document_type(text: bytearray, where: str, part: str) -> None:
    """Refuse XML that brings a document type, or hides one in another encoding."""
    encoding = _ENCODING.match(bytes(text[:500]).lstrip(b"\xef\xbb\xbf"))
    if b"\x00" in text or (encoding and encoding[1].lower() not in (b"utf-8", b"us-ascii", b"ascii")):
        raise IntakeError(
            f"{where}: {part} is not written in UTF-8; expected a workbook as a spreadsheet program saves it. "
            f"Open it there and save it again as xlsx."
        )
    if b"<!DOCTYPE" in text or b"<!ENTITY" in text:
        raise IntakeError(
            f"{where}: {part} brings a document type; expected a workbook as a spreadsheet program saves it. "
            f"Open it there and save it again as xlsx."
        )


@dataclass
class Extent:
    """How far a sheet reaches: its places (each row up to its last cell) and where its formulas stand (row, column)."""

    places: int = 0
    formulas: set[tuple[int, int]] = field(default_factory=set)


def extent(text: bytes | bytearray, where: str) -> Extent:
    """How far a sheet reaches, told from its XML without parsing it.

    Rows and cells that do not follow each other would be left out by the parser without a word.

    Raises
    ------
    IntakeError
        When it reaches beyond the rows and columns of a filled-in table, or its rows or cells are out of order.
    """
    made = Extent()
    rows = row = column = 0
    inside = False
    for hit in _PLACED.finditer(text):
        closing, what, rest = hit.groups()
        if what == b"f":
            if inside and not closing:
                made.formulas.add((row, column))
            continue
        if what == b"c":
            inside = not closing and not rest.endswith(b"/")
        if closing:
            continue
        found = _PLACE.search(rest)
        told = found[1] if found else None
        before = (row, column)
        if what == b"row":
            made.places += column
            rows += 1
            row, column = row + 1 if told is None else _number(_ROW_PLACE.fullmatch(told)), 0
            in_order = row > before[0]
        elif told is None:
            column += 1
            in_order = True
        else:
            place = _CELL_PLACE.fullmatch(told)
            column = _column(place[1]) if place else 0
            in_order = place is not None and int(place[2]) == row and column > before[1]
        if rows > MOST_ROWS or row > MOST_ROWS or column > MOST_COLUMNS:
            raise too_wide(where)
        if not in_order:
            raise _out_of_order(where, what.decode(), told)
    made.places += column
    return made


def _number(found: re.Match[bytes] | None) -> int:
    """The number of a row; 0 when it is none."""
    return int(found[0]) if found else 0


def _column(letters: bytes) -> int:
    """The number of a column from its letters; 0 when there are none."""
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


def too_large(where: str, found: str, expected: str) -> IntakeError:
    """The refusal of a file that is too large."""
    return IntakeError(
        f"{where}: {found}; expected {expected}. Copy the filled-in cells into a fresh sheet and save that as xlsx."
    )


def too_wide(where: str) -> IntakeError:
    """The refusal of a sheet that reaches too far."""
    return too_large(where, "a sheet reaches further", f"at most {MOST_ROWS:,} rows and {MOST_COLUMNS} columns")


def _out_of_order(where: str, what: str, told: bytes | None) -> IntakeError:
    """The refusal of a sheet whose rows or cells (``what``: row, c) do not follow each other."""
    what = "cell" if what == "c" else what
    place = "".join(sign if sign.isprintable() else "?" for sign in (told or b"").decode("utf-8", "replace")[:40])
    return IntakeError(
        f"{where}: {what} '{place}' of a sheet is out of its place; expected rows and cells in order, each once, as a "
        f"spreadsheet program saves them. Open the file there and save it again as xlsx."
    )


def not_a_workbook(where: str) -> IntakeError:
    """The refusal of what cannot be read."""
    return IntakeError(
        f"{where}: cannot be read as a workbook; expected an xlsx file. Open it in a spreadsheet program and save it "
        f"as xlsx."
    )
