"""Checks of what is said about old data (rank 2).

None stands for what was refused already; every function gives what it finds.
"""

from __future__ import annotations

from toolkit.brief.found import Found, quoted, same, word
from toolkit.brief.model import Brief
from toolkit.errors import listing, nearest

UNKNOWN, AS_LISTED = "unknown", "as listed"
REPEATS = ("runs", "readings", "none", "unknown")


def old_data(brief: Brief) -> list[Found]:
    """What is wrong with the section [old_data]."""
    given = brief.old_data
    if given is None:
        return []
    return [*word(("old_data", "repeats"), given.repeats, REPEATS), *_order(brief, given.order)]


def _order(brief: Brief, order: str | None) -> list[Found]:
    """An order that is neither of the two words nor a heading that is read."""
    if order is None or order in (UNKNOWN, AS_LISTED):
        return []
    tables = [item for item in brief.received or () if item is not None and item.table == "runs"]
    headings = [item.columns["actual_order"] for item in tables if "actual_order" in (item.columns or {})]
    known = [UNKNOWN, AS_LISTED, *(heading for heading in headings if isinstance(heading, str))]
    if same(" ".join(order.split())) in {same(" ".join(name.split())) for name in known}:
        return []
    remedy = nearest(order, known) or f"A column is named by actual_order = {quoted(order)} in [received.columns]."
    expected = f"{listing(known[:2])}, or the heading that [[received]] has for actual_order"
    rests_on = (("received",), *(("received", at, "columns") for at in range(len(brief.received or ()))))
    return [Found(("old_data", "order"), quoted(order), expected, remedy, rests_on=rests_on)]
