"""Where a campaign stands: each run's stage, what is missing, lost runs, and the command that comes next (rank 9).

It works at any time, and neither needs nor shows what was measured.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.brief.model import PHASES
from toolkit.campaign import corrections, log, manifest, registers, seal, sheets, stages, unchanged, what_next
from toolkit.campaign import folder as campaign_folder
from toolkit.campaign.folder import Campaign
from toolkit.campaign.what_next import Phase
from toolkit.decide import habit_words
from toolkit.design.changed import REPEAT, REPLACE
from toolkit.errors import CampaignError, IntakeError
from toolkit.intake import columns, judging
from toolkit.intake.records import Records


@dataclass(frozen=True, eq=False)
class Status:
    """Where a campaign stands.

    Attributes
    ----------
    campaign : str
    phases : tuple of Phase
        Those that are sealed or have runs.
    lost : tuple of (str, str)
        Void runs and why.
    lines : tuple of str
        What else there is to know: what was looked at, noted after a look, changed since, left by a stopped command.
    next : tuple of str
        What to do, each with the command where there is one; ``CAMPAIGN`` stands for the folder.
    faults : str
        Why the records could not be read; '' when they could.
    """

    campaign: str
    phases: tuple[Phase, ...]
    lost: tuple[tuple[str, str], ...]
    lines: tuple[str, ...]
    next: tuple[str, ...]
    faults: str
    _runs: pd.DataFrame
    _proposals: pd.DataFrame

    def __repr__(self) -> str:
        """Where each phase stands, lost runs, what else there is to know, and what comes next."""
        phases = [
            f"{item.name}: {', '.join(f'{number} {stage}' for stage, number in item.stages.items())}"
            for item in self.phases
        ]
        lost = [f"{run_id}: {why}" for run_id, why in self.lost]
        steps = [f"next: {step}" for step in self.next]
        return "\n".join(
            [f"campaign '{self.campaign}'", *phases, *lost, *self.lines, *filter(None, [self.faults]), *steps]
        )

    @property
    def proposals(self) -> pd.DataFrame:
        """What the sealed rules propose for runs that were made and have no verdict (a copy)."""
        return self._proposals.copy()

    @property
    def table(self) -> pd.DataFrame:
        """One row a run: run_id, phase, build_id, planned_order, stage, verdict, missing, deviations (a copy)."""
        return self._runs.copy()

    def to_json(self) -> dict[str, Any]:
        """What stands above, with runs[] and proposals[]; faults are null when the records could be read."""
        return stamp.plain(
            {
                "campaign": self.campaign,
                "phases": [
                    {
                        "phase": item.name,
                        "seal": item.seal or None,
                        "amendment": item.amendment,
                        "sealed_after_records": item.sealed_after_records,
                        "sheets": item.issued or None,
                        "stages": dict(item.stages),
                        "verdicts": dict(item.verdicts),
                    }
                    for item in self.phases
                ],
                "runs": stamp.records(self._runs),
                "lost": [{"run_id": run_id, "why": why} for run_id, why in self.lost],
                "lines": list(self.lines),
                "next": list(self.next),
                "proposals": stamp.records(self._proposals),
                "faults": self.faults or None,
            }
        )


def status(campaign: Campaign) -> Status:
    """Where a campaign stands, at any time: without a plan, with runs under way, with records that are not in order.

    Raises
    ------
    IntegrityError
        When log, seals or files taken in are not what they were.
    """
    root, brief = campaign.folder, campaign.brief
    rows = log.read(root)
    sealed = {phase: seal.kept(root, phase) for phase in PHASES if seal.exists(root, phase)}
    changed = {
        phase: found for phase, plan in sealed.items() if (found := seal.changed_since(root, brief, phase, plan))
    }
    records, faults = _records(campaign)
    issued = _issued(rows)
    runs = pd.DataFrame(columns=list(stages.COLUMNS), dtype=object)
    if records is not None:
        try:
            there = registers.tables(root, list(sealed))
        except IntakeError as problem:
            there, faults = None, str(problem)
        runs = stages.of_runs(brief, records, issued=issued, samples=None if there is None else there[1])
    else:
        runs = _as_planned(campaign, sealed, issued)
    phases = tuple(
        Phase(
            phase,
            str(plan.get("seal", "")),
            int(plan.get("amendment", 0)),
            bool(plan.get("sealed_after_records", False)),
            _sheets(rows, phase),
            _counts(runs.loc[runs["phase"] == phase, "stage"], stages.STAGES),
            _counts(runs.loc[runs["phase"] == phase, "verdict"], columns.VERDICTS),
            {item["run_id"]: _dealt_with(item) for item in plan.get("lost", ())},
        )
        for phase in PHASES
        for plan in (sealed.get(phase, {}),)
        if plan or (runs["phase"] == phase).any()
    )
    old = habit_words.mark(brief)
    lines = [*([old] if old else []), *_waiting(campaign, rows, changed), *_seen(rows)]
    return Status(
        brief.id,
        phases,
        _lost(records, phases),
        tuple(lines),
        what_next.commands(campaign, rows, phases, runs, changed=changed, faults=faults),
        faults,
        runs,
        _proposed(records),
    )


def _proposed(records: Records | None) -> pd.DataFrame:
    """What the rules propose for runs without a verdict."""
    if records is None:
        return judging.none()
    found = records.proposals
    return found[found["verdict"] == "pending"].reset_index(drop=True)


def _records(campaign: Campaign) -> tuple[Records | None, str]:
    """The records, or why they cannot be read."""
    try:
        return campaign.records(as_sealed=True), ""
    except (IntakeError, CampaignError) as problem:
        return None, str(problem)


def _as_planned(campaign: Campaign, sealed: Mapping[str, Any], issued: set[str]) -> pd.DataFrame:
    """The runs of the plans while the records cannot be read: nothing is known but whether a sheet was issued."""
    found = [campaign.order(phase, as_sealed=True) for phase in sealed]
    made = [
        [
            str(run["run_id"]),
            str(run["phase"]),
            str(run["build_id"]),
            str(run["planned_order"]),
            "sheet issued" if run["run_id"] in issued else "planned",
            "pending",
            "not known: the records cannot be read",
            "",
        ]
        for table in found
        if table is not None
        for run in table.to_dict("records")
    ]
    return pd.DataFrame(made, columns=list(stages.COLUMNS), dtype=object)


def _issued(rows: Sequence[Mapping[str, str]]) -> set[str]:
    """The runs whose sheets were issued."""
    files = [name for row in rows if row["kind"] == sheets.ISSUED for name in log.told(row).get("files", {})]
    return {
        name.rpartition("/")[2].removesuffix(".xlsx")
        for name in files
        if name.startswith(f"{sheets.FOLDER}/") and name.count("/") == 2 and name.endswith(".xlsx")
    }


def _counts(values: pd.Series, words: Sequence[str]) -> dict[str, int]:
    """How many there are of each word, in the order of the words; words that none has are left out."""
    return {word: int((values == word).sum()) for word in words if (values == word).any()}


def _sheets(rows: Sequence[Mapping[str, str]], phase: str) -> str:
    """Whether the sheets of the plan in force were issued."""
    kinds = [row["kind"] for row in rows if row["phase"] == phase and row["kind"] in (sheets.ISSUED, log.AMENDED)]
    if sheets.ISSUED not in kinds:
        return what_next.NOT_ISSUED
    return what_next.ISSUED if kinds[-1] == sheets.ISSUED else what_next.BEFORE


def _dealt_with(item: Mapping[str, Any]) -> str:
    """What an amendment did about a lost run."""
    what = {REPEAT: "repeated as", REPLACE: "replaced by"}.get(item["choice"], "gone on without")
    return f"{what} {item['instead']}".strip() + f" (amendment {item['amendment']})"


def _lost(records: Records | None, phases: Sequence[Phase]) -> tuple[tuple[str, str], ...]:
    """Void runs, why they are void and what was done about them."""
    if records is None:
        return ()
    dealt = {run_id: words for phase in phases for run_id, words in phase.dealt_with.items()}
    told = []
    for run in records.runs.to_dict("records"):
        if run["verdict"] in columns.VOID:
            why = f"{run['verdict']}: {run['reason']}" if run["reason"] else str(run["verdict"])
            told.append((str(run["run_id"]), "; ".join(filter(None, (why, dealt.get(str(run["run_id"])))))))
    return tuple(told)


def _waiting(campaign: Campaign, rows: Sequence[Mapping[str, str]], changed: Mapping[str, Sequence[str]]) -> list[str]:
    """What waits for somebody: changes since a seal or since tables were taken in, and what stopped commands left."""
    root = campaign.folder
    lines = [
        f"campaign.toml changed since the {phase} phase was sealed: {', '.join(keys)}"
        for phase, keys in changed.items()
    ]
    found = manifest.entries(rows)
    for item in manifest.unfinished(root, found):
        lines.append(f"{item.given_as}: a command was stopped while it took this file in; it does not count yet")
    for name, item in manifest.copies(found).items():
        told = unchanged.since(root, name, item) if (root / name).is_file() else ([], [f"{name}: is gone"])
        lines += [line for line in (*told[0], *told[1]) if not line.endswith(unchanged.AS_TAKEN_IN)]
    lines += unchanged.not_taken_in(root, rows, campaign_folder.kept_by_hand(campaign.brief, root))
    return [*lines, *log.set_back(rows)]


def _seen(rows: Sequence[Mapping[str, str]]) -> list[str]:
    """How often results were looked at, and what was noted after that."""
    looks = [row for row in rows if row["kind"] == log.LOOK]
    lines = []
    if looks:
        lines.append(
            f"results were looked at {len(looks)} time{'' if len(looks) == 1 else 's'}, first on {looks[0]['at']}"
        )
    for note in corrections.notes(rows):
        if note.after_look:
            lines.append(
                f"{note.run_id}: {note.column or 'a remark'} was noted after its wear had been seen ({note.at})"
            )
    return lines
