"""How the order was drawn, what becomes of void runs and which sums of squares are told, in sentences (rank 10)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from toolkit import wording
from toolkit.brief.model import Brief
from toolkit.decide.answered import Answered
from toolkit.intake.columns import VOID

SQUARES = (
    "The analysis of variance tells Type II sums of squares: each term adjusted for all that do not contain it, as "
    "runs that are lost make the terms overlap and no test may hang on the order in which the factors are named; where "
    "every combination has as many runs, Types I, II and III are the same."
)
NO_SQUARES = (
    "The strata are not balanced, so terms have no sums of squares: F and its error df are Kenward and Roger's, each "
    "term adjusted for all that do not contain it, as Type II is."
)


def drawn(plans: Mapping[str, Mapping[str, Any]]) -> list[str]:
    """How the order of each sealed phase was drawn, a sentence a phase; none where nothing was sealed.

    Parameters
    ----------
    plans : mapping of str to mapping
        Phase to what its plan.json holds: drawn, seed.
    """
    told = []
    for phase, plan in plans.items():
        how = str(plan["drawn"])
        kind = "complete" if how == "all runs at random" else "restricted"
        told.append(
            f"Order of the {phase} phase: {kind} randomisation, {how}; drawn from seed {plan['seed']} and sealed."
        )
    return told


def void(runs: pd.DataFrame, brief: Brief, plans: Mapping[str, Mapping[str, Any]]) -> str:
    """What is done about void runs and what that costs, with those there are and the runs made in their place."""
    rule = (
        "Void runs are left out and no value is put in their place: each takes one degree of freedom from the error of "
        "its stratum (none where nothing else was run of its combination or in its build), and standard errors are "
        "those of the runs left; combinations keep their equal weights."
    )
    counted = runs[runs["phase"].isin(brief.counted_phases) & runs["verdict"].isin(VOID)]
    names = [str(name) for name in counted["run_id"]]
    if not names:
        return f"{rule} Here no run is void."
    made = {str(item["run_id"]): str(item["instead"]) for plan in plans.values() for item in plan.get("lost", ())}
    again = [f"{made[name]} was planned in the place of {name}" for name in names if made.get(name)]
    told = f" ({wording.joined(again)}, and counts as a run of its own)" if again else ""
    return f"{rule} Here: {wording.joined(names)}{told}."


def shared(methods: Sequence[Sequence[str]]) -> tuple[str, ...]:
    """The sentences that hold for every response, which are told once; none where there is but one response.

    Examples
    --------
    >>> shared([["Builds are blocks.", "5 df."], ["Builds are blocks.", "4 df."]])
    ('Builds are blocks.',)
    """
    first, *rest = methods or [()]
    return tuple(line for line in first if all(line in other for other in rest)) if rest else ()


def squares(found: Answered) -> str:
    """Which sums of squares the analysis of variance tells and why; empty where there is no such table."""
    if found.fit is None or not len(found.anova):
        return ""
    return NO_SQUARES if found.fit.mixed is not None else SQUARES
