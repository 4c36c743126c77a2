"""Where the folders that come with Wearbook are, in a clone and in an installed wheel alike."""

from __future__ import annotations

from pathlib import Path

from toolkit.errors import StorageError

_PACKAGE = Path(__file__).resolve().parent


def folder(name: str) -> Path:
    """Give the path of a folder that comes with Wearbook, to be read and never written to.

    A wheel carries its own copy inside the package; a clone has the folder beside ``toolkit``. The copy is
    looked for first, because beside an installed package any other one may have put a folder of that name.

    Parameters
    ----------
    name : str
        ``"templates"`` or ``"data"``.

    Returns
    -------
    pathlib.Path
        Absolute path of an existing folder.

    Raises
    ------
    StorageError
        When the installation does not have the folder.

    Examples
    --------
    >>> sorted(path.name for path in folder("templates").glob("*.ipynb"))[:3]
    ['analyse.ipynb', 'decide.ipynb', 'intake.ipynb']
    """
    places = [_PACKAGE / "_shipped" / name, _PACKAGE.parent / name]
    for place in places:
        if place.is_dir():
            return place
    looked = " and ".join(str(place) for place in places)
    raise StorageError(
        f"The folder '{name}' that comes with Wearbook is missing; looked for {looked}. "
        "Install Wearbook again, from a complete clone or wheel."
    )
