"""Sealing a plan: the brief and the run list under one checksum, fixed before data arrive (rank 9).

The seal covers everything but the question, labels and costs. A pilot's seal leaves out what is only decided after
it: the size of the main phase, the comparisons and what would be worthwhile, and the scatter known so far.

Sealing is told to the log first (a row `sealing` with the checksum of the plan), then runs.csv and plan.json are
written, then the log is told that it is done (`sealed`). So a plan.json never lies there without its row, and a
command that was stopped on the way is told from files that were taken away: the first lacks `sealed`, and planning
again completes it. plan.json holds the chain of its `sealing` row, which fixes every row of the log before it.

An amendment (``campaign.amend``) seals another plan in the place of a sealed one, with rows `amending` and `amended`.
The plan that amendment n replaced is kept whole in amended-<n>/ beside it, and the new one names its seal.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.brief.model import Brief
from toolkit.campaign import log, plan_json, storage
from toolkit.campaign.sealed_brief import changes, covered, overlap
from toolkit.design.orders import PHASES, Order
from toolkit.design.strata import Strata
from toolkit.errors import CampaignError, IntegrityError, UseError, listing, nearest

SEALING, SEALED = "sealing", "sealed"


def require_phase(phase: str) -> None:
    """Nothing where a phase is one of pilot, main and extension.

    Raises
    ------
    UseError
        When there is no such phase.
    """
    if phase not in PHASES:
        near = nearest(phase, PHASES)
        raise UseError(f"phase '{phase}': there is no such phase; expected {listing(PHASES)}. {near}".rstrip())


def folder_of(campaign: Path, phase: str) -> Path:
    """The folder of a phase's plan: plan/0-pilot or plan/1-main.

    Raises
    ------
    UseError
        When there is no such phase.
    """
    require_phase(phase)
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


def amending(campaign: Path, phase: str) -> int:
    """The number of the amendment that a command was stopped in; 0 when there is none. Amending again completes it."""
    begun = 0
    for row in log.read(campaign):
        if row["phase"] == phase and row["kind"] in (log.AMENDING, log.AMENDED):
            begun = int(log.told(row)["amendment"]) if row["kind"] == log.AMENDING else 0
    return begun


def place(campaign: Path, phase: str) -> Path:
    """Where the sealed plan of a phase lies: its folder; the kept copy while an amendment is half-way."""
    target = folder_of(campaign, phase)
    number = amending(campaign, phase)
    if number:
        # The run list is replaced before plan.json: while that is the old one, the old run list is the kept one.
        copy = kept_in(campaign, phase, number)
        pair = [folder / "plan.json" for folder in (copy, target)]
        if all(path.exists() for path in pair) and pair[0].read_bytes() == pair[1].read_bytes():
            return copy
    return target


def kept_in(campaign: Path, phase: str, number: int) -> Path:
    """The folder of the plan that an amendment replaced: plan/1-main/amended-1."""
    return folder_of(campaign, phase) / f"amended-{number}"


def run_list(folder: Path) -> pd.DataFrame:
    """The run list that lies in the folder of a plan, text as it is written, planned_order and replicate as numbers."""
    table = pd.read_csv(folder / "runs.csv", dtype=str, keep_default_na=False)
    return table.astype({"planned_order": int, "replicate": int})


def write(
    campaign: Path,
    order: Order,
    *,
    sizing: Mapping[str, Any] | None,
    data_exist: bool,
    judged: Strata | None = None,
    beside: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Seal a plan in the campaign folder and log it; the caller holds the lock. Gives what plan.json holds.

    ``judged`` are the strata its runs are judged in, where these are not those of the design alone; ``beside`` is what
    plan.json holds of an extension besides.

    Raises
    ------
    CampaignError
        When the phase is sealed already with another plan.
    """
    brief, phase = order.design.brief, order.design.phase
    runs = plan_json.runs_csv(order.table)
    there = exists(campaign, phase)
    # Earlier phases may have been amended since: a plan that lies there goes on with the seals it was made under.
    earlier = kept(campaign, phase)["earlier_seals"] if there else _earlier(campaign, brief, phase)
    seal = plan_json.seal_of(covered(brief, phase), phase, runs, earlier)
    target = folder_of(campaign, phase)
    done = {
        "kind": SEALED,
        "phase": phase,
        "subject": seal,
        "what": f"{order.design.name}: {order.design.runs} runs",
    }
    if there:
        held = read(campaign, brief, phase)
        if held["seal"] != seal:
            raise CampaignError(
                f"{phase}: this phase is sealed already ({held['seal'][:12]}) and the plan asked for is "
                f"another one. A sealed plan is never overwritten. To change it: wearbook amend."
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
        "looks_before": sum(row["kind"] == log.LOOK for row in log.read(campaign)),
        "brief": covered(brief, phase),
        "runs_sha256": stamp.checksum(runs),
        "strata": stamp.records((judged or order.design.strata).table),
        "sizing": stamp.plain(dict(sizing)) if sizing else None,
        "versions": stamp.versions(),
        **plan_json.aliases_of(order.design, judged),
        **plan_json.order_set_of(order),
        **(beside or {}),
    }
    plan[plan_json.CHECKSUM] = plan_json.checksum(plan)
    plan[plan_json.ROW] = log.append(campaign, kind=SEALING, phase=phase, subject=seal, what=plan_json.intent(plan))
    storage.write_text(target / "runs.csv", runs)
    storage.write_text(target / "plan.json", plan_json.text(plan))
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
    changed = changed_since(campaign, brief, phase, plan)
    if changed:
        where = folder_of(campaign, phase).relative_to(campaign)
        raise CampaignError(
            f"campaign.toml changed since the {phase} phase was sealed ({plan['seal'][:12]}): {', '.join(changed)}. "
            f"Put the sealed values back (they stand in {where}/plan.json), or take the change up with a reason: "
            f"`wearbook amend --phase {phase} --reason ... --role ...`."
        )
    return plan


