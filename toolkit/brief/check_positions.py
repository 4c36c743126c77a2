"""Checks of the positions of one engine, and of everything that a factor of positions cannot have (rank 2).

None stands for what was refused already; every function gives what it finds.
"""

from __future__ import annotations

import math
from typing import Any

from toolkit.brief import check_names
from toolkit.brief.designs import FULL
from toolkit.brief.found import Found, Loc, number, quoted, repeats, text
from toolkit.brief.model import Brief, Comparison
from toolkit.brief.positions import POSITION

MOST = 24
_HERE: Loc = ("positions", "names")


def positions(brief: Brief) -> list[Found]:
    """What is wrong with the positions and with what is asked of them."""
    changed = [(at, item) for at, item in enumerate(brief.factors) if item is not None and item.undo == POSITION]
    undo = tuple(("factor", at, "undo") for at in range(len(brief.factors)))
    made = _new(brief)
    if brief.positions is None:
        made += [
            Found(
                ("cost", "items", at, "per"),
                f"{quoted(POSITION)} though there are no positions",
                "what the campaign has",
                rests_on=(("positions",),),
            )
            for at, item in enumerate(brief.cost.items or ())
            if item is not None and item.per == POSITION
        ]
        return made + [
            Found(
                ("factor", at, "undo"),
                f"{quoted(POSITION)} though there are no positions",
                "a section [positions]",
                'Add [positions] with names = ["cyl 1", "cyl 2"], or say what else is undone.',
                rests_on=(("positions",),),
            )
            for at, _ in changed
        ]
    made += _names(brief)
    if not changed:
        words, remedy = "positions though no factor is changed with the position", "Delete the section."
        return [*made, Found(("positions",), words, 'a factor with undo = "position"', remedy, rests_on=undo)]
    names = [item.name for _, item in changed if item.name is not None]
    return [*made, *_levels(brief, changed), *_stations(brief), *_asked(brief, names), *_elsewhere(brief, names)]


def _new(brief: Brief) -> list[Found]:
    """Parts in positions need no entry among what is new in every run."""
    return [
        Found(
            ("campaign", "new_each_run", at),
            quoted(POSITION),
            "'build', 'part', 'fill' or 'setting'",
            "Delete it: what is fitted to a position is new in every run.",
        )
        for at, item in enumerate(brief.new_each_run or ())
        if item == POSITION
    ]


def _names(brief: Brief) -> list[Found]:
    """What is wrong with the names."""
    names = brief.positions.names
    if names is None:
        return []
    made = []
    if not 2 <= len(names) <= MOST:
        made.append(Found(_HERE, f"{len(names)} position{'s' * (len(names) != 1)}", f"2 to {MOST} positions"))
    made += repeats((((*_HERE, at), item) for at, item in enumerate(names)), "position")
    for at, item in enumerate(names):
        told = text((*_HERE, at), item, check_names.LONGEST["level"]) or check_names.level_name((*_HERE, at), item)
        made += told
    return made


def _levels(brief: Brief, changed: list[tuple[int, Any]]) -> list[Found]:
    """A number of positions that cannot hold every level equally often."""
    names, sizes = brief.positions.names, [len(item.levels) for _, item in changed if item.levels]
    if names is None or len(sizes) < len(changed) or not sizes:
        return []
    held, count = math.prod(sizes), len(names)
    if count % held == 0:
        return []
    what = " × ".join(str(item.name) for _, item in changed)
    each = f"{held} combinations of {what}" if len(changed) > 1 else f"{held} levels of {quoted(changed[0][1].name)}"
    words = f"{count} positions for {each}"
    remedy = (
        "Only then does every run hold each of them equally often, so that they are compared within the run. Leave "
        "levels out, or name the positions that are used."
    )
    loose = tuple(("factor", at, "levels") for at, _ in changed)
    return [Found(_HERE, words, f"{held} positions, or a multiple", remedy, rests_on=loose)]


