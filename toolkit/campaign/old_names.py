"""Names of ours for headings and words of an old table: plain, unique, within the limits of a brief (rank 9)."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

from toolkit import measured_in
from toolkit.brief import check_names, record_columns
from toolkit.brief.found import same

_BRACKETS = re.compile(r"(.*\S)\s*[(\[]\s*([^()\[\]]+?)\s*[)\]]")
_LAST = re.compile(r"(.*?\S)\s+(?:in\s+)?(\S+)")
_CLOSE = re.compile(r"(.*[^\s,/])[,/](\S+)")
_IN_CELL = re.compile(r"[<+-]?\s*\d[\d.,' ]*\s*([^\W\d_].*|[%‰°].*)")
_ODD = re.compile(r"[^\w .+/%°()-]+")
_LONGEST_UNIT = 1 + max(map(len, measured_in.SUFFIXES))
# Ways of writing a unit that say the same as the suffix.
_SPELT = {
    **{"micron": "um", "microns": "um", "hr": "h", "hrs": "h", "hour": "h", "hours": "h"},
    **{"percent": "pct", "per cent": "pct", "sec": "s", "minutes": "min"},
}


class Names:
    """Names given so far, so that no two columns get the same."""

    def __init__(self) -> None:
        """None yet but those of the records themselves."""
        own = (*record_columns.RUN_KEYS, *record_columns.JUDGED, *record_columns.FITTED, record_columns.NOTE)
        self._taken: set[str] = {same(name) for name in (*check_names.RESERVED, *own)}

    def of(self, label: str, suffix: str, *, factor: bool) -> str:
        """A name for a column: letters, digits and _, ending in its unit; 'wear_?' where that is not known.

        Where the unit is open, no other name has the same label: whatever unit it gets, it is a name of its own.
        """
        longest = check_names.LONGEST["factor" if factor else "column"]
        room = _LONGEST_UNIT if suffix == "?" else len(suffix) + 1 if suffix else 0
        bare = plain(label) or ("treatment" if factor else "response")
        for number in range(1, 1000):
            more = f"_{number}" if number > 1 else ""
            short = f"{bare[: longest - room - len(more)].strip('_')}{more}"
            name = f"{short}_{suffix}" if suffix else short
            alike = [taken for taken in self._taken if _short(taken) == _short(same(name))]
            clash = bool(alike) and (suffix == "?" or any(taken.endswith("_?") for taken in alike))
            if same(name) not in self._taken and not clash and name not in ("c", "q", "i"):
                break
        self._taken.add(same(name))
        return name


def _short(name: str) -> str:
    """A name without its unit, or without the mark in the unit's place."""
    suffix = "?" if name.endswith("_?") else measured_in.suffix_of(name)
    return name[: -len(suffix) - 1] if suffix else name


def plain(label: str) -> str:
    """A label as a name: small letters, digits and _, a letter first; empty when nothing is left of it."""
    text = re.sub("[\u00b5\u03bc]", "u", label.replace("ß", "ss"))
    bare = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().casefold()
    made = re.sub(r"[^a-z0-9]+", "_", bare).strip("_")
    return made if not made or made[0].isalpha() else f"x_{made}"


def unit_in(heading: str, texts: Sequence[str]) -> tuple[str, str, str]:
    """Label, suffix of ours, and the unit of theirs where it is another one; from the heading, else from the cells.

    Suffix '' where no unit is known: ``unit_in("wear [µm]", [])`` gives ('wear', 'um', '').
    """
    own = measured_in.suffix_of(heading)
    if own:
        return heading[: -len(own) - 1], own, ""
    for pattern in (_BRACKETS, _LAST, _CLOSE):
        found = pattern.fullmatch(heading)
        if found:
            suffix, theirs = suffix_for(found[2])
            if suffix:
                return found[1].strip(" ,/"), suffix, theirs
    typed = {unit_typed(text) for text in texts}
    if len(typed) == 1 and typed != {""}:
        suffix, theirs = suffix_for(typed.pop())
        # The cells say it themselves, each one.
        return heading, suffix, "" if suffix else theirs
    return heading, "", ""


def unit_typed(text: str) -> str:
    """What stands behind the figure of a cell: '12 µm' gives 'µm', '5W-30' gives 'W-30'; empty for none."""
    found = _IN_CELL.fullmatch(text)
    return found[1].strip() if found else ""


def suffix_for(unit: str) -> tuple[str, str]:
    """The suffix for a unit as people write it, and the unit where figures in it have to be converted."""
    if unit in measured_in.SUFFIXES or unit.casefold() in _SPELT:
        return _SPELT.get(unit.casefold(), unit) if unit not in measured_in.SUFFIXES else unit, ""
    fits = [suffix for suffix in measured_in.SUFFIXES if measured_in.not_converted(unit, f"x_{suffix}") is None]
    exact = [suffix for suffix in fits if measured_in.converted("1", unit, f"x_{suffix}") == "1"]
    return (exact[0], "") if exact else (fits[0], unit) if fits else ("", "")


def level_names(words: Sequence[str]) -> list[str]:
    """A level name for each word, the word itself where it can be one; no two the same but for capitals."""
    made: list[str] = []
    for at, word in enumerate(words):
        name = word if not check_names.level_name((), word) else _level(word)
        if not name or check_names.level_name((), name) or same(name) in {same(one) for one in made}:
            name = next(
                one for one in (f"level {number}" for number in range(at + 1, 1000)) if same(one) not in map(same, made)
            )
        made.append(name)
    return made


def _level(word: str) -> str:
    """What is left of a word as a level name: whole words from its start, never a figure cut in two."""
    parts = _ODD.sub(" ", word).split()
    longest = check_names.LONGEST["level"]
    while parts and len(" ".join(parts)) > longest:
        parts.pop()
    return " ".join(parts).lstrip("_ .+/%°()-")
