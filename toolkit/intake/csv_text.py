"""A file becomes a raw table of text: size, encoding, separator and shape are checked, not values (rank 6).

Reads and never writes. A row is one line of the file: a quotation mark that is not closed on its line is a
fault of that line and does not swallow the lines after it.
"""

from __future__ import annotations

import csv
import re
import stat
from pathlib import Path, PurePosixPath

from toolkit import stamp
from toolkit.intake import cells
from toolkit.intake.gathered import Gathered
from toolkit.intake.raw import MOST_COLUMNS, MOST_ROWS, Raw

MOST_BYTES = 20_000_000
MOST_LINES = 10 * MOST_ROWS
LONGEST_LINE = 100_000
LONGEST_CELL = 1_000

_AS_TEXT = "Save the table as CSV, UTF-8, with commas between the columns."
_LINE_END = re.compile("\r\n|\n|\r")
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_OTHER_FILES = (
    (b"PK\x03\x04", "a spreadsheet or zip file"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet file"),
    (b"\x1f\x8b", "a gzip file"),
    (b"%PDF", "a PDF file"),
    (b"\x89PNG", "a picture"),
)
_WIDE = ((b"\xff\xfe", "UTF-16"), (b"\xfe\xff", "UTF-16"))
_SEPARATORS = ((";", "semicolons"), ("\t", "tabs"), ("|", "upright strokes"))


def read(folder: Path, name: str, gathered: Gathered, *, any_sign: bool = False) -> tuple[Raw | None, str | None]:
    """A CSV file of the campaign as a raw table.

    Parameters
    ----------
    folder : Path
        The campaign's folder.
    name : str
        The file in it, written with '/': 'raw/runs.csv'.
    gathered : Gathered
        Faults of the file are kept here.
    any_sign : bool
        True where its columns may also stand between semicolons or tabs.

    Returns
    -------
    table : Raw or None
        None when there is no such file, or it cannot be read as a table (a fault is kept then).
    checksum : str or None
        sha256 of its bytes; None when there is no such file.

    Notes
    -----
    Limits: 20,000,000 bytes, 20,000 rows, 500 columns, 100,000 characters a line, 1,000 characters a cell.
    """
    content = _bytes(folder, name, gathered)
    if content is None:
        return None, None
    text = _text(name, content, gathered)
    sign = _sign(text) if any_sign and text is not None else ","
    return (None if text is None else _table(name, text, gathered, sign)), stamp.checksum_bytes(content)


def of_bytes(name: str, content: bytes, gathered: Gathered) -> Raw | None:
    """A file that was taken in as a raw table; its columns may also stand between semicolons or tabs.

    Parameters
    ----------
    name : str
        As messages call it.
    content : bytes
    gathered : Gathered

    Returns
    -------
    Raw or None
        None when it cannot be read as a table (a fault is kept then).
    """
    if len(content) > MOST_BYTES:
        gathered.add(name, name, f"{len(content)} bytes", f"at most {MOST_BYTES} bytes")
        return None
    other = next((what for start, what in _OTHER_FILES if content.startswith(start)), None)
    if other is not None or not content.strip():
        found = f"{other}, whatever its name says" if other else "an empty file"
        remedy = "Ask for the table itself." if other else ""
        remedy = "Open it, and save it as xlsx." if other and "spreadsheet" in other else remedy
        gathered.add(name, name, found, "an xlsx file or a table as CSV", remedy)
        return None
    text = _text(name, content, gathered)
    if text is None:
        return None
    return _table(name, text, gathered, _sign(text))


def _sign(text: str) -> str:
    """What the columns of a table of text stand between, by its headings."""
    header = _LINE_END.split(text, maxsplit=1)[0]
    sign = max(",;\t", key=header.count)
    return sign if header.count(sign) > header.count(",") else ","


def _bytes(folder: Path, name: str, gathered: Gathered) -> bytes | None:
    """The bytes of the file; None when it is not there or cannot be had."""
    path = folder.joinpath(*PurePosixPath(name).parts)
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            gathered.add(name, name, "not a file but a folder or device", "a CSV file", "Move it away.")
            return None
        if found.st_size > MOST_BYTES:
            gathered.add(
                name,
                name,
                f"{found.st_size} bytes",
                f"at most {MOST_BYTES} bytes",
                "Only the tables of this campaign belong here, not channel logs.",
            )
            return None
        with path.open("rb") as file:
            return file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        _look_beside(path, name, gathered)
    except OSError as problem:
        gathered.add(
            name,
            name,
            f"it cannot be read ({problem.strerror or type(problem).__name__})",
            "a file that can be read",
            "Look at its name and permissions.",
        )
    return None


def _look_beside(path: Path, name: str, gathered: Gathered) -> None:
    """A fault when the file is not there but one that was surely meant for it is."""
    if path.is_symlink():
        gathered.add(name, name, "a link that leads nowhere", "a CSV file", "Copy the file itself here.")
        return
    try:
        beside = sorted(item.name for item in path.parent.iterdir())
    except OSError:
        return
    for other in beside:
        if other.split(".")[0].casefold() == path.stem.casefold():
            gathered.add(
                name,
                name,
                f"there is no such file, but {cells.shown(other)} is there",
                "this very name",
                _AS_TEXT if not other.casefold().endswith(".csv") else "Rename it.",
            )


def _text(name: str, content: bytes, gathered: Gathered) -> str | None:
    """The bytes as text; None, and a fault kept, when they are none."""
    for start, what in _OTHER_FILES:
        if content.startswith(start):
            gathered.add(name, name, f"{what}, whatever its name says", "a CSV file", _AS_TEXT)
            return None
    for start, what in _WIDE:
        if content.startswith(start):
            gathered.add(name, name, f"text in {what}", "text in UTF-8", _AS_TEXT)
            return None
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = 1 + len(_LINE_END.findall(content[: problem.start].decode("latin-1")))
        gathered.add(
            name,
            f"{name} line {line}",
            f"a byte that is not UTF-8 (0x{content[problem.start]:02x})",
            "text in UTF-8",
            _AS_TEXT,
        )
        return None
    strange = _CONTROL.search(text)
    if strange:
        line = 1 + len(_LINE_END.findall(text[: strange.start()]))
        what = "a NUL byte" if strange[0] == "\x00" else f"a control character (0x{ord(strange[0]):02x})"
        gathered.add(
            name,
            f"{name} line {line}",
            what,
            "text only",
            "The file is damaged or no text: save it as CSV again.",
        )
        return None
    if not text.strip():
        gathered.add(
            name,
            name,
            "an empty file",
            "a header line with the names of the columns",
            "Write the header line, or delete the file while there are no records.",
        )
        return None
    return text


def _table(name: str, text: str, gathered: Gathered, sign: str = ",") -> Raw | None:
    """Text as a raw table; None, and a fault kept, when its header cannot be read."""
    if text.count("\n") + text.count("\r") > MOST_LINES:
        gathered.add(name, name, f"more than {MOST_LINES} line ends", f"at most {MOST_ROWS} rows")
        return None
    lines = _LINE_END.split(text)
    header = _split(name, 1, lines[0], gathered, sign)
    if header is None or (sign == "," and not _separated(name, lines[0], header, gathered)):
        return None
    if len(header) > MOST_COLUMNS:
        gathered.add(name, f"{name} line 1", f"{len(header)} columns", f"at most {MOST_COLUMNS}")
        return None
    rows: list[tuple[int, tuple[str, ...]]] = []
    broken: list[tuple[str, ...]] = []
    for number, line in enumerate(lines[1:], start=2):
        row = _split(name, number, line, gathered, sign)
        if row is not None and len(row) == len(header) and any(cell.strip() for cell in row):
            rows.append((number, row))
        elif row is None or any(cell.strip() for cell in row):
            broken.append(row or tuple(line[:LONGEST_LINE].split(sign)))
            if row is not None:
                _tell_ragged(name, number, len(row), len(header), gathered, sign)
        if len(rows) + len(broken) > MOST_ROWS:
            gathered.add(name, f"{name} line {number}", f"more than {MOST_ROWS} rows", f"at most {MOST_ROWS} rows")
            return None
    return Raw(name, "line", tuple(cells.clean(item) for item in header), tuple(rows), tuple(broken))


def _tell_ragged(name: str, number: int, count: int, expected: int, gathered: Gathered, sign: str) -> None:
    """Keep the fault of a row with another number of cells than the header."""
    what = {",": "comma", ";": "semicolon", "\t": "tab"}[sign]
    remedy = f"Look for a {what} too many or too few; put a text that holds a {what} in double quotes."
    where, cells_as = f"{name} line {number}", f"{expected} cells, as in the header"
    gathered.add(name, where, f"{count} {'cell' if count == 1 else 'cells'}", cells_as, remedy, kind="ragged")


def _split(name: str, number: int, line: str, gathered: Gathered, sign: str) -> tuple[str, ...] | None:
    """The cells of a line between signs; None, and a fault kept, when it cannot be taken apart."""
    where = f"{name} line {number}"
    if len(line) > LONGEST_LINE:
        gathered.add(
            name,
            where,
            f"{len(line)} characters in one line",
            f"at most {LONGEST_LINE}",
            "The file is damaged or no table: save it as CSV again.",
            kind="long line",
        )
        return None
    try:
        row = (
            tuple(next(csv.reader([line], delimiter=sign, strict=True, skipinitialspace=True), ()))
            if '"' in line
            else tuple(line.split(sign))
        )
    except csv.Error:
        gathered.add(
            name,
            where,
            "a double quote that does not open and close one cell of this line",
            "double quotes around a whole cell, on one line",
            "A quote within a cell is written twice.",
            kind="quotes",
        )
        return None
    long = next((cell for cell in row if len(cell) > LONGEST_CELL), None)
    if long is not None:
        gathered.add(
            name,
            where,
            f"a cell of {len(long)} characters ({cells.shown(long)})",
            f"at most {LONGEST_CELL}",
            kind="long cell",
        )
        return None
    return row


def _separated(name: str, line: str, header: tuple[str, ...], gathered: Gathered) -> bool:
    """Whether the header is one of columns between commas; a fault is kept when not."""
    if line.casefold().startswith("sep="):
        gathered.add(
            name,
            f"{name} line 1",
            cells.shown(line),
            "the names of the columns",
            "Delete this line; columns stand between commas.",
        )
        return False
    for sign, what in _SEPARATORS:
        if line.count(sign) > line.count(","):
            gathered.add(
                name,
                f"{name} line 1",
                f"columns between {what}",
                "columns between commas",
                "Save it as CSV with commas; numbers then need a decimal point.",
            )
            return False
    return True
