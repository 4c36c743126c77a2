"""Places where a campaign cannot be, or not be written: one clear message, the right exit code, no traceback.

A folder that may only be read is made by refusing every open for writing, since the tests may run as root, whom no
permission stops.
"""

from __future__ import annotations

import errno
import os
import shutil

import pytest

from tests.robust import folders
from toolkit.campaign import folder, sizing, steps, storage, verify
from toolkit.cli import main

WRITING = tuple(verb for verb in folders.VERBS if not verb.startswith("new"))
MEND = "Mend the permissions or copy the campaign to a place of your own."


def told(capsys, *arguments):
    """Exit code and stderr of the command, run here."""
    code = main([str(item) for item in arguments])
    said = capsys.readouterr()
    assert "Traceback" not in said.err
    # Where more is said of it is the business of tests/unit/explain.
    lines = said.err.splitlines(keepends=True)
    return code, "".join(line for line in lines if not line.startswith("More: wearbook explain "))


@pytest.mark.parametrize("verb", [*WRITING, "check", "status", "next", "verify"])
def test_a_folder_that_is_not_there(capsys, tmp_path, verb):
    root = tmp_path / "not there"
    words = folders.VERBS[verb].command(root) if verb in WRITING else (verb, root)
    verb = words[0]
    assert told(capsys, *words) == (
        1,
        f"wearbook {verb}: {root}: there is no such folder. Name a campaign folder, or start one with `wearbook new "
        f"{root}`.\n",
    )
    assert not root.exists()


def test_a_file_where_the_folder_should_be(capsys, tmp_path):
    root = tmp_path / "taken"
    root.write_text("mine")
    assert told(capsys, "new", root) == (
        1,
        f"wearbook new: {root}: is a file, not a folder; nothing was written. Choose another folder.\n",
    )
    assert root.read_text() == "mine"


def only_read(monkeypatch, code):
    """Refuse every write from here on."""
    real = os.open

    def opened(path, flags, *rest, **named):
        """The real one for reading."""
        if flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT):
            raise OSError(code, os.strerror(code), str(path))
        return real(path, flags, *rest, **named)

    def refused(path, *_, **__):
        """No folder is made, no file opened for writing."""
        raise OSError(code, os.strerror(code), str(path))

    monkeypatch.setattr(os, "open", opened)
    monkeypatch.setattr(os, "mkdir", refused)
    monkeypatch.setattr(storage, "open", refused, raising=False)


@pytest.mark.parametrize(
    ("verb", "code"), [(verb, (errno.EROFS, errno.EACCES)[at % 2]) for at, verb in enumerate(WRITING)]
)
def test_a_folder_that_may_only_be_read(capsys, states, tmp_path, monkeypatch, verb, code):
    root = states.copy(verb, tmp_path / "c")
    before = folders.contents(root)
    only_read(monkeypatch, code)
    words = folders.VERBS[verb].command(root)
    assert told(capsys, *words) == (
        4,
        f"wearbook {words[0]}: {root}: the folder cannot be written ({os.strerror(code)}). {MEND}\n",
    )
    for reading in ("verify", "status", "check"):
        assert told(capsys, reading, root)[0] == 0
    assert folders.contents(root) == before
    assert folders.strays(root) == []


@pytest.mark.parametrize("code", [errno.EROFS, errno.EACCES], ids=["read-only disk", "no permission"])
def test_a_campaign_is_not_begun_where_nothing_may_be_written(capsys, tmp_path, monkeypatch, code):
    only_read(monkeypatch, code)
    root = tmp_path / "mine"
    assert told(capsys, "new", root) == (
        4,
        f"wearbook new: {root}: the folder cannot be written ({os.strerror(code)}). {MEND}\n",
    )
    assert not root.exists()


@pytest.mark.parametrize(
    ("verb", "module", "step"),
    [("size", sizing, "sizing_of"), ("analyse", steps, "analysis_of"), ("plan", sizing, "claims_of")],
)
def test_a_folder_that_is_removed_while_a_verb_computes(capsys, states, tmp_path, monkeypatch, verb, module, step):
    root = states.copy(verb, tmp_path / "c")
    real = getattr(module, step)

    def gone(*arguments, **named):
        """Compute, and find that the folder is gone."""
        found = real(*arguments, **named)
        shutil.rmtree(root)
        return found

    monkeypatch.setattr(module, step, gone)
    more = ("--phase", "main") if verb == "plan" else ()
    assert told(capsys, verb, root, *more) == (
        4,
        f"wearbook {verb}: {root}: the campaign folder is gone; nothing was written. Bring it back, then repeat.\n",
    )
    # It is not made again with the results alone in it.
    assert not root.exists()


