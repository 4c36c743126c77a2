"""Booking a sealed phase: days of the test cell, when parts must be ordered, when figures are back (rank 9).

Nothing of it is sealed: dates are moved by writing others into [booking] and booking again.
"""

from __future__ import annotations

import html
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.campaign import editions, log, storage
from toolkit.campaign.folder import Campaign
from toolkit.campaign.sheets import next_phase
from toolkit.campaign.written import csv_text
from toolkit.errors import CampaignError
from toolkit.running import calendar_file
from toolkit.running.calendar_file import Entry
from toolkit.size import dates
from toolkit.size.dates import Dates
from toolkit.wording import counted, filled, headed

NEEDED = (
    "campaign.toml has no [booking], so there are no days to tell. Add it: start, hours_a_day, days_a_week, and what "
    "is known of parts_in_days, metrology_in_days, laboratory_in_days. It stands outside every seal."
)


@dataclass(frozen=True, eq=False)
class Booked:
    """The dates of a phase.

    Attributes
    ----------
    campaign, phase, seal : str
    dates : Dates
    parts : tuple of str
        What is to be ordered, spares among it, a line a kind of part.
    written : tuple of str
        Files under the campaign folder.
    """

    campaign: str
    phase: str
    seal: str
    dates: Dates
    parts: tuple[str, ...]
    written: tuple[str, ...] = field(default=())

    @property
    def table(self) -> pd.DataFrame:
        """As ``Dates.table``, days as text: 2026-05-04; blank where nothing is said."""
        made = self.dates.table
        for name in ("begins", "ends", "measured_by", "oil_back_by"):
            made[name] = ["" if day is None else day.isoformat() for day in made[name]]
        return made

    @property
    def sentences(self) -> tuple[str, ...]:
        """What is to be done by when, a sentence each."""
        found, made = self.dates, []
        if found.parts_ordered_by is not None:
            made.append(f"Order {'; '.join(self.parts)} by {found.parts_ordered_by.isoformat()}.")
        table = self.table
        runs = table[table["what"] != dates.KEPT_FREE]
        made.append(
            f"The test cell is needed from {runs['begins'].iloc[0]} to {runs['ends'].iloc[-1]}: {found.hours:,.0f} h "
            f"as planned."
        )
        if found.kept_free:
            made.append(
                f"Keep {found.kept_free:,.0f} h free behind them, to {table['ends'].iloc[-1]}: what lost runs are "
                f"expected to take."
            )
        made.append(f"The last figure is in on {found.complete.isoformat()} if no run is lost.")
        return (*made, *(f"Note: {note}." for note in found.notes))

    def to_json(self) -> dict[str, Any]:
        """phase, seal, dates[], parts[], parts_ordered_by, complete, hours, kept_free, sentences[], written[]."""
        order = self.dates.parts_ordered_by
        return stamp.plain(
            {
                "campaign": self.campaign,
                "phase": self.phase,
                "seal": self.seal,
                "dates": stamp.records(self.table),
                "parts": list(self.parts),
                "parts_ordered_by": None if order is None else order.isoformat(),
                "complete": self.dates.complete.isoformat(),
                "hours": self.dates.hours,
                "kept_free": self.dates.kept_free,
                "sentences": list(self.sentences),
                "written": list(self.written),
            }
        )

    def __repr__(self) -> str:
        """The sentences, then the table."""
        return "\n".join([*self.sentences, "", filled(self.table).to_string(index=False)])

    def _repr_html_(self) -> str:
        """The sentences, then the table."""
        told = "".join(f"<p>{html.escape(line)}</p>" for line in self.sentences)
        return f"{told}{headed(filled(self.table)).to_html(index=False, escape=True)}"


