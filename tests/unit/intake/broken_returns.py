"""Run sheets and tables that come back broken in one place, and the whole message each gives; INVENTED."""

from __future__ import annotations

import io
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, time
from pathlib import Path

import openpyxl

from tests.unit.intake import came_back
from tests.unit.intake.came_back import Formula
from toolkit.intake.received import ReceivedFile

Change = Callable[[object, Mapping[str, int]], None]
TOLD = tomllib.loads(Path(__file__).with_name("broken_returns.toml").read_text(encoding="utf-8"))
_BENCH = ("Run", "Pin", "Torque", "Start")
_READING = (came_back.issued().part("R01"), "SEG01", 1, 0.0121)
_SAMPLE = came_back.issued().sample("R01", "0")
_LAST = came_back.issued().sample("R04", "100")
_LAB = "Probe;Eisen;Bemerkung\n"


@dataclass(frozen=True)
class Broken:
    """One file that is broken, and the lines that are told of it.

    ``make`` builds it for a run, whose id stands for RUN in broken_returns.toml (ROW for its row's checksum); a
    table brings itself whatever the run.
    """

    name: str
    make: Callable[[str], ReceivedFile]

    def told(self, run: str) -> tuple[str, ...]:
        """What is told of it when it is the sheet of this run."""
        row = came_back.issued().row(run)
        stands_for = {"RUN": run, "ROW": str(row["row_checksum"])[:12], "SAMPLE": _LAST}
        return tuple(re.sub("RUN|ROW|SAMPLE", lambda hit: stands_for[hit[0]], line) for line in TOLD[self.name])


def typed(name: str, column: str, value: object, formats: str = "") -> Broken:
    """A run sheet with something odd typed into one cell."""

    def make(run: str) -> ReceivedFile:
        content = came_back.filled(
            f"{run}.xlsx",
            came_back.good(run, **{column: value}),
            formats={column: formats} if formats else None,
        )
        return ReceivedFile(f"{run}.xlsx", content, "run sheet")

    return Broken(name, make)


def changed(name: str, change: Callable[[object], None]) -> Broken:
    """A run sheet that was changed in another way than by typing into its boxes."""

    def make(run: str) -> ReceivedFile:
        book = openpyxl.load_workbook(io.BytesIO(came_back.filled(f"{run}.xlsx", came_back.good(run))))
        change(book.active)
        return ReceivedFile(f"{run}.xlsx", came_back.saved(book), "run sheet")

    return Broken(name, make)


def at(sheet: object, column: str, place: int = 3) -> object:
    """The cell of a run sheet in the line of a column."""
    return next(row[place - 1] for row in sheet.iter_rows() if row[1].value == column)


def table(name: str, file: str, change: Change) -> Broken:
    """A blank table of ours that was filled in, with something odd in it."""
    kind = "oil" if file == "lab-request.xlsx" else "stations"
    content = came_back.measured(file, change)
    return Broken(name, lambda run: ReceivedFile(file, content, kind))


def into(row: int, column: str, value: object) -> Change:
    """Type a value into a cell of a table."""
    return lambda sheet, head: came_back.put(sheet.cell(row, head[column]), value)


def theirs(name: str, file: str, mapping: str, rows: object, sheet: str = "Results") -> Broken:
    """A table with headings of its own, in addition to everything else."""
    content = rows if isinstance(rows, bytes) else came_back.table(rows, sheet=sheet)
    kind = next(item.table for item in came_back.issued().brief.received if item.name == mapping)
    return Broken(name, lambda run: ReceivedFile(file, content, kind, mapping))


def error(cell: object, value: str) -> None:
    """Put an error value into a cell."""
    cell.value = value
    cell.data_type = "e"


def over(column: str, value: object) -> Callable[[object], None]:
    """Type over a cell that is locked."""
    return lambda sheet: came_back.put(at(sheet, column), value)


def tick(what: str, value: object) -> Callable[[object], None]:
    """Type into the line of a thing to do."""
    return lambda sheet: came_back.put(next(row[2] for row in sheet.iter_rows() if row[0].value == what), value)


def again(column: str, value: object) -> Callable[[object], None]:
    """Add a second line of a column."""

    def change(sheet: object) -> None:
        row = sheet.max_row + 1
        sheet.cell(row, 2, column)
        sheet.cell(row, 3, value)

    return change


def wiped(heading: str) -> Callable[[object], None]:
    """Take a heading away."""

    def change(sheet: object) -> None:
        for row in sheet.iter_rows(max_row=5):
            for cell in row:
                if cell.value == heading:
                    cell.value = None

    return change


