"""What the columns of an old table seem to be: treatments, responses, ids, dates, remarks (rank 9).

Nothing recognised here is final: the draft of the brief says beside every guess what was seen, and asks.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from toolkit.brief import check_factors, check_responses
from toolkit.brief.found import printable
from toolkit.campaign.old_names import Names, level_names, unit_in
from toolkit.campaign.old_table import HEADLINE, Cell, OldColumn, OldTable, filled
from toolkit.errors import IntakeError, raise_all
from toolkit.intake import cells, columns, typed
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
    found = Recognised(table, decimal=_decimal(table))
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
    figures = [cell for cell in column.cells if cell is not None and _is_figure(cell, found.decimal)]
    unique = len(counts) == len(column.texts)
    if _ID.match(heading) and not found.run_id and not suffix and len(texts) == len(column.texts):
        return replace(found, run_id=heading, said=said)
    if _ORDER.search(heading) and not found.order and unique and (_dated(column) or _counted(texts)):
        return replace(found, order=heading, said=said)
    if 2 * len(figures) >= len(texts) and figures:
        if _HOURS.search(heading) and suffix in ("h", "min", "s", "") and not found.hours:
            unit = theirs or ("" if suffix in ("h", "") else suffix)
            return replace(found, hours=heading, hours_unit=unit, said=said)
        return _numeric(found, column, (label, suffix, theirs), names, told)
    return _worded(found, column, counts, names, told)


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
        _tell_blank(found.table, column, told)
        values = _figures(column, suffix, theirs, found.decimal, told)
        name = names.of(label, suffix or "?", factor=True)
        levels = tuple((value, value) for value in dict.fromkeys(values))
        made = Treatment(column.heading, name, levels, True, theirs, seen)
        return replace(found, treatments=(*found.treatments, made))
    values = _figures(column, suffix, theirs, found.decimal, told)
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
        _tell_blank(found.table, column, told)
        _tell_spelling(found.table, column, told)
        levels = tuple(zip(level_names(list(counts)), counts, strict=True))
        made = Treatment(heading, names.of(column.heading, "", factor=True), levels, False, "", seen)
        return replace(found, treatments=(*found.treatments, made))
    if not found.note:
        return replace(found, note=heading, said=said)
    return replace(found, left=(*found.left, (heading, f"words that are no treatment ({seen})")))


def _figures(column: OldColumn, suffix: str, theirs: str, decimal: str, told: Gathered) -> list[str]:
    """The figures of a column in the unit of ours, as text; faults kept of what is none; blanks are left out."""
    asked = typed.Column(f"x_{suffix}" if suffix else "x", "number", theirs, "comma" if decimal == "?" else decimal)
    made = []
    for cell in column.cells:
        value = None if cell is None else typed.taken(cell.found, asked)
        if cell is not None and isinstance(value, cells.Problem):
            where = _where(cell, column)
            told.add(where, where, value.found, value.expected, value.remedy, column=column.heading, kind=value.kind)
        elif isinstance(value, typed.Typed) and value.text not in ("", cells.LOST):
            made.append(value.text)
    return made


def _tell_blank(table: OldTable, column: OldColumn, told: Gathered) -> None:
    """Keep a fault of each line in which a treatment is not said."""
    for at, text in enumerate(column.texts):
        if not text:
            where = f"{table.name} {table.lines[at]}, column {column.heading}"
            told.add(where, where, "a blank cell in a treatment", "the level of every run", _MEND, kind="blank")


def _tell_spelling(table: OldTable, column: OldColumn, told: Gathered) -> None:
    """Keep a fault of words that differ only in capitals or blanks (one level or two?) or that do not print."""
    first: dict[str, Cell] = {}
    for cell in column.cells:
        if cell is None:
            continue
        if not printable(cell.text):
            told.add(cell.where, _where(cell, column), f"{cells.shown(cell.text)} in a treatment", "a word on one line",
                     _MEND, column=column.heading, kind="sign")  # fmt: skip
        same = " ".join(cell.text.split()).casefold()
        earlier = first.setdefault(same, cell)
        if earlier.text != cell.text:
            first_at = earlier.where.removeprefix(f"{table.name} ")
            told.add(
                cell.where,
                _where(cell, column),
                f"{cells.shown(cell.text)}, and {cells.shown(earlier.text)} at {first_at}",
                "every level written in one way",
                _MEND,
                column=column.heading,
                kind="spelling",
            )


def _where(cell: Cell, column: OldColumn) -> str:
    """Where a cell is, with its column."""
    return f"{cell.where}, column {column.heading}"


def _decimal(table: OldTable) -> str:
    """Which decimal mark the table has, where a figure in it could be read in two ways."""
    texts = [cell.text for column in table.columns for cell in column.cells if cell and cell.found.kind == "text"]
    commas = any(typed.decimal_comma(text) for text in texts)
    asked = typed.Column("x", "number", commas=commas)
    made = [typed.of_text(text, asked) for text in texts]
    if not any(isinstance(one, cells.Problem) and one.kind == "two ways" for one in made):
        return ""
    points = any(re.fullmatch(r"[+-]?\d+\.(\d{1,2}|\d{4,})", text) for text in texts)
    return "?" if commas == points else "comma" if commas else "point"


def _is_figure(cell: Cell, decimal: str) -> bool:
    """True for a number, whatever its unit."""
    made = typed.taken(cell.found, typed.Column("x", "number", "", "comma" if decimal == "?" else decimal))
    return isinstance(made, typed.Typed) or made.kind in ("unit", "two ways", "grouped", "decimal mark")


def _dated(column: OldColumn) -> bool:
    """True for a column of dates that can be read in one way."""
    when = typed.Column("x", "when")
    made = [typed.taken(cell.found, when) for cell in column.cells if cell is not None]
    return all(isinstance(one, typed.Typed) for one in made)


def _counted(texts: Sequence[str]) -> bool:
    """True for whole numbers."""
    return all(re.fullmatch(r"\d{1,6}", text) for text in texts)


def _seen(counts: Counter[str], lines: int) -> str:
    """What a column holds, in words: how many different values, and the first of them."""
    first = [f"{cells.shown(text)}{f' ({count} times)' if count > 1 else ''}" for text, count in counts.items()][:4]
    more = len(counts) - len(first)
    blank = lines - sum(counts.values())
    words = f"{len(counts)} different in {lines} lines: {', '.join(first)}{f' and {more} more' if more > 0 else ''}"
    return f"{words}; {blank} blank" if blank else words


def _alike(found: Recognised) -> tuple[tuple[str, ...], ...]:
    """The lines of every combination that stands on several."""
    headings = [item.heading for item in found.treatments] + ([found.build] if found.build else [])
    by_heading = {column.heading: column.texts for column in found.table.columns}
    groups: dict[tuple[str, ...], list[str]] = {}
    for at, line in enumerate(found.table.lines):
        groups.setdefault(tuple(by_heading[heading][at] for heading in headings), []).append(line)
    return tuple(tuple(lines) for lines in groups.values() if len(lines) > 1)
