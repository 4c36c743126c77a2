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
    written = [folder / "campaign.toml"]
    storage.write_new(written[0], (templates / "campaign" / "campaign.toml").read_text(encoding="utf-8"))
    for notebook in sorted(templates.glob("*.ipynb")):
        storage.write_new(folder / "notebooks" / notebook.name, notebook.read_text(encoding="utf-8"))
        written.append(folder / "notebooks" / notebook.name)
    return Started(folder, tuple(written))
