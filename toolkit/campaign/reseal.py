"""Sealing another plan in the place of a sealed one (rank 9).

The log is told first (`amending`: what is drawn anew, added and taken out, with reason and role), then the plan in
force is copied whole into amended-<n>/, then runs.csv, plan.json, the printable page and blank tables of added runs are
written, then the log is told that it is done (`amended`). While plan.json is the old one, the copy is what counts
(``seal.place``): a command that was stopped on the way is repeated, and what it had written binds nobody. Once
plan.json is the new one, it counts.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.campaign import log, plan_json, plan_page, seal, storage
from toolkit.campaign.written import csv_text
from toolkit.design.orders import Order
from toolkit.intake import blank

_KEPT = ("plan.html", "runs.csv", "plan.json")


def write(campaign: Path, order: Order, plan: Mapping[str, Any]) -> dict[str, Any]:
    """Seal an amended plan; the caller holds the lock. Gives what plan.json holds.

    Parameters
    ----------
    campaign : Path
    order : Order
        The run list in its new order.
    plan : mapping
        What plan.json is to hold but for seal, checksums and the state of the log.
    """
    phase = order.design.phase
    target, source = seal.folder_of(campaign, phase), seal.place(campaign, phase)
    copy = seal.kept_in(campaign, phase, plan["amendment"])
    runs = plan_json.runs_csv(order.table)
    rows = log.read(campaign)
    made = {
        **plan,
        "records_head_before": log.records_head(rows)["chain"],
        "looks_before": sum(row["kind"] == log.LOOK for row in rows),
        "runs_sha256": stamp.checksum(runs),
        "versions": stamp.versions(),
    }
    made["seal"] = plan_json.seal_of(made["brief"], phase, runs, made["earlier_seals"], plan_json.amendment_of(made))
    made[plan_json.CHECKSUM] = plan_json.checksum(made)
    made[plan_json.ROW] = log.append(
        campaign,
        kind=log.AMENDING,
        phase=phase,
        subject=made["seal"],
        what=plan_json.intent(made),
        reason=made["reason"],
        role=made["role"],
    )
    # plan.json comes last: the copy counts only when it is whole.
    for name in _KEPT if source != copy else ():
        if (source / name).exists():
            storage.write_bytes(copy / name, (source / name).read_bytes())
    storage.write_text(target / "runs.csv", runs)
    storage.write_text(target / "plan.json", plan_json.text(made))
    finish(campaign, order, made)
    return made


def finish(campaign: Path, order: Order, plan: Mapping[str, Any]) -> None:
    """The page and the blank tables of an amended plan that lies there, and the row that it is done."""
    phase = order.design.phase
    target = seal.folder_of(campaign, phase)
    storage.write_text(target / "plan.html", plan_page.page(order, plan))
    for name, content in blank_of_added(order, plan).items():
        # A table that lies there may be filled in already: it is left as it is.
        if not (target / name).exists():
            storage.write_text(target / name, content)
    log.append(
        campaign,
        kind=log.AMENDED,
        phase=phase,
        subject=str(plan["seal"]),
        what=stamp.canonical({"amendment": plan["amendment"], "runs": len(order.table), "design": plan["design"]}),
        reason=str(plan["reason"]),
        role=str(plan["role"]),
    )


def blank_of_added(order: Order, plan: Mapping[str, Any]) -> dict[str, str]:
    """Blank tables of the runs that an amendment added, by their name in the folder of the plan."""
    table = order.table
    added = table[table["run_id"].isin(plan["added"])].reset_index(drop=True)
    if added.empty:
        return {}
    found: dict[str, pd.DataFrame] = blank.tables(order.design.brief, added)
    return {f"blank/{name}-amended-{plan['amendment']}.csv": csv_text(rows) for name, rows in found.items()}
