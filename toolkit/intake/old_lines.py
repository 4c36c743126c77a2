"""The lines of an old table become runs: numbered, in the order that is known, readings of one run averaged (rank 6).

Only where the brief says that its records are old data. What the table does not tell stays blank: an order that is not
known is never made up, and lines that may be readings of one run are never counted as replicates.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from toolkit.brief.check_old_data import AS_LISTED, UNKNOWN
from toolkit.brief.model import Brief
from toolkit.intake import cells, layouts, typed
from toolkit.intake.gathered import Finding, Gathered, finding
from toolkit.intake.raw import Entry
from toolkit.intake.told import Told

_ORDER = "actual_order"
_JOINED = "; "


def as_runs(rows: Sequence[Told], brief: Brief, told: Gathered) -> tuple[list[Told], list[Finding]]:
    """The lines of old tables as runs.

    Parameters
    ----------
    rows : sequence of Told
        Of the runs, in the order in which they stand in their files.
    brief : Brief
        Its ``old_data`` says what is known of order and repeats; without it nothing is done.
    told : Gathered
        Orders that cannot be read, and lines that contradict what the brief says, are kept here.

    Returns
    -------
    rows : list of Told
        A run each: run_id L01, L02 ... where no column names it; actual_order by place, by the column named, or
        blank; planned_order and run_time_h blank where there are none.
    findings : list of Finding
        Lines that were averaged.
    """
    if brief.old_data is None or not rows:
        return list(rows), []
    width = max(2, len(str(len(rows))))
    places = _places(rows, brief, told)
    made = []
    for at, row in enumerate(rows):
        blank = Entry("", row.file, row.where)
        entries = {"run_time_h": blank, **row.cells, "planned_order": blank, _ORDER: blank}
        if places is not None:
            entries[_ORDER] = Entry(str(places[at]), row.file, row.where)
        if "run_id" not in row.cells:
            entries["run_id"] = Entry(f"L{at + 1:0{width}d}", row.file, row.where)
        made.append(replace(row, cells=entries))
    return _together(made, brief, told)


def _places(rows: Sequence[Told], brief: Brief, told: Gathered) -> list[int] | None:
    """The place of each line in the order of the runs, from 1; None where it is not known or cannot be read."""
    order = brief.old_data.order if brief.old_data else UNKNOWN
    if order == UNKNOWN:
        return None
    if order == AS_LISTED:
        return list(range(1, len(rows) + 1))
    values: list[object] = []
    before = len(told)
    when = typed.Column(_ORDER, "when", day_first=typed.day_first(row.text(_ORDER) for row in rows))
    for row in rows:
        entry = row.cells.get(_ORDER)
        if entry is None:
            told.add(row.file, f"{row.file} {row.where}", f"no column that tells the order ('{order}')",
                     "a heading for actual_order in [received.columns]", kind="no order")  # fmt: skip
            continue
        if entry.text is not None:
            values.append(_value(row, entry, when, told))
    if len(told) > before or len(values) < len(rows):
        return None
    kinds = {type(value) for value in values}
    if len(kinds) > 1:
        first = next(row for row, value in zip(rows, values, strict=True) if type(value) is not type(values[0]))
        told.add(first.file, first.cells[_ORDER].place(_ORDER), cells.shown(first.text(_ORDER)),
                 "dates in every line, or numbers in every line")  # fmt: skip
        return None
    seen: dict[object, Told] = {}
    for row, value in zip(rows, values, strict=True):
        if value in seen:
            told.add(
                row.file,
                row.cells[_ORDER].place(_ORDER),
                f"{cells.shown(row.text(_ORDER))} also stands at {seen[value].where}",
                "a place of its own for every line",
                "Where the column does not tell the order, write order = 'unknown' in [old_data].",
                column=_ORDER,
                kind="same place",
            )
        seen.setdefault(value, row)
    ranked = sorted(values)  # type: ignore[type-var]
    return [ranked.index(value) + 1 for value in values]


def _value(row: Told, entry: Entry, column: typed.Column, told: Gathered) -> object:
    """A number or a date as text that sorts; None, and a fault kept, when it is neither."""
    text = (entry.text or "").strip()
    number = cells.number(text, _ORDER)
    if isinstance(number, float):
        return number
    when = typed.of_text(text, column)
    if isinstance(when, typed.Typed) and when.text not in ("", cells.LOST):
        return when.text
    problem = when if isinstance(when, cells.Problem) else None
    told.add(
        row.file,
        entry.place(_ORDER),
        cells.shown(text) if text else "the cell is blank",
        "a number, or a date as 2026-03-31, that tells the order of every line",
        (problem.remedy if problem else "") or "Where it is not known, write order = 'unknown' in [old_data].",
        column=_ORDER,
        kind="order",
    )
    return None


def _together(rows: list[Told], brief: Brief, told: Gathered) -> tuple[list[Told], list[Finding]]:
    """Lines of one combination as the brief says: runs, readings of one run, or none."""
    repeats = brief.old_data.repeats if brief.old_data else "runs"
    if repeats == "runs":
        return rows, []
    keys = ("build_id", "phase", "verdict", *brief.factor_names)
    groups: dict[tuple[str, ...], list[Told]] = {}
    for row in rows:
        groups.setdefault(tuple(row.text(name).casefold() for name in keys), []).append(row)
    made: list[Told] = []
    findings: list[Finding] = []
    for lines in groups.values():
        if len(lines) == 1:
            made.append(lines[0])
        elif repeats == "none":
            made += lines
            for line in lines[1:]:
                told.add(
                    line.file,
                    f"{line.file} {line.where}",
                    f"the same combination as {lines[0].where}, though repeats is 'none' in [old_data]",
                    "'runs', 'readings' or 'unknown' there",
                    "Say what the lines are: runs of their own, or readings of one run.",
                    kind="repeats",
                )
        else:
            made.append(_averaged(lines, brief))
            findings.append(_told(lines, repeats))
    return made, findings


def _averaged(lines: Sequence[Told], brief: Brief) -> Told:
    """Several lines as one run: figures averaged, words put side by side."""
    first = lines[0]
    entries = dict(first.cells)
    for name in dict.fromkeys(name for line in lines for name in line.cells):
        if name in ("run_id", "planned_order", _ORDER, *brief.factor_names):
            continue
        given = [line.cells[name] for line in lines if name in line.cells]
        texts = [entry.text for entry in given]
        if None in texts:
            # A fault was kept of one of them.
            entries[name] = Entry(None, first.file, first.where)
        elif layouts.kind_of(brief, "runs", name) == "number":
            entries[name] = replace(given[0], text=_mean([text or "" for text in texts]))
        else:
            entries[name] = replace(given[0], text=_JOINED.join(dict.fromkeys(text for text in texts if text)))
    return replace(first, cells=entries)


def _mean(texts: Sequence[str]) -> str:
    """The mean of the figures that are there, as text; blank where there are none, one that is no number as it is."""
    known = [text for text in texts if text and text.casefold() != cells.LOST]
    figures = [cells.number(text, "") for text in known]
    odd = next((text for text, value in zip(known, figures, strict=True) if not isinstance(value, float)), None)
    if odd is not None:
        return odd
    if len(known) < 2:
        return known[0] if known else next((text for text in texts if text), "")
    return repr(math.fsum(value for value in figures if isinstance(value, float)) / len(known))


def _told(lines: Sequence[Told], repeats: str) -> Finding:
    """The finding of lines that were averaged."""
    where = [line.where for line in lines]
    why = "readings of one run" if repeats == "readings" else "it is not known whether they are runs of their own"
    return finding(
        "note",
        "averaged",
        run_id=lines[0].text("run_id"),
        found=f"{', '.join(where[:-1])} and {where[-1]} of {lines[0].file}: one combination",
        expected="a line a run",
        action=f"averaged to one run and never counted as replicates: {why}",
    )