EVERY: tuple[Broken, ...] = (
    typed("decimal comma that can be read in two ways", "sump_temp_degC", "1,500"),
    typed("points and comma", "run_time_h", "1.500,2"),
    typed("blank between digits", "run_time_h", "1 00"),
    typed("two numbers in a cell", "sump_temp_degC", "99/101"),
    typed("unit of another kind", "sump_temp_degC", "100 bar"),
    typed("unit in capitals", "torque_Nm", "120 NM"),
    typed("a word for a number", "torque_Nm", "n/a"),
    typed("below a limit where none is", "torque_Nm", "<5"),
    typed("hours lost in a valid run", "run_time_h", "lost"),
    typed("hours blank in a valid run", "run_time_h", None),
    typed("verdict of another kind", "verdict", "vallid"),
    typed("void without a reason", "verdict", "invalid"),
    typed("level that is not one", "pin", "P2"),
    typed("numeric level that is not one", "load_Nm", "100"),
    typed("numeric level with a comma of two ways", "load_Nm", "1,205"),
    typed("place in the order not whole", "actual_order", "1.5"),
    typed("place in the order blank", "actual_order", None),
    typed("build blank", "build_id", " "),
    typed("date in a number's cell", "sump_temp_degC", datetime(2026, 4, 3), formats="yyyy-mm-dd"),
    typed("time in a number's cell", "downtime_h", time(1, 30), formats="hh:mm"),
    typed("per cent in a temperature", "sump_temp_degC", 1.0, formats="0%"),
    typed("true for a number", "torque_Nm", True),
    typed("formula that was never computed", "torque_Nm", Formula("100+20")),
    typed("date as text, both ways round", "started_at", "03/04/2026 08:00"),
    typed("date as text, with two figures of the year", "stopped_at", "31.03.26"),
    typed("date that is none", "started_at", "2026-02-30"),
    typed("number for a date", "started_at", 46112.5),
    typed("time for a date", "stopped_at", time(14, 5), formats="hh:mm"),
    typed("a word for a date", "started_at", "Monday"),
    typed("long number for a serial", "serial", 1234567890123456),
    typed("negative hours", "run_time_h", -1),
    changed("error value", lambda sheet: error(at(sheet, "torque_Nm"), "#DIV/0!")),
    changed("merged cells", lambda sheet: sheet.merge_cells("C24:D24")),
    changed("merged with the cell before", lambda sheet: sheet.merge_cells("B24:C24")),
    changed("a line twice", again("torque_Nm", 120)),
    changed("sheet of another plan", over("row_checksum", "a" * 64)),
    changed("sheet of another campaign", over("seal", "b" * 64)),
    changed("run id typed over", over("run_id", "R99")),
    changed("run id wiped", over("run_id", None)),
    changed("phase typed over", over("phase", "pilot")),
    changed("tick with a word", tick("Site's own start checks done", "later")),
    changed("headings wiped", wiped("column")),
    table("reading with a comma of two ways", "measure-after.xlsx", into(10, "wear_um", "12,105")),
    table("reading in a unit of another kind", "measure-after.xlsx", into(10, "wear_um", "12 mg")),
    table("unit column changed to one of another kind", "measure-after.xlsx", into(10, "wear_um measured in", "kg")),
    table("reading number not whole", "measure-after.xlsx", into(10, "reading", "first")),
    table("state of another kind", "measure-after.xlsx", into(10, "state", "later")),
    table("part blank", "measure-after.xlsx", into(10, "part_id", None)),
    table("station blank", "measure-after.xlsx", into(10, "station_id", None)),
    table("the same reading twice", "measure-after.xlsx", into(11, "reading", 1)),
    table("heading gone", "measure-after.xlsx", into(1, "station_id", "place")),
    table("heading twice", "measure-after.xlsx", into(1, "remark", "wear_um")),
    table("merged readings", "measure-after.xlsx", lambda sheet, head: sheet.merge_cells("E10:E11")),
    table("formula without a value in a table", "measure-after.xlsx", into(10, "wear_um", Formula("A1+1"))),
    table("iron below nothing", "lab-request.xlsx", into(2, "fe_ppm", "<")),
    table("iron with a limit of two ways", "lab-request.xlsx", into(2, "fe_ppm", "<1,500")),
    table("iron below nought", "lab-request.xlsx", into(2, "fe_ppm", -1)),
    table("iron by volume", "lab-request.xlsx", into(2, "fe_ppm", "30 mg/L")),
    table("sample twice", "lab-request.xlsx", into(3, "sample_id", _LAST)),
    theirs("their heading missing", "cmm-1.xlsx", "metrology room", [("Part", "Place", "Rep", "Stretch"), _READING]),
    theirs("their sheet missing", "bench.xlsx", "bench", [_BENCH, ["R01", "DLC", 121.5, None]], sheet="Data"),
    theirs("their word unknown", "bench.xlsx", "bench", [_BENCH, ["R01", "gold", 121.5, None]]),
    theirs("run unknown", "bench.xlsx", "bench", [_BENCH, ["R1", "DLC", 121.5, None]]),
    theirs("figure that contradicts the sheet", "bench.xlsx", "bench", [_BENCH, ["R01", "DLC", 130, None]]),
    theirs("treatment that contradicts the sheet", "bench.xlsx", "bench", [_BENCH, ["R01", "bare", 121.5, None]]),
    theirs("point where a comma was declared", "lab.csv", "lab", f"{_LAB}{_SAMPLE};2.05;\n".encode()),
    theirs("cells missing in a line", "lab.csv", "lab", f"{_LAB}{_SAMPLE};2,0\n".encode()),
    theirs("figure that contradicts an earlier file", "lab.csv", "lab", f"{_LAB}{_SAMPLE};2,5;\n".encode()),
    theirs("bytes that are no text", "lab.csv", "lab", f"{_LAB}{_SAMPLE};2,5;\xfc\n".encode("latin-1")),
    theirs("old spreadsheet file", "lab.xls", "lab", b"\xd0\xcf\x11\xe0" + b"\0" * 20),
    theirs("archive that is no workbook", "lab.xlsx", "lab", b"PK\x03\x04" + b"\0" * 40),
    theirs("empty file", "lab.csv", "lab", b""),
)
