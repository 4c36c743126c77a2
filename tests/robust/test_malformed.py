"""Spoiled files: no traceback, no hang, a message with file, place and what was expected; or the right result.

``python -m pytest tests/robust/test_malformed.py --n 500 --seed 1 -s`` spoils each kind of file 500 times. Where a
spoiled file is taken all the same, it must be for what a second reader (Python's csv and TOML readers, openpyxl's
ordinary mode) sees in it. An input that fails is written to a folder that the failure names: it belongs in
tests/corpus.
"""

from __future__ import annotations

import csv
import io
import re
import signal
import tomllib
import warnings
from collections import Counter
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from tests.robust import spoiling, spoiling_books
from tests.unit.intake import material
from toolkit import sheetfile
from toolkit.brief import reading
from toolkit.cli import main
from toolkit.errors import WearbookError
from toolkit.intake import cells, csv_text, records
from toolkit.intake.gathered import Gathered

SECONDS = 5.0
EXAMPLE = Path(__file__).parents[1] / "unit" / "brief" / "example.toml"


@dataclass(frozen=True)
class Reader:
    """A kind of file: its name in the folder, how it is spoiled, read, and seen by a second reader."""

    path: str
    ways: dict[str, spoiling.Way]
    read: Callable[[Path], Any]
    second: Callable[[bytes], Any]


def brief_read(folder: Path) -> Any:
    """The brief, as plain data."""
    return reading.canonical(reading.read(folder / "campaign.toml"))


def brief_second(content: bytes) -> Any:
    """The brief as the TOML reader and our rules see it, without the reader that mends and goes on."""
    text = content.decode("utf-8-sig")
    tomllib.loads(text)
    return reading.canonical(reading.parse(text.replace("\r\n", "\n")))


def table_read(path: str) -> Callable[[Path], Any]:
    """The cells of a raw table; the records are read too, and must be in order or refused."""

    def read(folder: Path) -> Any:
        """Header and rows."""
        told = Gathered()
        raw, _ = csv_text.read(folder, path, told)
        told.raise_all()
        records.read(folder, material.brief()).to_json()
        return None if raw is None else [raw.header, *(tuple(map(cells.clean, row)) for _, row in raw.rows)]

    return read


def table_second(content: bytes) -> Any:
    """The cells as Python's csv reader sees them, a line at a time."""
    lines = re.split("\r\n|\r|\n", content.decode("utf-8-sig"))
    rows = [next(csv.reader([line], skipinitialspace=True), []) for line in lines]
    kept = [tuple(cells.clean(cell) for cell in row) for row in rows]
    return [row for row in kept if any(row)]


def book_read(folder: Path) -> Any:
    """The filled cells of a workbook."""
    found = sheetfile.read((folder / "sheet.xlsx").read_bytes(), where="sheet.xlsx")
    return {(sheet.name, cell.where): cell.value for sheet in found for cell in sheet.cells if cell.kind != "formula"}


def book_second(content: bytes) -> Any:
    """The filled cells as the ordinary mode of openpyxl sees them (which stops at a style that is not there)."""
    parts = {name: text.replace(b's="999999"', b's="0"') for name, text in spoiling_books.members(content).items()}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(io.BytesIO(spoiling_books.packed(parts)))
    return {
        (sheet.title, cell.coordinate): cell.value
        for sheet in book.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.value not in (None, "") and cell.data_type != "f"
    }


READERS = {
    "campaign.toml": Reader("campaign.toml", spoiling.TEXT, brief_read, brief_second),
    **{
        f"{name}.csv": Reader(f"raw/{name}.csv", spoiling.TABLE, table_read(f"raw/{name}.csv"), table_second)
        for name in material.NAMES
    },
    "workbook": Reader("sheet.xlsx", spoiling_books.WAYS, book_read, book_second),
}


@pytest.fixture(scope="module")
def clean(tmp_path_factory) -> Path:
    """A folder with one whole file of each kind."""
    return whole_folder(tmp_path_factory.mktemp("clean"))


def whole_folder(folder: Path) -> Path:
    """One whole file of each kind put into a folder."""
    (folder / "raw").mkdir()
    (folder / "campaign.toml").write_bytes(EXAMPLE.read_bytes())
    for name, text in material.texts().items():
        (folder / "raw" / f"{name}.csv").write_text(text, encoding="utf-8")
    (folder / "sheet.xlsx").write_bytes(spoiling_books.book())
    return folder


class Hung(Exception):
    """More than the seconds allowed."""


@contextmanager
def at_most(seconds: float):
    """Stop what takes longer (seconds of this process's own work)."""

    def stop(*_):
        """Raise where it is."""
        raise Hung

    old = signal.signal(signal.SIGVTALRM, stop)
    signal.setitimer(signal.ITIMER_VIRTUAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)
        signal.signal(signal.SIGVTALRM, old)


HEADLINES = re.compile(
    r"The records are not in order; nothing was read\.|campaign\.toml is not in order \(\d+ faults?\):"
    r"|  \.\.\. and \d+ more\."
)
FAULT = re.compile(r"\s*(raw/[a-z-]+\.csv|campaign\.toml|sheet\.xlsx)\b.*; expected .*")


