"""A test shop: fills in what was issued, from wear that only it knows. Every figure is INVENTED.

It reads the issued workbooks as a person would, types into the open cells and saves under another name; it never
touches what was issued.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import openpyxl

EFFECTS = {"P1": -0.30, "O1": -0.22}
BASELINE_PCT, RUN_SD, STATION_SD, READING_SD = 0.115, 0.10, 0.15, 0.0038
HELD = {"sump_temp_degC": 100.1, "soot_pct": 3.02, "fuel_dilution_pct": 2.46}
LOGGED = {"downtime_h": 2.5, "channel_gap_h": 0.1, "carry_over_pct": 0.7, "si_ppm": 9.0}


@dataclass(frozen=True)
class Built:
    """What truly ran: the run, its part, and its levels."""

    run_id: str
    part_id: str
    levels: Mapping[str, str]
    build: str


def planned(folder: Path, phase: str) -> list[dict[str, str]]:
    """The run list as sealed."""
    return rows(folder / "plan" / phase / "runs.csv")


def parts(folder: Path, phase: str) -> list[dict[str, str]]:
    """The register of parts."""
    return rows(folder / "plan" / phase / "parts.csv")


def samples(folder: Path, phase: str) -> list[dict[str, str]]:
    """The register of oil samples."""
    return rows(folder / "plan" / phase / "samples.csv")


def rows(path: Path) -> list[dict[str, str]]:
    """A table of the campaign folder."""
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))


def as_planned(folder: Path, phase: str, run_id: str) -> Built:
    """A run as it was planned, with the part that was allotted to it."""
    line = next(item for item in planned(folder, phase) if item["run_id"] == run_id)
    part = next(item["part_id"] for item in parts(folder, phase) if item["run_id"] == run_id)
    return Built(run_id, part, {name: line[name] for name in ("pin", "oil")}, line["build_id"])


def run_sheet(folder: Path, phase: str, built: Built, to: Path, *, order: int, **typed: object) -> Path:
    """The sheet of a run with everything typed in; ``typed`` is by column and wins."""
    book = openpyxl.load_workbook(folder / "runsheets" / phase / f"{built.run_id}.xlsx")
    sheet = book.active
    values: dict[str, object] = {
        "actual_order": order,
        "build_id": built.build,
        **built.levels,
        "part_id": built.part_id,
        "serial": f"S-{built.part_id}",
        "oil_drum": "D7",
        "started_at": "2026-03-09 08:00",
        "stopped_at": "2026-03-13 12:10",
        **HELD,
        **LOGGED,
        "run_time_h": 100.2,
        "verdict": "valid",
        "reason": "",
        "role": "test engineer",
        **typed,
    }
    column, value = (next(cell.column for cell in sheet[3] if cell.value == name) for name in ("column", "value"))
    asked = {sheet.cell(row, column).value: row for row in range(4, sheet.max_row + 1)}
    for name, given in values.items():
        if given not in ("", None):
            sheet.cell(asked[name], value).value = given
    book.save(to)
    return to


def wear(built: Built, *, seed: int = 7) -> float:
    """The mean elongation of a part after its run, known to the shop alone."""
    draw = np.random.default_rng([seed, *built.run_id.encode()])
    build = np.random.default_rng([seed, *built.build.encode()]).normal(0.0, 0.06)
    change = sum(EFFECTS.get(level, 0.0) for level in built.levels.values())
    return BASELINE_PCT * math.exp(change + build + draw.normal(0.0, RUN_SD))


def measured(folder: Path, phase: str, state: str, done: Collection[Built], to: Path, *, seed: int = 7) -> Path:
    """Metrology's table in a state, filled in for the parts of these runs (all parts before the runs)."""
    book = openpyxl.load_workbook(folder / "runsheets" / phase / "blind" / f"measure-{state}.xlsx")
    known = {item.part_id: item for item in done}
    for sheet in book:
        at = {cell.value: cell.column for cell in sheet[1]}
        for row in range(2, sheet.max_row + 1):
            part = sheet.cell(row, at["part_id"]).value
            if state == "after" and part not in known:
                continue
            place = str(sheet.cell(row, at["station_id"]).value)
            new = np.random.default_rng([seed, *f"{part}{place}".encode()]).normal(0.02, 0.01)
            scatter = np.random.default_rng([seed, 1, *f"{part}{place}".encode()]).normal(0.0, STATION_SD)
            worn = wear(known[part], seed=seed) * math.exp(scatter) if state == "after" else 0.0
            reading = int(sheet.cell(row, at["reading"]).value)
            error = np.random.default_rng([seed, reading, *f"{part}{place}{state}".encode()]).normal(0.0, READING_SD)
            sheet.cell(row, at["elongation_pct"]).value = round(new + worn + error, 4)
    book.save(to)
    return to


def laboratory(
    folder: Path, phase: str, done: Collection[Built], to: Path, *, more: Mapping[str, str] | None = None
) -> Path:
    """The laboratory's own table: headings of its own, semicolons, decimal commas, '<' below its limit."""
    known = {item.run_id: item for item in done}
    out = ["Probe;Eisen [mg/kg];Bemerkung"]
    for line in sorted(samples(folder, phase), key=lambda item: item["sample_id"]):
        if line["run_id"] in known:
            iron = 4.0 + float(line["at_h"]) * 9.0 * wear(known[line["run_id"]])
            told = (more or {}).get(line["sample_id"], f"{iron:.1f}".replace(".", ","))
            out.append(f"{line['sample_id']};{told};")
    to.write_bytes(("\r\n".join(out) + "\r\n").encode("utf-8"))
    return to
