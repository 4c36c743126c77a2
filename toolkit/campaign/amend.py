"""Changing a sealed plan with a reason and a role: lost runs, another size, other keys of campaign.toml (rank 9).

What was made, or is set up, keeps its row. The old plan is kept whole, and what is drawn anew is told in the log.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.brief.model import Brief
from toolkit.campaign import (
    amendable,
    amended_plan,
    in_force,
    log,
    planning,
    redrawing,
    reseal,
    seal,
    sealed_brief,
    sheets,
    storage,
)
from toolkit.campaign.folder import Campaign
from toolkit.campaign.in_force import HEADLINE, InForce
from toolkit.design import changed, resized
from toolkit.design.changed import CHOICES, Change
from toolkit.design.orders import PHASES, Order
from toolkit.design.remaining import Redrawn
from toolkit.errors import CampaignError, DesignError, Fault, listing, nearest, raise_all

# A stream of random numbers of its own, beside those of orders and of codes.
_STREAM = 1


@dataclass(frozen=True, eq=False)
class Amended:
    """An amended plan: its order, what plan.json holds, what changed in the run list, and what must be known of it."""

    order: Order
    plan: dict[str, Any]
    notes: tuple[str, ...]
    written: tuple[Path, ...]

    @property
    def table(self) -> pd.DataFrame:
        """One row a run in planned order."""
        return self.order.table

    def to_json(self) -> dict[str, Any]:
        """amendment, seals, reason, role; what was changed, added, dropped, drawn anew, moved; order[], notes[]."""
        own = ("amendment", "seal", "replaces", "reason", "role", "changed", "lost", "stayed")
        return stamp.plain(
            {
                "phase": self.order.design.phase,
                "design": self.plan["design"],
                **{key: self.plan[key] for key in own},
                "added": list(self.plan["added"]),
                "dropped": list(self.plan["dropped"]),
                "drawn_anew": list(self.plan["redrawn"]),
                "moved": list(self.plan["moved"]),
                "amendment_seed": list(self.plan["amendment_seed"]),
                "runs": len(self.order.table),
                "order": stamp.records(self.order.table),
                "strata": self.plan["strata"],
                "notes": list(self.notes),
            }
        )

    def __repr__(self) -> str:
        """The run list as text."""
        told = f"{self.plan['design']}; seal {self.plan['seal'][:12]} in the place of {self.plan['replaces'][:12]}"
        return f"{told}\n{self.table.to_string(index=False)}"


def amend(
    campaign: Campaign,
    *,
    reason: str,
    role: str,
    phase: str | None = None,
    lost: str | None = None,
    runs: Sequence[str] = (),
    keep: Sequence[str] = (),
) -> Amended:
    """Seal another plan in the place of a sealed one.

    Parameters
    ----------
    campaign : Campaign
    reason, role : str
        Why, and the role (no name) of who says so.
    phase : str, optional
        Left out: the last phase that is sealed.
    lost : str, optional
        repeat, replace or without: what is done for lost runs. Left out: the keys of campaign.toml that changed since
        the seal are taken up.
    runs : sequence of str
        The lost runs; left out, every one that is void and was not dealt with. Runs that are not made and will not be
        where they stand can be named for repeat and without.
    keep : sequence of str
        Runs that are set up already: their rows stay though nothing is on record of them.

    Returns
    -------
    Amended

    Raises
    ------
    CampaignError
        When the phase is not sealed, there is nothing to amend, or with all that cannot be amended so.
    DesignError
        When the plan asked for cannot be laid out.
    """
    faults = log.unsaid(reason, role)
    if lost is not None and lost not in CHOICES:
        faults.append(Fault("--lost", f"'{lost}'", listing(CHOICES), nearest(lost, CHOICES)))
    if runs and lost is None:
        faults.append(Fault("--run", "without --lost", f"--lost with {listing(CHOICES)}"))
    raise_all(CampaignError, HEADLINE, faults)
    asked = {"lost": lost or "", "runs": list(runs), "keep": list(keep)}
    with storage.locked(campaign.folder):
        phase = in_force.phase_of(campaign, phase)
        done = _completed(campaign, phase, {"reason": reason.strip(), "role": role.strip(), "asked": asked})
        if done is not None:
            return done
        state = in_force.read(campaign, phase, keep)
        if lost is None:
            brief, change, labels, ledger, keys = _taken_up(state)
        else:
            names = in_force.named_lost(state, lost, runs, keep)
            brief, labels, keys = state.sealed, state.plan.get("builds_of_design", {}), []
            change = _lost(state, lost, names)
            ledger = [
                *state.ledger,
                *(
                    {"run_id": name, "choice": lost, "instead": change.instead.get(name, ""), "amendment": state.number}
                    for name in names
                ),
            ]
        seed = [brief.seed, PHASES.index(phase), state.number, _STREAM]
        given_up = {item["run_id"] for item in ledger}
        redrawn, seed, heed = redrawing.redrawn(state, brief, change, given_up, seed)
        _refuse_filled_in(state, change, redrawn)
        order, plan = amended_plan.of_change(state, brief, change, redrawn, ledger)
        plan |= {
            "reason": reason.strip(),
            "role": role.strip(),
            "asked": asked,
            "changed": keys,
            "builds_of_design": labels,
            "amendment_seed": seed,
        }
        held = reseal.write(campaign.folder, order, plan)
    return Amended(order, held, (*_notes(change), *heed), _written(campaign, phase, held))


def _completed(campaign: Campaign, phase: str, asked: dict[str, Any]) -> Amended | None:
    """Complete an amendment whose plan lies there already; given back when it is the one that is asked for."""
    number = seal.amending(campaign.folder, phase)
    held = seal.kept(campaign.folder, phase) if number else {}
    if not number or held.get("amendment") != number:
        return None
    as_sealed = Campaign(campaign.folder, sealed_brief.brief_of(held["brief"], campaign.brief))
    order = planning.sealed_order(as_sealed, phase, held)
    reseal.finish(campaign.folder, order, held)
    if all(held[key] == value for key, value in asked.items()):
        return Amended(order, held, (), _written(campaign, phase, held))
    return None


def _taken_up(state: InForce) -> tuple[Brief, Change, dict[str, str], list[dict[str, Any]], list[str]]:
    """The change that the changed keys of campaign.toml lead to."""
    keys = state.changed()
    now, phase = state.campaign.brief, state.phase
    if not keys:
        raise CampaignError(
            f"{HEADLINE}\n  nothing in campaign.toml changed that the seal of the {phase} phase covers. Change it "
            f"first, or say what is to be done for lost runs with --lost."
        )
    made = amendable.made_with(state.standing.runs, state.standing.fixed, state.found.runs, state.sealed)
    told = amendable.faults(keys, state.sealed, now, phase=phase, looked=state.looked, run=made)
    raise_all(CampaignError, HEADLINE, told)
    before, asked = planning.designed(state.sealed, phase), planning.designed(now, phase)
    labels = state.plan.get("builds_of_design") or {}
    if resized.same_runs(before, asked):
        return now, Change(state.standing.runs), dict(labels), list(state.ledger), keys
    try:
        change, there = resized.resized(state.standing, before, asked, labels)
    except DesignError as problem:
        raise CampaignError(f"{HEADLINE}\n  {problem}.") from problem
    return now, change, there, list(state.ledger), keys


def _lost(state: InForce, choice: str, names: Sequence[str]) -> Change:
    """The change for lost runs."""
    keys = state.changed()
    if keys:
        raise CampaignError(
            f"{HEADLINE}\n  campaign.toml changed since the seal: {', '.join(keys)}. Take that up by an amendment of "
            f"its own first, without --lost, or put the sealed values back."
        )
    try:
        change = changed.lost(state.standing, choice, names)
    except DesignError as problem:
        raise CampaignError(f"{HEADLINE}\n  {problem}. `wearbook amend --options` shows the ways on.") from problem
    return change


def _refuse_filled_in(state: InForce, change: Change, redrawn: Redrawn) -> None:
    """Refuse to move runs whose sheet was filled in: they are being set up."""
    folder = state.campaign.folder
    issued: dict[str, str] = {}
    for row in log.read(folder):
        if row["kind"] == sheets.ISSUED and row["phase"] == state.phase:
            issued = log.told(row).get("files", {})
    target = f"{sheets.FOLDER}/{seal.folder_of(folder, state.phase).name}"
    faults = []
    for run in (*redrawn.drawn_anew, *redrawn.moved, *change.dropped):
        name = f"{target}/{run}.xlsx"
        path = folder / name
        if name in issued and path.is_file() and stamp.checksum_bytes(path.read_bytes()) != issued[name]:
            told = f"Name the run with --keep {run}, take its sheet in first, or move a copy to another folder."
            faults.append(Fault(name, "was filled in or edited since it was issued", "sheets of runs not set up", told))
    raise_all(CampaignError, HEADLINE, faults)


def _notes(change: Change) -> tuple[str, ...]:
    """What must be known of a change: its own notes, and lines in raw/ of runs that are no longer planned."""
    if not change.dropped:
        return change.notes
    return (
        *change.notes,
        f"{', '.join(change.dropped)}: no longer planned; lines of them in tables in raw/ would stand there as runs "
        f"that wait for a verdict: take them out",
    )


def _written(campaign: Campaign, phase: str, held: dict[str, Any]) -> tuple[Path, ...]:
    """The files of an amended plan, and the folder of the one that it replaced."""
    target = seal.folder_of(campaign.folder, phase)
    names = ("runs.csv", "plan.json", "plan.html")
    blanks = sorted(target.glob(f"blank/*-amended-{held['amendment']}.csv"))
    return (*(target / name for name in names), *blanks, seal.kept_in(campaign.folder, phase, held["amendment"]))
