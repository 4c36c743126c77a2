"""Checks of what is planned: the campaign's numbers, blocks, pilot and main phase (rank 2).

None stands for what was refused already; every function gives what it finds.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

from toolkit.brief import check_comparisons, check_designs, check_factors
from toolkit.brief.designs import EIGHTEEN, FULL, IN_BUILDS, OPTIMAL, SECOND_ORDER, THREE_LEVELS
from toolkit.brief.found import Found, Loc, number, quoted, repeats, text, within, word
from toolkit.brief.model import UNDONE, Brief
from toolkit.brief.positions import POSITION

MOST = {"builds": 500, "replicates": 500, "centre_points": 100, "combinations": 200}
_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")


def campaign(brief: Brief) -> list[Found]:
    """What is wrong with the campaign's own numbers and words."""
    made = []
    if brief.id is not None and not _ID.fullmatch(brief.id):
        made.append(
            Found(
                ("campaign", "id"),
                quoted(brief.id),
                "up to 40 letters a to z, digits, - and _",
                "Start with a letter or digit.",
            )
        )
    made += text(("campaign", "question"), brief.question, 500, lines=True)
    made += within(("campaign", "seed"), brief.seed, lambda v: 0 <= v < 2**63, "a whole number from 0 up to 2^63 - 1")
    alpha = brief.alpha
    made += within(
        ("campaign", "alpha"),
        alpha,
        lambda v: 0 < v < 0.5,
        "more than 0 and less than 0.5",
        _share(alpha, 0.5),
    )
    low = alpha if alpha is not None and 0 < alpha < 0.5 else 0.0
    made += within(
        ("campaign", "power"),
        brief.power,
        lambda v: low < v < 1,
        f"more than alpha ({number(low)}) and less than 1" if low else "more than alpha and less than 1",
        _share(brief.power, 1.0),
    )
    for at, item in enumerate(brief.new_each_run or ()):
        # A position there is told by its own check.
        made += word(("campaign", "new_each_run", at), item, UNDONE[:-1]) if item != POSITION else []
    made += repeats(
        ((("campaign", "new_each_run", at), item) for at, item in enumerate(brief.new_each_run or ())),
        "entry",
    )
    return made


def blocks(brief: Brief) -> list[Found]:
    """What is wrong with the blocks."""
    made = word(("blocks", "by"), brief.block_by, ("build",))
    if brief.block_by != "build":
        return made
    made += _most_runs(brief)
    if "build" in (brief.new_each_run or ()):
        made.append(
            Found(
                ("blocks", "by"),
                "a build is new in every run, so a block would be one run",
                "builds that hold several runs",
                'Delete [blocks], or "build" from new_each_run.',
            )
        )
    for item in of_build(brief):
        made.append(
            Found(
                ("blocks", "by"),
                f"factor {quoted(item.name or '')} is changed with the build, so a build cannot hold all its levels",
                "blocks in which every combination can be run",
                "Delete [blocks]: builds are then the units of that factor.",
            )
        )
    return made


def _most_runs(brief: Brief) -> list[Found]:
    """A build that lasts fewer runs than there are combinations cannot be a complete block."""
    loc: Loc = ("blocks", "most_runs")
    lasts = brief.most_runs_in_build
    if lasts is None:
        return []
    made = within(loc, lasts, lambda v: 1 <= v <= MOST["builds"], f"a whole number from 1 to {MOST['builds']}")
    # Levels that lie side by side in the positions of a run take no run of their own.
    whole = [item for item in brief.factors if item is None or item.undo != POSITION]
    counts = [len(item.levels) for item in whole if item is not None and item.levels]
    if made or brief.plan.design != FULL or len(counts) != len(whole) or lasts >= math.prod(counts):
        return made
    words = f"{number(lasts)} though there are {math.prod(counts)} combinations"
    remedy = "A build must last every combination once: take levels out, or delete [blocks]."
    return [Found(loc, words, f"at least {math.prod(counts)}", remedy, rests_on=(("factor",),))]


def pilot(brief: Brief) -> list[Found]:
    """What is wrong with the pilot."""
    if brief.pilot is None:
        return []
    given = brief.pilot
    made = word(("pilot", "use"), given.use, ("scatter", "block"))
    whole = of_build(brief)
    if given.use == "block" and whole:
        words = f"'block' though factor {quoted(whole[0].name or '')} is changed with the build"
        remedy = "A build of the pilot would count as one more unit of the main phase."
        made.append(Found(("pilot", "use"), words, "'scatter'", remedy))
    for key in ("replicates", "builds"):
        made += within(
            ("pilot", key),
            getattr(given, key),
            lambda v, key=key: 1 <= v <= MOST[key],
            f"a whole number from 1 to {MOST[key]}",
        )
    if (given.builds or 0) > 1 and brief.block_by is None and not whole and "builds" not in str(made):
        words = f"{number(given.builds)} though builds are neither blocks nor units of a factor"
        remedy = 'Their scatter would be counted among runs. Write 1, or add [blocks] with by = "build".'
        made.append(Found(("pilot", "builds"), words, "1", remedy, rests_on=(("blocks",), ("factor",))))
    if given.combinations is None:
        return made
    return made + combinations(brief, given.combinations, ("pilot", "combinations"), "Delete [pilot] if there is none.")


