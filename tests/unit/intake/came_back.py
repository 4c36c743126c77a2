"""What is issued for a small campaign, filled in as people do, in memory; INVENTED."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import openpyxl
import pandas as pd

from tests.unit import briefs
from toolkit.brief.model import Brief, Held, Protocol, ReceivedTable, Response, Stations
from toolkit.design import factorial, orders
from toolkit.intake import columns, records
from toolkit.intake.received import Correction, ReceivedFile, Registers, issued_under
from toolkit.intake.records import Records
from toolkit.running import measuring, workbook
from toolkit.running.register import register
from toolkit.running.sheets import run_sheets

_UNHELD = re.compile("[\x00-\x08\x0b-\x0d\x0e-\x1f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")
AT = "2026-03-02T08:00:00Z"
SEAL = "5" * 64
ROOM = ReceivedTable(
    "metrology room",
    "stations",
    {"part_id": "Part", "station_id": "Pos", "reading": "Rep", "wear_um": "Stretch"},
    files="cmm-*",
    measured_in={"wear_um": "mm"},
    always={"state": "after"},
)
LAB = ReceivedTable("lab", "oil", {"sample_id": "Probe", "fe_ppm": "Eisen", "note": "Bemerkung"}, decimal="comma")
BENCH = ReceivedTable(
    "bench",
    "runs",
    {"run_id": "Run", "pin": "Pin", "torque_Nm": "Torque", "started_at": "Start"},
    levels={"pin": {"P0": "bare", "P1": "DLC"}},
    sheet="Results",
)


def brief(**changes: object) -> Brief:
    """Four combinations in one build of four runs, wear at two segments, iron in the oil, torque."""
    given: dict[str, object] = dict(
        factors=(briefs.factor("pin", "P0", "P1"), briefs.numeric("load_Nm", 80, 120.5)),
        responses=(
            Response("wear_um", stations=Stations("segment", 2, 2, ("before", "after")), worthwhile_change_pct=20.0),
            Response("fe_ppm", role="secondary", worthwhile_change_pct=20.0),
            Response("torque_Nm", role="secondary", scale="linear", worthwhile_change=2.0),
        ),
        comparisons=(),
        block_by=None,
        pilot=None,
        plan=briefs.PlanChoice(replicates=1),
        held=(Held("sump_temp_degC", 100.0, (98.5, 101.5), (94.0, 106.0)),),
        protocol=Protocol(Held("run_time_h", 100.0, (99.0, 101.0)), {"downtime_h": 24.0, "si_ppm": 20.0}),
        received=(ROOM, LAB, BENCH),
    )
    return briefs.blocked(**{**given, **changes})


@dataclass(frozen=True, eq=False)
class Issued:
    """The plan, the registers, and the files that leave, by name."""

    brief: Brief
    plan: pd.DataFrame
    registers: Registers
    files: Mapping[str, bytes]

    def part(self, run_id: str) -> str:
        """The part planned for a run."""
        parts = self.registers.parts
        return str(parts.loc[parts["run_id"] == run_id, "part_id"].iloc[0])

    def spare(self, pin: str) -> str:
        """The spare part of a kind."""
        parts = self.registers.parts
        return str(parts.loc[(parts["spare"] == "yes") & (parts["pin"] == pin), "part_id"].iloc[0])

    def sample(self, run_id: str, at_h: str) -> str:
        """A sample of a run."""
        drawn = self.registers.samples
        return str(drawn.loc[(drawn["run_id"] == run_id) & (drawn["at_h"] == at_h), "sample_id"].iloc[0])

    def row(self, run_id: str) -> Mapping[str, object]:
        """The row of a run in the plan."""
        return self.plan[self.plan["run_id"] == run_id].iloc[0].to_dict()


@lru_cache(maxsize=1)
def issued() -> Issued:
    """The small campaign as it was issued."""
    asked = brief()
    runs = orders.randomise(factorial.full(asked), seed=asked.seed).table
    made = register(asked, runs, seed=asked.seed)
    sheets = run_sheets(asked, runs, made, seal=SEAL, head="0" * 64, verdicts=columns.VERDICTS)
    files = {f"{sheet.run_id}.xlsx": workbook.workbook(sheet, at=AT) for sheet in sheets}
    files |= measuring.tables(made, at=AT)
    return Issued(asked, issued_under(runs, [SEAL]), Registers(made.parts, made.samples), files)


def good(run_id: str, **changes: object) -> dict[str, object]:
    """What a person writes on the sheet of a run that went as planned."""
    row = issued().row(run_id)
    place = int(str(row["planned_order"]))
    filled: dict[str, object] = {
        "actual_order": place,
        "build_id": row["build_id"],
        "pin": row["pin"],
        "load_Nm": row["load_Nm"],
        "part_id": issued().part(run_id),
        "serial": f"S{place}",
        "oil_drum": "D1",
        "started_at": f"2026-03-{place:02d} 08:00",
        "sump_temp_degC": 100.2,
        "downtime_h": 0,
        "si_ppm": 4,
        "stopped_at": f"2026-03-{place + 4:02d} 12:00",
        "run_time_h": 100,
        "torque_Nm": 120.5 + place,
        "verdict": "valid",
        "role": "test engineer",
    }
    return {**filled, **changes}


def filled(name: str, values: Mapping[str, object], *, formats: Mapping[str, str] | None = None) -> bytes:
    """A run sheet with values typed into its value cells, found by the names in its column 'column'."""
    book = openpyxl.load_workbook(io.BytesIO(issued().files[name]))
    sheet = book.active
    for row in sheet.iter_rows():
        column = row[1].value if len(row) > 2 else None
        if column in values:
            put(row[2], values[column])
            if formats and column in formats:
                row[2].number_format = formats[column]
    return saved(book)


def put(cell: object, value: object) -> None:
    """Type a value into a cell; text stays text, whatever it begins with, but for a Formula."""
    if isinstance(value, Formula):
        cell.value = f"={value.text}"
    elif isinstance(value, str):
        # As a spreadsheet program keeps what XML cannot hold (ECMA-376 part 1, ST_Xstring).
        cell.value = _UNHELD.sub(lambda hit: f"_x{ord(hit[0]):04X}_", value) or None
        cell.data_type = "s" if value else "n"
    else:
        cell.value = value


@dataclass(frozen=True)
class Formula:
    """A formula to type, without its sign."""

    text: str


def saved(book: openpyxl.Workbook) -> bytes:
    """A workbook as bytes."""
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def computed(content: bytes, cell: str, value: str) -> bytes:
    """A workbook with a value stored beside the formula of a cell, as a spreadsheet program saves it."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(buffer, "w") as new:
        for member in old.namelist():
            text = old.read(member)
            if member.startswith("xl/worksheets/"):
                bare = rf'(<c r="{cell}"[^>]*><f>[^<]*</f>)<v */>'
                text = re.sub(bare.encode(), rf"\g<1><v>{value}</v>".encode(), text)
            new.writestr(member, text)
    return buffer.getvalue()


