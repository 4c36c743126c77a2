"""What old runs can and cannot support, in sentences (rank 7)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from toolkit import measured_in
from toolkit.brief.check_old_data import AS_LISTED, UNKNOWN
from toolkit.brief.model import Brief
from toolkit.decide import habit_intervals, habit_runs
from toolkit.design import terms as model_terms
from toolkit.design import units
from toolkit.model._ways_out import listed
from toolkit.model.fit import Fit
from toolkit.size.scatter import Scatter
from toolkit.wording import counted, joined

_ALONE = "an estimate without an interval: nothing in these runs tells their scatter"


def mark(brief: Brief) -> str:
    """What old data are marked as wherever they show: 'old data: not planned, order unknown'; empty for others."""
    if brief.old_data is None:
        return ""
    order = brief.old_data.order
    if order == UNKNOWN:
        return "old data: not planned, order unknown"
    by = "the lines of the table" if order == AS_LISTED else f"the column '{order}'"
    return f"old data: not planned, order by {by}"


def of_comparison(line: Mapping[str, Any], assuming: str, estimable: bool, fit: Fit) -> str:
    """What is to be known beside one comparison under one assumption."""
    if not estimable:
        return str(line["note"])
    error = fit.mean_squares.get("run", (None, 0))[1]
    told = [] if error else [_ALONE]
    if assuming != "nothing":
        told.insert(0, f"holds only if every interaction is nil ({_interactions(fit)})")
    return "; ".join(told)


def of_order(factor: str, run_ids: Sequence[str], changes: Sequence[int], fewest: int) -> str:
    """How one factor followed the order; ``changes`` are the places (from 1) before which its level changed."""
    if not changes:
        return f"{factor} had one level only"
    if len(changes) > fewest:
        return f"{factor} changed {len(changes)} times in {len(run_ids)} runs"
    where = [f"between {run_ids[at - 1]} and {run_ids[at]}" for at in changes]
    return (
        f"each level of {factor} was run in one stretch (changed {' and '.join(where)}): drift, and whatever else "
        f"changed then, cannot be told apart from it"
    )


def sentences(
    fit: Fit,
    pattern: str,
    missing: Sequence[Mapping[str, str]],
    compared: pd.DataFrame,
    intervals: pd.DataFrame,
    orders: pd.DataFrame,
    candidates: pd.DataFrame,
    scatter: Scatter | None,
) -> list[str]:
    """What can be said and what cannot, a sentence or two each."""
    made = [_runs(fit, pattern, missing), _error(fit, compared)]
    made += _answers(fit, compared)
    if fit.strata.plots:
        many = units.PLURALS[fit.strata.units[0]].capitalize()
        return [
            *made, f"{many} are units here: intervals from another scatter and the run that helps are not covered."
        ]
    made += _scatter(fit, intervals, scatter)
    made += _price(compared)
    made += _order(orders)
    made += _next(fit, compared, candidates)
    return made


def _runs(fit: Fit, pattern: str, missing: Sequence[Mapping[str, str]]) -> str:
    """How many runs of how many combinations, and what was never run."""
    total = len(fit.brief.combinations)
    never = f"; never run: {listed(missing)}" if missing else ""
    return f"{counted(len(fit.runs), 'run')} of {total - len(missing)} of the {total} combinations, {pattern}{never}."


def _error(fit: Fit, compared: pd.DataFrame) -> str:
    """What the runs tell of their own scatter, with and without interactions."""
    df = fit.mean_squares.get("run", (None, 0))[1]
    if df:
        return f"The runs leave {_degrees(df)} of error."
    told = (
        "Nothing in these runs tells their scatter (0 degrees of freedom of error): the difference of two single runs "
        "is a difference and nothing more."
    )
    nil = [line for line in compared.to_dict("records") if line["assuming"] != "nothing" and line["error_df"]]
    if nil:
        told += (
            f" With every interaction assumed nil, {_degrees(int(nil[0]['error_df']))} of error "
            f"{'remains' if nil[0]['error_df'] == 1 else 'remain'}; what the interactions do counts as scatter then."
        )
    return told


def _assuming(fit: Fit) -> str:
    """What stands behind a comparison that is estimable as the brief has it: nothing, or what its plan takes as nil."""
    taken = [" × ".join(pair) for pair in fit.brief.plan.nil_interactions]
    return f"with no more assumed nil than [plan] does ({', '.join(taken)})" if taken else "without assuming anything"


def _answers(fit: Fit, compared: pd.DataFrame) -> list[str]:
    """Which comparisons can be estimated, which only under an assumption, which not at all."""
    rows = compared.to_dict("records")
    free = [line["comparison"] for line in rows if line["assuming"] == "nothing" and line["estimable"]]
    shut = [line["comparison"] for line in rows if line["assuming"] == "nothing" and not line["estimable"]]
    under = {line["comparison"] for line in rows if line["assuming"] != "nothing" and line["estimable"]}
    bought = [name for name in shut if name in under]
    never = [name for name in shut if name not in under]
    made = []
    if free:
        made.append(f"Can be estimated {_assuming(fit)}: {_named(free)}.")
    if bought:
        made.append(
            f"Can be estimated only with every interaction assumed nil, which nothing in these runs can show: "
            f"{_named(bought)}."
        )
    if never:
        made.append(f"Cannot be estimated from these runs at all: {_named(never)}.")
    return made


def _scatter(fit: Fit, intervals: pd.DataFrame, scatter: Scatter | None) -> list[str]:
    """From whose scatter intervals are given, or what would give them."""
    if scatter is None:
        if habit_intervals.OWN in set(intervals["basis"]):
            return []
        ways = "name a table of earlier campaigns as history, or a range as declared_cv_pct, in [scatter]"
        if fit.response.scale != "log":
            ways = "name a table of earlier campaigns as history in [scatter] (a declared CV serves the log scale only)"
        return [f"No scatter of elsewhere is known either, so no interval can be given: {ways}."]
    log = fit.response.scale == "log"
    unit = "%" if log else measured_in.shown(fit.response.name)
    if scatter.declared is not None and fit.brief.scatter.declared_cv_pct is not None:
        low, high = fit.brief.scatter.declared_cv_pct
        whose = f"a declared guess (run-to-run CV {low:g} to {high:g} %)"
    else:
        size = f"{(100 if log else 1) * scatter.sd:.3g} {unit}".rstrip()
        whose = f"the rig's history (run-to-run SD {size}{' of ln' if log else ''}, {scatter.run.df:.3g} df)"
    return [f"Intervals are given from {whose}, not from these runs: they hold if these runs scattered like that."]


def _price(compared: pd.DataFrame) -> list[str]:
    """What one factor at a time costs, beside the same number of runs spread evenly."""
    rows = [
        line
        for line in compared.to_dict("records")
        if line["std_error_factor"] is not None
        and line["if_even"] is not None
        and line["std_error_factor"] > 1.1 * line["if_even"]
    ]
    worst: dict[str, dict[str, Any]] = {}
    for line in rows:
        kept = worst.get(line["comparison"])
        if kept is None or line["std_error_factor"] < kept["std_error_factor"]:
            worst[line["comparison"]] = line
    return [
        f"{name}: standard error {line['std_error_factor']:.2f} times the SD of a run"
        f"{'' if line['assuming'] == 'nothing' else ' (every interaction assumed nil)'}; as many runs spread evenly "
        f"over all combinations would have given {line['if_even']:.2f}."
        for name, line in worst.items()
    ]


def _order(orders: pd.DataFrame) -> list[str]:
    """What the order does to the comparisons."""
    if orders.empty:
        return [
            "The order of these runs is not known: drift, wear of the rig and whatever else changed in the meantime "
            "cannot be told apart from any factor, nor can it be said that they were kept apart."
        ]
    return [f"{_capital(line['told'])}." for line in orders.to_dict("records") if line["changes"] == line["fewest"] > 0]


def _next(fit: Fit, compared: pd.DataFrame, candidates: pd.DataFrame) -> list[str]:
    """The one run that would help most, why, and what it does not help against."""
    if candidates.empty or not fit.brief.comparisons:
        return []
    best = candidates.iloc[0]
    now = int(fit.mean_squares.get("run", (None, 0))[1])
    where = f" in build {best['build_id']}" if "build_id" in candidates else ""
    words = f"The one run that would help most: {best['combination']}{where}"
    if best["newly_estimable"]:
        words += f"; with it {_named(best['newly_estimable'])} can be estimated {_assuming(fit)}"
    elif best["error_df"] and not now:
        words += "; it gives the first degree of freedom of error"
    else:
        before = _mean_now(compared)
        words += "; the mean variance of the comparisons falls" + (
            f" from {before:.3g} to {best['mean_variance']:.3g} times that of a run" if before else ""
        )
    alike = habit_runs.as_good(candidates)
    if alike:
        words += f" ({listed_short(alike)} would do as well)"
    made = [f"{words}."]
    if not best["error_df"]:
        made.append(
            "Even then nothing tells the scatter: a repeat of any combination, with new parts and a new fill, gives "
            "the first degree of freedom of error."
        )
    made.append(
        "A run made now is compared with runs made then: repeat an old combination beside it, so that a change of the "
        "rig in between shows."
        + (" A build that was taken apart cannot take the run any more." if "build_id" in candidates else "")
    )
    return made


def listed_short(names: Sequence[str], most: int = 3) -> str:
    """Names with 'or' between; beyond ``most`` a count."""
    if len(names) > most:
        return f"{'; '.join(names[:most])} and {len(names) - most} more"
    return "; ".join(names[:-1]) + f" or {names[-1]}" if len(names) > 1 else names[0]


def _mean_now(compared: pd.DataFrame) -> float | None:
    """The mean variance of what can be estimated without assuming anything, in variances of a run."""
    known = [
        float(line["std_error_factor"]) ** 2
        for line in compared.to_dict("records")
        if line["assuming"] == "nothing" and line["std_error_factor"] is not None
    ]
    return float(np.mean(known)) if known else None


def _interactions(fit: Fit) -> str:
    """The interactions of all factors, in words: 'pin × oil'."""
    names = fit.brief.factor_names
    pairs = [(one, other) for at, one in enumerate(names) for other in names[at + 1 :]]
    return ", ".join(model_terms.name_of(pair) for pair in pairs)


def _degrees(count: int) -> str:
    """Degrees of freedom with their number."""
    return f"{count} degree{'' if count == 1 else 's'} of freedom"


def _named(names: Sequence[str]) -> str:
    """Names in quotes with a last 'and'."""
    quoted = [f"'{name}'" for name in names]
    return joined(quoted)


def _capital(text: str) -> str:
    """The text with a capital first."""
    return text[:1].upper() + text[1:]
