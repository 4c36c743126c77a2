"""Checks of held variables, protocol, costs and the scatter known so far (rank 2).

None stands for what was refused already; every function gives what it finds.
"""

from __future__ import annotations

import re

from toolkit.brief import check_factors, check_names
from toolkit.brief.found import Found, Loc, name, number, quoted, repeats, text, within, word
from toolkit.brief.model import Brief, CostItem, Held
from toolkit.brief.money import PER
from toolkit.errors import listing, nearest

MOST = {"held": 40, "items": 200}
_PART = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_ .-]*")


def held(brief: Brief) -> list[Found]:
    """What is wrong with the held variables and the protocol."""
    made = []
    if len(brief.held) > MOST["held"]:
        made.append(Found(("held",), f"{len(brief.held)} held variables", f"{MOST['held']} at most"))
    made += repeats(((("held", item.name), item.name) for item in brief.held), "held variable")
    responses = {item.name for item in brief.responses if item is not None}
    for item in brief.held:
        loc: Loc = ("held", item.name)
        if item.name == "run_time_h":
            made.append(Found(loc, "the run time among the held variables", "it in [protocol]", "Move the line there."))
        else:
            made += check_names.column(loc, item.name, "held variable")
        if item.name in responses:
            made.append(
                Found(loc, f"{quoted(item.name)} is also a response", "a name of its own", "Rename one of them.")
            )
        made += _window(item, loc)
    if brief.protocol.run_time_h is not None:
        given = brief.protocol.run_time_h
        made += _window(given, ("protocol", "run_time_h"))
        made += within(("protocol", "run_time_h", "target"), given.target, lambda v: v > 0, "more than 0 hours")
    for key, bound in (brief.protocol.max or {}).items():
        loc = ("protocol", "max", key)
        made += name(loc, key, check_names.LONGEST["column"]) or check_names.suffix(loc, key, "name")
        made += within(loc, bound, lambda v: v >= 0, "0 or more")
    return made


def _window(given: Held, loc: Loc) -> list[Found]:
    """What is wrong with the target, window and limits of one variable."""
    made = []
    ranges = {}
    for key in ("window", "limits"):
        pair = getattr(given, key)
        if pair is None or None in pair:
            continue
        low, high = pair
        if low < high:
            ranges[key] = (low, high)
        else:
            made.append(
                Found(
                    (*loc, key),
                    _pair(pair),
                    "the lower number first, then a higher one",
                    f"Write {_pair((high, low))}." if low > high else "",
                )
            )
    window, limits = ranges.get("window"), ranges.get("limits")
    if window and given.target is not None and not window[0] <= given.target <= window[1]:
        made.append(
            Found(
                (*loc, "window"),
                f"{_pair(window)} does not contain the target {number(given.target)}",
                "a window around the target",
            )
        )
    if window and limits and not (limits[0] <= window[0] and window[1] <= limits[1]):
        made.append(
            Found(
                (*loc, "limits"),
                f"{_pair(limits)} do not contain the window {_pair(window)}",
                "limits around the window",
            )
        )
    return made


def cost(brief: Brief) -> list[Found]:
    """What is wrong with the costs."""
    given = brief.cost
    made = text(("cost", "currency"), given.currency, 10, may_be_empty=True)
    made += within(
        ("cost", "budget"),
        given.budget,
        lambda v: v > 0,
        "more than 0",
        "Delete the line if there is no budget.",
    )
    made += within(("cost", "lost_runs_pct"), given.lost_runs_pct, lambda v: 0 <= v < 90, "from 0 to less than 90")
    if len(given.items or ()) > MOST["items"]:
        made.append(Found(("cost", "items"), f"{len(given.items)} lines", f"{MOST['items']} at most"))
    for at, item in enumerate(given.items or ()):
        if item is None:
            continue
        loc: Loc = ("cost", "items", at)
        made += word((*loc, "per"), item.per, PER)
        made += text((*loc, "what"), item.what, 120)
        for key in ("hours", "rate", "amount"):
            made += within((*loc, key), getattr(item, key), lambda v: v >= 0, "0 or more")
        if item.rate and item.rate > 0 and item.hours == 0:
            made.append(
                Found(
                    (*loc, "rate"),
                    f"a rate of {number(item.rate)} an hour without hours",
                    "hours beside it",
                    "Give hours, or write the sum as amount.",
                    rests_on=((*loc, "hours"),),
                )
            )
        made += check_factors.levels_known(brief, item.where or {}, (*loc, "where"))
        made += _changed(brief, item, loc)
    return made


