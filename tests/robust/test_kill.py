"""Killed at random moments while it writes, every verb leaves a whole folder, and completes when it is run again.

``python -m pytest tests/robust/test_kill.py --kills 200 --seed 1 -s`` kills each verb 200 times at moments drawn from
that seed; without the option 20 kills are spread over the verbs. What a lost power supply would do is not shown by
kills: see test_write_order.py.
"""

from __future__ import annotations

import os
import random
import shutil

import pytest

from tests.robust import folders, processes
from tests.unit import briefs
from toolkit.campaign import log, seal, storage
from toolkit.design import factorial, orders
from toolkit.errors import CampaignError, IntegrityError

IN_ALL = 20


def kills_of(config, verb: str) -> tuple[int, int]:
    """How often a verb is killed, and the seed: as asked for, or its share of all, each verb once at least."""
    kills, seed = config.getoption("kills"), config.getoption("seed")
    if kills is None:
        verbs = [*folders.VERBS, "rows of the log"]
        # The slowest one is killed once.
        others = [item for item in verbs if item != "sheets of an amended plan"]
        shares = verbs + random.Random(seed).choices(others, k=IN_ALL - len(verbs))
        kills = shares.count(verb)
    return kills, seed


@pytest.mark.parametrize("verb", folders.VERBS)
def test_a_killed_verb_leaves_a_whole_folder_and_completes_when_repeated(states, tmp_path, request, verb):
    wanted, seed = kills_of(request.config, verb)
    draw = random.Random(f"{seed} {verb}")
    # The report is written last, after an analysis that is a verb of its own.
    mark = ".html." if verb == "report" else ""
    old, new = states.old(verb), states.new(verb)
    spans = []
    for number in range(3 if request.config.getoption("kills") else 1):
        root = states.copy(verb, tmp_path / f"whole-{number}" / "c")
        code, seconds = processes.killed(lambda root=root: folders.VERBS[verb].run(root), None, mark)
        assert code == 0
        spans.append(seconds)
    span, kills, partly = sorted(spans)[len(spans) // 2], 0, 0
    for attempt in range(20 * wanted):
        root = states.copy(verb, tmp_path / f"{attempt}" / "c")
        wait = draw.uniform(0, span)
        code, _ = processes.killed(lambda root=root: folders.VERBS[verb].run(root), wait, mark)
        if code == -9:
            kills += 1
            partly += folders.contents(root) not in (old, new)
            assert folders.faults(root, old, new) == []
            folders.again(verb, root)
            assert folders.unfinished(root, old, new) == []
        shutil.rmtree(root.parent)
        if kills == wanted:
            break
    print(f"seed {seed}, {verb}: {kills} kills ({partly} between old and new) within {span * 1000:.0f} ms of writing")
    assert kills == wanted


def test_no_row_of_the_log_that_was_acknowledged_is_lost(tmp_path, request):
    kills, seed = kills_of(request.config, "rows of the log")
    print(f"seed {seed}, {kills} kills")
    draw = random.Random(seed)
    told = 0
    for _ in range(kills):
        here, there = os.pipe()

        def enter(there=there, here=here, begin=told):
            """Enter rows for ever; tell each after it is in."""
            os.close(here)
            number = begin
            while True:
                with storage.locked(tmp_path):
                    log.append(tmp_path, kind="note", subject=str(number), what="a note, with comma")
                number += 1
                os.write(there, b".")

        code, _ = processes.killed(enter, draw.uniform(0.05, 0.15), "")
        os.close(there)
        acknowledged = 0
        while more := os.read(here, 65536):
            acknowledged += len(more)
        os.close(here)
        rows = log.read(tmp_path)
        assert code == -9
        # The one under way may be in already.
        assert told + acknowledged <= len(rows) <= told + acknowledged + 1
        assert [row["subject"] for row in rows] == [str(number) for number in range(len(rows))]
        told = len(rows)
    assert told >= kills
    with storage.locked(tmp_path):
        assert folders.strays(tmp_path) == [".wearbook.holder"]
    assert folders.strays(tmp_path) == []


class Stopped(BaseException):
    """The command ends here, with nothing done any more."""


BRIEF = briefs.blocked()
# The log is told, runs.csv, plan.json, the log is told that it is done.
WRITES = 4


def order(seed=BRIEF.seed):
    """The plan of the main phase in a random order."""
    return orders.randomise(factorial.full(BRIEF), seed=seed)


def stop_at(patch, number, *, after):
    """Let the given rename be the last thing that happens, or the first one that does not happen."""
    seen = []
    real = os.replace

    def rename(old, new):
        """The real one, until it is time to stop."""
        seen.append(new)
        if len(seen) == number and not after:
            raise Stopped
        real(old, new)
        if len(seen) == number:
            raise Stopped

    patch.setattr(os, "replace", rename)


@pytest.mark.parametrize("after", [False, True])
@pytest.mark.parametrize("number", range(1, WRITES + 1))
def test_a_seal_stopped_between_any_two_writes_is_completed_by_planning_again(tmp_path, number, after):
    whole = seal.write(tmp_path / "whole", order(), sizing=None, data_exist=False)
    root = tmp_path / "c"
    with pytest.MonkeyPatch.context() as patch:
        stop_at(patch, number, after=after)
        with pytest.raises(Stopped):
            seal.write(root, order(), sizing=None, data_exist=False)
    done = number - 1 + after
    if done == 0:
        assert not seal.exists(root, "main")
        assert not seal.stopped(root, "main")
    elif done < 3:
        assert not seal.exists(root, "main")
        assert seal.stopped(root, "main")
    else:
        assert seal.exists(root, "main")
        assert seal.read(root, BRIEF, "main")["seal"] == whole["seal"]
        assert seal.stopped(root, "main") == (done == 3)
    held = seal.write(root, order(), sizing=None, data_exist=False)
    assert held["seal"] == whole["seal"]
    assert seal.read(root, BRIEF, "main") == held
    assert not seal.stopped(root, "main")
    kinds = [row["kind"] for row in log.read(root)]
    assert kinds == ["sealing"] * (2 if done in (1, 2) else 1) + ["sealed"]


def test_a_seal_that_was_stopped_before_its_plan_lay_there_binds_nobody(tmp_path):
    with pytest.MonkeyPatch.context() as patch:
        stop_at(patch, 2, after=True)
        with pytest.raises(Stopped):
            seal.write(tmp_path, order(), sizing=None, data_exist=False)
    held = seal.write(tmp_path, order(99), sizing=None, data_exist=False)
    assert seal.read(tmp_path, BRIEF, "main") == held
    subjects = [row["subject"] for row in log.read(tmp_path)]
    # Both attempts stay on record.
    assert subjects[0] != held["seal"]
    assert subjects[1:] == [held["seal"]] * 2


def test_a_plan_that_lies_there_binds_though_its_last_row_is_missing(tmp_path):
    with pytest.MonkeyPatch.context() as patch:
        stop_at(patch, 3, after=True)
        with pytest.raises(Stopped):
            seal.write(tmp_path, order(), sizing=None, data_exist=False)
    with pytest.raises(CampaignError) as told:
        seal.write(tmp_path, order(99), sizing=None, data_exist=False)
    assert "A sealed plan is never overwritten." in str(told.value)


def test_a_sealed_plan_that_was_taken_away_is_not_made_anew(tmp_path):
    seal.write(tmp_path, order(), sizing=None, data_exist=False)
    shutil.rmtree(tmp_path / "plan")
    with pytest.raises(IntegrityError) as told:
        seal.write(tmp_path, order(), sizing=None, data_exist=False)
    assert str(told.value) == (
        "plan of the main phase: the log says it was sealed, but its files are gone. Restore them from your backup."
    )
    assert not (tmp_path / "plan").exists()
