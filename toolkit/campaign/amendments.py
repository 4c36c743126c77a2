"""What the reader of an analysis must know of plans that were changed or added after the campaign began (rank 9)."""

from __future__ import annotations

from toolkit.campaign import log, seal
from toolkit.campaign.folder import Campaign
from toolkit.design.orders import PHASES


def told(campaign: Campaign) -> list[str]:
    """One sentence for every amendment, and one for an extension that was sealed after a look at results."""
    rows = log.read(campaign.folder)
    notes = []
    for phase in PHASES:
        if not campaign.sealed(phase):
            continue
        plans = seal.versions(campaign.folder, phase)
        for held in plans[1:]:
            late = after_look(rows, held["seal"])
            notes.append(
                f"amendment {held['amendment']} of the {phase} phase ({held['role']}): {held['reason']}"
                f"{f'; results had been looked at before it (first on {late[:10]})' if late else ''}"
            )
        late = after_look(rows, plans[0]["seal"]) if phase == "extension" else ""
        if late:
            notes.append(
                f"the extension was sealed after results of the main phase had been looked at (first on {late[:10]}): "
                f"intervals and p-values are at their nominal level only if it was planned before that look"
            )
    return notes


def after_look(rows: list[dict[str, str]], sealed: str) -> str:
    """The time of the first look at results before a plan was sealed or amended; empty when there was none."""
    looks = ""
    for row in rows:
        if row["kind"] == log.LOOK and not looks:
            looks = row["at"]
        if row["subject"] == sealed and row["kind"] in (seal.SEALING, log.AMENDING):
            return looks
    return ""
