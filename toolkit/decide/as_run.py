"""The campaign as run beside as planned: what differs, and what that does to strata, aliases and power (rank 7)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from toolkit import measured_in, stamp
from toolkit.brief import by_position
from toolkit.brief.model import PHASES, Brief
from toolkit.decide import pending, states
from toolkit.decide.states import AS_RUN, EXPECTED, PLANNED, State
from toolkit.design import factorial, latin, units
from toolkit.design.terms import name_of
from toolkit.intake import as_planned
from toolkit.intake.columns import VOID
from toolkit.intake.records import Records
from toolkit.size.scatter import Scatter

AS_PLANNED = "as planned"
_HOURS = "run_time_h"
_IDS = {column: units.NAMES[unit] for unit, column in units.COLUMNS.items()}


@dataclass(frozen=True, eq=False)
class AsRun:
    """The runs as made beside the runs as planned, and what each can show.

    Attributes
    ----------
    table : DataFrame
        One row a run that was planned or made: run_id, phase, planned_order, actual_order; a pair '<name>_planned' and
        '<name>_as_run' for each factor, build_id, part_id and run_time_h; verdict; and differs, in words ('as planned'
        when nothing does; empty without a plan). None where nothing is known.
    strata : DataFrame
        response, stratum, role, terms, then for each state its units and error_df: units_planned, error_df_planned,
        units_as_run, ... and, while runs are pending, units_expected, ... once they come in as planned.
    aliases : DataFrame
        response, comparison, term (one of the two filled), planned, as_run, expected: what it is confounded with or
        carries, in words, empty when nothing; helps: the run that would make it estimable. Only what has something to
        say.
    power : DataFrame
        response, comparison, stratum, assumed_change, then for each state error_df, std_error_factor (the standard
        error is that many error SDs; None where two strata are mixed), chance_shown (at the scatter known before the
        runs) and with_run_order (the correlation of the comparison with the order of the runs).
    not_covered : tuple of str
        What could not be worked out, and why.
    planned : bool
        False where there is no sealed plan.
    planned_terms : tuple of str or None
        The terms of the plan's model, 'build' among them where builds are blocks, and the covariates of the brief; None
        without a plan that can be laid out.
    """

    table: pd.DataFrame
    strata: pd.DataFrame
    aliases: pd.DataFrame
    power: pd.DataFrame
    not_covered: tuple[str, ...]
    planned: bool
    planned_terms: tuple[str, ...] | None = None

    @property
    def sentence(self) -> str:
        """How many runs were made as planned, and which were not."""
        if not self.planned:
            return "There is no sealed plan to set the runs against."
        table = self.table
        added = table["planned_order"].isna()
        void = table["verdict"].isin(VOID) & ~added
        waiting = (table["verdict"] == "pending") & ~added
        kept = (table["differs"] == AS_PLANNED) & ~void & ~waiting
        groups = (("otherwise", ~(added | void | waiting | kept)), ("void", void), ("pending", waiting))
        parts = [f"{int(kept.sum())} as planned"]
        parts += [f"{int(of.sum())} {name} ({', '.join(table.loc[of, 'run_id'])})" for name, of in groups if of.any()]
        more = f" Not in the plan: {', '.join(table.loc[added, 'run_id'])}." if added.any() else ""
        return f"Of {int((~added).sum())} planned runs: {', '.join(parts)}.{more}"

    def to_json(self) -> dict[str, Any]:
        """sentence, runs[], strata[], aliases[], power[], not_covered[]."""
        return stamp.plain(
            {
                "sentence": self.sentence,
                "runs": stamp.records(self.table),
                "strata": stamp.records(self.strata),
                "aliases": stamp.records(self.aliases),
                "power": stamp.records(self.power),
                "not_covered": list(self.not_covered),
                "planned_terms": None if self.planned_terms is None else list(self.planned_terms),
            }
        )

    def __repr__(self) -> str:
        """The sentence."""
        return self.sentence


def as_run(
    brief: Brief, planned: pd.DataFrame | None, records: Records, *, scatters: Sequence[Scatter] = ()
) -> AsRun:
    """The runs as made set beside the sealed plan, with strata, aliases and power worked out from each.

    Parameters
    ----------
    brief : Brief
    planned : DataFrame or None
        The sealed runs: run_id, phase, build_id, planned_order, the factors, part_id where parts were issued, and
        given_up where amendments did something about lost runs (what they did, in words; '' for all others). None:
        there is no sealed plan.
    records : Records
    scatters : sequence of Scatter
        Known before the runs, one a response; without that of a response its chances are not told.

    Returns
    -------
    AsRun

    Notes
    -----
    As run: the valid runs with a value of the response, with the treatment, build and order they truly had. The same
    functions lay out both sides.

    Checked against: degrees of freedom counted by hand, variances from X'X, alias algebra by hand,
    k04-warpbreaks-unequal-n and k04-toothgrowth-empty-cell, tests/unit/decide/test_as_run.py.
    """
    plan = None if planned is None else planned[planned["phase"].isin(brief.counted_phases)].reset_index(drop=True)
    recorded = by_position.as_recorded(brief)
    waiting = pending.pending(recorded, records, planned)
    found: dict[str, list[State]] = {}
    kept: dict[tuple[str, ...], list[State]] = {}
    for response in brief.responses:
        made, expected = _runs_of(recorded, records, waiting, response.name)
        mine = by_position.judged(brief, response)
        key = (*mine.factor_names, "of", *made["run_id"], "then", *([] if expected is None else expected["run_id"]))
        if key not in kept:
            kept[key] = [
                *([] if plan is None else [states.state(mine, PLANNED, _with_pilot(brief, plan), "planned_order")]),
                states.state(mine, AS_RUN, made, "actual_order"),
                *([] if expected is None else [states.state(mine, EXPECTED, expected, "planned_order")]),
            ]
        found[response.name] = kept[key]
    known = {item.response.name: item for item in scatters}
    each = [(by_position.judged(brief, brief.response(name)), name, item) for name, item in found.items()]
    columns = ("response", "comparison", "term", *states.WORDS, "helps")
    return AsRun(
        _table(recorded, plan, records),
        _frame([line for _, name, item in each for line in states.strata_rows(name, item)]),
        _frame([line for mine, name, item in each for line in states.alias_rows(mine, name, item)], columns),
        _frame([line for mine, name, item in each for line in states.power_rows(mine, name, item, known.get(name))]),
        _not_covered(found, known),
        plan is not None,
        _planned_terms(found),
    )


def _planned_terms(found: Mapping[str, list[State]]) -> tuple[str, ...] | None:
    """The terms of the sealed plan's model by name."""
    laid = [item.strata for items in found.values() for item in items if item.name == PLANNED and item.strata]
    if not laid:
        return None
    # Of responses that are measured once a run the model has fewer terms.
    most = max(laid, key=lambda one: len(one.terms))
    blocks = (*(("build",) if most.blocked else ()), *((latin.PLACE,) if latin.used(most.brief) else ()))
    covariates = tuple(item.name for item in getattr(most.brief, "covariates", ()))
    return (*blocks, *covariates, *(name_of(term) for term in most.terms))


