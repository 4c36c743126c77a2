"""What a received workbook is looked at for before it is parsed: size, members, unpacking, types, extent."""

from __future__ import annotations

import io
import re
import zipfile
import zlib

from toolkit.errors import IntakeError

MOST_BYTES = 20_000_000
MOST_UNPACKED = 100_000_000
MOST_RATIO = 100
# Below this size of an unpacked member its ratio says nothing: blank styles pack a hundredfold by themselves.
RATIO_FLOOR = 1_000_000
MOST_MEMBERS = 200
MOST_ROWS = 20_000
MOST_COLUMNS = 200
MOST_CELLS = 400_000
MOST_SHEETS = 50
_CHUNK = 1 << 20
# Of the archive; an encrypted or oddly packed member ends in a RuntimeError.
_BROKEN = (zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, EOFError, OSError, RuntimeError, ValueError)

_ENCODING = re.compile(rb"<\?xml[^>]{0,200}?encoding\s*=\s*[\"']([^\"']*)[\"']")
_PLACED = re.compile(rb"<(?:[\w.-]+:)?(row|c)\b([^<>]*)")
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
            whole, odd = 0, False
            for member in members:
                text = _unpacked(archive, member, where, MOST_UNPACKED - whole)
                whole += len(text)
                if member.filename.endswith((".xml", ".rels")):
                    _no_document_type(text, where, member.filename)
                    if "worksheets/" in member.filename or b"<sheetData" in text:
                        _extent(text, where)
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


def _unpacked(archive: zipfile.ZipFile, member: zipfile.ZipInfo, where: str, room: int) -> bytes:
    """One member unpacked, stopped at the first byte too many: what an archive says of its sizes may be a lie."""
    most = min(room, max(RATIO_FLOOR, MOST_RATIO * member.compress_size))
    pieces, size = [], 0
    with archive.open(member) as source:
        while piece := source.read(_CHUNK):
            size += len(piece)
            if size > most:
                if most == room:
                    raise too_large(where, f"more than {MOST_UNPACKED:,} bytes unpacked", f"at most {MOST_UNPACKED:,}")
                raise too_large(
                    where,
                    f"a part of {member.compress_size:,} bytes that unpacks to more than {most:,}",
                    f"at most {MOST_RATIO} times as much",
                )
            pieces.append(piece)
    return b"".join(pieces)


def _no_document_type(text: bytes, where: str, part: str) -> None:
    """Refuse XML that brings a document type, or hides one in another encoding."""
    encoding = _ENCODING.match(text.lstrip(b"\xef\xbb\xbf"))
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


def _extent(text: bytes, where: str) -> None:
    """Refuse a sheet that reaches beyond the rows and columns of a filled-in table, or is out of order.

    Rows and cells that do not follow each other would be left out by the parser without a word.
    """
    rows = row = column = 0
    for hit in _PLACED.finditer(text):
        found = _PLACE.search(hit[2])
        told = found[1] if found else None
        before = (row, column)
        if hit[1] == b"row":
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
            raise _out_of_order(where, "row" if hit[1] == b"row" else "cell", told)


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
    """The refusal of a sheet whose rows or cells do not follow each other."""
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
