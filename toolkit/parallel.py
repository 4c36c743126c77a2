"""The same work on many items, in one process or in several, with the same results either way.

Rank 1. Every item has random numbers of its own, spawned from one seed by the item's place, so that neither the number
of processes nor the order in which they end can change a result. Below about five seconds of work a second process
costs more than it saves.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from typing import Any, TypeVar

import numpy as np

from toolkit.errors import WearbookError, listing

Item = TypeVar("Item")
Result = TypeVar("Result")

ENGINES = ("auto", "serial", "processes")
# Starting processes that import numpy and scipy anew pays from about this much work [s] on two cores.
WORTH_IT = 5.0


def run_many(
    function: Callable[..., Result],
    items: Sequence[Item],
    *,
    seed: int | Sequence[int] | None = None,
    engine: str = "auto",
    processes: int | None = None,
    progress: Callable[[int, int], None] | None = None,
    named: Callable[[Item], str] | None = None,
) -> list[Result]:
    """Give back what a function makes of each item, in the order of the items.

    Parameters
    ----------
    function : callable
        Called with an item, and with a numpy Generator of that item's own when there is a seed. For more than one
        process it must stand in a module, by name.
    items : sequence
    seed : int or sequence of int, optional
        None: the function draws nothing.
    engine : str
        serial; processes; or auto: serial when the first item lets expect less than five seconds for all of them.
    processes : int, optional
        At least 1; left out: two, or one where there is a single core.
    progress : callable, optional
        Called with (items done, items in all) after each of them, in their order.
    named : callable, optional
        What an item is called in a message; left out: its place alone.

    Returns
    -------
    list

    Raises
    ------
    WearbookError
        When the engine is none of the three, or a process ended before its work was done. An error of the function is
        raised as it is (of the first item in order that has one), its text led by the item's name.
    KeyboardInterrupt
        When interrupted; no process is left behind then.

    Notes
    -----
    Spawned seeds: numpy's SeedSequence. Checked against: equal results of one, two and three processes,
    tests/unit/test_parallel.py.
    """
    if engine not in ENGINES:
        raise WearbookError(f"engine '{engine}': expected {listing(ENGINES)}.")
    if processes is not None and processes < 1:
        raise WearbookError(f"{processes} processes were asked for; expected 1 or more.")
    seeds = [None] * len(items) if seed is None else np.random.SeedSequence(seed).spawn(len(items))
    work = [(function, item, own) for item, own in zip(items, seeds, strict=True)]
    count = min(processes or min(2, os.cpu_count() or 1), len(work))
    made: list[Result] = []

    def done(result: Result) -> None:
        """Keep a result and tell of it."""
        made.append(result)
        if progress is not None:
            progress(len(made), len(work))

    def name(at: int) -> str:
        """What the item at a place is called."""
        told = f"item {at + 1} of {len(work)}"
        return f"{told} ({named(items[at])})" if named is not None else told

    start = time.perf_counter()
    while len(made) < len(work) and engine != "processes":
        expected = (time.perf_counter() - start) * (len(work) - len(made)) / max(len(made), 1)
        if engine == "auto" and made and count > 1 and expected >= WORTH_IT:
            break
        with _named(name(len(made))):
            result = _one(*work[len(made)])
        done(result)
    if len(made) < len(work):
        _in_processes(work[len(made) :], min(count, len(work) - len(made)), done, lambda: name(len(made)))
    return made


def _one(function: Callable[..., Result], item: Any, own: np.random.SeedSequence | None) -> Result:
    """The work on one item."""
    return function(item) if own is None else function(item, np.random.default_rng(own))


@contextmanager
def _named(name: str) -> Iterator[None]:
    """Lead the text of an error with the name of its item; errors that are not for the person get it as a note."""
    try:
        yield
    except WearbookError as problem:
        problem.args = (f"{name}: {problem}",)
        raise
    except Exception as problem:
        problem.add_note(f"while working on {name}")
        raise


def _in_processes(
    work: Sequence[tuple[Any, ...]], count: int, done: Callable[[Any], None], name: Callable[[], str]
) -> None:
    """All of the work in several processes; whatever goes wrong, none of them is left."""
    before = set(multiprocessing.active_children())
    # Spawned, not forked: a fork copies locks that another thread of a notebook may hold.
    pool = ProcessPoolExecutor(count, multiprocessing.get_context("spawn"), initializer=begin)
    try:
        for waited in [pool.submit(_one, *one) for one in work]:
            try:
                with _named(name()):
                    result = waited.result()
            except BrokenProcessPool as problem:
                raise WearbookError(
                    f"{name()}: a process that worked beside this one ended before its work was done (stopped by "
                    f"hand, or out of memory; or a script that calls this outside of 'if __name__ == \"__main__\":'). "
                    f"Nothing is left running; run it again, with engine 'serial' if need be."
                ) from problem
            done(result)
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        for child in set(multiprocessing.active_children()) - before:
            child.terminate()
            child.join()
        raise
    finally:
        pool.shutdown(wait=True)


def begin() -> None:
    """Leave Ctrl-C to the process that started this one, and end when that one is gone: first of all in a process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: Any) -> None:
    """End this process as soon as its parent has ended, however it did."""
    parent.join()
    os._exit(1)
