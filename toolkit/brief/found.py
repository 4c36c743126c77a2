"""One fault of a brief before file and line are known, and the small checks that make them (rank 2).

A place in a brief is a tuple as in the TOML file: ``("factor", 1, "undo")`` is the key undo of the second
factor. None stands for a value that is missing or was refused already; every check here passes over it.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from toolkit.brief.model import number_name
from toolkit.errors import listing, nearest

Loc = tuple[str | int, ...]
NAMED = ("factor", "response", "comparison", "best_of", "received", "covariate", "oil_card", "traces", "master")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]*")
_WIDE_BLANKS = "\u00a0\u202f"


@dataclass(frozen=True)
class Found:
    """One thing that is wrong at a place of a brief.

    Attributes
    ----------
    loc : tuple
        The place.
    found, expected, remedy : str
        As in ``errors.Fault``.
    rests_on : tuple of places
        When one of these was refused already, this would only be a consequence of it and is not told.
    once : bool
        The same words in many places are told once, with their number.
    """

    loc: Loc
    found: str
    expected: str
    remedy: str = ""
    rests_on: tuple[Loc, ...] = ()
    once: bool = False


def quoted(text: str, longest: int = 40) -> str:
    """Text in quotes for a message: control characters spelt out, cut where it is long."""
    cut = text if len(text) <= longest else text[:longest]
    spelt = "".join(sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in cut)
    return f"'{spelt}{'…' if len(text) > longest else ''}'"


def shown(value: Any) -> str:
    """A value of the wrong kind for a message, with the kind it is of."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return f"the value {str(value).lower()}"
    if isinstance(value, float):
        return f"the number {value!r}"
    if isinstance(value, int):
        return f"the number {number(value)}"
    if isinstance(value, str):
        return f"the text {quoted(value)}"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, (list, tuple)):
        return f"a list of {len(value)}"
    return "a date or time" if hasattr(value, "isoformat") else "something else"


def number(value: float) -> str:
    """A number for a message, cut where a person would not read it to its end."""
    if isinstance(value, int):
        return str(value) if abs(value) < 10**30 else "of more than 30 digits"
    return number_name(value)


def same(text: str) -> str:
    """Text as compared for 'the same but for capitals': normalised and case-folded."""
    return unicodedata.normalize("NFKC", text).casefold()


def printable(text: str) -> bool:
    """True when text holds no control, direction or invisible characters."""
    return all(sign.isprintable() or sign in _WIDE_BLANKS for sign in text)


def within(loc: Loc, value: Any, holds: Callable[[Any], bool], expected: str, remedy: str = "") -> list[Found]:
    """A number outside its range."""
    return [] if value is None or holds(value) else [Found(loc, number(value), expected, remedy)]


def word(loc: Loc, value: str | None, allowed: Sequence[str]) -> list[Found]:
    """A word that is not one of those known here."""
    if value is None or value in allowed:
        return []
    return [Found(loc, quoted(value), listing(allowed), nearest(value, allowed))]


def near(given: str, allowed: Sequence[str]) -> str:
    """The name nearest to ``given``; empty when none is near."""
    told = nearest(given, allowed)
    return next((item for item in allowed if told == f"Did you mean '{item}'?"), "")


def text(
    loc: Loc,
    value: str | None,
    longest: int,
    *,
    may_be_empty: bool = False,
    lines: bool = False,
) -> list[Found]:
    """Text for people: not empty, not too long, nothing in it that does not print."""
    if value is None:
        return []
    expected = f"text of 1 to {longest} characters{'' if lines else ' on one line'}"
    if not value.strip() and not may_be_empty:
        return [Found(loc, "empty text", expected)]
    if len(value) > longest:
        return [Found(loc, f"{quoted(value)} has {len(value)} characters", f"{longest} at most", "Shorten it.")]
    if not printable(value.replace("\n", "") if lines else value):
        return [
            Found(
                loc,
                f"{quoted(value)} holds characters that do not print",
                expected,
                "Retype it; text with a backslash goes in single quotes: '...'.",
            )
        ]
    return []


