"""The runs that an answer still waits for, and what each of them waits for (rank 7)."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief, Response
from toolkit.design import units
from toolkit.intake.records import Records
from toolkit.wording import joined

_LATE = {"stations": "{} to be measured", "oil": "{} from the oil laboratory", "runs": "{} to be entered"}


def pending(brief: Brief, records: Records, planned: pd.DataFrame | None = None) -> pd.DataFrame:
    """The runs of the phases that count which an answer waits for.

    Parameters
    ----------
    brief : Brief
    records : Records
    planned : DataFrame, optional
        The sealed run list: planned runs without a record wait too.

    Returns
    -------
    DataFrame
        One row a run, in the planned order: run_id, phase, build_id, planned_order, actual_order, the factors (as run,
        else as planned), verdict, waits_for (in words), responses (tuple of the names that wait for it). A run without
        a verdict keeps every response waiting; a valid run those it has no value of, unless the figure is lost.
    """
    runs = records.runs
    counted = runs[runs["phase"].isin(brief.counted_phases)]
    rows = [*counted.to_dict("records"), *_unrecorded(brief, counted, planned)]
    plan = {} if planned is None else {str(line["run_id"]): line for line in planned.to_dict("records")}
    made = []
    for row in rows:
        late = [item for item in brief.responses if _late(brief, records, row, item)]
        names = tuple(item.name for item in (brief.responses if row["verdict"] == "pending" else late))
        if names:
            wanted = plan.get(str(row["run_id"]), {})
            kept = {name: wanted.get(name) if pd.isna(row.get(name)) else row[name] for name in _columns(brief)}
            made.append({**kept, "waits_for": _waits_for(row, late), "responses": names})
    table = pd.DataFrame(made, columns=[*_columns(brief), "waits_for", "responses"], dtype=object)
    order = [brief.counted_phases.index(phase) for phase in table["phase"]]
    table = table.assign(_phase=order).sort_values(["_phase", "planned_order"], kind="stable", ignore_index=True)
    return table.drop(columns="_phase")


def has_value(runs: pd.DataFrame, response: str) -> pd.Series:
    """Which runs have a value of the response, one below its detection limit too."""
    known = runs[response].notna()
    below = f"{response}_below_limit"
    return known | runs[below].fillna(False).astype(bool) if below in runs.columns else known


def progress(brief: Brief, records: Records, waiting: pd.DataFrame, response: str | None = None) -> str:
    """How far the runs are: '7 of 12 runs', 'wear 12 and torque 7 of 12 runs'; empty when nothing is pending.

    Parameters
    ----------
    brief : Brief
    records : Records
    waiting : DataFrame
        As ``pending`` gives it.
    response : str, optional
        Only what this response waits for; left out: all of them, each with its own count where they differ.
    """
    late = waiting if response is None else waiting[[response in names for names in waiting["responses"]]]
    if late.empty:
        return ""
    runs = records.runs
    ids = set(runs.loc[runs["phase"].isin(brief.counted_phases), "run_id"]) | set(waiting["run_id"])
    told = f"of {len(ids)} runs"
    if response is not None:
        return f"{len(ids) - len(late)} {told}"
    done = {item.name: len(ids) - sum(item.name in names for names in late["responses"]) for item in brief.responses}
    if len(set(done.values())) == 1:
        return f"{min(done.values())} {told}"
    return f"{joined([f'{measured_in.label(name)} {count}' for name, count in done.items()])} {told}"


def waits(waiting: pd.DataFrame) -> str:
    """What is waited for, in one line: 'R09, R10, R11: the run; R07: elongation to be measured'; empty when nothing."""
    groups = waiting.groupby("waits_for", sort=False)["run_id"]
    return "; ".join(f"{', '.join(map(str, ids))}: {what}" for what, ids in groups)


def _columns(brief: Brief) -> list[str]:
    """What is told of a run beside what it waits for."""
    return [
        *("run_id", "phase", *units.id_columns(brief), "planned_order", "actual_order"),
        *(*brief.factor_names, "verdict"),
    ]


def _unrecorded(brief: Brief, counted: pd.DataFrame, planned: pd.DataFrame | None) -> list[dict[str, object]]:
    """The planned runs that no record tells of."""
    if planned is None:
        return []
    missing = planned["phase"].isin(brief.counted_phases) & ~planned["run_id"].isin(counted["run_id"])
    return [{**row, "verdict": "pending", "actual_order": None} for row in planned[missing].to_dict("records")]


def _late(brief: Brief, records: Records, row: dict[str, object], response: Response) -> bool:
    """True when the run is to get a value of the response and has none yet."""
    if row["verdict"] not in ("valid", "pending") or (row["verdict"] == "valid" and brief.old_data is not None):
        return False
    value, below = row.get(response.name), row.get(f"{response.name}_below_limit", False)
    if not pd.isna(value) or (not pd.isna(below) and bool(below)):
        return False
    found = records.findings
    mine = found[(found["run_id"] == row["run_id"]) & (found["column"] == response.name)]
    # Of stations a blank and a lost reading are told alike, so that a run without any waits until it is judged.
    lost = mine["found"].str.contains("lost") & (mine["rule"] == "lost")
    return not (bool(lost.any()) and response.source != "stations") and not (mine["severity"] == "stop").any()


def _waits_for(row: dict[str, object], late: Sequence[Response]) -> str:
    """What a run waits for, in words."""
    if row["verdict"] == "pending" and pd.isna(row.get("actual_order")) and pd.isna(row.get("run_time_h")):
        return "the run"
    told = [_LATE[item.source].format(measured_in.label(item.name)) for item in late]
    return "; ".join([*told, *(["a verdict"] if row["verdict"] == "pending" else [])])


def built_parts(records: Records) -> dict[str, str]:
    """Run to the part that was fitted, as far as it is known."""
    return {str(row["run_id"]): str(row["part_id"]) for row in records.as_built.to_dict("records")}


def after_look(records: Records) -> dict[str, list[str]]:
    """Run to the cells that a note put right after its wear had been looked at: 'verdict', 'run time'."""
    found: dict[str, list[str]] = {}
    for row in records.corrections.to_dict("records"):
        if row["after_look"]:
            found.setdefault(str(row["run_id"]), []).append(measured_in.label(str(row["column"])))
    return {run_id: list(dict.fromkeys(cells)) for run_id, cells in found.items()}
