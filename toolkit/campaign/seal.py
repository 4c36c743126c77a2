"""Sealing a plan: the brief and the run list under one checksum, fixed before data arrive (rank 9).

The seal covers everything but the question, labels and costs. A pilot's seal leaves out what is only decided after
it: the size of the main phase, the comparisons and what would be worthwhile, and the scatter known so far.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from toolkit import stamp
from toolkit.brief import reading
from toolkit.brief.model import Brief
from toolkit.campaign import log, storage
from toolkit.design.orders import PHASES, Order
from toolkit.errors import CampaignError, IntegrityError

_OPEN_IN_PILOT = ("plan", "scatter", "comparison", "families")


def folder_of(campaign: Path, phase: str) -> Path:
    """The folder of a phase's plan: plan/0-pilot or plan/1-main."""
    return Path(campaign) / "plan" / f"{PHASES.index(phase)}-{phase}"


def covered(brief: Brief, phase: str) -> dict[str, Any]:
    """What of the brief the seal of a phase covers, as a plain dictionary."""
    whole = json.loads(stamp.canonical(reading.canonical(brief)))
    whole.pop("cost", None)
    whole["campaign"].pop("question", None)
    for factor in whole["factor"]:
        factor["levels"] = [{"name": level["name"], "value": level["value"]} for level in factor["levels"]]
    if phase == "pilot":
        for key in _OPEN_IN_PILOT:
            whole.pop(key, None)
        for key in ("alpha", "power"):
            whole["campaign"].pop(key, None)
        for response in whole["response"]:
            for key in ("worthwhile_change_pct", "worthwhile_change"):
                response.pop(key, None)
    return whole


def runs_csv(order: Order) -> str:
    """The run list as CSV."""
    out = io.StringIO(newline="")
    table = order.table
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(table.columns)
    writer.writerows(table.astype(str).to_numpy().tolist())
    return out.getvalue()


def seal_of(brief: Brief, phase: str, runs: str, earlier: Mapping[str, str]) -> str:
    """The seal: sha256 over what it covers, the run list, and the seals of earlier phases."""
    return stamp.checksum({"brief": covered(brief, phase), "phase": phase, "runs": runs, "earlier": dict(earlier)})


def write(campaign: Path, order: Order, *, sizing: Mapping[str, Any] | None, data_exist: bool) -> dict[str, Any]:
    """Seal a plan in the campaign folder and log it; the caller holds the lock. Gives what plan.json holds.

    Raises
    ------
    CampaignError
        When the phase is sealed already with another plan.
    """
    brief, phase = order.design.brief, order.design.phase
    runs = runs_csv(order)
    earlier = {
        name: read(campaign, brief, name)["seal"]
        for name in PHASES[: PHASES.index(phase)]
        if (folder_of(campaign, name) / "plan.json").exists()
    }
    seal = seal_of(brief, phase, runs, earlier)
    target = folder_of(campaign, phase)
    if (target / "plan.json").exists():
        held = read(campaign, brief, phase)
        if held["seal"] == seal:
            return held
        raise CampaignError(
            f"{phase}: this phase is sealed already ({held['seal'][:12]}) and the plan asked for is "
            f"another one. A sealed plan is never overwritten."
        )
    plan = {
        "phase": phase,
        "design": order.design.name,
        "seed": order.seed,
        "drawn": order.drawn,
        "seal": seal,
        "earlier_seals": earlier,
        "records_head_before": log.records_head(log.read(campaign))["chain"],
        "sealed_after_records": data_exist,
        "brief": covered(brief, phase),
        "runs_sha256": stamp.checksum(runs),
        "strata": stamp.records(order.design.strata.table),
        "sizing": stamp.plain(dict(sizing)) if sizing else None,
        "versions": stamp.versions(),
    }
    storage.write_text(target / "runs.csv", runs)
    storage.write_text(target / "plan.json", json.dumps(plan, indent=1, ensure_ascii=False, sort_keys=True) + "\n")
    log.append(
        campaign,
        kind="sealed",
        phase=phase,
        subject=seal,
        what=f"{order.design.name}: {order.design.runs} runs"
        + (", sealed after records of this phase existed" if data_exist else ""),
    )
    return plan


def read(campaign: Path, brief: Brief, phase: str) -> dict[str, Any]:
    """A sealed plan, checked against its own bytes and against the brief as it is now.

    Raises
    ------
    CampaignError
        When the phase is not sealed, or the brief changed since (the keys are named).
    IntegrityError
        When the sealed files are not what they were.
    """
    target = folder_of(campaign, phase)
    if not (target / "plan.json").exists():
        raise CampaignError(f"{phase}: there is no sealed plan yet. Run `wearbook plan` first.")
    try:
        plan = json.loads((target / "plan.json").read_text(encoding="utf-8"))
        runs = (target / "runs.csv").read_text(encoding="utf-8")
        whole = stamp.checksum(
            {"brief": plan["brief"], "phase": plan["phase"], "runs": runs, "earlier": plan["earlier_seals"]}
        )
        seal = plan["seal"]
    except (OSError, ValueError, KeyError, TypeError) as problem:
        raise IntegrityError(
            f"{target.relative_to(campaign)}: the sealed plan cannot be read ({problem}). Restore it from your backup."
        ) from problem
    if whole != seal or plan["runs_sha256"] != stamp.checksum(runs):
        raise IntegrityError(
            f"{target.relative_to(campaign)}: plan.json or runs.csv was changed after sealing (seal "
            f"{seal[:12]}). Restore both from your backup."
        )
    if not any(row["kind"] == "sealed" and row["subject"] == seal for row in log.read(campaign)):
        raise IntegrityError(
            f"{log.NAME}: the line that records the seal {seal[:12]} of the {phase} phase is gone. "
            f"Restore the log from your backup."
        )
    changed = changes(plan["brief"], covered(brief, phase))
    if changed:
        raise CampaignError(
            f"campaign.toml changed since the {phase} phase was sealed ({seal[:12]}): {', '.join(changed)}. Put the "
            f"sealed values back (they stand in {target.relative_to(campaign)}/plan.json), or start a new campaign "
            f"folder; changing a sealed plan with a recorded reason (amend) is not covered yet."
        )
    return plan


def changes(before: Any, after: Any, at: str = "") -> list[str]:
    """The keys at which two plain values differ, as dotted paths."""
    if isinstance(before, Mapping) and isinstance(after, Mapping):
        found: list[str] = []
        for key in sorted({*before, *after}):
            if key not in before or key not in after:
                found.append(f"{at}{key}")
            else:
                found += changes(before[key], after[key], f"{at}{key}.")
        return found
    if isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        return [
            item
            for place, (old, new) in enumerate(zip(before, after, strict=True), start=1)
            for item in changes(old, new, f"{at.rstrip('.')}[{place}].")
        ]
    return [] if before == after else [at.rstrip(".")]
