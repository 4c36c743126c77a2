"""Recomputing what must not have changed: the log's chain and the seals (rank 9)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from toolkit.campaign import log, seal
from toolkit.campaign.folder import Campaign
from toolkit.design.orders import PHASES


@dataclass(frozen=True)
class Verified:
    """What was recomputed and found right, a line each, and the log head to keep elsewhere."""

    lines: tuple[str, ...]
    log_head: str

    def to_json(self) -> dict[str, Any]:
        """The lines and the log head."""
        return {"in_order": True, "lines": list(self.lines), "log_head": self.log_head}


def verify(campaign: Campaign) -> Verified:
    """Check the log's chain and every seal against the bytes on disk and the brief.

    Raises
    ------
    IntegrityError
        When sealed files or the log are not what they were; the file is named.
    CampaignError
        When campaign.toml changed since a seal; the keys are named.
    """
    rows = log.read(campaign.folder)
    lines = [f"log.csv: {len(rows)} rows, chain unbroken"]
    for phase in PHASES:
        if campaign.sealed(phase):
            lines.append(f"{phase}: seal {campaign.plan(phase)['seal']} fits its files and campaign.toml")
        if seal.stopped(campaign.folder, phase):
            lines.append(
                f"{phase}: a command was stopped while it sealed this phase; nothing is lost, "
                f"`wearbook plan --phase {phase}` completes it"
            )
    head = log.log_head(rows)
    return Verified((*lines, f"log head {head} (write it down elsewhere: it shows a log that was cut)"), head)
