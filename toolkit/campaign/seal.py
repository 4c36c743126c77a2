"""Sealing a plan: the brief and the run list under one checksum, fixed before data arrive (rank 9).

The seal covers everything but the question, labels and costs. A pilot's seal leaves out what is only decided after
it: the size of the main phase, the comparisons and what would be worthwhile, and the scatter known so far.

Sealing is told to the log first (a row `sealing` with the checksum of the plan), then runs.csv and plan.json are
written, then the log is told that it is done (`sealed`). So a plan.json never lies there without its row, and a
command that was stopped on the way is told from files that were taken away: the first lacks `sealed`, and planning
again completes it. plan.json holds the chain of its `sealing` row, which fixes every row of the log before it.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from toolkit import stamp
from toolkit.brief import reading
from toolkit.brief.model import Brief
from toolkit.campaign import log, storage
from toolkit.design.orders import PHASES, Order
from toolkit.errors import CampaignError, IntegrityError

SEALING, SEALED = "sealing", "sealed"
# Keys of plan.json that its checksum cannot cover: itself, and the row of the log that holds it.
_CHECKSUM, _ROW = "plan_sha256", "log_row"
_OPEN_IN_PILOT = ("plan", "scatter", "comparison", "families")


def folder_of(campaign: Path, phase: str) -> Path:
    """The folder of a phase's plan: plan/0-pilot or plan/1-main."""
    return Path(campaign) / "plan" / f"{PHASES.index(phase)}-{phase}"


def exists(campaign: Path, phase: str) -> bool:
    """True when the phase has a plan on disk.

    Raises
    ------
    IntegrityError
        When the log says that the phase was sealed and its plan is gone.
    """
    if (folder_of(campaign, phase) / "plan.json").exists():
        return True
    if _logged(log.read(campaign), SEALED, phase):
        raise IntegrityError(
            f"plan of the {phase} phase: the log says it was sealed, but its files are gone. "
            f"Restore them from your backup."
        )
    return False


def stopped(campaign: Path, phase: str) -> bool:
    """True when a command was stopped while it sealed the phase; planning again completes it."""
    rows = log.read(campaign)
    return bool(_logged(rows, SEALING, phase)) and not _logged(rows, SEALED, phase)


def covered(brief: Brief, phase: str) -> dict[str, Any]:
    """What of the brief the seal of a phase covers, as a plain dictionary."""
    whole = json.loads(stamp.canonical(reading.canonical(brief)))
    whole.pop("cost", None)
    # The headings of a laboratory are known only when its file comes.
    whole.pop("received", None)
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
        name: read(campaign, brief, name)["seal"] for name in PHASES[: PHASES.index(phase)] if exists(campaign, name)
    }
    seal = seal_of(brief, phase, runs, earlier)
    target = folder_of(campaign, phase)
    done = {
        "kind": SEALED,
        "phase": phase,
        "subject": seal,
        "what": f"{order.design.name}: {order.design.runs} runs",
    }
    if exists(campaign, phase):
        held = read(campaign, brief, phase)
        if held["seal"] != seal:
            raise CampaignError(
                f"{phase}: this phase is sealed already ({held['seal'][:12]}) and the plan asked for is "
                f"another one. A sealed plan is never overwritten."
            )
        if stopped(campaign, phase):
            _log_done(campaign, done, data_exist=held["sealed_after_records"])
        return held
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
    plan[_CHECKSUM] = _checksum(plan)
    plan[_ROW] = log.append(campaign, kind=SEALING, phase=phase, subject=seal, what=_intent(plan))
    storage.write_text(target / "runs.csv", runs)
    storage.write_text(target / "plan.json", _text(plan))
    _log_done(campaign, done, data_exist=data_exist)
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
    plan = kept(campaign, phase)
    changed = changes(plan["brief"], covered(brief, phase))
    if changed:
        where = folder_of(campaign, phase).relative_to(campaign)
        raise CampaignError(
            f"campaign.toml changed since the {phase} phase was sealed ({plan['seal'][:12]}): {', '.join(changed)}. "
            f"Put the "
            f"sealed values back (they stand in {where}/plan.json), or start a new campaign "
            f"folder; changing a sealed plan with a recorded reason (amend) is not covered yet."
        )
    return plan


def kept(campaign: Path, phase: str) -> dict[str, Any]:
    """A sealed plan, checked against its own bytes and the log, whatever the brief says now.

    Raises
    ------
    CampaignError
        When the phase is not sealed.
    IntegrityError
        When the sealed files are not what they were.
    """
    target = folder_of(campaign, phase)
    if not (target / "plan.json").exists():
        raise CampaignError(f"{phase}: there is no sealed plan yet. Run `wearbook plan` first.")
    where = target.relative_to(campaign)
    try:
        # Bytes, since reading as text takes other line ends for our own.
        text = (target / "plan.json").read_bytes().decode("utf-8")
        plan = json.loads(text)
        runs = (target / "runs.csv").read_bytes().decode("utf-8")
        whole = stamp.checksum(
            {"brief": plan["brief"], "phase": plan["phase"], "runs": runs, "earlier": plan["earlier_seals"]}
        )
        sound = (
            plan["phase"] == phase
            and whole == plan["seal"]
            and plan["runs_sha256"] == stamp.checksum(runs)
            and plan[_CHECKSUM] == _checksum(plan)
            and text == _text(plan)
        )
        seal, row = plan["seal"], plan[_ROW]
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as problem:
        raise IntegrityError(
            f"{where}: the sealed plan cannot be read: plan.json or runs.csv was damaged or taken away ({problem}). "
            f"Restore both from your backup."
        ) from problem
    if not sound:
        raise IntegrityError(
            f"{where}: plan.json or runs.csv was changed after sealing (seal "
            f"{str(seal)[:12]}). Restore both from your backup."
        )
    told = [item for item in _logged(log.read(campaign), SEALING, phase) if item["subject"] == seal]
    if not told:
        raise IntegrityError(
            f"{log.NAME}: the line that records the seal {seal[:12]} of the {phase} phase is gone. "
            f"Restore the log from your backup."
        )
    if not any(item["chain"] == row and item["what"] == _intent(plan) for item in told):
        raise IntegrityError(
            f"{log.NAME} and {where}/plan.json do not fit each other: the log up to the seal {seal[:12]} of the "
            f"{phase} phase is not the one that the plan was sealed with, or the plan is another one. Restore both "
            f"from your backup."
        )
    return plan


def _checksum(plan: Mapping[str, Any]) -> str:
    """The checksum of a whole plan.json but for the two keys that cannot be in it."""
    return stamp.checksum({key: value for key, value in plan.items() if key not in (_CHECKSUM, _ROW)})


def _text(plan: Mapping[str, Any]) -> str:
    """plan.json as it is written."""
    return json.dumps(plan, indent=1, ensure_ascii=False, sort_keys=True, allow_nan=False) + "\n"


def _intent(plan: Mapping[str, Any]) -> str:
    """What the log is told before the plan is written."""
    return f"plan.json {plan[_CHECKSUM]}"


def _logged(rows: Sequence[Mapping[str, str]], kind: str, phase: str) -> list[Mapping[str, str]]:
    """The rows of a kind and a phase."""
    return [row for row in rows if row["kind"] == kind and row["phase"] == phase]


def _log_done(campaign: Path, row: Mapping[str, str], *, data_exist: bool) -> None:
    """Tell the log that the plan lies there."""
    late = ", sealed after records of this phase existed" if data_exist else ""
    log.append(campaign, **{**row, "what": row["what"] + late})


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
