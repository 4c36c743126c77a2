"""Files that a person named, as bytes, and what is told of those that are not there or are none (rank 9)."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from toolkit.errors import Fault, nearest
from toolkit.sheetfile.limits import MOST_BYTES


def contents(paths: Sequence[Path], faults: list[Fault]) -> dict[Path, bytes]:
    """The bytes of each file that a person named; a fault for each that cannot be had.

    Parameters
    ----------
    paths : sequence of Path
    faults : list of Fault
        What cannot be had is put here.
    """
    found = {}
    for path in dict.fromkeys(paths):
        try:
            if path.is_dir():
                faults.append(Fault(str(path), "a folder", "a file", f"Name the files in it: {path}/*"))
            # A pipe would be waited for, and some devices never end.
            elif not path.is_file() and path.exists():
                faults.append(Fault(str(path), "a device or a pipe", "a file", "Save what it gives in a file first."))
            elif path.stat().st_size > MOST_BYTES:
                faults.append(Fault(str(path), f"{path.stat().st_size:,} bytes", f"at most {MOST_BYTES:,} bytes"))
            else:
                found[path] = path.read_bytes()
        except FileNotFoundError:
            faults.append(Fault(str(path), "there is no such file", "a file that came back", _nearby(path)))
        except (OSError, ValueError) as problem:
            reason = getattr(problem, "strerror", None) or str(problem)
            faults.append(Fault(str(path), f"cannot be read ({reason})", "a file that came back"))
    return found


def _nearby(path: Path) -> str:
    """What to do about a file that is not there: the nearest name in its folder, or where it was looked for."""
    place = path.parent.resolve()
    try:
        there = sorted(item.name for item in place.iterdir() if item.is_file())
    except OSError:
        there = []
    near = nearest(path.name, there)
    return f"It was looked for in {place}. {near}".rstrip()
