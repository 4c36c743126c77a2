"""One cell as a person typed it becomes a value, or a problem that says what to type instead (rank 6).

Nothing is guessed: a decimal comma, a unit or a word in a number's place is a problem, never a number.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from toolkit import measured_in, sheetfile
from toolkit.brief.model import CENTRE, Factor
from toolkit.errors import listing, nearest

LOST = "lost"
LONGEST_NAME = 100

_PLAIN = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_COMMA = re.compile(r"([+-]?)([0-9]*),([0-9]+)")
_GROUPED = re.compile(r"[+-]?[0-9]+(?:[.,'’_\s][0-9]+){1,9}")
_WITH_UNIT = re.compile(r"([+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?)\s*([^\W\d_].*|[%°‰].*)")
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)", re.IGNORECASE)
_OTHER_MINUS = re.compile("[−–—‐‑]")
# They join letters in scripts that need it, and parts of one picture sign.
_JOINERS = "\u200c\u200d\u00ad"
_YES = {"true": True, "1": True, "yes": True, "false": False, "0": False, "no": False}


@dataclass(frozen=True)
class Problem:
    """Why a cell cannot be taken: its kind, what stands there, what was expected, what to do."""

    kind: str
    found: str
    expected: str
    remedy: str | Callable[[], str] = ""


@dataclass(frozen=True)
class Amount:
    """A concentration; ``below`` when it lies somewhere below ``value``, the limit of the laboratory."""

    value: float
    below: bool


def clean(text: str) -> str:
    """A cell without outer blanks, and without the quote that keeps a spreadsheet from running it."""
    return sheetfile.unguarded(text.strip())


def shown(text: str) -> str:
    """A cell for a message: in quotes, at most 40 characters, what cannot be printed written out."""
    safe = "".join(sign if sign.isprintable() else f"\\x{ord(sign):02x}" for sign in text[:41])
    return f"'{safe}'" if len(text) <= 40 else f"'{safe[:40]}…'"


def said(text: str) -> str:
    """A name for a message as it is; as ``shown`` where it is long or does not print."""
    return text if len(text) <= LONGEST_NAME and text.isprintable() else shown(text)


def number(text: str, column: str, *, low: float | None = None, lost: bool = False) -> float | Problem:
    """The number in a cell.

    Parameters
    ----------
    text : str
        The cell, cleaned.
    column : str
        Its column; the suffix says what it is measured in.
    low : float, optional
        The smallest value that can be.
    lost : bool
        True where the word 'lost' would have been taken instead; messages then say so.

    Returns
    -------
    float or Problem
        A finite number in the column's own unit.
    """
    if not _PLAIN.fullmatch(text):
        return _not_plain(text, column, lost)
    value = float(text)
    if not math.isfinite(value):
        return Problem("not finite", shown(text), "a finite number")
    if value == 0.0 and re.search("[1-9]", re.split("[eE]", text)[0]):
        return Problem("too small", shown(text), "nought, or a number that is not smaller than 1e-300")
    if low is not None and value < low:
        return Problem("too low", shown(text), f"a number not below {low:g}")
    return value


def measurement(text: str, column: str, *, low: float | None = None) -> float | None | Problem:
    """The number in a cell that may also be blank or say that the reading is lost; None for these."""
    return None if text == "" or text.casefold() == LOST else number(text, column, low=low, lost=True)


def whole(text: str) -> int | Problem:
    """A whole number from 1."""
    value = float(text) if _PLAIN.fullmatch(text) else math.nan
    if not (value >= 1.0 and value.is_integer() and value <= 1e9):
        return Problem("not whole", shown(text), "a whole number from 1")
    return int(value)


def word(text: str, allowed: Sequence[str]) -> str | Problem:
    """One of a few words, large or small letters alike."""
    found = next((item for item in allowed if item.casefold() == text.casefold()), None)
    return found or Problem("unknown word", shown(text), listing(allowed), lambda: nearest(text, allowed))


def in_words(text: str) -> str:
    """What somebody wrote freely, with signs spelt out that would turn the words around them about or hide some."""
    return "".join(
        sign if sign.isprintable() or sign.isspace() or sign in _JOINERS else ascii(sign)[1:-1] for sign in text
    )


def yes_no(text: str) -> bool | Problem:
    """True or false."""
    found = _YES.get(text.casefold())
    return Problem("not yes or no", shown(text), listing(tuple(_YES))) if found is None else found


def identifier(text: str) -> str | Problem:
    """The name of a run, build, part, station or sample."""
    if not text.isprintable() or len(text) > LONGEST_NAME:
        return Problem("bad name", shown(text), f"a name of at most {LONGEST_NAME} printable characters")
    return text


def same_name(text: str, known: Collection[str]) -> str:
    """The remedy 'Did you mean ...?' for an identifier that is one of ``known`` but for how it is written.

    Large and small letters, O for 0, l and I for 1, dashes and leading noughts; R02 is no slip for R06.
    """
    # Nobody can tell a name with signs that do not print from the one it looks like.
    printed = sorted(name for name in known if name.isprintable())
    found = next((name for name in printed if _skeleton(name) == _skeleton(text)), None)
    return f"Did you mean '{found}'?" if found else ""


def level(text: str, factor: Factor, *, centre: bool = False, also: tuple[str, ...] = ()) -> str | Problem:
    """The name of a factor's level; numeric levels are found by their value.

    Parameters
    ----------
    text : str
    factor : Factor
    centre : bool
        True where centre points are planned: the word and the mid value are then levels too.
    also : tuple of str
        Further numbers that are levels of runs added later.
    """
    centre = centre and factor.numeric
    names = (*factor.names, *((CENTRE,) if centre else ()), *also)
    if text in names:
        return text
    if factor.numeric:
        value = number(text, factor.name)
        if isinstance(value, Problem) and value.kind != "not a number":
            return value
        if not isinstance(value, Problem):
            named = [(float(item.value), item.name) for item in factor.levels if item.value is not None]
            if centre:
                named.append((sum(at for at, _ in named) / len(named), CENTRE))
            named += [(float(name), name) for name in also]
            for at, name in named:
                if math.isclose(value, at, rel_tol=1e-9, abs_tol=1e-12):
                    return name
    return Problem(
        "unknown level",
        shown(text),
        f"a level of {factor.name}: {listing(names)}",
        lambda: "" if factor.numeric else nearest(text, names),
    )


def amount(text: str, column: str) -> Amount | None | Problem:
    """A concentration, '<0.5' when below the laboratory's limit; None when blank or lost."""
    below = text.startswith("<")
    value = measurement(text[1:].strip() if below else text, column)
    if isinstance(value, Problem):
        return value
    if value is None:
        return Problem("no limit", shown(text), "a limit after '<'", "Write '<0.5' or the like.") if below else None
    if value < 0.0 or (below and value == 0.0):
        return Problem(
            "too low",
            shown(text),
            "a concentration not below 0",
            "Below the limit of the laboratory write '<' and the limit.",
        )
    return Amount(value, below)


