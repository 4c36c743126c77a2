"""What comes next in a campaign, as commands (rank 9)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from toolkit.brief.model import PHASES
from toolkit.campaign import log, reported, seal, stages
from toolkit.campaign.folder import Campaign
from toolkit.design import changed as changed_runs
from toolkit.intake import columns

NOT_ISSUED, BEFORE, ISSUED = "", "before the amendment", "issued"
_SIZE = "wearbook size CAMPAIGN"
_PILOT_AGAIN = "wearbook amend CAMPAIGN --phase pilot --lost repeat --reason TEXT --role ROLE"
_MAIN = "plan the main phase: wearbook plan CAMPAIGN --phase main"


@dataclass(frozen=True)
class Phase:
    """One phase of a campaign.

    Attributes
    ----------
    name : str
    seal : str
        Empty while it is not sealed.
    amendment : int
        How often its plan was amended.
    sealed_after_records : bool
    issued : str
        '' while no sheets were issued, 'before the amendment' when those of the plan in force are not, else 'issued'.
    stages, verdicts : mapping of str to int
        How many runs there are of each.
    dealt_with : mapping of str to str
        Lost run to what an amendment did about it, in words.
    """

    name: str
    seal: str
    amendment: int
    sealed_after_records: bool
    issued: str
    stages: Mapping[str, int]
    verdicts: Mapping[str, int]
    dealt_with: Mapping[str, str]


def commands(
    campaign: Campaign,
    rows: Sequence[Mapping[str, str]],
    phases: Sequence[Phase],
    runs: pd.DataFrame,
    *,
    changed: Mapping[str, Sequence[str]],
    faults: str,
) -> tuple[str, ...]:
    """What to do next, the most urgent first; ``CAMPAIGN`` stands for the folder.

    Parameters
    ----------
    campaign : Campaign
    rows : sequence of mapping
        The log.
    phases : sequence of Phase
        Those that are sealed or have runs, in their order.
    runs : DataFrame
        As ``stages.of_runs`` gives them.
    changed : mapping
        Phase to the keys of campaign.toml that changed since its seal.
    faults : str
        Why the records cannot be read; '' when they can.
    """
    stopped = [phase for phase in PHASES if seal.stopped(campaign.folder, phase)]
    if stopped:
        return (f"complete the plan: wearbook plan CAMPAIGN --phase {stopped[0]}",)
    amending = [phase for phase in PHASES if seal.amending(campaign.folder, phase)]
    if amending:
        return (f"complete the amendment of the {amending[0]} phase: repeat the same wearbook amend",)
    if changed:
        phase = list(changed)[-1]
        return (f"put the sealed values back, or: wearbook amend CAMPAIGN --phase {phase} --reason TEXT --role ROLE",)
    if faults:
        return ("put the records right, every fault is told by: wearbook check CAMPAIGN",)
    chosen = bool(campaign.brief.plan.builds or campaign.brief.plan.replicates)
    if not phases:
        if campaign.brief.pilot is not None:
            return ("plan the pilot: wearbook plan CAMPAIGN --phase pilot",)
        return (_MAIN if chosen else f"choose [plan] from what it shows: {_SIZE}",)
    at = phases[-1]
    mine = runs[runs["phase"] == at.name]
    steps = _open(at, mine, again=changed_runs.made_again(campaign.brief))
    if (mine["missing"] != "").any():
        return tuple(steps)
    if at.name == "pilot":
        lost = mine.loc[mine["verdict"].isin(columns.VOID), "run_id"]
        if at.seal and len(lost) == len(mine) and not set(lost) <= set(at.dealt_with):
            return (f"make the pilot again, of which no run is valid: {_PILOT_AGAIN}",)
        return (f"size the main phase: {_SIZE}", *([_MAIN] if chosen else []))
    looked = bool(rows) and rows[-1]["kind"] == log.LOOK
    steps.append(_to_tell(campaign, rows) if looked else "the answers: wearbook analyse CAMPAIGN")
    if at.name == "main" and at.seal and campaign.brief.extension is not None:
        steps.append("plan the extension: wearbook plan CAMPAIGN --phase extension")
    return tuple(steps)


def _to_tell(campaign: Campaign, rows: Sequence[Mapping[str, str]]) -> str:
    """The report as the next thing to write, or that it is written and what else can be asked."""
    old = reported.outdated(campaign, rows)
    if old is None:
        return "the report: wearbook report CAMPAIGN"
    name = reported.path_of(campaign).relative_to(campaign.folder).as_posix()
    if old:
        return f"{name} is older than what it rests on; write it anew: wearbook report CAMPAIGN"
    return f"the report is written ({name}); which runs would tell more of what is open: wearbook next CAMPAIGN"


def _open(at: Phase, mine: pd.DataFrame, *, again: bool) -> list[str]:
    """What the runs of a phase still lack, and what can be done about it."""
    steps = []
    unmade = mine[mine["missing"] == stages.NO_RECORD]
    if len(unmade) and at.seal and at.issued != ISSUED:
        steps.append(f"issue sheets and registers: wearbook sheets CAMPAIGN --phase {at.name}")
    if len(unmade):
        steps.append(f"make {_named(unmade)}; take the filled sheets in: wearbook intake CAMPAIGN FILE...")
    back = mine[(mine["missing"] != stages.NO_RECORD) & ~mine["missing"].isin(["", "verdict"])]
    if len(back):
        steps.append(f"measurements are missing of {_named(back)}; take them in: wearbook intake CAMPAIGN FILE...")
    unjudged = mine[mine["missing"].str.endswith("verdict")]
    if len(unjudged):
        first = unjudged["run_id"].iloc[0]
        steps.append(
            f"judge {_named(unjudged)} before wear is looked at: "
            f"wearbook note CAMPAIGN {first} --verdict VERDICT --reason TEXT --role ROLE"
        )
    lost = mine.loc[mine["verdict"].isin(columns.VOID), "run_id"]
    if not set(lost) <= set(at.dealt_with) and at.seal and at.name != "pilot":
        steps.append(
            "see what can be done about lost runs: wearbook amend CAMPAIGN --options"
            if again
            else "go on without the lost runs, which cannot be made again here (wearbook amend CAMPAIGN --options says "
            "why): wearbook amend CAMPAIGN --lost without --reason TEXT --role ROLE"
        )
    return steps


def _named(runs: pd.DataFrame) -> str:
    """Runs by name, the first few and a count."""
    names = list(runs["run_id"])
    return ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")
