"""What a notebook shows of one run: the files that tell of it, what was found, and its row in the table (rank 10)."""

from __future__ import annotations

from toolkit import measured_in
from toolkit.campaign.folder import Campaign
from toolkit.errors import CampaignError, listing, nearest
from toolkit.intake.records import Records
from toolkit.plot import answers
from toolkit.report import record_tables
from toolkit.report import table as cells
from toolkit.report.table import NONE, plain
from toolkit.report.view import Shown


def files(campaign: Campaign, run_id: str) -> Shown:
    """Every file of the campaign that tells of a run, with how many lines of it do.

    Parameters
    ----------
    campaign : Campaign
    run_id : str
    """
    rows = []
    for path in campaign.raw_files:
        name = path.relative_to(campaign.folder).as_posix()
        lines = path.read_bytes().decode("utf-8", errors="replace").splitlines()
        count = len(lines) - 1 if path.name.split("_")[0] == run_id else 0
        count = count or sum(line.split(",")[0] == run_id for line in lines)
        if count:
            rows.append((name, str(count)))
    return Shown([plain(f"What tells of {run_id}", ("file", "lines"), rows, ("lines",))])


def found(records: Records, run_id: str) -> Shown:
    """What was noticed about a run."""
    mine = records.findings[records.findings["run_id"] == run_id]
    return Shown([record_tables.findings(mine)] if len(mine) else [f"Nothing was noticed about {run_id}."])


def row(records: Records, run_id: str) -> Shown:
    """The run in the table of run values: every response with its uncertainty by the gauge.

    Parameters
    ----------
    records : Records
    run_id : str

    Raises
    ------
    CampaignError
        When there is no such run.
    """
    runs = records.runs.set_index("run_id")
    if run_id not in runs.index:
        names = list(map(str, runs.index))
        told = f"run '{run_id}': no such run on record; expected {listing(names)}. {nearest(run_id, names)}"
        raise CampaignError(told.rstrip())
    values = runs.loc[run_id]
    known = records.metrology.uncertainty.set_index(["run_id", "response"])
    rows = []
    for item in records.brief.responses:
        unit = item.measured_in
        key = (run_id, item.name)
        sure = known.loc[key] if key in known.index else None
        parts = [NONE] * 3 if sure is None else [
            cells.number(sure["as_read"]), cells.number(sure["combined_sd"]), answers.text(sure["source"]) or NONE
        ]  # fmt: skip
        rows.append((measured_in.label(item.name), item.per_run, f"{cells.number(values[item.name])} {unit}", *parts))
    head = ("response", "made by", "run value", "without correction", "standard uncertainty", "known")
    treated = ", ".join(f"{name} {values[name]}" for name in records.brief.factor_names)
    caption = f"{run_id} ({treated}), {values['verdict']}"
    return Shown([plain(caption, head, rows, head[2:5])])
