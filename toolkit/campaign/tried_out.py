"""Trying a command out: it runs in a copy of its folder that is thrown away, and what it would write is told (rank 9).

So it reads what it has written, refuses what it would refuse, and ends as it would end; the folder itself is only read.
"""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from toolkit.campaign import storage


@dataclass(frozen=True)
class TriedOut:
    """A command that is tried out.

    Attributes
    ----------
    folder : Path
        The campaign's folder as the person named it.
    copy : Path
        The folder that the command works in.
    below : Path
        What is thrown away: the copy lies in it at the whole path of the folder.
    written : list of Path
        The files written or taken away in the copy so far, in order.
    """

    folder: Path
    copy: Path
    below: Path
    written: list[Path]

    def changes(self) -> dict[str, list[str]]:
        """Paths within the folder: ``new``, ``changed``, ``taken_away``; files with the bytes they had are neither."""
        told: dict[str, list[str]] = {"new": [], "changed": [], "taken_away": []}
        for path in dict.fromkeys(self.written):
            name = path.relative_to(self.copy).as_posix()
            before, after = _bytes(self.folder / name), _bytes(path)
            if before != after:
                told["new" if before is None else "taken_away" if after is None else "changed"].append(name)
        return told

    def place_of(self, path: str) -> str:
        """Where the command finds a file that a person names: in the copy where it lies in the folder."""
        whole = Path(os.path.abspath(path))
        root = Path(os.path.realpath(self.folder))
        inside = self.copy / whole.relative_to(root) if whole.is_relative_to(root) else None
        return path if inside is None or not os.path.lexists(inside) else str(inside)

    def as_named(self, text: str) -> str:
        """A text with the names of the person's own files in place of those of the copy."""
        own = str(self.folder)
        text = text.replace(f"{self.copy}/", "" if own == "." else f"{own}/").replace(str(self.copy), own)
        return text.replace(str(self.below), "")


@contextmanager
def tried_out(folder: Path, *, beside: Sequence[str] = ()) -> Iterator[TriedOut]:
    """A copy of a campaign folder for a command; while it is there, nothing is written anywhere else.

    Parameters
    ----------
    folder : Path
        It need not be there yet. It is read in one state: a command that holds it is waited for. Hidden files stay
        behind; a link leads where it led, and one within the folder stays within the copy.
    beside : sequence of str
        Folders that the brief names by their way from the campaign's folder: they are read where they lie.

    Raises
    ------
    StorageError
        When another command holds the folder for too long, or it could not be written.
    """
    folder = Path(folder)
    root = Path(os.path.realpath(folder))
    standing = next(path for path in (root, *root.parents) if os.path.lexists(path))
    if not standing.is_dir():
        # Refused by the command itself, in its own words.
        standing = standing.parent
    if not os.access(standing, os.W_OK | os.X_OK):
        raise storage.closed(folder, "Permission denied")
    with tempfile.TemporaryDirectory(prefix="wearbook-dry-run-") as scratch:
        below = Path(os.path.realpath(scratch))
        copy = below / root.relative_to(root.anchor)
        copy.parent.mkdir(parents=True)
        if root.is_dir():
            with _unchanging(folder):
                _copy(root, copy, root, copy)
        elif os.path.lexists(root):
            shutil.copy2(root, copy)
        for way in beside:
            _lead(Path(os.path.normpath(copy / way)), Path(os.path.realpath(root / way)))
        with storage.only_below(copy) as written:
            yield TriedOut(folder, copy, below, written)


def _bytes(path: Path) -> bytes | None:
    """What a file holds; None where there is none."""
    return path.read_bytes() if path.is_file() else None


def _lead(place: Path, target: Path) -> None:
    """A link to a folder beside the campaign, where the copy looks for it."""
    if target.is_dir() and not os.path.lexists(place):
        place.parent.mkdir(parents=True, exist_ok=True)
        place.symlink_to(target)


@contextmanager
def _unchanging(folder: Path) -> Iterator[None]:
    """Keep writing commands out of a folder while it is read; writes nothing, not even the lock."""
    try:
        lock = (folder / storage.LOCK_NAME).open("rb")
    except OSError:
        # No command ever held it.
        yield
        return
    most = storage.patience()
    until = time.monotonic() + most
    try:
        while not _shared(lock.fileno()):
            if time.monotonic() > until:
                raise storage.busy(folder, most)
            time.sleep(0.05)
        yield
    finally:
        lock.close()


def _shared(lock: int) -> bool:
    """Whether a lock is free of writers now; it is shared then."""
    import fcntl

    try:
        fcntl.flock(lock, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _copy(source: Path, target: Path, root: Path, copy: Path) -> None:
    """Copy a folder and what is in it, but for hidden files."""
    target.mkdir()
    for entry in os.scandir(source):
        place = target / entry.name
        if entry.name.startswith("."):
            continue
        if entry.is_symlink():
            end = Path(os.path.realpath(entry.path))
            place.symlink_to(copy / end.relative_to(root) if end.is_relative_to(root) else end)
        elif entry.is_dir():
            _copy(Path(entry.path), place, root, copy)
        elif entry.is_file():
            shutil.copy2(entry.path, place)
