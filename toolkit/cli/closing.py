"""What a verb leaves behind: its result, what it wrote, what comes next, or why it was refused (rank 11).

Results go to stdout, as text or as one JSON document; everything else goes to stderr.
"""

from __future__ import annotations

import argparse
import json
import shlex
import sys
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from toolkit.errors import WearbookError

if TYPE_CHECKING:
    from toolkit.campaign.tried_out import TriedOut

# Verbs that show wear: each of their runs is a look, which has to be on record.
LOOKS = ("analyse", "next", "report")
_KEPT = "derived/recordings/"


def out(given: argparse.Namespace, result: Any, text: Callable[[], str]) -> None:
    """The result on stdout: JSON when asked for, else text; of a verb that is tried out what it would write too."""
    tried = _tried(given)
    # Wear may be seen only where the log says so, and nothing is logged here.
    shown = tried is None or given.verb not in LOOKS
    if given.json:
        document(given, result.to_json() if shown else {})
        return
    if shown:
        print(_named(given, text()))
    if tried is not None:
        print("\n".join([""] * shown + _would_write(given)))


def document(given: argparse.Namespace, told: Mapping[str, Any]) -> None:
    """One JSON document on stdout; what is refused after it is told on stderr alone."""
    tried = _tried(given)
    if tried is not None:
        told = {**told, "dry_run": tried.changes()}
    print(_named(given, json.dumps(told, indent=1, ensure_ascii=False, allow_nan=False)))
    given.told = True


def refused(given: argparse.Namespace, message: str, code: int, problem: Exception | None = None) -> int:
    """Why a verb was refused: on stderr, and as the one JSON document where it is asked for; gives the exit code."""
    tell(_named(given, message))
    more = _more(problem, given.verb) if isinstance(problem, WearbookError) else ""
    if more:
        tell(more)
    if getattr(given, "json", False) and not getattr(given, "told", False):
        found = problem.faults if isinstance(problem, WearbookError) else ()
        faults = [
            {"where": item.where, "found": item.found, "expected": item.expected, "remedy": item.remedy}
            for item in found
        ]
        told = {"verb": given.verb, "exit_code": code, "message": message, "faults": faults, "more": more}
        document(given, {"refused": told})
    return code


def _more(problem: WearbookError, verb: str) -> str:
    """Where more is said of what an error is about."""
    from toolkit.explain import subjects

    return subjects.more(problem, verb)


def tell(*lines: str) -> None:
    """Lines on stderr."""
    for line in lines:
        print(line, file=sys.stderr)


def close(given: argparse.Namespace, wrote: str, *steps: str, campaign: Any = None) -> None:
    """What was written and what comes next, on stderr: the last lines of every verb.

    Parameters
    ----------
    given : Namespace
    wrote : str
        What was written; 'nothing' where nothing was.
    steps : str
        What comes next after this verb; ``CAMPAIGN`` stands for the folder.
    campaign : Campaign, optional
        What its status says comes next follows.
    """
    if _tried(given) is not None:
        tell("wrote nothing (--dry-run)", "next: the same command without --dry-run")
        return
    found = list(steps)
    if campaign is not None:
        from toolkit.campaign import status

        found += status.status(campaign).next
    tell(f"wrote {wrote}", *(f"next: {step.replace(' CAMPAIGN', named(given))}" for step in found))


def _tried(given: argparse.Namespace) -> TriedOut | None:
    """The verb as it is tried out; None where it is carried out."""
    found: TriedOut | None = getattr(given, "tried_out", None)
    return found


def _named(given: argparse.Namespace, text: str) -> str:
    """A text with the person's own files in place of those that a verb is tried out on."""
    tried = _tried(given)
    return text if tried is None else tried.as_named(text)


def _would_write(given: argparse.Namespace) -> list[str]:
    """What a verb that is tried out would write, a line a file; what is kept of recordings in one line."""
    tried = _tried(given)
    changes = {} if tried is None else tried.changes()
    kept = {what: sum(name.startswith(_KEPT) for name in names) for what, names in changes.items()}
    told = [(what, name) for what, names in changes.items() for name in names if not name.startswith(_KEPT)]
    told += [(what, f"{_KEPT} ({count} of them)") for what, count in kept.items() if count]
    lines = [f"  {what.replace('_', ' ')}: {name}" for what, name in told]
    return ["would write:", *lines] if lines else ["would write nothing"]


def so_far(done: int, of: int, seconds: float) -> str:
    """How long it has taken and about how long it will still take.

    Examples
    --------
    >>> so_far(3, 8, 21.2)
    '21 s, about 35 s left'
    >>> so_far(8, 8, 60.0)
    '60 s'
    """
    left = seconds / done * (of - done) if done else 0.0
    return f"{seconds:.0f} s" + (f", about {left:.0f} s left" if left >= 1 else "")


def named(given: argparse.Namespace) -> str:
    """The campaign as the person typed it, for the next command."""
    campaign = getattr(given, "campaign", "")
    return f" {shlex.quote(campaign)}" if campaign else ""
