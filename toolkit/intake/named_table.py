"""A table whose file the brief names: where it may lie, and that it is there (rank 6)."""

from __future__ import annotations

from pathlib import Path, PurePosixPath

from toolkit.intake import cells, csv_text
from toolkit.intake.gathered import Gathered
from toolkit.intake.raw import Raw


def read(folder: Path, name: str, key: str, holds: str, inputs: dict[str, str], told: Gathered) -> Raw | None:
    """The table as text; None where it cannot be read (a fault is kept then).

    Parameters
    ----------
    folder : Path
        The campaign's folder; the file must lie in it.
    name : str
        As the brief writes it, with '/'.
    key : str
        Where in campaign.toml it stands: '[scatter] history'.
    holds : str
        What the table is: 'a table of earlier campaigns'.
    inputs : dict
        The checksum of the file is entered here.
    told : Gathered
    """
    inside = PurePosixPath(name)
    if (
        not name
        or inside.is_absolute()
        or ".." in inside.parts
        or any(sign in name for sign in "\\\0:~")
        or not (folder / inside).resolve().is_relative_to(folder.resolve())
    ):
        told.add(
            "campaign.toml",
            f"campaign.toml, {key}",
            cells.shown(name),
            "a file in the folder of the campaign, written with '/'",
        )
        return None
    before = len(told)
    raw, checksum = csv_text.read(folder, name, told)
    if checksum is not None:
        inputs[name] = checksum
    elif len(told) == before:
        told.add(
            name,
            name,
            f"there is no such file, though {key} in campaign.toml names it",
            holds,
            "Put it there, or take the line out of campaign.toml.",
        )
    return raw
