"""What was taken in: raw/manifest.csv, the files in raw/received/, and the rows of the log that bind both (rank 9).

A file is copied first, then it gets its row in the manifest, then its row in the log. It counts from the row in the
log on; what a command that was stopped left before that counts nowhere, and the same command again completes it.
A file that was taken back keeps its row and its copy, and counts nowhere from that row of the log on.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from difflib import SequenceMatcher
from pathlib import Path, PurePosixPath
from typing import Any

from toolkit import sheetfile, stamp
from toolkit.brief.model import Brief
from toolkit.campaign import log, storage
from toolkit.errors import IntegrityError
from toolkit.intake import dyno_runs
from toolkit.intake.dyno_runs import KIND
from toolkit.intake.gathered import Finding, finding, some

NAME = "raw/manifest.csv"
FOLDER = "raw/received"
RESTORE = "Restore it from your backup."
_LATE = ", AFTER wear of its runs had been seen"
_SHORT = 12
_LONGEST = 80
# Fewer letters of a checksum could mean another file, or be a name.
_SHORTEST_SUM = 6


@dataclass(frozen=True)
class Entry:
    """One file taken in: where its copy lies, what it is, how it is read, how it was called, which file it replaces.

    ``given_as`` is the name it came under, or the path in the campaign's folder of a table that is kept by hand.
    """

    file: str
    sha256: str
    size: int
    kind: str
    mapping: str
    given_as: str
    replaces: str

    @property
    def by_hand(self) -> bool:
        """True for a copy of a table that is kept by hand: the table itself is read, the copy shows what it was."""
        return "/" in self.given_as and not self.recording

    @property
    def recording(self) -> bool:
        """True for a recording of the dynamometer, which stays where it lies in raw/dyno."""
        return self.kind == KIND


COLUMNS = tuple(item.name for item in fields(Entry))


def entry(content: bytes, *, kind: str, given_as: str, mapping: str = "", replaces: str = "") -> Entry:
    """The entry of a file by its bytes."""
    checksum = stamp.checksum_bytes(content)
    plain = plain_name(PurePosixPath(given_as).name)
    return Entry(f"{FOLDER}/{checksum[:_SHORT]}-{plain}", checksum, len(content), kind, mapping, given_as, replaces)


def again(item: Entry, known: Sequence[Entry]) -> Entry:
    """The entry with a file name of its own where the same bytes, replaced since, were taken in under that name."""
    taken = {other.file for other in known}
    path = PurePosixPath(item.file)
    names = (str(path.with_name(f"{path.stem}-{number}{path.suffix}")) for number in range(2, len(taken) + 3))
    return item if item.file not in taken else replace(item, file=next(name for name in names if name not in taken))


def plain_name(name: str) -> str:
    """A name that every system takes as that of a file: letters, digits, dots, dashes, at most 80 characters."""
    stem, dot, suffix = name.rpartition(".")
    tail = f".{suffix}" if dot and re.fullmatch("[A-Za-z0-9]{1,8}", suffix) else ""
    plain = re.sub(r"[^A-Za-z0-9_-]+", "-", stem if tail else name).strip("-")
    return f"{plain[: _LONGEST - len(tail)] or 'file'}{tail}"


def entries(rows: Sequence[Mapping[str, str]]) -> tuple[Entry, ...]:
    """Every file taken in, in the order of the log, those replaced since too.

    Raises
    ------
    IntegrityError
        When a row of the log does not say what was taken in.
    """
    found = []
    for row in rows:
        if row["kind"] == log.TAKEN:
            told = log.told(row)
            try:
                item = Entry(**{name: told[name] for name in COLUMNS})
            except KeyError as problem:
                raise IntegrityError(f"{log.NAME}: a row '{log.TAKEN}' does not hold {problem}. {RESTORE}") from problem
            home = dyno_runs.FOLDER if item.recording else FOLDER
            if str(PurePosixPath(str(item.file)).parent) != home:
                raise IntegrityError(f"{log.NAME}: a row '{log.TAKEN}' names no file in {home}/. {RESTORE}")
            found.append(item)
    return tuple(found)


def taken_back(rows: Sequence[Mapping[str, str]]) -> dict[str, Mapping[str, str]]:
    """File to the row of the log by which it was taken back.

    Raises
    ------
    IntegrityError
        When a row does not say which file.
    """
    found = {}
    for row in rows:
        if row["kind"] == log.BACK:
            name = log.told(row).get("file")
            if not isinstance(name, str):
                raise IntegrityError(f"{log.NAME}: a row '{log.BACK}' names no file. {RESTORE}")
            found[name] = row
    return found


def standing(rows: Sequence[Mapping[str, str]]) -> tuple[Entry, ...]:
    """Every file taken in that was not taken back, in the order of the log; those replaced by one of them too."""
    gone = taken_back(rows)
    return tuple(item for item in entries(rows) if item.file not in gone)


def findings(rows: Sequence[Mapping[str, str]]) -> list[Finding]:
    """A finding of every file that was taken back, or replaced or changed after a look: runs, when, why, who says."""
    made = [_replaced_late(rows, row) for row in rows if row["kind"] == log.TAKEN and log.told(row).get("after_look")]
    for name, row in taken_back(rows).items():
        told = log.told(row)
        of, late = _of(told), _LATE if told.get("after_look") else ""
        made.append(
            finding(
                "note",
                "taken back",
                found=f"{told.get('given_as', name)}{of} on {row['at']}{late}: {row['reason']} ({row['role']})",
                expected="files that are taken in to count",
                action=f"none: nothing in it counts; {name} stays where it is",
            )
        )
    return made


def _replaced_late(rows: Sequence[Mapping[str, str]], row: Mapping[str, str]) -> Finding:
    """The finding of a file that was replaced, or of a table that changed, after wear of its runs had been seen."""
    told = log.told(row)
    name = str(told.get("replaces", ""))
    if not name:
        return finding(
            "note",
            "changed after a look",
            found=f"{told.get('given_as', '')}{_of(told)} on {row['at']}{_LATE}: {row['reason']} ({row['role']})",
            expected="tables changed before wear of their runs is looked at",
            action=f"none: what counted before stays in the copies in {FOLDER}",
        )
    was = next((item.given_as for item in entries(rows) if item.file == name), name)
    return finding(
        "note",
        "replaced after a look",
        found=f"{was}{_of(told)} by {told.get('given_as', '')} on {row['at']}{_LATE}: {row['reason']} ({row['role']})",
        expected="files replaced before wear of their runs is looked at",
        action=f"none: {name} stays where it is",
    )


def _of(told: Mapping[str, Any]) -> str:
    """The runs that a file told of, in brackets; '' for none."""
    runs = [str(run) for run in told.get("runs", ())]
    return f" (of {some(runs)})" if runs else ""


def counting(found: Sequence[Entry]) -> tuple[Entry, ...]:
    """The files received that count now: not replaced by a later one, and no copies of tables kept by hand."""
    kept: dict[str, Entry] = {}
    for item in found:
        if not item.by_hand and not item.recording:
            kept.pop(item.replaces, None)
            kept[item.file] = item
    return tuple(kept.values())


def recordings(found: Sequence[Entry]) -> tuple[Entry, ...]:
    """The recordings that count now: not replaced by a later one."""
    replaced = {item.replaces for item in found if item.recording}
    return tuple(item for item in found if item.recording and item.file not in replaced)


def is_meant(item: Entry, said: str) -> bool:
    """Whether a person means this file: by its path, its name, the name it came under, or the start of its sha256."""
    if said in (item.file, item.file.rpartition("/")[2], item.given_as, item.given_as.rpartition("/")[2]):
        return True
    return len(said) >= _SHORTEST_SUM and item.sha256.startswith(said)


def copies(found: Sequence[Entry]) -> dict[str, Entry]:
    """The last copy of each table that is kept by hand, by the table's path."""
    return {item.given_as: item for item in found if item.by_hand}


