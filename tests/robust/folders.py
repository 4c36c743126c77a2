"""Campaign folders at the state before a verb, the verbs that write, and what must hold of a folder afterwards."""

from __future__ import annotations

import csv
import gzip
import io
import json
import re
import shutil
import tomllib
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from toolkit import shipped
from toolkit.campaign import amend, folder, log, notes, sheets, start, steps, storage, taking, verify
from toolkit.errors import WearbookError
from toolkit.report import steps as report_steps

CLOCK = "2026-03-02T08:00:00+00:00"
# Files that the lock leaves: the lock itself, and who held it when its holder was killed.
LOCKS = {".wearbook.lock", ".wearbook.holder"}
# The later ones hold what the earlier ones do.
STATES = ("pilot", "main", "lost", "amended")
OLD_TABLE = "pin,oil,wear_um\nP0,O0,80.5\nP1,O0,61\nP0,O1,75.25\nP1,O1,58\n"
NOTE = ("--reason", "gauge misread, as the fitter says", "--role", "test engineer")
AMEND = ("--reason", "hose burst", "--role", "test engineer")


@dataclass(frozen=True)
class Verb:
    """A verb that writes: the state it is run in, the call, and the same on the command line after the folder."""

    state: str
    run: Callable[[Path], Any]
    words: tuple[str, ...]

    def command(self, root: Path) -> tuple[str, ...]:
        """The whole command line; OUT stands for the folder that holds the campaign's."""
        verb, *more = (word.replace("OUT", str(root.parent)) for word in self.words)
        return (verb, str(root / "begun") if verb == "new" else str(root), *more)


def oil(root: Path) -> Path:
    """The laboratory's file, which lies outside the campaign."""
    path = root.parent / "oil-of-laboratory.csv"
    if not path.exists():
        path.write_bytes((shipped.folder("data") / "chain-soot" / "raw" / "oil.csv").read_bytes())
    return path


def old_table(root: Path) -> Path:
    """An old table of runs, which lies outside the campaign."""
    path = root.parent / "old.csv"
    if not path.exists():
        path.write_text(OLD_TABLE, encoding="utf-8")
    return path


def open_at(root: Path) -> folder.Campaign:
    """The campaign in a folder."""
    return folder.open_campaign(root)


VERBS: dict[str, Verb] = {
    "new": Verb("pilot", lambda root: start.new(root / "begun"), ("new",)),
    "new from table": Verb(
        "pilot", lambda root: start.new(root / "begun", table=old_table(root)), ("new", "--from-table", "OUT/old.csv")
    ),
    "plan": Verb("pilot", lambda root: steps.plan(open_at(root), phase="main"), ("plan", "--phase", "main")),
    "size": Verb("pilot", lambda root: steps.size(open_at(root)), ("size",)),
    "sheets": Verb("pilot", lambda root: sheets.issue(open_at(root), phase="pilot"), ("sheets", "--phase", "pilot")),
    "intake": Verb("main", lambda root: taking.take(open_at(root)), ("intake",)),
    "intake of a file": Verb(
        "main", lambda root: taking.take(open_at(root), [oil(root)]), ("intake", "OUT/oil-of-laboratory.csv")
    ),
    "note": Verb(
        "main",
        lambda root: notes.note(
            open_at(root), "R02", reason=NOTE[1], role=NOTE[3], column="soot_pct", value="3.11"
        ),
        ("note", "R02", "--column", "soot_pct", "--value", "3.11", *NOTE),
    ),
    "amend": Verb(
        "lost",
        lambda root: amend.amend(open_at(root), reason=AMEND[1], role=AMEND[3], phase="main", lost="repeat"),
        ("amend", "--phase", "main", "--lost", "repeat", *AMEND),
    ),
    "sheets of an amended plan": Verb(
        "amended", lambda root: sheets.issue(open_at(root), phase="main"), ("sheets", "--phase", "main")
    ),
    "analyse": Verb("main", lambda root: steps.analyse(open_at(root)), ("analyse",)),
    "report": Verb("main", lambda root: report_steps.report(open_at(root)), ("report",)),
}  # fmt: skip


