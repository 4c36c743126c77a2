"""What a notebook shows of simulated campaigns: the plan checked, and what other ways of testing claim (rank 10)."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from toolkit import measured_in
from toolkit.campaign import simulating
from toolkit.campaign.folder import Campaign
from toolkit.campaign.simulating import Simulation
from toolkit.errors import SizingError
from toolkit.report import tables
from toolkit.report.table import NONE
from toolkit.report.view import Shown
from toolkit.size.options import Options


def habits(sizing: Options) -> Shown:
    """What other ways of testing would claim where there is nothing, at this rig's scatter."""
    told = sizing.habits
    if told is None or not told.habits:
        return Shown(["What other ways of testing would claim cannot be told at the scatter that is known."])
    table = told.table
    # Habits that have no error rate in mind leave the column of it empty.
    table = table.loc[:, (table != "").any()]
    head = tuple(table.columns)
    rows = [tuple(str(cell) or NONE for cell in row) for row in table.itertuples(index=False, name=None)]
    caption = f"At the scatter of {measured_in.label(told.response)}, beside {told.plan}"
    return Shown([tables.plain(caption, head, rows, head[2:]), *_notes(told.notes)])


def checked(campaign: Campaign, campaigns: int) -> Shown:
    """The chosen plan, else the recommended one, simulated so often; nothing where that is 0 or there is no plan.

    Writes derived/simulated.json.
    """
    if not campaigns:
        return Shown(["Not asked for: `simulate` is 0."])
    try:
        return simulated(simulating.simulated(campaign, campaigns=campaigns))
    except SizingError as problem:
        return Shown([f"Not simulated: {problem}"])


def simulated(made: Simulation) -> Shown:
    """A table over all conditions, and the sentences of the first."""
    head = ("conditions", "comparison", "worked out (%)", "simulated (%)", "false alarms (%)", "coverage (%)")
    head = (*head, "wrong way round (%)")
    rows = [
        ("" if number else part.conditions.name, *("–" if line[name] is None else str(line[name]) for name in head[1:]))
        for part in made.parts
        for number, line in enumerate(part.table.to_dict("records"))
    ]
    which = "chosen" if made.chosen else "recommended"
    caption = f"{made.plan} ({which}), {made.campaigns:,} campaigns under each condition"
    parts = [tables.plain(caption, head, rows, head[2:]), _list(made.parts[0].sentences), *_notes(made.notes)]
    return Shown([*parts, "Written to derived/simulated.json."])


def _list(lines: Sequence[str]) -> Markup:
    """Sentences as a list."""
    return Markup("<ul>{}</ul>").format(Markup("").join(Markup("<li>{}</li>").format(line) for line in lines))


def _notes(lines: Sequence[str]) -> list[str]:
    """Notes as paragraphs that begin like sentences."""
    return [f"{line[0].upper()}{line[1:]}." for line in lines]
