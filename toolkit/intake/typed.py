"""A cell of a received file becomes the text that a hand-kept table would hold, or a problem (rank 6).

People type decimal commas, units and dates of their own, and spreadsheets turn what they type into dates and shares.
What can be read in one way only is taken; what can be read in two ways is refused with both. A hand-kept table passes
only the strict readers of ``cells``, and what is made here passes them afterwards.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from decimal import Decimal

from toolkit import measured_in
from toolkit.intake.cells import LOST, Problem, shown
from toolkit.sheetfile import Found

NOT_MEASURED = (LOST, "not measured")
FORMULA = "formula"
_WORDS = ("text", "whole")

_NUMBER = re.compile(r"([+-]?)([0-9][0-9.,'’\u00a0\u202f ]*|[.,][0-9]+)((?:[eE][+-]?[0-9]{1,4})?)\s*(.*)", re.DOTALL)
_PLAIN = re.compile(r"[0-9]+\.?[0-9]*|\.[0-9]+")
_COMMA = re.compile(r"[0-9]*,[0-9]+")
_THREE = re.compile(r"[1-9][0-9]{0,2}[.,][0-9]{3}")
_GROUPS = re.compile(r"[0-9]{1,3}(?:([.,'’\u00a0\u202f ])[0-9]{3})(?:\1[0-9]{3})*(?:[.,][0-9]+)?")
_MARKS = {"comma": (r"[.'’\u00a0\u202f ]", ","), "point": (r"[,'’\u00a0\u202f ]", ".")}
_MINUS = str.maketrans("−–‐‑", "----")
_ISO = re.compile(r"(\d{4}-\d{2}-\d{2})(?:[T ]+(\d{1,2}:\d{2})(?::(\d{2})(?:\.0+)?)?)?")
_OTHER_DATE = re.compile(r"(\d{1,4})\s*([./-])\s*(\d{1,2})\s*\2\s*(\d{1,4})(?:[T, ]+(\d{1,2})[:.h](\d{2})(.*))?")
_MOST_FIGURES = 1e15
_WHEN = "date and time as 2026-03-31 14:05"


@dataclass(frozen=True)
class Column:
    """What a column takes.

    Attributes
    ----------
    name : str
        Ours; its suffix says what it is measured in.
    kind : str
        number, amount (a number that may begin with <), level (of a numeric factor), whole (a count: no unit, no
        decimals), when (date and time), text, or free (text that is kept with its blanks).
    unit : str
        What the file says its figures are measured in; empty: as the column.
    decimal : str
        comma or point where it was declared; empty: told from each cell.
    commas : bool
        True where other cells of the file have decimal commas, so that 1.500 can be read in two ways.
    day_first : bool
        True where other cells of the column can only be read with the day before the month (see ``day_first``).
    """

    name: str
    kind: str
    unit: str = ""
    decimal: str = ""
    commas: bool = False
    day_first: bool = False

    @property
    def own(self) -> str:
        """What it is measured in, in words to append: ' (µm)'."""
        unit = measured_in.shown(self.name)
        return f" ({unit})" if unit else ""


@dataclass(frozen=True)
class Typed:
    """The text a hand-kept table would hold.

    ``from_unit`` is set when a number was converted from that unit, ``own_unit`` when the column's own was typed
    behind it.
    """

    text: str
    from_unit: str = ""
    own_unit: str = field(default="", compare=False)


def taken(cell: Found, column: Column) -> Typed | Problem:
    """A cell of a workbook as text.

    Parameters
    ----------
    cell : Found
    column : Column

    Returns
    -------
    Typed or Problem
        Blank text for a cell that holds only blanks.
    """
    kind, value = cell.kind, cell.value
    if kind == FORMULA:
        if cell.computed == "":
            return Problem(
                FORMULA,
                "a formula without a stored value",
                "the value itself",
                "Open and save the file in a spreadsheet program, or type the value.",
            )
        kind = cell.computed
    if kind == "error":
        return Problem("error value", f"the error value {shown(str(value))}", "a value", "Type the value, or clear it.")
    if kind == "date":
        return _of_date(value, column)
    if kind == "yes or no":
        if column.kind in ("text", "free"):
            return Typed("true" if value else "false")
        return Problem("yes or no", shown(str(value).upper()), _wanted(column))
    if kind == "per cent":
        made = of_text(f"{measured_in.plain_number(Decimal(repr(value)) * 100)} %", column)
        # Its sign is the cell's format, which nobody typed.
        return replace(made, own_unit="") if isinstance(made, Typed) else made
    if kind == "number":
        return _of_number(value, column)
    return of_text(str(value), column)


def of_text(text: str, column: Column) -> Typed | Problem:
    """What a person typed as text, as text for the strict readers."""
    if column.kind == "free":
        return Typed(text if text.strip() else "")
    text = text.strip()
    if not text or column.kind in _WORDS:
        return Typed(text)
    if column.kind == "when":
        return _when(text, column.day_first)
    if text.casefold() in NOT_MEASURED:
        return Typed(LOST)
    if column.kind == "amount" and text.startswith("<"):
        made = _number(text[1:].strip(), column)
        return replace(made, text=f"<{made.text}") if isinstance(made, Typed) else replace(made, found=shown(text))
    if column.kind == "level" and not _NUMBER.fullmatch(text.translate(_MINUS)):
        return Typed(text)
    return _number(text, column)


def decimal_comma(text: str) -> bool:
    """True for a text that can only be read as a number with a decimal comma."""
    found = _NUMBER.fullmatch(text.strip().lstrip("<").strip().translate(_MINUS))
    return bool(found and _COMMA.fullmatch(found[2].strip()) and not _THREE.fullmatch(found[2].strip()))


def day_first(texts: Iterable[str]) -> bool:
    """True where a text of a column is a date with the day before the month, and none can only be the other way."""
    ways = [set(_meant(text.strip())) for text in texts]
    return {"day"} in ways and {"month"} not in ways


def _number(text: str, column: Column) -> Typed | Problem:
    """A number with a point in the column's own unit, from what a person typed."""
    found = _NUMBER.fullmatch(text.translate(_MINUS))
    if not found:
        remedy = "Leave the cell blank while it is not known yet." if column.kind != "level" else ""
        return Problem("not a number", shown(text), _wanted(column), remedy)
    sign, digits, power, unit = found[1], found[2].strip(), found[3], found[4].strip()
    if power and found[2] != digits:
        return Problem("not a number", shown(text), _wanted(column))
    plain = _plain(text, sign, digits, column)
    if isinstance(plain, Problem):
        return plain
    made = _in_own_unit(text, f"{sign}{plain}{power}", unit or column.unit, column)
    return replace(made, own_unit=unit) if unit and isinstance(made, Typed) and not made.from_unit else made


