"""Two commands at once on one folder: every entry is kept, every pair of verbs ends well."""

from __future__ import annotations

import itertools
import os
import signal
import time
from collections import Counter

import pytest

from tests.robust import folders
from toolkit.campaign import folder, log, seal, storage, verify

EACH = 50


def enter(root, who, ready):
    """Enter rows under the lock."""
    ready.wait()
    for number in range(EACH):
        with storage.locked(root):
            log.append(root, kind="note", subject=f"{who} {number}")


def test_two_processes_lose_no_entry(tmp_path):
    ready = folders.FORK.Barrier(2)
    both = [folders.FORK.Process(target=enter, args=(tmp_path, who, ready)) for who in "ab"]
    for process in both:
        process.start()
    for process in both:
        process.join()
    assert [process.exitcode for process in both] == [0, 0]
    rows = log.read(tmp_path)
    assert len(rows) == 2 * EACH
    assert {row["subject"] for row in rows} == {f"{who} {number}" for who in "ab" for number in range(EACH)}
    # Each in its own order.
    for who in "ab":
        mine = [row["subject"] for row in rows if row["subject"].startswith(who)]
        assert mine == [f"{who} {number}" for number in range(EACH)]


def at_once(verb, root, ready, told):
    """Run a verb together with the other one."""
    ready.wait()
    told.put((verb, folders.attempt(verb, root)))


def pairs():
    """Every pair of verbs, each with itself too."""
    return list(itertools.combinations_with_replacement(folders.VERBS, 2))


@pytest.mark.parametrize("pair", pairs(), ids=" x ".join)
def test_two_verbs_at_once_end_as_if_one_came_after_the_other(states, tmp_path, pair):
    # On the later of both states; planning a phase that is sealed gives its plan back.
    late = next((verb for verb in pair if verb in ("analyse", "report")), pair[0])
    root = states.copy(late, tmp_path / "c")
    before = Counter(row["kind"] for row in log.read(root))
    ready, told = folders.FORK.Barrier(2), folders.FORK.SimpleQueue()
    both = [folders.FORK.Process(target=at_once, args=(verb, root, ready, told)) for verb in pair]
    for process in both:
        process.start()
    ended = sorted(told.get() for _ in both)
    for process in both:
        process.join()
    taken = (
        f"CampaignError: {root / 'begun'}: holds a campaign.toml already; nothing was written. Choose another folder."
    )
    expected = [("new", ""), ("new", taken)] if pair == ("new", "new") else sorted((verb, "") for verb in pair)
    assert ended == expected
    assert folders.unreadable(root) == []
    assert folders.strays(root) == []
    verify.verify(folder.open_campaign(root))
    added = Counter(row["kind"] for row in log.read(root)) - before
    looks = sum(verb in ("analyse", "report") for verb in pair)
    sealed = "plan" in pair and not looks
    wanted = {"look": looks} if looks else {}
    assert added == Counter(wanted | ({seal.SEALING: 1, seal.SEALED: 1} if sealed else {}))
    here = folders.contents(root)
    for verb in pair:
        for name, content in states.new(verb).items():
            if name != "log.csv" and not name.startswith("plan/1-main/plan."):
                assert here[name] == content


def hold(root, ring):
    """Hold a folder for ever."""
    with storage.locked(root):
        os.write(ring, b"h")
        time.sleep(600)


def test_the_lock_of_a_command_that_was_killed_falls_at_once(tmp_path):
    here, there = os.pipe()
    holder = folders.FORK.Process(target=hold, args=(tmp_path, there))
    holder.start()
    os.read(here, 1)
    told = (tmp_path / ".wearbook.holder").read_text()
    assert told.startswith(f"process {holder.pid} on ")
    os.kill(holder.pid, signal.SIGKILL)
    holder.join()
    os.close(here)
    os.close(there)
    begun = time.monotonic()
    with storage.locked(tmp_path):
        assert time.monotonic() - begun < 2
        assert (tmp_path / ".wearbook.holder").read_text().startswith(f"process {os.getpid()} on ")
    assert folders.strays(tmp_path) == []


def test_a_wait_ends_when_the_other_command_does(tmp_path):
    with storage.locked(tmp_path):
        ready = folders.FORK.Barrier(1)
        waiting = folders.FORK.Process(target=enter, args=(tmp_path, "late", ready))
        waiting.start()
        time.sleep(0.3)
        assert log.read(tmp_path) == []
    waiting.join()
    assert waiting.exitcode == 0
    assert len(log.read(tmp_path)) == EACH
