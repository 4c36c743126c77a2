"""Two commands at once on one folder: every entry is kept, every pair of verbs ends well."""

from __future__ import annotations

import itertools
import os
import random
import re
import signal
import time
from collections import Counter

from tests.robust import folders, processes
from toolkit.campaign import folder, log, storage, verify

EACH = 50


def enter(root, who, ready):
    """Enter rows under the lock."""
    ready.wait()
    for number in range(EACH):
        with storage.locked(root):
            log.append(root, kind="note", subject=f"{who} {number}")


def test_two_processes_lose_no_entry(tmp_path):
    ready = processes.FORK.Barrier(2)
    both = [processes.FORK.Process(target=enter, args=(tmp_path, who, ready)) for who in "ab"]
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


ALL = list(itertools.combinations_with_replacement(folders.VERBS, 2))
# Each verb is in one at least, beside another one that is drawn from the seed. With --kills every pair is run.


def pytest_generate_tests(metafunc):
    """The pairs that are run."""
    if "pair" in metafunc.fixturenames:
        draw = random.Random(metafunc.config.getoption("seed"))
        few = [(verb, draw.choice(list(folders.VERBS))) for verb in folders.VERBS]
        few = sorted({pair if pair in ALL else pair[::-1] for pair in few}, key=ALL.index)
        metafunc.parametrize("pair", ALL if metafunc.config.getoption("kills") else few, ids=" x ".join)


# What one of the two may be told when the other one came first.
BEGUN = "CampaignError: {root}/begun: holds a campaign.toml already; nothing was written. Choose another folder."
SEEN = re.compile(r"CampaignError: The note cannot be taken; nothing was written\.\n  run R02: its wear was seen on .*")
# The rows of the log that each verb adds, once.
ROWS = {
    "plan": ("sealing", "sealed"), "sheets": ("issued",), "sheets of an amended plan": ("issued",), "note": ("note",),
    "intake": ("taken in",) * 20, "intake of a file": ("taken in",), "amend": ("amending", "amended"),
}  # fmt: skip


def in_order(verb: str, told: str, pair: tuple[str, str], root) -> bool:
    """Whether a verb ended as it may beside the other one."""
    other = pair[pair[0] == verb]
    if told == BEGUN.format(root=root):
        return verb.startswith("new") and other.startswith("new")
    return not told or bool(verb == "note" and other in ("analyse", "report") and SEEN.match(told))


def test_two_verbs_at_once_end_as_if_one_came_after_the_other(states, tmp_path, pair):
    # On the later of both states: what was done before is given back then.
    wanted = [states.new(verb) for verb in pair]
    late = max((folders.VERBS[verb].state for verb in pair), key=folders.STATES.index)
    root = states.copy_of(late, tmp_path / "c")
    before = Counter(row["kind"] for row in log.read(root))
    ready, told = processes.FORK.Barrier(2), processes.FORK.SimpleQueue()
    both = [processes.FORK.Process(target=at_once, args=(verb, root, ready, told)) for verb in pair]
    for process in both:
        process.start()
    ended = [told.get() for _ in both]
    for process in both:
        process.join()
    assert [one for one in ended if not in_order(*one, pair, root)] == []
    assert [said for _, said in ended].count("") >= 1
    assert folders.unreadable(root) == []
    assert folders.strays(root) == []
    found = verify.verify(folder.open_campaign(root))
    assert [line for line in found.lines if "stopped" in line] == []
    added = Counter(row["kind"] for row in log.read(root)) - before
    looks = sum(verb in ("analyse", "report") for verb in pair)
    done = {verb for verb, said in ended if not said and folders.VERBS[verb].state == late}
    rows = Counter(kind for verb in done for kind in ROWS.get(verb, ()))
    # A verb of an earlier state may find its work done, or do it now.
    early = Counter(kind for verb in set(pair) - done for kind in ROWS.get(verb, ()))
    assert added["look"] == looks
    assert rows <= added - Counter(look=looks) <= rows + early
    if late == folders.VERBS[pair[0]].state == folders.VERBS[pair[1]].state and not any(said for _, said in ended):
        here = folders.contents(root)
        for new in wanted:
            for name, content in new.items():
                shared = folders.STAMPED_FILES.fullmatch(name) or name == "raw/manifest.csv"
                assert shared or here[name] == content


def hold(root, ring):
    """Hold a folder for ever."""
    with storage.locked(root):
        os.write(ring, b"h")
        time.sleep(600)


def test_the_lock_of_a_command_that_was_killed_falls_at_once(tmp_path):
    here, there = os.pipe()
    holder = processes.FORK.Process(target=hold, args=(tmp_path, there))
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
        ready = processes.FORK.Barrier(1)
        waiting = processes.FORK.Process(target=enter, args=(tmp_path, "late", ready))
        waiting.start()
        time.sleep(0.3)
        assert log.read(tmp_path) == []
    waiting.join()
    assert waiting.exitcode == 0
    assert len(log.read(tmp_path)) == EACH
