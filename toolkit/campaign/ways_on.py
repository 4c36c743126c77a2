"""What can be done for lost runs: the three ways on side by side, with runs, cost and what they show (rank 9)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.brief.model import Brief
from toolkit.campaign import in_force, sizing
from toolkit.campaign.folder import Campaign
from toolkit.campaign.in_force import InForce
from toolkit.design import changed
from toolkit.design.changed import CHOICES, Change
from toolkit.errors import CampaignError, DesignError
from toolkit.size import money, promise
from toolkit.size.money import Price
from toolkit.size.promise import Claim
from toolkit.size.scatter import Scatter
from toolkit.wording import filled


@dataclass(frozen=True, eq=False)
class WayOn:
    """One way on.

    Attributes
    ----------
    option : str
        repeat, replace or without.
    lost : tuple of str
        The runs that it is for.
    refused : str
        Why it cannot be taken; empty when it can.
    runs : int
        Runs that would count in the end.
    added : tuple of str
        Builds of the runs that are made for lost ones, in their order.
    price : Price
        Of the added runs and of builds that are built for them.
    claims : tuple of Claim
        What the runs that would count show, by response and comparison.
    notes : tuple of str
    """

    option: str
    lost: tuple[str, ...]
    refused: str
    runs: int
    added: tuple[str, ...]
    price: Price
    claims: tuple[Claim, ...]
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """The way on as plain data."""
        return {
            "option": self.option,
            "lost": list(self.lost),
            "refused": self.refused or None,
            "runs": None if self.refused else self.runs,
            "added_runs": None if self.refused else len(self.added),
            "added_in_builds": list(self.added),
            "hours": None if self.refused else self.price.hours,
            "cost": None if self.refused else self.price.cost,
            "hours_as_planned": None if self.refused else self.price.hours_as_planned,
            "cost_as_planned": None if self.refused else self.price.cost_as_planned,
            "claims": [claim.to_dict() for claim in self.claims],
            "notes": list(self.notes),
        }


@dataclass(frozen=True, eq=False)
class WaysOn:
    """The three ways on, for the lost runs of a phase."""

    brief: Brief
    phase: str
    options: tuple[WayOn, ...]
    notes: tuple[str, ...]

    @property
    def table(self) -> pd.DataFrame:
        """One row a way on and comparison."""
        return pd.DataFrame(
            [
                {
                    "option": way.option,
                    "refused": way.refused or None,
                    "runs": way.runs,
                    "added_runs": len(way.added),
                    "hours": way.price.hours,
                    "cost": way.price.cost,
                    "response": claim.response,
                    "comparison": claim.comparison,
                    "error_df": claim.error_df,
                    "assurance": claim.assurance,
                    "note": claim.note,
                }
                for way in self.options
                for claim in way.claims
            ]
        )

    def to_json(self) -> dict[str, Any]:
        """phase, options[] (option, lost, refused, runs, added_runs, hours, cost, claims[], notes[]), notes[]."""
        return stamp.plain(
            {
                "campaign": self.brief.id,
                "phase": self.phase,
                "currency": self.brief.cost.currency,
                "power": self.brief.power,
                "options": [way.to_dict() for way in self.options],
                "notes": list(self.notes),
            }
        )

    def __repr__(self) -> str:
        """The ways on as a table, then what there is to know."""
        return "\n".join([filled(self.table).to_string(index=False), *self.notes])


def options(
    campaign: Campaign, *, phase: str | None = None, runs: Sequence[str] = (), keep: Sequence[str] = ()
) -> WaysOn:
    """The ways on for lost runs, with what each costs and shows; nothing is written and no wear is looked at.

    The chances are those of the scatter that the phase was sized with, over the runs that would then count: valid ones
    as run, the others as planned.

    Parameters
    ----------
    campaign : Campaign
    phase, runs, keep : optional
        As for ``amend.amend``; without phase and runs it is the last phase with a lost run that is not dealt with.

    Raises
    ------
    CampaignError
        When the phase is not sealed, or no run of it is lost.
    """
    if phase is None and not runs:
        phase = in_force.with_lost(campaign)
    phase = in_force.phase_of(campaign, phase)
    state = in_force.read(campaign, phase, keep)
    scatters, unknown = sizing.known(Campaign(campaign.folder, state.sealed), state.found, phase=phase)
    ways, first = [], None
    for option in CHOICES:
        try:
            names = in_force.named_lost(state, option, runs, keep)
        except CampaignError as problem:
            if option != changed.REPLACE:
                raise
            told = [line.strip() for line in str(problem).split("\n")[1:]]
            ways.append(_refused(option, tuple(runs), " ".join(told)))
            continue
        first = first or names
        ways.append(_way(state, option, names, scatters))
    notes = [note for item in scatters for note in item.notes] + [str(problem) for problem in unknown.values()]
    if phase not in state.sealed.counted_phases:
        notes.append(f"the {phase} only lends its scatter: its runs change no comparison")
    return WaysOn(state.sealed, phase, tuple(ways), tuple(notes))


def _way(state: InForce, option: str, names: tuple[str, ...], scatters: Sequence[Scatter]) -> WayOn:
    """One way on, or why it cannot be taken."""
    try:
        change = changed.lost(state.standing, option, names)
    except DesignError as problem:
        return _refused(option, names, str(problem))
    runs = _counting(state, change, names)
    added = change.runs[change.runs["run_id"].isin(change.added)]
    own = int((runs["phase"] == state.phase).sum())
    return WayOn(
        option,
        names,
        "",
        own,
        tuple(added["build_id"]),
        money.of_added(
            state.campaign.brief, added, change.new_builds, there=change.runs[~change.runs["run_id"].isin(change.added)]
        ),
        tuple(claim for item in scatters for claim in _claims(state, runs, item)),
        change.notes,
    )


def _counting(state: InForce, change: Change, names: Sequence[str]) -> pd.DataFrame:
    """The runs that would count: valid ones as run, the others as planned, with those of the other phases."""
    own = state.counting(change.runs[~change.runs["run_id"].isin(names)])
    others = sizing.standing(state.sealed, state.found.runs, but=state.phase)
    return pd.concat([others, state.as_run(own)], ignore_index=True)


def _claims(state: InForce, runs: pd.DataFrame, scatter: Scatter) -> list[Claim]:
    """The claims on comparisons; none where no run of a phase that counts is left."""
    if not runs["phase"].isin(state.sealed.counted_phases).any():
        return []
    return [claim for claim in promise.claims_of_runs(state.sealed, runs, scatter) if claim.comparison]


def _refused(option: str, names: tuple[str, ...], why: str) -> WayOn:
    """A way on that cannot be taken."""
    return WayOn(option, names, why, 0, (), Price(0.0, 0.0, 0.0, 0.0, 0.0), (), ())
