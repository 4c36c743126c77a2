"""Tables about the records: runs that are not used, what was noticed, planned against as run (rank 10)."""

from __future__ import annotations

import pandas as pd

from toolkit.brief.model import Brief
from toolkit.plot import answers, combinations
from toolkit.report.table import NONE, Table


def not_used(runs: pd.DataFrame, brief: Brief) -> Table:
    """Runs that are void or pending, with the reason and who judged."""
    rows = runs[runs["verdict"] != "valid"].to_dict("records")
    made = tuple(
        (
            str(row["run_id"]),
            str(row["build_id"]),
            combinations.name(brief, row),
            row["verdict"],
            answers.text(row["reason"]) or NONE,
            answers.text(row["role"]) or NONE,
        )
        for row in rows
    )
    return Table(
        "Runs that no answer rests on",
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


def as_planned(planned: pd.DataFrame, runs: pd.DataFrame, brief: Brief) -> Table:
    """The planned runs beside the runs as made: order, build and combination, differences marked."""
    made_by_id = {row["run_id"]: row for row in runs.to_dict("records")}
    rows = []
    for plan in planned.sort_values("planned_order").to_dict("records"):
        made = made_by_id.get(plan["run_id"])
        wanted = (str(plan["planned_order"]), str(plan["build_id"]), combinations.name(brief, plan))
        if made is None or made["verdict"] == "pending":
            rows.append((str(plan["run_id"]), *wanted, NONE, NONE, NONE, "pending"))
            continue
        order = answers.value(made["actual_order"])
        had = (
            NONE if order is None else str(int(order)),
            str(made["build_id"]),
            combinations.name(brief, made),
        )
        names = ("order", "build", "combination")
        differs = [name for name, one, other in zip(names, wanted, had, strict=True) if one != other and other != NONE]
        rows.append(
            (
                str(plan["run_id"]),
                *wanted,
                *had,
                f"{' and '.join(differs)} differ" if differs else "as planned",
            )
        )
    rows += [
        (
            str(row["run_id"]),
            NONE,
            NONE,
            "not in the plan",
            str(row["actual_order"]),
            str(row["build_id"]),
            combinations.name(brief, row),
            "added",
        )
        for row in runs.to_dict("records")
        if row["phase"] == "main" and row["run_id"] not in set(planned["run_id"])
    ]
    head = (
        "run",
        "planned order",
        "planned build",
        "planned combination",
        "order as run",
        "build as run",
        "combination as run",
        "result",
    )
    return Table("Planned against as run", head, tuple(rows))
