"""Checks of the factors and their levels, and of everything that names them (rank 2).

None stands for what was refused already; every function gives what it finds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import prod
from typing import Any

from toolkit.brief import check_names, designs
from toolkit.brief.found import Found, Loc, count, name, quoted, repeats, text, word
from toolkit.brief.model import UNDONE, Brief, Factor, number_name
from toolkit.errors import listing, nearest

MOST = {"factors": 8, "levels": 12, "combinations": 2000}
# Of designs that run a part of the combinations.
MOST_OF_PARTS = max(designs.MOST_FACTORS.values())


def factors(brief: Brief) -> list[Found]:
    """What is wrong with the factors and their levels."""
    full = brief.plan is None or brief.plan.design not in designs.DESIGNS[1:]
    made = count(brief.factors, ("factor",), "factors", MOST["factors"] if full else MOST_OF_PARTS)
    given = [(at, item) for at, item in enumerate(brief.factors) if item is not None]
    made += repeats(((("factor", at, "name"), item.name) for at, item in given), "factor")
    columns = [item.name for item in (*brief.responses, *brief.held) if item is not None and item.name]
    for at, item in given:
        loc: Loc = ("factor", at)
        made += name((*loc, "name"), item.name, check_names.LONGEST["factor"]) or check_names.reserved(
            (*loc, "name"), item.name
        )
        if item.name in columns:
            made.append(
                Found(
                    (*loc, "name"),
                    f"{quoted(item.name)} is also a response or a held variable",
                    "a name of its own",
                    "Rename one of them.",
                )
            )
        made += word((*loc, "undo"), item.undo, UNDONE)
        made += _levels(item, loc)
    sizes = [len(item.levels or ()) for _, item in given]
    if full and prod(sizes) > MOST["combinations"] and max(sizes) <= MOST["levels"]:
        made.append(
            Found(
                ("factor",),
                f"{prod(sizes)} combinations of levels in all",
                f"{MOST['combinations']} at most in a full factorial",
                "Take fewer factors or levels.",
            )
        )
    return made


def _levels(factor: Factor, loc: Loc) -> list[Found]:
    """What is wrong with the levels of one factor."""
    if factor.levels is None:
        return []
    made = []
    here = (*loc, "levels")
    if not 2 <= len(factor.levels) <= MOST["levels"]:
        made.append(
            Found(
                here,
                f"{len(factor.levels)} level{'s' * (len(factor.levels) != 1)}",
                f"2 to {MOST['levels']} levels",
                "Hold a variable with one level in [held]." if len(factor.levels) == 1 else "",
            )
        )
    given = [(at, item) for at, item in enumerate(factor.levels) if item is not None]
    made += repeats((((*here, at, "name"), item.name) for at, item in given), "level")
    values = [item.value is not None for _, item in given]
    numbers = tuple((*here, at, "value") for at, _ in given)
    if any(values) and not all(values):
        words = "levels with and without a number"
        made.append(Found(here, words, "all of them numbers, or none", rests_on=numbers))
    for at, item in given:
        if item.value is None:
            told = check_names.level_name((*here, at, "name"), item.name)
            made += [replace(one, rests_on=numbers) for one in told]
        elif item.name is not None and item.name != number_name(item.value):
            made.append(
                Found(
                    (*here, at, "name"),
                    quoted(item.name),
                    quoted(number_name(item.value)),
                    "A numeric level is named by its number.",
                )
            )
        made += text((*here, at, "label"), item.label, check_names.LONGEST["label"], may_be_empty=True)
    if given and all(values):
        made += check_names.suffix((*loc, "name"), factor.name, "numeric factor")
    return made


def levels_known(brief: Brief, levels: Mapping[str, Any], loc: Loc) -> list[Found]:
    """Factors or levels in a table of factor = level that the brief does not have."""
    made = []
    for key, level in levels.items():
        told = known_factor(brief, key, (*loc, key))
        made += told
        factor = next((item for item in brief.factors if item is not None and item.name == key), None)
        if told or factor is None or factor.levels is None or level is None:
            continue
        names = [item.name for item in factor.levels if item is not None and item.name is not None]
        if level not in names and len(names) == len(factor.levels):
            made.append(
                Found(
                    (*loc, key),
                    f"factor {quoted(key)} has no level {quoted(level)}",
                    listing(names),
                    "" if factor.numeric else nearest(level, names),
                    once=True,
                )
            )
    return made


def known_factor(brief: Brief, given: str, loc: Loc) -> list[Found]:
    """A factor that the brief does not have."""
    names = [item.name for item in brief.factors if item is not None and item.name is not None]
    if given in names:
        return []
    meant = nearest(given, names)
    # Where a factor's own name was refused this may be that factor, unless it plainly is another one.
    blind = () if meant else (("factor",), *((("factor", at, "name")) for at in range(len(brief.factors))))
    return [
        Found(
            loc,
            f"there is no factor {quoted(given)}",
            listing(list(dict.fromkeys(names))),
            meant,
            rests_on=blind,
            once=True,
        )
    ]
