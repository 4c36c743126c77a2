"""What the plan.json of an amended plan holds: strata, what it promises, what changed in the run list (rank 9)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.brief.model import Brief
from toolkit.campaign import further_plan, plan_json, planning, sealed_brief, sizing
from toolkit.campaign.folder import Campaign
from toolkit.campaign.in_force import InForce
from toolkit.design import orders, phases, strata
from toolkit.design.changed import Change
from toolkit.design.design import Design
from toolkit.design.orders import Order
from toolkit.design.remaining import Redrawn
from toolkit.design.strata import Strata
from toolkit.size import money, promise


def of_change(
    state: InForce, brief: Brief, change: Change, redrawn: Redrawn, ledger: Sequence[dict[str, Any]]
) -> tuple[Order, dict[str, Any]]:
    """The amended order, and what plan.json holds of it but for reason, role and seal.

    Parameters
    ----------
    state : InForce
    brief : Brief
        As it is sealed from now on.
    change : Change
    redrawn : Redrawn
    ledger : sequence of dict
        Every lost run that was dealt with, those of this amendment too.
    """
    phase, number, before = state.phase, state.number, state.plan
    table = redrawn.table
    given_up = {item["run_id"] for item in ledger}
    counting = state.counting(table[~table["run_id"].isin(given_up)])
    name = planning.designed(brief, phase).name + f"; amendment {number}"
    design = Design(brief, phase, name, strata.of_runs(brief, counting))
    drawn = str(before["drawn"])
    if redrawn.drawn_anew:
        drawn += f"; by amendment {number} drawn anew: {', '.join(redrawn.drawn_anew)}"
    order = orders.as_listed(design, table, seed=brief.seed, drawn=drawn)
    judged = _judged(state, brief, counting)
    plan = {
        "phase": phase,
        "design": name,
        "seed": brief.seed,
        "drawn": drawn,
        "earlier_seals": before["earlier_seals"],
        "sealed_after_records": before["sealed_after_records"],
        "brief": sealed_brief.covered(brief, phase),
        "strata": stamp.records(judged.table),
        "sizing": None if phase == "pilot" else _sized(state, brief, name, table, counting),
        "amendment": number,
        "replaces": before["seal"],
        "lost": list(ledger),
        "stayed": [run for run in table["run_id"] if run in state.standing.fixed],
        "added": list(change.added),
        "dropped": list(change.dropped),
        "redrawn": list(redrawn.drawn_anew),
        "moved": list(redrawn.moved),
        **plan_json.aliases_of(design, judged if phase == "extension" else None),
        **_beside(state, brief, counting),
    }
    return order, plan


def _beside(state: InForce, brief: Brief, counting: pd.DataFrame) -> dict[str, Any]:
    """What the plan.json of an extension holds besides."""
    if state.phase != "extension":
        return {}
    scatters, _ = sizing.known(Campaign(state.campaign.folder, brief), state.found, phase=state.phase)
    before = sizing.standing(brief, state.found.runs, but="extension")
    return further_plan.beside(brief, before, counting, scatters)


def _judged(state: InForce, brief: Brief, counting: pd.DataFrame) -> Strata:
    """The strata that the runs of a phase are judged in; those of an extension with the phases before it."""
    if state.phase != "extension":
        return strata.of_runs(brief, counting)
    before = sizing.standing(brief, state.found.runs, but="extension")
    return phases.strata_together(brief, pd.concat([before, counting], ignore_index=True))


def _sized(state: InForce, brief: Brief, name: str, table: pd.DataFrame, counting: pd.DataFrame) -> dict[str, Any]:
    """What the amended plan promises, as plan.json holds it of a plan that was not amended."""
    scatters, unknown = sizing.known(Campaign(state.campaign.folder, brief), state.found, phase=state.phase)
    if not scatters:
        told = "; ".join(str(problem) for problem in unknown.values())
        return {"scatter": [], "option": None, "sentence": f"Not sized: {told}"}
    price = money.of_design(Design(brief, state.phase, name, strata.of_runs(brief, table)))
    others = sizing.standing(brief, state.found.runs, but=state.phase)
    runs = pd.concat([others, state.as_run(counting)], ignore_index=True)
    claims = [claim for item in scatters for claim in promise.claims_of_runs(brief, runs, item)]
    option = {
        "name": name,
        "runs": len(counting),
        "builds": int(counting["build_id"].nunique()),
        "hours": price.hours,
        "cost": price.cost,
        "claims": [claim.to_dict() for claim in claims],
    }
    lines = [line for item in scatters for line in stamp.records(item.table)]
    return stamp.plain({"scatter": lines, "option": option, "sentence": f"Amended: {len(counting)} runs count."})