def changed_since(campaign: Path, brief: Brief, phase: str, plan: Mapping[str, Any]) -> list[str]:
    """The keys at which today's brief is not the sealed one, but for those that an amendment of another phase took up.

    What was amended for the main phase holds from then on, and the pilot before it was run as it was sealed. An
    amendment of the pilot takes up for others only what the brief says of the pilot itself.
    """
    changed = changes(plan["brief"], covered(brief, phase))
    for other in PHASES if changed else ():
        if other != phase and (folder_of(campaign, other) / "plan.json").exists():
            plans = versions(campaign, other)
            open_still = changes(plans[-1]["brief"], covered(brief, other))
            later = PHASES.index(other) > PHASES.index(phase)
            taken_up = [
                key
                for held in plans
                for key in held.get("changed", ())
                if later or key == other or key.startswith(f"{other}.")
            ]
            changed = [
                key
                for key in changed
                if any(overlap(key, item) for item in open_still) or not any(overlap(key, item) for item in taken_up)
            ]
    return changed


def versions(campaign: Path, phase: str) -> tuple[dict[str, Any], ...]:
    """Every plan that a phase was sealed with, the one in force last, each checked as by ``kept``.

    Raises
    ------
    CampaignError
        When the phase is not sealed.
    IntegrityError
        When one of them is gone or is not what it was.
    """
    made = [kept(campaign, phase)]
    for number in range(made[0].get("amendment", 0), 0, -1):
        before = _checked(campaign, phase, kept_in(campaign, phase, number))
        if before["seal"] != made[0]["replaces"] or before.get("amendment", 0) != number - 1:
            where = kept_in(campaign, phase, number).relative_to(campaign)
            raise IntegrityError(
                f"{where}: is not the plan that amendment {number} replaced ({str(made[0]['replaces'])[:12]}). Restore "
                f"it from your backup."
            )
        made.insert(0, before)
    return tuple(made)


