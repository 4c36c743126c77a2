"""The steps of a campaign on its folder: check, size, plan, analyse. One call each; all writing goes through storage.

Rank 9. Each step reads campaign.toml and raw/ afresh, refuses what does not fit a seal, and gives an object that
tells what was written and what comes next.
"""

from __future__ import annotations

import html
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.brief.model import Brief
from toolkit.campaign import log, plan_page, registers, seal, storage
from toolkit.campaign.folder import Campaign
from toolkit.decide import analysis as decide_analysis
from toolkit.decide.analysis import Analysis
from toolkit.design import factorial, orders, strata, terms
from toolkit.design.design import Design
from toolkit.design.orders import PHASES, Order
from toolkit.errors import CampaignError, DesignError, SizingError
from toolkit.intake import blank
from toolkit.intake.records import Records
from toolkit.size import options as size_options
from toolkit.size import scatter
from toolkit.size.options import Options
from toolkit.size.scatter import Scatter


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


@dataclass(frozen=True, eq=False)
class Planned:
    """A sealed plan: the order and what plan.json holds."""

    order: Order
    plan: dict[str, Any]
    written: tuple[Path, ...]

    @property
    def table(self) -> pd.DataFrame:
        """One row a run in planned order."""
        return self.order.table

    def to_json(self) -> dict[str, Any]:
        """runs (their number), order[], seal, and what was drawn, with the correlations with run order."""
        return stamp.plain(
            {
                "phase": self.order.design.phase,
                "design": self.order.design.name,
                "runs": self.order.design.runs,
                "builds": self.order.design.builds,
                "order": stamp.records(self.order.table),
                "seal": self.plan["seal"],
                "seed": self.order.seed,
                "drawn": self.order.drawn,
                "strata": stamp.records(self.order.design.strata.table),
                "correlation_with_order": stamp.records(self.order.drift),
                "sealed_after_records": self.plan["sealed_after_records"],
            }
        )

    def __repr__(self) -> str:
        """The run list as text."""
        return f"{self.order.design.name}; seal {self.plan['seal'][:12]}\n{self.table.to_string(index=False)}"

    def _repr_html_(self) -> str:
        """The run list."""
        return (
            f"<p>{html.escape(self.order.design.name)}; seal {self.plan['seal'][:12]}</p>"
            f"{self.table.to_html(index=False, escape=True)}"
        )


def check(campaign: Campaign) -> Checked:
    """Everything that can be found wrong without analysing: the brief, its designs, the seals, the records.

    Raises
    ------
    WearbookError
        With all faults of the first thing that is not in order.
    """
    brief = campaign.brief
    layout = strata.layout_of(brief)
    lines = [
        f"brief '{brief.id}': {_count(len(brief.factors), 'factor')}, {_count(len(brief.responses), 'response')}, "
        f"{_count(len(brief.comparisons), 'comparison')}; {layout}"
    ]
    if brief.pilot is not None:
        pilot = factorial.pilot(brief)
        lines.append(f"pilot: {pilot.runs} runs in {_count(pilot.builds, 'build')}")
    chosen = brief.plan.builds or brief.plan.replicates
    if chosen:
        main = _designed(brief, "main")
        lines.append(f"main: {main.name}, {main.runs} runs")
    else:
        lines.append("main: its size is not chosen yet (`wearbook size` helps)")
    for phase in PHASES:
        lines.append(
            f"{phase}: sealed ({campaign.plan(phase)['seal'][:12]})"
            if campaign.sealed(phase)
            else f"{phase}: not sealed"
        )
    log.read(campaign.folder)
    found = campaign.records()
    counts = found.runs["verdict"].value_counts()
    told = ", ".join(f"{number} {verdict}" for verdict, number in counts.items()) or "none"
    lines.append(f"records: {_count(len(found.runs), 'run')} ({told}), {_count(len(found.findings), 'finding')}")
    return Checked(campaign, tuple(lines), found.findings)


