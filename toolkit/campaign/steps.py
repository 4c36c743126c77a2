"""The steps of a campaign on its folder: check, size, plan, analyse. One call each; all writing goes through storage.

Rank 9. Each step reads campaign.toml and raw/ afresh, refuses what does not fit a seal, and gives an object that
tells what was written and what comes next.
"""

from __future__ import annotations

import html
from dataclasses import dataclass
from typing import Any

import pandas as pd

from toolkit import copies, stamp
from toolkit.brief.model import Brief
from toolkit.campaign import amendments, dealt_with, log, planning, registers, seal, sizing, storage
from toolkit.campaign.folder import Campaign
from toolkit.campaign.planning import Planned, next_phase, plan
from toolkit.campaign.written import csv_text, json_text
from toolkit.decide import analysis as decide_analysis
from toolkit.decide import habit_words
from toolkit.decide.analysis import Analysis
from toolkit.design import alias_words, base, factorial, in_builds, optimal, order_sets, strata
from toolkit.design.orders import PHASES
from toolkit.errors import CampaignError
from toolkit.intake.records import Records
from toolkit.model.randomisation import REDRAWN
from toolkit.size import chosen_lines
from toolkit.size.options import Options
from toolkit.wording import counted

__all__ = [
    "Checked",
    "Planned",
    "analyse",
    "analysis_of",
    "check",
    "csv_text",
    "next_phase",
    "plan",
    "size",
    "stamp_of",
]


@dataclass(frozen=True, eq=False)
class Checked:
    """What `check` found: the layout, the plans and the records, in words."""

    campaign: Campaign
    lines: tuple[str, ...]
    findings: pd.DataFrame

    def to_json(self) -> dict[str, Any]:
        """The lines and findings as plain data."""
        return stamp.plain(
            {
                "campaign": self.campaign.brief.id,
                "in_order": True,
                "lines": list(self.lines),
                "findings": stamp.records(self.findings),
            }
        )

    def __repr__(self) -> str:
        """The lines."""
        return "\n".join(self.lines)

    def _repr_html_(self) -> str:
        """The lines as a list."""
        return "<ul>" + "".join(f"<li>{html.escape(line)}</li>" for line in self.lines) + "</ul>"


def check(campaign: Campaign) -> Checked:
    """Everything that can be found wrong without analysing: the brief, its designs, the seals, the records.

    Raises
    ------
    WearbookError
        With all faults of the first thing that is not in order.

    Examples
    --------
    >>> import tempfile
    >>> from toolkit.campaign import folder, start
    >>> with tempfile.TemporaryDirectory() as place:
    ...     told = check(folder.open_campaign(start.new(f"{place}/trial").folder))
    >>> print(told.lines[0])
    brief 'trial': 2 factors, 2 responses, 3 comparisons; complete blocks
    """
    brief = campaign.brief
    layout = in_builds.layout(brief)
    lines = [
        f"brief '{brief.id}': {counted(len(brief.factors), 'factor')}, {counted(len(brief.responses), 'response')}, "
        f"{counted(len(brief.comparisons), 'comparison')}; {layout}"
    ]
    if brief.pilot is not None:
        pilot = factorial.pilot(brief)
        none = pilot.builds == 1 and strata.layout_of_builds(brief) == strata.RANDOMISED
        inside = "" if none else f" in {counted(pilot.builds, 'build')}"
        lines.append(f"pilot: {pilot.runs} runs{inside}")
    chosen = brief.plan.builds or brief.plan.replicates
    if chosen:
        main = planning.designed(brief, "main")
        lines.append(f"main: {main.name}, {main.runs} runs")
        clear = alias_words.summary(main.strata) or in_builds.sentence(brief)
        lines += [f"main: {told}"] if (told := optimal.sentence(brief)) else []
        lines += [f"main: {clear}"] if clear else []
        limited = order_sets.of_design(main)
        lines += [f"main: {limited.sentence}"] if limited else []
    elif brief.old_data is not None:
        lines.append(f"main: {habit_words.mark(brief)}")
    else:
        lines.append("main: its size is not chosen yet (`wearbook size` helps)")
    if brief.extension is not None:
        lines.append(_extension(brief))
    asked = {"pilot": brief.pilot is not None, "main": True, "extension": brief.extension is not None}
    for phase in (name for name in PHASES if brief.old_data is None and (asked[name] or campaign.sealed(name))):
        lines.append(
            f"{phase}: sealed ({campaign.plan(phase)['seal'][:12]})"
            if campaign.sealed(phase)
            else f"{phase}: not sealed"
        )
    log.read(campaign.folder)
    found = campaign.records()
    counts = found.runs["verdict"].value_counts()
    told = ", ".join(f"{number} {verdict}" for verdict, number in counts.items()) or "none"
    lines.append(f"records: {counted(len(found.runs), 'run')} ({told}), {counted(len(found.findings), 'finding')}")
    return Checked(campaign, tuple(lines), found.findings)


