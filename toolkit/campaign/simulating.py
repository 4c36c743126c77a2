"""The recommended or chosen plan of a campaign folder checked by simulating its campaign (rank 9)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import pandas as pd

from toolkit import stamp
from toolkit.campaign import planning, sizing, storage
from toolkit.campaign.folder import Campaign
from toolkit.campaign.written import json_text
from toolkit.design import phases
from toolkit.design.design import Design
from toolkit.errors import SizingError
from toolkit.size import conditions, promise, simulate
from toolkit.size.conditions import Conditions
from toolkit.size.options import Options
from toolkit.size.simulate import Simulated


@dataclass(frozen=True, eq=False)
class Simulation:
    """One plan under several conditions.

    Attributes
    ----------
    campaign, plan : str
    chosen : bool
        True for the plan that campaign.toml chooses, False for the recommended one.
    runs : int
    campaigns : int
        Simulated under each of the conditions.
    seed : int
    parts : tuple of Simulated
        One for each of the conditions; in the first nothing happens that the plan does not foresee.
    notes : tuple of str
    """

    campaign: str
    plan: str
    chosen: bool
    runs: int
    campaigns: int
    seed: int
    parts: tuple[Simulated, ...]
    notes: tuple[str, ...]

    @property
    def table(self) -> pd.DataFrame:
        """One row a comparison under each of the conditions, in per cent."""
        made = []
        for part in self.parts:
            table = part.table
            table.insert(0, "conditions", part.conditions.name)
            made.append(table)
        return pd.concat(made, ignore_index=True)

    def to_json(self) -> dict[str, object]:
        """The whole as plain data; the same for any machine and number of processes."""
        made = {key: getattr(self, key) for key in ("campaign", "plan", "chosen", "runs", "campaigns", "seed")}
        return stamp.plain(made | {"notes": list(self.notes), "conditions": [part.to_json() for part in self.parts]})

    def __repr__(self) -> str:
        """The sentences."""
        return "\n".join(sentence for part in self.parts for sentence in part.sentences)

    def _repr_html_(self) -> str:
        """The sentences and the table of each of the conditions."""
        return "".join(part._repr_html_() for part in self.parts)


def simulated(
    campaign: Campaign,
    *,
    campaigns: int = simulate.CAMPAIGNS,
    under: Sequence[Conditions] | None = None,
    engine: str = "auto",
    processes: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Simulation:
    """What the chosen plan, or else the recommended one, would show of the primary response. Writes
    derived/simulated.json.

    Parameters
    ----------
    campaign : Campaign
    campaigns : int
        Under each of the conditions, at the scatter as estimated, and as many over the doubt in it.
    under : sequence of Conditions, optional
        Left out: as planned, with runs lost at random, and three kinds of drift.
    engine, processes, progress
        As in ``parallel.run_many``; progress counts over all conditions.

    Raises
    ------
    SizingError
        When no plan is chosen or recommended, the scatter is not known, or the conditions do not fit.
    """
    with storage.locked(campaign.folder):
        made = simulation_of(
            campaign, campaigns=campaigns, under=under, engine=engine, processes=processes, progress=progress
        )
        storage.write_text(campaign.folder / "derived" / "simulated.json", json_text(made.to_json()))
    return made


def simulation_of(
    campaign: Campaign,
    *,
    campaigns: int = simulate.CAMPAIGNS,
    under: Sequence[Conditions] | None = None,
    engine: str = "auto",
    processes: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Simulation:
    """As ``simulated``, without writing anything."""
    records = campaign.records()
    found = sizing.sizing_of(campaign, records)
    design, chosen = _plan(campaign, found)
    beside = sizing.standing(campaign.brief, records.runs, but="extension") if found.phase == "extension" else None
    laid = promise.as_judged([design], beside)[0]
    primary = next(item.name for item in campaign.brief.responses if item.role == "primary")
    scatter = next(item for item in found.scatters if item.response.name == primary)
    asked = list(under) if under is not None else conditions.usual(campaign.brief, scatter)
    parts: list[Simulated] = []
    for one in asked:
        parts.append(
            simulate.simulated(
                phases.told_by(campaign.brief, laid.brief),
                laid,
                scatter,
                plan=design.name,
                campaigns=campaigns,
                conditions=one,
                engine=engine,
                processes=processes,
                progress=_counting(progress, len(parts), len(asked)),
            )
        )
    rests = f"{scatter.basis}{'' if scatter.ends is None else ', a bound'}"
    notes = (
        f"simulated from the scatter that the sizing rests on ({rests}); runs in an order drawn anew for "
        f"each campaign; every comparison analysed as the toolkit analyses a real campaign",
        "where a chance worked out and a simulated one differ, the simulation decides",
    )
    seed = campaign.brief.seed
    return Simulation(campaign.brief.id, design.name, chosen, laid.run_count, campaigns, seed, tuple(parts), notes)


def _plan(campaign: Campaign, found: Options) -> tuple[Design, bool]:
    """The plan that is simulated, and whether campaign.toml chose it."""
    brief = campaign.brief
    if sizing.chosen(brief, found.phase):
        return planning.designed(brief, found.phase), True
    if found.recommended is None:
        raise SizingError(
            f"no plan is chosen in campaign.toml, and none can be recommended, so there is none to simulate: "
            f"{found.sentence} Write the plan you have in mind into [plan] of campaign.toml."
        )
    return found.recommended.design, False


def _counting(
    progress: Callable[[int, int], None] | None, before: int, whole: int
) -> Callable[[int, int], None] | None:
    """Progress of one of several simulations as progress of all of them."""
    if progress is None:
        return None
    return lambda done, of: progress(before * of + done, whole * of)
