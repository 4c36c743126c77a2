"""Checks of the responses: source, stations, scale and worthwhile change (rank 2).

None stands for what was refused already; every function gives what it finds.
"""

from __future__ import annotations

from typing import Any

from toolkit.brief import check_groups, check_names
from toolkit.brief.found import Found, Loc, count, number, quoted, repeats, text, within, word
from toolkit.brief.model import PER_RUN, Brief, Response
from toolkit.errors import listing

MOST = {"responses": 12, "stations": 500, "readings": 100}
_RANGE_PCT = "more than 0 and less than 100"


def responses(brief: Brief) -> list[Found]:
    """What is wrong with the responses."""
    made = count(brief.responses, ("response",), "responses", MOST["responses"])
    given = [(at, item) for at, item in enumerate(brief.responses) if item is not None]
    made += repeats(((("response", at, "name"), item.name) for at, item in given), "response")
    for at, item in given:
        loc: Loc = ("response", at)
        made += check_names.column((*loc, "name"), item.name, "response")
        made += word((*loc, "role"), item.role, ("primary", "secondary"))
        made += word((*loc, "better"), item.better, ("smaller", "larger"))
        made += word((*loc, "scale"), item.scale, ("log", "linear"))
        made += _stations(item, loc)
        made += _per_run(item, loc)
        made += changes(item, loc, ("worthwhile_change",))
        made += within((*loc, "gauge_sd"), item.gauge_sd, lambda v: v > 0, "a number above 0")
        made += _scale_fits(item, loc)
        made += _worthwhile(brief, item, loc)
    primary = [(at, item) for at, item in given if item.role == "primary"]
    roles = tuple(("response", at, "role") for at, _ in given)
    if given and not primary and all(item.role in (None, "secondary") for _, item in given):
        made.append(
            Found(
                ("response",),
                "no response is primary",
                'one with role = "primary"',
                "Name the one the decision rests on.",
                rests_on=roles,
            )
        )
    for at, _ in primary[1:]:
        made.append(
            Found(
                ("response", at, "role"),
                "a second primary response (role is primary when left out)",
                "one",
                'Write role = "secondary".',
                rests_on=(("response", primary[0][0], "role"),),
            )
        )
    return made


def _stations(response: Response, loc: Loc) -> list[Found]:
    """What is wrong with the stations of a response."""
    if response.stations is None:
        return []
    loc = (*loc, "stations")
    stations = response.stations
    made = text((*loc, "kind"), stations.kind, check_names.LONGEST["factor"])
    for key in ("count", "readings"):
        most = MOST["stations" if key == "count" else "readings"]
        made += within(
            (*loc, key),
            getattr(stations, key),
            lambda v, most=most: 1 <= v <= most,
            f"a whole number from 1 to {most}",
        )
    if stations.states is not None and tuple(stations.states) not in ((), ("before", "after")):
        given = ", ".join(quoted(str(item)) for item in stations.states)
        made.append(
            Found(
                (*loc, "states"),
                f"[{given}]",
                '["before", "after"], or nothing',
                "Leave states out where the wear itself is read.",
            )
        )
    return made + check_groups.groups(stations, loc)


def _per_run(response: Response, loc: Loc) -> list[Found]:
    """What is wrong with the way stations or samples make a run value."""
    if response.per_run is None or response.name is None:
        return []
    allowed = PER_RUN[response.source]
    told = word((*loc, "per_run"), response.per_run, allowed)
    if told and any(response.per_run in words for words in PER_RUN.values()):
        source = {
            "stations": "it has stations",
            "oil": "it comes from oil samples",
            "runs": "it has no stations and is read from runs.csv",
        }[response.source]
        return [
            Found(
                (*loc, "per_run"),
                f"{quoted(response.per_run)} does not fit: {source}",
                listing(allowed),
                "Add stations = { ... } if it is measured at stations." if response.source == "runs" else "",
                rests_on=((*loc, "stations"),),
            )
        ]
    if not told and response.per_run == "mean_of_log" and response.scale == "linear":
        return [
            Found(
                (*loc, "per_run"),
                "'mean_of_log' on the linear scale",
                "'mean', 'max' or 'total', or scale = \"log\"",
            )
        ]
    return told


def _scale_fits(response: Response, loc: Loc) -> list[Found]:
    """A worthwhile change that does not fit the scale of its response."""
    wrong, right = {
        "log": ("worthwhile_change", "worthwhile_change_pct"),
        "linear": ("worthwhile_change_pct", "worthwhile_change"),
    }.get(response.scale, ("", ""))
    given = getattr(response, wrong) if wrong else None
    if given is None:
        return []
    told = "per cent of the baseline" if response.scale == "log" else f"in {response.measured_in or 'its own unit'}"
    return [
        Found(
            (*loc, wrong),
            f"{number(given)} on the {response.scale} scale",
            f"{right}, {told}",
            f'Or write scale = "{"linear" if response.scale == "log" else "log"}".',
        )
    ]


def _worthwhile(brief: Brief, response: Response, loc: Loc) -> list[Found]:
    """The fault of a response without a worthwhile change of its own or from every comparison."""
    key = "worthwhile_change_pct" if response.scale == "log" else "worthwhile_change"
    if (
        response.scale not in ("log", "linear")
        or response.worthwhile_change_pct is not None
        or response.worthwhile_change is not None
    ):
        return []
    lacking = [
        (at, item) for at, item in enumerate(brief.comparisons) if item is not None and getattr(item, key) is None
    ]
    if brief.comparisons and not lacking:
        return []
    also = ", ".join(quoted(item.name) for _, item in lacking if item.name)
    return [
        Found(
            (*loc, key),
            "no worthwhile change",
            f"{key} here, or in every comparison" + (f" (not in {also})" if also else ""),
            "Say the smallest change that matters to the decision.",
            rests_on=((*loc, "scale"), loc, *((("comparison", at, key)) for at, _ in lacking)),
        )
    ]


def changes(holder: Any, loc: Loc, keys: tuple[str, ...]) -> list[Found]:
    """Changes that are nothing, negative, or all of it and more."""
    made = []
    for key in keys:
        remedy = "Give its size without a sign." if (getattr(holder, f"{key}_pct") or 0) < 0 else ""
        made += within((*loc, f"{key}_pct"), getattr(holder, f"{key}_pct"), lambda v: 0 < v < 100, _RANGE_PCT, remedy)
        if hasattr(holder, key):
            remedy = "Give its size without a sign." if (getattr(holder, key) or 0) < 0 else ""
            made += within((*loc, key), getattr(holder, key), lambda v: v > 0, "a number above 0", remedy)
    return made
