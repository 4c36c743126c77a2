"""What old runs can and cannot support, as tables and sentences (rank 10)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief
from toolkit.decide import habit_words
from toolkit.decide.analysis import Analysis
from toolkit.decide.habit import Habit
from toolkit.plot import answers, look, rounding
from toolkit.report.table import NONE, Table, df

MOST_ROWS = 12
# Whose scatter an interval is given by.
_BASES = {
    "these runs": "by the scatter of these runs",
    "rig history": "by that of the rig's earlier campaigns",
    "declared, lowest": "by a guess, lowest declared CV",
    "declared, highest": "by a guess, highest declared CV",
}
_WRONG_WAY = "may point the wrong way"


@dataclass(frozen=True, eq=False)
class OldData:
    """The part of the report about old data: what it is marked as, and for each response sentences and tables."""

    mark: str
    parts: tuple[tuple[str, tuple[str, ...], tuple[Table, ...]], ...]


def of(found: Analysis) -> OldData | None:
    """The part of the report about old data; None where the records are none."""
    if found.brief.old_data is None:
        return None
    parts = tuple(
        (look.capital(measured_in.label(name)), item.sentences, tables(item, found.brief))
        for name, item in found.habit.items()
    )
    return OldData(habit_words.mark(found.brief), parts)


def tables(found: Habit, brief: Brief) -> tuple[Table, ...]:
    """The tables of one response: comparisons, their intervals, single differences, order, the next run."""
    made = [_comparisons(found), _intervals(found), _differences(found), _orders(found), _next(found, brief)]
    return tuple(table for table in made if table.rows)


def _comparisons(found: Habit) -> Table:
    """The comparisons, without assuming anything and with every interaction assumed nil."""
    rows = []
    notes: dict[str, None] = {}
    for line in found.comparisons.to_dict("records"):
        rows.append(
            (
                line["comparison"],
                _assumed(line),
                _change(line["estimate"], line) if line["estimable"] else "not estimable",
                line["rests_on"] or NONE,
                _factor(line["std_error_factor"]),
                _factor(line["if_even"]),
                df(line["error_df"]),
                NONE if line["with_order"] is None else rounding.fixed(line["with_order"], 2, sign=True),
            )
        )
        if not line["estimable"]:
            notes[f"{line['comparison']}: {line['note']}"] = None
        for name, share in line["carries"].items():
            part = "a part" if share is None else rounding.fixed(share, 2, sign=True)
            told = f"{line['comparison']}, every interaction nil: holds {part} of {name} if that is not nil after all."
            notes[told] = None
    head = (
        "comparison",
        "assuming",
        "change",
        "rests on",
        "standard error (× SD of a run)",
        "as many runs spread evenly",
        "error df",
        "correlation with order",
    )
    return Table("What these runs can tell of each comparison", head, tuple(rows), (head[2], *head[4:]), tuple(notes))


def _intervals(found: Habit) -> Table:
    """The comparisons with an interval from each scatter that is there."""
    mine = found.intervals[found.intervals["kind"] == "comparison"]
    heads, cells = _by_basis(mine)
    first = {(line["what"], line["assuming"]): line for line in reversed(mine.to_dict("records"))}
    rows = [
        (what, _assumed(line), _change(line["estimate"], line), *cells[what, assuming])
        for (what, assuming), line in reversed(first.items())
    ]
    head = ("comparison", "assuming", "change", *heads)
    return Table("Intervals, by whose scatter they are given", head, tuple(rows), head[2:], _notes(mine))


def _differences(found: Habit) -> Table:
    """Single differences as they stand, with intervals from a scatter of elsewhere."""
    mine = found.intervals[found.intervals["kind"] == "single difference"]
    heads, cells = _by_basis(mine)
    rows = [
        (
            f"{line['factor']} {line['of']} against {line['against']}",
            line["at"] or NONE,
            line["rests_on"],
            _change(line["estimate"], line),
            *cells.get((line["what"], "nothing"), ()),
        )
        for line in found.differences.to_dict("records")
    ]
    shown, more = rows[: 2 * MOST_ROWS], len(rows) - 2 * MOST_ROWS
    notes = (f"and {more} more in derived/habit_differences.csv",) if more > 0 else ()
    head = ("what is compared", "at", "runs", "change", *heads)
    return Table(
        "Combinations that differ in one factor only: a difference and nothing more",
        head,
        tuple(shown),
        head[3:],
        # Below the intervals of the comparisons it is said already.
        (*(_notes(mine) if (found.intervals["kind"] == "single difference").all() else ()), *notes),
    )


def _by_basis(frame: pd.DataFrame) -> tuple[tuple[str, ...], dict[tuple[str, str], tuple[str, ...]]]:
    """A column of intervals for each scatter that is there, and one that says how often the way is wrong."""
    lines = frame.to_dict("records")
    bases = [name for name in _BASES if name in {line["basis"] for line in lines}]
    held = {(line["what"], line["assuming"], line["basis"]): line for line in lines}
    cells: dict[tuple[str, str], tuple[str, ...]] = {}
    for what, assuming in dict.fromkeys((line["what"], line["assuming"]) for line in lines):
        found = [held.get((what, assuming, name)) for name in bases]
        wrong = [line["wrong_way"] for line in found if line is not None and line["wrong_way"] is not None]
        share = f"{100 * min(wrong):.0f} to {100 * max(wrong):.0f} %" if len(wrong) > 1 else NONE
        share = f"{100 * wrong[0]:.0f} %" if len(wrong) == 1 else share
        cells[what, assuming] = (*(_interval(line) for line in found), share)
    if not lines:
        return (), cells
    level = answers.level_text(float(lines[0]["conf_level"]))
    return (*(f"{level} interval {_BASES[name]}" for name in bases), _WRONG_WAY), cells


def _interval(line: Mapping[str, Any] | None) -> str:
    """The limits of an interval, with the df of a scatter that was estimated."""
    if line is None:
        return NONE
    told = f"{_change(line['conf_low'], line)} to {_change(line['conf_high'], line)}"
    return told if line["df"] is None else f"{told} ({df(line['df'])} df)"


def _notes(frame: pd.DataFrame) -> tuple[str, ...]:
    """What is to be known of each scatter."""
    lines = [line for line in frame.to_dict("records") if line["note"]]
    told = dict.fromkeys(f"{look.capital(_BASES[line['basis']])}: {line['note']}." for line in lines)
    wrong = any(line["wrong_way"] is not None for line in frame.to_dict("records"))
    more = ("May point the wrong way: the chance of it, if the true change is the worthwhile one.",) if wrong else ()
    return (*told, *more)


def _assumed(line: Mapping[str, Any]) -> str:
    """What an estimate assumes."""
    return "nothing" if line["assuming"] == "nothing" else "every interaction nil"


def _orders(found: Habit) -> Table:
    """How each factor followed the order."""
    rows = [
        (
            line["factor"],
            str(line["changes"]),
            str(line["fewest"]),
            _figure(line["correlation"]),
            _figure(line["by_chance"]),
            line["told"],
        )
        for line in found.orders.to_dict("records")
    ]
    head = ("factor", "changes", "fewest", "correlation with order", "by chance", "in words")
    return Table("Treatments and the order of the runs", head, tuple(rows), head[1:5])


def _next(found: Habit, brief: Brief) -> Table:
    """The runs that could be made next, the most helpful first."""
    rows = []
    for line in found.next_runs.head(MOST_ROWS).to_dict("records"):
        where = f", build {line['build_id']}" if line.get("build_id") else ""
        rows.append(
            (
                f"{line['combination']}{where}",
                str(line["runs_so_far"]),
                ", ".join(line["newly_estimable"]) or NONE,
                f"{line['estimable']} of {len(brief.comparisons)}",
                df(line["error_df"]),
                _figure(line["mean_variance"]),
                df(line["error_df_nil"]),
                _figure(line["mean_variance_nil"]),
            )
        )
    more = len(found.next_runs) - len(rows)
    notes = (f"and {more} more in derived/habit_next_runs.csv",) if more > 0 else ()
    head = (
        "one more run of",
        "runs so far",
        "newly estimable",
        "estimable",
        "error df",
        "mean variance (× that of a run)",
        "error df, interactions nil",
        "mean variance, interactions nil",
    )
    return Table("The one run that would help, the most helpful first", head, tuple(rows), (head[1], *head[3:]), notes)


def _change(value: float | None, line: Mapping[str, Any]) -> str:
    """An estimate or a limit as people read it: per cent for ratios, else a difference in its unit."""
    if value is None:
        return NONE
    if line["measured_in"] == "ratio":
        # A limit beside no change must not be rounded onto it.
        places = next((at for at in range(4) if round(100.0 * (value - 1.0), at) != 0.0), 0)
        return answers.per_cent(value, places)
    return f"{rounding.significant(value, sign=True)} {line['measured_in']}".rstrip()


def _factor(value: float | None) -> str:
    """A standard error in SDs of a run."""
    return NONE if value is None else rounding.fixed(value, 2)


def _figure(value: float | None) -> str:
    """A figure to two decimals."""
    return NONE if value is None else rounding.fixed(value, 2)