def _plain(text: str, sign: str, digits: str, column: Column) -> str | Problem:
    """The digits of a number with a decimal point, without marks of thousands."""
    if column.decimal:
        mark, point = _MARKS[column.decimal]
        whole, _, part = digits.partition(point)
        grouped = re.fullmatch(rf"[0-9]{{1,3}}(?:{mark}[0-9]{{3}})+|[0-9]*", whole)
        if grouped and re.fullmatch("[0-9]*", part) and (whole or part):
            return f"{re.sub(mark, '', whole) or '0'}{f'.{part}' if part else ''}"
        expected = f"a number with a decimal {column.decimal}, as declared for this table"
        return Problem("decimal mark", shown(text), expected)
    bare = digits.replace(",", ".")
    if _PLAIN.fullmatch(digits):
        if column.commas and _THREE.fullmatch(digits):
            return _two_ways(text, f"{sign}{digits.replace('.', '')}", f"{sign}{digits}", "point")
        return digits
    if _COMMA.fullmatch(digits):
        if _THREE.fullmatch(digits):
            return _two_ways(text, f"{sign}{digits.replace(',', '')}", f"{sign}{bare}", "comma")
        return bare if not bare.startswith(".") else f"0{bare}"
    tight = re.sub("['’\u00a0\u202f ]", "", digits)
    first, last = re.search("[.,]", tight), max(tight.rfind(","), tight.rfind("."))
    if first and tight[first.start()] != tight[last] and tight.count(tight[last]) == 1:
        one = f"{re.sub('[.,]', '', tight[:last])}.{tight[last + 1 :]}"
        two = f"{tight[: first.start()]}.{re.sub('[.,]', '', tight[first.start() :])}"
        return _two_ways(text, f"{sign}{one}", f"{sign}{two}", "")
    remedy = ""
    if _GROUPS.fullmatch(digits):
        alone = re.sub("[.,]", "", tight) if first and first.start() != last else tight.replace(",", ".")
        remedy = f"If they part thousands, write {sign}{alone}."
    return Problem("grouped", shown(text), "a number without marks or blanks between its digits", remedy)


def _two_ways(text: str, one: str, other: str, mark: str) -> Problem:
    """The refusal of a number that can be read in two ways; what it proposes can be read in one."""
    whole, _, part = other.partition(".")
    part = part.rstrip("0") or "0"
    other = f"{whole}.{f'{part}0' if len(part) == 3 else part}"
    what = f"Its {mark}" if mark else "Its marks"
    return Problem(
        "two ways",
        shown(text),
        "a number that can be read in one way only",
        f"{what} can be read in two ways: write {one} or {other}, whichever is meant.",
    )


