"""An INVENTED campaign as run otherwise than planned, for tests of what is told of it."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from tests.unit.report import example
from toolkit.brief.model import Brief
from toolkit.intake import records
from toolkit.intake.received import Correction
from toolkit.intake.records import Records

BRIEF = example.brief()


def as_made(
    brief: Brief = BRIEF,
    *,
    pending: Sequence[str] = (),
    lost: Sequence[str] = (),
    added: Sequence[dict[str, object]] = (),
    corrections: Sequence[Correction] = (),
    with_plan: bool = True,
    **changed: object,
) -> tuple[pd.DataFrame, Records]:
    """The planned runs and the records: lost ones void, ``added`` ones below, cells changed by '<run_id>_<column>'."""
    planned = example.order(brief)
    runs = example.raw_runs(brief, void="none", pending=tuple(pending)).astype(object)
    for run_id in lost:
        told = ["invalid", "coolant leak, aborted at 40 h", "test engineer", 40.0]
        runs.loc[runs["run_id"] == run_id, ["verdict", "reason", "role", "run_time_h"]] = told
    for where, value in changed.items():
        run_id, column = where.split("_", 1)
        runs.loc[runs["run_id"] == run_id, column] = value
    runs = pd.concat([runs, pd.DataFrame([{**runs.iloc[0].to_dict(), **item} for item in added])], ignore_index=True)
    plan = planned if with_plan else None
    return planned, records.from_tables(brief, runs=runs, plan=plan, corrections=corrections)


def noted(run_id: str, column: str, old: str, new: str, *, late: bool = False) -> Correction:
    """A note that puts a cell right; INVENTED."""
    return Correction(run_id, column, old, new, "slip of the pen", "test engineer", "2026-03-20T08:00:00Z", late)
