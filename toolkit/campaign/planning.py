"""Laying out, randomising and sealing a phase on its folder (rank 9)."""

from __future__ import annotations

import html
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.brief import by_position
from toolkit.brief.model import Brief
from toolkit.campaign import further_plan, looking, order_words, plan_page, seal, sealed_brief, sizing, storage
from toolkit.campaign.folder import Campaign
from toolkit.campaign.looking import Look
from toolkit.campaign.written import csv_text
from toolkit.design import base, chosen, factorial, further_runs, orders, phases, strata, terms
from toolkit.design.design import Design
from toolkit.design.orders import Order
from toolkit.design.strata import Strata
from toolkit.errors import CampaignError, DesignError
from toolkit.intake import blank
from toolkit.intake.records import Records
from toolkit.wording import headed


@dataclass(frozen=True, eq=False)
class Planned:
    """A sealed plan: the order, what plan.json holds, and a look at it before it is run."""

    order: Order
    plan: dict[str, Any]
    written: tuple[Path, ...]
    look: Look

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
                "runs": len(self.order.table),
                "builds": int(self.order.table["build_id"].nunique()),
                "order": stamp.records(self.order.table),
                "seal": self.plan["seal"],
                "amendment": self.plan.get("amendment", 0),
                "seed": self.order.seed,
                "drawn": self.order.drawn,
                "strata": self.plan["strata"],
                "correlation_with_order": stamp.records(self.order.drift),
                "order_set": self.plan.get(order_words.KEY),
                "look": self.look.to_json(),
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
            f"{headed(self.table).to_html(index=False, escape=True)}"
        )


def next_phase(campaign: Campaign) -> str:
    """The phase that is to be planned next: the pilot, main, then the extension, of those that the brief has."""
    brief = campaign.brief
    if brief.pilot is not None and not campaign.sealed("pilot") and not campaign.sealed("main"):
        return "pilot"
    return "extension" if brief.extension is not None and campaign.sealed("main") else "main"


def plan(campaign: Campaign, *, phase: str | None = None) -> Planned:
    """Lay out a phase, put it in a random order from the brief's seed, and seal it.

    Writes plan/<phase>/runs.csv, plan.json, plan.html and blank tables to fill in, and a row of the log. The same
    brief gives the same plan; a phase sealed already is given back unchanged, as it was amended if it was.

    Raises
    ------
    DesignError
        When the size is not chosen or the design cannot be built.
    CampaignError
        When the phase is sealed with another plan, an earlier seal does not fit the brief any more, an extension is
        asked for before the main phase is sealed, or the records are old data.

    Examples
    --------
    >>> import tempfile
    >>> from toolkit.campaign import folder, start
    >>> with tempfile.TemporaryDirectory() as place:
    ...     planned = plan(folder.open_campaign(start.new(f"{place}/trial").folder), phase="pilot")
    >>> planned.order
    pilot, 2 runs of 2 combinations; the runs within each build at random, seed 1
    run_id phase build_id  planned_order  replicate factor_a factor_b
       P01 pilot      PB1              1          1       A0       B0
       P02 pilot      PB1              2          1       A1       B0
       P03 pilot      PB1              3          2       A0       B0
       P04 pilot      PB1              4          2       A1       B0
    """
    brief = campaign.brief
    phase = phase or next_phase(campaign)
    if brief.old_data is not None:
        raise CampaignError(
            "the runs of this campaign are old data ([old_data] in campaign.toml): they were made already, and a plan "
            "cannot come after them. Plan new runs in a folder of their own: wearbook new FOLDER."
        )
    with storage.locked(campaign.folder):
        if campaign.sealed(phase) and campaign.plan(phase).get("amendment"):
            return _amended(campaign, phase)
        design = designed(brief, phase)
        judged = _judged(campaign, design)
        order = orders.randomise(design, seed=brief.seed)
        if by_position.divided(brief):
            # What positions hold is drawn with the order, and decides what is judged by what.
            design, judged = order.design, order.design.strata
        found = campaign.records()
        exist = bool((found.runs["phase"] == phase).any())
        sized = None if phase == "pilot" else sizing.claims_of(campaign, found, design)
        more = _beside(campaign, design, found) if phase == "extension" and not campaign.sealed(phase) else {}
        held = seal.write(campaign.folder, order, sizing=sized, data_exist=exist, judged=judged, beside=more)
        return _with_look(campaign, order, held, found)


def write_beside(campaign: Campaign, order: Order, held: dict[str, Any]) -> tuple[Path, ...]:
    """The printable page and the blank tables of a plan that lies there sealed; the caller holds the lock.

    Blank tables that are there already may be filled in: they are left as they are.
    """
    target = seal.folder_of(campaign.folder, order.design.phase)
    storage.write_text(target / "plan.html", plan_page.page(order, held))
    written = [target / "runs.csv", target / "plan.json", target / "plan.html"]
    for name, table in blank.tables(campaign.brief, order.table).items():
        path = target / "blank" / f"{name}.csv"
        if not path.exists():
            storage.write_text(path, csv_text(table))
            written.append(path)
    return tuple(written)