def _in_own_unit(text: str, number: str, unit: str, column: Column) -> Typed | Problem:
    """A number in the column's own unit."""
    if not unit:
        return Typed(number)
    own = measured_in.shown(column.name)
    if not own:
        return Problem("unit", shown(text), "a number alone (the column is measured in nothing)", "Write the number.")
    why = measured_in.not_converted(unit, column.name)
    if why is not None:
        said = f" in {shown(unit)}" if unit not in text else ""
        return Problem("unit", f"{shown(text)}{said}", f"a number in {own}, or in a unit that converts to it", why)
    made = measured_in.converted(number, unit, column.name)
    return Typed(made, unit if made != number else "")


def _of_number(value: object, column: Column) -> Typed | Problem:
    """A number that the workbook holds as one."""
    text = str(value) if isinstance(value, int) else repr(value)
    if column.kind in (*_WORDS, "free"):
        if abs(float(text)) >= _MOST_FIGURES:
            remedy = "A spreadsheet drops figures after the 15th: format the cell as text and type it again."
            return Problem("long number", shown(text), "text", remedy)
        return Typed(text.removesuffix(".0"))
    if column.kind == "when":
        return Problem("number for a date", shown(text), _WHEN, "Type it as text, or as a date.")
    return _in_own_unit(text, text, column.unit, column)


def _of_date(value: object, column: Column) -> Typed | Problem:
    """A date that the workbook holds as one."""
    if isinstance(value, datetime) or type(value) is date:
        text = _written(value)
        if column.kind in ("when", *_WORDS, "free"):
            return Typed(text)
        remedy = "The spreadsheet took what was typed for a date: format the cell as a number and type it again."
        return Problem("date", f"the date {text}", _wanted(column), remedy)
    return Problem("time of day", f"the time {value}", _WHEN if column.kind == "when" else _wanted(column))


def _written(value: date) -> str:
    """A date as ISO 8601 writes it, seconds only where there are any."""
    if not isinstance(value, datetime):
        return value.isoformat()
    if (value.hour, value.minute, value.second, value.microsecond) == (0, 0, 0, 0):
        return value.date().isoformat()
    return value.isoformat(sep=" ", timespec="seconds" if value.second or value.microsecond else "minutes")


def _when(text: str, days_first: bool) -> Typed | Problem:
    """A date and time typed as text: ISO 8601, or another way of writing that can be read in one way only."""
    if text.casefold() in NOT_MEASURED:
        return Typed(LOST)
    found = _ISO.fullmatch(text)
    if found:
        return _moment(text, f"{found[1]} {(found[2] or '00:00').zfill(5)}:{found[3] or '00'}")
    forms = _meant(text)
    if days_first and "day" in forms:
        forms.pop("month", None)
    told = list(dict.fromkeys(forms.values()))
    whole = _OTHER_DATE.fullmatch(text)
    # Two figures of a year may be its day as well, and what follows the minutes may be anything.
    if len(told) == 1 and whole is not None and max(len(whole[1]), len(whole[4])) == 4 and not whole[7]:
        return _moment(text, told[0])
    remedy = f"Write {' or '.join(told)}{', whichever is meant' if len(told) > 1 else ''}." if told else ""
    return Problem("date", shown(text), _WHEN, remedy)


def _moment(text: str, iso: str) -> Typed | Problem:
    """A moment as ISO 8601 writes it, seconds only where there are any; a problem where there is no such one."""
    try:
        return Typed(_written(datetime.fromisoformat(iso)))
    except ValueError:
        return Problem("no such date", shown(text), _WHEN)


def _meant(text: str) -> dict[str, str]:
    """The ISO forms of a date written in another way, by what comes first: day, month, or year."""
    found = _OTHER_DATE.fullmatch(text)
    if not found:
        return {}
    first, last = found[1], found[4]
    hour = f" {_hour(int(found[5]), found[7])}:{found[6]}" if found[5] else ""
    orders = {"day": (last, found[3], first), "month": (last, first, found[3])}
    if len(first) == 4:
        orders = {"year": (first, found[3], last)}
    forms: dict[str, str] = {}
    for what, (year, month, day) in orders.items():
        if len(year) not in (2, 4):
            continue
        whole = f"{year if len(year) == 4 else f'20{year}'}-{month.zfill(2)}-{day.zfill(2)}"
        try:
            date.fromisoformat(whole)
        except ValueError:
            continue
        forms[what] = f"{whole}{hour}"
    return forms


def _hour(hour: int, more: str) -> str:
    """The hour out of 24, by what stands behind the minutes: 2:05 pm is 14:05."""
    half = more.replace(".", "").replace(" ", "").casefold()[-2:]
    return f"{hour % 12 + 12 * (half == 'pm') if half in ('am', 'pm') else hour:02d}"


def _wanted(column: Column) -> str:
    """What the column takes, in words."""
    if column.kind == "when":
        return _WHEN
    if column.kind in ("text", "free"):
        return "text"
    if column.kind == "whole":
        return "a whole number from 1"
    if column.kind == "level":
        return f"a level of {column.name}{column.own}"
    below = ", '<' and the limit" if column.kind == "amount" else ""
    return f"a number{column.own}{below}, or '{LOST}'"