def prepare(home: Path) -> dict[str, Path]:
    """A folder a state: the pilot sealed; the main phase too; its last build still to come; and amended for that.

    Two stations and one reading of them are left of each run, and the oil is not there yet.
    """
    made = {state: home / state for state in STATES}
    shutil.copytree(shipped.folder("data") / "chain-soot", made["pilot"])
    brief = made["pilot"] / "campaign.toml"
    text = brief.read_text(encoding="utf-8").replace("count = 10, readings = 2", "count = 2, readings = 1")
    brief.write_text(text, encoding="utf-8")
    keep_lines(made["pilot"] / "raw" / "stations.csv", lambda line: re.search(",SEG0[12],1,", line))
    (made["pilot"] / "raw" / "oil.csv").unlink()
    steps.plan(open_at(made["pilot"]), phase="pilot")
    shutil.copytree(made["pilot"], made["main"])
    steps.plan(open_at(made["main"]), phase="main")
    shutil.copytree(made["main"], made["lost"])
    for name in ("runs", "stations"):
        keep_lines(made["lost"] / "raw" / f"{name}.csv", lambda line: not re.match("R(09|10|11|12),", line))
    sheets.issue(open_at(made["lost"]), phase="main")
    shutil.copytree(made["lost"], made["amended"])
    VERBS["amend"].run(made["amended"])
    return made


def keep_lines(path: Path, wanted: Callable[[str], Any]) -> None:
    """Leave the header of a table and the lines wanted."""
    head, *lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text(head + "".join(line for line in lines if wanted(line)), encoding="utf-8")


def contents(root: Path) -> dict[str, bytes]:
    """The bytes of each file, without what the lock leaves."""
    return {
        path.relative_to(root).as_posix(): path.read_bytes()
        for path in sorted(root.rglob("*"))
        if path.is_file() and path.name not in LOCKS
    }


def strays(root: Path) -> list[str]:
    """Temporary files, and the name of a holder that is gone."""
    return [path.name for path in root.rglob(".*") if path.is_file() and path.name != ".wearbook.lock"]


def unreadable(root: Path) -> list[str]:
    """The files under their final names that cannot be read as what they are."""
    bad = []
    for name, content in contents(root).items():
        if Path(name).name.startswith("."):
            continue
        try:
            if name.endswith(".xlsx"):
                with zipfile.ZipFile(io.BytesIO(content)) as archive:
                    bad += [f"{name}: {part}" for part in [archive.testzip()] if part]
                continue
            if name.endswith(".gz"):
                # A recording is theirs and may break off in a line; its packing has a checksum of its own.
                gzip.decompress(content).decode("utf-8")
                continue
            text = content.decode("utf-8")
            if name.endswith((".json", ".ipynb")):
                json.loads(text)
            elif name.endswith(".toml"):
                tomllib.loads(text)
            elif name.endswith(".csv"):
                rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
                if not rows or {len(row) for row in rows} != {len(rows[0])} or not text.endswith("\n"):
                    bad.append(f"{name}: not a whole table")
            elif name.endswith(".html") and not text.endswith("</html>\n"):
                bad.append(f"{name}: not a whole page")
        except (EOFError, OSError, ValueError, zlib.error, csv.Error, zipfile.BadZipFile) as problem:
            bad.append(f"{name}: {problem}")
    return bad


# These hold the state of the log, which is another one where a verb was stopped and run again.
STAMPED_FILES = re.compile(r"log\.csv|(begun/)?log\.csv|plan/1-main/plan\.(json|html)")
STAMPED_KEYS = ("records_head_before", "plan_sha256", "log_row")


