"""A row that a received file tells, and what is known of the file beside its rows (rank 6)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from toolkit.intake import typed
from toolkit.intake.cells import Problem
from toolkit.intake.gathered import Finding, Gathered, finding
from toolkit.intake.grids import Grid
from toolkit.intake.raw import Entry
from toolkit.intake.typed import Column
from toolkit.measured_in import shown

_TYPED = "unit typed"


@dataclass(frozen=True)
class Told:
    """One row of a received file: of which table of ours, where it stands, its cells by our columns.

    A column that the file does not have is not among the cells; a blank one is, with an empty text.
    """

    table: str
    file: str
    where: str
    cells: Mapping[str, Entry]

    def text(self, column: str) -> str:
        """The text of a cell; empty where the file does not tell it."""
        entry = self.cells.get(column)
        return (entry.text or "") if entry else ""


@dataclass
class Reading:
    """A file while it is read: faults are kept, figures that were converted or computed or had a unit are counted."""

    file: str
    gathered: Gathered
    run_id: str | None = None
    _counts: dict[tuple[str, str, str], list[str]] = field(default_factory=dict)

    def entry(self, grid: Grid, row: int, place: int, column: Column) -> Entry:
        """A cell of a grid as text for the strict readers; its fault is kept where it has one."""
        where = grid.where(row, place)
        found = grid.rows.get(row, {}).get(place)
        merged = grid.merged_over(row, place)
        if merged is not None:
            self.fault(
                column.name,
                where,
                Problem(
                    "merged",
                    f"part of the merged cells {merged}",
                    "a cell of its own for every value",
                    "Take the cells apart again and fill in each.",
                ),
            )
            return Entry(None, self.file, where)
        if found is None:
            return Entry("", self.file, where)
        made = typed.taken(found, column)
        if isinstance(made, Problem):
            self.fault(column.name, where, made)
            return Entry(None, self.file, where)
        if made.from_unit:
            self._counts.setdefault(("converted", column.name, made.from_unit), []).append(where)
        if made.own_unit:
            self._counts.setdefault((_TYPED, column.name, made.own_unit), []).append(where)
        if found.kind == typed.FORMULA:
            self._counts.setdefault(("formula", column.name, ""), []).append(where)
        return Entry(made.text, self.file, where)

    def fault(self, column: str, where: str, problem: Problem) -> None:
        """Keep a fault of a cell."""
        self.gathered.add(
            self.file,
            f"{self.file} {where}{f', column {column}' if column else ''}",
            problem.found,
            problem.expected,
            problem.remedy,
            column=column,
            kind=problem.kind,
        )

    def findings(self) -> list[Finding]:
        """What was converted, what had its own unit behind it, and what a spreadsheet computed."""
        made = []
        for (rule, column, unit), places in self._counts.items():
            count = f"{len(places)} figure{'s' * (len(places) > 1)}"
            more = " and on" if len(places) > 1 else ""
            what, expected, action = {
                "converted": (f"in {unit}", f"figures in {shown(column)}", "converted; the file keeps what was typed"),
                _TYPED: (
                    f"with {unit} typed behind {'them' if len(places) > 1 else 'it'}",
                    f"figures alone, in {shown(column)}",
                    "the figure was taken: the unit is the column's own",
                ),
                typed.FORMULA: (
                    "made by a formula",
                    "figures that were typed",
                    "what the spreadsheet computed last was taken; look whether it is right",
                ),
            }[rule]
            made.append(
                finding(
                    "note",
                    rule,
                    run_id=self.run_id,
                    column=column,
                    found=f"{count} {what} ({self.file} {places[0]}{more})",
                    expected=expected,
                    action=action,
                )
            )
        return made
