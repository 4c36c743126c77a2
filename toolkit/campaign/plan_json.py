"""What a plan.json holds, the seal over it, and what the log is told of it; nothing here reads or writes (rank 9)."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.campaign import order_words
from toolkit.design import alias_words, base, further_runs, in_builds, optimal, plots_fraction, swaps
from toolkit.design.design import Design
from toolkit.design.orders import Order
from toolkit.design.strata import Strata

# Keys of plan.json that its checksum cannot cover: itself, and the row of the log that holds it.
CHECKSUM, ROW = "plan_sha256", "log_row"
# What an amended plan.json says beside; its seal covers it.
AMENDMENT = (
    *("amendment", "replaces", "reason", "role", "asked", "changed", "lost", "builds_of_design"),
    *("stayed", "added", "dropped", "redrawn", "moved", "amendment_seed"),
)
_TOLD = ("amendment", "replaces", "changed", "lost", "added", "dropped", "redrawn", "moved", "amendment_seed", CHECKSUM)


def runs_csv(table: pd.DataFrame) -> str:
    """A run list as CSV."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(table.columns)
    writer.writerows(table.astype(str).to_numpy().tolist())
    return out.getvalue()


def seal_of(brief: Mapping[str, Any], phase: str, runs: str, earlier: Mapping[str, str], amended: Any = None) -> str:
    """The seal: sha256 over what it covers of the brief, the run list, the seals of earlier phases, an amendment."""
    whole = {"brief": dict(brief), "phase": phase, "runs": runs, "earlier": dict(earlier)}
    return stamp.checksum({**whole, "amended": amended} if amended else whole)


def amendment_of(plan: Mapping[str, Any]) -> dict[str, Any] | None:
    """What the seal of an amended plan covers beside; None for a plan that was not amended."""
    return {key: plan[key] for key in AMENDMENT} if plan.get("amendment") else None


def checksum(plan: Mapping[str, Any]) -> str:
    """The checksum of a whole plan.json but for the two keys that cannot be in it."""
    return stamp.checksum({key: value for key, value in plan.items() if key not in (CHECKSUM, ROW)})


def aliases_of(design: Design, judged: Strata | None = None) -> dict[str, Any]:
    """What each effect could also be, where the design runs a part of the combinations; nothing elsewhere.

    Of an extension in the runs of both phases, which ``judged`` are the strata of.
    """
    brief = design.brief if design.phase == "extension" else base.alone(design.brief)
    if in_builds.used(brief):
        return in_builds.as_plain(brief)
    if not base.part(brief):
        return {}
    laid = design.strata if judged is None else judged
    names = brief.factor_names
    if base.joined(brief):
        defining = further_runs.words(brief)
    else:
        found = base.of_brief(brief).fraction
        defining = None if found is None else found.words
    return {
        "aliases": [line.to_dict() for line in alias_words.of_strata(laid)],
        "given_up_to_builds": alias_words.builds_words(laid) or None,
        "defining_words": None if defining is None else [[names[at] for at in word] for word in defining],
        **optimal.in_plan(brief),
        **({"taken_up_by_units": list(told)} if (told := plots_fraction.sentences(brief)) else {}),
    }


def order_set_of(order: Order) -> dict[str, Any]:
    """The orders that a plan was drawn from and what they leave to the exact test, where the brief limits them."""
    if order.limited is None:
        return {}
    floors = stamp.records(swaps.floors(order.design.brief, order.table))
    return {order_words.KEY: stamp.plain({**order.limited.to_dict(), "exact": floors})}


def text(plan: Mapping[str, Any]) -> str:
    """plan.json as it is written."""
    return json.dumps(plan, indent=1, ensure_ascii=False, sort_keys=True, allow_nan=False) + "\n"


def intent(plan: Mapping[str, Any]) -> str:
    """What the log is told before the plan is written: its checksum; of an amendment also what it does."""
    if plan.get("amendment"):
        return stamp.canonical({key: plan[key] for key in _TOLD})
    return f"plan.json {plan[CHECKSUM]}"
