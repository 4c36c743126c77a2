"""Every writing verb: the file is flushed, then renamed within its folder, then the folder is flushed.

A kill does not show what a lost power supply would do, since what was written lives on in the system's memory; the
order of the calls does (write, fsync of the file, rename, fsync of the folder: POSIX leaves the rest open).
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from tests.robust import folders

OPENED: list[str] = []
LISTENING: list[bool] = []


def _listen(event, arguments):
    """Keep the name of every file that is opened for writing."""
    if LISTENING and event == "open" and arguments[2] is not None and isinstance(arguments[0], (str, os.PathLike)):
        if arguments[2] & (os.O_WRONLY | os.O_RDWR | os.O_CREAT):
            OPENED.append(os.fspath(arguments[0]))


@pytest.fixture
def calls(monkeypatch):
    """The flushes (file, its size) and renames (from, to), in order, of what is done afterwards."""
    kept = []
    real_fsync, real_replace = os.fsync, os.replace

    def fsync(handle):
        """Keep the file behind the handle."""
        kept.append(("flush", os.readlink(f"/proc/self/fd/{handle}"), os.fstat(handle).st_size))
        real_fsync(handle)

    def replace(old, new):
        """Keep both names."""
        kept.append(("rename", str(old), str(new), os.stat(old).st_size))
        real_replace(old, new)

    monkeypatch.setattr(os, "fsync", fsync)
    monkeypatch.setattr(os, "replace", replace)
    # An audit hook cannot be taken away again; it listens during these tests only.
    if not hasattr(sys, "_wearbook_listens"):
        sys.addaudithook(_listen)
        sys._wearbook_listens = True
    OPENED.clear()
    LISTENING.append(True)
    yield kept
    LISTENING.clear()


def disordered(calls) -> list[str]:
    """What is out of order: a rename that no flush of the whole file precedes or none of the folder follows."""
    wrong, used = [], set()
    for place, call in enumerate(calls):
        if call[0] != "rename":
            continue
        _, old, new, size = call
        before = calls[place - 1] if place else None
        after = calls[place + 1] if place + 1 < len(calls) else None
        if before != ("flush", old, size):
            wrong.append(f"{new}: renamed before it was flushed whole")
        if after is None or after[:2] != ("flush", os.path.dirname(new)):
            wrong.append(f"{new}: its folder was not flushed after the rename")
        if os.path.dirname(old) != os.path.dirname(new):
            wrong.append(f"{new}: comes from another folder")
        if old in used:
            wrong.append(f"{new}: shares its temporary name")
        used.add(old)
    return wrong


@pytest.mark.parametrize("verb", folders.VERBS)
def test_every_write_is_flushed_renamed_and_its_folder_flushed(states, tmp_path, calls, verb):
    root = states.copy(verb, tmp_path / "c")
    OPENED.clear()
    calls.clear()
    folders.VERBS[verb].run(root)
    LISTENING.clear()
    assert disordered(calls) == []
    renames = [call for call in calls if call[0] == "rename"]
    old, new = states.old(verb), folders.contents(root)
    written = {Path(call[2]).relative_to(root).as_posix() for call in renames}
    # Whatever is new or other than before came by a rename, and nothing was opened for writing under its own name.
    assert {name for name in new if new[name] != old.get(name)} <= written
    inside = {Path(name) for name in OPENED if Path(name).is_relative_to(root) and not Path(name).is_dir()}
    direct = {path.name for path in inside if not path.name.endswith(".wearbook-tmp")}
    assert direct <= folders.LOCKS
    assert {str(path) for path in inside if path.name not in folders.LOCKS} == {call[1] for call in renames}


def test_the_log_is_told_before_the_plan_and_after_it(states, tmp_path, calls):
    root = states.copy("plan", tmp_path / "c")
    calls.clear()
    folders.VERBS["plan"].run(root)
    names = [Path(call[2]).relative_to(root).as_posix() for call in calls if call[0] == "rename"]
    assert names[:4] == ["log.csv", "plan/1-main/runs.csv", "plan/1-main/plan.json", "log.csv"]


def test_a_look_is_logged_before_its_results_lie_there(states, tmp_path, calls):
    root = states.copy("analyse", tmp_path / "c")
    calls.clear()
    folders.VERBS["analyse"].run(root)
    names = [Path(call[2]).relative_to(root).as_posix() for call in calls if call[0] == "rename"]
    assert names[:2] == ["log.csv", "derived/analysis.json"]


@pytest.mark.parametrize(
    ("calls", "found"),
    [
        ([("rename", "/a/.x", "/a/x", 3), ("flush", "/a", 9)], "renamed before it was flushed whole"),
        ([("flush", "/a/.x", 2), ("rename", "/a/.x", "/a/x", 3), ("flush", "/a", 9)], "renamed before"),
        ([("flush", "/a/.x", 3), ("rename", "/a/.x", "/a/x", 3)], "its folder was not flushed"),
        ([("flush", "/b/.x", 3), ("rename", "/b/.x", "/a/x", 3), ("flush", "/a", 9)], "comes from another folder"),
        ([("flush", "/a/.x", 3), ("rename", "/a/.x", "/a/x", 3), ("flush", "/a", 9)] * 2, "shares its temporary"),
    ],
)
def test_a_wrong_order_is_found(calls, found):
    told = disordered(calls)
    assert len(told) == 1
    assert found in told[0]
