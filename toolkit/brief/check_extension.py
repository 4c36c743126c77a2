"""Checks of the extension: further builds or replicates, and further runs that tell more than the main phase (rank 2).

None stands for what was refused already; every function gives what it finds.
"""

from __future__ import annotations

from toolkit.brief import check_extended, check_factors, check_plan, extensions
from toolkit.brief.found import Found, Loc, number, quoted, within, word
from toolkit.brief.model import UNDONE, Brief
from toolkit.errors import listing, nearest


def extension(brief: Brief) -> list[Found]:
    """What is wrong with the extension."""
    given = brief.extension
    if given is None:
        return []
    made = word(("extension", "design"), given.design, extensions.KINDS)
    for key in ("builds", "replicates", "centre_points"):
        most = check_plan.MOST[key]
        made += within(
            ("extension", key),
            getattr(given, key),
            lambda v, most=most: 0 <= v <= most,
            f"a whole number from 0 to {most}" + " (0: not chosen yet)" * (key != "centre_points"),
        )
    if given.design == extensions.MAKE_UP and given.combinations == ():
        remedy = "`wearbook next` lists the lines, with a run that ties them to the runs made."
        made.append(Found(("extension", "combinations"), "none named", "the combinations to make up", remedy))
    if given.combinations:
        made += check_plan.combinations(
            brief, given.combinations, ("extension", "combinations"), "Leave it out for all of them."
        )
    made += _unused(brief) + _names(brief) + _aim(brief)
    if all(item is None or item.undo in (None, *UNDONE) for item in brief.factors):
        made += _layout(brief)
    return made or check_extended.deep(brief)


def _unused(brief: Brief) -> list[Found]:
    """Keys that this kind of extension has no use for."""
    given, made = brief.extension, []
    if given.design not in extensions.KINDS:
        return []
    for key, kinds in extensions.KEYS.items():
        held = getattr(given, key)
        if held not in ((), {}, "", 0, None) and given.design not in kinds:
            words = f"given, though design is {quoted(given.design)}"
            remedy = f"It belongs to design = {listing(kinds)}."
            made.append(Found(("extension", key), words, "left out", remedy))
    return made


def _names(brief: Brief) -> list[Found]:
    """Factors and levels that do not exist, and effects that are none."""
    given, made = brief.extension, []
    for at, name in enumerate(given.swap or ()):
        made += check_factors.known_factor(brief, name, ("extension", "swap", at))
        if name is not None and list(given.swap).index(name) < at:
            made.append(Found(("extension", "swap", at), f"{quoted(name)} stands twice", "each factor once"))
    if given.half:
        made += check_factors.levels_known(brief, given.half, ("extension", "half"))
        if len(given.half) > 1:
            words = f"levels of {len(given.half)} factors"
            made.append(Found(("extension", "half"), words, "a level of one factor: half of the fold-over is run"))
    for at, effect in enumerate(given.free or ()):
        if effect is None or any(name is None for name in effect):
            continue
        loc: Loc = ("extension", "free", at)
        if not 1 <= len(set(effect)) == len(effect) <= 2:
            words = f"{len(effect)} names: {' × '.join(effect)}" if effect else "no name"
            made.append(Found(loc, words, "a factor, or two different ones"))
        for name in effect:
            made += check_factors.known_factor(brief, name, loc)
    return made


def _aim(brief: Brief) -> list[Found]:
    """A ratio that is to be shown without its comparison, or the other way round."""
    given = brief.extension
    names = [item.name for item in brief.comparisons if item is not None and item.name]
    made = []
    if given.comparison and given.comparison not in names:
        remedy = nearest(given.comparison, names)
        made.append(Found(("extension", "comparison"), quoted(given.comparison), listing(names) or "none", remedy))
    if given.comparison and given.detectable_ratio is None:
        words = "left out though a comparison is named"
        made.append(Found(("extension", "detectable_ratio"), words, "a ratio such as 1.25 or 0.8"))
    if given.detectable_ratio is not None and not given.comparison:
        words = "left out though a detectable ratio is given"
        made.append(Found(("extension", "comparison"), words, listing(names) or "a comparison"))
    made += within(
        ("extension", "detectable_ratio"),
        given.detectable_ratio,
        lambda v: 0.01 <= v <= 100 and abs(v - 1.0) > 1e-9,
        "a ratio other than 1, from 0.01 to 100",
    )
    primary = next((item for item in brief.responses if item is not None and item.role == "primary"), None)
    if given.detectable_ratio is not None and primary is not None and primary.scale == "linear":
        words = f"given, though {primary.name} is judged by differences (scale = 'linear')"
        remedy = "`wearbook size` tells the detectable difference of each plan."
        made.append(Found(("extension", "detectable_ratio"), words, "left out", remedy))
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
            remedy = (
                "Give builds: each holds what a build of the main phase holds."
                if given.design == extensions.SAME
                else "Give builds, or leave both out."
            )
            made.append(Found(("extension", "replicates"), words, "builds", remedy, rests_on=blocked))
        if given.combinations and given.design != extensions.MAKE_UP:
            words = f"{len(given.combinations)} of them though builds are complete blocks"
            remedy = "Delete the line: a build holds every combination."
            made.append(Found(("extension", "combinations"), words, "none", remedy, rests_on=blocked))
    elif brief.block_by is None and (given.builds or 0) > 0:
        words = f"{number(given.builds)} though there are no blocks"
        made.append(Found(("extension", "builds"), words, "replicates", "Give replicates.", rests_on=blocked))
    return made + check_extended.layout(brief, undo)

