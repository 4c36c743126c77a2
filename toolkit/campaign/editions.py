"""Registers and run sheets of a phase over its amendments: what was issued stays good while it is unchanged (rank 9).

A run keeps the sheet it was issued with while its row and everything else on the sheet is what it was, and in any case
once it was made or set up. Everything here follows from the sealed plans and the log, so that it comes out the same
every time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from toolkit.brief.model import Brief
from toolkit.campaign import log, plan_json, seal, sealed_brief
from toolkit.campaign.folder import Campaign
from toolkit.design.orders import PHASES
from toolkit.errors import IntegrityError
from toolkit.intake import columns
from toolkit.running.register import Register, extended, register
from toolkit.running.sheets import RunSheet, run_sheets

ISSUED = "issued"
# A stream of random numbers of its own, beside those of orders and of the first codes.
_STREAM = 2


@dataclass(frozen=True, eq=False)
class Edition:
    """What one sealed plan of a phase leads to.

    Attributes
    ----------
    plan : dict
        What its plan.json holds.
    at : str
        When it was sealed.
    register : Register
    sheets : mapping of str to RunSheet
        Run to its sheet, in planned order.
    """

    plan: Mapping[str, Any]
    at: str
    register: Register
    sheets: Mapping[str, RunSheet]

    @property
    def short(self) -> str:
        """The first letters of its seal."""
        return str(self.plan["seal"])[:12]


@dataclass(frozen=True, eq=False)
class Editions:
    """The editions that were issued before, and the one that is to be issued now, which is the last.

    ``plans`` is every plan of the phase, those that nothing was issued from too.
    """

    all: tuple[Edition, ...]
    plans: tuple[Mapping[str, Any], ...]

    @property
    def now(self) -> Edition:
        """The edition in force."""
        return self.all[-1]

    def of_run(self, run_id: str, upto: int | None = None) -> Edition:
        """The edition whose sheet a run has, by the edition in force or an earlier one."""
        there = [item for item in self.all[: upto or len(self.all)] if run_id in item.sheets]
        found = there[0]
        for later in there[1:]:
            if run_id not in self._stayed(found, later) and not _alike(found.sheets[run_id], later.sheets[run_id]):
                found = later
        return found

    def of_tables(self, upto: int | None = None) -> Edition:
        """The edition of the registers and of the blank tables for metrology and the laboratory."""
        found, *rest = self.all[: upto or len(self.all)]
        for later in rest:
            same = (
                found.register.parts.equals(later.register.parts)
                and found.register.samples.equals(later.register.samples)
                and found.register.brief.responses == later.register.brief.responses
            )
            found = found if same else later
        return found

    def _stayed(self, found: Edition, later: Edition) -> set[str]:
        """The runs that were made or set up at one of the amendments between two editions."""
        first, last = (int(item.plan.get("amendment", 0)) for item in (found, later))
        return {run for plan in self.plans if first < plan.get("amendment", 0) <= last for run in plan["stayed"]}


def of_phase(campaign: Campaign, phase: str, *, hours: Sequence[float] | None = None) -> Editions:
    """The editions of a sealed phase.

    Parameters
    ----------
    campaign : Campaign
    phase : str
    hours : sequence of float, optional
        When oil is sampled; see ``running.register.register``.

    Raises
    ------
    IntegrityError
        When the log does not hold the row of a seal.
    """
    plans = seal.versions(campaign.folder, phase)
    rows = log.read(campaign.folder)
    made, register_now = [], None
    for number, plan in enumerate(plans):
        brief = sealed_brief.brief_of(plan["brief"], campaign.brief)
        where = seal.kept_in(campaign.folder, phase, number + 1)
        runs = seal.run_list(where if number + 1 < len(plans) else seal.place(campaign.folder, phase))
        if register_now is None:
            register_now = register(brief, runs, seed=brief.seed, hours=hours)
        else:
            seed = [brief.seed, PHASES.index(phase), number, _STREAM]
            register_now = extended(register_now, runs, brief, seed=seed, hours=hours)
        begun = _row_of(rows, plan, phase)
        last = number + 1 == len(plans)
        if last or _was_issued(rows, begun, phase):
            made.append(_edition(brief, runs, register_now, plan, rows[begun]["at"]))
    return Editions(tuple(made), plans)


def _edition(brief: Brief, runs: pd.DataFrame, made: Register, plan: Mapping[str, Any], at: str) -> Edition:
    """One edition."""
    sheets = run_sheets(
        brief,
        runs,
        made,
        seal=str(plan["seal"]),
        head=str(plan["records_head_before"]),
        verdicts=columns.VERDICTS,
    )
    return Edition(plan, at, made, {sheet.run_id: sheet for sheet in sheets})


def _row_of(rows: Sequence[Mapping[str, str]], plan: Mapping[str, Any], phase: str) -> int:
    """Where the row that a plan was sealed with stands in the log."""
    for place, row in enumerate(rows):
        if row["chain"] == plan[plan_json.ROW]:
            return place
    raise IntegrityError(
        f"{log.NAME}: the line that records the seal of the {phase} phase is gone. Restore the log from your backup."
    )


def _was_issued(rows: Sequence[Mapping[str, str]], begun: int, phase: str) -> bool:
    """Whether sheets were issued from a plan before the next one took its place."""
    for row in rows[begun + 1 :]:
        if row["phase"] == phase and row["kind"] == log.AMENDED:
            own = row["subject"] == rows[begun]["subject"]
            if not own:
                return False
        if row["phase"] == phase and row["kind"] == ISSUED:
            return True
    return False


def _alike(one: RunSheet, other: RunSheet) -> bool:
    """True when two sheets of a run say the same but for the plan they were issued under."""
    return replace(one, seal="", head="", place="") == replace(other, seal="", head="", place="")
