"""Campaigns worked out again from their raw files, and held against the results that are stored (rank 9).

Nothing is written: whoever wants the new results stored says `wearbook analyse`, `size`, `plan` or `book`. What is
compared is what those verbs and `size --simulate` left in derived/: numbers, the lines to paste (chosen-plan.toml), the
look at every plan (design-*.json, where it was amended since that at the plan before), dates and calendar; and the
order of every plan that was not amended, drawn again from its seed. The report is these figures in words and pictures
and is not compared by itself. Issued sheets, registers and pages are looked at by `wearbook verify`.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from toolkit import parallel, stamp
from toolkit.brief.model import PHASES
from toolkit.campaign import booking, compared, looking, planning, seal, simulating, sizing, steps, stored_results
from toolkit.campaign import folder as campaign_folder
from toolkit.campaign.compared import Difference
from toolkit.campaign.folder import Campaign
from toolkit.campaign.written import csv_text
from toolkit.design import orders
from toolkit.errors import CampaignError, IntegrityError, WearbookError
from toolkit.intake.records import Records
from toolkit.running import calendar_file
from toolkit.size import chosen_lines
from toolkit.wording import counted, filled

ANALYSIS, SIZING, SIMULATED = "derived/analysis.json", "derived/sizing.json", "derived/simulated.json"
_LOOKS = "derived/design-"
CHOSEN = "derived/chosen-plan.toml"
# The first version whose `plan` left a look behind.
_FIRST_LOOKS = (0, 4)
# Every analysis leaves this one.
_ITS_TABLE = "derived/verdicts.csv"


@dataclass(frozen=True)
class Rerun:
    """One campaign worked out again.

    Attributes
    ----------
    folder : str
    campaign : str
        Its id; '' when its brief cannot be read.
    results : tuple of str
        What was compared.
    values : int
        How many values were.
    moved : tuple of (str, Difference)
        Result and what moved in it.
    faults : tuple of str
        Why something could not be worked out or compared.
    broken : bool
        Sealed or received bytes are not what they were.
    """

    folder: str
    campaign: str
    results: tuple[str, ...]
    values: int
    moved: tuple[tuple[str, Difference], ...]
    faults: tuple[str, ...]
    broken: bool = False

    @property
    def sentence(self) -> str:
        """What came out, in a sentence."""
        told = f"{len(self.moved):,} moved" if self.moved else "nothing moved"
        told += ", words alone" if self.moved and all(one.in_words for _, one in self.moved) else ""
        if self.faults:
            found = f"{told}; not in order" if self.moved else "not in order"
            return f"{self.folder}: {found}: {' '.join(' '.join(self.faults).split())}"
        return f"{self.folder}: {self.values:,} values of {len(self.results)} results compared, {told}"


@dataclass(frozen=True)
class Reruns:
    """All of them, in the order they were named."""

    found: tuple[Rerun, ...]

    @property
    def table(self) -> pd.DataFrame:
        """One row a value that moved: folder, result, at, kind, stored, now; what is words alone stands last."""
        moved = [(item.folder, result, one) for item in self.found for result, one in item.moved]
        moved.sort(key=lambda row: row[2].in_words)
        rows = [[folder, result, one.at, one.kind, one.stored, one.now] for folder, result, one in moved]
        return pd.DataFrame(rows, columns=["folder", "result", "at", "kind", "stored", "now"], dtype=object)

    def require(self) -> None:
        """Nothing, when nothing moved and all could be compared.

        Raises
        ------
        IntegrityError
            When sealed or received bytes of one of them are not what they were.
        CampaignError
            When a value moved, or a campaign could not be worked out or compared.
        """
        wrong = [item for item in self.found if item.moved or item.faults]
        if not wrong:
            return
        error = IntegrityError if any(item.broken for item in wrong) else CampaignError
        raise error(
            "\n".join([f"{len(wrong)} of {len(self.found)} campaigns are not as stored:"]
                      + [f"  {item.sentence}" for item in wrong])
        )  # fmt: skip

    def to_json(self) -> dict[str, Any]:
        """in_order, rules{}, campaigns[] with folder, campaign, results[], values, moved[] and faults[]."""
        return stamp.plain(
            {
                "in_order": not any(item.moved or item.faults for item in self.found),
                "rules": compared.RULES,
                "campaigns": [
                    {
                        "folder": item.folder,
                        "campaign": item.campaign or None,
                        "results": list(item.results),
                        "values": item.values,
                        "moved": [
                            {"result": result, "at": one.at, "kind": one.kind, "stored": one.stored, "now": one.now}
                            for result, one in item.moved
                        ],
                        "faults": list(item.faults),
                    }
                    for item in self.found
                ],
            }
        )

    def __repr__(self) -> str:
        """A sentence a campaign, then what moved."""
        table = [filled(self.table).to_string(index=False)] if len(self.table) else []
        return "\n".join([*(item.sentence for item in self.found), *table])


def rerun(
    folders: Sequence[str],
    *,
    processes: int | None = None,
    engine: str = "auto",
    progress: Callable[[int, int], None] | None = None,
) -> Reruns:
    """Work campaigns out again from their raw files and compare every stored result; writes nothing.

    Parameters
    ----------
    folders : sequence of str
        Campaign folders. One that is not in order does not stop the others.
    processes, engine, progress
        As in ``parallel.run_many``.

    Returns
    -------
    Reruns
        In the order of the folders, the same with any number of processes.
    """
    return Reruns(tuple(parallel.run_many(one, list(folders), processes=processes, engine=engine, progress=progress)))


def one(folder: str) -> Rerun:
    """One campaign worked out again; what is wrong with it is told in it."""
    try:
        campaign = campaign_folder.open_campaign(folder)
    except (WearbookError, OSError) as problem:
        return Rerun(folder, "", (), 0, (), (_told(problem),))
    results: list[str] = []
    moved: list[tuple[str, Difference]] = []
    faults: list[str] = []
    values, broken = 0, False
    read = functools.cache(campaign.records)
    for call in (_plans, _sized, _simulated, _looked, _analysed, _booked):
        try:
            for name, (found, compared_here) in call(campaign, read).items():
                results.append(name)
                moved += [(name, item) for item in found]
                values += compared_here
        # A file that may not be read stops its own campaign only, as everything else that is wrong with one.
        except (WearbookError, OSError) as problem:
            # The same records are read for every result, and are told once.
            faults += [_told(problem)] if _told(problem) not in faults else []
            broken = broken or isinstance(problem, IntegrityError)
    # A look at a plan comes with its seal and is no answer yet.
    answers = [name for name in results if name.startswith("derived/") and not name.startswith(_LOOKS)]
    if not faults and not answers:
        faults.append("no result is stored in derived/, so there is nothing to compare. Run `wearbook analyse` first.")
    return Rerun(folder, campaign.brief.id, tuple(results), values, tuple(moved), tuple(faults), broken)


def _told(problem: WearbookError | OSError) -> str:
    """What is wrong, with its place."""
    if isinstance(problem, OSError):
        return f"{problem.filename or 'storage'}: {problem.strerror or problem}. Mend its permissions."
    return str(problem)


# Tables that versions before this one did not write: where they are not stored there is nothing to compare.
_ADDED = ("recorded_outside",)
_Found = dict[str, tuple[list[Difference], int]]
# The records of the campaign, read once for those results that rest on them.
_Read = Callable[[], Records]


def _plans(campaign: Campaign, _: _Read) -> _Found:
    """Every sealed plan that was not amended, drawn again."""
    made: _Found = {}
    for phase in PHASES:
        if campaign.sealed(phase) and not campaign.plan(phase).get("amendment"):
            drawn = orders.randomise(planning.designed(campaign.brief, phase), seed=campaign.brief.seed).table
            there = campaign.order(phase)
            name = f"{seal.folder_of(Path(), phase).as_posix()}/runs.csv"
            made[name] = compared.rows(_as_text(there), _as_text(drawn))
    return made


def _sized(campaign: Campaign, read: _Read) -> _Found:
    """The stored sizing against a new one."""
    stored, lines = stored_results.document(campaign, SIZING), stored_results.content(campaign, CHOSEN)
    if stored is None:
        if lines is not None:
            raise CampaignError(f"{CHOSEN} is stored without {SIZING}. Write both anew: `wearbook size`.")
        return {}
    now = sizing.sizing_of(campaign, read())
    made = {SIZING: compared.differences(stored, stamp.plain(now.to_json()))}
    if lines is not None:
        made[CHOSEN] = compared.lines(_lines(lines), _lines(chosen_lines.toml(now).encode()))
    return made


def _simulated(campaign: Campaign, _: _Read) -> _Found:
    """The stored simulation against a new one of as many campaigns from the same seed."""
    stored = stored_results.document(campaign, SIMULATED)
    if stored is None:
        return {}
    campaigns = stored.get("campaigns")
    if not isinstance(campaigns, int):
        raise CampaignError(f"{SIMULATED} does not say how many campaigns were simulated. Write it anew with its verb.")
    now = simulating.simulation_of(campaign, campaigns=campaigns, engine="serial").to_json()
    # Whether campaign.toml chose the plan already when it was simulated says nothing of the figures.
    stored.pop("chosen", None)
    return {SIMULATED: compared.differences(stored, stamp.plain(now), simulated=True)}


def _looked(campaign: Campaign, read: _Read) -> _Found:
    """The stored look at each sealed plan against a new one."""
    made: _Found = {}
    sealed = [phase for phase in PHASES if campaign.sealed(phase)]
    # With derived/ thrown away there is nothing to compare; where other results lie, the looks belong to them.
    others = any((campaign.folder / name).is_file() for name in (ANALYSIS, SIZING))
    for phase in sealed:
        path = f"derived/{looking.file_name(phase)}"
        stored = stored_results.document(campaign, path)
        if stored is not None:
            now = planning.look_as_named(campaign, phase, str(stored.get("design")), read())
            made[path] = compared.differences(stored, stamp.plain(now.to_json()))
        elif others and _leaves_a_look(campaign.plan(phase)):
            made[path] = ([Difference("", compared.ROWS, "no such file", "a look at the plan")], 1)
    return made


def _leaves_a_look(plan: Mapping[str, Any]) -> bool:
    """Whether the version that sealed a plan wrote a look beside it."""
    found = re.match(r"(\d+)\.(\d+)", str(plan["versions"].get("wearbook", "")))
    return found is not None and (int(found[1]), int(found[2])) >= _FIRST_LOOKS


def _analysed(campaign: Campaign, read: _Read) -> _Found:
    """The stored analysis and its tables against new ones."""
    stored = stored_results.document(campaign, ANALYSIS)
    if stored is None:
        if (campaign.folder / _ITS_TABLE).is_file():
            raise CampaignError(f"{_ITS_TABLE} is stored without {ANALYSIS}. Write both anew: `wearbook analyse`.")
        return {}
    found = steps.analysis_of(campaign, found=read())
    made = {ANALYSIS: compared.differences(stored, stamp.plain(found.to_json()))}
    for name, table in found.tables().items():
        path = f"derived/{name}.csv"
        if not (campaign.folder / path).is_file():
            # The other tables are compared all the same.
            lost = Difference("", compared.ROWS, "no such file", counted(len(table), "row"))
            made |= {} if name in _ADDED else {path: ([lost], 1)}
            continue
        made[path] = compared.rows(stored_results.rows(campaign, path), stored_results.parsed(csv_text(table)))
    return made


def _booked(campaign: Campaign, _: _Read) -> _Found:
    """The stored dates and calendar against new ones."""
    made: _Found = {}
    for phase in PHASES:
        table, days = (f"derived/booking-{phase}.{kind}" for kind in ("csv", "ics"))
        there = [path for path in (table, days) if (campaign.folder / path).is_file()]
        if not there:
            continue
        if campaign.brief.booking is None:
            raise CampaignError(f"{there[0]} is stored and campaign.toml has no [booking] any more. Take it away.")
        now = booking.of_phase(campaign, phase)
        if table in there:
            rows = stored_results.parsed(csv_text(now.table))
            made[table] = compared.rows(stored_results.rows(campaign, table), rows)
        stored = stored_results.content(campaign, days)
        if stored is not None:
            # When it was made and how often before is no result: a calendar taken in twice counts by it.
            new = booking.calendar_of(campaign, now, days)
            made[days] = compared.lines(calendar_file.said(stored), calendar_file.said(new))
    return made


def _lines(content: bytes) -> list[str]:
    """The lines of a text, each with its end."""
    return content.decode("utf-8", "replace").splitlines(keepends=True)


def _as_text(table: pd.DataFrame | None) -> list[dict[str, str]]:
    """The rows of a run list as text."""
    return [] if table is None else [{key: str(cell) for key, cell in row.items()} for row in table.to_dict("records")]