def mapping_checksums(brief: Brief) -> dict[str, str]:
    """The checksum of each [[received]] table by its name."""
    return {item.name: stamp.checksum(asdict(item)) for item in brief.received}


def mappings(rows: Sequence[Mapping[str, str]]) -> dict[str, str]:
    """File to the checksum of the [[received]] table it was read by when it was taken in; '' where there was none."""
    told = [log.told(row) for row in rows if row["kind"] == log.TAKEN]
    return {str(item["file"]): str(item.get("mapping_sha256", "")) for item in told if "file" in item}


def content(folder: Path, item: Entry) -> bytes:
    """The bytes of a file taken in.

    Raises
    ------
    IntegrityError
        When it is gone or not what it was.
    """
    try:
        found = (Path(folder) / item.file).read_bytes()
    except OSError as problem:
        raise IntegrityError(
            f"{item.file}: was taken in as {item.given_as}, and cannot be read now ({problem.strerror or problem}). "
            f"{RESTORE}"
        ) from problem
    if stamp.checksum_bytes(found) != item.sha256:
        raise IntegrityError(f"{item.file}: was changed since it was taken in as {item.given_as}. {RESTORE}")
    return found


def listed(folder: Path) -> tuple[Entry, ...]:
    """The rows of raw/manifest.csv as they lie there; none without such a file.

    Raises
    ------
    IntegrityError
        When it is not the table that was written.
    """
    path = Path(folder) / NAME
    if not path.exists():
        return ()
    try:
        text = path.read_bytes().decode("utf-8")
        rows = list(csv.DictReader(io.StringIO(text, newline="")))
        plain = [{name: sheetfile.unguarded(cell) for name, cell in row.items()} for row in rows]
        found = tuple(Entry(**{**row, "size": int(row["size"])}) for row in plain)
    except (OSError, ValueError, TypeError, KeyError, csv.Error) as problem:
        raise IntegrityError(f"{NAME}: cannot be read as the table that was written. {RESTORE}") from problem
    if text != _text(found):
        raise IntegrityError(f"{NAME}: its quotes, blanks or line ends are not as they were written. {RESTORE}")
    return found