def size(campaign: Campaign) -> Options:
    """What each plan can show and costs, from the pilot, the rig's history or a declared guess.

    Writes derived/sizing.json.

    Raises
    ------
    SizingError
        When the primary response's scatter is not known.
    """
    found = sizing_of(campaign, campaign.records())
    with storage.locked(campaign.folder):
        storage.write_text(campaign.folder / "derived" / "sizing.json", _json(found.to_json()))
    return found


def sizing_of(campaign: Campaign, found: Records, *, also: Design | None = None) -> Options:
    """The sizing from records already read, with a chosen design among the plans; writes nothing."""
    brief = campaign.brief
    scatters, unknown = _scatters(brief, found)
    first = next(item.name for item in brief.responses if item.role == "primary")
    if first in unknown:
        raise unknown[first]
    failed = [str(problem) for problem in unknown.values()]
    made = size_options.options(brief, scatters, also=also)
    return (
        made
        if not failed
        else size_options.Options(
            made.brief, made.scatters, made.options, made.recommended, made.sentence, (*made.notes, *failed)
        )
    )


def _scatters(brief: Brief, found: Records) -> tuple[list[Scatter], dict[str, SizingError]]:
    """The scatter known before the main phase, one a response; response to why it is not known for the others."""
    known, unknown = [], {}
    for response in brief.responses:
        try:
            known.append(
                scatter.known(
                    brief,
                    response.name,
                    runs=found.runs,
                    stations=found.stations,
                    readings=found.readings,
                    history=found.history,
                )
            )
        except SizingError as problem:
            unknown[response.name] = problem
    return known, unknown


def next_phase(campaign: Campaign) -> str:
    """The phase that is to be planned next: the pilot when there is one and it is not sealed, else main."""
    if campaign.brief.pilot is not None and not campaign.sealed("pilot") and not campaign.sealed("main"):
        return "pilot"
    return "main"


def plan(campaign: Campaign, *, phase: str | None = None) -> Planned:
    """Lay out a phase, put it in a random order from the brief's seed, and seal it.

    Writes plan/<phase>/runs.csv, plan.json, plan.html and blank tables to fill in, and a row of the log. The same
    brief gives the same plan; a phase sealed already is given back unchanged.

    Raises
    ------
    DesignError
        When the size is not chosen or the design cannot be built.
    CampaignError
        When the phase is sealed with another plan, or an earlier seal does not fit the brief any more.
    """
    brief = campaign.brief
    phase = phase or next_phase(campaign)
    if campaign.sealed(phase):
        campaign.plan(phase)
    design = _designed(brief, phase)
    order = orders.randomise(design, seed=brief.seed)
    found = campaign.records()
    exist = bool((found.runs["phase"] == phase).any())
    sizing = None if phase == "pilot" else _claims_of(campaign, found, design)
    with storage.locked(campaign.folder):
        held = seal.write(campaign.folder, order, sizing=sizing, data_exist=exist)
        target = seal.folder_of(campaign.folder, phase)
        storage.write_text(target / "plan.html", plan_page.page(order, held))
        written = [target / "runs.csv", target / "plan.json", target / "plan.html"]
        for name, table in blank.tables(brief, order.table).items():
            # A table that lies there may be filled in already: it is left as it is.
            path = target / "blank" / f"{name}.csv"
            if not path.exists():
                storage.write_text(path, csv_text(table))
                written.append(path)
    return Planned(order, held, tuple(written))


def analyse(campaign: Campaign) -> Analysis:
    """What the valid runs of the phases that count say, for every response; interim while an answer waits for runs.

    Writes derived/analysis.json and one CSV a table, and a look in the log with the runs whose values could be seen.

    Raises
    ------
    WearbookError
        When brief, seals or records are not in order, or there is not one valid run of the main phase.
    """
    found = analysis_of(campaign)
    derived = campaign.folder / "derived"
    with storage.locked(campaign.folder):
        # First, so that no results lie there that nobody is on record as having looked at.
        log.look(
            campaign.folder, phase="main", subject=found.checksum(), counted=found.counted, seen=_seen(found)
        )
        storage.write_text(derived / "analysis.json", _json(found.to_json()))
        for name, table in found.tables().items():
            storage.write_text(derived / f"{name}.csv", csv_text(table))
    return found


