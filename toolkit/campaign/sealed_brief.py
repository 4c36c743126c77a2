"""What of the brief a seal covers, how that differs from today's brief, and the brief as it was sealed (rank 9)."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from toolkit import stamp
from toolkit.brief import extensions, plain, reading
from toolkit.brief.dyno_log import OUTSIDE_SEAL
from toolkit.brief.model import Brief, PlanChoice

# Keys of [plan] that came after the first seals.
_LATER_IN_PLAN = (
    *("axial", "interactions_up_to", "keep_clear", "resolution", "runs", "split_over"),
    *("runs_in_build", "baseline_in_every_build", "balance_carry_over"),
    *("criterion", "model", "interactions", "forbidden", "limits", "repeat_points", "plots", "variance_ratio"),
)
_PLAN = json.loads(stamp.canonical(asdict(PlanChoice())))
_OPEN_IN_PILOT = ("plan", "scatter", "comparison", "families", "best_of", "covariate", "order")


def covered(brief: Brief, phase: str) -> dict[str, Any]:
    """What of the brief the seal of a phase covers, as a plain dictionary."""
    whole = json.loads(stamp.canonical(reading.canonical(brief)))
    whole.pop("cost", None)
    # Dates are moved without touching what is run, or how it is judged.
    whole.pop("booking", None)
    # The headings of a laboratory are known only when its file comes.
    whole.pop("received", None)
    # What is left out is not there, so that seals made before these keys were known stay good.
    if not whole.get("best_of"):
        whole.pop("best_of", None)
    if not whole.get("covariate"):
        whole.pop("covariate", None)
    for key in ("oil", "oil_card", "positions"):
        if not whole.get(key):
            whole.pop(key, None)
    for key in ("not_interpretable", "judged_by"):
        if not whole["protocol"][key]:
            whole["protocol"].pop(key)
    if whole.get("dyno_log") is None:
        whole.pop("dyno_log", None)
    else:
        whole["dyno_log"] = {key: item for key, item in whole["dyno_log"].items() if key not in OUTSIDE_SEAL}
    for key in ("traces", "master", "reference"):
        if not whole.get(key):
            whole.pop(key, None)
    # What files are called and how they are headed is known only when they come.
    for rule in whole.get("traces", ()):
        for key in ("files", "columns", "height_in", "decimal"):
            rule.pop(key, None)
    if whole.get("order") is None:
        whole.pop("order", None)
    # What the size is chosen for touches neither the runs nor their analysis.
    whole.pop("sizing", None)
    for key in ("campaigns", "rig", "declared_run_cv_pct"):
        if not whole["scatter"][key]:
            whole["scatter"].pop(key)
    for key in _LATER_IN_PLAN:
        if whole["plan"][key] == _PLAN[key]:
            whole["plan"].pop(key)
    for response in whole["response"]:
        if response["gauge_sd"] is None:
            response.pop("gauge_sd")
        if response["stations"] and not response["stations"]["groups"]:
            response["stations"].pop("groups")
    if whole.get("old_data") is None:
        whole.pop("old_data", None)
    # Decided after the main phase; its own seal holds it.
    if phase != "extension":
        whole.pop("extension", None)
    for key, usual in extensions.LATER.items() if whole.get("extension") else ():
        if whole["extension"][key] == json.loads(stamp.canonical(usual)):
            whole["extension"].pop(key)
    whole["campaign"].pop("question", None)
    for factor in whole["factor"]:
        factor["levels"] = [{"name": level["name"], "value": level["value"]} for level in factor["levels"]]
    if phase == "pilot":
        for key in _OPEN_IN_PILOT:
            whole.pop(key, None)
        for key in ("alpha", "power"):
            whole["campaign"].pop(key, None)
        for response in whole["response"]:
            for key in ("worthwhile_change_pct", "worthwhile_change"):
                response.pop(key, None)
    return whole


def brief_of(held: Mapping[str, Any], brief: Brief) -> Brief:
    """The brief as it was sealed: what the seal covers as it was then, the rest (labels, costs) as it is today.

    Parameters
    ----------
    held : mapping
        ``brief`` of a plan.json.
    brief : Brief
        As campaign.toml has it today.
    """
    today = json.loads(stamp.canonical(reading.canonical(brief)))
    made = {**today, **json.loads(stamp.canonical(held))}
    made["campaign"] = {**today["campaign"], **held["campaign"]}
    # Limits that came later limited no draw.
    made["order"] = held.get("order")
    # How files are written is as it is today; recordings are judged by no rule that was not sealed.
    rules = held.get("dyno_log")
    made["dyno_log"] = {**today["dyno_log"], **rules} if rules and today["dyno_log"] else None
    labels = {
        (factor["name"], level["name"]): level["label"] for factor in today["factor"] for level in factor["levels"]
    }
    for factor in made["factor"]:
        for level in factor["levels"]:
            level["label"] = labels.get((factor["name"], level["name"]), "")
    responses = {response["name"]: response for response in today["response"]}
    made["response"] = [{**responses.get(item["name"], {}), **item} for item in made["response"]]
    # Of a rule that is gone nobody knows any more what its files were called.
    rules = {rule["response"]: rule for rule in today["traces"]}
    made["traces"] = [{"files": "*.csv", **rules.get(item["response"], {}), **item} for item in made["traces"]]
    return plain.of_plain(made)


def changes(before: Any, after: Any, at: str = "") -> list[str]:
    """The keys at which two plain values differ, as dotted paths."""
    if isinstance(before, Mapping) and isinstance(after, Mapping):
        found: list[str] = []
        for key in sorted({*before, *after}):
            if key not in before or key not in after:
                found.append(f"{at}{key}")
            else:
                found += changes(before[key], after[key], f"{at}{key}.")
        return found
    if isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        return [
            item
            for place, (old, new) in enumerate(zip(before, after, strict=True), start=1)
            for item in changes(old, new, f"{at.rstrip('.')}[{place}].")
        ]
    return [] if before == after else [at.rstrip(".")]


def overlap(one: str, other: str) -> bool:
    """True when one of two dotted paths is the other or lies in it."""
    longer, shorter = (one, other) if len(one) >= len(other) else (other, one)
    return longer == shorter or longer.startswith((f"{shorter}.", f"{shorter}["))
