"""From the text of campaign.toml to plain tables, with every line that is not TOML told at once (rank 2).

A statement that cannot be read is set aside, marked, and the rest is read on: a person should not have to
mend a file one error at a time.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from typing import Any

from toolkit.brief import guesses
from toolkit.brief.found import Loc, quoted
from toolkit.brief.lines import Statement, bare, statements
from toolkit.errors import Fault

LARGEST = 100_000
DEEPEST = 50
_MARK = "\x00"
_MARK_TOML = '"\\u0000"'
_MOST = 20
_MANY = (
    "factor", "response", "comparison", "best_of", "received", "covariate", "oil_card", "traces", "master",
)  # fmt: skip
_KEY = re.compile(r"\s*((?:[A-Za-z0-9_-]+|\"[^\"\\\n]*\"|'[^'\n]*')(?:\s*\.\s*[A-Za-z0-9_-]+)*)\s*=")
_REPEATED = re.compile(r"overwrite|twice|[Dd]uplicate|immutable|mutate")
# The reader takes minutes over a key of thousands of parts.
_DOTTED = re.compile(rf"(?<![A-Za-z0-9_\"'-])(?:[A-Za-z0-9_\"'-]+[ \t]*\.[ \t]*){{{DEEPEST}}}")
_LINE = re.compile(r"\(at line (\d+), column (\d+)\)")


@dataclass(frozen=True)
class Loaded:
    """A TOML text as far as it could be read.

    Attributes
    ----------
    tables : dict
        As tomllib gives them; None where a value could not be read.
    text : str
        The text with unreadable statements set aside, its lines in place.
    faults : tuple of (line, Fault)
    refused : frozenset of places
        Where a value could not be read.
    incomplete : frozenset of places
        Tables in which something may be missing because a line of them could not be read.
    """

    tables: dict[str, Any]
    text: str
    faults: tuple[tuple[int, Fault], ...]
    refused: frozenset[Loc]
    incomplete: frozenset[Loc]


def load(text: str, where: str) -> Loaded:
    """The tables of a TOML text, and everything in it that is not TOML.

    Parameters
    ----------
    text : str
    where : str
        What the text is called in messages.

    Returns
    -------
    Loaded
    """
    if len(text) > LARGEST:
        return _hopeless(
            1,
            Fault(
                where,
                f"{len(text)} characters",
                f"{LARGEST} at most",
                "Keep records in raw/, not in the brief.",
            ),
        )
    text = text.replace("\r\n", "\n")
    dotted = _DOTTED.search(text)
    if dotted:
        line = text.count("\n", 0, dotted.start()) + 1
        return _hopeless(line, _too_deep(f"{where} line {line}"))
    faults: list[tuple[int, Fault]] = []
    incomplete: set[Loc] = set()
    for turn in range(_MOST):
        try:
            tables = tomllib.loads(text)
        except (ValueError, RecursionError) as error:
            blamed, at = _blame(text, error)
            if blamed is None:
                return _hopeless(1, Fault(where, "this text cannot be read", "TOML"), faults)
            source = text.split("\n")
            faults.append((at, _fault(source, blamed, at, error, where)))
            text, section = _without(source, blamed, turn, bool(_REPEATED.search(str(error))))
            if section is not None:
                incomplete.add((section,) if section else ())
            continue
        if _deeper(tables, DEEPEST):
            return _hopeless(1, _too_deep(where), faults)
        refused: set[Loc] = set()
        tables = _unmarked(tables, (), refused, incomplete)
        return Loaded(tables, text, tuple(faults), frozenset(refused), frozenset(incomplete))
    return _hopeless(
        faults[-1][0],
        Fault(where, f"{_MOST} lines cannot be read", "TOML", "The rest was not looked at: mend these first."),
        faults,
    )


def _deeper(tables: dict[str, Any], most: int) -> bool:
    """Whether anything lies in more than ``most`` tables and lists; level by level, since calls cannot nest so far."""
    level: list[Any] = [tables]
    for _ in range(most):
        inner = [item.values() if isinstance(item, dict) else item for item in level]
        level = [value for items in inner for value in items if isinstance(value, (dict, list))]
    return bool(level)


def _too_deep(place: str) -> Fault:
    """The fault of keys in keys in keys."""
    return Fault(
        place,
        f"keys in keys, deeper than {DEEPEST}",
        "the sections of a brief with their keys",
        "Look for a key with many dots, or for brackets in brackets.",
    )


def _hopeless(line: int, fault: Fault, faults: list[tuple[int, Fault]] | None = None) -> Loaded:
    """What is given back when nothing of the text can be used."""
    return Loaded({}, "", (*(faults or ()), (line, fault)), frozenset({()}), frozenset())


def _blame(text: str, error: Exception) -> tuple[Statement | None, int]:
    """The statement an error belongs to, and the line to name: an open quote or bracket comes before the
    place at which the reader noticed it."""
    said = _LINE.search(str(error))
    row = int(said.group(1)) if said else None
    candidates = [item for item in statements(text) if row is None or item.first <= row]
    if not candidates:
        return None, 1
    if not said and not isinstance(error, tomllib.TOMLDecodeError):
        # Numbers of thousands of digits, and lists in lists in lists, are told without a line; the longest
        # statement has them.
        rows = text.split("\n")
        longest = max(candidates, key=lambda item: len("".join(rows[item.first - 1 : item.last])))
        return longest, longest.first
    opened = next((item for item in candidates if item.fault), None)
    if opened is not None:
        return opened, opened.first
    holding = candidates[-1]
    return holding, min(row or holding.first, holding.last)


def _fault(source: list[str], blamed: Statement, at: int, error: Exception, where: str) -> Fault:
    """The fault of a statement, with a guess at what was meant."""
    place = f"{where} line {at}"
    line = bare(source[at - 1])
    if _REPEATED.search(str(error)):
        return _repeated(source, blamed, at, place, re.search(r"key ('[^']*')", str(error)))
    said = _LINE.search(str(error))
    column = int(said.group(2)) - 1 if said and int(said.group(1)) == at else None
    expected, remedy = guesses.guess(source[at - 1 : blamed.last], column, blamed, str(error))
    return Fault(place, f"cannot read {quoted(line, 70)}", expected, remedy)


def _repeated(source: list[str], blamed: Statement, at: int, place: str, named: re.Match[str] | None) -> Fault:
    """The fault of a key or section that stands twice."""
    line = bare(source[at - 1])
    if blamed.header:
        same = [item.first for item in statements("\n".join(source)) if item.header and item.first < blamed.first
                and bare(source[item.first - 1]) == line]  # fmt: skip
        if same and line.strip("[] ") not in _MANY:
            return Fault(
                place,
                f"the section {line} stands twice; it begins on line {same[0]} already",
                "every section once",
                "Put its lines in the place of those there, and delete this one.",
            )
        return Fault(
            place,
            f"the section {line} stands twice or clashes with an earlier one",
            f"every section once, but {', '.join(f'[[{name}]]' for name in _MANY[:-1])} and [[{_MANY[-1]}]] as "
            f"often as needed",
            "Join the sections, or use double brackets.",
        )
    key = _KEY.match(line)
    if key is not None:
        for earlier in reversed([item for item in statements("\n".join(source)) if item.last < blamed.first]):
            if earlier.header:
                break
            match = _KEY.match(source[earlier.first - 1])
            if match is not None and match.group(1) == key.group(1):
                return Fault(
                    place,
                    f"the key {key.group(1)} stands twice; it was given on line {earlier.first}",
                    "every key once in a section",
                    "Delete one of them.",
                )
    what = named.group(1) if named else "a key"
    return Fault(
        place,
        f"{what} stands twice in {quoted(line, 70)}",
        "every key or level once",
        "Rename or delete one of them.",
    )


def _without(source: list[str], blamed: Statement, turn: int, repeated: bool) -> tuple[str, str | None]:
    """The text with one statement marked as unreadable, and the section that is incomplete by it, if any."""
    line = source[blamed.first - 1]
    key = _KEY.match(line)
    section = None
    if blamed.header:
        put = f'["\\u0000[{turn}"]'
        section = re.sub(r"[^A-Za-z_].*", "", line.strip().lstrip("[ "))
    elif key is None or _MARK_TOML in line:
        put = f'"\\u0000{turn}" = {_MARK_TOML}'
    elif repeated and re.match(r"\s*[^\s\[{]", line[key.end() :]):
        put = ""
    else:
        put = f"{key.group(1)} = {_MARK_TOML}"
    lines = [*source[: blamed.first - 1], put, *[""] * (blamed.last - blamed.first), *source[blamed.last :]]
    return "\n".join(lines), section


def _unmarked(value: Any, loc: Loc, refused: set[Loc], incomplete: set[Loc]) -> Any:
    """Tables without the marks of unreadable statements, whose places are noted."""
    if isinstance(value, str) and value == _MARK:
        refused.add(loc)
        return None
    if isinstance(value, list):
        return [_unmarked(item, (*loc, at), refused, incomplete) for at, item in enumerate(value)]
    if isinstance(value, dict):
        kept = {}
        for key, item in value.items():
            if not key.startswith(_MARK):
                kept[key] = _unmarked(item, (*loc, key), refused, incomplete)
            elif not key.startswith(f"{_MARK}["):
                incomplete.add(loc)
        return kept
    return value
