"""Files put right once wear of their runs has been seen: held up unless it is said, and marked then (rank 9).

The rule is one, whether a file is taken back or replaced, or a table kept by hand changed: it goes by the runs that
the file told figures of, of a table by the runs whose figures were changed or taken away.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from toolkit.campaign import grown, log, manifest
from toolkit.campaign.folder import Campaign
from toolkit.campaign.manifest import Entry
from toolkit.errors import Fault, IntakeError
from toolkit.intake import dyno_runs, gathered, masters, trace_files
from toolkit.intake import records as intake_records
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


def altered_of(
    campaign: Campaign, rows: Sequence[Mapping[str, str]], table: str, old: bytes, new: bytes
) -> tuple[str, ...]:
    """The runs whose figures in a table kept by hand were changed or taken away, of those whose wear has been seen.

    Parameters
    ----------
    campaign : Campaign
    rows : sequence of mapping
        The log.
    table : str
        Its path in the folder.
    old, new : bytes
        As it was taken in, and as it is now.

    Returns
    -------
    tuple of str
        Every run seen where a changed line names neither a run nor a code that leads to one; none of tables that tell
        nothing of runs, and none for lines that were added and cells filled in.
    """
    looked = tuple(log.seen(rows))
    if not looked:
        return ()
    if table.startswith(f"{trace_files.FOLDER}/"):
        run = dyno_runs.run_of(table.rpartition("/")[2], looked)
        return ((run,) if run else looked) if grown.lost(old, new) else ()
    of_masters = table == masters.NAME and any(item.correct != "none" for item in campaign.brief.masters)
    if not of_masters and table not in (intake_records.RUNS, intake_records.STATIONS, intake_records.OIL):
        return ()
    lines = grown.altered(old, new)
    named = [line.get("run_id", "") for line in lines]
    if lines and not all(named):
        # Codes lead to a run by what was issued and fitted, as the records have it.
        try:
            codes = _codes(campaign.records())
        except IntakeError:
            codes = {}
        named = [
            line.get("run_id") or codes.get(line.get("part_id") or line.get("sample_id") or "", "") for line in lines
        ]
    return looked if not all(named) else tuple(run for run in looked if run in named)


def _codes(found: Records) -> dict[str, str]:
    """Code of a part or a sample to its run."""
    made = {}
    for table, code in ((found.readings, "part_id"), (found.oil, "sample_id"), (found.as_built, "part_id")):
        if table is not None:
            made |= dict(zip(table[code].astype(str), table["run_id"].astype(str), strict=True))
    return made


def seen(rows: Sequence[Mapping[str, str]], runs: Sequence[str]) -> tuple[str, ...]:
    """Those among some runs whose wear has been seen, by the rows of the log."""
    looked = log.seen(rows)
    return tuple(run for run in runs if run in looked)


def fault(rows: Sequence[Mapping[str, str]], late: Sequence[str], where: str, done: str) -> Fault:
    """What is wrong with a file 'taken back', 'replaced' or 'changed' after wear of these of its runs was seen."""
    looked = log.seen(rows)
    return Fault(
        where,
        f"wear of {gathered.some(sorted(late))} was seen on {min(looked[run][0] for run in late)}",
        f"files {done} before wear of their runs is looked at",
        f"With --after-look it is {done} all the same, and marked as such wherever it is told.",
    )
