"""A campaign folder: where it is, what its brief says, and which records it holds (rank 9)."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from toolkit import stamp
from toolkit.brief import reading
from toolkit.brief.model import Brief
from toolkit.campaign import seal
from toolkit.design.orders import PHASES
from toolkit.errors import CampaignError
from toolkit.intake import records
from toolkit.intake.records import Records

BRIEF = "campaign.toml"


@dataclass(frozen=True)
class Campaign:
    """One campaign folder and its brief."""

    folder: Path
    brief: Brief

    @property
    def raw_files(self) -> tuple[Path, ...]:
        """The files in raw/, sorted by name."""
        return tuple(sorted(path for path in (self.folder / "raw").glob("*.csv") if path.is_file()))

    def sealed(self, phase: str) -> bool:
        """True when the phase has a plan on disk (see ``seal.exists``)."""
        return seal.exists(self.folder, phase)

    def plan(self, phase: str) -> dict[str, object]:
        """The sealed plan of a phase, checked (see ``seal.read``)."""
        return seal.read(self.folder, self.brief, phase)

    def order(self, phase: str, *, as_sealed: bool = False) -> pd.DataFrame | None:
        """The sealed run list of a phase, or None when it is not sealed; ``as_sealed``: whatever the brief says now."""
        if not self.sealed(phase):
            return None
        seal.kept(self.folder, phase) if as_sealed else self.plan(phase)
        return seal.run_list(seal.place(self.folder, phase))

    def records(self, *, as_sealed: bool = False) -> Records:
        """Everything in raw/, read and checked against the sealed plans; ``as_sealed`` as for ``order``."""
        orders = [self.order(phase, as_sealed=as_sealed) for phase in PHASES]
        planned = [table for table in orders if table is not None]
        return records.read(self.folder, self.brief, plan=pd.concat(planned, ignore_index=True) if planned else None)

    def checksums(self) -> dict[str, str]:
        """File in raw/ to its sha256."""
        return {f"raw/{path.name}": stamp.checksum_bytes(path.read_bytes()) for path in self.raw_files}


def kept_by_hand(brief: Brief) -> tuple[str, ...]:
    """The tables in raw/ that people keep by hand, whether they are there yet or not."""
    return (records.RUNS, records.STATIONS, records.OIL, *([brief.scatter.history] if brief.scatter.history else []))


def open_campaign(path: str | Path = "") -> Campaign:
    """The campaign a path leads to: the folder itself, or the nearest one above it that holds campaign.toml.

    Parameters
    ----------
    path : str or Path
        Empty: the current folder.

    Raises
    ------
    CampaignError
        When there is no campaign.toml in the folder or above it.
    BriefError
        When campaign.toml is not in order; all faults are told.
    """
    start = Path(path) if str(path) else Path.cwd()
    start = start.expanduser()
    if start.name == BRIEF and start.is_file():
        start = start.parent
    # Unlike Path's own, these answer no for a name that the system refuses or may not look at.
    if not os.path.isdir(start):
        raise CampaignError(
            f"{start}: there is no such folder. Name a campaign folder, or start one with `wearbook new {start}`."
        )
    for folder in (start, *start.resolve().parents):
        if os.path.isfile(folder / BRIEF):
            return Campaign(folder, reading.read(folder / BRIEF))
        if str(path):
            break
    raise CampaignError(
        f"{start}: holds no {BRIEF}. Name a campaign folder, or start one with `wearbook new {start.name or 'FOLDER'}`."
    )