def size(campaign: Campaign) -> Options:
    """What each plan can show and costs, from the pilot, the rig's history or a declared guess.

    Writes derived/sizing.json, and derived/chosen-plan.toml with the lines that choose the recommended plan.

    Raises
    ------
    SizingError
        When the primary response's scatter is not known.

    Examples
    --------
    The chain campaign when its pilot is back:

    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     found = size(bundled.bring("chain-soot", place, phases=("pilot",), recordings=False))
    >>> found.recommended.name
    'full factorial, 3 builds of 4 runs'
    >>> print(*found.why[:3], sep="\\n")
    This is the cheapest plan within the budget that reaches 80 % for coating and both together; beyond every one of \
them: new oil and coating needs the new oil.
    No other plan within the budget does more for new oil (68 %) and coating needs the new oil (25 %).
    The cheapest plan that reaches 80 % for new oil has 16 runs (full factorial, 4 builds of 4 runs), 251,624 EUR \
(11,624 over the budget).
    """
    with storage.locked(campaign.folder):
        found = sizing.sizing_of(campaign, campaign.records())
        storage.write_text(campaign.folder / "derived" / "sizing.json", json_text(found.to_json()))
        storage.write_text(campaign.folder / "derived" / "chosen-plan.toml", chosen_lines.toml(found))
    return found


def analyse(campaign: Campaign, *, copy: copies.Copy | None = None) -> Analysis:
    """What the valid runs of the phases that count say, for every response; interim while an answer waits for runs.

    Writes derived/analysis.json and one CSV a table, and a look in the log with the runs whose values could be seen.

    Parameters
    ----------
    campaign : Campaign
    copy : Copy, optional
        Does some of the work (see ``copies.copied``): for a command, never in a notebook.

    Raises
    ------
    WearbookError
        When brief, seals or records are not in order, or there is not one valid run of the main phase.

    Examples
    --------
    The chain campaign when all its runs are back:

    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = bundled.bring("chain-soot", place, phases=("pilot", "main"), recordings=False)
    ...     found = analyse(campaign)
    >>> found.counted
    '11 of 12 runs valid, 1 invalid'
    >>> print(found.responses["elongation_pct"].verdicts[["comparison", "verdict"]].to_string(index=False))
                   comparison                verdict
                      coating gain, size not settled
                      new oil          not known yet
                both together        worthwhile gain
    coating needs the new oil          not known yet
    """
    with storage.locked(campaign.folder):
        return analysed(campaign, copy)


def analysed(campaign: Campaign, copy: copies.Copy | None = None) -> Analysis:
    """As ``analyse``; the caller holds the folder's lock, so that nothing is taken in or noted meanwhile."""
    found = analysis_of(campaign, copy)
    derived, told = campaign.folder / "derived", found.to_json()
    # First, so that no results lie there that nobody is on record as having looked at.
    log.look(campaign.folder, phase="main", subject=stamp.checksum(told), counted=found.counted, seen=seen(found))
    storage.write_text(derived / "analysis.json", json_text(told))
    for name, table in found.tables().items():
        storage.write_text(derived / f"{name}.csv", csv_text(table))
    return found


def seen(found: Analysis) -> dict[str, str]:
    """Run to verdict, of the runs with a value of any response: tables and pictures show void ones too."""
    runs = found.records.runs
    known = runs[[item.name for item in found.brief.responses]].notna().any(axis=1)
    return dict(zip(runs.loc[known, "run_id"], runs.loc[known, "verdict"], strict=True))


