"""Issuing what leaves for the test cell, metrology and the laboratory, from the sealed plan of a phase (rank 9)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.campaign import log, registers, seal, steps, storage
from toolkit.campaign.folder import Campaign
from toolkit.design.orders import PHASES
from toolkit.errors import CampaignError, IntegrityError
from toolkit.intake import columns
from toolkit.running import measuring, printed, workbook
from toolkit.running.register import Register, register
from toolkit.running.sheets import RunSheet, run_sheets

ISSUED = "issued"
FOLDER = "runsheets"


@dataclass(frozen=True, eq=False)
class Issued:
    """The registers and sheets of a phase, and the files they stand in (under the campaign folder).

    ``written`` are the files that were not there before; the others had the same bytes already.
    """

    register: Register
    sheets: tuple[RunSheet, ...]
    seal: str
    files: tuple[str, ...]
    written: tuple[str, ...]

    @property
    def table(self) -> pd.DataFrame:
        """One row a run: run_id, part_id, the checksum of its row in the plan, its sheet."""
        parts = self.register.parts.set_index("run_id")["part_id"]
        rows = [
            {
                "run_id": sheet.run_id,
                "part_id": parts[sheet.run_id],
                "row_checksum": sheet.row,
                "sheet": next(name for name in self.files if name.endswith(f"/{sheet.run_id}.xlsx")),
            }
            for sheet in self.sheets
        ]
        return pd.DataFrame(rows)

    def to_json(self) -> dict[str, Any]:
        """phase, seal, sheets[], parts[], samples[], files, and which of them were written now."""
        return stamp.plain(
            {
                "phase": self.register.phase,
                "seal": self.seal,
                "sheets": stamp.records(self.table),
                "parts": stamp.records(self.register.parts),
                "samples": stamp.records(self.register.samples),
                "files": list(self.files),
                "written": list(self.written),
            }
        )


def next_phase(campaign: Campaign) -> str:
    """The phase whose sheets are to be issued: the last one that is sealed.

    Raises
    ------
    CampaignError
        When no phase is sealed.
    """
    found = [phase for phase in PHASES if campaign.sealed(phase)]
    if not found:
        raise CampaignError(
            "No phase is sealed yet, so there are no runs to issue sheets for. Run `wearbook plan` first."
        )
    return found[-1]


def issue(campaign: Campaign, *, phase: str | None = None, hours: Sequence[float] | None = None) -> Issued:
    """Run sheets, registers and blank tables of a sealed phase; nothing that differs on disk is overwritten.

    Writes plan/<phase>/parts.csv and samples.csv, runsheets/<phase>/ (a workbook a run, all.html to print) and
    runsheets/<phase>/blind/ (tables for metrology and the laboratory, codes only), and a row of the log the first
    time. The same plan gives the same bytes.

    Parameters
    ----------
    campaign : Campaign
    phase : str, optional
        Left out: the last phase that is sealed.
    hours : sequence of float, optional
        When oil is sampled; see ``running.register.register``.

    Raises
    ------
    CampaignError
        When the phase is not sealed, or a file of that name holds other bytes: it was filled in or edited, or other
        hours were asked for. All such files are named and nothing is written.
    DesignError
        When the hours do not fit the run, or the sheet does not fit its page.
    """
    phase = phase or next_phase(campaign)
    held = campaign.plan(phase)
    runs = campaign.order(phase)
    if runs is None:
        raise CampaignError(f"{phase}: there is no sealed plan yet. Run `wearbook plan` first.")
    sealed = next((row for row in log.read(campaign.folder) if row["subject"] == held["seal"]), None)
    if sealed is None:
        raise IntegrityError(f"{log.NAME}: the line that records the seal of the {phase} phase is gone.")
    made = register(campaign.brief, runs, seed=campaign.brief.seed, hours=hours)
    sheets = run_sheets(
        campaign.brief,
        runs,
        made,
        seal=str(held["seal"]),
        head=str(held["records_head_before"]),
        verdicts=columns.VERDICTS,
    )
    files = _files(campaign, phase, made, sheets, at=sealed["at"])
    with storage.locked(campaign.folder):
        absent = _absent(campaign.folder, files)
        subject = stamp.checksum({name: stamp.checksum_bytes(content) for name, content in files.items()})
        if not any(row["kind"] == ISSUED and row["subject"] == subject for row in log.read(campaign.folder)):
            log.append(
                campaign.folder,
                kind=ISSUED,
                phase=phase,
                subject=subject,
                what=_told(made, sheets, files),
            )
        for name in absent:
            storage.write_bytes(campaign.folder / name, files[name])
    return Issued(made, sheets, str(held["seal"]), tuple(files), tuple(absent))


def _files(campaign: Campaign, phase: str, made: Register, sheets: Sequence[RunSheet], *, at: str) -> dict[str, bytes]:
    """Every file that is issued, by its path under the campaign folder."""
    plan = seal.folder_of(campaign.folder, phase)
    registers = plan.relative_to(campaign.folder).as_posix()
    target = f"{FOLDER}/{plan.name}"
    files = {f"{registers}/parts.csv": steps.csv_text(made.parts).encode()}
    if len(made.samples):
        files[f"{registers}/samples.csv"] = steps.csv_text(made.samples).encode()
    for sheet in sheets:
        files[f"{target}/{sheet.run_id}.xlsx"] = workbook.workbook(sheet, at=at)
    files[f"{target}/all.html"] = printed.printed(sheets).encode()
    for name, content in measuring.tables(made, at=at).items():
        files[f"{target}/blind/{name}"] = content
    return files


def _told(made: Register, sheets: Sequence[RunSheet], files: dict[str, bytes]) -> str:
    """What the log is told: how much was issued, and the checksum of every file, of registers but for serials."""
    return stamp.canonical(
        {
            "issued": f"{len(sheets)} run sheets, {len(made.parts)} parts, {len(made.samples)} oil samples",
            "files": {
                name: registers.as_issued(content) if registers.is_register(name) else stamp.checksum_bytes(content)
                for name, content in files.items()
            },
        }
    )


def _absent(folder: Path, files: dict[str, bytes]) -> list[str]:
    """The files that are not there yet; refuses when one is there with other bytes.

    A register in which serials, batches or drums were written is as issued and left as it is.
    """
    there = {name: (folder / name).read_bytes() for name in files if (folder / name).exists()}
    other = [name for name, content in there.items() if not _as_issued(name, content, files[name])]
    if other:
        raise CampaignError(
            f"{', '.join(other)}: {'is' if len(other) == 1 else 'are'} there already and not as issued: filled in, "
            f"edited, or issued for another plan or other sampling hours. Nothing was written. To issue anew, move "
            f"{'it' if len(other) == 1 else 'them'} to another folder first."
        )
    return [name for name in files if name not in there]


def _as_issued(name: str, there: bytes, issued: bytes) -> bool:
    """Whether a file is as it was issued; serials, batches and drums may be written into a register."""
    if there == issued:
        return True
    return registers.is_register(name) and registers.as_issued(there) == registers.as_issued(issued)
