"""Writing whole files: atomic, flushed in the right order, under a lock, nothing left behind."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from datetime import UTC, datetime

import pytest

from toolkit.campaign import storage
from toolkit.errors import StorageError


def test_the_file_is_flushed_before_the_rename_and_the_folder_after(tmp_path, monkeypatch):
    calls = []
    real_fsync, real_replace = os.fsync, os.replace
    monkeypatch.setattr(os, "fsync", lambda handle: (calls.append("flush"), real_fsync(handle))[1])
    monkeypatch.setattr(os, "replace", lambda a, b: (calls.append("rename"), real_replace(a, b))[1])
    storage.write_text(tmp_path / "a" / "x.txt", "new")
    # The first is the folder in which the new folder was made.
    assert calls == ["flush", "flush", "rename", "flush"]
    assert (tmp_path / "a" / "x.txt").read_text() == "new"


@pytest.mark.parametrize("broken", ["fsync", "replace"])
def test_a_failing_disk_leaves_the_old_content_and_says_so(tmp_path, monkeypatch, broken):
    path = tmp_path / "x.txt"
    storage.write_text(path, "old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, broken, full)
    with pytest.raises(StorageError) as told:
        storage.write_text(path, "new")
    monkeypatch.undo()
    assert str(told.value) == (
        f"{path}: could not be written (No space left on device). The old content, if there was any, is "
        f"untouched. Free space or mend the permissions, then repeat."
    )
    assert path.read_text() == "old"
    assert [item.name for item in tmp_path.iterdir()] == ["x.txt"]


def test_a_kill_in_the_middle_leaves_a_whole_file(tmp_path):
    code = (
        "import sys; from pathlib import Path; from toolkit.campaign import storage\n"
        "print('go', flush=True)\n"
        "n = 0\n"
        "while True:\n"
        "    n += 1; storage.write_text(Path(sys.argv[1]) / 'x.txt', str(n % 10) * 200_000)\n"
    )
    for wait in (0.02, 0.05, 0.11, 0.17):
        child = subprocess.Popen([sys.executable, "-c", code, str(tmp_path)], stdout=subprocess.PIPE)
        child.stdout.readline()
        try:
            child.wait(timeout=wait)
        except subprocess.TimeoutExpired:
            child.kill()
        child.wait()
        child.stdout.close()
        if (tmp_path / "x.txt").exists():
            text = (tmp_path / "x.txt").read_text()
            assert len(text) == 200_000
            assert len(set(text)) == 1
    with storage.locked(tmp_path):
        assert storage.sweep(tmp_path) == 0
    assert {item.name for item in tmp_path.iterdir()} <= {"x.txt", storage.LOCK_NAME}


def test_stray_temporary_files_are_swept_at_the_start(tmp_path):
    (tmp_path / "derived").mkdir()
    (tmp_path / "derived" / ".x.txt.ab12.wearbook-tmp").write_text("half")
    with storage.locked(tmp_path):
        pass
    assert list((tmp_path / "derived").iterdir()) == []


def test_the_files_of_a_campaign_within_are_left_to_its_own_lock(tmp_path):
    inner = tmp_path / "old" / "campaign"
    with storage.locked(inner, make=True):
        (inner / ".x.txt.ab12.wearbook-tmp").write_text("under way")
        with storage.locked(tmp_path):
            assert (inner / ".x.txt.ab12.wearbook-tmp").exists()
    with storage.locked(inner):
        pass
    assert [path.name for path in inner.iterdir()] == [storage.LOCK_NAME]


@pytest.mark.parametrize("headless", ["", "1"])
def test_a_folder_that_another_command_holds_is_left_alone(tmp_path, monkeypatch, headless):
    # Headless notebooks of one campaign wait for each other, with a patience of their own.
    monkeypatch.setenv(storage.HEADLESS, headless)
    monkeypatch.setattr(storage, "_PATIENCE_HEADLESS_S" if headless else "_PATIENCE_S", 0.2)
    code = (
        "import sys; from pathlib import Path; from toolkit.campaign import storage\n"
        "with storage.locked(Path(sys.argv[1])):\n"
        "    print('held', flush=True); sys.stdin.read()\n"
    )
    child = subprocess.Popen([sys.executable, "-c", code, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    child.stdout.readline()
    with pytest.raises(StorageError) as told, storage.locked(tmp_path):
        pass
    child.communicate()
    said = re.fullmatch(
        re.escape(f"{tmp_path}: another command holds this campaign folder (process {child.pid} on ")
        + r"\S+ since (\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ)\); waited 0\.2 s\. Let it finish, then repeat\.",
        str(told.value),
    )
    assert said
    assert abs((datetime.now(UTC) - datetime.fromisoformat(said[1])).total_seconds()) < 60
    assert [path.name for path in tmp_path.iterdir()] == [storage.LOCK_NAME]
    assert told.value.exit_code == 4


def test_a_file_that_a_person_may_have_edited_is_never_overwritten(tmp_path):
    (tmp_path / "campaign.toml").write_text("mine")
    with pytest.raises(StorageError) as told:
        storage.write_new(tmp_path / "campaign.toml", "other")
    assert str(told.value) == (
        f"{tmp_path / 'campaign.toml'}: exists already and is not overwritten. Choose another folder or move it away."
    )
    assert (tmp_path / "campaign.toml").read_text() == "mine"
