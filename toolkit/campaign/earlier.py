"""Scatter of finished campaigns, read from their folders, beside the rig's history table (rank 9). Writes nothing."""

from __future__ import annotations

import os
from pathlib import Path

import pandas as pd

from toolkit.brief.model import Response
from toolkit.campaign.folder import BRIEF, Campaign, open_campaign
from toolkit.design import strata, units
from toolkit.errors import WearbookError
from toolkit.intake import columns
from toolkit.intake.records import Records
from toolkit.model import fit as model_fit
from toolkit.model.fit import Fit
from toolkit.size.rig_memory import AS_NOW, REFUSED


def with_campaigns(campaign: Campaign, history: pd.DataFrame | None) -> pd.DataFrame | None:
    """The history of the rig with the campaigns that the brief names by their folders.

    Parameters
    ----------
    campaign : Campaign
    history : DataFrame or None
        The table of earlier campaigns, as it was read.

    Returns
    -------
    DataFrame or None
        The columns of the table and ``refused``: why a campaign does not count (blank: it does); None where nothing is
        named. A folder without a usable campaign is one row without a response.
    """
    paths = campaign.brief.scatter.campaigns
    if not paths:
        return history
    known = set() if history is None else set(history["campaign_id"].astype(str))
    rows = [row for path in paths for row in _rows(campaign, path, known)]
    read = pd.DataFrame(rows, columns=[*columns.HISTORY, REFUSED])
    if history is None or history.empty:
        return read
    return pd.concat([history.assign(**{REFUSED: ""}), read], ignore_index=True)


def _rows(campaign: Campaign, path: str, known: set[str]) -> list[dict[str, object]]:
    """One campaign: a row a response, or one that says why none."""
    place = Path(campaign.folder) / path
    if not os.path.isfile(place / BRIEF):
        return [_row(path, None, f"there is no campaign in that folder (no {BRIEF})")]
    if place.resolve() == Path(campaign.folder).resolve():
        return [_row(path, None, "it is this campaign")]
    try:
        other = open_campaign(place)
        name = other.brief.id
        reason = _not_finished(other) or _other_rig(campaign, other)
        found = None if reason else other.records(as_sealed=True)
    except WearbookError as problem:
        return [_row(path, None, f"it cannot be read: {str(problem).splitlines()[0].rstrip('.')}")]
    if name in known:
        reason = "it stands in the history table too, and counts once"
    reason = reason or _still_waiting(other, found)
    if reason or found is None:
        return [_row(name, None, reason)]
    return [_of_response(campaign, other, found, response) for response in campaign.brief.responses]


def _not_finished(other: Campaign) -> str:
    """Why a campaign has no plan whose scatter could count."""
    return "" if other.sealed("main") else "its main phase was never planned and sealed"


def _other_rig(campaign: Campaign, other: Campaign) -> str:
    """Why a campaign was run on another rig, or on this one before it was rebuilt."""
    ours, theirs = campaign.brief.scatter.rig.strip(), other.brief.scatter.rig.strip()
    if not ours or not theirs or ours.casefold() == theirs.casefold():
        return ""
    return f"its rig is '{theirs}', and this campaign's is '{ours}'"


def _still_waiting(other: Campaign, found: Records | None) -> str:
    """Why a campaign is not finished: runs of its plan that are not made or not judged."""
    if found is None:
        return ""
    runs = found.runs[found.runs["phase"] == "main"]
    order = other.order("main", as_sealed=True)
    waiting = set() if order is None else set(order["run_id"]) - set(runs["run_id"])
    waiting |= set(runs.loc[runs["verdict"] == "pending", "run_id"])
    if not waiting:
        return ""
    return f"it is not finished: {len(waiting)} run{'s are' if len(waiting) > 1 else ' is'} not made or not judged"


def _of_response(campaign: Campaign, other: Campaign, found: Records, response: Response) -> dict[str, object]:
    """The scatter between runs of one response in a finished campaign, or why it does not count."""
    name = other.brief.id
    theirs = next((item for item in other.brief.responses if item.name == response.name), None)
    if theirs is None:
        return _row(name, response.name, f"it has no response '{response.name}'")
    row = _row(name, response.name, _averaged(theirs, response), theirs)
    if row[REFUSED] or theirs.scale != response.scale or theirs.per_run != response.per_run:
        return row
    try:
        made = model_fit.fit(other.brief, found.runs, response.name, phase="main")
    except WearbookError as problem:
        return {**row, REFUSED: f"it cannot be analysed: {str(problem).splitlines()[0].rstrip('.')}"}
    square, df = made.mean_squares.get("run", (None, 0))
    if not square or df < 1:
        return {**row, REFUSED: "its runs leave no degrees of freedom for scatter"}
    return {**row, "sd": float(square) ** 0.5, "df": float(df), REFUSED: _other_layer(campaign, made)}


def _averaged(theirs: Response, ours: Response) -> str:
    """Why run values of two campaigns are not the same average of stations."""
    pairs = [None if item.stations is None else (item.stations.count, item.stations.kind) for item in (theirs, ours)]
    if pairs[0] == pairs[1] or ours.per_run == "max":
        return ""
    told = ["no stations" if pair is None else f"{pair[0]} stations ({pair[1]})" for pair in pairs]
    return f"its run values rest on {told[0]}, here on {told[1]}"


def _other_layer(campaign: Campaign, made: Fit) -> str:
    """Why its runs scatter between other units than the runs here: over all builds there, within a unit here."""
    within = [_within(strata.layout_of(campaign.brief)), _within(made.strata.layout)]
    if within[0] == within[1] or made.strata.runs["build_id"].nunique() == 1:
        return ""
    here, there = (f"within a {units.NAMES['build']}" if inside else "over all runs" for inside in within)
    return f"its scatter is that of runs {there}, and here it is that {here}"


def _within(layout: str) -> bool:
    """True where runs are judged within units that hold several."""
    return layout != strata.RANDOMISED


def _row(name: str, response: str | None, reason: str, theirs: Response | None = None) -> dict[str, object]:
    """One row of the history."""
    return {
        "campaign_id": name,
        "response": response,
        "scale": None if theirs is None else theirs.scale,
        "per_run": None if theirs is None else theirs.per_run,
        "stratum": "run",
        "sd": None,
        "df": None,
        "rig_state": AS_NOW,
        REFUSED: reason,
    }
