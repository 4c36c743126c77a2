"""What a received file is: a run sheet of ours, or a table, told by what stands in it (rank 6)."""

from __future__ import annotations

from collections.abc import Sequence
from fnmatch import fnmatch

from toolkit.brief.model import Brief
from toolkit.errors import Fault, IntakeError, listing, nearest, raise_all
from toolkit.intake import columns, foreign, grids, layouts, run_sheets
from toolkit.intake.gathered import Gathered
from toolkit.intake.grids import Grid

# A spreadsheet program marks by a file of such a name that a workbook is open.
_OPEN = ("~$", ".~lock.")
_NO_TABLES = {
    ".toml": "a brief",
    ".ipynb": "a notebook",
    ".html": "a web page",
    ".htm": "a web page",
    ".py": "a program",
    ".ics": "a calendar file",
}
KINDS = ("run sheet", "stations", "oil", "runs", "history")
_HEADLINE = "The file was not taken in."


def identify(name: str, content: bytes, brief: Brief, as_name: str = "") -> tuple[str, str]:
    """The kind of a received file and the name of the [[received]] table it is read by (empty: our own headings).

    Parameters
    ----------
    name : str
        The file's name; ``files`` of a [[received]] table is matched against its last part.
    content : bytes
    brief : Brief
    as_name : str
        The [[received]] table to read it by, whatever its name.

    Returns
    -------
    kind : str
        'run sheet', 'stations', 'oil', 'runs' or 'history'.
    mapping : str

    Raises
    ------
    IntakeError
        When it is none of them, cannot be read, or there is no such [[received]] table; the message says what it
        could be.
    """
    names = [item.name for item in brief.received]
    if as_name:
        found = next((item for item in brief.received if item.name.casefold() == as_name.casefold()), None)
        if found is None:
            expected = f"one of [[received]] in campaign.toml: {listing(names)}" if names else "a [[received]] table"
            remedy = nearest(as_name, names) or "Describe the table there first." * (not names)
            raise_all(IntakeError, _HEADLINE, [Fault(name, f"--as '{as_name}'", expected, remedy)])
        else:
            return found.table, found.name
    plain = name.replace("\\", "/").rpartition("/")[2].casefold()
    if other := _no_table(name, plain):
        raise IntakeError(f"{_HEADLINE}\n  {other}")
    told = Gathered()
    sheets = grids.of_file(name, content, told)
    raise_all(IntakeError, _HEADLINE, told.faults)
    of_runs = [grid for grid in sheets if run_sheets.is_one(grid)]
    if of_runs and all(map(run_sheets.is_blank, of_runs)):
        raise IntakeError(f"{_HEADLINE}\n  {_blank(name)}")
    if of_runs:
        return "run sheet", ""
    by_name = next((item for item in brief.received if item.files and fnmatch(plain, item.files.casefold())), None)
    if by_name is not None:
        return by_name.table, by_name.name
    own = _own(sheets, brief)
    if own:
        return own, ""
    raise IntakeError(f"{_HEADLINE}\n  {_unknown(name, sheets, names)}")


def _no_table(name: str, plain: str) -> Fault | None:
    """The fault of a file that is no table by its name; None when it may be one."""
    expected = "a run sheet as xlsx, or a table as xlsx or CSV"
    if plain.startswith(_OPEN):
        found = "the mark of a spreadsheet program that a workbook is open"
        return Fault(name, found, "the workbook itself", "Save and close it there, and name the workbook.")
    found = next((what for ending, what in _NO_TABLES.items() if plain.endswith(ending)), "")
    return Fault(name, found, expected) if found else None


def _blank(name: str) -> Fault:
    """The fault of a run sheet in which nothing is filled in."""
    remedy = "Take it in when it is filled in; was another copy filled in, name that one, and save it first."
    return Fault(name, "a run sheet in which nothing is filled in", "at least one value, or one tick", remedy)


def _own(sheets: Sequence[Grid], brief: Brief) -> str:
    """The table of ours whose headings stand in a file; empty when none does."""
    if any(grid.heading_row(columns.HISTORY, 4) is not None for grid in sheets):
        return "history"
    for table in ("stations", "oil", "runs"):
        layout = layouts.own(brief, table)
        if any(foreign.heading_row(grid, layout) is not None for grid in sheets):
            return table
    return ""


def _unknown(name: str, sheets: Sequence[Grid], names: Sequence[str]) -> Fault:
    """The fault of a file that is nothing known."""
    heads = []
    for grid in sheets[:1]:
        head = max(sorted(grid.rows)[: grids.FIRST_ROWS], key=lambda row: len(grid.headings(row)))
        heads = [grid.text(head, place) for around in grid.headings(head).values() for place in around]
    keys = "; ".join(f"{table}: {', '.join(layouts.KEYS[table])}" for table in ("stations", "oil", "runs"))
    remedy = "If its headings are those of somebody else, describe it in [[received]] of campaign.toml."
    if names:
        remedy = f"Read it with --as and one of {listing(list(names))}, or describe it in [[received]]."
    shown = ", ".join(f"'{head[:30]}'" for head in heads[:8] if head.isprintable())
    found = f"a table headed {shown}{' and more' * (len(heads) > 8)}" if shown else "no headings"
    return Fault(name, found, f"a run sheet, or a table with our headings ({keys})", remedy)