def measured(name: str, change: object = None) -> bytes:
    """A blank table with plausible readings: 10 µm before, 12 to 13 µm after, 2 and 30 ppm of iron.

    ``change`` is called with the sheet before it is saved.
    """
    book = openpyxl.load_workbook(io.BytesIO(issued().files[name]))
    at_start = set(issued().registers.samples.query("at_h == '0'")["sample_id"])
    for sheet in book.worksheets:
        head = {cell.value: cell.column for cell in sheet[1]}
        for row in range(2, sheet.max_row + 1):
            if "wear_um" in head:
                wear = 10.0 if sheet.cell(row, head["state"]).value == "before" else 12.0 + 0.01 * row
                sheet.cell(row, head["wear_um"], wear)
            if "fe_ppm" in head:
                sheet.cell(row, head["fe_ppm"], 2 if sheet.cell(row, head["sample_id"]).value in at_start else 30)
    if change is not None:
        change(book.active, {cell.value: cell.column for cell in book.active[1]})
    return saved(book)


def table(rows: Sequence[Sequence[object]], *, sheet: str = "Results") -> bytes:
    """A workbook with one sheet of these rows."""
    book = openpyxl.Workbook()
    book.active.title = sheet
    for at, row in enumerate(rows, start=1):
        for place, value in enumerate(row, start=1):
            if value is not None:
                put(book.active.cell(at, place), value)
    return saved(book)


def sheet(run_id: str, **changes: object) -> ReceivedFile:
    """A run sheet that came back."""
    return ReceivedFile(f"{run_id}.xlsx", filled(f"{run_id}.xlsx", good(run_id, **changes)), "run sheet")


@lru_cache(maxsize=1)
def everything() -> tuple[ReceivedFile, ...]:
    """All that comes back of a campaign in which everything went as planned."""
    runs = [sheet(str(run_id)) for run_id in issued().plan["run_id"]]
    return (
        *runs,
        ReceivedFile("measure-before.xlsx", measured("measure-before.xlsx"), "stations"),
        ReceivedFile("measure-after.xlsx", measured("measure-after.xlsx"), "stations"),
        ReceivedFile("lab-request.xlsx", measured("lab-request.xlsx"), "oil"),
    )


def read(received: Sequence[ReceivedFile], *, corrections: Sequence[Correction] = (), **changes: object) -> Records:
    """The records of the small campaign."""
    made = issued()
    given = {"plan": made.plan, "registers": made.registers, **changes}
    return records.from_tables(given.pop("brief", made.brief), received=received, corrections=corrections, **given)
