"""The one module that writes to disk: whole files, atomically, under a lock (rank 9).

A file is written under a unique temporary name in its own folder, flushed to the disk, renamed, and the folder is
flushed too; a kill or a full disk leaves the old file or the new one, never half of one.
"""

from __future__ import annotations

import io
import os
import platform
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from toolkit import stamp
from toolkit.errors import StorageError

LOCK_NAME = ".wearbook.lock"
_MARK = ".wearbook-tmp"
# Who holds the folder; what a killed command leaves of it is written over and taken away by the next one.
_HOLDER_NAME = ".wearbook.holder"
_PATIENCE_S = 10.0
# Set where notebooks run with nobody in front of them. Two of one campaign wait for each other then, however slow.
HEADLESS = "WEARBOOK_HEADLESS"
_PATIENCE_HEADLESS_S = 300.0
# The folders that this process holds: when one is taken away meanwhile, nothing is written where it was.
_HELD: set[Path] = set()
# While a command is tried out: the folder of its copy, and what was written or taken away below it so far.
_TRIED: list[tuple[Path, list[Path]]] = []


def write_bytes(path: Path, content: bytes) -> None:
    """Write a whole file, atomically.

    Raises
    ------
    StorageError
        With the file's name and the system's reason; the old content is then untouched.
    """
    _whole(Path(path), io.BytesIO(content))


def copy_in(source: Path, target: Path) -> None:
    """Copy a file that may be large into a folder, atomically; nothing happens where it lies there already.

    Raises
    ------
    StorageError
        With the file's name and the system's reason; nothing is left of it then.
    """
    target = Path(target)
    _refuse_outside(target)
    if not target.exists():
        with open(source, "rb") as given:
            _whole(target, given)


def _whole(path: Path, content: BinaryIO) -> None:
    """Write a file from a stream, under a temporary name until it is whole."""
    _refuse_outside(path)
    _note(path)
    temporary = path.with_name(f".{path.name}.{secrets.token_hex(4)}{_MARK}")
    try:
        make_folder(path.parent)
        with open(temporary, "xb") as handle:
            shutil.copyfileobj(content, handle, 1 << 20)
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


def holds(folder: Path) -> bool:
    """True while a command of this process holds a campaign folder."""
    return Path(folder) in _HELD


def make_folder(folder: Path) -> None:
    """Make a folder and those above it, unless they are there; the folder it is made in is flushed too."""
    folder = Path(folder)
    if os.path.isdir(folder):
        return
    if folder.parent != folder:
        make_folder(folder.parent)
    folder.mkdir(exist_ok=True)
    _flush_folder(folder.parent)


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
    _refuse_outside(Path(path))
    _note(Path(path))
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
    """Remove temporary files that a killed command left in a campaign folder; how many there were.

    A campaign that lies in a folder of this one has a lock of its own and is left alone.
    """
    folder = Path(folder)
    found = [
        path
        for path in folder.rglob(f".*{_MARK}")
        if path.is_file()
        and not any(
            (above / LOCK_NAME).exists() for above in path.parents if above != folder and above.is_relative_to(folder)
        )
    ]
    for path in found:
        with suppress(OSError):
            path.unlink()
    return len(found)


@contextmanager
def locked(folder: Path, *, make: bool = False) -> Iterator[None]:
    """Hold a campaign folder for one writing command; stray temporary files are swept first.

    The lock is the system's own: it falls with the process that holds it, however that ends.

    Parameters
    ----------
    folder : Path
    make : bool
        Make the folder when it is not there.

    Raises
    ------
    StorageError
        When another command holds the folder for more than ten seconds (headless: five minutes; it is named), or the
        folder is gone or cannot be written.
    """
    from filelock import FileLock, Timeout

    folder = Path(folder)
    most = patience()
    lock = FileLock(folder / LOCK_NAME, timeout=most)
    try:
        if make:
            make_folder(folder)
        # The lock itself would make a folder that was taken away, and the results would lie in it alone.
        _refuse_gone(folder)
        lock.acquire()
    except Timeout as problem:
        raise busy(folder, most) from problem
    # The second: a file system that has no locks.
    except (OSError, RuntimeError) as problem:
        raise closed(folder, getattr(problem, "strerror", None) or str(problem)) from problem
    holder = folder / _HOLDER_NAME
    try:
        _HELD.add(folder)
        sweep(folder)
        with suppress(OSError):
            # A link that somebody put there would be followed.
            holder.unlink(missing_ok=True)
        with suppress(OSError), open(holder, "x", encoding="utf-8") as handle:
            handle.write(f"process {os.getpid()} on {platform.node()} since {stamp.now()}")
        yield
    finally:
        _HELD.discard(folder)
        with suppress(OSError):
            holder.unlink(missing_ok=True)
        lock.release()


@contextmanager
def only_below(copy: Path) -> Iterator[list[Path]]:
    """Refuse to write anywhere but below one folder; gives the files written or taken away there, as they come."""
    tried: tuple[Path, list[Path]] = (Path(copy), [])
    _TRIED.append(tried)
    try:
        yield tried[1]
    finally:
        _TRIED.remove(tried)


def _note(path: Path) -> None:
    """Remember what a command that is tried out writes."""
    for _, found in _TRIED:
        found.append(path)


def patience() -> float:
    """How long another command is waited for, in seconds."""
    return _PATIENCE_HEADLESS_S if os.environ.get(HEADLESS) else _PATIENCE_S


def busy(folder: Path, waited: float) -> StorageError:
    """What is said of a folder that another command holds."""
    return StorageError(
        f"{folder}: another command holds this campaign folder{_holder(folder)}; waited {waited:g} s. "
        f"Let it finish, then repeat."
    )


def closed(folder: Path, why: str) -> StorageError:
    """What is said of a folder that cannot be written."""
    return StorageError(
        f"{folder}: the folder cannot be written ({why}). Mend the permissions or copy the campaign to a place of "
        f"your own."
    )


def _refuse_outside(path: Path) -> None:
    """Refuse a path under a folder that is held and was taken away, or that leads out of it by a link or '..'."""
    for folder in _HELD:
        if path.is_relative_to(folder):
            _refuse_gone(folder)
            if not path.parent.resolve().is_relative_to(folder.resolve()):
                raise StorageError(
                    f"{path}: leads out of the campaign folder; nothing was written there. Take the link away."
                )
    for copy, _ in _TRIED:
        if not path.parent.resolve().is_relative_to(copy.resolve()):
            raise StorageError(
                f"{path}: lies outside the folder that the command is tried out in; nothing is written. Take the link "
                f"away."
            )


def _refuse_gone(folder: Path) -> None:
    """Refuse a campaign folder that was taken away."""
    if not os.path.isdir(folder):
        raise StorageError(f"{folder}: the campaign folder is gone; nothing was written. Bring it back, then repeat.")


def _holder(folder: Path) -> str:
    """Who holds a folder, in brackets; nothing when it cannot be told."""
    try:
        told = (folder / _HOLDER_NAME).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return ""
    return f" ({told})" if told else ""


def _flush_folder(folder: Path) -> None:
    """Flush a folder, so that the rename itself survives a power cut (not offered by every system)."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
