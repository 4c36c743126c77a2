"""Verbs in processes of their own: as a command, killed at a moment, and functions that compute once."""

from __future__ import annotations

import contextlib
import io
import multiprocessing
import os
import signal
import sys
import time
from collections.abc import Callable
from typing import Any

from toolkit.cli import main

FORK = multiprocessing.get_context("fork")


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
