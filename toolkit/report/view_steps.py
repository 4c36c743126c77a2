"""What the notebooks show of the work around the runs: sheets, dates, what came back, what is next (rank 10)."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from pathlib import Path

from toolkit.campaign import booking, recordings, status, taking
from toolkit.campaign import folder as campaign_folder
from toolkit.campaign.booking import Booked
from toolkit.campaign.folder import Campaign
from toolkit.campaign.sheets import Issued
from toolkit.campaign.status import Status
from toolkit.campaign.taking import Taken
from toolkit.errors import CampaignError, SizingError
from toolkit.intake import columns
from toolkit.intake import records as intake_records
from toolkit.report import tables
from toolkit.report.notebooks import TEMPLATES
from toolkit.report.table import NONE, Table
from toolkit.report.view import Shown

_VERB = re.compile(r"\bwearbook (\w+)[^,;()]*")
# What is still to come is told by the table of runs.
_TO_COME = ("no record yet", "no value")


def hours(text: str | Sequence[float]) -> list[float] | None:
    """Hours as they were typed: '0, 20, 40', or a list of them; None for an empty text.

    Raises
    ------
    CampaignError
        When they are no numbers.

    Examples
    --------
    >>> hours("0, 20, 40")
    [0.0, 20.0, 40.0]
    """
    text = str(text) if isinstance(text, str | int | float) else ", ".join(map(str, text))
    if not text.strip():
        return None
    try:
        return [float(word) for word in text.split(",")]
    except ValueError as problem:
        raise CampaignError(f"oil_at '{text}': expected hours with commas between, as 0, 20, 40.") from problem


def issued(made: Issued) -> Shown:
    """Which part goes on which run, when oil is sampled, which files lie where."""
    parts = made.register.parts
    samples = made.register.samples
    spares = parts.loc[parts["spare"] == "yes", "part_id"]
    rows = [(row["run_id"], row["part_id"], row["sheet"]) for row in made.table.to_dict("records")]
    caption = f"Run sheets of the {made.register.phase} phase"
    told: list[object] = [tables.plain(caption, ("run", "part", "sheet"), rows)]
    told.append(f"Spare parts: {', '.join(spares)}.")
    at = list(dict.fromkeys(samples["at_h"]))
    told += [f"Oil is sampled at {', '.join(at)} h: {len(samples)} samples."] if at else []
    others = [name for name in made.files if name not in set(made.table["sheet"])]
    told.append(f"Also: {', '.join(others)}.")
    if made.withdrawn:
        told.append(f"Withdrawn by the amendment, take the old ones back: {', '.join(made.withdrawn)}.")
    return Shown(told)


def dates(campaign: Campaign, phase: str) -> Shown:
    """When the test cell is needed, parts are ordered and figures are back; writes the calendar file.

    Where campaign.toml does not say when the cell works, what to write there.
    """
    if campaign.brief.booking is None:
        return Shown([booking.NEEDED])
    try:
        made = booking.book(campaign, phase=phase)
    except SizingError as problem:
        return Shown([str(problem)])
    return Shown([*made.sentences, dates_table(made), f"Calendar file: {made.written[-1]}."])


def main_dates(campaign: Campaign) -> Table | None:
    """When the main phase was booked for; None without a plan of it, or where nothing says when the test cell works."""
    if campaign.brief.booking is None or not campaign.sealed("main"):
        return None
    try:
        return dates_table(booking.of_phase(campaign, "main"))
    except SizingError:
        return None


def dates_table(made: Booked) -> Table:
    """The dates of a phase as a table, without columns that nothing is said in."""
    head = ("what", "build", "begins", "ends", "hours", "parts measured by", "oil figures by")
    rows = [
        (
            f"{row['what']} {row['of']}".strip(),
            row["build_id"] or NONE,
            row["begins"],
            row["ends"],
            f"{row['hours']:,.0f}",
            row["measured_by"] or NONE,
            row["oil_back_by"] or NONE,
        )
        for row in made.table.to_dict("records")
    ]
    table = Table(f"Dates of the {made.phase} phase", head, tuple(rows), ("hours",), breaks=True)
    return table.without(*(name for at, name in enumerate(head) if at > 4 and all(row[at] == NONE for row in rows)))


def take(campaign: Campaign, files: str | Sequence[str]) -> Taken | Shown:
    """What was taken in: these files, with ; between, or the tables kept by hand; what is awaited where none is there.

    Raises
    ------
    CampaignError
        When names stand with commas between.
    WearbookError
        When a file cannot be read whole; nothing is taken in then.
    """
    given = files.split(";") if isinstance(files, str) else files
    named = [name.strip() for name in given if name.strip()]
    for name in named:
        if "," in name and not Path(name).exists():
            expected = "names with ; between, as R05.xlsx; after.xlsx"
            raise CampaignError(f"files '{name}': no such file; expected {expected}.")
    kept = campaign_folder.kept_by_hand(campaign.brief)
    there = any((campaign.folder / name).is_file() for name in kept)
    if not named and not there and not recordings.not_taken_in(campaign.folder, ()):
        # A table that nothing is written into is not asked for.
        stations = columns.of_source(campaign.brief, "stations")
        asked = [name for name in kept if stations or name != intake_records.STATIONS]
        return Shown([f"Nothing has come back yet. Name files above, or keep tables by hand: {', '.join(asked)}."])
    return taking.take(campaign, named)


def taken(made: Taken | Shown) -> Shown:
    """What came in, and what it says that needs a look."""
    if isinstance(made, Shown):
        return made
    told: list[object] = []
    rows = [
        (item.given_as, item.kind, ", ".join(made.runs.get(item.file, ())) or NONE, item.file) for item in made.new
    ]
    if rows:
        told.append(tables.plain("Taken in now", ("file", "read as", "tells of", "kept as"), rows))
    if made.already:
        told.append(f"Taken in before, unchanged: {', '.join(item.given_as for item in made.already)}.")
    news = made.findings[~made.findings["rule"].isin(_TO_COME)]
    told += [tables.findings(news)] if len(news) else ["Nothing in it needs a look."]
    return Shown(told)


def stood(found: Status) -> Shown:
    """How far each run has come and what it lacks; nothing that was measured is shown."""
    head = ("run", "phase", "build", "stage", "verdict", "missing", "off plan or protocol")
    columns = ("run_id", "phase", "build_id", "stage", "verdict", "missing", "deviations")
    rows = [tuple(str(row[name]) or NONE for name in columns) for row in found.table.to_dict("records")]
    told: list[object] = [tables.plain("Runs", head, rows)] if rows else ["No run is planned or on record yet."]
    told += [f"Lost: {run_id}, {why}." for run_id, why in found.lost]
    told += [f"{line}." for line in found.lines]
    return Shown([*told, *([found.faults] if found.faults else [])])


def closing(campaign: Campaign, wrote: Iterable[str], *steps: str, then: bool = True) -> None:
    """Print what was written and what comes next, the last lines of every notebook.

    Parameters
    ----------
    campaign : Campaign
    wrote : iterable of str
        Files under the campaign folder; none: nothing.
    steps : str
        What comes next after this notebook.
    then : bool
        What the campaign's status says comes next follows.

    Examples
    --------
    >>> import tempfile
    >>> from toolkit.campaign import folder, start
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = folder.open_campaign(start.new(f"{place}/trial").folder)
    ...     closing(campaign, ["plan/0-pilot/plan.json"], "make the runs", then=False)
    wrote: plan/0-pilot/plan.json
    next: make the runs
    """
    print("wrote:", ", ".join(wrote) or "nothing")
    for step in (*steps, *(status.status(campaign).next if then else ())):
        print("next:", _with_notebook(step))


def _with_notebook(step: str) -> str:
    """A step with the notebook in which it can be made, where there is one."""
    found = _VERB.search(step)
    step = step.replace(" CAMPAIGN", " .")
    if found is None or found.group(1) not in TEMPLATES:
        return step
    return step.replace(f"wearbook {found.group(1)}", f"{found.group(1)}.ipynb, or wearbook {found.group(1)}", 1)
