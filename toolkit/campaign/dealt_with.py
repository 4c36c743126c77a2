"""Void runs that an amendment dealt with: their findings say what was done, and not what could be (rank 9)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pandas as pd

from toolkit.campaign.folder import Campaign
from toolkit.decide.analysis import Analysis
from toolkit.design.orders import PHASES


def told(campaign: Campaign, found: Analysis) -> Analysis:
    """The analysis, in which the finding of a void run says by which run it was repeated or replaced.

    Parameters
    ----------
    campaign : Campaign
    found : Analysis
    """
    plans = [campaign.plan(phase) for phase in PHASES if campaign.sealed(phase)]
    ledger = {str(item["run_id"]): item for plan in plans for item in plan.get("lost", ())}
    if not ledger:
        return found
    runs = found.records.runs
    valid = set(runs.loc[runs["verdict"] == "valid", "run_id"].astype(str))
    said = {name: _action(item, valid) for name, item in ledger.items()}
    return replace(
        found,
        responses={
            name: replace(item, findings=_findings(item.findings, said)) for name, item in found.responses.items()
        },
    )


def _action(item: Mapping[str, Any], valid: set[str]) -> str:
    """What was done about a lost run."""
    by = f"(amendment {item['amendment']})"
    instead = str(item["instead"])
    if not instead:
        return f"left out of the analysis; the plan goes on without it {by}"
    done = {"repeat": "repeated", "replace": "replaced"}[item["choice"]]
    if instead in valid:
        return f"left out of the analysis; it was {done} by {instead} {by}"
    return f"left out of the analysis; it is to be {done} by {instead} {by}, of which nothing valid is on record yet"


def _findings(table: pd.DataFrame, said: Mapping[str, str]) -> pd.DataFrame:
    """Findings with what was done in the place of what could be."""
    if not len(table):
        return table
    mine = (table["rule"] == "run verdict") & (table["severity"] == "exclude") & table["run_id"].isin(list(said))
    return table.assign(
        action=[said[str(run)] if own else action
                for run, own, action in zip(table["run_id"], mine, table["action"], strict=True)]
    )  # fmt: skip
