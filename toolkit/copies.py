"""A copy of this process that works beside it: for work whose imports take longer than it does (rank 2).

A process started anew would have to import everything first; a fork has it already. What both make of a task is the
same, so it is never told which of them did it.
"""

from __future__ import annotations

import multiprocessing
import os
import sys
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import Any, Generic, TypeVar

from toolkit.parallel import begin

Result = TypeVar("Result")


class Copy:
    """A copy of this process that does some of its tasks beside it: see ``copied``."""

    def __init__(self, here: Any, process: Any) -> None:
        """Over this end of a pipe, whose other end the process has."""
        self._here = here
        self._process = process

    def take(self, tasks: Sequence[Callable[[], Any]]) -> bool:
        """Hand tasks over, to be asked for by number; False where the copy is gone or they cannot be handed over."""
        # In one piece, so that what tasks share is handed over once. What cannot be is done here.
        with suppress(Exception):
            self._here.send(list(tasks))
            return True
        return False

    def ask(self, at: int) -> bool:
        """Have the copy do the task with this number, after those asked for before; False where it is gone."""
        with suppress(OSError):
            self._here.send(at)
            return True
        return False

    def ready(self) -> bool:
        """True where there is something to hear, be it that the copy is gone."""
        return bool(self._here.poll())

    def hear(self) -> tuple[Any, ...]:
        """What the next of the tasks asked for made, in a tuple; nothing in it where it failed or the copy is gone."""
        with suppress(EOFError, OSError):
            return tuple(self._here.recv())
        return ()

    def end(self) -> None:
        """Leave no process behind."""
        self._here.close()
        self._process.terminate()
        self._process.join()


@contextmanager
def copied(*load: Callable[[], object]) -> Iterator[Copy | None]:
    """A copy of this process for as long as the block lasts; None where none is safe or of use.

    Parameters
    ----------
    *load : callable
        What the copy does while nothing is asked of it: imports that its tasks will need.

    Yields
    ------
    Copy or None
        To be given to ``in_turn``. None elsewhere than on Linux, on a single core, and beside other threads: a lock
        that one of them holds would be held in the copy for ever. So never from a notebook. A copy has everything
        loaded that this process has; a process started anew would take longer to load it than the work takes.

    Notes
    -----
    However this process ends, the copy ends with it. Checked against: interrupted and killed in the middle,
    tests/unit/test_copies.py.
    """
    copy = _forked(load) if _may_fork() else None
    try:
        yield copy
    finally:
        if copy is not None:
            copy.end()


def in_turn(tasks: Sequence[Callable[[], Result]], copy: Copy | None = None) -> list[Result]:
    """Give back what each task makes, in the order of the tasks; a copy of this process does some of them.

    Parameters
    ----------
    tasks : sequence of callable
        Without arguments, none of which needs another one's result or writes anything; the longest ones first.
    copy : Copy, optional
        From ``copied``; without one everything is done here.

    Returns
    -------
    list
        Tasks that the copy did not bring to an end are done here, so that a fault is raised here as without a copy.

    Notes
    -----
    Checked against: equal results with and without a copy, with one that is killed, tests/unit/test_copies.py; equal
    bytes of reports, tests/robust/test_determinism.py.
    """
    return Begun(tasks, copy).results()


class Begun(Generic[Result]):
    """Tasks of which a copy of this process has begun some, while this one goes on with something else."""

    def __init__(self, tasks: Sequence[Callable[[], Result]], copy: Copy | None = None) -> None:
        """Have the copy begin; tasks and copy as for ``in_turn``."""
        self._tasks = tasks
        self._copy = copy if copy is not None and len(tasks) > 1 and copy.take(tasks) else None
        self._made: dict[int, Result] = {}
        self._free, self._asked = deque(range(len(tasks))), deque[int]()
        self._ask()

    def results(self) -> list[Result]:
        """What each task makes, in their order: the copy works from the first one on, this process back from the last.

        Tasks that the copy did not bring to an end are done here.
        """
        while self._copy is not None and (self._free or self._asked):
            self._ask()
            if self._free:
                at = self._free.pop()
                self._made[at] = self._tasks[at]()
            while self._asked and (not self._free or self._copy.ready()):
                at = self._asked.popleft()
                self._made.update((at, one) for one in self._copy.hear())
        return [self._made[at] if at in self._made else task() for at, task in enumerate(self._tasks)]

    def _ask(self) -> None:
        """Ask the copy for one more than it is at work on, so that it need not wait, but for the last few."""
        while self._copy is not None and self._free and len(self._asked) < (2 if len(self._free) > 2 else 1):
            if not self._copy.ask(self._free[0]):
                break
            self._asked.append(self._free.popleft())


def _may_fork() -> bool:
    """True where a copy of this process would have a core of its own, and nothing of it that waits for a thread."""
    if sys.platform != "linux":
        return False
    return len(os.sched_getaffinity(0)) > 1 and len(os.listdir("/proc/self/task")) == 1


def _forked(load: Sequence[Callable[[], object]]) -> Copy | None:
    """A copy at work; None where no process can be started any more."""
    context = multiprocessing.get_context("fork")
    here, there = context.Pipe()
    process = context.Process(target=_as_copy, args=(here, there, load), daemon=True)
    try:
        process.start()
    except OSError:
        here.close()
        return None
    finally:
        there.close()
    return Copy(here, process)


def _as_copy(here: Any, there: Any, load: Sequence[Callable[[], object]]) -> None:
    """Do the tasks asked for and send what they make; what fails is done again, and told, by the process copied."""
    here.close()
    begin()
    unloaded, tasks = deque(load), []
    with suppress(Exception):
        while True:
            if unloaded and not there.poll():
                with suppress(ImportError):
                    unloaded.popleft()()
                continue
            asked = there.recv()
            if isinstance(asked, list):
                tasks = asked
                continue
            try:
                there.send((tasks[asked](),))
            except Exception:
                there.send(())
