"""Recordings of the dynamometer: where they lie, how they are taken in, and what was worked out of them (rank 9).

A recording stays in raw/dyno under its own name, for it may be large; what is worked out of it is kept in
derived/recordings under a checksum of its bytes and of the rules, and can be deleted at any time.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from toolkit import stamp
from toolkit.brief.model import Brief
from toolkit.campaign import manifest, storage
from toolkit.campaign.manifest import Entry
from toolkit.errors import Fault
from toolkit.intake import cells, dyno_lines, dyno_runs, dyno_summary
from toolkit.intake.dyno_runs import FOLDER, KIND
from toolkit.intake.dyno_summary import Summary

KEPT = "derived/recordings"
# What this process worked out: a notebook, or a command that looks at what comes next, asks for it over and over.
_AT_HAND: dict[str, tuple[bytes, Summary]] = {}
_MOST = 64


def are(folder: Path, brief: Brief, paths: Sequence[Path]) -> list[Path]:
    """Those of some files that are recordings: they lie in raw/dyno, are packed, or have the headings of one."""
    return [path for path in paths if path.is_file() and _is_one(folder, brief, path)]


def not_taken_in(folder: Path, known: Sequence[Entry]) -> list[Path]:
    """The files in raw/dyno whose bytes the log does not hold."""
    place = Path(folder) / FOLDER
    there = sorted(place.iterdir()) if place.is_dir() else []
    names = {item.file for item in known}
    return [path for path in there if dyno_runs.is_file_of(path.name) and f"{FOLDER}/{path.name}" not in names]


def entries(
    folder: Path, brief: Brief, paths: Sequence[Path], runs: Sequence[str], old: str, faults: list[Fault]
) -> list[tuple[Entry, Path]]:
    """The entry of each recording with the file itself; a fault for each that cannot be one.

    Parameters
    ----------
    folder : Path
    brief : Brief
    paths : sequence of Path
    runs : sequence of str
        The runs that are planned or on record.
    old : str
        The recording that the one given replaces; '' for none.
    faults : list of Fault
    """
    made: list[tuple[Entry, Path]] = []
    for path in paths:
        name = f"{FOLDER}/{path.name}"
        there = Path(folder) / name
        if brief.dyno_log is None:
            faults.append(Fault(path.name, "no [dyno_log] says how it is read", "the section in campaign.toml"))
        elif not dyno_runs.is_file_of(path.name) or _plain(path.name) != path.name:
            expected = "<run_id>*.csv or <run_id>*.csv.gz, of letters, digits, dots and dashes"
            faults.append(Fault(cells.said(path.name), "a name that cannot be kept", expected, "Rename it."))
        elif not dyno_runs.run_of(path.name, runs):
            remedy = "Rename it so that it begins with the run_id of its run."
            faults.append(Fault(path.name, "of no run that is planned or on record", "<run_id>*.csv", remedy))
        else:
            checksum = dyno_runs.checksum(path)
            if there.is_file() and there.resolve() != path.resolve() and dyno_runs.checksum(there) != checksum:
                what = f"{name} lies there already with other bytes"
                faults.append(Fault(path.name, what, "a name of its own", "Rename it: R05_2.csv is of run R05 too."))
                continue
            size = path.stat().st_size
            made.append((Entry(name, checksum, size, KIND, "", name, old), path))
    return made


def changed(folder: Path, known: Sequence[Entry], *, quick: bool = False) -> list[str]:
    """The recordings that are not what was taken in, a sentence each; ``quick``: only whether they are there."""
    told = []
    for item in known:
        path = Path(folder) / item.file
        if item.kind != KIND:
            continue
        if not path.is_file():
            told.append(f"{item.file}: was taken in and is gone. {manifest.RESTORE}")
        elif quick:
            continue
        elif path.stat().st_size != item.size or dyno_runs.checksum(path) != item.sha256:
            told.append(f"{item.file}: was changed since it was taken in. {manifest.RESTORE}")
    return told


def kept(folder: Path, key: str) -> Summary | None:
    """What was worked out of recordings before; None where there is nothing whole."""
    path = _place(folder, key)
    try:
        content = path.read_bytes()
    except OSError:
        content = b""
    held, made = _AT_HAND.get(key, (b"", None))
    if made is not None and content == held:
        return made
    if made is not None and not content:
        # Worked out in this process, and not kept in this folder yet.
        if storage.holds(folder):
            storage.write_bytes(path, held)
        return made
    try:
        told = json.loads(content)
        return dyno_summary.of_json(told["summary"]) if told["sha256"] == stamp.checksum(told["summary"]) else None
    except (ValueError, KeyError, TypeError):
        return None


def keep(folder: Path, key: str, made: Summary) -> None:
    """Keep what was worked out: in memory, and on the disk where a command holds the folder."""
    told = made.to_json()
    text = stamp.canonical({"summary": told, "sha256": stamp.checksum(told)})
    _AT_HAND.pop(key, None)
    _AT_HAND[key] = (text.encode("utf-8"), made)
    while len(_AT_HAND) > _MOST:
        del _AT_HAND[next(iter(_AT_HAND))]
    if storage.holds(folder):
        storage.write_text(_place(folder, key), text)


def _place(folder: Path, key: str) -> Path:
    """Where what was worked out is kept."""
    return Path(folder) / KEPT / f"{key}.json"


def _plain(name: str) -> str:
    """A name that every system takes, with its ending."""
    return manifest.plain_name(name.removesuffix(".gz")) + ".gz" * name.endswith(".gz")


def _is_one(folder: Path, brief: Brief, path: Path) -> bool:
    """Whether a file is a recording."""
    if path.resolve().parent == (Path(folder) / FOLDER).resolve() or path.name.endswith(".csv.gz"):
        return True
    if brief.dyno_log is None or not path.name.endswith(".csv"):
        return False
    with path.open("rb") as handle:
        return dyno_lines.is_one(handle.readline(1 << 16), brief.dyno_log)
