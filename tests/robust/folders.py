"""Campaign folders at the state before a verb, the verbs that write, and what must hold of a folder afterwards."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import multiprocessing
import os
import re
import shutil
import signal
import sys
import time
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from toolkit import shipped
from toolkit.campaign import folder, log, start, steps, storage, verify
from toolkit.cli import main
from toolkit.errors import WearbookError
from toolkit.report import steps as report_steps

FORK = multiprocessing.get_context("fork")
CLOCK = "2026-03-02T08:00:00+00:00"
# Files that the lock leaves: the lock itself, and who held it when its holder was killed.
LOCKS = {".wearbook.lock", ".wearbook.holder"}
VERBS: dict[str, Callable[[Path], Any]] = {
    "new": lambda root: start.new(root / "begun"),
    "plan": lambda root: steps.plan(folder.open_campaign(root), phase="main"),
    "size": lambda root: steps.size(folder.open_campaign(root)),
    "analyse": lambda root: steps.analyse(folder.open_campaign(root)),
    "report": lambda root: report_steps.report(folder.open_campaign(root)),
}


def prepare(home: Path) -> dict[str, Path]:
    """A folder a verb, at the state in which the verb is run: the pilot sealed, the main phase too after ``plan``."""
    before = home / "pilot-sealed"
    shutil.copytree(shipped.folder("data") / "chain-soot", before)
    steps.plan(folder.open_campaign(before), phase="pilot")
    after = home / "main-sealed"
    shutil.copytree(before, after)
    steps.plan(folder.open_campaign(after), phase="main")
    return {verb: after if verb in ("analyse", "report") else before for verb in VERBS}


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
        except (UnicodeDecodeError, ValueError, csv.Error) as problem:
            bad.append(f"{name}: {problem}")
    return bad


def faults(root: Path, old: dict[str, bytes], new: dict[str, bytes]) -> list[str]:
    """What is wrong with a folder in which a verb was stopped: unreadable, lost, neither old nor new, not verified.

    ``old`` and ``new`` are the contents before the verb and after an undisturbed one.
    """
    wrong = unreadable(root)
    here = contents(root)
    wrong += [f"{name}: lost" for name in old if name not in here]
    for name, content in here.items():
        stamped = name == "log.csv" or re.fullmatch(r"plan/1-main/plan\.(json|html)", name)
        if not stamped and not Path(name).name.startswith(".") and content not in (old.get(name), new.get(name)):
            wrong.append(f"{name}: neither the old nor the new content")
    # The log was whole before, so every row acknowledged then must still be there, byte for byte.
    if not here.get("log.csv", b"").startswith(old.get("log.csv", b"")):
        wrong.append("log.csv: rows are lost")
    log.read(root)
    verify.verify(folder.open_campaign(root))
    return wrong


def unfinished(root: Path, old: dict[str, bytes], new: dict[str, bytes]) -> list[str]:
    """What a verb that was run again left undone."""
    wrong = faults(root, old, new)
    here = contents(root)
    wrong += [f"{name}: missing" for name in new if name not in here]
    wrong += [f"{name}: not the new content" for name in new if name in here and _differs(name, here, new)]
    wrong += [f"{name}: left behind" for name in strays(root)]
    wrong += [line for line in verify.verify(folder.open_campaign(root)).lines if "stopped" in line]
    return wrong


def _differs(name: str, here: dict[str, bytes], new: dict[str, bytes]) -> bool:
    """Whether a file is another one than after an undisturbed verb; the log's rows before it may be more."""
    if name == "log.csv" or name.endswith("1-main/plan.html"):
        return False
    if name.endswith("1-main/plan.json"):
        mine, other = json.loads(here[name]), json.loads(new[name])
        return any(mine[key] != other[key] for key in mine if key not in (*STAMPED,))
    return here[name] != new[name]


STAMPED = ("records_head_before", "plan_sha256", "log_row")


def again(verb: str, root: Path) -> None:
    """Run a verb once more after it was stopped; a campaign that was begun altogether is not begun again."""
    if verb == "new" and (root / "begun" / "campaign.toml").exists():
        with storage.locked(root / "begun"):
            return
    VERBS[verb](root)