@pytest.mark.parametrize("name", ['Öl ß 名前 it\'s "x" & 100 %', "-rf", "[x]*?\nb" + "a" * 190])
def test_unusual_names_of_folders_work(capsys, states, tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    root = states.copy("plan", tmp_path / name)
    where = f"./{name}"
    verbs = ("plan", "sheets", "intake", "report")
    for verb, *more in (*(folders.VERBS[verb].words for verb in verbs), ("check",), ("verify",)):
        code, said = told(capsys, verb, where, *more)
        assert (code, verb) == (0, verb), said
    assert folders.unreadable(root) == []
    assert folders.strays(root) == []
    assert verify.verify(folder.open_campaign(root)).lines[0] == "log.csv: 26 rows, chain unbroken"


def test_a_campaign_is_begun_under_folders_that_are_not_there(capsys, tmp_path):
    root = tmp_path / "ä b" / ("c" * 200) / "d"
    assert told(capsys, "new", root)[0] == 0
    assert told(capsys, "check", root)[0] == 0


def test_a_name_that_the_system_refuses_is_told(capsys, tmp_path):
    root = tmp_path / ("n" * 300)
    code, said = told(capsys, "new", root)
    assert (code, said) == (4, f"wearbook new: {root}: the folder cannot be written (File name too long). {MEND}\n")
    code, said = told(capsys, "check", root)
    assert (code, said.partition(". ")[0]) == (1, f"wearbook check: {root}: there is no such folder")


@pytest.mark.parametrize("name", ["campaign.toml", "raw/runs.csv", "log.csv", "plan/1-main/plan.json"])
def test_a_file_that_may_not_be_read_is_named(capsys, states, tmp_path, monkeypatch, name):
    monkeypatch.undo()
    root = states.copy("analyse", tmp_path / "c")
    path = root / name
    path.unlink()
    path.mkdir()
    for verb in ("analyse", "verify") if name != "raw/runs.csv" else ("analyse",):
        code, said = told(capsys, verb, root)
        assert code in (1, 5)
        assert name.rpartition("/")[2] in said


def odd_files(folder_of):
    """Files that cannot be taken in, and what is told of each: of one that came back, and of an old table."""
    (folder_of / "folder").mkdir()
    os.mkfifo(folder_of / "pipe.csv")
    (folder_of / "loop.csv").symlink_to("loop.csv")
    with open(folder_of / "large.csv", "wb") as handle:
        handle.truncate(20_000_001)
    pipe = ("a device or a pipe; expected a file. Save what it gives in a file first.",) * 2
    return {
        "folder": (
            f"a folder; expected a file. Name the files in it: {folder_of}/folder/*",
            "a folder; expected a table as CSV or xlsx. Name the file in it.",
        ),
        "pipe.csv": pipe,
        "/dev/zero": pipe,
        "loop.csv": (
            "cannot be read (Too many levels of symbolic links); expected a file that came back.",
            "cannot be read (Too many levels of symbolic links); expected the old table. Look at its name and "
            "permissions.",
        ),
        "large.csv": (
            "20,000,001 bytes; expected at most 20,000,000 bytes.",
            "20,000,001 bytes; expected at most 20,000,000 bytes. Copy the table alone into a file.",
        ),
        "none.csv": (
            f"there is no such file; expected a file that came back. It was looked for in {folder_of.resolve()}. Did "
            "you mean 'old.csv'?",
            "there is no such file; expected the old table. Look at the path.",
        ),
    }


def test_what_is_no_file_is_not_taken_in_nor_waited_for(capsys, states, tmp_path):
    root = states.copy("intake", tmp_path / "c")
    before = folders.contents(root)
    faults = odd_files(tmp_path)
    told_of = {name: str(tmp_path / name) for name in faults}
    lines = "".join(f"  {told_of[name]}: {back}\n" for name, (back, _) in faults.items())
    assert told(capsys, "intake", root, *told_of.values()) == (1, f"wearbook intake: Nothing was taken in.\n{lines}")
    for name, (_, old) in faults.items():
        said = old if old.startswith(("cannot", "there", "20,")) else f"is {old}"
        assert told(capsys, "new", tmp_path / "begun", "--from-table", told_of[name]) == (
            1,
            f"wearbook new: {told_of[name]}: {said}\n",
        )
    assert folders.contents(root) == before
    assert not (tmp_path / "begun").exists()


@pytest.mark.parametrize("at", range(3))
def test_bytes_that_are_no_text_are_refused(capsys, states, tmp_path, at):
    root = states.copy("note", tmp_path / "c")
    before = folders.contents(root)
    odd = os.fsdecode(b"\xff-odd")
    words = (
        ("note", str(root), "R02", "--reason", odd, "--role", "x"),
        ("intake", str(root), odd),
        ("new", odd),
    )[at]
    assert told(capsys, *words) == (
        2,
        "wearbook: '\\udcff-odd' holds bytes that are no text in UTF-8; rename it.\n",
    )
    assert folders.contents(root) == before
