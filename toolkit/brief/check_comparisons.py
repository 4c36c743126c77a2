"""Checks of the comparisons, their families, and the interactions taken as nil (rank 2).

None stands for what was refused already; every function gives what it finds.
"""

from __future__ import annotations

from typing import Any

from toolkit.brief import check_factors, check_names, check_responses
from toolkit.brief.found import Found, Loc, quoted, repeats, text, word
from toolkit.brief.model import Brief, Comparison
from toolkit.errors import listing, nearest

MOST = 40


def comparisons(brief: Brief) -> list[Found]:
    """What is wrong with the comparisons."""
    made = []
    if len(brief.comparisons) > MOST:
        made.append(Found(("comparison",), f"{len(brief.comparisons)} comparisons", f"{MOST} at most"))
    given = [(at, item) for at, item in enumerate(brief.comparisons) if item is not None]
    made += repeats(((("comparison", at, "name"), item.name) for at, item in given), "comparison")
    primary = [item for item in brief.responses if item is not None and item.role == "primary"]
    for at, item in given:
        loc: Loc = ("comparison", at)
        made += text((*loc, "name"), item.name, check_names.LONGEST["title"])
        told = word((*loc, "direction"), item.direction, ("smaller", "larger", "either"))
        if not told and len(primary) == 1 and {item.direction, primary[0].better} == {"smaller", "larger"}:
            told = [
                Found(
                    (*loc, "direction"),
                    quoted(item.direction),
                    f"{quoted(primary[0].better)}, which the primary response "
                    f"{quoted(primary[0].name or '')} calls better, or 'either'",
                )
            ]
        made += told
        made += check_responses.changes(item, loc, ("worthwhile_change", "assumed_change"))
        made += _scale_asked(brief, item, loc)
        made += _sides(brief, item, loc)
        if item.family is not None and item.family not in (names := [one.name for one in brief.families]):
            made.append(
                Found(
                    (*loc, "family"),
                    f"{quoted(item.family)} is not in [families]",
                    listing(names) if names else "a family declared in [families]",
                    nearest(item.family, names) or f"Add {quoted(item.family)} to [families].",
                    rests_on=(("families",),),
                )
            )
    return made


def _sides(brief: Brief, asked: Comparison, loc: Loc) -> list[Found]:
    """What is wrong with the levels a comparison sets against each other, or with its interaction."""
    of, against, interaction = asked.of, asked.against, asked.interaction
    if of is None or against is None or interaction is None:
        return []
    if interaction and (of or against):
        return [
            Found(
                loc,
                "interaction together with of and against",
                "one or the other",
                "Make two comparisons of it.",
            )
        ]
    if interaction:
        return _interaction(brief, interaction, (*loc, "interaction"), nil=True)
    if not of and not against:
        rests_on = tuple((*loc, key) for key in ("of", "against", "interaction"))
        return [Found(loc, "nothing is compared", "of and against, or interaction", rests_on=rests_on)]
    made = []
    for key, side in (("of", of), ("against", against)):
        if not side:
            words = f'levels by factor: {key} = {{ factor = "level" }}'
            made.append(Found((*loc, key), "missing or empty", words))
        made += check_factors.levels_known(brief, side, (*loc, key))
    known = all(not check_factors.known_factor(brief, item, loc) for item in (*of, *against))
    if known and of and against and set(of) != set(against):
        odd = ", ".join(quoted(item) for item in (*of, *against) if (item in of) != (item in against))
        made.append(
            Found(
                (*loc, "against"),
                f"{odd} stands on one side only",
                "the same factors in of and against",
                "Name its level on both sides, or leave it out to average over it.",
            )
        )
    elif of and dict(of) == dict(against):
        made.append(Found((*loc, "against"), "the same levels as of", "at least one other level"))
    return made


def _interaction(brief: Brief, names: tuple[str, ...], loc: Loc, *, nil: bool = False) -> list[Found]:
    """What is wrong with a list of factors that make an interaction."""
    made = []
    for at, item in enumerate(names):
        if item is not None:
            made += check_factors.known_factor(brief, item, (*loc, at))
    if len(set(names)) < 2 or len(set(names)) < len(names):
        made.append(Found(loc, f"[{', '.join(quoted(str(item)) for item in names)}]", "two different factors or more"))
    for item in _many_levels(brief, names) if nil else ():
        made.append(
            Found(
                loc,
                f"factor {quoted(item.name)} has {len(item.levels)} levels, so one ratio of ratios cannot tell "
                f"the whole interaction",
                "factors with two levels",
                "The analysis of variance tests the whole interaction; for pairs of levels compare combinations.",
                rests_on=(("factor",),),
            )
        )
    for left_out in brief.plan.nil_interactions or () if nil else ():
        if left_out and None not in left_out and len(set(left_out)) > 1 and set(left_out) <= set(names):
            made.append(
                Found(
                    loc,
                    f"the plan takes {' × '.join(map(str, left_out))} as nil",
                    "one or the other",
                    "Delete it from nil_interactions, or do not ask for it.",
                )
            )
    return made


def _many_levels(brief: Brief, names: tuple[str, ...]) -> list[Any]:
    """The factors of an interaction that have more than two levels."""
    return [
        item
        for item in brief.factors
        if item is not None and item.name is not None and item.name in names and len(item.levels or ()) > 2
    ]


def nil_interactions(brief: Brief) -> list[Found]:
    """What is wrong with the interactions the plan takes as nil."""
    made = []
    seen: set[frozenset[str]] = set()
    for at, names in enumerate(brief.plan.nil_interactions or ()):
        if names is None:
            continue
        loc: Loc = ("plan", "nil_interactions", at)
        told = _interaction(brief, names, loc)
        if not told and frozenset(names) in seen:
            told = [Found(loc, f"{' × '.join(names)} stands twice", "each interaction once")]
        seen.add(frozenset(names))
        made += told
    return made


def families(brief: Brief) -> list[Found]:
    """What is wrong with the families of comparisons."""
    made = []
    used = {item.family for item in brief.comparisons if item is not None}
    made += repeats(((("families", item.name), item.name) for item in brief.families), "family")
    for item in brief.families:
        loc: Loc = ("families", item.name)
        made += text(loc, item.name, check_names.LONGEST["title"])
        made += word((*loc, "promise"), item.promise, ("any", "each", "all"))
        made += word((*loc, "adjust"), item.adjust, ("none", "multivariate_t", "holm"))
        if item.name not in used:
            keys = tuple(("comparison", at, "family") for at in range(len(brief.comparisons)))
            made.append(
                Found(
                    loc,
                    "no comparison belongs to this family",
                    f'family = "{quoted(item.name)[1:-1]}" in one at least',
                    "Add that, or delete the family.",
                    rests_on=(("comparison",), *keys),
                )
            )
    return made


def _scale_asked(brief: Brief, asked: Comparison, loc: Loc) -> list[Found]:
    """A change of a comparison that fits the scale of no response."""
    scales = {item.scale for item in brief.responses if item is not None}
    if not scales <= {"log", "linear"}:
        return []
    places = tuple(("response", at, "scale") for at in range(len(brief.responses)))
    made = []
    for key in ("worthwhile_change", "assumed_change"):
        for wrong, right, scale in ((f"{key}_pct", key, "log"), (key, f"{key}_pct", "linear")):
            if getattr(asked, wrong) is not None and scales and scale not in scales:
                made.append(
                    Found(
                        (*loc, wrong),
                        f"no response is on the {scale} scale",
                        right,
                        rests_on=(("response",), *places),
                    )
                )
    return made
