"""Starting a campaign folder: from the blank templates, or from an old table (rank 9)."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from toolkit import shipped
from toolkit.campaign import first_answers, log, manifest, old_columns, old_draft, old_table, storage
from toolkit.campaign.first_answers import FirstAnswers
from toolkit.campaign.manifest import Entry
from toolkit.campaign.old_table import OldTable
from toolkit.errors import CampaignError


@dataclass(frozen=True)
class Started:
    """A folder that was begun, and the files in it."""

    folder: Path
    written: tuple[Path, ...]

    def to_json(self) -> dict[str, Any]:
        """The folder and its files."""
        return {"folder": str(self.folder), "written": [str(path) for path in self.written]}

    def __repr__(self) -> str:
        """The folder and what was put into it."""
        return "\n".join([f"{self.folder}:", *(f"  {path.relative_to(self.folder)}" for path in self.written)])


def new(folder: Path, *, table: Path | None = None, answers: FirstAnswers | None = None) -> Started:
    """A campaign folder with a commented campaign.toml and the template notebooks; nothing is overwritten.

    campaign.toml comes last: a start that was stopped on the way can be repeated.

    Parameters
    ----------
    folder : Path
    table : Path, optional
        An old table of runs: campaign.toml is then a draft made from it, with a '?' for every answer that only a
        person can give, and an unchanged copy of it lies in raw/received/.
    answers : FirstAnswers, optional
        What a person said of the campaign; left out: the template's placeholders. The brief is valid either way.

    Raises
    ------
    BriefError
        When the answers do not make a brief that is in order.
    CampaignError
        When the folder holds a campaign already.
    IntakeError
        With everything that keeps the old table from being read; nothing is written then.
    StorageError
        When it holds a notebook of the same name and other content, or cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     made = new(f"{place}/trial")
    >>> [path.name for path in made.written[:3]]
    ['campaign.toml', 'analyse.ipynb', 'decide.ipynb']
    """
    folder = Path(folder)
    brief = folder / "campaign.toml"
    _refuse_taken(folder, brief)
    found = None if table is None else old_columns.recognise(old_table.read(table))
    begun = first_answers.text(answers or FirstAnswers(id_of(folder)))
    with storage.locked(folder, make=True):
        _refuse_taken(folder, brief)
        notebooks = bring_notebooks(folder)
        if found is None:
            storage.write_new(brief, begun)
            return Started(folder, (brief, *notebooks))
        copy = _keep(folder, found.table)
        storage.write_new(brief, old_draft.draft(found, campaign_id=id_of(folder), received=copy.file))
    return Started(folder, (brief, folder / copy.file, folder / manifest.NAME, *notebooks))


def _keep(folder: Path, table: OldTable) -> Entry:
    """Copy the old table as it came, list it, and tell the log; the caller holds the lock."""
    made = manifest.entry(table.content, kind="runs", given_as=table.name, mapping=old_draft.MAPPING)
    # A start that was stopped after this is repeated: the copy counts already.
    if made not in manifest.entries(log.read(folder)):
        manifest.keep(folder, [(made, table.content)])
    return made


def id_of(folder: Path) -> str:
    """A campaign's id from the name of its folder."""
    made = re.sub(r"[^A-Za-z0-9_-]+", "-", folder.resolve().name).strip("-_")[:40].strip("-_")
    return made or "my-campaign"


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


def complete_notebooks(folder: Path) -> tuple[Path, ...]:
    """Copies of the template notebooks that notebooks/ of a campaign folder lacks; the others stay as they are."""
    written = []
    for notebook in sorted(shipped.folder("templates").glob("*.ipynb")):
        target = Path(folder) / "notebooks" / notebook.name
        if not target.exists():
            storage.write_new(target, notebook.read_text(encoding="utf-8"))
            written.append(target)
    return tuple(written)


def require_free(folder: Path) -> None:
    """Nothing where a campaign can be begun in a folder.

    Raises
    ------
    CampaignError
        When it holds a campaign already, or is a file.
    """
    _refuse_taken(Path(folder), Path(folder) / "campaign.toml")


def _refuse_taken(folder: Path, brief: Path) -> None:
    """Refuse a folder that holds a campaign, or a file where the folder should be."""
    # Unlike Path's own, these answer no for a name that the system refuses or may not look at.
    if os.path.lexists(brief):
        raise CampaignError(f"{folder}: holds a campaign.toml already; nothing was written. Choose another folder.")
    if os.path.exists(folder) and not os.path.isdir(folder):
        raise CampaignError(f"{folder}: is a file, not a folder; nothing was written. Choose another folder.")
