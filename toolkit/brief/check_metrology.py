"""Checks of [[traces]], [[master]] and [reference] (rank 2).

None stands for what was refused already; every function gives what it finds.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from toolkit import measured_in
from toolkit.brief import check_conditions, check_factors
from toolkit.brief.found import Found, Loc, number, quoted, repeats, text, within, word
from toolkit.brief.metrology import CORRECTIONS, DECIMALS, MOVES, TAKES, TRACE_KEYS, TRACE_VALUES, Traces
from toolkit.brief.model import Brief, Response
from toolkit.errors import listing, nearest

MOST = {"traces": 12, "master": 20, "zones": 20, "positions": 200}
_FILES = re.compile(r"(?:[A-Za-z0-9_.\- *]|\{[a-z_]+\})+\.csv")
_HELD = re.compile(r"\{([a-z_]*)\}")
_RESPONSES: tuple[Loc, ...] = (("response",),)


def traces(brief: Brief) -> list[Found]:
    """What is wrong with the rules for traces."""
    given = [(at, item) for at, item in enumerate(brief.traces) if item is not None]
    made = _most(given, "traces")
    made += repeats(((("traces", at, "response"), item.response) for at, item in given), "response of [[traces]]")
    for at, item in given:
        loc: Loc = ("traces", at)
        asked = _response(brief, item.response)
        made += _measured(brief, item.response, (*loc, "response"))
        made += _files(item, loc)
        made += word((*loc, "take"), item.take, TAKES)
        made += word((*loc, "decimal"), item.decimal, DECIMALS)
        made += _zones(item, loc)
        made += _columns(item, loc)
        made += _units(item, asked, loc)
        made += _moves(item, loc)
        if asked is not None and asked.stations is not None and asked.stations.states:
            rests = (("response",),)
            made.append(
                Found(
                    (*loc, "response"),
                    f"{quoted(item.response)} is read in states",
                    "a response without states",
                    "Traces give the wear itself: leave states out of its stations.",
                    rests,
                )
            )
    return made


def masters(brief: Brief) -> list[Found]:
    """What is wrong with the masters."""
    given = [(at, item) for at, item in enumerate(brief.masters) if item is not None]
    made = _most(given, "master")
    made += repeats(((("master", at, "name"), item.name) for at, item in given), "master")
    traced = [item.response for item in brief.traces if item is not None]
    correcting: dict[str, int] = {}
    for at, item in given:
        loc: Loc = ("master", at)
        made += text((*loc, "name"), item.name, 60)
        made += _measured(brief, item.response, (*loc, "response"))
        made += within((*loc, "value_sd"), item.value_sd, lambda v: v >= 0, "0 or a number above 0")
        made += word((*loc, "correct"), item.correct, CORRECTIONS)
        if item.correct in (None, "none") or item.correct not in CORRECTIONS:
            continue
        if item.response in traced:
            made.append(
                Found(
                    (*loc, "correct"),
                    f"{quoted(item.correct)} for traces",
                    "'none'",
                    "Traces are brought together on what does not wear, which takes drift off already.",
                    rests_on=(("traces",),),
                )
            )
        if item.response in correcting:
            made.append(
                Found(
                    (*loc, "correct"),
                    f"a second master corrects {quoted(str(item.response))}",
                    "one",
                    'Write correct = "none".',
                    rests_on=(("master", correcting[item.response], "correct"),),
                )
            )
        correcting.setdefault(str(item.response), at)
    return made


def reference(brief: Brief) -> list[Found]:
    """What is wrong with what is said of the reference runs."""
    asked = brief.reference
    if asked is None:
        return []
    loc: Loc = ("reference",)
    made = within((*loc, "conf_level"), asked.conf_level, lambda v: 0.5 < v < 1, "a number between 0.5 and 1")
    levels = asked.combination or {}
    made += check_factors.levels_known(brief, levels, (*loc, "combination"))
    names = [item.name for item in brief.factors if item is not None and item.name is not None]
    lacking = [name for name in names if name not in levels]
    if levels and lacking and not made:
        made.append(
            Found(
                (*loc, "combination"),
                f"no level of {listing(lacking)}",
                "a level of every factor, or nothing",
                "Leave combination out for the baseline.",
                rests_on=(("factor",),),
            )
        )
    if asked.history is not None and not check_conditions.inside(asked.history):
        made.append(
            Found(
                (*loc, "history"),
                f"{quoted(asked.history)} is not a plain path to a .csv file in the campaign folder",
                "letters, digits, _ - . and blanks, with / between folders",
                'Copy the table into the folder and write "raw/reference-runs.csv".',
            )
        )
    return made


def _most(given: Sequence[Any], section: str) -> list[Found]:
    """Sections that stand too often."""
    over = len(given) > MOST[section]
    return [Found((section,), f"{len(given)} of [[{section}]]", f"{MOST[section]} at most")] if over else []


def _response(brief: Brief, name: str | None) -> Response | None:
    """The response of a name, as far as it is there."""
    return next((item for item in brief.responses if item is not None and item.name == name), None)


def _measured(brief: Brief, name: str | None, loc: Loc) -> list[Found]:
    """The fault of a name that is no response with stations."""
    if name is None:
        return []
    asked = _response(brief, name)
    if asked is not None and asked.stations is not None:
        return []
    known = [item.name for item in brief.responses if item is not None and item.name and item.stations is not None]
    what = f"{quoted(name)} is {'no response' if asked is None else 'not measured at stations'}"
    expected = f"a response with stations{f': {listing(known)}' if known else ''}"
    return [Found(loc, what, expected, nearest(name, known), rests_on=_RESPONSES)]


def _files(item: Traces, loc: Loc) -> list[Found]:
    """What is wrong with the pattern of names, and with what tells which trace it is."""
    if item.files is None:
        return []
    loc = (*loc, "files")
    if not _FILES.fullmatch(item.files) or len(item.files) > 120 or ".." in item.files:
        expected = "a pattern of .csv names in raw/traces, without folders"
        return [Found(loc, quoted(item.files), expected, 'Write "{run_id}_{part_id}.csv" or "*.csv", for example.')]
    held = _HELD.findall(item.files)
    made = []
    for name in dict.fromkeys(held):
        if name not in TRACE_KEYS:
            made.append(
                Found(loc, f"{{{name}}}", listing([f"{{{one}}}" for one in TRACE_KEYS]), nearest(name, TRACE_KEYS))
            )
        elif held.count(name) > 1:
            made.append(Found(loc, f"{{{name}}} stands twice", "each once"))
    return made


def _zones(item: Traces, loc: Loc) -> list[Found]:
    """What is wrong with reference zones, the worn zone and the scheme of positions."""
    made = []
    reference = [zone for zone in item.reference or () if zone is not None]
    if item.reference is not None and not 1 <= len(item.reference) <= MOST["zones"]:
        made.append(
            Found((*loc, "reference"), f"{len(item.reference)} zones", f"1 to {MOST['zones']} zones that do not wear")
        )
    for at, zone in enumerate(item.reference or ()):
        if zone is not None and not (len(zone) == 2 and None not in zone and zone[0] < zone[1]):
            made.append(Found((*loc, "reference", at), _shown(zone), "[from, to], the smaller first"))
    worn = item.worn
    if worn is not None and None not in worn and not worn[0] < worn[1]:
        made.append(Found((*loc, "worn"), _shown(worn), "[from, to], the smaller first"))
        worn = None
    positions = [place for place in item.positions or () if place is not None]
    if item.worn is None and not positions:
        what = "neither worn nor positions"
        made.append(
            Found(
                (*loc, "worn"), what, "the zone that wears, or a scheme of positions", rests_on=((*loc, "positions"),)
            )
        )
    if item.worn is not None and positions:
        made.append(Found((*loc, "positions"), "worn and positions", "one of them", "Delete one of them."))
    if positions and item.take not in (None, "max", "mean"):
        made.append(
            Found(
                (*loc, "take"), f"{quoted(item.take)} of positions", "'max' or 'mean'", rests_on=((*loc, "positions"),)
            )
        )
    if len(positions) > MOST["positions"] or len(set(positions)) < len(positions):
        made.append(Found((*loc, "positions"), f"{len(positions)} positions", f"up to {MOST['positions']}, each once"))
    usable = [zone for zone in reference if len(zone) == 2 and None not in zone and zone[0] < zone[1]]
    for low, high in usable:
        if worn is not None and None not in worn and low < worn[1] and worn[0] < high:
            what = f"{_shown((low, high))} reaches into the worn zone {_shown(worn)}"
            remedy = "Wear in a reference zone would hide itself: keep them apart."
            made.append(Found((*loc, "reference"), what, "zones that do not wear", remedy, rests_on=((*loc, "worn"),)))
        inside = [place for place in positions if low <= place <= high]
        if inside:
            what = f"position {number(inside[0])} lies in the reference zone {_shown((low, high))}"
            made.append(Found((*loc, "positions"), what, "positions outside the reference zones"))
    return made


def _columns(item: Traces, loc: Loc) -> list[Found]:
    """What is wrong with the headings."""
    made = []
    allowed = (*TRACE_VALUES, *TRACE_KEYS)
    held = _HELD.findall(item.files or "")
    for name, value in (item.columns or {}).items():
        here = (*loc, "columns", name)
        if name not in allowed:
            made.append(Found(here, f"unknown column {quoted(name)}", ", ".join(allowed), nearest(name, allowed)))
        elif name in held:
            made.append(
                Found(here, f"{quoted(name)} is told by the names of the files too", "one of them", "Delete one.")
            )
        made += text(here, value, 200)
    headings = [value.strip().casefold() for value in (item.columns or {}).values() if value is not None]
    twice = next((value for at, value in enumerate(headings) if value in headings[:at]), None)
    if twice:
        made.append(Found((*loc, "columns"), f"the heading {quoted(twice)} twice", "each heading once"))
    return made


def _units(item: Traces, asked: Response | None, loc: Loc) -> list[Found]:
    """What is wrong with the units of a trace, and with that of what is taken from it."""
    made = []
    turned = False
    if item.position_in is not None:
        along = [measured_in.not_converted(item.position_in, name) for name in ("x_mm", "x_deg")]
        turned = along[0] is not None and along[1] is None
        if None not in along:
            made.append(Found((*loc, "position_in"), quoted(item.position_in), "a unit of length or of angle"))
    if item.height_in is not None and measured_in.not_converted(item.height_in, "x_um") is not None:
        made.append(Found((*loc, "height_in"), quoted(item.height_in), "a unit of length"))
    made += within((*loc, "width_mm"), item.width_mm, lambda v: v > 0, "a number above 0")
    if item.take in ("area", "volume") and turned:
        made.append(
            Found(
                (*loc, "take"),
                f"{quoted(item.take)} over an angle",
                "'max' or 'mean'",
                rests_on=((*loc, "position_in"),),
            )
        )
    if item.take == "volume" and item.width_mm is None:
        made.append(
            Found(
                (*loc, "width_mm"), "no width", "the width of the worn track, for a volume", rests_on=((*loc, "take"),)
            )
        )
    if item.width_mm is not None and item.take not in (None, "volume"):
        made.append(
            Found((*loc, "width_mm"), f"a width with take = {quoted(item.take)}", "only with 'volume'", "Delete it.")
        )
    if asked is not None and item.take in TAKES and asked.name is not None:
        like = {"area": "x_mm2", "volume": "x_mm3"}.get(item.take, "x_um")
        suffix = measured_in.suffix_of(asked.name)
        if suffix is not None and measured_in.not_converted(suffix, like) is not None:
            kind = {"area": "an area", "volume": "a volume"}.get(item.take, "a length")
            ends = {"area": "mm2", "volume": "mm3"}.get(item.take, "um or mm")
            what = f"{quoted(item.take)} of traces is {kind}, and {quoted(asked.name)} is none"
            made.append(Found((*loc, "take"), what, f"a response that ends in _{ends}", rests_on=_RESPONSES))
    return made


def _moves(item: Traces, loc: Loc) -> list[Found]:
    """What is wrong with what may differ between two settings."""
    made = []
    for at, name in enumerate(item.may_move or ()):
        made += word((*loc, "may_move", at), name, MOVES)
    return made


def _shown(zone: Sequence[float]) -> str:
    """Numbers as they stand in the file."""
    return f"[{', '.join(number(part) for part in zone)}]"
