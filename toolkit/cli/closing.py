"""What a verb leaves behind: its result, what it wrote, what comes next, or why it was refused (rank 11).

Results go to stdout, as text or as one JSON document; everything else goes to stderr.
"""

from __future__ import annotations

import argparse
import json
import shlex
import sys
from collections.abc import Callable, Mapping
from typing import Any

from toolkit.errors import WearbookError


def out(given: argparse.Namespace, result: Any, text: Callable[[], str]) -> None:
    """The result on stdout: JSON when asked for, else text."""
    if given.json:
        document(given, result.to_json())
    else:
        print(text())


def document(given: argparse.Namespace, told: Mapping[str, Any]) -> None:
    """One JSON document on stdout; what is refused after it is told on stderr alone."""
    print(json.dumps(told, indent=1, ensure_ascii=False, allow_nan=False))
    given.told = True


def refused(given: argparse.Namespace, message: str, code: int, problem: Exception | None = None) -> int:
    """Why a verb was refused: on stderr, and as the one JSON document where it is asked for; gives the exit code."""
    print(message, file=sys.stderr)
    more = _more(problem, given.verb) if isinstance(problem, WearbookError) else ""
    if more:
        print(more, file=sys.stderr)
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
    found = list(steps)
    if campaign is not None:
        from toolkit.campaign import status

        found += status.status(campaign).next
    tell(f"wrote {wrote}", *(f"next: {step.replace(' CAMPAIGN', named(given))}" for step in found))


def named(given: argparse.Namespace) -> str:
    """The campaign as the person typed it, for the next command."""
    campaign = getattr(given, "campaign", "")
    return f" {shlex.quote(campaign)}" if campaign else ""
