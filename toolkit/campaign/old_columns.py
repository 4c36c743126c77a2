"""What the columns of an old table seem to be: treatments, responses, ids, dates, remarks (rank 9).

Nothing recognised here is final: the draft of the brief says beside every guess what was seen, and asks.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field, replace

from toolkit.brief import check_factors, check_responses
from toolkit.campaign import old_cells
from toolkit.campaign.old_names import Names, level_names, unit_in
from toolkit.campaign.old_table import HEADLINE, OldColumn, OldTable, filled
from toolkit.errors import IntakeError, raise_all
from toolkit.intake import cells, columns
from toolkit.intake.gathered import Gathered

MOST_LEVELS = 12
_FEW_LINES = 6
_LONGEST_WORD = 60
_MEND = "Mend it in a copy of the table, and name the copy."
_ID = re.compile(r"(run|test|trial|no|nr|number|id|lauf|versuch)\b|#", re.IGNORECASE)
_ORDER = re.compile(r"\b(order|sequence|seq|date|day|datum|started|reihenfolge)\b", re.IGNORECASE)
_BUILD = re.compile(r"\b(build|engine|rebuild|motor)\b", re.IGNORECASE)
_HOURS = re.compile(r"\b((run|test) ?(time|length)|hours|duration|laufzeit|dauer)\b", re.IGNORECASE)
_NOTE = re.compile(r"\b(note|notes|remark|remarks|comment|comments|bemerkung|kommentar)\b", re.IGNORECASE)
_VERDICT = re.compile(r"\b(verdict|valid|validity|status)\b", re.IGNORECASE)
_WEAR = re.compile(
    r"wear|loss|elongation|stretch|scar|depth|volume|iron|verschlei|abrieb|längung|\b(fe|cr|cu|pb|sn|al|ni)\b",
    re.IGNORECASE,
)
_CONDITION = re.compile(
    r"temp|speed|load|torque|pressure|soot|fuel|dilution|viscosity|humidity|consumption|blow|ambient|sump|coolant",
    re.IGNORECASE,
)
_WORN = ("um", "mm", "mm3", "mg", "g", "kg", "pct", "ppm", "HV")


@dataclass(frozen=True)
class Treatment:
    """A column that seems to be a treatment: its levels as (our name, their word), the first seen first."""

    heading: str
    name: str
    levels: tuple[tuple[str, str], ...]
    numeric: bool
    their_unit: str
    seen: str


@dataclass(frozen=True)
class Measured:
    """A column that seems to be a response; ``above_zero`` when every figure is."""

    heading: str
    name: str
    their_unit: str
    above_zero: bool
    seen: str


@dataclass(frozen=True)
class Recognised:
    """What every column of an old table seems to be.

    ``run_id``, ``order``, ``build``, ``hours``, ``verdict`` and ``note`` are headings, '' where there is none; ``left``
    are columns that are not read, with the reason; ``alike`` are the lines of each combination that has several;
    ``decimal`` is comma, point, '?' where it cannot be told, or '' where every figure can be read in one way.
    """

    table: OldTable
    treatments: tuple[Treatment, ...] = ()
    responses: tuple[Measured, ...] = ()
    run_id: str = ""
    order: str = ""
    build: str = ""
    hours: str = ""
    hours_unit: str = ""
    verdict: str = ""
    note: str = ""
    left: tuple[tuple[str, str], ...] = ()
    said: dict[str, str] = field(default_factory=dict)
    alike: tuple[tuple[str, ...], ...] = ()
    decimal: str = ""


def recognise(table: OldTable) -> Recognised:
    """What the columns of an old table seem to be.

    Raises
    ------
    IntakeError
        With everything that keeps it from being used: no treatment, no response, blank treatments, figures that are
        none, levels written in two ways.
    """
    told = Gathered()
    found = Recognised(table, decimal=old_cells.decimal(table))
    names = Names()
    for column in filled(table.columns):
        found = _placed(found, column, names, told)
    for what, given, most in (
        ("treatment", found.treatments, check_factors.MOST["factors"]),
        ("response", found.responses, check_responses.MOST["responses"]),
    ):
        if not given and not len(told):
            seen = ", ".join(cells.shown(column.heading) for column in filled(table.columns)[:12])
            told.add(table.name, table.name, f"no column that could be a {what} (columns: {seen})", _WANTED[what])
        if len(given) > most:
            words = f"{len(given)} columns that could be a {what}: {', '.join(item.heading for item in given)}"
            told.add(table.name, table.name, words, f"at most {most}", f"Delete the others in a copy. {_MEND}")
    raise_all(IntakeError, HEADLINE, told.faults)
    found = _ids(found)
    return replace(found, alike=_alike(found))


_WANTED = {
    "treatment": "a column in which a few words or numbers come back, such as 'pin' with 'bare' and 'DLC'",
    "response": "a column of figures with its unit in the heading, such as 'wear (um)'",
}


def _placed(found: Recognised, column: OldColumn, names: Names, told: Gathered) -> Recognised:
    """What is known once one more column was looked at."""
    heading, texts = column.heading, [text for text in column.texts if text]
    counts = Counter(texts)
    seen = _seen(counts, len(column.texts))
    said = {**found.said, heading: seen}
    if _NOTE.search(heading) and not found.note:
        return replace(found, note=heading, said=said)
    if _VERDICT.search(heading) and not found.verdict and {text.casefold() for text in texts} <= {*columns.VERDICTS}:
        return replace(found, verdict=heading, said=said)
    if _BUILD.search(heading) and not found.build and len(texts) == len(column.texts):
        return replace(found, build=heading, said=said)
    label, suffix, theirs = unit_in(heading, texts)
    figures = [cell for cell in column.cells if cell is not None and old_cells.is_figure(cell, found.decimal)]
    unique = len(counts) == len(column.texts)
    if _ID.match(heading) and not found.run_id and not suffix and len(texts) == len(column.texts):
        return replace(found, run_id=heading, said=said)
    if _ORDER.search(heading) and not found.order and unique and (old_cells.dated(column) or old_cells.counted(texts)):
        return replace(found, order=heading, said=said)
    if 2 * len(figures) >= len(texts) and figures:
        if _HOURS.search(heading) and suffix in ("h", "min", "s", "") and not found.hours:
            unit = theirs or ("" if suffix in ("h", "") else suffix)
            return _hours(found, column, unit, said)
        return _numeric(found, column, (label, suffix, theirs), names, told)
    return _worded(found, column, counts, names, told)


def _hours(found: Recognised, column: OldColumn, unit: str, said: dict[str, str]) -> Recognised:
    """The hours of the runs; not read where a figure is none, as no answer rests on them."""
    aside = Gathered()
    values = old_cells.figures(column, "h", unit, found.decimal, aside)
    if len(aside) or any(float(value) < 0.0 for value in values):
        why = f"not every cell is a number of hours ({said[column.heading]})"
        return replace(found, left=(*found.left, (column.heading, why)))
    return replace(found, hours=column.heading, hours_unit=unit, said=said)


def _numeric(
    found: Recognised, column: OldColumn, unit: tuple[str, str, str], names: Names, told: Gathered
) -> Recognised:
    """A column of figures: a response, a treatment whose few numbers come back, or a condition."""
    label, suffix, theirs = unit
    counts = Counter(text for text in column.texts if text)
    seen = _seen(counts, len(column.texts))
    worn = (bool(_WEAR.search(label)) or suffix in _WORN) and not _CONDITION.search(label)
    few = 2 <= len(counts) <= MOST_LEVELS // 2 and len(counts) < len(column.texts)
    few = few and len(counts) <= len(column.texts) // 2 + 1
    if len(counts) == 1 and len(column.texts) > 1:
        return replace(found, left=(*found.left, (column.heading, f"the same in every line: {next(iter(counts))}")))
    if (few and not worn) or (not worn and (_CONDITION.search(label) or suffix not in ("", *_WORN))):
        if not few:
            why = f"figures of a condition ({seen}); to have it checked, write it into [held] and into columns"
            return replace(found, left=(*found.left, (column.heading, why)))
        old_cells.tell_blank(found.table, column, told)
        values = old_cells.figures(column, suffix, theirs, found.decimal, told)
        name = names.of(label, suffix or "?", factor=True)
        levels = tuple((value, value) for value in dict.fromkeys(values))
        made = Treatment(column.heading, name, levels, True, theirs, seen)
        return replace(found, treatments=(*found.treatments, made))
    values = old_cells.figures(column, suffix, theirs, found.decimal, told)
    name = names.of(label, suffix or "?", factor=False)
    above = all(float(value) > 0.0 for value in values)
    return replace(found, responses=(*found.responses, Measured(column.heading, name, theirs, above, seen)))


def _worded(found: Recognised, column: OldColumn, counts: Counter[str], names: Names, told: Gathered) -> Recognised:
    """A column of words: a treatment, the ids of the runs, or remarks."""
    heading, lines = column.heading, len(column.texts)
    seen = _seen(counts, lines)
    said = {**found.said, heading: seen}
    short = all(len(text) <= _LONGEST_WORD for text in counts)
    if len(counts) == lines and not found.run_id and column is filled(found.table.columns)[0]:
        return replace(found, run_id=heading, said=said)
    if len(counts) == 1 and lines > 1 and all(column.texts):
        return replace(found, left=(*found.left, (heading, f"the same in every line: {next(iter(counts))}")))
    if short and 2 <= len(counts) <= MOST_LEVELS and (len(counts) < lines or lines <= _FEW_LINES):
        old_cells.tell_blank(found.table, column, told)
        old_cells.tell_spelling(found.table, column, told)
        levels = tuple(zip(level_names(list(counts)), counts, strict=True))
        made = Treatment(heading, names.of(column.heading, "", factor=True), levels, False, "", seen)
        return replace(found, treatments=(*found.treatments, made))
    if not found.note:
        return replace(found, note=heading, said=said)
    return replace(found, left=(*found.left, (heading, f"words that are no treatment ({seen})")))


def _seen(counts: Counter[str], lines: int) -> str:
    """What a column holds, in words: how many different values, and the first of them."""
    first = [f"{cells.shown(text)}{f' ({count} times)' if count > 1 else ''}" for text, count in counts.items()][:4]
    more = len(counts) - len(first)
    blank = lines - sum(counts.values())
    words = f"{len(counts)} different in {lines} lines: {', '.join(first)}{f' and {more} more' if more > 0 else ''}"
    return f"{words}; {blank} blank" if blank else words


def _ids(found: Recognised) -> Recognised:
    """The column of the runs is let go where one of its ids stands on lines of several combinations."""
    by_heading = {column.heading: column.texts for column in found.table.columns}
    keys = [by_heading[heading] for heading in _keys(found)]
    combinations: dict[str, set[tuple[str, ...]]] = {}
    for name, *levels in zip(by_heading.get(found.run_id, ()), *keys, strict=True) if found.run_id else ():
        combinations.setdefault(name, set()).add(tuple(levels))
    several = next((name for name, held in combinations.items() if len(held) > 1), None)
    if several is None:
        return found
    why = f"{cells.shown(several)} stands on lines of several combinations, so it names no run"
    return replace(found, run_id="", left=(*found.left, (found.run_id, why)))


def _keys(found: Recognised) -> list[str]:
    """The headings of what tells combinations apart."""
    return [item.heading for item in found.treatments] + ([found.build] if found.build else [])


def _alike(found: Recognised) -> tuple[tuple[str, ...], ...]:
    """The lines of every combination that stands on several."""
    headings = _keys(found)
    by_heading = {column.heading: column.texts for column in found.table.columns}
    groups: dict[tuple[str, ...], list[str]] = {}
    for at, line in enumerate(found.table.lines):
        groups.setdefault(tuple(by_heading[heading][at] for heading in headings), []).append(line)
    return tuple(tuple(lines) for lines in groups.values() if len(lines) > 1)
