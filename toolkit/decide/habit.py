"""What old runs, one each or one factor at a time, can and cannot support, and the run that would help most (rank 7).

Old runs were planned by nobody whose plan is known: what is told here rests on the records alone, and an interval
that needs a scatter the runs do not hold is only given from a scatter of elsewhere, and says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from toolkit import stamp
from toolkit.brief.check_old_data import UNKNOWN
from toolkit.brief.model import Brief, Comparison
from toolkit.decide import aliases, habit_intervals, habit_runs, habit_words
from toolkit.decide.habit_runs import Difference
from toolkit.design import questions
from toolkit.design import terms as model_terms
from toolkit.errors import DesignError, ModelError, SizingError
from toolkit.intake.records import Records
from toolkit.model import comparisons as model_comparisons
from toolkit.model import fit as model_fit
from toolkit.model.fit import Fit
from toolkit.size.scatter import Scatter
from toolkit.size.scatter import known as scatter_known

NOTHING, NO_INTERACTIONS = "nothing", "no interactions"
COMPARISONS = (
    "response",
    "comparison",
    "contrast",
    "assuming",
    "estimable",
    "rests_on",
    "estimate",
    "measured_in",
    "std_error_factor",
    "if_even",
    "error_df",
    "carries",
    "with_order",
    "note",
)
ORDERS = ("factor", "levels", "changes", "fewest", "correlation", "by_chance", "told")


@dataclass(frozen=True, eq=False)
class Habit:
    """What the old runs of one response can support.

    Attributes
    ----------
    response : str
    pattern : str
        'one run each', 'one factor at a time', 'one combination missing' ... in words.
    comparisons : DataFrame
        One row a comparison and assumption: response, comparison, contrast, assuming ('nothing', or 'no
        interactions', which one factor at a time needs), estimable, rests_on (the runs), estimate (ratio or
        difference), measured_in, std_error_factor (its standard error in SDs of a run value), if_even (the same had
        as many runs been spread evenly over all combinations), error_df, carries (what of each interaction is in the
        estimate if it is not nil after all), with_order (correlation of its weights with the order), note.
    differences : DataFrame
        Combinations that differ in one factor only, each pair: factor, of, against, at, rests_on, estimate,
        measured_in, std_error_factor, what (in words).
    intervals : DataFrame
        Intervals by whose scatter they can be given: kind, what, assuming, basis, sd, df, estimate, measured_in,
        conf_low, conf_high, conf_level, wrong_way (chance that the estimate points the wrong way if the true change
        is the worthwhile one), note.
    orders : DataFrame
        How the levels of each factor followed the order: factor, levels, changes (how often the level changed),
        fewest (how often it had to), correlation, by_chance (what a random order gives), told. Empty where the
        order is not known.
    next_runs : DataFrame
        Every run that could be made next, the most helpful first: rank, the factors, build_id where builds are
        blocks, combination, runs_so_far, newly_estimable, estimable (of the comparisons), error_df, mean_variance
        (of those), and estimable_nil, error_df_nil and mean_variance_nil with interactions assumed nil.
    missing : tuple of dict
        Combinations never run: factor to level.
    sentences : tuple of str
        What can be said and what cannot.
    """

    response: str
    pattern: str
    comparisons: pd.DataFrame
    differences: pd.DataFrame
    intervals: pd.DataFrame
    orders: pd.DataFrame
    next_runs: pd.DataFrame
    missing: tuple[Mapping[str, str], ...]
    sentences: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """The tables and sentences as plain data."""
        return stamp.plain(
            {
                "response": self.response,
                "pattern": self.pattern,
                "comparisons": stamp.records(self.comparisons),
                "differences": stamp.records(self.differences),
                "intervals": stamp.records(self.intervals),
                "orders": stamp.records(self.orders),
                "next_runs": stamp.records(self.next_runs),
                "missing": [dict(line) for line in self.missing],
                "sentences": list(self.sentences),
            }
        )

    def __repr__(self) -> str:
        """The sentences."""
        return "\n".join(self.sentences)


def habit(brief: Brief, runs: pd.DataFrame, response: str, *, scatter: Scatter | None = None) -> Habit:
    """What the valid runs of one response can support, with and without the interactions assumed nil.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        Run values, as ``Records.runs`` gives them; actual_order counts where [old_data] says that the order is known.
    response : str
    scatter : Scatter, optional
        The scatter of elsewhere: the rig's history, or a declared guess.

    Returns
    -------
    Habit

    Raises
    ------
    ModelError
        When no valid run has a value, or the runs are in a layout that is not covered.

    Notes
    -----
    One factor at a time: each change is the difference of two single runs, variance 2 sigma^2, whatever the number
    of runs; over all combinations of N runs at two levels it is 4 sigma^2 / N (any textbook on the design of
    experiments, under 'one factor at a time').

    Checked against: those two variances, the runs of a 2 x 3 with one combination missing fitted by numpy alone,
    tests/unit/decide/test_habit.py.
    """
    bare = replace(
        brief, families=(), comparisons=tuple(replace(item, family=None) for item in brief.comparisons), pilot=None
    )
    pairs = tuple(combinations(brief.factor_names, 2))
    # What is assumed nil cannot be asked about.
    asked = tuple(item for item in bare.comparisons if not item.interaction)
    nil = replace(bare, comparisons=asked, plan=replace(bare.plan, nil_interactions=pairs))
    whole = model_fit.fit(bare, runs, response)
    readings = [(NOTHING, whole)]
    if model_terms.of_brief(nil) != model_terms.of_brief(bare):
        readings.append((NO_INTERACTIONS, model_fit.fit(nil, runs, response)))
    order = _order(brief, whole)
    compared = _comparisons(readings, order)
    differences = habit_runs.differences(whole)
    intervals = habit_intervals.table(whole, compared, differences, dict(readings), scatter)
    orders = _orders(whole, order)
    candidates = habit_runs.next_runs(whole, dict(readings).get(NO_INTERACTIONS))
    missing = tuple(habit_runs.missing(whole.strata))
    pattern = habit_runs.pattern(whole, order)
    return Habit(
        response,
        pattern,
        compared,
        pd.DataFrame([item.row() for item in differences], columns=list(Difference.COLUMNS), dtype=object),
        intervals,
        orders,
        candidates,
        missing,
        tuple(habit_words.sentences(whole, pattern, missing, compared, intervals, orders, candidates, scatter)),
    )


def of_records(brief: Brief, records: Records) -> dict[str, Habit]:
    """What old runs can support, by response, the primary first; nothing where the records are no old data.

    Responses that cannot be analysed at all are left out: why is told with their answers.
    """
    made: dict[str, Habit] = {}
    if brief.old_data is None:
        return made
    for item in sorted(brief.responses, key=lambda item: item.role != "primary"):
        try:
            known = scatter_known(brief, item.name, history=records.history)
        except SizingError:
            known = None
        with suppress(ModelError, DesignError):
            made[item.name] = habit(brief, records.runs, item.name, scatter=known)
    return made


def _order(brief: Brief, fit: Fit) -> np.ndarray | None:
    """The order of the runs where it is known of all of them, shape (runs,)."""
    runs = fit.runs
    known = brief.old_data is None or brief.old_data.order != UNKNOWN
    if not known or "actual_order" not in runs or runs["actual_order"].isna().any():
        return None
    return runs["actual_order"].to_numpy(dtype=float)


def _comparisons(readings: list[tuple[str, Fit]], order: np.ndarray | None) -> pd.DataFrame:
    """Every comparison under every assumption, one row each."""
    rows = []
    for assuming, fit in readings:
        found = model_comparisons.comparisons(fit).to_dict("records")
        for item, line in zip(fit.brief.comparisons, found, strict=True):
            rows.append(_comparison(fit, item, line, assuming, order))
    names = [item.name for item in readings[0][1].brief.comparisons]
    rows.sort(key=lambda row: (names.index(row["comparison"]), row["assuming"] != NOTHING))
    return pd.DataFrame(rows, columns=list(COMPARISONS), dtype=object)


def _comparison(
    fit: Fit, item: Comparison, line: Mapping[str, Any], assuming: str, order: np.ndarray | None
) -> dict[str, Any]:
    """One comparison under one assumption."""
    row = questions.of_comparison(fit.brief, item, fit.strata.terms).row
    parts, estimable = fit.strata.parts(row), fit.strata.estimable(row)
    weights = sum(aliases.weights(fit.strata, row).values()) if parts else None
    mixed = len(parts) > 1
    return {
        "response": fit.response.name,
        "comparison": item.name,
        "contrast": line["contrast"],
        "assuming": assuming,
        "estimable": estimable,
        "rests_on": "" if weights is None else habit_runs.rests_on(weights, fit.runs["run_id"]),
        "estimate": line["estimate"],
        "measured_in": line["measured_in"],
        # Two strata have no common SD to count in.
        "std_error_factor": float(np.sqrt(parts[0].unit_variance)) if parts and not mixed else None,
        "if_even": _if_even(fit, item),
        "error_df": min(part.error_df for part in parts) if parts else line["df"],
        "carries": aliases.carried(fit.brief, fit.strata, row) if parts and assuming != NOTHING else {},
        "with_order": None if weights is None or order is None else _correlation(weights, order),
        "note": habit_words.of_comparison(line, assuming, estimable, fit),
    }


def _if_even(fit: Fit, item: Comparison) -> float | None:
    """The standard error, in SDs of a run value, had the runs been spread evenly over all combinations."""
    if fit.strata.plots:
        return None
    named = item.interaction or tuple(item.of)
    cells = np.prod([len(fit.brief.factor(name).levels) for name in named])
    sides = 2 ** len(named) if item.interaction else 2
    return float(np.sqrt(sides * cells / len(fit.runs)))


def _orders(fit: Fit, order: np.ndarray | None) -> pd.DataFrame:
    """How each factor followed the order."""
    rows = []
    if order is not None:
        runs = fit.runs.assign(_order=order).sort_values("_order", kind="stable")
        for factor in fit.brief.factors:
            levels = list(runs[factor.name])
            had = list(dict.fromkeys(levels))
            changes = [at for at in range(1, len(levels)) if levels[at] != levels[at - 1]]
            many = len(had) - 1
            rows.append(
                {
                    "factor": factor.name,
                    "levels": len(had),
                    "changes": len(changes),
                    "fewest": many,
                    "correlation": _multiple(levels, runs["_order"].to_numpy(dtype=float)),
                    "by_chance": float(np.sqrt(many / (len(levels) - 1))) if len(levels) > 1 else None,
                    "told": habit_words.of_order(factor.name, list(runs["run_id"]), changes, many),
                }
            )
    return pd.DataFrame(rows, columns=list(ORDERS), dtype=object)


def _multiple(levels: list[str], order: np.ndarray) -> float | None:
    """The multiple correlation of the order with the levels: the share of its spread between them, as a root."""
    centred = order - order.mean()
    total = float(centred @ centred)
    means = pd.Series(centred).groupby(levels).transform("mean").to_numpy()
    return float(np.sqrt(min(means @ means / total, 1.0))) if total > 0.0 and len(set(levels)) > 1 else None


def _correlation(one: np.ndarray, other: np.ndarray) -> float | None:
    """The correlation of two columns; None when one of them is constant."""
    one, other = one - one.mean(), other - other.mean()
    size = float(np.sqrt((one @ one) * (other @ other)))
    return float(one @ other / size) if size > 1e-9 else None
