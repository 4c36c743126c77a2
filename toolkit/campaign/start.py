"""Starting a campaign folder from the blank templates (rank 9)."""

from __future__ import annotations

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

    Raises
    ------
    CampaignError
        When the folder holds a campaign already.
    """
    folder = Path(folder)
    if (folder / "campaign.toml").exists():
        raise CampaignError(f"{folder}: holds a campaign.toml already; nothing was written. Choose another folder.")
    templates = shipped.folder("templates")
    brief = folder / "campaign.toml"
    storage.write_new(brief, (templates / "campaign" / "campaign.toml").read_text(encoding="utf-8"))
    return Started(folder, (brief, *bring_notebooks(folder)))


def bring_notebooks(folder: Path) -> tuple[Path, ...]:
    """Copies of the template notebooks in notebooks/ of a campaign folder, for use by hand; none is overwritten."""
    written = []
    for notebook in sorted(shipped.folder("templates").glob("*.ipynb")):
        target = Path(folder) / "notebooks" / notebook.name
        storage.write_new(target, notebook.read_text(encoding="utf-8"))
        written.append(target)
    return tuple(written)