def _seen(found: Analysis) -> dict[str, str]:
    """Run to verdict, of the runs with a value of any response: tables and pictures show void ones too."""
    runs = found.records.runs
    known = runs[[item.name for item in found.brief.responses]].notna().any(axis=1)
    return dict(zip(runs.loc[known, "run_id"], runs.loc[known, "verdict"], strict=True))


def analysis_of(campaign: Campaign) -> Analysis:
    """The analysis without writing anything."""
    found = campaign.records()
    if not ((found.runs["phase"] == "main") & (found.runs["verdict"] == "valid")).any():
        raise CampaignError(
            "there is no valid run of the main phase in raw/runs.csv yet, so there is nothing to "
            "analyse. Enter the runs and judge them (verdict), then repeat."
        )
    notes = []
    if not campaign.sealed("main"):
        notes.append(
            "no sealed plan of the main phase: order, treatments and builds are taken as recorded, and nothing "
            "shows that they were fixed before the data"
        )
    elif campaign.plan("main")["sealed_after_records"]:
        notes.append("the plan was sealed after records of the main phase existed")
    return decide_analysis.analyse(
        campaign.brief,
        found,
        planned=_planned(campaign),
        notes=tuple(notes),
        scatters=_scatters(campaign.brief, found)[0],
    )


def _planned(campaign: Campaign) -> pd.DataFrame | None:
    """The sealed runs of the phases that count, each with the part that was allotted to it; None without a plan."""
    if not campaign.sealed("main"):
        return None
    sealed = [table for phase in campaign.brief.counted_phases if (table := campaign.order(phase)) is not None]
    planned = pd.concat(sealed, ignore_index=True)
    issued = registers.tables(campaign.folder, campaign.brief.counted_phases)
    if issued is None:
        return planned
    parts = issued[0]
    allotted = parts[parts["run_id"] != ""].drop_duplicates("run_id").set_index("run_id")["part_id"]
    return planned.assign(part_id=planned["run_id"].map(allotted).fillna(""))


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


def csv_text(table: pd.DataFrame) -> str:
    """A table as CSV text: full precision, Unix line ends, text that a spreadsheet would run gets a leading quote."""
    safe = table.copy()
    for name in safe.columns:
        if safe[name].dtype == object or str(safe[name].dtype) in ("str", "string"):
            safe[name] = [_harmless(value) for value in safe[name]]
    return safe.to_csv(index=False, lineterminator="\n")


def _harmless(value: object) -> object:
    """A text cell that no spreadsheet takes for a formula."""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        try:
            float(value)
        except ValueError:
            return f"'{value}"
    return value


def _designed(brief: Brief, phase: str) -> Design:
    """The design of a phase, refused where nothing would be left to judge a term by."""
    if phase == "pilot":
        return factorial.pilot(brief)
    made = factorial.full(brief)
    for item in made.strata.strata:
        if item.error_df == 0 and item.terms:
            raise DesignError(
                f"{made.name}: nothing is left to judge {', '.join(terms.name_of(term) for term in item.terms)} by (0 "
                f"degrees of freedom between {item.name}s). Take more builds or replicates in [plan], or declare an "
                f"interaction nil if the trade knows that it is; `wearbook size` lists plans that can be judged."
            )
    return made


def _claims_of(campaign: Campaign, found: Records, design: Design) -> dict[str, Any] | None:
    """The claims of the chosen plan for plan.json, or why they cannot be told."""
    try:
        whole = sizing_of(campaign, found, also=design).to_json()
    except SizingError as problem:
        return {"scatter": [], "option": None, "sentence": f"Not sized: {problem}"}
    chosen = next(option for option in whole["options"] if option["name"] == design.name)
    return {"scatter": whole["scatter"], "option": chosen, "sentence": whole["sentence"]}


def _count(number: int, word: str) -> str:
    """A count with its word, in the plural unless it is one."""
    return f"{number} {word}{'' if number == 1 else 's'}"


def _json(value: Any) -> str:
    """Plain data as readable JSON with a last line end."""
    return json.dumps(stamp.plain(value), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
