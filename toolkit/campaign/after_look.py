"""Files put right once wear of their runs has been seen: held up unless it is said, and marked then (rank 9).

The rule is one, whether a file is taken back or replaced: it goes by the runs that the file told figures of.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from toolkit.campaign import log, manifest
from toolkit.campaign.folder import Campaign
from toolkit.campaign.manifest import Entry
from toolkit.errors import Fault, IntakeError
from toolkit.intake import dyno_runs, gathered
from toolkit.intake.records import Records


def runs_of(found: Records, entry: Entry) -> tuple[str, ...]:
    """The runs that a file taken in tells figures of."""
    if entry.recording:
        run = dyno_runs.run_of(entry.file.rpartition("/")[2], list(found.runs["run_id"]))
        return (run,) if run else ()
    where = found.sources
    return tuple(str(run) for run in dict.fromkeys(where.loc[where["file"] == entry.file, "run_id"]))


def told_of(campaign: Campaign, rows: Sequence[Mapping[str, str]], old: str) -> tuple[str, ...]:
    """The runs that a file, by its name in the folder, tells figures of; none before any look: nobody needs to know."""
    if not log.seen(rows):
        return ()
    try:
        found = campaign.records()
    except IntakeError:
        # Told with all others when everything is read.
        return ()
    return runs_of(found, next(item for item in manifest.standing(rows) if item.file == old))


def seen(rows: Sequence[Mapping[str, str]], runs: Sequence[str]) -> tuple[str, ...]:
    """Those among some runs whose wear has been seen, by the rows of the log."""
    looked = log.seen(rows)
    return tuple(run for run in runs if run in looked)


def fault(rows: Sequence[Mapping[str, str]], late: Sequence[str], where: str, done: str) -> Fault:
    """What is wrong with a file 'taken back' or 'replaced' after wear of these of its runs was seen."""
    looked = log.seen(rows)
    return Fault(
        where,
        f"wear of {gathered.some(late)} was seen on {min(looked[run][0] for run in late)}",
        f"files {done} before wear of their runs is looked at",
        f"With --after-look it is {done} all the same, and marked as such wherever it is told.",
    )