def attempt(verb: str, root: Path) -> str:
    """Run a verb and give the class and the words of its refusal; empty when it went through."""
    try:
        VERBS[verb](root)
    except WearbookError as problem:
        return f"{type(problem).__name__}: {problem}"
    return ""


def command(*arguments: object, before: Callable[[], None] | None = None) -> tuple[int, str]:
    """The exit code and the stderr of the command in a process of its own; ``before`` is called in it first."""
    here, there = FORK.Pipe(duplex=False)
    child = FORK.Process(target=_command, args=(there, [str(item) for item in arguments], before))
    child.start()
    there.close()
    try:
        told = here.recv()
    except EOFError:
        told = (-1, "the process ended without a word")
    child.join()
    here.close()
    return told


def _command(there: Any, arguments: list[str], before: Callable[[], None] | None) -> None:
    """Run the command and send what it said."""
    import traceback

    said = io.StringIO()
    with contextlib.redirect_stderr(said), contextlib.redirect_stdout(io.StringIO()):
        try:
            if before is not None:
                before()
            code = main(arguments)
        except BaseException:
            code = -2
            said.write(traceback.format_exc())
    there.send((code, said.getvalue()))


def once(function: Callable[..., Any]) -> Callable[..., Any]:
    """A function that computes the first time, and gives that result again ever after, whatever it is given."""
    kept: dict[tuple[str, ...], Any] = {}

    def give(*arguments: Any, **named: Any) -> Any:
        """The kept result, another one for each way it is asked for."""
        way = tuple(sorted(named))
        if way not in kept:
            kept[way] = function(*arguments, **named)
        return kept[way]

    return give


def killed(verb: Callable[[], Any], wait: float | None, mark: str) -> tuple[int, float]:
    """Run ``verb`` in a process of its own and kill it that many seconds after it first opens a temporary file.

    Parameters
    ----------
    verb : callable
    wait : float or None
        None: it is left alone.
    mark : str
        Part of the name of the file at which the clock starts.

    Returns
    -------
    code : int
        The exit code of the process: -9 when it was killed, 0 when it was through already.
    seconds : float
        From that file to the end.
    """
    begun, ring = os.pipe()
    child = FORK.Process(target=_marked, args=(verb, ring, mark))
    child.start()
    os.close(ring)
    os.read(begun, 1)
    at = time.monotonic()
    if wait is None:
        os.read(begun, 1)
    else:
        time.sleep(wait)
        # Not waited for yet, so the id is still its own.
        os.kill(child.pid, signal.SIGKILL)
    seconds = time.monotonic() - at
    child.join()
    os.close(begun)
    return child.exitcode, seconds


def _marked(verb: Callable[[], Any], ring: int, mark: str) -> None:
    """Run ``verb``; ring when it first opens a temporary file of that name, and at the end."""
    rung = []

    def listen(event: str, arguments: tuple) -> None:
        """Ring once."""
        if event == "open" and not rung and mark in str(arguments[0]) and str(arguments[0]).endswith(".wearbook-tmp"):
            rung.append(True)
            os.write(ring, b"w")

    sys.addaudithook(listen)
    verb()
    os.write(ring, b"e")


class States:
    """The folders before each verb, and what an undisturbed run of it leaves."""

    def __init__(self, roots: dict[str, Path], home: Path) -> None:
        """Keep them; the undisturbed runs are made when asked for."""
        self.roots = roots
        self._home = home
        self._done: dict[str, dict[str, bytes]] = {}

    def copy(self, verb: str, to: Path) -> Path:
        """A folder of one's own at the state before the verb."""
        shutil.copytree(self.roots[verb], to)
        return to

    def old(self, verb: str) -> dict[str, bytes]:
        """The contents before the verb."""
        return contents(self.roots[verb])

    def new(self, verb: str) -> dict[str, bytes]:
        """The contents after an undisturbed run of the verb."""
        if verb not in self._done:
            root = self.copy(verb, self._home / f"done-{verb}")
            VERBS[verb](root)
            self._done[verb] = contents(root)
        return self._done[verb]
