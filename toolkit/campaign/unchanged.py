"""Whether files that were issued or taken in still lie there as they were (rank 9).

Each function gives lines to tell and faults. A fault is bytes that are not what the log says they were; a line tells
what is in order, what a person may well have done, and what a command that was stopped left to be completed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from toolkit import stamp
from toolkit.campaign import grown, log, manifest, recordings, registers
from toolkit.errors import IntegrityError

Told = tuple[list[str], list[str]]
AS_TAKEN_IN = "as taken in"


def issued(folder: Path, rows: Sequence[Mapping[str, str]], kind: str, *, quick: bool) -> Told:
    """Registers and run sheets against what the log says was issued.

    Parameters
    ----------
    folder : Path
    rows : sequence of mapping
        The log.
    kind : str
        Of its rows that tell what was issued.
    quick : bool
        Look only whether run sheets are there.
    """
    lines, faults = [], []
    for phase in dict.fromkeys(row["phase"] for row in rows if row["kind"] == kind):
        files = [log.told(row).get("files", {}) for row in rows if row["kind"] == kind and row["phase"] == phase]
        again = f"`wearbook sheets --phase {phase}`"
        if not any((folder / name).is_file() for name in files[-1]):
            if _came_back(rows, kind, phase):
                faults.append(
                    f"{phase}: run sheets that were issued came back, and nothing of what was issued is there any "
                    f"more. Restore the registers, with what was written into them, and the sheets from your backup; "
                    f"{again} issues them again with the same codes."
                )
                continue
            lines.append(
                f"{phase}: nothing of what was issued is there: a command was stopped, or all was taken away; {again} "
                f"issues it again"
            )
            continue
        for name in files[-1]:
            if registers.is_register(name):
                told = _register(folder, name, [item.get(name, "") for item in files], files[-1], again)
                lines += told[0]
                faults += told[1]
        lines += _sheets(folder, phase, files, again, quick=quick)
    return lines, faults


def _came_back(rows: Sequence[Mapping[str, str]], kind: str, phase: str) -> bool:
    """Whether a run sheet was taken in after the sheets of a phase were issued: then they had been there."""
    last = max(at for at, row in enumerate(rows) if row["kind"] == kind and row["phase"] == phase)
    later = [log.told(row) for row in rows[last + 1 :] if row["kind"] == log.TAKEN]
    return any(item.get("kind") == "run sheet" for item in later)


def _register(folder: Path, name: str, wanted: Sequence[str], files: Mapping[str, str], again: str) -> Told:
    """One register, the checksums it was issued with (the last counts), and all that was issued with it."""
    open_columns = ", ".join(registers.OPEN)
    if not (folder / name).is_file():
        # Registers are written first: without any sheet the command did not come that far.
        if any((folder / other).is_file() for other in files if not registers.is_register(other)):
            return [], [f"{name}: was issued and is gone. Restore it from your backup."]
        return [f"{name}: not there yet: a command was stopped; {again} completes it"], []
    found = registers.as_issued((folder / name).read_bytes())
    if found == wanted[-1]:
        return [f"{name}: as issued, but for what was written into {open_columns}"], []
    if found in wanted:
        return [f"{name}: as issued before the last time: a command was stopped; {again} completes it"], []
    return [], [f"{name}: was changed in more than {open_columns}. Restore it from your backup."]


def _sheets(folder: Path, phase: str, files: Sequence[Mapping[str, str]], again: str, *, quick: bool) -> list[str]:
    """Run sheets and blank tables: how many are as issued, and those that are not."""
    sheets = {name: checksum for name, checksum in files[-1].items() if not registers.is_register(name)}
    gone = [name for name in sheets if not (folder / name).is_file()]
    other = [
        name
        for name, checksum in sheets.items()
        if not quick and name not in gone and not _fits(folder / name, checksum)
    ]
    kept = len(sheets) - len(gone) - len(other)
    return [
        f"{phase}: {kept} of {len(sheets)} issued files are {'there' if quick else 'as issued'}",
        *(f"  {name}: filled in or edited: not an original" for name in other),
        *(f"  {name}: is not there; {again} issues it again" for name in gone),
    ]


def taken_in(folder: Path, rows: Sequence[Mapping[str, str]], *, quick: bool) -> Told:
    """The manifest and every file received against the log.

    Parameters
    ----------
    folder : Path
    rows : sequence of mapping
        The log.
    quick : bool
        Look only whether the files are there.
    """
    lines: list[str] = []
    found = manifest.entries(rows)
    faults = manifest.faults(folder, found)
    for file, item in {item.file: item for item in found}.items():
        try:
            if item.recording or (quick and (folder / file).is_file()):
                continue
            manifest.content(folder, item)
        except IntegrityError as problem:
            faults.append(str(problem))
    faults += recordings.changed(folder, found, quick=quick)
    waiting = () if faults else manifest.unfinished(folder, found)
    for item in waiting:
        if _fits(folder / item.file, item.sha256):
            lines.append(
                f"{manifest.NAME}: the row of {item.file} ({item.given_as}) has no row in the log: a command was "
                f"stopped; it does not count until `wearbook intake` is repeated"
            )
        else:
            faults.append(
                f"{manifest.NAME}: the row of {item.file} was put in by hand: the log does not hold it, and there is "
                f"no such file. Take the row out."
            )
    known = {item.file for item in (*found, *waiting)}
    for path in sorted((folder / manifest.FOLDER).glob("*")):
        name = path.relative_to(folder).as_posix()
        if name in known or path.name.startswith("."):
            continue
        if path.is_file() and (quick or stamp.checksum_bytes(path.read_bytes()).startswith(path.name[:12])):
            lines.append(f"{name}: not in the log: a command was stopped; it counts nowhere until it is taken in again")
        else:
            faults.append(f"{name}: was put there by hand: the log does not hold it. Take it away.")
    if found:
        lines.insert(
            0,
            f"{manifest.NAME}: {len(found)} taken in, {'all there' if quick else 'every checksum fits'}"
            if not faults
            else f"{manifest.NAME}: {len(found)} taken in",
        )
    return lines, faults


def by_hand(folder: Path, rows: Sequence[Mapping[str, str]], names: Sequence[str], *, quick: bool) -> Told:
    """The tables that are kept by hand against the copies of them that were taken in.

    Parameters
    ----------
    folder : Path
    rows : sequence of mapping
        The log.
    names : sequence of str
        The tables there can be, by their path in the folder.
    quick : bool
        Do not compare what stands in them.
    """
    lines, faults = [], []
    copies = manifest.copies(manifest.entries(rows))
    for name, item in copies.items():
        if not (folder / name).is_file():
            faults.append(f"{name}: was taken in and is gone. Restore it from {item.file}.")
        elif not quick:
            told = since(folder, name, item)
            lines += told[0]
            faults += told[1]
    return [*lines, *not_taken_in(folder, rows, names)], faults


def not_taken_in(folder: Path, rows: Sequence[Mapping[str, str]], names: Sequence[str]) -> list[str]:
    """One line on the tables kept by hand of which no copy was taken in; none when there is no such table."""
    copies = manifest.copies(manifest.entries(rows))
    open_still = [name for name in names if name not in copies and (folder / name).is_file()]
    if not open_still:
        return []
    return [f"not taken in yet: {', '.join(open_still)} (`wearbook intake` keeps copies that show later changes)"]


def since(folder: Path, name: str, item: manifest.Entry) -> Told:
    """What became of a table kept by hand since its last copy was taken in."""
    now = (folder / name).read_bytes()
    if stamp.checksum_bytes(now) == item.sha256:
        return [f"{name}: {AS_TAKEN_IN}"], []
    try:
        gone = grown.lost(manifest.content(folder, item), now)
    except IntegrityError:
        # The copy itself is told elsewhere.
        return [], []
    if not gone:
        return [f"{name}: grew since it was taken in; `wearbook intake` takes it in again"], []
    numbers = ", ".join(map(str, gone[:6])) + (f" and {len(gone) - 6} more" if len(gone) > 6 else "")
    return [], [
        f"{name}: changed since it was taken in: line{'' if len(gone) == 1 else 's'} {numbers} of {item.file} "
        f"{'is' if len(gone) == 1 else 'are'} not there any more. Restore the table, or take the change in with "
        f"`wearbook intake` and its --reason and --role."
    ]


def _fits(path: Path, checksum: str) -> bool:
    """Whether a file is there with these bytes."""
    return path.is_file() and stamp.checksum_bytes(path.read_bytes()) == checksum
