"""What a copy of a process makes is what the process makes; nothing of it is left, whatever ends it."""

import multiprocessing
import os
import signal
import subprocess
import sys
import threading
import time
from functools import partial
from pathlib import Path

import pytest

from toolkit import copies
from toolkit.errors import ModelError

ROOT = Path(__file__).parents[2]
TWO_CORES = len(os.sched_getaffinity(0)) > 1
ALONE = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}

IN_TURN = """
import os, sys, time
from functools import partial
from toolkit import copies

first = os.getpid()

def work(number):
    time.sleep(0.05)
    if {deadly} and os.getpid() != first:
        os._exit(9)
    return number, os.getpid() == first

with copies.copied() as copy:
    if copy is not None:
        made = [copies.in_turn([partial(work, number) for number in range(6)], copy) for _ in range(2)]
    else:
        made = [copies.in_turn([partial(work, number) for number in range(6)])] * 2
print([[number for number, _ in one] for one in made], {{here for _, here in made[0]}} == {{True, False}})
"""


def here(number):
    """The task's number and the process it is done in."""
    return number, os.getpid()


@pytest.mark.parametrize("deadly", [False, True])
def test_a_copy_does_some_of_the_tasks_and_what_it_leaves_is_done_here(deadly):
    ended = subprocess.run(
        [sys.executable, "-c", IN_TURN.format(deadly=deadly)], cwd=ROOT, capture_output=True, text=True, env=ALONE
    )
    assert ended.stderr == ""
    parted = TWO_CORES and not deadly
    assert ended.stdout == f"[[0, 1, 2, 3, 4, 5], [0, 1, 2, 3, 4, 5]] {parted}\n"


def test_beside_another_thread_nothing_is_copied():
    ready = threading.Event()
    waits = threading.Thread(target=ready.wait)
    waits.start()
    with copies.copied() as copy:
        assert copy is None
        made = copies.in_turn([partial(here, number) for number in range(3)], copy)
    ready.set()
    waits.join()
    assert made == [(number, os.getpid()) for number in range(3)]


def missing():
    """As the import of a module that is not there."""
    raise ImportError


def ready():
    """Leave a mark in the process."""
    sys.modules["made_ready"] = sys


@pytest.fixture
def copied(monkeypatch):
    """A copy of this process, whatever runs in it: the tests have no thread that holds a lock."""
    monkeypatch.setattr(copies, "_may_fork", lambda: True)
    with copies.copied(missing, ready) as copy:
        yield copy
    assert multiprocessing.active_children() == []


def loaded():
    """Whether the module that is to be loaded stands ready, in a copy."""
    time.sleep(0.05)
    return "made_ready" in sys.modules, os.getpid()


def test_a_copy_loads_what_it_is_told_while_it_waits_and_a_module_that_is_not_there_is_none_of_its_worries(copied):
    time.sleep(0.5)
    (there, it), (here_too, me) = copies.in_turn([loaded, loaded], copied)
    assert (there, it != os.getpid(), here_too, me) == (True, True, False, os.getpid())


def test_what_cannot_be_handed_over_or_sent_back_is_done_here(copied):
    first = os.getpid()
    assert copies.in_turn([lambda: os.getpid(), lambda: os.getpid()], copied) == [first, first]
    # A lock cannot be sent back.
    made = copies.in_turn([threading.Lock, partial(here, 1)], copied)
    assert (type(made[0]), made[1]) == (type(threading.Lock()), (1, first))
    # And the copy is still there for what can.
    assert {process for _, process in copies.in_turn([partial(slow, 0), partial(slow, 1)], copied)} > {first}


def slow(number):
    """A task that takes a while."""
    time.sleep(0.2)
    return number, os.getpid()


def at_fault(first):
    """A task that is refused."""
    raise ModelError(f"refused {'here' if os.getpid() == first else 'in the copy'}")


def test_a_fault_in_the_copy_is_raised_here(copied):
    with pytest.raises(ModelError, match="^refused here$"):
        copies.in_turn([partial(at_fault, os.getpid()), partial(slow, 1)], copied)


def test_the_last_few_tasks_are_not_kept_waiting_for_the_copy(copied):
    # Two tasks: one for each process.
    assert len({process for _, process in copies.in_turn([partial(slow, 0), partial(slow, 1)], copied)}) == 2


INTERRUPTED = """
import os, sys, time
from toolkit import copies

def work():
    print(os.getpid(), flush=True)
    time.sleep(60)

try:
    with copies.copied() as copy:
        copies.in_turn([work, work], copy)
except KeyboardInterrupt:
    sys.exit(130)
"""


def _listening():
    """Let Ctrl-C through, which a shell turns off for what runs in its background."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGKILL])
def test_whatever_ends_it_no_copy_is_left(sent):
    with subprocess.Popen(
        [sys.executable, "-c", INTERRUPTED],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
        env=ALONE,
        preexec_fn=_listening,
    ) as begun:
        working = {int(begun.stdout.readline()) for _ in range(2 if TWO_CORES else 1)}
        begun.send_signal(sent)
        assert begun.wait(30) == (130 if sent == signal.SIGINT else -signal.SIGKILL)
        until = time.monotonic() + 20
        while (left := [pid for pid in working if Path(f"/proc/{pid}").exists()]) and time.monotonic() < until:
            time.sleep(0.05)
        assert left == []
