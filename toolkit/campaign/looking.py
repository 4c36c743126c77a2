"""A look at a plan before it is run: what it is like, how wide intervals will be, how far drift reaches (rank 9)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.brief import by_position
from toolkit.brief.model import PHASES
from toolkit.campaign import order_words, sizing, storage
from toolkit.campaign.folder import Campaign
from toolkit.campaign.written import json_text
from toolkit.design import base, phases, properties, strata
from toolkit.design.orders import Order
from toolkit.design.properties import Properties
from toolkit.design.strata import Strata
from toolkit.errors import WearbookError
from toolkit.intake.records import Records
from toolkit.size import half_widths, promise
from toolkit.size.scatter import Scatter

# Lines of what a design is like that are printed at a prompt; the file and the notebook hold all.
MOST_LINES = 10


@dataclass(frozen=True, eq=False)
class Look:
    """What can be known of a plan before its runs are made.

    Attributes
    ----------
    phase : str
    name : str
        What the design is called.
    properties : Properties
    widths : DataFrame
        Half-widths, a row for each comparison and response (see ``size.half_widths``); in error SDs where the scatter
        is not known.
    drift : DataFrame
        See ``orders.Order.drift``.
    order : tuple of str
        What the limits on the run order leave; empty without limits.
    notes : tuple of str
    """

    phase: str
    name: str
    properties: Properties
    widths: pd.DataFrame
    drift: pd.DataFrame
    order: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def short(self) -> tuple[str, ...]:
        """The look in a few lines, for those who plan at a prompt."""
        told = self.properties.short
        lines = [*told[:MOST_LINES]]
        if len(told) > MOST_LINES:
            lines.append(f"and {len(told) - MOST_LINES} more lines like these, in derived/{file_name(self.phase)}")
        return (*lines, *(sentence(row) for row in self.widths.to_dict("records")), *self.notes)

    def to_json(self) -> dict[str, Any]:
        """Everything as plain data."""
        return stamp.plain(
            {
                "phase": self.phase,
                "design": self.name,
                "properties": self.properties.to_json(),
                "half_widths": stamp.records(self.widths),
                "correlation_with_order": stamp.records(self.drift),
                "order": list(self.order),
                "short": list(self.short),
                "notes": list(self.notes),
            }
        )

    def __repr__(self) -> str:
        """What the design is called, then the look in a few lines."""
        return "\n".join([f"{self.phase}: {self.name}", *self.short])


def file_name(phase: str) -> str:
    """The file under derived/ that holds the look."""
    return f"design-{phase}.json"


def look(campaign: Campaign, order: Order, held: dict[str, Any], found: Records) -> Look:
    """A look at a plan.

    Parameters
    ----------
    campaign : Campaign
    order : Order
        As it is sealed.
    held : dict
        What plan.json holds.
    found : Records
        What is on record, for the scatter known so far.
    """
    brief, phase = order.design.brief, order.design.phase
    runs = counting(order, held)
    laid = strata.of_runs(brief, runs)
    notes: list[str] = []
    judged, own = _judged(campaign, laid, runs, phase, found, notes)
    widths = pd.DataFrame(columns=list(half_widths.COLUMNS))
    if phase != "pilot" and brief.comparisons:
        scatters: Sequence[Scatter | None] = sizing.known(campaign, found, phase=phase)[0]
        tables = [widths_of(judged, own, one) for one in scatters or (None,)]
        widths = pd.concat([one for one in tables if len(one)], ignore_index=True)
    return Look(
        phase,
        str(held["design"]),
        # Runs that tell more than the main phase do so beside it alone.
        properties.properties(judged if phase == "extension" and base.joined(brief) else laid),
        widths,
        order.drift,
        order_words.lines(brief, held),
        tuple(notes),
    )


def counting(order: Order, held: Mapping[str, Any]) -> pd.DataFrame:
    """The runs of a plan that would count: those it did not give up as lost.

    Parameters
    ----------
    order : Order
    held : mapping
        What plan.json holds.
    """
    given_up = {item["run_id"] for item in held.get("lost", ())}
    table = order.table
    return table[~table["run_id"].isin(given_up)].reset_index(drop=True)


def widths_of(judged: Strata, own: Sequence[int], scatter: Scatter | None) -> pd.DataFrame:
    """The half-widths of one response; where runs are divided without what a lost position would cost."""
    if not by_position.divided(judged.brief):
        return half_widths.half_widths(judged, own, scatter)
    mine = judged if scatter is None else promise.of_response([judged], scatter.response)[0]
    told = half_widths.half_widths(mine, range(len(mine.runs)), scatter)
    if by_position.divided(mine.brief):
        lost = [name for name in told if name.startswith(("one_", "two_", "untold_", "dearest_"))]
        told[lost] = None
    return told


def write(campaign: Campaign, made: Look) -> Path:
    """Write a look under derived/; the caller holds the lock."""
    path = campaign.folder / "derived" / file_name(made.phase)
    storage.write_text(path, json_text(made.to_json()))
    return path


def sentence(row: dict[str, Any]) -> str:
    """One line of the half-widths as a sentence."""
    about = f"{row['comparison']}" + (f" ({row['response']})" if row["response"] else "")
    if row["every_run"] is None:
        return f"half-width of {about}: not told: {row['note'] or 'no degrees of freedom are left'}"
    text = f"half-width of {about}: {width(row['every_run'], row['told_in'])}"
    if row["one_lost"] is not None:
        text += f", {width(row['one_lost'], row['told_in'])} with one run lost"
    elif row["untold_after_one"]:
        text += ", none with one run lost"
    if row["two_lost"] is not None:
        text += f", {width(row['two_lost'], row['told_in'])} with two"
        if row["untold_after_two"]:
            text += f" (in {100 * row['untold_after_two']:.0f} % of cases nothing can be told of it any more)"
    if row["dearest_run"]:
        cost = "leaves none" if row["dearest_lost"] is None else width(row["dearest_lost"], row["told_in"])
        text += f"; dearest to lose: {row['dearest_run']} ({cost})"
    elif row["one_lost"] is not None:
        text += "; every run costs the same to lose"
    return text


def width(value: float | None, told_in: str) -> str:
    """A half-width with what it is told in: 'x/÷ 1.25', '± 3.2 um', '± 1.4 error SDs'."""
    if value is None:
        return "none"
    return f"×/÷ {value:.2f}" if told_in == half_widths.RATIO else f"± {value:.3g} {told_in}".rstrip()


def _judged(
    campaign: Campaign, laid: Strata, runs: pd.DataFrame, phase: str, found: Records, notes: list[str]
) -> tuple[Strata, Sequence[int]]:
    """The strata that the runs will be judged in, and which of their runs are the plan's own.

    Beside them stand the runs of earlier phases: a look is the same once later ones are sealed.
    """
    before = found.runs["phase"].isin(PHASES[: PHASES.index(phase)])
    others = sizing.standing(campaign.brief, found.runs[before])
    every = range(len(laid.runs))
    if phase == "pilot" or others.empty:
        return laid, every
    try:
        together = phases.strata_together(campaign.brief, pd.concat([others, runs], ignore_index=True))
    except WearbookError as problem:
        notes.append(f"half-widths are those of this phase alone: {problem}")
        return laid, every
    own = together.runs["phase"].to_numpy() == phase
    return together, [at for at, mine in enumerate(own) if mine]
