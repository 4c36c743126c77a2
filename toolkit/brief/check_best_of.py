"""Checks of the choices asked for (rank 2).

None stands for what was refused already; every function gives what it finds.
"""

from __future__ import annotations

from toolkit.brief.found import Found, Loc, quoted, repeats, within
from toolkit.brief.model import Brief
from toolkit.errors import listing, nearest


def best_of(brief: Brief) -> list[Found]:
    """What is wrong with the choices of the best level."""
    made = []
    given = [(at, item) for at, item in enumerate(brief.best_of) if item is not None]
    made += repeats(((("best_of", at, "factor"), item.factor) for at, item in given if item.factor), "best_of")
    names = [item.name for item in brief.factors if item is not None and item.name is not None]
    scales = {item.scale for item in brief.responses if item is not None}
    for at, item in given:
        loc: Loc = ("best_of", at)
        if item.factor is not None and item.factor not in names:
            made.append(
                Found(
                    (*loc, "factor"),
                    f"{quoted(item.factor)} is no factor",
                    listing(names) if names else "a factor of the brief",
                    nearest(item.factor, names) or "",
                    rests_on=(("factor",),),
                )
            )
        made += within((*loc, "gap_pct"), item.gap_pct, lambda v: 0 < v < 100, "more than 0 and less than 100")
        made += within((*loc, "gap"), item.gap, lambda v: v > 0, "a number above 0")
        for wrong, right, scale in (("gap_pct", "gap", "log"), ("gap", "gap_pct", "linear")):
            if getattr(item, wrong) is not None and scales and scales <= {"log", "linear"} and scale not in scales:
                made.append(
                    Found((*loc, wrong), f"no response is on the {scale} scale", right, rests_on=(("response",),))
                )
    return made
