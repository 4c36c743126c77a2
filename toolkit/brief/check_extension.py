"""Checks of the extension: further builds or replicates beside those of the main phase (rank 2).

None stands for what was refused already; every function gives what it finds.
"""

from __future__ import annotations

from toolkit.brief import check_plan
from toolkit.brief.found import Found, Loc, number, quoted, within
from toolkit.brief.model import UNDONE, Brief


def extension(brief: Brief) -> list[Found]:
    """What is wrong with the extension."""
    given = brief.extension
    if given is None:
        return []
    made = []
    for key in ("builds", "replicates"):
        most = check_plan.MOST[key]
        made += within(
            ("extension", key),
            getattr(given, key),
            lambda v, most=most: 0 <= v <= most,
            f"a whole number from 0 to {most} (0: not chosen yet)",
        )
    if given.combinations:
        made += check_plan.combinations(
            brief, given.combinations, ("extension", "combinations"), "Leave it out for all of them."
        )
    if all(item is None or item.undo in (None, *UNDONE) for item in brief.factors):
        made += _layout(brief)
    return made


def _layout(brief: Brief) -> list[Found]:
    """Keys that the layout has no use for, and the layout that cannot be extended."""
    given = brief.extension
    undo = (("campaign", "new_each_run"), *(("factor", at, "undo") for at in range(len(brief.factors))))
    whole = check_plan.of_build(brief)
    if whole:
        words = f"an extension though factor {quoted(whole[0].name or '')} is changed with the build"
        remedy = "Further builds as units of a factor are not covered yet: plan them in [plan] from the start."
        return [Found(("extension",), words, "no [extension]", remedy, rests_on=undo)]
    blocked: tuple[Loc, ...] = (("blocks",), *undo)
    made = []
    if brief.block_by == "build":
        if (given.replicates or 0) > 0:
            words = f"{number(given.replicates)} though builds are blocks"
            remedy = "Give builds: each holds what a build of the main phase holds."
            made.append(Found(("extension", "replicates"), words, "builds", remedy, rests_on=blocked))
        if given.combinations:
            words = f"{len(given.combinations)} of them though builds are complete blocks"
            remedy = "Delete the line: a build holds every combination."
            made.append(Found(("extension", "combinations"), words, "none", remedy, rests_on=blocked))
    elif brief.block_by is None and (given.builds or 0) > 0:
        words = f"{number(given.builds)} though there are no blocks"
        made.append(Found(("extension", "builds"), words, "replicates", "Give replicates.", rests_on=blocked))
    return made
