"""One INVENTED campaign as the raw tables a shop would hand in, with the truth beside them (rank 10)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief
from toolkit.demo import metals
from toolkit.demo.generator import Drawn, Layout, layout_of, share_worn, simulate
from toolkit.demo.scenarios import Scenario, Truth
from toolkit.design.orders import Order

# Every part of a campaign draws from its own stream, so that changing one leaves the others as they are.
_WEAR, _GAUGE, _HOURS, _LOG, _OIL, _HISTORY = range(6)
ROLE = "test engineer"


def campaign(brief: Brief, orders: Sequence[Order], scenario: Scenario, *, seed: int) -> dict[str, pd.DataFrame]:
    """One whole campaign as the raw tables a shop would hand in, INVENTED from the seed.

    Parameters
    ----------
    brief : Brief
    orders : sequence of Order
        The randomised phases in the order they are run.
    scenario : Scenario
    seed : int
        Seed of the data; the orders follow from the brief's own.

    Returns
    -------
    dict of DataFrame
        ``runs``, and where the scenario has them ``stations`` and ``oil``; ``truth`` has what was drawn
        from and what each build and run added by chance.
    """
    layout = layout_of(brief, orders)
    drawn = [_draw(truth, layout, scenario, seed, place) for place, truth in enumerate(scenario.truths)]
    main = scenario.truths[0]
    tables = {"runs": _runs(brief, layout, scenario, drawn, seed)}
    if brief.response(main.response).stations is not None:
        tables["stations"] = _stations(brief, layout, scenario, main, drawn[0], seed)
    if scenario.metals:
        full = drawn[0].true[0].mean(axis=1) / share_worn(_hours(layout, scenario, seed), scenario.hours)
        tables["oil"] = metals.samples(
            tables["runs"], full, lambda t: share_worn(t, scenario.hours), np.random.default_rng([seed, _OIL])
        )
    tables["truth"] = _truth(layout, scenario, drawn[0])
    return tables


def run_values(brief: Brief, layout: Layout, scenario: Scenario, *, seed: int) -> np.ndarray:
    """The run values of the first response as the tables of this seed give them, shape (runs,)."""
    truth = scenario.truths[0]
    drawn = _draw(truth, layout, scenario, seed, 0)
    if brief.response(truth.response).stations is None:
        return np.round(drawn.measured[0].mean(axis=1), truth.decimals)
    shown = _shown(brief, truth, drawn, seed)
    return (shown[-1] - shown[0] if truth.unworn else shown[0]).mean(axis=(1, 2))


def history(
    response: str,
    scale: str,
    per_run: str,
    strata: Mapping[str, tuple[float, Sequence[int]]],
    *,
    prefix: str,
    rig_state: str,
    seed: int,
) -> pd.DataFrame:
    """Scatter of INVENTED earlier campaigns of a rig: each SD drawn about the one given with its df.

    Parameters
    ----------
    strata : mapping of name to (SD, df of each campaign)
        The SD of run values in that stratum, on the analysis scale.
    """
    rows = []
    for place, (stratum, (sd, dfs)) in enumerate(strata.items()):
        rng = np.random.default_rng([seed, _HISTORY, place])
        for number, df in enumerate(dfs):
            # Campaigns differ a little in their true scatter: 10 per cent.
            true = sd * np.exp(rng.normal(0.0, 0.10))
            rows.append(
                {
                    "campaign_id": f"{prefix}{number + 1}",
                    "response": response,
                    "scale": scale,
                    "per_run": per_run,
                    "stratum": stratum,
                    "sd": round(float(true * np.sqrt(rng.chisquare(df) / df)), 4),
                    "df": df,
                    "rig_state": rig_state,
                }
            )
    return pd.DataFrame(rows)


def _hours(layout: Layout, scenario: Scenario, seed: int) -> np.ndarray:
    """Hours each run lasted: full ones up to 0.3 per cent over, or as the incident says."""
    rng = np.random.default_rng([seed, _HOURS])
    full = np.round(scenario.hours * (1.0 + rng.uniform(0.0, 0.003, len(layout.runs))), 1)
    found = [scenario.incident_of(run) for run in layout.runs["run_id"]]
    return np.array([item.hours if item and item.hours else hours for item, hours in zip(found, full, strict=True)])


def _draw(truth: Truth, layout: Layout, scenario: Scenario, seed: int, place: int) -> Drawn:
    """One campaign of one response; held variables belong to the first response's draw."""
    shift = {item.name: np.zeros(len(layout.runs)) for item in scenario.held}
    for row, run in enumerate(layout.runs["run_id"]):
        incident = scenario.incident_of(run)
        if incident and incident.held:
            shift[incident.held][row] = incident.shift
    worn = share_worn(_hours(layout, scenario, seed), scenario.hours)
    return simulate(
        truth,
        layout,
        1,
        np.random.default_rng([seed, _WEAR, place]),
        shift=shift,
        worn=worn,
        held=scenario.held if place == 0 else (),
    )


