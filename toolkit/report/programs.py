"""The one place that starts other programs: JupyterLab and Chromium, by their path and a list of words (rank 10)."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import threading
from collections.abc import Mapping, Sequence

from toolkit.errors import CampaignError

CHROMIUM = "WEARBOOK_CHROMIUM"
_NAMES = ("chromium", "chromium-browser")


def chromium() -> str | None:
    """The path of Chromium on this machine; None where there is none. ``WEARBOOK_CHROMIUM`` names another one."""
    named = os.environ.get(CHROMIUM)
    return shutil.which(named) if named else next(filter(None, map(shutil.which, _NAMES)), None)


def finish(words: Sequence[str], *, patience_s: float) -> str:
    """Start a program, wait for its end, and give what it said on stderr; its standard input is closed.

    Raises
    ------
    CampaignError
        When it cannot be started, ends with another code than 0 or takes too long (it is stopped then).
    """
    name = os.path.basename(words[0])
    try:
        ended = subprocess.run(
            list(words), stdin=subprocess.DEVNULL, capture_output=True, timeout=patience_s, check=False
        )
    except subprocess.TimeoutExpired as problem:
        raise CampaignError(f"{name}: did not end within {patience_s:g} s and was stopped. Repeat it.") from problem
    except OSError as problem:
        raise CampaignError(
            f"{name}: could not be started ({problem.strerror or problem}). Look whether it is installed."
        ) from problem
    said = ended.stderr.decode("utf-8", "replace").strip()
    if ended.returncode:
        last = said.splitlines()[-1] if said else "it said nothing"
        raise CampaignError(f"{name}: ended with {ended.returncode} ({last}). Mend what it tells, then repeat.")
    return said


def stay(words: Sequence[str], *, folder: str, environment: Mapping[str, str]) -> int:
    """Start a program in the person's terminal and stay with it until it ends; gives its exit code.

    Ctrl-C reaches the program as well, which ends in its own way; a request to end is passed on to it.
    """
    running = subprocess.Popen(list(words), cwd=folder, env={**os.environ, **environment})
    before = signal.signal(signal.SIGTERM, lambda *_: running.terminate()) if _in_front() else None
    try:
        while True:
            try:
                ended = running.wait()
                # As a shell tells it of a program that a signal ended.
                return ended if ended >= 0 else 128 - ended
            except KeyboardInterrupt:
                continue
    finally:
        if before is not None:
            signal.signal(signal.SIGTERM, before)


def _in_front() -> bool:
    """Whether this is the thread that may say what a signal does."""
    return threading.current_thread() is threading.main_thread()
