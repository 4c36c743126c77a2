"""Tables about the records: runs that are not used, runs waited for, what was noticed (rank 10)."""

from __future__ import annotations

import re
from collections.abc import Collection

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief
from toolkit.intake.alike import alike
from toolkit.intake.columns import VOID
from toolkit.plot import answers, combinations, rounding
from toolkit.report.table import NONE, Table

_TAKEN_IN = re.compile(r"raw/received/[0-9a-f]{12}-")
_RANK = {"stop": 0, "exclude": 1, "note": 2}


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

    A run that a rule says is invalid stays in the answers until a person judges it so: 'judge again'. What there is
    to do comes first, what asks for nothing last; files are named as they came.
    """
    meaning = {"stop": "stop", "exclude": "judge again", "note": "note"}
    rows = sorted(alike(frame).to_dict("records"), key=lambda row: (_RANK.get(row["severity"], 2), _nothing_to_do(row)))
    made = [
        (
            answers.text(row["run_id"]) or answers.text(row["part_id"]) or NONE,
            _files(answers.text(row["action"])),
            meaning.get(row["severity"], str(row["severity"])),
            answers.text(row["column"]) or NONE,
            rounding.minus(_files(answers.text(row["found"]))),
            _files(answers.text(row["expected"])),
            answers.text(row["rule"]),
        )
        for row in rows
    ]
    cut = made[:most]
    if len(made) > most:
        cut.append((f"and {len(made) - most} more", "see derived/findings.csv", *[NONE] * 5))
    head = ("run or part", "what to do", "kind", "column", "found", "expected", "rule")
    open_still = sum(not _nothing_to_do(row) for row in rows)
    caption = f"What was noticed about the records: {open_still} to look at, {len(rows) - open_still} for the record"
    return Table(caption, head, tuple(cut))


def _nothing_to_do(row: dict[str, object]) -> bool:
    """True where the action is 'none', with or without a reason."""
    return answers.text(row["action"]).startswith("none")


def _files(text: str) -> str:
    """A text in which files taken in have the name they came under, without folder and checksum."""
    return _TAKEN_IN.sub("", text)


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
