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
_REFERENCE = re.compile(rb"<(?:[\w.-]+:)?(?:row|c)\b[^<>]*?\br\s*=\s*[\"']([A-Z]{0,9})(\d{1,18})[\"']")
_ROW = re.compile(rb"<(?:[\w.-]+:)?row\b")


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
    """Refuse a sheet that reaches beyond the rows and columns of a filled-in table."""
    if sum(1 for _ in _ROW.finditer(text)) > MOST_ROWS:
        raise too_wide(where)
    for hit in _REFERENCE.finditer(text):
        if int(hit[2]) > MOST_ROWS or _place(hit[1]) > MOST_COLUMNS:
            raise too_wide(where)


def _place(letters: bytes) -> int:
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


def not_a_workbook(where: str) -> IntakeError:
    """The refusal of what cannot be read."""
    return IntakeError(
        f"{where}: cannot be read as a workbook; expected an xlsx file. Open it in a spreadsheet program and save it "
        f"as xlsx."
    )
