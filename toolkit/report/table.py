"""A table as it is printed, and how single numbers stand in it (rank 10)."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from markupsafe import Markup, escape

from toolkit.plot import answers, rounding

NONE = "–"
# A table with more rows may be broken over pages in print.
LONG = 25
# Letters that fit beside each other on a page, the air of a column among them; where a browser breaks a line by itself.
_WIDEST, _AIR = 125.0, 1.2
_BREAK = re.compile(r"[\s-]")
# A table that no page holds is set smaller, headings are broken after underscores too, and where that does not
# suffice the columns with the longest words inside them, down to so many letters.
_SMALLER, _PIECES, _LEAST = 140.0, re.compile(r"\s|(?<=[_-])"), 6
_NAME = re.compile(r"\w+(, coded)?", re.ASCII)
# A table of few columns that hold so few letters is not drawn out over the page.
_FEW, _SLIM = 3, 80
# Columns that need a width of their own.
_KEPT = {
    "verdict": Markup(' class="v"'),
    "result": Markup(' class="v"'),
    "what is compared": Markup(' class="w"'),
    "comparison": Markup(' class="c"'),
    "term": Markup(' class="c"'),
}


@dataclass(frozen=True)
class Table:
    """A table as it is printed: every cell is text already.

    Attributes
    ----------
    caption : str
    head : tuple of str
        Display names, with units.
    rows : tuple of tuple of str
        The first cell of a row is its name.
    numbers : tuple of str
        The columns that hold numbers, set to the right.
    notes : tuple of str
        What the reader must know beside it, below the table.
    breaks : bool
        True where it may be broken over pages in print, however short it is.
    """

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    breaks: bool = False

    def without(self, *names: str) -> Table:
        """The table without the columns of these names."""
        kept = [at for at, name in enumerate(self.head) if name not in names]
        rows = tuple(tuple(cells[at] for at in kept) for cells in self.rows)
        return replace(self, head=tuple(self.head[at] for at in kept), rows=rows)

    def __html__(self) -> str:
        """The table as HTML, every cell escaped."""
        right = [Markup(' class="n"') if name in self.numbers else _KEPT.get(name, Markup("")) for name in self.head]
        wide = self._too_wide()
        head = Markup("").join(
            Markup('<th scope="col"{}>{}</th>').format(side, _breakable(name) if wide else name)
            for side, name in zip(right, self.head, strict=True)
        )
        body = Markup("").join(_row(cells, right) for cells in self.rows)
        long = self.breaks or len(self.rows) > LONG
        # Columns whose words are not broken are told here: the tags of a page, and whether they have a class, do not
        # depend on what people write.
        whole = self._whole() if wide else ()
        kind = " ".join([*["long"] * long, *["tight"] * wide, *["slim"] * self._slim(), *whole]) or "fits"
        notes = Markup("").join(Markup('<p class="quiet">{}</p>').format(note) for note in self.notes)
        if not self.rows and self.notes:
            return notes
        return Markup(
            '<table class="{}"><caption>{}</caption><thead><tr>{}</tr></thead><tbody>{}</tbody></table>{}'
        ).format(kind, self.caption, head, body, notes)

    def _too_wide(self) -> bool:
        """Whether a page does not hold the columns unless words are broken."""
        return sum(_AIR + self._longest(at) for at in range(len(self.head))) > _WIDEST

    def _slim(self) -> bool:
        """Whether its few columns hold so few letters that a page would draw them apart."""
        whole = [max(len(cells[at]) for cells in (self.head, *self.rows)) for at in range(len(self.head))]
        return len(whole) <= _FEW and sum(whole) <= _SLIM

    def _longest(self, at: int, of_names: re.Pattern[str] = _BREAK) -> int:
        """Letters of the longest piece of a column that is not broken by a browser, its heading at ``of_names``."""
        name, cells = self.head[at], [cells[at] for cells in self.rows]
        words = cells if name in self.numbers else [word for cell in cells for word in _BREAK.split(cell)]
        return max(map(len, [*words, *of_names.split(name)]))

    def _whole(self) -> tuple[str, ...]:
        """Classes of the columns whose words a page has room for: 'k' with their number, 'o' where a cell is one word.

        Those with the shortest pieces first, so that as many as may be are whole.
        """
        pieces = {at: self._longest(at, _PIECES) for at in range(len(self.head))}
        left = _SMALLER - sum(_AIR + min(found, _LEAST) for found in pieces.values())
        kept = []
        for at, found in sorted(pieces.items(), key=lambda item: item[1]):
            left -= max(found - _LEAST, 0)
            if left < 0:
                break
            kept.append(at)
        single = [at for at in sorted(kept) if not any(re.search(r"\s", cells[at]) for cells in self.rows)]
        return (*(f"k{at + 1}" for at in sorted(kept)), *(f"o{at + 1}" for at in single))

    def _repr_html_(self) -> str:
        """The table as a notebook shows it."""
        return str(self.__html__())

    def __repr__(self) -> str:
        """The table as text: its caption, a line a row with cells apart, its notes."""
        rows = [" | ".join(cells) for cells in (self.head, *self.rows)] if self.rows else []
        return "\n".join([self.caption, *rows, *self.notes])


def plain(caption: str, head: Sequence[str], rows: Sequence[Sequence[object]], numbers: Sequence[str] = ()) -> Table:
    """A table of values that are text already.

    Examples
    --------
    >>> plain("Wear of two pins", ("pin", "wear (µm)"), [("P0", "12.1"), ("P1", "8.3")], ("wear (µm)",))
    Wear of two pins
    pin | wear (µm)
    P0 | 12.1
    P1 | 8.3
    """
    return Table(caption, tuple(head), tuple(tuple(str(cell) for cell in row) for row in rows), tuple(numbers))


def number(value: object) -> str:
    """A number to four significant digits; a dash where there is none."""
    found = answers.value(value)
    return NONE if found is None else rounding.significant(found, 4)


def p_value(value: object) -> str:
    """A p value; a dash where there is none."""
    found = answers.value(value)
    return NONE if found is None else rounding.p_value(found)


def df(value: object) -> str:
    """Degrees of freedom: whole ones as they are, others to one decimal; a dash where there are none."""
    found = answers.value(value)
    if found is None:
        return NONE
    return str(int(found)) if float(found).is_integer() else f"{found:.1f}"


def units(stratum: object) -> str:
    """The units of an error stratum: 'runs'; both where two are mixed."""
    words = answers.text(stratum)
    return " and ".join(f"{name}s" for name in words.split(" and ")) if words else NONE


def _breakable(text: str) -> Markup:
    """A heading that a browser may break after its underscores, where it is the name of a factor or column: letters
    and digits alone, so that nothing else that people write ever brings a tag."""
    if not _NAME.fullmatch(text):
        return escape(text)
    return Markup(escape(text).replace("_", Markup("_<wbr>")))


def _row(cells: Sequence[str], right: Sequence[Markup]) -> Markup:
    """One row, its first cell as the row's name."""
    first = Markup('<th scope="row"{}>{}</th>').format(right[0], cells[0])
    rest = Markup("").join(
        Markup("<td{}>{}</td>").format(side, cell) for side, cell in zip(right[1:], cells[1:], strict=True)
    )
    return Markup("<tr>{}{}</tr>").format(first, rest)
