"""What a verdict rests on besides the runs: effects taken as nil, covariates left out, an end held less well (rank 7).

Read from the note of a comparison, as ``design.alias_words``, ``model.below_limit`` and ``decide.answered`` write it.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence

from toolkit import measured_in
from toolkit.brief.model import Brief
from toolkit.wording import joined

_NAMED = 2
_CHAIN = re.compile(r"^stands for (?P<chain>.+): these runs cannot tell them apart$")
_MANY = re.compile(r"^(?P<name>.+) takes in a part of (?P<count>\d+) interactions of two factors")
_NIL = re.compile(r"^takes (?P<names>.+) as nil, which these runs do not tell by itself$")
_HELD = re.compile(r"^the end is held less well than [\d.]+ %: values below the limit$")
_SHARE = re.compile(r"^(a part of |[\d./]+ )")
_UNADJUSTED = "not adjusted for "


def nil(note: str) -> str:
    """What must be nil for a comparison to stand for itself: 'as far as bb × dd and cc × ee are nil'; empty if nothing.

    Parameters
    ----------
    note : str
        Of the comparison.
    """
    names: list[str] = []
    parts: list[str] = []
    for told in note.split("; "):
        if found := _CHAIN.match(told):
            others = re.split(r" [+−] ", found["chain"])[1:]
            names += [_SHARE.sub("", other) for other in others]
        elif found := _NIL.match(told):
            names += found["names"].split(" and ")
        elif found := _MANY.match(told):
            parts.append(f"the {found['count']} interactions of two factors that {found['name']} takes in a part of")
    names = list(dict.fromkeys(names))
    taken = [*shortened(names), *parts]
    if not taken:
        return ""
    several = len(taken) > 1 or bool(parts)
    listed = joined(taken)
    return f"as far as {listed} {'are' if several else 'is'} nil"


def shortened(names: Sequence[str]) -> list[str]:
    """At most two names, then how many more."""
    left = len(names) - _NAMED
    return [*names[:_NAMED], *([f"{left} more"] if left > 0 else [])]


def ended(note: str) -> str:
    """What the sentence of a verdict ends with, from a comma or semicolon on; empty where nothing has to be said."""
    rests = nil(note)
    others = [told for told in note.split("; ") if _HELD.match(told) or told.startswith(_UNADJUSTED)]
    return (f", {rests}" if rests else "") + "".join(f"; {told}" for told in others)


def left_out(brief: Brief, sealed: Collection[str], why: str = "values below the limit") -> str:
    """The note on covariates that would carry the verdict, and why they do not; empty where none would."""
    asked = [measured_in.label(item.name) for item in brief.covariates if item.name in sealed and item.unmoved]
    reason = " ".join(why.replace("; ", ", ").split()).rstrip(".")
    return f"{_UNADJUSTED}{' and '.join(asked)}: {reason}" if asked else ""


def unadjusted(note: str) -> str:
    """The same, found in a note again; empty where it says nothing of it."""
    return next((told for told in note.split("; ") if told.startswith(_UNADJUSTED)), "")