def _runs_of(
    brief: Brief, records: Records, waiting: pd.DataFrame, response: str
) -> tuple[pd.DataFrame, pd.DataFrame | None]:
    """The runs that answers of the response rest on, and these with the runs it waits for (None: for none)."""
    columns = ["run_id", "phase", *units.id_columns(brief), "planned_order", "actual_order", *brief.factor_names]
    runs = records.runs
    counted = runs["phase"].isin(brief.counted_phases) & (runs["verdict"] == "valid")
    made = runs.loc[counted & pending.has_value(runs, response), columns]
    late = waiting[[response in names for names in waiting["responses"]]]
    if late.empty:
        return made, None
    more = late.reindex(columns=columns)
    return made, pd.concat([made.astype(object), more.astype(object)], ignore_index=True)


def _with_pilot(brief: Brief, plan: pd.DataFrame) -> pd.DataFrame:
    """The planned runs without those an amendment gave up, with those of a pilot that counts and is not among them."""
    if "given_up" in plan:
        plan = plan[plan["given_up"] == ""]
    if "pilot" not in brief.counted_phases or (plan["phase"] == "pilot").any():
        return plan
    made = factorial.pilot(brief).table
    made = made.assign(run_id=[f"P{at + 1:02d}" for at in range(len(made))], phase="pilot")
    return pd.concat([made.assign(planned_order=range(1, len(made) + 1)), plan], ignore_index=True)


def _table(brief: Brief, plan: pd.DataFrame | None, records: Records) -> pd.DataFrame:
    """One row a run: planned ones in their order, then those that were added, phase by phase."""
    runs = records.runs
    runs = runs[runs["phase"].isin(brief.counted_phases)]
    parts = pending.built_parts(records)
    made = {str(line["run_id"]): line for line in runs.to_dict("records")}
    wanted = {} if plan is None else {str(line["run_id"]): line for line in plan.to_dict("records")}
    differing, late = _differing(brief, runs, plan), pending.after_look(records)
    rows = [
        _row(brief, wanted.get(run_id), made.get(run_id), parts.get(run_id), differing.get(run_id, ()))
        for run_id in dict.fromkeys([*wanted, *made])
    ]
    pairs = [
        f"{name}_{side}"
        for name in (*brief.factor_names, *units.id_columns(brief), "part_id", _HOURS)
        for side in (PLANNED, AS_RUN)
    ]
    columns = ["run_id", "phase", "planned_order", "actual_order", *pairs, "verdict", "differs"]
    if plan is None:
        rows = [{**row, "differs": ""} for row in rows]
    for row in rows:
        if row["run_id"] in late:
            said = [row["differs"]] if row["differs"] not in ("", AS_PLANNED) else []
            row["differs"] = "; ".join([*said, f"{' and '.join(late[row['run_id']])} noted after a look"])
    rows.sort(key=_place)
    return _frame(rows, columns)