def _skeleton(name: str) -> str:
    """An identifier without what people mistype: letters alike to digits, dashes, leading noughts."""
    plain = name.casefold().replace("o", "0").replace("i", "1").replace("l", "1")
    return re.sub(r"(?<![0-9])0+(?=[0-9])", "", "".join(sign for sign in plain if sign.isalnum()))


def _not_plain(text: str, column: str, lost: bool) -> Problem:
    """What is wrong with a cell that is not a plain number, and how to write it."""
    unit = measured_in.shown(column)
    point = "a number with a decimal point"
    alone = f"a number alone{f' (the column is in {unit})' if unit else ''}"
    or_lost = f"Write '{LOST}' where there is no figure." if lost else ""
    keyboard = _OTHER_MINUS.sub("-", text)
    comma, typed = _COMMA.fullmatch(text), _WITH_UNIT.fullmatch(text)
    if _NOT_FINITE.fullmatch(text):
        return Problem("not finite", shown(text), "a finite number", or_lost)
    if keyboard != text and _PLAIN.fullmatch(keyboard):
        return Problem("other minus", shown(text), "the minus sign of the keyboard", f"Write {keyboard}.")
    if text.startswith(("<", ">")):
        remedy = f"Only concentrations in oil take '<'. {or_lost}".strip() if text[0] == "<" else or_lost
        return Problem("below a limit", shown(text), alone, remedy)
    if comma:
        sign, before, after = comma.groups()
        written = f"{sign}{before or '0'}.{after}"
        two_ways = len(after) == 3 and before.strip("0")
        remedy = f"A comma can be read in two ways: write {sign}{before}{after} or {written}."
        return Problem("comma", shown(text), point, remedy if two_ways else f"Write {written}.")
    if _GROUPED.fullmatch(text):
        return Problem("grouped", shown(text), f"{point} and no other sign between its digits")
    if typed:
        own = {unit, measured_in.suffix_of(column), unit.replace("µ", "\u03bc"), unit.replace("µ", "u")}
        remedy = "Write the number alone."
        if unit and typed[2].strip() not in own:
            remedy = f"Convert it to {unit} and write the number alone."
        elif unit and "," not in typed[1]:
            remedy = f"Write {typed[1]}."
        return Problem("unit", shown(text), alone, remedy)
    return Problem("not a number", shown(text), alone, or_lost)
