"""Blank tables for metrology and laboratory: every station and sample once, and no word of run or treatment."""

from __future__ import annotations

import io
import re
import zipfile
from dataclasses import replace

import openpyxl

from tests.unit.running.material import AT, chain, issued
from toolkit import sheetfile
from toolkit.brief.model import Response, Stations
from toolkit.running import measuring


def rows_of(content: bytes) -> list[list[object]]:
    page = openpyxl.load_workbook(io.BytesIO(content)).active
    return [[cell.value for cell in row] for row in page.iter_rows()]


def test_every_station_and_reading_has_a_line():
    _, made, _ = issued(chain())
    tables = measuring.tables(made, at=AT)
    assert list(tables) == ["measure-before.xlsx", "measure-after.xlsx", "lab-request.xlsx"]
    rows = rows_of(tables["measure-after.xlsx"])
    assert rows[0] == [
        "part_id",
        "station_id",
        "reading",
        "state",
        "elongation_pct",
        "elongation_pct measured in",
        "remark",
    ]
    wanted = [
        [part, f"SEG{station:02d}", reading, "after", None, "%", None]
        for part in made.parts["part_id"]
        for station in range(1, 11)
        for reading in (1, 2)
    ]
    assert rows[1:] == wanted


def test_every_sample_has_a_line_in_the_order_of_its_code():
    _, made, _ = issued(chain())
    rows = rows_of(measuring.tables(made, at=AT)["lab-request.xlsx"])
    assert rows[0] == ["sample_id", "fe_ppm", "fe_ppm measured in", "remark"]
    assert rows[1:] == [[code, None, "mg/kg", None] for code in sorted(made.samples["sample_id"])]


def test_nothing_tells_run_treatment_order_or_hours():
    brief = chain()
    runs, made, _ = issued(brief)
    secret = {*brief.factor_names, *runs["run_id"], *runs["build_id"]}
    secret |= {word for item in brief.factors for level in item.levels for word in (level.name, level.label)}
    for name, content in measuring.tables(made, at=AT).items():
        texts = [str(cell.value) for sheet in sheetfile.read(content, where=name) for cell in sheet.cells]
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            for part in archive.namelist():
                if part.startswith(("docProps/", "xl/workbook")):
                    texts.append(archive.read(part).decode())
        page = openpyxl.load_workbook(io.BytesIO(content)).active
        texts += [name, page.title, page.oddFooter.left.text]
        told = " ".join(texts).casefold()
        assert [word for word in secret if re.search(rf"\b{re.escape(word.casefold())}\b", told)] == []
        assert "at_h" not in told and "planned" not in told


def test_wear_read_as_such_and_stations_of_another_count_are_told_apart():
    wear = Response("wear_um", stations=Stations("lobe", 2, 1))
    more = Response("width_um", role="secondary", stations=Stations("lobe", 1, 2))
    _, made, _ = issued(replace(chain(), responses=(wear, more), comparisons=(), families=()))
    tables = measuring.tables(made, at=AT)
    assert list(tables) == ["measure.xlsx"]
    page = openpyxl.load_workbook(io.BytesIO(tables["measure.xlsx"])).active
    assert [cell.value for cell in page[1]][:4] == ["part_id", "station_id", "reading", "wear_um"]
    open_boxes = [
        (page.cell(row, 2).value, page.cell(row, 3).value, cell.column)
        for row in range(2, 6)
        for cell in page[row]
        if not cell.protection.locked and cell.column < 8
    ]
    assert open_boxes == [
        ("LOB01", 1, 4),
        ("LOB01", 1, 6),
        ("LOB01", 2, 6),
        ("LOB02", 1, 4),
    ]