def book(campaign: Campaign, *, phase: str | None = None) -> Booked:
    """The dates of a sealed phase, written as a table and as a calendar file into derived/.

    Parameters
    ----------
    campaign : Campaign
    phase : str, optional
        Left out: the last phase that is sealed.

    Raises
    ------
    CampaignError
        When campaign.toml has no [booking] or the phase is not sealed.
    SizingError
        When the brief does not say what hours a run takes.
    """
    if campaign.brief.booking is None:
        raise CampaignError(NEEDED)
    phase = phase or next_phase(campaign)
    with storage.locked(campaign.folder):
        made = of_phase(campaign, phase)
        days = f"derived/booking-{phase}.ics"
        files = {f"derived/booking-{phase}.csv": csv_text(made.table).encode(), days: calendar_of(campaign, made, days)}
        for name, content in files.items():
            storage.write_bytes(campaign.folder / name, content)
    return Booked(made.campaign, made.phase, made.seal, made.dates, made.parts, tuple(files))


def of_phase(campaign: Campaign, phase: str) -> Booked:
    """The dates of a sealed phase; writes nothing.

    Raises
    ------
    WearbookError
        As ``book``.
    """
    plan, runs = campaign.plan(phase), campaign.order(phase)
    if runs is None:
        raise CampaignError(f"{phase}: there is no sealed plan yet. Run `wearbook plan` first.")
    found = dates.dates(campaign.brief, runs, phase=phase)
    return Booked(campaign.brief.id, phase, str(plan["seal"]), found, _parts(campaign, phase))


def _parts(campaign: Campaign, phase: str) -> tuple[str, ...]:
    """How many parts of each kind are issued, spares among them."""
    parts = editions.of_phase(campaign, phase).now.register.parts
    kinds = [item for item in campaign.brief.factors if item.undo in ("part", "position")]
    keys = [tuple(row) for row in parts[[item.name for item in kinds]].astype(str).to_numpy().tolist()]
    lines = []
    for key in dict.fromkeys(sorted(keys)):
        mine = parts[[one == key for one in keys]]
        spare = int((mine["spare"] == "yes").sum())
        held = [f"{item.name} {level}" for item, level in zip(kinds, key, strict=True) if level]
        of = f" with {', '.join(held)}" if held else ""
        lines.append(f"{counted(len(mine), 'part')}{of} ({counted(spare, 'spare')} among them)")
    return tuple(lines)


def calendar_of(campaign: Campaign, made: Booked, file: str) -> bytes:
    """The calendar file: no treatment stands in it, so that whoever measures may see it. Writes nothing."""
    earlier = campaign.folder / file
    name, table = f"{made.campaign}, {made.phase} phase", made.dates.table
    entries = []
    if made.dates.parts_ordered_by is not None:
        day = made.dates.parts_ordered_by
        count = sum(int(line.split(" ", 1)[0]) for line in made.parts)
        entries.append(Entry("parts", f"{made.campaign}: order {counted(count, 'part')}", "", day, day, busy=False))
    for row in table.to_dict("records"):
        entries.append(
            Entry(
                f"{row['what']} {row['of']}",
                f"{made.campaign}: {_titled(row)}",
                f"{row['hours']:,.0f} h",
                row["begins"],
                row["ends"],
            )
        )
    for key, told in (("measured_by", "parts of {} measured"), ("oil_back_by", "oil figures of {} back")):
        known = table[table[key].notna()]
        for build, mine in known.groupby("build_id", sort=False):
            day = max(mine[key])
            title = f"{made.campaign}: {told.format(f'build {build}')}"
            entries.append(Entry(f"{key} {build}", title, "", day, day, busy=False))
    head = log.records_head(log.read(campaign.folder))
    edition = int(str(campaign.plan(made.phase).get("amendment", 0)))
    stored = earlier.read_bytes() if earlier.is_file() else b""
    return calendar_file.continued(name, entries, at=str(head["at"]), edition=edition, stored=stored)


def _titled(row: dict[str, Any]) -> str:
    """The heading of an entry."""
    if row["what"] == dates.RUN:
        return f"run {row['of']} (build {row['build_id']})"
    if row["what"] == dates.REBUILD:
        return f"rebuild {row['of']}"
    return "set-up" if row["what"] == dates.SET_UP else "kept free for repeats"
