"""The plan of a phase that is in force and how far it has come: what an amendment starts from (rank 9)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from toolkit.brief.model import Brief
from toolkit.campaign import log, seal, sealed_brief, stages
from toolkit.campaign.folder import Campaign
from toolkit.design import units
from toolkit.design.changed import REPEAT, WITHOUT, Standing
from toolkit.design.orders import PHASES
from toolkit.errors import CampaignError, Fault, listing, nearest, raise_all
from toolkit.intake import columns
from toolkit.intake.records import Records

HEADLINE = "The plan cannot be amended so; nothing was written."


@dataclass(frozen=True, eq=False)
class InForce:
    """The plan of a phase that is in force, with its records.

    Attributes
    ----------
    campaign : Campaign
        With the brief as campaign.toml has it now.
    phase : str
    plans : tuple of dict
        What every plan.json of the phase holds, the one in force last.
    sealed : Brief
        The brief as it is sealed.
    found : Records
        Read under the sealed brief.
    standing : Standing
    looked : str
        When results were first looked at; empty while they were not.
    """

    campaign: Campaign
    phase: str
    plans: tuple[dict[str, Any], ...]
    sealed: Brief
    found: Records
    standing: Standing
    looked: str

    @property
    def plan(self) -> dict[str, Any]:
        """What plan.json holds."""
        return self.plans[-1]

    @property
    def ledger(self) -> tuple[dict[str, Any], ...]:
        """Every lost run that was dealt with: run_id, choice, instead (the run made for it, or ''), amendment."""
        return tuple(self.plan.get("lost", ()))

    @property
    def number(self) -> int:
        """The number of the next amendment."""
        return int(self.plan.get("amendment", 0)) + 1

    def changed(self) -> list[str]:
        """The keys of campaign.toml that changed since the seal."""
        return seal.changed_since(self.campaign.folder, self.campaign.brief, self.phase, self.plan)

    def verdict(self, run_id: str) -> str:
        """The verdict of a run as it counts now."""
        runs = self.found.runs
        return str(runs.loc[runs["run_id"] == run_id, "verdict"].iloc[0])

    def counting(self, runs: pd.DataFrame) -> pd.DataFrame:
        """The rows of a run list of this phase whose runs are valid or still may be."""
        given_up = {item["run_id"] for item in self.ledger}
        void = set(self.found.runs.loc[self.found.runs["verdict"].isin(columns.VOID), "run_id"])
        return runs[~runs["run_id"].isin(given_up | void)].reset_index(drop=True)

    def as_run(self, runs: pd.DataFrame) -> pd.DataFrame:
        """Rows of a run list with build and levels as run where the run is judged valid, as planned elsewhere."""
        names = ["run_id", "phase", *units.id_columns(self.sealed), *self.sealed.factor_names]
        valid = self.found.runs[self.found.runs["verdict"] == "valid"].set_index("run_id")
        planned = runs.set_index("run_id")
        rows = [(valid if run in valid.index else planned).loc[run] for run in planned.index]
        return pd.DataFrame([dict(row, run_id=run) for run, row in zip(planned.index, rows, strict=True)])[names]


def phase_of(campaign: Campaign, phase: str | None) -> str:
    """The phase that is meant: the one named, else the last one that is sealed.

    Raises
    ------
    CampaignError
        When there is no sealed plan.
    """
    sealed = [name for name in PHASES if campaign.sealed(name)]
    if phase is not None and phase not in sealed or not sealed:
        raise CampaignError(f"{phase or 'amend'}: there is no sealed plan yet. Run `wearbook plan` first.")
    return phase or sealed[-1]


def with_lost(campaign: Campaign) -> str | None:
    """The last sealed phase with a void run that no amendment dealt with; None where there is none."""
    runs = campaign.records().runs
    void = runs[runs["verdict"].isin(columns.VOID)]
    found = None
    for phase in (name for name in PHASES if campaign.sealed(name)):
        done = {str(item["run_id"]) for item in campaign.plan(phase).get("lost", ())}
        mine = set(void.loc[void["phase"] == phase, "run_id"].astype(str))
        found = phase if mine - done else found
    return found


def read(campaign: Campaign, phase: str, keep: Sequence[str] = ()) -> InForce:
    """The plan in force with its records.

    Parameters
    ----------
    campaign : Campaign
    phase : str
    keep : sequence of str
        Runs that are set up already: their rows stay though nothing is on record of them.

    Raises
    ------
    CampaignError
        When a run to keep is not one of the plan.
    """
    plans = seal.versions(campaign.folder, phase)
    sealed = sealed_brief.brief_of(plans[-1]["brief"], campaign.brief)
    as_sealed = Campaign(campaign.folder, sealed)
    # Other phases may have been amended since, and go by their own seals.
    found = as_sealed.records(as_sealed=True)
    runs = seal.run_list(seal.place(campaign.folder, phase))
    known = list(runs["run_id"])
    raise_all(
        CampaignError,
        HEADLINE,
        [
            Fault(f"--keep {name}", "no such run", f"a run of the plan of the {phase} phase", nearest(name, known))
            for name in keep
            if name not in known
        ],
    )
    ledger = plans[-1].get("lost", ())
    rows = log.read(campaign.folder)
    looks = [row["at"] for row in rows if row["kind"] == log.LOOK]
    standing = Standing(
        sealed,
        runs,
        frozenset(set(known) & (stages.begun(sealed, found) | set(keep))),
        frozenset(_ever(campaign, phase, plans)),
        frozenset(item["instead"] for item in ledger if item["choice"] == REPEAT and item["instead"]),
        frozenset(item["run_id"] for item in ledger),
    )
    return InForce(campaign, phase, plans, sealed, found, standing, looks[0] if looks else "")


def named_lost(state: InForce, choice: str, names: Sequence[str], keep: Sequence[str]) -> tuple[str, ...]:
    """The lost runs that are meant: those named, else every one that is void and was not dealt with.

    Raises
    ------
    CampaignError
        With all that is wrong with them.
    """
    known = list(state.standing.runs["run_id"])
    done = {item["run_id"]: item for item in state.ledger}
    if not names:
        names = [run for run in known if run not in done and state.verdict(run) in columns.VOID]
        if not names:
            raise CampaignError(
                f"{HEADLINE}\n  no run of the {state.phase} phase is judged {listing(columns.VOID)} that was not dealt "
                f"with already. Judge it first (`wearbook note`), or name runs that will not be made with --run."
            )
    faults = []
    for name in names:
        where = f"--run {name}"
        if name not in known:
            told = nearest(name, known) or "`wearbook status` lists them."
            faults.append(Fault(where, "no such run", f"a run of the plan of the {state.phase} phase", told))
        elif name in done:
            item = done[name]
            by = item["choice"] + (f", as {item['instead']}" if item["instead"] else "")
            faults.append(Fault(where, f"dealt with by amendment {item['amendment']} ({by})", "another lost run"))
        else:
            faults += _not_lost(state, name, choice, where, keep)
    raise_all(CampaignError, HEADLINE, faults)
    return tuple(dict.fromkeys(names))


def _not_lost(state: InForce, name: str, choice: str, where: str, keep: Sequence[str]) -> list[Fault]:
    """Why a run of the plan is not a lost one."""
    verdict = state.verdict(name)
    if verdict in columns.VOID:
        return []
    if verdict == "valid":
        told = f"Judge it first: wearbook note CAMPAIGN {name} --verdict invalid --reason TEXT --role ROLE."
        return [Fault(where, "judged valid", "a lost run", told)]
    if name in keep:
        return [Fault(where, "named by --keep too", "a run that is lost, or one that is set up")]
    if name in state.standing.fixed:
        told = f"Judge it first: wearbook note CAMPAIGN {name} --verdict invalid --reason TEXT --role ROLE."
        return [Fault(where, "it has records and is not judged", "a lost run", told)]
    if choice not in (REPEAT, WITHOUT):
        told = "Make it where it stands, or ask for repeat or without."
        return [Fault(where, "it is not made yet and stands in the plan", "a lost run", told)]
    return []


def _ever(campaign: Campaign, phase: str, plans: Sequence[Mapping[str, Any]]) -> set[str]:
    """Every run id that the phase had in one of its plans."""
    ids = set(seal.run_list(seal.place(campaign.folder, phase))["run_id"])
    for number in range(1, len(plans)):
        ids |= set(seal.run_list(seal.kept_in(campaign.folder, phase, number))["run_id"])
    return ids