def faults(folder: Path, found: Sequence[Entry]) -> list[str]:
    """Where the manifest is not what the log says was taken in, a sentence each."""
    try:
        rows = listed(folder)
    except IntegrityError as problem:
        return [str(problem)]
    if found and not (Path(folder) / NAME).exists():
        return [f"{NAME}: is gone, and the log says that {_files(len(found))} taken in. {RESTORE}"]
    told = []
    for what, first, last, at, end in SequenceMatcher(None, found, rows, autojunk=False).get_opcodes():
        gone = [item.file for item in found[first:last]]
        lines = [str(number + 2) for number in range(at, end)]
        if what == "replace":
            told.append(
                f"{NAME} line {', '.join(lines)}: was edited: the log holds another row of {', '.join(gone)}. {RESTORE}"
            )
        elif what == "delete":
            told.append(f"{NAME}: the row of {', '.join(gone)} was removed. {RESTORE}")
        # At the end it is what a stopped command leaves: see ``unfinished``.
        elif what == "insert" and end < len(rows):
            told.append(f"{NAME} line {', '.join(lines)}: was put in by hand: the log does not hold it. {RESTORE}")
    return told


def unfinished(folder: Path, found: Sequence[Entry]) -> tuple[Entry, ...]:
    """Rows at the end of the manifest that the log does not hold: a command was stopped before it came to that."""
    return listed(folder)[len(found) :]


def keep(
    folder: Path,
    new: Sequence[tuple[Entry, bytes | Path]],
    *,
    mappings: Mapping[str, str] | None = None,
    reason: str = "",
    role: str = "",
    late: Sequence[str] = (),
    changed: Mapping[str, Sequence[str]] | None = None,
) -> None:
    """Copy files, then write their rows in the manifest, then tell the log; the caller holds the folder's lock.

    Parameters
    ----------
    folder : Path
    new : sequence of (Entry, bytes), or (Entry, Path) of a recording
        Not taken in yet. What a stopped command has done of it already is left as it is.
    mappings : mapping of str to str
        The checksum of each mapping by its name: how a file was read when it was taken in.
    reason, role : str
        Why a file replaces another one, or lines of a table changed, and who says so.
    late : sequence of str
        The runs of the file that is replaced, where wear of one had been seen: the row of the log is marked then.
    changed : mapping of str to sequence of str
        Table kept by hand to the runs whose figures in it changed after their wear had been seen: marked alike.

    Raises
    ------
    IntegrityError
        When another file lies where a copy should be.
    StorageError
        When something could not be written; the same command again completes it.
    """
    folder = Path(folder)
    found = entries(log.read(folder))
    for item, held in new:
        target = folder / item.file
        if isinstance(held, Path):
            storage.copy_in(held, target)
        elif not target.exists():
            storage.write_bytes(target, held)
        elif stamp.checksum_bytes(target.read_bytes()) != item.sha256:
            raise IntegrityError(f"{item.file}: another file lies there, put there by hand. Take it away.")
    storage.write_text(folder / NAME, _text([*found, *(item for item, _ in new)]))
    for item, _ in new:
        told = {**asdict(item), "mapping_sha256": (mappings or {}).get(item.mapping, "")}
        runs = late if item.replaces else (changed or {}).get(item.given_as, ()) if item.by_hand else ()
        if runs:
            told |= {"runs": list(runs), "after_look": True}
        log.append(folder, kind=log.TAKEN, subject=item.sha256, what=stamp.canonical(told), reason=reason, role=role)


def _text(found: Sequence[Entry]) -> str:
    """The manifest as CSV."""
    return sheetfile.csv_lines([COLUMNS, *([str(cell) for cell in asdict(item).values()] for item in found)])


def _files(count: int) -> str:
    """A count of files with its verb."""
    return f"{count} {'file was' if count == 1 else 'files were'}"
