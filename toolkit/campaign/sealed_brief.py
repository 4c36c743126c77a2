"""What of the brief a seal covers, how that differs from today's brief, and the brief as it was sealed (rank 9)."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from toolkit import stamp
from toolkit.brief import plain, reading
from toolkit.brief.model import Brief, PlanChoice

# Keys of [plan] that came after the first seals.
_LATER_IN_PLAN = ("axial", "interactions_up_to", "keep_clear", "resolution", "runs", "split_over")
_PLAN = json.loads(stamp.canonical(asdict(PlanChoice())))
_OPEN_IN_PILOT = ("plan", "scatter", "comparison", "families", "best_of", "covariate")


def covered(brief: Brief, phase: str) -> dict[str, Any]:
    """What of the brief the seal of a phase covers, as a plain dictionary."""
    whole = json.loads(stamp.canonical(reading.canonical(brief)))
    whole.pop("cost", None)
    # The headings of a laboratory are known only when its file comes.
    whole.pop("received", None)
    # What is left out is not there, so that seals made before these keys were known stay good.
    if not whole.get("best_of"):
        whole.pop("best_of", None)
    if not whole.get("covariate"):
        whole.pop("covariate", None)
    for key in ("oil", "oil_card"):
        if not whole.get(key):
            whole.pop(key, None)
    # What the size is chosen for touches neither the runs nor their analysis.
    whole.pop("sizing", None)
    for key in ("campaigns", "rig"):
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
    labels = {
        (factor["name"], level["name"]): level["label"] for factor in today["factor"] for level in factor["levels"]
    }
    for factor in made["factor"]:
        for level in factor["levels"]:
            level["label"] = labels.get((factor["name"], level["name"]), "")
    responses = {response["name"]: response for response in today["response"]}
    made["response"] = [{**responses.get(item["name"], {}), **item} for item in made["response"]]
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
