"""Starting a campaign folder from the blank templates (rank 9)."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from toolkit import shipped
from toolkit.campaign import storage
from toolkit.errors import CampaignError


@dataclass(frozen=True)
class Started:
    """A folder that was begun, and the files in it."""

    folder: Path
    written: tuple[Path, ...]

    def to_json(self) -> dict[str, Any]:
        """The folder and its files."""
        return {"folder": str(self.folder), "written": [str(path) for path in self.written]}


def new(folder: Path) -> Started:
    """A campaign folder with a commented campaign.toml and the template notebooks; nothing is overwritten.

    campaign.toml comes last: a start that was stopped on the way can be repeated.

    Raises
    ------
    CampaignError
        When the folder holds a campaign already.
    StorageError
        When it holds a notebook of the same name and other content, or cannot be written.
    """
    folder = Path(folder)
    brief = folder / "campaign.toml"
    _refuse_taken(folder, brief)
    templates = shipped.folder("templates")
    with storage.locked(folder, make=True):
        _refuse_taken(folder, brief)
        notebooks = bring_notebooks(folder)
        storage.write_new(brief, (templates / "campaign" / "campaign.toml").read_text(encoding="utf-8"))
    return Started(folder, (brief, *notebooks))


def bring_notebooks(folder: Path) -> tuple[Path, ...]:
    """Copies of the template notebooks in notebooks/ of a campaign folder, for use by hand; none is overwritten."""
    written = []
    for notebook in sorted(shipped.folder("templates").glob("*.ipynb")):
        target = Path(folder) / "notebooks" / notebook.name
        text = notebook.read_text(encoding="utf-8")
        # The very same copy is left by a start that was stopped on the way.
        if not (target.is_file() and target.read_bytes() == text.encode("utf-8")):
            storage.write_new(target, text)
        written.append(target)
    return tuple(written)


def _refuse_taken(folder: Path, brief: Path) -> None:
    """Refuse a folder that holds a campaign, or a file where the folder should be."""
    # Unlike Path's own, these answer no for a name that the system refuses or may not look at.
    if os.path.lexists(brief):
        raise CampaignError(f"{folder}: holds a campaign.toml already; nothing was written. Choose another folder.")
    if os.path.exists(folder) and not os.path.isdir(folder):
        raise CampaignError(f"{folder}: is a file, not a folder; nothing was written. Choose another folder.")
