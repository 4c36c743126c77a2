"""Notes that put a cell of a run right: what counts from then on, and what it stood for before (rank 6)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from toolkit.brief.model import Brief
from toolkit.intake import cells, columns
from toolkit.intake.gathered import Finding, Gathered, finding
from toolkit.intake.raw import Entry
from toolkit.intake.received import Correction
from toolkit.intake.together import NOTED, Key, same

COLUMNS = ("run_id", "column", "old", "new", "reason", "role", "at", "after_look")
_AS_PLANNED = ("phase", "build_id", "planned_order")


def noted(brief: Brief, corrections: Sequence[Correction], told: Gathered) -> dict[Key, dict[str, Entry]]:
    """By run the cells that notes put right, the last note first; faults of columns that no run has.

    A verdict brings its reason and role with it.
    """
    known = {*columns.of_runs(brief), *columns.optional(brief), *columns.fitted(brief)} - {"run_id"}
    made: dict[Key, dict[str, Entry]] = {}
    for item in corrections:
        where = f"of {item.at} on {item.run_id}"
        if item.column not in known:
            place = f"{NOTED} {where}"
            told.add(NOTED, place, f"unknown column {cells.shown(item.column)}", f"one of {', '.join(sorted(known))}")
            continue
        row = made.setdefault((item.run_id,), {})
        row[item.column] = Entry(item.new, NOTED, where)
        if item.column == "verdict":
            row["reason"] = Entry(item.reason, NOTED, where)
            row["role"] = Entry(item.role, NOTED, where)
    return made


def as_planned(brief: Brief, plan: pd.DataFrame | None) -> dict[Key, dict[str, Entry]]:
    """By run what stands for one of which nothing came back: built as planned, its place in the order not known."""
    if plan is None or "run_id" not in plan:
        return {}
    names = [name for name in (*_AS_PLANNED, *columns.kept(brief), *brief.factor_names) if name in plan]
    made: dict[Key, dict[str, Entry]] = {}
    for line in plan.to_dict("records"):
        run = str(line["run_id"])
        row = {name: Entry(str(line[name]), "the plan", f"of {run}") for name in names}
        made[(run,)] = {
            "run_id": Entry(run, "the plan", f"of {run}"),
            **row,
            "actual_order": Entry(None, "the plan", f"of {run}"),
        }
    return made


def findings(
    brief: Brief,
    corrections: Sequence[Correction],
    before: Mapping[Key, Mapping[str, Entry]],
    planned: Mapping[Key, Mapping[str, Entry]],
) -> list[Finding]:
    """Findings of notes that were made on another value than the tables and files tell now."""
    told: list[Finding] = []
    now: dict[tuple[str, str], str] = {}
    for item in corrections:
        key = (item.run_id, item.column)
        entry = before.get((item.run_id,), {}).get(item.column)
        there = now.get(key, (entry.text or "") if entry else "")
        meant = planned.get((item.run_id,), {}).get(item.column)
        fits = same(brief, "runs", item.column, _said(there), _said(item.old))
        if not fits and not (there == "" and meant is not None and meant.text == item.old):
            told.append(
                finding(
                    "note",
                    "noted on another value",
                    run_id=item.run_id,
                    column=item.column,
                    found=f"{there or 'blank'} now, where the note of {item.at} says {item.old or 'blank'}",
                    expected="the value that the note put right",
                    action=f"look whether the note still holds; it counts ({item.new or 'blank'})",
                )
            )
        now[key] = item.new
    return told


def table(corrections: Sequence[Correction]) -> pd.DataFrame:
    """The notes as a frame, in their order."""
    rows = [[getattr(item, name) for name in COLUMNS] for item in corrections]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def _said(text: str) -> str:
    """A cell as it is compared: a pending verdict is a blank one."""
    return "" if text.casefold() == "pending" else text