def kept(campaign: Path, phase: str) -> dict[str, Any]:
    """A sealed plan, checked against its own bytes and the log, whatever the brief says now.

    Raises
    ------
    CampaignError
        When the phase is not sealed.
    IntegrityError
        When the sealed files are not what they were.
    """
    target = place(campaign, phase)
    if not (target / "plan.json").exists():
        raise CampaignError(f"{phase}: there is no sealed plan yet. Run `wearbook plan` first.")
    plan = _checked(campaign, phase, target)
    done = [row for row in log.read(campaign) if row["phase"] == phase and row["kind"] in (SEALED, log.AMENDED)]
    # Every plan that an amendment replaced lies there whole, and could be put back in the place of a later one.
    if done and done[-1]["subject"] != plan["seal"] and not amending(campaign, phase):
        raise IntegrityError(
            f"{target.relative_to(campaign)}/plan.json: is the plan with the seal {plan['seal'][:12]}, and the log "
            f"says that the one with the seal {done[-1]['subject'][:12]} is in force. Restore it and runs.csv from "
            f"your backup."
        )
    return plan


def _checked(campaign: Path, phase: str, target: Path) -> dict[str, Any]:
    """What plan.json holds in a folder, checked against its run list, itself and the log."""
    plan = sound(campaign, phase, target)
    where, seal, row = target.relative_to(campaign), plan["seal"], plan[plan_json.ROW]
    kind = log.AMENDING if plan.get("amendment") else SEALING
    told = [item for item in _logged(log.read(campaign), kind, phase) if item["subject"] == seal]
    if not told:
        raise IntegrityError(
            f"{log.NAME}: the line that records the seal {seal[:12]} of the {phase} phase is gone. "
            f"Restore the log from your backup."
        )
    if not any(item["chain"] == row and item["what"] == plan_json.intent(plan) for item in told):
        raise IntegrityError(
            f"{log.NAME} and {where}/plan.json do not fit each other: the log up to the seal {seal[:12]} of the "
            f"{phase} phase is not the one that the plan was sealed with, or the plan is another one. Restore both "
            f"from your backup."
        )
    return plan


def sound(campaign: Path, phase: str, target: Path) -> dict[str, Any]:
    """What plan.json holds in a folder, checked against its run list and itself; the log is not looked at.

    Raises
    ------
    IntegrityError
        When one of them is gone or is not what it was.
    """
    where = target.relative_to(campaign)
    try:
        # Bytes, since reading as text takes other line ends for our own.
        text = (target / "plan.json").read_bytes().decode("utf-8")
        plan = json.loads(text)
        runs = (target / "runs.csv").read_bytes().decode("utf-8")
        amended = plan_json.amendment_of(plan)
        whole = plan_json.seal_of(plan["brief"], plan["phase"], runs, plan["earlier_seals"], amended)
        sound = (
            plan["phase"] == phase
            and whole == plan["seal"]
            and plan["runs_sha256"] == stamp.checksum(runs)
            and plan[plan_json.CHECKSUM] == plan_json.checksum(plan)
            and text == plan_json.text(plan)
        )
        seal, _ = plan["seal"], plan[plan_json.ROW]
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
    return plan


def _earlier(campaign: Path, brief: Brief, phase: str) -> dict[str, str]:
    """The seals of earlier phases."""
    return {
        name: read(campaign, brief, name)["seal"] for name in PHASES[: PHASES.index(phase)] if exists(campaign, name)
    }


def _logged(rows: Sequence[Mapping[str, str]], kind: str, phase: str) -> list[Mapping[str, str]]:
    """The rows of a kind and a phase."""
    return [row for row in rows if row["kind"] == kind and row["phase"] == phase]


def _log_done(campaign: Path, row: Mapping[str, str], *, data_exist: bool) -> None:
    """Tell the log that the plan lies there."""
    late = ", sealed after records of this phase existed" if data_exist else ""
    log.append(campaign, **{**row, "what": row["what"] + late})