def designed(brief: Brief, phase: str) -> Design:
    """The design of a phase as the brief chose it, refused where nothing would be left to judge a term by.

    Raises
    ------
    DesignError
        When it cannot be laid out or judged.
    UseError
        When there is no such phase.

    Examples
    --------
    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = bundled.bring("chain-soot", place)
    >>> designed(campaign.brief, "pilot")
    pilot: pilot, 2 runs of 2 combinations, 4 runs
    build_id  replicate pin oil
         PB1          1  P0  O0
         PB1          1  P1  O0
         PB1          2  P0  O0
         PB1          2  P1  O0
    """
    seal.require_phase(phase)
    if phase == "pilot":
        return factorial.pilot(brief)
    if phase == "extension":
        return chosen.extension(brief)
    made = chosen.main(brief)
    if not chosen.judged_by_each_other(made):
        _refuse_without_error(made.name, made.strata)
    return made


def sealed_order(campaign: Campaign, phase: str, held: dict[str, Any], rows: pd.DataFrame | None = None) -> Order:
    """The order of a plan that lies there sealed, amended or not: its strata are those of the runs that would count.

    ``rows``: its run list, where it is not that in force.
    """
    rows = campaign.order(phase) if rows is None else rows
    if rows is None:
        raise CampaignError(f"{phase}: there is no sealed plan yet. Run `wearbook plan` first.")
    given_up = {item["run_id"] for item in held.get("lost", ())}
    counting = rows[~rows["run_id"].isin(given_up)].reset_index(drop=True)
    design = Design(campaign.brief, phase, held["design"], strata.of_runs(campaign.brief, counting))
    return orders.as_listed(design, rows, seed=held["seed"], drawn=held["drawn"])


def _amended(campaign: Campaign, phase: str) -> Planned:
    """A plan that was amended, as it lies there; its page and blank tables are made where they are missing."""
    held = campaign.plan(phase)
    order = sealed_order(campaign, phase, held)
    return _with_look(campaign, order, held, campaign.records())


def look_at(campaign: Campaign, phase: str, found: Records | None = None) -> Look | None:
    """A look at the plan of a phase as it is sealed; None where there is none. Writes nothing.

    ``found``: the records, where they were read already.
    """
    if not campaign.sealed(phase):
        return None
    held = campaign.plan(phase)
    return looking.look(campaign, sealed_order(campaign, phase, held), held, found or campaign.records())


def look_as_named(campaign: Campaign, phase: str, name: str, found: Records) -> Look:
    """A look at the plan that a sealed phase had under a name, before an amendment or after; else at that in force.

    Raises
    ------
    WearbookError
        When the phase is not sealed, or its plans are not what they were.
    """
    plans = seal.versions(campaign.folder, phase)
    at = next((at for at in reversed(range(len(plans))) if plans[at]["design"] == name), len(plans) - 1)
    held = plans[at]
    if at == len(plans) - 1:
        return looking.look(campaign, sealed_order(campaign, phase, held), held, found)
    then = Campaign(campaign.folder, sealed_brief.brief_of(held["brief"], campaign.brief))
    rows = seal.run_list(seal.kept_in(campaign.folder, phase, at + 1))
    return looking.look(then, sealed_order(then, phase, held, rows), held, found)


def _with_look(campaign: Campaign, order: Order, held: dict[str, Any], found: Records) -> Planned:
    """A sealed plan with what is written beside it."""
    made = looking.look(campaign, order, held, found)
    written = (*write_beside(campaign, order, held), looking.write(campaign, made))
    return Planned(order, held, written, made)


def _judged(campaign: Campaign, design: Design) -> Strata:
    """The strata that the runs of a plan are judged in: an extension together with the phases sealed before it."""
    if design.phase != "extension":
        return design.strata
    if not campaign.sealed("main"):
        raise CampaignError(
            "extension: the main phase is not sealed, so there is nothing to extend. Plan it first with `wearbook plan "
            "--phase main`."
        )
    before = [campaign.order(phase) for phase in campaign.brief.counted_phases if phase != "extension"]
    tables = [table for table in before if table is not None]
    together = pd.concat([*tables, design.table.assign(phase="extension")], ignore_index=True)
    judged = phases.strata_together(campaign.brief, together)
    # A whole mirror image of a regular fraction is one again, so that its effects can be judged by each other.
    folded = further_runs.words(campaign.brief) is not None if base.joined(campaign.brief) else False
    if not (folded and chosen.judged_by_each_other(replace(design, strata=judged))):
        _refuse_without_error(design.name, judged, section="extension")
    return judged


def _beside(campaign: Campaign, design: Design, found: Records) -> dict[str, Any]:
    """What plan.json holds of an extension besides: what it adds to the runs before it."""
    scatters, _ = sizing.known(campaign, found, phase="extension")
    standing = sizing.standing(campaign.brief, found.runs, but="extension")
    further_plan.require(campaign.brief, standing, design.table)
    return further_plan.beside(campaign.brief, standing, design.table, scatters)


def _refuse_without_error(name: str, judged: Strata, *, section: str = "plan") -> None:
    """Refuse a plan that would leave nothing to judge a term by."""
    for item in judged.strata:
        if item.error_df == 0 and item.terms:
            raise DesignError(
                f"{name}: nothing is left to judge {', '.join(terms.name_of(term) for term in item.terms)} by (0 "
                f"degrees of freedom between {item.name}s). Take more builds or replicates in [{section}], or declare "
                f"an interaction nil if the trade knows that it is; `wearbook size` lists plans that can be judged."
            )