def _place(row: Mapping[str, Any]) -> tuple[float, ...]:
    """Where a run stands in the table: by phase, planned ones first, by planned or actual order."""
    nth = row["planned_order"] if row["planned_order"] is not None else row["actual_order"]
    return (PHASES.index(row["phase"]), float(row["planned_order"] is None), math.inf if nth is None else float(nth))


def _row(
    brief: Brief,
    wanted: Mapping[str, Any] | None,
    made: Mapping[str, Any] | None,
    part: str | None,
    differing: Sequence[str],
) -> dict[str, object]:
    """One run, planned and as run."""
    known = wanted or made or {}
    verdict = "pending" if made is None else str(made["verdict"])
    # What a run without verdict and order shows was filled in from the plan: it is no record.
    begun = made is not None and (verdict != "pending" or not pd.isna(made["actual_order"]))
    hours = brief.protocol.run_time_h
    order = made["actual_order"] if made is not None and begun else None
    line: dict[str, object] = {
        "run_id": str(known["run_id"]),
        "phase": known["phase"],
        "planned_order": None if wanted is None else int(wanted["planned_order"]),
        "actual_order": None if pd.isna(order) else int(order),
        "verdict": verdict,
    }
    for name in (*brief.factor_names, *units.id_columns(brief)):
        line[f"{name}_{PLANNED}"] = None if wanted is None else wanted[name]
        line[f"{name}_{AS_RUN}"] = made[name] if made is not None and begun else None
    line[f"part_id_{PLANNED}"] = None if wanted is None else wanted.get("part_id") or None
    line[f"part_id_{AS_RUN}"] = part or None
    line[f"{_HOURS}_{PLANNED}"] = hours.target if hours and wanted is not None else None
    line[f"{_HOURS}_{AS_RUN}"] = made[_HOURS] if made is not None and begun else None
    said = [] if wanted is not None else ["not in the plan"]
    if made is not None and verdict in VOID:
        said.append(f"{verdict}: {made['reason']}" if made["reason"] else verdict)
    said += [str(wanted["given_up"])] if wanted is not None and wanted.get("given_up") else []
    said += [_words(name, line) for name in differing]
    if wanted is not None and wanted.get("part_id") and part and part != wanted["part_id"]:
        said.append(f"part {part}, planned {wanted['part_id']}")
    ran = line[f"{_HOURS}_{AS_RUN}"]
    if hours and isinstance(ran, float) and not math.isnan(ran) and not hours.window[0] <= ran <= hours.window[1]:
        said.append(f"{ran:g} h, window {hours.window[0]:g} to {hours.window[1]:g} h")
    if verdict == "pending" and not said:
        said.append("pending")
    return {**line, "differs": "; ".join(said) or AS_PLANNED}


def _words(name: str, line: Mapping[str, object]) -> str:
    """One thing that differs: 'pin P1, planned P0'."""
    if name == "actual_order":
        return f"place {line[name]}, planned {line['planned_order']}"
    said = _IDS.get(name) or measured_in.label(name)
    return f"{said} {line[f'{name}_{AS_RUN}']}, planned {line[f'{name}_{PLANNED}']}"


def _differing(brief: Brief, runs: pd.DataFrame, plan: pd.DataFrame | None) -> dict[str, list[str]]:
    """Run to the columns in which it differs from its plan; of the order only the fewest runs that were moved."""
    found: dict[str, list[str]] = {}
    begun = runs[(runs["verdict"] != "pending") | runs["actual_order"].notna()]
    for item in as_planned.differences(brief, begun, plan) if plan is not None else ():
        shown = (*units.id_columns(brief), "actual_order", *brief.factor_names)
        if item["rule"] == "differs from plan" and item["column"] in shown:
            found.setdefault(str(item["run_id"]), []).append(str(item["column"]))
    return found


def _not_covered(found: Mapping[str, Sequence[State]], known: Mapping[str, Scatter]) -> tuple[str, ...]:
    """What could not be worked out, each reason once."""
    told = [f"{states.WORDS[item.name]}: {item.reason}" for each in found.values() for item in each if item.reason]
    unknown = [name for name in found if name not in known]
    told += [f"{name}: its scatter before the runs is not known, so no chances are told" for name in unknown]
    return tuple(dict.fromkeys(told))


def _frame(rows: Sequence[Mapping[str, object]], columns: Sequence[str] | None = None) -> pd.DataFrame:
    """Rows as a table whose empty places are None."""
    made = pd.DataFrame(list(rows), columns=columns, dtype=object)
    return made.where(made.notna(), None)
