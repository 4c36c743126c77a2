"""INVENTED campaigns carried through the real analysis, for tests of the report."""

import dataclasses

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief, Comparison, Factor, Family, Held, Level, PlanChoice, Protocol, Response
from toolkit.decide import analysis
from toolkit.decide.analysis import Analysis
from toolkit.design import factorial, orders
from toolkit.intake import records

STAMP = {
    "campaign": "chain-soot",
    "seed": 20417,
    "brief_sha256": "b" * 64,
    "seals": {"main": "c" * 64},
    "raw_sha256": {"raw/runs.csv": "d" * 64},
    "records_head": "e" * 64,
    "records_at": "2026-03-04T05:06:07Z",
    "versions": {"python": "3.11.7", "wearbook": "0.1.0"},
}


def brief(names: tuple[str, ...] = ("coating", "new oil", "both together", "coating needs the new oil")) -> Brief:
    """A 2x2 in three builds with two responses; the last comparison of four or more is the interaction."""
    pin, oil = {"pin": "P1"}, {"oil": "O1"}
    sides = [(pin, {"pin": "P0"}), (oil, {"oil": "O0"}), ({**pin, **oil}, {"pin": "P0", "oil": "O0"})] * 3
    asked = [Comparison(name, *side, family="may we switch") for name, side in zip(names, sides, strict=False)]
    if len(names) > 3:
        asked[-1] = Comparison(names[-1], interaction=("pin", "oil"))
    return Brief(
        id="chain-soot",
        question="Does the coated pin or the new oil cut chain wear by 20 %?",
        seed=20417,
        factors=(
            Factor("pin", "part", (Level("P0", "ground steel"), Level("P1", "nitride-coated"))),
            Factor("oil", "fill", (Level("O0", "current"), Level("O1", "new additive system, same grade"))),
        ),
        responses=(
            Response("wear_um", per_run="value", worthwhile_change_pct=20.0),
            Response("torque_Nm", role="secondary", scale="linear", per_run="value", worthwhile_change=0.5),
        ),
        comparisons=tuple(asked),
        families=(Family("may we switch"),),
        new_each_run=("part", "fill"),
        block_by="build",
        plan=PlanChoice(builds=3),
        held=(Held("sump_temp_degC", 100.0, (98.5, 101.5), (94.0, 106.0)),),
        protocol=Protocol(Held("run_time_h", 100.0, (99.0, 101.0))),
    )


def order(asked: Brief) -> pd.DataFrame:
    """The planned runs."""
    return orders.randomise(factorial.full(asked), seed=asked.seed).table


def raw_runs(asked: Brief, *, void: str = "R05", pending: tuple[str, ...] = ()) -> pd.DataFrame:
    """The runs as a table of raw/, one void and some pending, R07 warm for a while."""
    planned = order(asked)
    draw = np.random.default_rng(7)
    first, second = asked.factors
    rows = []
    for at, plan in enumerate(planned.to_dict("records")):
        changed = (plan[first.name] == first.names[1], plan[second.name] == second.names[1])
        wear = 80.0 * 0.72 ** changed[0] * 0.9 ** changed[1] * np.exp(draw.normal(0, 0.08))
        waiting = plan["run_id"] in pending
        row = {
            **{name: plan[name] for name in ("run_id", "phase", "build_id", "planned_order", *asked.factor_names)},
            "actual_order": None if waiting else plan["planned_order"],
            "run_time_h": None if waiting else 100.0,
            "sump_temp_degC": None if waiting else 102.0 if plan["run_id"] == "R07" else 100.1,
            "verdict": "pending" if waiting else "invalid" if plan["run_id"] == void else "valid",
            "reason": "" if plan["run_id"] != void else "oil pressure lost, tripped",
            "role": "" if plan["run_id"] != void else "test engineer",
        }
        for response in asked.responses:
            value = wear if response.scale == "log" else 5.0 + 0.1 * at + draw.normal(0, 0.2)
            row[response.name] = None if waiting else round(float(value), 4)
        rows.append(row)
    return pd.DataFrame(rows)


_ANALYSED: dict[str, Analysis] = {}


def analysed(asked: Brief, *, void: str = "R05", pending: tuple[str, ...] = (), **changed: object) -> Analysis:
    """The campaign analysed; ``changed`` sets cells of the raw runs by '<run_id>_<column>'.

    Each campaign is analysed once for all who ask for it, so nobody changes what they are given.
    """
    key = repr((dataclasses.asdict(asked), void, pending, sorted(changed.items())))
    if key not in _ANALYSED:
        _ANALYSED[key] = afresh(asked, void=void, pending=pending, **changed)
    return _ANALYSED[key]


def afresh(asked: Brief, *, void: str = "R05", pending: tuple[str, ...] = (), **changed: object) -> Analysis:
    """The same, worked out anew."""
    runs = raw_runs(asked, void=void, pending=pending)
    for where, value in changed.items():
        run_id, column = where.split("_", 1)
        runs.loc[runs["run_id"] == run_id, column] = value
    return analysis.analyse(asked, records.from_tables(asked, runs=runs), planned=order(asked))


def renamed(asked: Brief, **texts: str) -> Brief:
    """The brief with other free texts."""
    return dataclasses.replace(asked, **texts)
