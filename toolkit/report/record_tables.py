"""Tables about the records: runs that are not used, runs waited for, what was noticed (rank 10)."""

from __future__ import annotations

from collections.abc import Collection

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief
from toolkit.intake.columns import VOID
from toolkit.plot import answers, combinations
from toolkit.report.table import NONE, Table


def not_used(runs: pd.DataFrame, brief: Brief, late: Collection[str] = ()) -> Table:
    """Runs that are void, with the reason and who judged; ``late`` are those whose verdict was noted after a look."""
    rows = runs[runs["verdict"].isin(VOID)].to_dict("records")
    made = tuple(
        (
            str(row["run_id"]),
            str(row["build_id"]),
            combinations.name(brief, row),
            f"{row['verdict']}, noted after a look" if row["run_id"] in late else row["verdict"],
            answers.text(row["reason"]) or NONE,
            answers.text(row["role"]) or NONE,
        )
        for row in rows
    )
    return Table(
        "Void runs: no answer rests on them",
        ("run", "build", "combination", "verdict", "reason", "judged by"),
        made,
    )


def findings(frame: pd.DataFrame, most: int = 100) -> Table:
    """What was noticed about the records, the gravest first; beyond ``most`` a count.

    A run that a rule says is invalid stays in the answers until a person judges it so: 'judge again'.
    """
    meaning = {"stop": "stop", "exclude": "judge again", "note": "note"}
    made = [
        (
            answers.text(row["run_id"]) or NONE,
            answers.text(row["part_id"]) or NONE,
            answers.text(row["column"]) or NONE,
            meaning.get(row["severity"], str(row["severity"])),
            answers.text(row["rule"]),
            answers.text(row["found"]),
            answers.text(row["expected"]),
            answers.text(row["action"]),
        )
        for row in frame.to_dict("records")
    ]
    cut = made[:most]
    if len(made) > most:
        cut.append((f"and {len(made) - most} more", *[NONE] * 5, "see derived/findings.csv", NONE))
    head = ("run", "part", "column", "kind", "rule", "found", "expected", "action")
    return Table("What was noticed about the records", head, tuple(cut))


def pending(waiting: pd.DataFrame, brief: Brief) -> Table:
    """The runs that answers wait for, each with what it waits for."""
    made = [
        (
            str(row["run_id"]),
            _text(row["build_id"]),
            _combination(brief, row),
            str(row["verdict"]),
            str(row["waits_for"]),
            ", ".join(measured_in.label(name) for name in row["responses"]),
        )
        for row in waiting.to_dict("records")
    ]
    head = ("run", "build", "combination", "verdict", "waits for", "answers that wait")
    return Table("Runs that answers wait for", head, tuple(made))


def _text(value: object) -> str:
    """A text; a dash where there is none."""
    return answers.text(value) or NONE


def _combination(brief: Brief, row: dict[str, object]) -> str:
    """The combination of a run; a dash where a level is not known."""
    known = all(answers.text(row[name]) for name in brief.factor_names)
    return combinations.name(brief, {name: str(row[name]) for name in brief.factor_names}) if known else NONE