def analysis_of(campaign: Campaign, copy: copies.Copy | None = None, found: Records | None = None) -> Analysis:
    """The analysis without writing anything; ``found``: the records, where they were read already."""
    found = campaign.records() if found is None else found
    if not ((found.runs["phase"] == "main") & (found.runs["verdict"] == "valid")).any():
        nothing = "there is no valid run of the main phase on record yet, so there is nothing to analyse."
        if (found.runs["phase"] == "pilot").any() and not campaign.sealed("main"):
            raise CampaignError(f"{nothing} Only the pilot is: run `wearbook size`, then `wearbook plan --phase main`.")
        raise CampaignError(
            f"{nothing} Take in the runs, or enter them into raw/runs.csv, and judge them (verdict), then repeat."
        )
    notes = []
    if campaign.brief.old_data is not None:
        notes.append(
            f"{habit_words.mark(campaign.brief)}; treatments and builds are taken as recorded, and nothing shows that "
            f"they were fixed before the data"
        )
    elif not campaign.sealed("main"):
        notes.append(
            "no sealed plan of the main phase: order, treatments and builds are taken as recorded, and nothing "
            "shows that they were fixed before the data"
        )
    elif campaign.plan("main")["sealed_after_records"]:
        notes.append("the plan was sealed after records of the main phase existed")
    notes += amendments.told(campaign)
    made = decide_analysis.analyse(
        campaign.brief,
        found,
        planned=_planned(campaign),
        notes=tuple(notes),
        scatters=sizing.known(campaign, found)[0],
        sealed_covariates=_sealed_covariates(campaign),
        copy=copy,
    )
    return dealt_with.told(campaign, made)


def _sealed_covariates(campaign: Campaign) -> tuple[str, ...]:
    """Covariates that the main phase was first sealed with, before any of its runs was on record, and has now."""
    if not campaign.sealed("main"):
        return ()
    first = seal.versions(campaign.folder, "main")[0]
    if first["sealed_after_records"]:
        return ()
    then = {item["name"]: item for item in first["brief"].get("covariate", ())}
    now = {item.name: {"name": item.name, "at": item.at, "before_run": item.before_run}
           for item in campaign.brief.covariates}  # fmt: skip
    return tuple(name for name, item in now.items() if then.get(name) == item)


def _planned(campaign: Campaign) -> pd.DataFrame | None:
    """The sealed runs of the phases that count, with what amendments did about lost ones and the parts that were
    allotted; None without a plan."""
    if not campaign.sealed("main"):
        return None
    sealed = [phase for phase in campaign.brief.counted_phases if campaign.sealed(phase)]
    planned = pd.concat([campaign.order(phase) for phase in sealed], ignore_index=True)
    given_up = {
        str(item["run_id"]): f"made again as {item['instead']}" if item["instead"] else "gone on without it"
        for phase in sealed
        for item in campaign.plan(phase).get("lost", ())
    }
    planned = planned.assign(given_up=[given_up.get(name, "") for name in planned["run_id"]])
    if campaign.brief.order is not None:
        anew = {phase for phase in sealed if phase != "pilot" and campaign.plan(phase).get("amendment")}
        planned = planned.assign(**{REDRAWN: planned["phase"].isin(anew)})
    issued = registers.tables(campaign.folder, campaign.brief.counted_phases)
    if issued is None:
        return planned
    parts = issued[0]
    if "position" in parts:
        parts = parts[parts["position"] == ""]
    allotted = parts[parts["run_id"] != ""].drop_duplicates("run_id").set_index("run_id")["part_id"]
    return planned.assign(part_id=[str(allotted.get(run, "")) for run in planned["run_id"]])


def stamp_of(campaign: Campaign) -> dict[str, Any]:
    """What makes the results repeatable: seals, checksums of raw files, records head, seed, versions."""
    head = log.records_head(log.read(campaign.folder))
    return {
        "campaign": campaign.brief.id,
        "seed": campaign.brief.seed,
        "brief_sha256": stamp.checksum_bytes((campaign.folder / "campaign.toml").read_bytes()),
        "seals": {phase: campaign.plan(phase)["seal"] for phase in PHASES if campaign.sealed(phase)},
        "raw_sha256": campaign.checksums(),
        "records_head": head["chain"],
        "records_at": head["at"],
        "versions": stamp.versions(),
    }


def _extension(brief: Brief) -> str:
    """The extension in a line."""
    if not sizing.chosen(brief, "extension"):
        return "extension: its size is not chosen yet (`wearbook size` helps once the main phase is sealed)"
    if base.joined(brief) and not sizing.chosen(brief, "main"):
        return "extension: its runs follow from the main phase, whose size is not chosen yet"
    made = planning.designed(brief, "extension")
    return f"extension: {made.name}, {made.runs} runs"
