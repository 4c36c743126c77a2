"""What a campaign holds in derived/, read back to be compared (rank 9)."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

from toolkit import sheetfile
from toolkit.campaign.folder import Campaign
from toolkit.errors import CampaignError


def document(campaign: Campaign, name: str) -> Any:
    """What a stored JSON file holds; None when there is none.

    Raises
    ------
    CampaignError
        When it cannot be read.
    """
    if not (campaign.folder / name).is_file():
        return None
    try:
        found = json.loads(_bytes(campaign, name))
    except (ValueError, RecursionError) as problem:
        raise CampaignError(f"{name} cannot be read as JSON ({problem}). Write it anew with its verb.") from problem
    if not isinstance(found, dict) or not found:
        raise CampaignError(f"{name} does not hold a result. Write it anew with its verb.")
    return found


def content(campaign: Campaign, name: str) -> bytes | None:
    """The bytes of a stored file; None when there is none.

    Raises
    ------
    CampaignError
        When it cannot be read.
    """
    return _bytes(campaign, name) if (campaign.folder / name).is_file() else None


def _bytes(campaign: Campaign, name: str) -> bytes:
    """A stored file."""
    try:
        return (campaign.folder / name).read_bytes()
    except OSError as problem:
        raise CampaignError(
            f"{name} cannot be read ({problem.strerror or problem}). Write it anew: `wearbook analyse`."
        ) from problem


def rows(campaign: Campaign, name: str) -> list[dict[str, str]]:
    """The rows of a stored table.

    Raises
    ------
    CampaignError
        When it is none.
    """
    try:
        return parsed(_bytes(campaign, name).decode("utf-8-sig", "replace"))
    except csv.Error as problem:
        raise CampaignError(f"{name} cannot be read as a table ({problem}). Write it anew with its verb.") from problem


def parsed(content: str) -> list[dict[str, str]]:
    """The rows of a table as a campaign writes them."""
    reader = csv.DictReader(io.StringIO(content, newline=""))
    return [{str(key): sheetfile.unguarded(cell) if isinstance(cell, str) else "" for key, cell in row.items()}
            for row in reader]  # fmt: skip