def _changed(brief: Brief, item: CostItem, loc: Loc) -> list[Found]:
    """What is wrong with the factor whose changes are paid."""
    if item.per != "change":
        return [Found((*loc, "of"), quoted(item.of), 'only with per = "change"', "Delete it.")] if item.of else []
    made = []
    if item.where:
        made.append(Found((*loc, "where"), "levels where changes are paid", "the factor alone: of", "Delete it."))
    names = [one.name for one in brief.factors if one is not None and one.name is not None]
    if item.of is not None and item.of not in names:
        found = quoted(item.of) if item.of else "the factor is not named"
        remedy = nearest(item.of, names) or ""
        made.append(Found((*loc, "of"), found, listing(names), remedy, rests_on=(("factor",),)))
    return made


def scatter(brief: Brief) -> list[Found]:
    """What is wrong with the scatter known so far."""
    made = []
    for key in ("declared_cv_pct", "declared_run_cv_pct"):
        pair = getattr(brief.scatter, key)
        if pair is not None and None not in pair and not 0 < pair[0] <= pair[1]:
            made.append(Found(("scatter", key), _pair(pair), "two numbers above 0, the smaller first"))
    if brief.scatter.declared_run_cv_pct is not None and brief.positions is None:
        remedy = "Delete the line: declared_cv_pct is the scatter between runs."
        where = ("scatter", "declared_run_cv_pct")
        made.append(Found(where, "a guess at the scatter between runs beside another", "[positions]", remedy,
                          rests_on=(("positions",),)))  # fmt: skip
    given = brief.scatter.history
    if given is not None and not inside(given):
        made.append(
            Found(
                ("scatter", "history"),
                f"{quoted(given)} is not a plain path to a .csv file in the campaign folder",
                "letters, digits, _ - . and blanks, with / between folders",
                'Copy the table into the folder and write "raw/rig-history.csv".',
            )
        )
    return made + _earlier(brief)


def _earlier(brief: Brief) -> list[Found]:
    """What is wrong with the folders of earlier campaigns and the name of the rig."""
    folders = [(at, item) for at, item in enumerate(brief.scatter.campaigns or ()) if item is not None]
    made = repeats(((("scatter", "campaigns", at), item.rstrip("/")) for at, item in folders), "campaign")
    for at, item in folders:
        steps = item.removesuffix("/").split("/")
        plain = all(part == ".." or (_PART.fullmatch(part) and not part.endswith((".", " "))) for part in steps)
        if not plain or len(item) > 240 or set(steps) == {".."}:
            made.append(
                Found(
                    ("scatter", "campaigns", at),
                    f"{quoted(item)} is not the plain path of a folder",
                    "letters, digits, _ - . and blanks, with / between folders and .. for the one above",
                    'Write "../chain-2025" for a campaign that lies beside this one.',
                )
            )
    if brief.scatter.rig:
        made += text(("scatter", "rig"), brief.scatter.rig, 200)
    return made


def inside(path: str) -> bool:
    """True for a plain relative path to a .csv file that cannot leave the folder it is taken from."""
    parts = path.split("/")
    plain = all(_PART.fullmatch(part) and not part.endswith((".", " ")) for part in parts)
    return plain and len(path) <= 120 and path.endswith(".csv") and parts[-1] != ".csv"


def _pair(pair: tuple[float, float]) -> str:
    """Two numbers as they stand in the file."""
    return f"[{number(pair[0])}, {number(pair[1])}]"
