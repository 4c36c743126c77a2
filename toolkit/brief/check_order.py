"""Checks of the limits on the run order (rank 2)."""

from __future__ import annotations

from toolkit.brief.found import Found, within
from toolkit.brief.model import Brief


def order(brief: Brief) -> list[Found]:
    """What is wrong with [order]."""
    asked = brief.order
    if asked is None:
        return []
    made = []
    for key in ("most_linear", "most_quadratic"):
        made += within(("order", key), getattr(asked, key), lambda v: 0 <= v < 1, "a correlation, from 0 to below 1")
    if brief.old_data is not None:
        told = "Delete [order]."
        made.append(Found(("order",), "limits though the runs are old data", "runs that are still to be drawn", told))
        return made
    if asked.most_linear is None and asked.most_quadratic is None and not made:
        words = "neither most_linear nor most_quadratic"
        made.append(Found(("order",), words, "at least one of them", "Write most_linear = 0.2, or delete [order]."))
    if not brief.comparisons:
        words = "limits on how comparisons follow the run order, and there is no comparison"
        remedy = "Add a [[comparison]], or delete [order]."
        made.append(Found(("order",), words, "at least one comparison", remedy, rests_on=(("comparison",),)))
    return made