def faults(root: Path, old: dict[str, bytes], new: dict[str, bytes]) -> list[str]:
    """What is wrong with a folder in which a verb was stopped: unreadable, lost, neither old nor new, not verified.

    ``old`` and ``new`` are the contents before the verb and after an undisturbed one.
    """
    wrong = unreadable(root)
    here = contents(root)
    wrong += [f"{name}: lost" for name in old if name not in here and old[name] not in here.values()]
    for name, content in here.items():
        free = STAMPED_FILES.fullmatch(name) or Path(name).name.startswith(".") or _kept_early(name, new)
        if not free and content not in (old.get(name), new.get(name)):
            wrong.append(f"{name}: neither the old nor the new content")
    # The log was whole before, so every row acknowledged then must still be there, byte for byte.
    if not here.get("log.csv", b"").startswith(old.get("log.csv", b"")):
        wrong.append("log.csv: rows are lost")
    log.read(root)
    verify.verify(open_at(root))
    return wrong


def unfinished(root: Path, old: dict[str, bytes], new: dict[str, bytes]) -> list[str]:
    """What a verb that was run again left undone."""
    wrong = faults(root, old, new)
    here = contents(root)
    wrong += [f"{name}: missing" for name in new if name not in here]
    wrong += [f"{name}: should be gone" for name in here if not (name in new or _kept_early(name, new))]
    wrong += [f"{name}: not the new content" for name in new if name in here and _differs(name, here, new)]
    wrong += [f"{name}: left behind" for name in strays(root)]
    wrong += [line for line in verify.verify(open_at(root)).lines if "stopped" in line or "is not there" in line]
    return wrong


def _kept_early(name: str, new: dict[str, bytes]) -> bool:
    """Whether a file holds what was worked out of a recording and an undisturbed verb leaves none of that name.

    It is written by every command that holds the folder after reading a recording, so a verb that is repeated may
    leave it where an undisturbed one does not.
    """
    return name.startswith("derived/recordings/") and name not in new


def _differs(name: str, here: dict[str, bytes], new: dict[str, bytes]) -> bool:
    """Whether a file is another one than after an undisturbed verb; the log's rows before it may be more."""
    if STAMPED_FILES.fullmatch(name) and not name.endswith(".json"):
        return False
    if STAMPED_FILES.fullmatch(name):
        mine, other = json.loads(here[name]), json.loads(new[name])
        return any(mine[key] != other[key] for key in mine if key not in STAMPED_KEYS)
    return here[name] != new[name]


def again(verb: str, root: Path) -> None:
    """Run a verb once more after it was stopped; what was begun or amended altogether is not begun or amended again."""
    begun = root / "begun"
    if verb.startswith("new") and (begun / "campaign.toml").exists():
        with storage.locked(begun):
            return
    if verb == "amend" and log.read(root)[-1]["kind"] == log.AMENDED:
        with storage.locked(root):
            return
    VERBS[verb].run(root)


def attempt(verb: str, root: Path) -> str:
    """Run a verb and give the class and the words of its refusal; empty when it went through."""
    try:
        VERBS[verb].run(root)
    except WearbookError as problem:
        return f"{type(problem).__name__}: {problem}"
    return ""


class States:
    """The folders before each verb, and what an undisturbed run of it leaves."""

    def __init__(self, roots: dict[str, Path], home: Path) -> None:
        """Keep them; the undisturbed runs are made when asked for."""
        self.roots = roots
        self._home = home
        self._done: dict[str, dict[str, bytes]] = {}

    def copy(self, verb: str, to: Path) -> Path:
        """A folder of one's own at the state before the verb."""
        return self.copy_of(VERBS[verb].state, to)

    def copy_of(self, state: str, to: Path) -> Path:
        """A folder of one's own at a state, with what lies beside it."""
        shutil.copytree(self.roots[state], to)
        oil(to), old_table(to)
        return to

    def old(self, verb: str) -> dict[str, bytes]:
        """The contents before the verb."""
        return contents(self.roots[VERBS[verb].state])

    def new(self, verb: str) -> dict[str, bytes]:
        """The contents after an undisturbed run of the verb."""
        if verb not in self._done:
            root = self.copy(verb, self._home / f"done-{verb}")
            VERBS[verb].run(root)
            self._done[verb] = contents(root)
        return self._done[verb]
