"""Checks of what is said about old data (rank 2).

None stands for what was refused already; every function gives what it finds.
"""

from __future__ import annotations

from toolkit.brief.found import Found, word
from toolkit.brief.model import Brief

UNKNOWN, AS_LISTED = "unknown", "as listed"
REPEATS = ("runs", "readings", "none", "unknown")


def old_data(brief: Brief) -> list[Found]:
    """What is wrong with the section [old_data]."""
    given = brief.old_data
    if given is None:
        return []
    made = word(("old_data", "repeats"), given.repeats, REPEATS)
    if given.order is not None and not given.order.strip():
        expected = f"'{UNKNOWN}', '{AS_LISTED}' or the heading of a column"
        made.append(Found(("old_data", "order"), "empty text", expected))
    return made