def _shown(brief: Brief, truth: Truth, drawn: Drawn, seed: int) -> np.ndarray:
    """What the gauge shows: shape (states, runs, stations, readings), rounded as it shows it."""
    true = drawn.true[0][:, :, None]
    readings = brief.response(truth.response).stations.readings
    rng = np.random.default_rng([seed, _GAUGE])
    states = [true]
    if truth.unworn is not None:
        new = rng.normal(*truth.unworn, true.shape)
        states = [new, new + true]
    error = rng.normal(0.0, truth.reading_sd, (len(states), *true.shape[:2], readings))
    return np.round(np.stack([np.broadcast_to(state, error.shape[1:]) for state in states]) + error, truth.decimals)


def _runs(brief: Brief, layout: Layout, scenario: Scenario, drawn: Sequence[Drawn], seed: int) -> pd.DataFrame:
    """runs.csv: as run, with the log's figures and the verdict."""
    rng = np.random.default_rng([seed, _LOG])
    table = layout.runs.copy()
    table.insert(4, "actual_order", table["planned_order"])
    found = [scenario.incident_of(run) for run in table["run_id"]]
    pending = np.array([bool(item and item.verdict == "pending") for item in found])
    table["run_time_h"] = _hours(layout, scenario, seed)
    for item in scenario.held:
        table[item.name] = np.round(drawn[0].held[item.name][0], item.decimals)
    for name, (low, high, decimals) in (scenario.logged or {}).items():
        table[name] = np.round(rng.uniform(low, high, len(table)), decimals)
    if scenario.metals:
        table["carry_over_pct"] = np.round(np.clip(np.exp(rng.normal(np.log(0.7), 0.3, len(table))), 0.2, 1.8), 2)
    for truth, made in zip(scenario.truths, drawn, strict=True):
        if brief.response(truth.response).stations is None:
            table[truth.response] = np.round(made.measured[0].mean(axis=1), truth.decimals)
    measured = [name for name in table.columns if name not in layout.runs.columns and name != "actual_order"]
    table[measured] = table[measured].astype(float)
    table.loc[pending, [*measured, "actual_order"]] = np.nan
    table["actual_order"] = table["actual_order"].astype("Int64")
    table["verdict"] = [item.verdict if item else "valid" for item in found]
    table["reason"] = [item.reason if item else "" for item in found]
    table["role"] = np.where(pending, "", ROLE)
    return table


def _stations(brief: Brief, layout: Layout, scenario: Scenario, truth: Truth, drawn: Drawn, seed: int) -> pd.DataFrame:
    """stations.csv: one row a run, station, state and reading; pending runs have none yet."""
    asked = brief.response(truth.response).stations
    shown = _shown(brief, truth, drawn, seed)
    rows = []
    for row, run in enumerate(layout.runs["run_id"]):
        incident = scenario.incident_of(run)
        if incident and incident.verdict == "pending":
            continue
        for state in range(len(shown)):
            for place in range(asked.count):
                for reading in range(asked.readings):
                    line = {
                        "run_id": run,
                        "part_id": f"INV-{row + 101}",
                        "station_id": f"{asked.kind[:3].upper()}{place + 1:02d}",
                        "reading": reading + 1,
                    }
                    if asked.states:
                        line["state"] = asked.states[state]
                    rows.append({**line, truth.response: shown[state, row, place, reading]})
    return pd.DataFrame(rows)


def _truth(layout: Layout, scenario: Scenario, drawn: Drawn) -> pd.DataFrame:
    """truth.csv: what the campaign was drawn from, and what its builds and runs added by chance."""
    rows: list[tuple[str, str, str, float]] = []
    for truth in scenario.truths:
        unit = "ln" if truth.scale == "log" else truth.response
        named = list(layout.factors)
        for levels in layout.runs[named].drop_duplicates().sort_values(named).to_dict("records"):
            value = float(np.exp(truth.centre(levels)) if truth.scale == "log" else truth.centre(levels))
            rows.append(
                (
                    truth.response,
                    "median" if truth.scale == "log" else "mean",
                    " ".join(levels.values()),
                    value,
                )
            )
        rows += [
            (truth.response, f"change in {unit}", " ".join(level for _, level in where), change)
            for where, change in truth.changes.items()
        ]
        rows += [
            (truth.response, f"sd in {unit}", name, getattr(truth, f"{name}_sd"))
            for name in ("build", "run", "station")
        ]
        rows.append((truth.response, "sd as measured", "reading", truth.reading_sd))
        rows.append((truth.response, f"drift in {unit}", "a run later in the build", truth.by_order_in_build))
        rows.append((truth.response, f"drift in {unit}", "a run later in the campaign", truth.by_order_in_campaign))
        rows += [
            (truth.response, f"change in {unit}", f"station {place + 1}", shift)
            for place, shift in enumerate(truth.station_shift)
            if len(truth.station_shift) > 1
        ]
    first = scenario.truths[0]
    rows += [
        (first.response, "change in ln", f"{item.name} up by 1", item.slope)
        for item in scenario.held
        if first.scale == "log"
    ]
    names = list(dict.fromkeys(layout.runs["build_id"]))
    rows += [
        (first.response, "drawn in ln", f"build {name}", float(drawn.builds[0, place]))
        for place, name in enumerate(names)
        if first.build_sd
    ]
    rows += [
        (first.response, "drawn in ln", f"run {run}", float(drawn.runs[0, place]))
        for place, run in enumerate(layout.runs["run_id"])
    ]
    table = pd.DataFrame(rows, columns=["response", "kind", "of", "value"])
    return table.assign(value=table["value"].round(6), origin="INVENTED")