def speaks(message: str, file: str) -> bool:
    """Whether every line of a refusal names the file and says what was expected, in printable characters."""
    told = [line for line in message.split("\n") if not HEADLINES.fullmatch(line)]
    # A run that is missing in its table is told where another table names it.
    named = file in message or "the table of runs" in message
    return named and bool(told) and all(FAULT.fullmatch(line) and line.isprintable() for line in told)


def wrong_with(reader: Reader, folder: Path, content: bytes, harmless: bool, whole: Any) -> str:
    """What is wrong with how a spoiled file is read; empty when nothing is."""
    (folder / reader.path).write_bytes(content)
    try:
        with at_most(SECONDS):
            found = reader.read(folder)
    except WearbookError as problem:
        if harmless:
            return f"refused though nothing is wrong: {problem}"
        return "" if speaks(str(problem), reader.path) else f"does not say file, place and what was expected: {problem}"
    except Hung:
        return "took too long"
    except Exception as problem:
        return f"{type(problem).__name__}: {problem}"
    if harmless:
        return "" if found == whole else "another result though nothing is changed"
    if found == whole:
        return ""
    try:
        second = reader.second(content)
    except Exception as problem:
        return f"taken, though a second reader refuses it ({type(problem).__name__}: {problem})"
    return "" if found == second else "taken for something else than a second reader sees"


@pytest.mark.parametrize("kind", READERS)
def test_a_spoiled_file_is_refused_in_words_or_read_as_it_is(clean, tmp_path, numbers, kind):
    reader, (count, seed) = READERS[kind], numbers
    good = (clean / reader.path).read_bytes()
    (tmp_path / "raw").mkdir()
    for path in (path.relative_to(clean) for path in clean.rglob("*") if path.is_file()):
        (tmp_path / path).write_bytes((clean / path).read_bytes())
    whole = reader.read(tmp_path)
    failed, ends = [], Counter()
    for number in range(count):
        way, draw = spoiling.drawn(reader.ways, number, seed, kind)
        content = reader.ways[way](draw, good)
        wrong = wrong_with(reader, tmp_path, content, way in spoiling.HARMLESS, whole)
        ends[way] += 1
        if wrong:
            kept = tmp_path / f"failed-{number}{Path(reader.path).suffix}"
            kept.write_bytes(content)
            failed.append(f"{way}, number {number}: {wrong} [{kept}]")
    print(f"seed {seed}, {kind}: {count} inputs, {dict(ends)}")
    assert not failed, "\n".join(failed)


@pytest.mark.parametrize("kind", [kind for kind in READERS if kind != "workbook"])
def test_the_command_refuses_spoiled_files_with_1_and_without_a_traceback(clean, tmp_path, numbers, capsys, kind):
    reader, (count, seed) = READERS[kind], numbers
    (tmp_path / "raw").mkdir()
    for path in (path.relative_to(clean) for path in clean.rglob("*") if path.is_file()):
        (tmp_path / path).write_bytes((clean / path).read_bytes())
    (tmp_path / "campaign.toml").write_text(BRIEF, encoding="utf-8")
    good = (tmp_path / reader.path).read_bytes()
    assert main(["check", str(tmp_path)]) == 0
    capsys.readouterr()
    ends = Counter()
    for number in range(0, count, 7):
        way, draw = spoiling.drawn(reader.ways, number, seed, kind)
        (tmp_path / reader.path).write_bytes(reader.ways[way](draw, good))
        with at_most(SECONDS):
            code = main(["check", str(tmp_path)])
        said = capsys.readouterr()
        ends[code] += 1
        assert code in (0, 1), (way, number)
        assert (said.err.startswith("wearbook check: ") and not said.out) == (code == 1), (way, number)
        assert "Traceback" not in said.err
    assert set(ends) == {0, 1}


BRIEF = """\
[campaign]
id = "small"
question = "Which?"
seed = 1
new_each_run = ["part", "fill"]
[[factor]]
name = "pin"
undo = "part"
levels = { P0 = "plain", P1 = "coated" }
[[factor]]
name = "load_Nm"
undo = "setting"
levels = [100, 150.5]
[blocks]
by = "build"
[[response]]
name = "elongation_pct"
stations = { kind = "segment", count = 3, readings = 2, states = ["before", "after"] }
worthwhile_change_pct = 20
[[response]]
name = "fe_ppm"
role = "secondary"
per_run = "increase"
worthwhile_change_pct = 25
[[response]]
name = "torque_Nm"
role = "secondary"
scale = "linear"
better = "larger"
worthwhile_change = 5
[held]
sump_temp_degC = { target = 100, window = [98.5, 101.5], limits = [94, 106] }
soot_pct = { target = 3.0, window = [2.7, 3.3] }
[protocol]
run_time_h = { target = 100, window = [99, 101] }
max = { downtime_h = 24, channel_gap_h = 1, si_ppm = 20 }
[plan]
design = "full factorial"
builds = 2
[scatter]
history = "raw/rig-history.csv"
"""