def combinations(brief: Brief, listed: Sequence[Mapping[str, str] | None], loc: Loc, when_empty: str) -> list[Found]:
    """What is wrong with the combinations that are listed for a phase; ``when_empty`` is what to do about none."""
    made = []
    if not 1 <= len(listed) <= MOST["combinations"]:
        remedy = "" if listed else when_empty
        made.append(Found(loc, f"{len(listed)} combinations", f"1 to {MOST['combinations']}", remedy))
    given = [item for item in brief.factors if item is not None and item.name is not None]
    names = [item.name for item in given if item.undo != POSITION]
    beside = [item.name for item in given if item.undo == POSITION]
    seen: list[dict[str, str]] = []
    for at, levels in enumerate(listed):
        if levels is None:
            continue
        made += check_factors.levels_known(brief, levels, (*loc, at))
        for key in (key for key in levels if key in beside):
            words = f"{quoted(key)} is changed from position to position: every run holds all its levels"
            made.append(Found((*loc, at, key), words, "levels of the factors of the whole run", "Leave it out."))
        # A factor that does not exist is mostly one that does, misspelt.
        known = all(not check_factors.known_factor(brief, item, loc) for item in levels)
        left_out = ", ".join(quoted(item) for item in names if item not in levels)
        if known and left_out:
            made.append(Found((*loc, at), f"no level of {left_out}", "a level of every factor", once=True))
        elif dict(levels) in seen:
            twin = f"the same as no. {seen.index(dict(levels)) + 1}"
            remedy = "Use replicates to run it again."
            made.append(Found((*loc, at), twin, "each combination once", remedy))
        seen.append(dict(levels))
    return made


def plan(brief: Brief) -> list[Found]:
    """What is wrong with the main phase as chosen."""
    given = brief.plan
    made = check_designs.design(brief)
    for key in ("builds", "replicates", "centre_points"):
        made += within(
            ("plan", key),
            getattr(given, key),
            lambda v, key=key: 0 <= v <= MOST[key],
            f"a whole number from 0 to {MOST[key]}" + (" (0: not chosen yet)" * (key != "centre_points")),
        )
    made += check_comparisons.nil_interactions(brief)
    if all(item is None or item.undo in (None, *UNDONE) for item in brief.factors):
        made += _size(brief)
    return made + _centre_points(brief)


def _size(brief: Brief) -> list[Found]:
    """Builds or replicates that the layout has no use for."""
    given = brief.plan
    if of_build(brief):
        return []
    undo = (("campaign", "new_each_run"), *(("factor", at, "undo") for at in range(len(brief.factors))))
    made = []
    if brief.block_by is None and (given.builds or 0) > 0:
        words = f"{number(given.builds)} though there are no blocks"
        remedy = 'Give replicates, or add [blocks] with by = "build".'
        blocked = (("blocks",), *undo)
        made.append(Found(("plan", "builds"), words, "replicates", remedy, rests_on=blocked))
    return made


def _centre_points(brief: Brief) -> list[Found]:
    """Centre points where there is no centre."""
    given = brief.plan.centre_points
    if given is None or given <= 0 or brief.plan.design in SECOND_ORDER:
        return []
    loc: Loc = ("plan", "centre_points")
    if brief.plan.design in (THREE_LEVELS, EIGHTEEN, OPTIMAL, *IN_BUILDS):
        return [Found(loc, number(given), f"0 in a {brief.plan.design} plan")]
    whole = of_build(brief)
    if whole:
        words = f"0, because factor {quoted(whole[0].name or '')} is changed with the build"
        return [Found(loc, number(given), words)]
    levels = [item.levels for item in brief.factors if item is not None and item.levels]
    counts = [len(one) for one in levels if all(level is not None and level.value is not None for level in one)]
    if counts and set(counts) == {2}:
        return []
    places = tuple(("factor", at, "levels") for at in range(len(brief.factors)))
    words = "0, unless there are numeric factors and each has two levels"
    return [Found(loc, number(given), words, rests_on=(("factor",), *places))]


def of_build(brief: Brief) -> list[Any]:
    """The factors whose unit is the build."""
    return [
        item
        for item in brief.factors
        if item is not None and item.undo == "build" and "build" not in (brief.new_each_run or ())
    ]


def _share(value: float | None, below: float) -> str:
    """The remedy for a share given in per cent."""
    if value is None or not 1 < value < 100 * below:
        return ""
    return f"Write per cent as a share: {number(round(value / 100, 6))}."