def _stations(brief: Brief) -> list[Found]:
    """Stations that cannot be dealt out to the positions evenly."""
    count = len(brief.positions.names or ())
    made = []
    for at, item in enumerate(brief.responses):
        if item is None or item.stations is None or item.stations.count is None or count < 2:
            continue
        if item.stations.count % count:
            stations = item.stations.count
            below = stations - stations % count
            choose = f"{f'{below} or ' if below else ''}{below + count}"
            made.append(
                Found(
                    ("response", at, "stations", "count"),
                    f"{stations} station{'s' * (stations != 1)} in {count} positions",
                    f"a multiple of {count}",
                    f"Count the stations of all positions together, the same number in each: {choose}.",
                    rests_on=(_HERE,),
                )
            )
    return made


def _asked(brief: Brief, names: list[str]) -> list[Found]:
    """Questions about factors of positions that no response, or not the primary one, can answer."""
    given = [(at, item) for at, item in enumerate(brief.responses) if item is not None and item.name is not None]
    places = tuple(("response", at, "stations") for at, _ in given)
    if given and not any(item.stations is not None for _, item in given):
        told = " and ".join(map(quoted, names))
        remedy = "What is measured once a run cannot tell apart what lies side by side in it."
        expected = f"a response with stations, since {told} is changed from position to position"
        return [Found(("response",), "no response has stations", expected, remedy, rests_on=places)]
    primary = next(((at, item) for at, item in given if item.role == "primary"), None)
    if primary is None or primary[1].stations is not None:
        return []
    at, response = primary
    metal = response.name.endswith("_ppm")
    what = "metal in the oil is pooled over all positions" if metal else "it has one value a run"
    return [
        Found(
            ("comparison", place),
            f"asks about {' and '.join(quoted(name) for name in names if name in _named(item))}, and the primary "
            f"response {quoted(response.name)} cannot tell: {what}",
            "a primary response with stations",
            f"Make the readings in the positions primary, {quoted(response.name)} secondary.",
            rests_on=(("response", at, "stations"), ("response", at, "role")),
        )
        for place, item in enumerate(brief.comparisons)
        if item is not None and _named(item) & set(names)
    ]


def _named(comparison: Comparison) -> set[str]:
    """The factors that a comparison names, as far as it is known."""
    return {*(comparison.of or ()), *(comparison.against or ()), *(comparison.interaction or ())} - {None}


def _elsewhere(brief: Brief, names: list[str]) -> list[Found]:
    """Sections that a factor of positions has no place in."""
    made = []
    if brief.plan.design is not None and brief.plan.design != FULL:
        remedy = "Parts of the combinations are not laid out over positions yet."
        made.append(Found(("plan", "design"), f"{quoted(brief.plan.design)} with positions", quoted(FULL), remedy))
    values = [level.value for item in brief.factors if item is not None for level in item.levels or () if level]
    if brief.plan.centre_points and any(value is not None for value in values):
        remedy = "Centre points are not laid out over positions yet."
        made.append(Found(("plan", "centre_points"), f"{number(brief.plan.centre_points)} with positions", "0", remedy))
    if brief.old_data is not None:
        remedy = "Enter what was run in a campaign of its own, a level for each position."
        made.append(Found(("old_data",), "old data with positions", "no [old_data]", remedy))
    if brief.extension is not None:
        remedy = "Plan the runs in [plan] from the start; an extension is not laid out over positions yet."
        made.append(Found(("extension",), "an extension with positions", "no [extension]", remedy))
    if getattr(brief, "order", None) is not None:
        remedy = "Delete the section: what positions hold is drawn by Latin squares, the runs at random."
        made.append(Found(("order",), "limits on the run order with positions", "no [order]", remedy))
    for at, item in enumerate(brief.oil_cards):
        for key in set(getattr(item, "where", None) or ()) & set(names):
            words = f"{quoted(key)} is changed from position to position, and a run has one oil"
            made.append(Found(("oil_card", at, "where", key), words, "factors of the whole run", "Delete it."))
    for at, item in enumerate(brief.cost.items or ()):
        if item is None:
            continue
        loc: Loc = ("cost", "items", at)
        for key in set(item.where or ()) & set(names) if item.per != POSITION else ():
            words = f"{quoted(key)} is changed from position to position, and this is paid per {item.per}"
            made.append(Found((*loc, "where", key), words, 'per = "position"', "Price it for each position."))
        if item.per == "change" and item.of in names:
            words = f"{quoted(item.of)} is changed from position to position in every run"
            made.append(Found((*loc, "of"), words, "a factor of the whole run", 'Price it with per = "position".'))
    return made

