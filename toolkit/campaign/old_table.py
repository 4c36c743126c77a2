"""An old table as it lies there: headings and cells, nothing guessed yet, every fault at once (rank 9)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from toolkit.brief.found import printable
from toolkit.errors import IntakeError, raise_all
from toolkit.intake import cells, grids, typed
from toolkit.intake.gathered import Gathered
from toolkit.intake.grids import Grid
from toolkit.sheetfile import Found
from toolkit.sheetfile.limits import MOST_BYTES

HEADLINE = "The old table is not in order; nothing was written."
MOST_RUNS = 1_000
_TEXT = typed.Column("", "text")
_MEND = "Mend it in a copy of the file, and name the copy."
_LONGEST = 200


@dataclass(frozen=True)
class Cell:
    """A filled cell: where it is for a message, and what stands there; ``found`` as a workbook holds it."""

    where: str
    found: Found

    @property
    def text(self) -> str:
        """What stands there as text, blanks at its ends taken off."""
        made = typed.taken(self.found, _TEXT)
        return made.text if isinstance(made, typed.Typed) else str(self.found.value)


@dataclass(frozen=True)
class OldColumn:
    """A column of the old table: its heading, and a cell or None for each line."""

    heading: str
    cells: tuple[Cell | None, ...]

    @property
    def texts(self) -> tuple[str, ...]:
        """The cells as text, '' where they are blank."""
        return tuple("" if cell is None else cell.text for cell in self.cells)


@dataclass(frozen=True)
class OldTable:
    """The old table.

    Attributes
    ----------
    name : str
        The file's name.
    content : bytes
    sheet : str or None
        The sheet of a workbook.
    columns : tuple of OldColumn
    lines : tuple of str
        Where each line is: 'line 3' of a text file, 'Runs!3:3' of a sheet.
    above : tuple of str
        What stands above the headings.
    """

    name: str
    content: bytes
    sheet: str | None
    columns: tuple[OldColumn, ...]
    lines: tuple[str, ...]
    above: tuple[str, ...] = ()


def read(path: Path) -> OldTable:
    """The old table in a file: CSV with commas, semicolons or tabs, or a workbook with one sheet.

    Raises
    ------
    IntakeError
        With everything that is wrong with it as a table.
    """
    path = Path(path)
    try:
        if path.is_dir():
            raise IntakeError(f"{path}: is a folder; expected a table as CSV or xlsx. Name the file in it.")
        # A pipe would be waited for, and some devices never end.
        if not path.is_file() and path.exists():
            raise IntakeError(f"{path}: is a device or a pipe; expected a file. Save what it gives in a file first.")
        if path.stat().st_size > MOST_BYTES:
            raise IntakeError(
                f"{path}: {path.stat().st_size:,} bytes; expected at most {MOST_BYTES:,} bytes. Copy the table alone "
                f"into a file."
            )
        content = path.read_bytes()
    except FileNotFoundError:
        raise IntakeError(f"{path}: there is no such file; expected the old table. Look at the path.") from None
    except (OSError, ValueError) as problem:
        raise IntakeError(
            f"{path}: cannot be read ({getattr(problem, 'strerror', None) or problem}); expected the old table. Look "
            f"at its name and permissions."
        ) from None
    return of_bytes(path.name, content)


def of_bytes(name: str, content: bytes) -> OldTable:
    """The old table in the bytes of a file called ``name``.

    Raises
    ------
    IntakeError
        With everything that is wrong with it as a table.
    """
    told = Gathered()
    found = grids.of_file(name, content, told)
    if len(found) > 1:
        sheets = ", ".join(cells.shown(str(grid.sheet)) for grid in found)
        told.add(
            name,
            name,
            f"{len(found)} sheets with something on them ({sheets})",
            "one sheet, with a line of headings and a line for each run below",
            "Save the sheet with the runs in a file of its own, and name that.",
        )
    made = _of_grid(name, content, found[0], told) if len(found) == 1 else None
    if made is not None:
        _look(made, told)
    raise_all(IntakeError, HEADLINE, told.faults)
    if made is None:
        raise IntakeError(HEADLINE)
    return made


def _of_grid(name: str, content: bytes, grid: Grid, told: Gathered) -> OldTable:
    """The table in a grid; faults kept of cells that hold no value of their own."""
    top = _headings(grid)
    rows = [row for row in sorted(grid.rows) if row > top]
    places = sorted({place for row in (top, *rows) for place in grid.rows[row]})
    merged = [grid.merged_over(row, place) for row in (top, *rows) for place in places]
    for area in dict.fromkeys(area for area in merged if area):
        where, remedy = f"{name} {grid.sheet}!{area}", f"Take them apart and fill in each. {_MEND}"
        told.add(name, where, "merged cells", "a cell of its own for every value", remedy, kind="merged")
    columns = []
    for place in places:
        made = []
        for row in rows:
            found = grid.rows[row].get(place)
            made.append(None if found is None else Cell(f"{name} {grid.where(row, place)}", found))
        heading = " ".join(Cell("", grid.rows[top][place]).text.split()) if place in grid.rows[top] else ""
        columns.append(OldColumn(heading, tuple(made)))
        for cell in made:
            problem = None if cell is None else typed.taken(cell.found, _TEXT)
            if cell is not None and isinstance(problem, cells.Problem):
                found, expected, remedy = problem.found, problem.expected, problem.remedy
                told.add(name, f"{cell.where}, column {heading}", found, expected, remedy, column=heading,
                         kind=problem.kind)  # fmt: skip
    above = tuple(grid.text(row, place) for row in sorted(grid.rows) if row < top for place in sorted(grid.rows[row]))
    lines = tuple(grid.where(row) for row in rows)
    return OldTable(name, content, grid.sheet, tuple(columns), lines, above)


def _headings(grid: Grid) -> int:
    """The row of the headings: the first that holds words over at least half of the columns."""
    places = {place for row in grid.rows.values() for place in row}
    for row in sorted(grid.rows)[: grids.FIRST_ROWS]:
        words = [place for place, found in grid.rows[row].items() if found.kind == "text"]
        if 2 * len(words) >= len(places):
            return row
    return min(grid.rows)


def _look(table: OldTable, told: Gathered) -> None:
    """Keep what is wrong with headings and with the number of lines."""
    first = table.name if table.sheet is None else f"{table.name} {table.sheet}"
    seen: dict[str, int] = {}
    for at, column in enumerate(table.columns):
        filled = next((cell for cell in column.cells if cell is not None), None)
        if not column.heading and filled is not None:
            told.add(
                table.name,
                filled.where,
                f"{cells.shown(filled.text)} in column {at + 1}, which has no heading",
                "a heading over every column",
                f"Name the column, or clear it. {_MEND}",
            )
        if len(column.heading) > _LONGEST or not printable(column.heading):
            told.add(
                table.name,
                f"{first}, headings",
                f"{cells.shown(column.heading)} over column {at + 1}",
                f"a heading of at most {_LONGEST} characters, all of which print",
                _MEND,
            )
        same = column.heading.casefold()
        if same and same in seen:
            told.add(
                table.name,
                f"{first}, headings",
                f"{cells.shown(column.heading)} over columns {seen[same] + 1} and {at + 1}",
                "each heading once",
                f"Rename one of them. {_MEND}",
            )
        seen.setdefault(same, at)
    if not table.lines:
        told.add(table.name, first, "a line of headings and no other", "a line for each run below the headings")
    if len(table.lines) > MOST_RUNS:
        told.add(
            table.name,
            first,
            f"{len(table.lines):,} lines",
            f"at most {MOST_RUNS:,}, one for each run or reading",
            "A log of channels is no table of runs: make one line of each run.",
        )


def filled(columns: Sequence[OldColumn]) -> tuple[OldColumn, ...]:
    """The columns that have a heading and anything in them."""
    return tuple(column for column in columns if column.heading and any(cell is not None for cell in column.cells))
