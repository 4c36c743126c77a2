"""How far each run has come, what it still lacks and where it left the plan; no measured wear is told (rank 9)."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import pandas as pd

from toolkit.brief.model import PHASES, Brief
from toolkit.intake import columns, unjudged
from toolkit.intake.records import Records

STAGES = ("planned", "sheet issued", "sheet back", "measured", "oil back", "judged")
COLUMNS = ("run_id", "phase", "build_id", "planned_order", "stage", "verdict", "missing", "deviations")
NO_RECORD = "its run sheet"


def of_runs(brief: Brief, records: Records, *, issued: Collection[str], samples: pd.DataFrame | None) -> pd.DataFrame:
    """One row a run, planned ones too.

    Parameters
    ----------
    brief : Brief
    records : Records
    issued : collection of str
        The runs whose sheets were issued.
    samples : DataFrame or None
        The register of oil samples: run_id and sample_id; None where there is none.

    Returns
    -------
    DataFrame
        run_id, phase, build_id, planned_order, stage (the furthest of ``STAGES`` that it came to), verdict, missing
        and deviations in words ('' for none).

    Notes
    -----
    A void run lacks nothing. A run is judged before its wear is looked at, so that one that is judged may still lack
    measurements.
    """
    made = []
    back = _back(brief, records)
    away = _deviations(brief, records)
    for run in records.runs.to_dict("records"):
        run_id, verdict = str(run["run_id"]), str(run["verdict"])
        here = run_id in back or verdict != "pending"
        void = verdict in columns.VOID
        worn = [] if void or not here else _unmeasured(brief, records, run_id)
        dry = [] if void or not here else _oil(brief, records, run_id, samples)
        if not here:
            stage = "sheet issued" if run_id in issued else "planned"
            missing = [NO_RECORD]
        else:
            asked = [item.name for item in columns.of_source(brief, "runs")]
            gone = [name for name in asked if pd.isna(run[name]) and not _lost(records, run_id, name)]
            worn += [] if void else [f"{name} of the run" for name in gone]
            stage = _reached(brief, worn, dry, verdict)
            missing = [*worn, *dry, *(["verdict"] if verdict == "pending" else [])]
            missing = [*(_untold(brief, records, run_id) if verdict == "pending" else []), *missing]
        made.append(
            [
                run_id,
                _text(run["phase"]),
                _text(run["build_id"]),
                _text(run["planned_order"]),
                stage,
                verdict,
                "; ".join(missing),
                "; ".join(away.get(run_id, [])),
            ]
        )
    # As planned, whatever the order in which the sheets came back.
    made.sort(key=lambda line: (PHASES.index(line[1]) if line[1] in PHASES else len(PHASES), _place(line[3])))
    return pd.DataFrame(made, columns=list(COLUMNS), dtype=object)


def _untold(brief: Brief, records: Records, run_id: str) -> list[str]:
    """What a verdict will ask for and only the plan tells so far: build, units, levels and place in the order."""
    where = records.sources
    there = set(where.loc[where["run_id"] == run_id, "column"])
    asked = ("build_id", *columns.kept(brief), *brief.factor_names, "actual_order")
    return [f"{name} as run" for name in asked if name not in there]


def _place(text: str) -> float:
    """A place in the order for sorting; runs without one come last."""
    return float(text) if text.replace(".", "", 1).isdigit() else float("inf")


def _reached(brief: Brief, worn: Sequence[str], dry: Sequence[str], verdict: str) -> str:
    """The furthest stage that a run has come to which came back."""
    if verdict != "pending":
        return "judged"
    if columns.of_source(brief, "oil") and not dry:
        return "oil back"
    return "measured" if columns.stationed(brief) and not worn else "sheet back"


def begun(brief: Brief, records: Records) -> set[str]:
    """The runs that were made or are being made: judged, or something is on record that only the run could tell."""
    runs = records.runs
    known = runs["verdict"] != "pending"
    for item in brief.responses:
        known |= runs[item.name].notna()
    return _back(brief, records) | set(runs.loc[known, "run_id"].astype(str))


def _back(brief: Brief, records: Records) -> set[str]:
    """The runs of which something is known that only the run itself could tell."""
    runs = records.runs
    own = ["actual_order", "run_time_h", *(item.name for item in columns.held(brief)), *columns.optional(brief)]
    told = runs[[name for name in own if name in runs]].notna().any(axis=1)
    built = records.as_built
    noted = built[["serial", "oil_drum", "started_at", "stopped_at", "sheet"]].ne("").any(axis=1)
    return set(runs.loc[told, "run_id"]) | set(built.loc[noted, "run_id"])


def _unmeasured(brief: Brief, records: Records, run_id: str) -> list[str]:
    """The stations still to be measured, in words."""
    readings = records.readings
    mine = None if readings is None else readings[readings["run_id"] == run_id]
    told: dict[str, None] = {}
    for item in columns.stationed(brief):
        asked = item.stations.count * item.stations.readings
        for state in item.stations.states or ("",):
            there = gone = 0
            if mine is not None:
                of_state = mine[mine["state"] == state] if state else mine
                there = int(of_state[item.name].notna().sum())
                gone = int(of_state[item.name].isna().sum()) if _lost(records, run_id, item.name) else 0
            what = f"part {state}".strip() if state else "part"
            if there + gone == 0:
                told[f"{what} to measure"] = None
            elif there + gone < asked:
                told[f"{what}: {there} of {asked} readings of {item.name}"] = None
    return list(told)


def _lost(records: Records, run_id: str, column: str) -> int:
    """How many figures of a run are on record as lost, by the word itself; nought where a blank is among them."""
    found = records.findings
    mine = found.loc[(found["run_id"] == run_id) & (found["column"] == column) & (found["rule"] == "lost"), "found"]
    return 0 if mine.str.contains("blank").any() else int(mine.str.contains("lost").sum())


def _oil(brief: Brief, records: Records, run_id: str, register: pd.DataFrame | None) -> list[str]:
    """The oil samples still to come back, in words."""
    asked = columns.of_source(brief, "oil")
    if not asked:
        return []
    samples = records.oil
    mine = None if samples is None else samples[samples["run_id"] == run_id]
    issued = 0 if register is None else int((register["run_id"] == run_id).sum())
    least = max([issued, *(2 if item.per_run == "increase" else 1 for item in asked)])
    names = [item.name for item in asked]
    back = 0
    if mine is not None:
        told = pd.DataFrame({name: mine[name].notna() | bool(_lost(records, run_id, name)) for name in names})
        back = int(told.all(axis=1).sum())
    if back >= least:
        return []
    return ["oil samples to come back" if back == 0 else f"oil: {back} of {least} samples"]


def _deviations(brief: Brief, records: Records) -> dict[str, list[str]]:
    """Run to what of it differs from plan and protocol, in words."""
    hidden = {item.name for item in brief.responses}
    found: dict[str, list[str]] = {}
    for row in records.findings.to_dict("records"):
        if row["run_id"] and row["column"] not in hidden and row["rule"] not in unjudged.TELLS_WEAR:
            what = f"{row['column']}: " if row["column"] else ""
            found.setdefault(row["run_id"], []).append(f"{what}{row['found']} (expected {row['expected']})")
    return found


def _text(value: object) -> str:
    """A cell as text; empty where there is none, whole numbers without a point."""
    if value is None or pd.isna(value):
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)