def name(loc: Loc, value: str | None, longest: int) -> list[Found]:
    """A name that cannot be a column."""
    if value is None:
        return []
    if not _NAME.fullmatch(value):
        return [
            Found(
                loc,
                f"{quoted(value)} is not a plain name",
                "letters a to z, digits and _, starting with a letter",
                _plain(value, longest),
            )
        ]
    if len(value) > longest:
        return [Found(loc, f"{quoted(value)} has {len(value)} characters", f"{longest} at most", "Shorten it.")]
    return []


def repeats(values: Iterable[tuple[Loc, str | None]], what: str) -> list[Found]:
    """Names that stand twice, or twice but for capitals."""
    seen: dict[str, str] = {}
    told = []
    for loc, value in values:
        if value is None:
            continue
        earlier = seen.get(same(value))
        seen.setdefault(same(value), value)
        if earlier is not None:
            words = "stands twice" if earlier == value else f"and {quoted(earlier)} differ only in how they are written"
            told.append(
                Found(
                    loc,
                    f"{what} {quoted(value)} {words}",
                    f"each {what} once",
                    "Rename or delete one of them.",
                )
            )
    return told


def count(items: Sequence[Any], loc: Loc, what: str, most: int) -> list[Found]:
    """None at all, or more than the limit."""
    if len(items) > most:
        return [Found(loc, f"{len(items)} {what}", f"{most} at most")]
    return [] if items else [Found((), f"no {what}", "one at least", rests_on=(loc,))]


def place(loc: Loc, plain: Any) -> str:
    """A place in the words of the file: ``factor 'oil', undo``; empty for the whole brief."""
    if not loc:
        return ""
    if loc[0] in NAMED and len(loc) > 1:
        own = _at(plain, (*loc[:2], "name"))
        start = f"{loc[0]} {quoted(own) if isinstance(own, str) and own.strip() else int(loc[1]) + 1}"
        return ", ".join([start, *_rest(loc, 2, plain)])
    if loc[0] in NAMED:
        return f"[[{loc[0]}]]"
    if len(loc) == 1 and not isinstance(_at(plain, loc), (dict, list, type(None))):
        return str(loc[0])
    return " ".join([f"[{loc[0]}]", ", ".join(_rest(loc, 1, plain))]).rstrip()


def _rest(loc: Loc, start: int, plain: Any) -> list[str]:
    """The keys of a place after its start: joined by points as in TOML, items of lists by their number."""
    words: list[str] = []
    dotted = False
    for at in range(start, len(loc)):
        part = loc[at]
        level = _at(plain, (*loc[: at + 1], "name")) if loc[at - 1] == "levels" else None
        if isinstance(level, str):
            words[-1] = f"level {quoted(level)}"
        elif isinstance(part, int):
            number_of = f"{',' * isinstance(loc[at - 1], int)} no. {part + 1}"
            words = [*words[:-1], (words[-1] if words else "") + number_of]
            words[-1] = words[-1].lstrip()
        elif not (part in ("name", "value") and words and words[-1].startswith("level ")):
            key = part if isinstance(part, str) and _BARE.fullmatch(part) else quoted(str(part))
            words = [*words[:-1], f"{words[-1]}.{key}"] if dotted else [*words, key]
            dotted = True
            continue
        dotted = False
    return words


def _at(plain: Any, loc: Loc) -> Any:
    """What stands at a place; None where there is nothing."""
    for part in loc:
        try:
            plain = plain[part]
        except (KeyError, IndexError, TypeError):
            return None
    return plain


def _plain(value: str, longest: int) -> str:
    """A proposal for a name: what is left of it when blanks and signs become underscores."""
    # The micro sign is written u here; plain decomposition would drop it and leave another unit.
    bare = unicodedata.normalize("NFKD", re.sub("[\u00b5\u03bc]", "u", value)).encode("ascii", "ignore").decode()
    made = re.sub(r"[^A-Za-z0-9]+", "_", bare).strip("_")[:longest].strip("_")
    return f"Write {quoted(made)}, for example." if _NAME.fullmatch(made) else ""
