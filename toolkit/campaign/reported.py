"""Where the report of a campaign lies, and whether it still rests on what the folder holds (rank 9)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from toolkit import stamp
from toolkit.campaign import log
from toolkit.campaign.folder import Campaign


def path_of(campaign: Campaign) -> Path:
    """Where the report of a campaign lies."""
    return campaign.folder / "report" / f"{campaign.brief.id}.html"


def outdated(campaign: Campaign, rows: Sequence[Mapping[str, str]]) -> bool | None:
    """True when records, raw files or campaign.toml changed since the report was written; None without a report.

    Parameters
    ----------
    campaign : Campaign
    rows : sequence of mapping
        The log.

    Notes
    -----
    A report carries the checksums of all that it rests on: one that lacks one of them rests on something else.
    """
    try:
        text = path_of(campaign).read_text(encoding="utf-8", errors="replace")
        brief = stamp.checksum_bytes((campaign.folder / "campaign.toml").read_bytes())
        now = [log.records_head([dict(row) for row in rows])["chain"], brief, *campaign.checksums().values()]
    except OSError:
        return None
    return any(item not in text for item in now)
