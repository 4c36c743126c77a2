"""Which keys of a sealed brief an amendment may take up, and when; each refusal says why (rank 9)."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import pandas as pd

from toolkit.brief.model import Brief
from toolkit.errors import Fault

# What every run rests on, or what was fixed so that nobody could choose it later.
_NEVER = {
    "campaign.id": "sheets and codes that were issued carry it",
    "campaign.seed": "every order that was drawn follows from it, and another one could be chosen for its order",
    "campaign.new_each_run": "it decides what the unit of a factor is, and runs were made under it",
    "blocks.by": "it decides what runs are compared within, and runs were made under it",
    "blocks": "it decides what runs are compared within, and runs were made under it",
    "plan.design": "it is another plan",
    "pilot.use": "whether the pilot counts was to be said before it was run",
    "old_data": "it says how runs were made that are there already",
    **dict.fromkeys(
        ("order", "order.most_linear", "order.most_quadratic"), "the order was drawn with it, or without it"
    ),
}
# What is asked, and how answers and runs are judged: choosing it once results are known is choosing the answer.
_BEFORE_A_LOOK = (
    *("campaign.alpha", "response", "comparison", "families", "best_of", "held", "protocol", "covariate"),
    *("oil", "oil_card", "dyno_log", "traces", "master", "reference", "plan.nil_interactions"),
)
_AT_ANY_TIME = (
    *("campaign.power", "plan.builds", "plan.replicates", "plan.centre_points"),
    *("extension", "blocks.most_runs", "scatter"),
)
_OF_PILOT = ("pilot.builds", "pilot.replicates", "pilot.combinations")


def faults(
    changed: Sequence[str], was: Brief, now: Brief, *, phase: str, looked: str, run: Mapping[str, Collection[str]]
) -> list[Fault]:
    """What of the changed keys an amendment cannot take up.

    Parameters
    ----------
    changed : sequence of str
        Dotted paths, as ``sealed_brief.changes`` gives them.
    was, now : Brief
        As sealed and as campaign.toml has it now.
    phase : str
        The phase that is amended.
    looked : str
        When results were first looked at; empty while they were not.
    run : mapping of str to collection of str
        'factor level' to the runs that were made with it, as planned or as run.
    """
    made = []
    for key in changed:
        if key == "factor" or key.startswith("factor["):
            continue
        where = f"campaign.toml: {key}"
        if why := next((why for name, why in _NEVER.items() if key == name), ""):
            made.append(Fault(where, "changed since the seal", "as it was sealed", f"No amendment takes it up: {why}."))
        elif _in(key, _BEFORE_A_LOOK):
            if looked:
                told = f"changed since the seal, and results were looked at on {looked[:10]}"
                why = "What is asked, and how it is judged, stays as it was once results were seen."
                made.append(Fault(where, told, "as it was sealed", why))
        elif _in(key, _OF_PILOT) or key == "pilot":
            if phase != "pilot":
                why = "The pilot is a phase of its own: `wearbook amend --phase pilot`."
                made.append(Fault(where, "changed since the seal", "as it was sealed", why))
        elif not _in(key, _AT_ANY_TIME):
            made.append(Fault(where, "changed since the seal", "as it was sealed", "No amendment takes it up."))
    return made + _factors(was, now, run)


def made_with(runs: pd.DataFrame, fixed: Collection[str], found: pd.DataFrame, brief: Brief) -> dict[str, set[str]]:
    """'factor level' to the runs that were made with it: as planned of those that stay, as run of those on record."""
    made: dict[str, set[str]] = {}
    for table in (runs[runs["run_id"].isin(fixed)], found[found["verdict"] != "pending"]):
        for row in table.to_dict("records"):
            for name in brief.factor_names:
                made.setdefault(f"{name} {row[name]}", set()).add(str(row["run_id"]))
    return made


def _in(key: str, names: Sequence[str]) -> bool:
    """True when a key is one of some, or lies in one."""
    return any(key == name or key.startswith((f"{name}.", f"{name}[")) for name in names)


def _factors(was: Brief, now: Brief, run: Mapping[str, Collection[str]]) -> list[Fault]:
    """What of the factors cannot be taken up: which they are, what is undone for them, the baseline, levels run."""
    if was.factor_names != now.factor_names:
        told = f"are {', '.join(now.factor_names)}"
        why = "Runs were made without the new one or with the old one: start a new campaign folder."
        return [Fault("campaign.toml: the factors", told, ", ".join(was.factor_names), why)]
    made = []
    for old, new in zip(was.factors, now.factors, strict=True):
        where = f"campaign.toml: factor {old.name}"
        if old.undo != new.undo:
            why = "It decides which unit the factor is judged against, and runs were made under it."
            made.append(Fault(f"{where}, undo", f"'{new.undo}'", f"'{old.undo}'", why))
        if [name for name in old.names if name in new.names] != [name for name in new.names if name in old.names]:
            made.append(Fault(f"{where}, levels", "in another order", "the order they were sealed in"))
        elif old.names[0] != new.names[0]:
            why = "Every comparison is against it."
            made.append(Fault(f"{where}, levels", f"the baseline is {new.names[0]}", old.names[0], why))
        for level in old.names:
            runs = sorted(run.get(f"{old.name} {level}", ()))
            if level not in new.names and runs:
                why = "Take it out of the comparisons instead, or let it stand."
                named = ", ".join(runs[:6]) + (f" and {len(runs) - 6} more" if len(runs) > 6 else "")
                made.append(
                    Fault(
                        f"{where}, level {level}", f"taken out, though {named} ran it", "the levels that were run", why
                    )
                )
    return made
