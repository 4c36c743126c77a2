"""The one module that writes to disk: whole files, atomically, under a lock (rank 9).

A file is written under a unique temporary name in its own folder, flushed to the disk, renamed, and the folder is
flushed too; a kill or a full disk leaves the old file or the new one, never half of one.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from toolkit.errors import StorageError

LOCK_NAME = ".wearbook.lock"
_MARK = ".wearbook-tmp"
_PATIENCE_S = 10.0


def write_bytes(path: Path, content: bytes) -> None:
    """Write a whole file, atomically.

    Raises
    ------
    StorageError
        With the file's name and the system's reason; the old content is then untouched.
    """
    path = Path(path)
    temporary = path.with_name(f".{path.name}.{secrets.token_hex(4)}{_MARK}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with open(temporary, "xb") as handle:
            handle.write(content)
            handle.flush()
            os.fsync(handle.fileno())
        os.replace(temporary, path)
        _flush_folder(path.parent)
    except OSError as problem:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)
        raise StorageError(
            f"{path}: could not be written ({problem.strerror or problem}). The old content, if there "
            f"was any, is untouched. Free space or mend the permissions, then repeat."
        ) from problem


def write_text(path: Path, content: str) -> None:
    """Write a whole text file in UTF-8 with Unix line ends, atomically; see :func:`write_bytes`."""
    write_bytes(path, content.encode("utf-8"))


def take_away(path: Path) -> None:
    """Remove a derived file that no longer tells the truth; nothing happens when there is none.

    Raises
    ------
    StorageError
        With the file's name and the system's reason.
    """
    try:
        Path(path).unlink(missing_ok=True)
    except OSError as problem:
        raise StorageError(
            f"{path}: is out of date and could not be removed ({problem.strerror or problem}). Remove it by hand."
        ) from problem


def write_new(path: Path, content: str) -> None:
    """Write a file that a person may have edited: only when there is none.

    Raises
    ------
    StorageError
        When the file exists.
    """
    if Path(path).exists():
        raise StorageError(f"{path}: exists already and is not overwritten. Choose another folder or move it away.")
    write_text(path, content)


def sweep(folder: Path) -> int:
    """Remove temporary files that a killed command left in a campaign folder; how many there were."""
    found = [path for path in Path(folder).rglob(f".*{_MARK}") if path.is_file()]
    for path in found:
        with suppress(OSError):
            path.unlink()
    return len(found)


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Hold a campaign folder for one writing command; stray temporary files are swept first.

    Raises
    ------
    StorageError
        When another command holds the folder for more than ten seconds, or the folder cannot be written.
    """
    from filelock import FileLock, Timeout

    lock = FileLock(Path(folder) / LOCK_NAME, timeout=_PATIENCE_S)
    try:
        lock.acquire()
    except Timeout as problem:
        raise StorageError(
            f"{folder}: another command holds this campaign folder; waited {_PATIENCE_S:.0f} s. "
            f"Let it finish, then repeat."
        ) from problem
    except OSError as problem:
        raise StorageError(
            f"{folder}: the folder cannot be written ({problem.strerror or problem}). Mend the "
            f"permissions or copy the campaign to a place of your own."
        ) from problem
    try:
        sweep(folder)
        yield
    finally:
        lock.release()


def _flush_folder(folder: Path) -> None:
    """Flush a folder, so that the rename itself survives a power cut (not offered by every system)."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
