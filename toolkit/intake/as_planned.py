"""The runs as run beside the runs as planned: what differs, and what is not recorded yet (rank 6)."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief
from toolkit.intake import columns
from toolkit.intake.gathered import Finding, figure, finding, some

SHARED = ("phase", "build_id", "planned_order")


def filled(brief: Brief, runs: pd.DataFrame, plan: pd.DataFrame) -> pd.DataFrame:
    """The runs, what pending ones leave blank filled from the plan, and planned runs without a record added.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        As ``tables.runs`` gives them.
    plan : DataFrame
        As for ``differences``.

    Returns
    -------
    DataFrame
        A copy; the added runs are pending, in the order of the plan. Nothing is filled in a run that was
        judged.
    """
    shared = [*SHARED, *columns.kept(brief), *brief.factor_names]
    planned = plan.assign(run_id=plan["run_id"].astype(str)).set_index("run_id")
    made = runs.copy()
    for at, run in runs[runs["verdict"] == "pending"].iterrows():
        for name in shared if run["run_id"] in planned.index else ():
            if pd.isna(run[name]):
                made.loc[at, name] = planned.loc[run["run_id"], name]
    missing = planned[~planned.index.isin(runs["run_id"])]
    if missing.empty:
        return made
    more = pd.DataFrame(
        {name: missing[name].to_numpy() if name in shared else None for name in runs.columns},
        index=range(len(missing)),
    )
    more["run_id"], more["verdict"] = missing.index.to_numpy(), "pending"
    more[["reason", "role"]] = ""
    kinds = {name: "float64" if name == "actual_order" else kind for name, kind in runs.dtypes.items()}
    return pd.concat([made.astype({"actual_order": "float64"}), more.astype(kinds)], ignore_index=True)


def differences(brief: Brief, runs: pd.DataFrame, plan: pd.DataFrame) -> list[Finding]:
    """Findings of runs that differ from the plan in treatment, build or place, and of runs not recorded yet.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        As ``tables.runs`` gives them.
    plan : DataFrame
        run_id, phase, build_id, planned_order and the factors, one row a planned run of the phases planned.

    Returns
    -------
    list of Finding
        Of severity note: the analysis uses what was run. Only the fewest runs that were moved are named, not
        those that a moved run pushed one place on.
    """
    told: list[Finding] = []
    planned = {str(line["run_id"]): line for _, line in plan.iterrows()}
    for _, run in runs.iterrows():
        line = planned.get(run["run_id"])
        if line is None:
            if run["phase"] in set(plan["phase"]):
                told.append(
                    finding(
                        "note",
                        "not in plan",
                        run_id=run["run_id"],
                        found="a run that was not planned",
                        expected="the runs of the plan",
                        action="judged valid, the analysis uses it as a run like any; say why it was made in its "
                        "reason",
                    )
                )
            continue
        for name in (*SHARED, *columns.kept(brief), *brief.factor_names):
            found, expected = _written(run[name]), _written(line[name])
            if found != expected:
                told.append(
                    finding(
                        "note",
                        "differs from plan",
                        run_id=run["run_id"],
                        column=name,
                        found=found,
                        expected=expected,
                        action="check the run sheet; the analysis uses what was run",
                    )
                )
    for phase in dict.fromkeys(plan["phase"]):
        told += _moved(runs[(runs["phase"] == phase) & runs["run_id"].isin(list(planned))], planned)
        missing = [str(name) for name in plan.loc[plan["phase"] == phase, "run_id"] if name not in set(runs["run_id"])]
        if missing:
            told.append(
                finding(
                    "note",
                    "no record yet",
                    column="run_id",
                    found=f"{len(missing)} planned runs without a record: {some(missing)}",
                    expected=f"{int((plan['phase'] == phase).sum())} runs ({phase})",
                    action="they count as pending",
                )
            )
    return told


def _written(value: object) -> str:
    """A cell of the plan or the records for comparison: 3 and 3.0 are the same."""
    return figure(float(value)) if isinstance(value, (int, float, np.number)) else str(value)


def _moved(runs: pd.DataFrame, planned: dict[str, pd.Series]) -> list[Finding]:
    """The fewest runs to take out so that the others were run in the planned order."""
    done = runs[runs["actual_order"].notna()].sort_values("actual_order")
    places = [int(planned[run]["planned_order"]) for run in done["run_id"]]
    kept = _longest_rise(places)
    return [
        finding(
            "note",
            "differs from plan",
            run_id=run,
            column="actual_order",
            found=f"run in place {int(order)}",
            expected=f"place {place} of the plan",
            action="check the run sheet; drift is judged by the order as run",
        )
        for at, (run, order, place) in enumerate(zip(done["run_id"], done["actual_order"], places, strict=True))
        if at not in kept
    ]


def _longest_rise(places: Sequence[int]) -> set[int]:
    """Positions of a longest rising part of a sequence."""
    # For every length: the lowest place that a rise of this length can end with, and where that place stands.
    ends: list[int] = []
    at_end: list[int] = []
    before: list[int] = []
    for at, place in enumerate(places):
        length = bisect_left(ends, place)
        before.append(at_end[length - 1] if length else -1)
        ends[length : length + 1], at_end[length : length + 1] = [place], [at]
    kept, at = set(), at_end[-1] if at_end else -1
    while at >= 0:
        kept.add(at)
        at = before[at]
    return kept
