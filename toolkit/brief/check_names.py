"""Checks of names: of factors, columns and levels, and of the unit at their end (rank 2).

None stands for what was refused already; every function gives what it finds.
"""

from __future__ import annotations

import re

from toolkit import measured_in
from toolkit.brief.found import Found, Loc, name, near, quoted, same, text
from toolkit.brief.model import CENTRE

LONGEST = {"factor": 20, "column": 40, "level": 20, "title": 60, "label": 200}
RESERVED = (
    "run_id",
    "phase",
    "build_id",
    "part_set_id",
    "fill_id",
    "planned_order",
    "actual_order",
    "run_time_h",
    "verdict",
    "reason",
    "role",
    "part_id",
    "station_id",
    "sample_id",
    "reading",
    "session_id",
    "state",
    "replicate",
    "curvature",
    CENTRE,
    "build",
    "run",
    "station",
    "block",
    "position",
)
_NOT_IN_LEVEL = re.compile(r"[^\w .+/%°()-]")
_LETTERS = ("C", "Q", "I")
_READ_AS_MISSING = ("NA", "N/A", "n/a", "nan", "NaN", "NULL", "null", "None")
_SPELT = {
    "percent": "pct",
    "perc": "pct",
    "micron": "um",
    "microns": "um",
    "hr": "h",
    "hrs": "h",
    "hour": "h",
    "hours": "h",
    "sec": "s",
    "celsius": "degC",
    "c": "degC",
    "kelvin": "K",
    "mgkg": "ppm",
}


def column(loc: Loc, given: str | None, what: str) -> list[Found]:
    """What is wrong with the name of a response or held variable."""
    return name(loc, given, LONGEST["column"]) or reserved(loc, given) or suffix(loc, given, what)


def level_name(loc: Loc, given: str | None) -> list[Found]:
    """What is wrong with the name of a level that is not a number."""
    if given is None:
        return []
    told = text(loc, given, LONGEST["level"])
    if told:
        return told
    if given != given.strip() or not given[0].isalnum():
        return [
            Found(
                loc,
                f"{quoted(given)} starts or ends with a blank or a sign",
                "a letter or digit first",
                "Put blanks and signs into the text that says what the level means.",
            )
        ]
    odd = "".join(dict.fromkeys(_NOT_IN_LEVEL.findall(given)))
    if odd:
        words = f"{quoted(given)} holds {quoted(odd)}"
        remedy = "Put it into the text that says what the level means."
        return [Found(loc, words, "letters, digits, blanks and - _ . + / % ° ( )", remedy)]
    if same(given) == CENTRE:
        return [Found(loc, f"{quoted(given)} is kept for centre points", "another name", "Rename the level.")]
    if given in _READ_AS_MISSING:
        return [
            Found(
                loc,
                f"{quoted(given)} would be read as a missing value",
                "another name",
                "Write 'bare' or 'without', for example.",
            )
        ]
    return []


def reserved(loc: Loc, given: str | None) -> list[Found]:
    """A name that the records keep for themselves."""
    if given is None or (same(given) not in RESERVED and given not in _LETTERS):
        return []
    return [
        Found(
            loc,
            f"{quoted(given)} is kept for the records and the model",
            "another name",
            f"Write '{given}_1', for example." if given in _LETTERS else "Rename it.",
        )
    ]


def suffix(loc: Loc, given: str | None, what: str) -> list[Found]:
    """A name that does not end in a unit known here."""
    if given is None or measured_in.suffix_of(given) is not None:
        return []
    words = given.split("_")
    remedy = ""
    for take in (1, 2):
        last = "_".join(words[-take:])
        meant = _SPELT.get(last.casefold()) or near(last, list(measured_in.SUFFIXES))
        if len(words) > take and meant and not remedy:
            remedy = f"Did you mean '{'_'.join([*words[:-take], meant])}'?"
    return [
        Found(
            loc,
            f"{quoted(given)} does not end in what it is measured in",
            f"a {what} that ends in _ and one of {', '.join(measured_in.SUFFIXES)}",
            remedy,
        )
    ]
