"""Two results value by value: what moved, by a rule for each kind of value (rank 9).

Words, yes or no, counts and what is missing are to be the same. Other numbers may differ by a hair, since another
processor adds in another order. Shares of simulated campaigns are counts over a seed's own draws: the same, too.
"""

from __future__ import annotations

import math
import os.path
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import Any

RELATIVE, ABSOLUTE = 1e-8, 1e-12
# Of a sentence in a table so many signs are shown, and so many of them before the first that differs.
_LONGEST, _BEFORE = 60, 20
_NO_LINE = "no such line"
_NUMBER = re.compile(r"\d+(?:[.,]\d+)*")
WORDS, COUNT, ESTIMATE, SIMULATED, ROWS, GONE = "words", "count", "estimate", "simulated", "rows", "gone"
RULES = {
    WORDS: "words, dates, yes or no and missing values: exactly",
    COUNT: "whole numbers (counts, degrees of freedom, orders): exactly",
    ESTIMATE: f"other numbers: within {RELATIVE:g} of the larger one, or {ABSOLUTE:g}",
    SIMULATED: "whatever stands in simulated.json, drawn from the seed: exactly",
    ROWS: "the number of rows: exactly",
    GONE: "what is stored must be there again",
}


@dataclass(frozen=True)
class Difference:
    """One value that moved.

    Attributes
    ----------
    at : str
        Where it stands: ``responses.wear_um.comparisons[2].estimate``.
    kind : str
        Which of ``RULES`` it broke.
    stored, now : str
        As text.
    in_words : bool
        A sentence is put in other words, with the same numbers; a verdict is no sentence.
    """

    at: str
    kind: str
    stored: str
    now: str
    in_words: bool = False


def differences(stored: Any, now: Any, *, simulated: bool = False) -> tuple[list[Difference], int]:
    """What moved between two plain values, and how many values were compared.

    Parameters
    ----------
    stored, now : mapping, list or plain value
        As JSON holds them. Keys that only ``now`` has are no stored results and are passed over.
    simulated : bool
        Numbers are shares drawn from a seed: none may differ at all.
    """
    found: list[Difference] = []
    counted = _walk(stored, now, "", simulated, found)
    return found, counted


def rows(stored: Sequence[Mapping[str, str]], now: Sequence[Mapping[str, str]]) -> tuple[list[Difference], int]:
    """As ``differences``, for the rows of two tables of text: cells that hold numbers are compared as numbers."""
    return differences([_typed(row) for row in stored], [_typed(row) for row in now])


def lines(stored: Sequence[str], now: Sequence[str]) -> tuple[list[Difference], int]:
    """What moved between two texts, a stretch of lines each, and how many lines were compared: exactly."""
    found = []
    for kind, first, end, start, stop in SequenceMatcher(None, stored, now, autojunk=False).get_opcodes():
        if kind == "equal":
            continue
        before, after = stored[first:end], now[start:stop]
        # As many lines in the place of others are told one by one.
        pairs = (
            list(zip(before, after, strict=True)) if len(before) == len(after) else [(_run_on(before), _run_on(after))]
        )
        for at, (one, other) in enumerate(pairs, start=first + 1):
            texts = (one.rstrip("\r\n") or _NO_LINE, other.rstrip("\r\n") or _NO_LINE)
            found.append(Difference(f"line {at}", WORDS, *_pair(*texts), _reworded(*texts)))
    return found, max(len(stored), len(now))


def _run_on(lines: Sequence[str]) -> str:
    """Lines as one."""
    return " ".join(line.strip() for line in lines)


def _walk(stored: Any, now: Any, at: str, simulated: bool, found: list[Difference]) -> int:
    """Compare one value and all below it; how many there were."""
    if isinstance(stored, Mapping) and isinstance(now, Mapping):
        total = 0
        for key, value in stored.items():
            place = f"{at}.{key}" if at else str(key)
            if key in now:
                total += _walk(value, now[key], place, simulated, found)
            else:
                found.append(Difference(place, GONE, _text(value), "not there"))
                total += 1
        return total
    if isinstance(stored, list) and isinstance(now, list):
        if len(stored) != len(now):
            found.append(Difference(at, ROWS, f"{len(stored)} rows", f"{len(now)} rows"))
            return 1
        return sum(
            _walk(one, other, f"{at}[{place}]", simulated, found)
            for place, (one, other) in enumerate(zip(stored, now, strict=True), start=1)
        )
    kind = _kind(stored, now, simulated)
    if not _same(stored, now, kind):
        found.append(Difference(at, kind, *_pair(stored, now), _reworded(stored, now)))
    return 1


def _kind(stored: Any, now: Any, simulated: bool) -> str:
    """Which rule holds for a pair of values."""
    if not (_is_number(stored) and _is_number(now)):
        return WORDS
    if simulated:
        return SIMULATED
    return COUNT if isinstance(stored, int) and isinstance(now, int) else ESTIMATE


def _same(stored: Any, now: Any, kind: str) -> bool:
    """Whether a pair of values is the same by its rule."""
    if kind == ESTIMATE:
        try:
            return math.isclose(stored, now, rel_tol=RELATIVE, abs_tol=ABSOLUTE)
        # A whole number beyond all floats is none of our estimates.
        except OverflowError:
            return False
    # In Python 1 equals True, and in JSON it does not.
    return bool(stored == now) and isinstance(stored, bool) == isinstance(now, bool)


def _is_number(value: Any) -> bool:
    """True for a number that is not true or false."""
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _typed(row: Mapping[str, str]) -> dict[str, Any]:
    """The cells of a row, those that are written as numbers as numbers."""
    return {name: _number(cell) for name, cell in row.items()}


def _number(cell: str) -> Any:
    """A number where a cell holds one that the tables of a campaign are written with; else its text."""
    try:
        found = float(cell)
    except (TypeError, ValueError):
        return cell
    if not math.isfinite(found):
        return cell
    return int(cell) if cell.strip().lstrip("-").isdigit() and len(cell) < 16 else found


def _reworded(stored: Any, now: Any) -> bool:
    """Whether a sentence is put in other words and holds the same numbers."""
    if not (isinstance(stored, str) and isinstance(now, str)) or max(len(stored), len(now)) <= _LONGEST:
        return False
    return _NUMBER.findall(stored) == _NUMBER.findall(now)


def _pair(stored: Any, now: Any) -> tuple[str, str]:
    """Two values for a table; of long sentences what stands around the first sign that differs."""
    if isinstance(stored, str) and isinstance(now, str) and max(len(stored), len(now)) > _LONGEST:
        begins = len(os.path.commonprefix([stored, now])) - _BEFORE
        if begins > 0:
            return _text(f"...{stored[begins:]}"), _text(f"...{now[begins:]}")
    return _text(stored), _text(now)


def _text(value: Any) -> str:
    """A value for a table, cut where it is long."""
    if value is None:
        return "none"
    if isinstance(value, (Mapping, list)):
        return f"{len(value)} values"
    told = f"{value:.12g}" if isinstance(value, float) else str(value)
    return told if len(told) <= _LONGEST else f"{told[: _LONGEST - 3]}..."
