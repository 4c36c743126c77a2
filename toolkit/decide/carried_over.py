"""Latin squares in which every level follows every other equally often: what the run before left behind, beside.

Rank 7. Exploratory: verdicts rest on the sealed model, which holds no such term.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from toolkit import stamp
from toolkit.brief.model import Brief
from toolkit.design import latin, strata
from toolkit.errors import ModelError
from toolkit.model import comparisons
from toolkit.model.fit import Fit, of_strata
from toolkit.numeric import contrasts

BASIS = "with what the run before left behind taken out"
_FIRST = "first of its build"


@dataclass(frozen=True, eq=False)
class CarriedOver:
    """What the runs tell of carry-over from one run of a build to the next.

    Attributes
    ----------
    comparisons : DataFrame
        In the schema of estimates, with carry-over taken out; empty where it cannot be told.
    f, p_value : float or None
        Of all that is carried over, beside builds, places and levels; None where it cannot be told.
    df, error_df : int
    sentence : str
    """

    comparisons: pd.DataFrame
    f: float | None
    df: int
    error_df: int
    p_value: float | None
    sentence: str

    def to_json(self) -> dict[str, Any]:
        """f, df, error_df, p_value, sentence."""
        names = ("f", "df", "error_df", "p_value", "sentence")
        return stamp.plain({name: getattr(self, name) for name in names})

    def __repr__(self) -> str:
        """The sentence."""
        return self.sentence


def carried_over(brief: Brief, runs: pd.DataFrame, judged: Fit) -> CarriedOver | None:
    """Whether a run shows what ran before it in its build; None where the plan is not balanced for that.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        Every run on record, valid or not: what ran before a run is carried over whatever became of it. In the order
        as run; as planned where a run that is judged has none.
    judged : Fit
        The fit that the verdicts rest on.

    Returns
    -------
    CarriedOver or None

    Notes
    -----
    First-order carry-over: one effect for each level of the run before, none for the first run of a build, beside
    builds, places and levels (E. J. Williams, Australian Journal of Scientific Research A 2 (1949) 149-168). The F
    test is that of the sum of squares it takes from the error.

    Checked against: least squares written out, and the efficiencies of H. D. Patterson and H. L. Lucas, Change-over
    Designs (1962), from memory, tests/unit/decide/test_carried_over.py.
    """
    if not latin.used(brief) or not brief.plan.balance_carry_over or judged.strata.covariates:
        return None
    laid = judged.strata
    columns = _columns(brief, _before(brief, runs, laid.runs))
    wider = strata.of_runs(laid.brief, laid.runs.assign(**columns), covariates=dict.fromkeys(columns, 0.0))
    had, has = contrasts.rank(laid.full_columns), contrasts.rank(wider.full_columns)
    left = len(laid.runs) - has
    if has - had < len(columns) or left < 1:
        why = "these runs leave no degrees of freedom for it" if left < 1 else "too few runs are left to tell it apart"
        return CarriedOver(pd.DataFrame(), None, has - had, left, None, f"What a run leaves to the next: {why}.")
    try:
        found = of_strata(brief, judged.response, wider, judged.y)
    except ModelError as problem:
        return CarriedOver(pd.DataFrame(), None, has - had, left, None, f"What a run leaves to the next: {problem}")
    (before, many), (square, few) = judged.mean_squares["run"], found.mean_squares["run"]
    if not square or before is None:
        told = "What a run leaves to the next: the error is exactly 0, so that nothing can be tested."
        return CarriedOver(pd.DataFrame(), None, has - had, left, None, told)
    df = many - few
    f = max((before * many - square * few) / df, 0.0) / square
    p = float(special.fdtrc(df, few, f))
    shown = p < brief.alpha
    told = (
        f"What a run leaves to the next one of its build {'shows' if shown else 'is not shown'}: F = {f:.3g} on {df} "
        f"and {few} df, p = {p:.2g}. This was looked for beside the sealed model and changes no verdict; beside them "
        f"stand answers with it taken out."
    )
    return CarriedOver(comparisons.comparisons(found), f, df, few, p, told)


def _before(brief: Brief, runs: pd.DataFrame, judged: pd.DataFrame) -> list[str]:
    """The combination that ran before each run in its build."""
    names = list(brief.factor_names)
    # Where the order of one is not known, what ran before the next is not either: then as planned.
    known = runs.loc[runs["run_id"].astype(str).isin(judged["run_id"].astype(str)), "actual_order"].notna().all()
    order = "actual_order" if known else "planned_order"
    made = runs[runs[order].notna()].sort_values(order, key=lambda values: values.astype(float), kind="stable")
    held: dict[str, str] = {}
    for _, part in made.groupby(made["build_id"].astype(str)):
        told = [_FIRST, *(" ".join(map(str, line)) for line in part[names].itertuples(index=False, name=None))]
        held |= dict(zip(part["run_id"].astype(str), told, strict=False))
    return [held.get(str(run), _FIRST) for run in judged["run_id"]]


def _columns(brief: Brief, before: list[str]) -> dict[str, np.ndarray]:
    """Sum-coded columns of what ran before, by name; a run that is the first of its build has noughts."""
    names = [" ".join(line) for line in brief.combinations]
    coding = np.vstack([np.eye(len(names) - 1), -np.ones(len(names) - 1)])
    rows = {**dict(zip(names, coding, strict=True)), _FIRST: np.zeros(len(names) - 1)}
    table = np.array([rows.get(one, rows[_FIRST]) for one in before])
    return {f"after {name}": table[:, at] for at, name in enumerate(names[:-1])}
