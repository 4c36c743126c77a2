"""Values only known to lie between two ends, where units of several runs are compared: an interval that holds for all.

Up to six of them by trying every end, more by a bound (``_widest_ends``). With fixed degrees of freedom the ends of an
interval are a line less (or plus) a multiple of a length in the values, so that the lowest and highest over all that
the values could be are reached where each is at one of its ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief, Response
from toolkit.design import questions
from toolkit.design import terms as model_terms
from toolkit.errors import ModelError
from toolkit.model import _widest_ends as widest_ends
from toolkit.model import comparisons
from toolkit.model._estimates import Estimate
from toolkit.model.fit import Fit, fit

# 2 to this many fits.
MOST = 6
_LOW = ("conf_low", "change_low_pct")
_HIGH = ("conf_high", "change_high_pct", "p_value")


def answers(
    brief: Brief, runs: pd.DataFrame, response: Response, named: Sequence[str], least: Sequence[float]
) -> tuple[pd.DataFrame, pd.DataFrame, Fit]:
    """The comparisons, the means and the fit, values put half-way; intervals that hold wherever the values lie.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        Run values, all phases and verdicts; the response's column holds the upper ends. No value is marked.
    response : Response
    named : sequence of str
        The runs whose value lies between two ends.
    least : sequence of float
        Their lower ends, on the natural scale.

    Returns
    -------
    comparisons, means : DataFrame
        As ``comparisons.comparisons`` and ``comparisons.means`` give them; std_error None.
    fit : Fit
        Of the values half-way between their ends on the analysis scale.

    Raises
    ------
    ModelError
        When there are more than six in units that do not hold the same runs, or no lower end on the log scale.
    """
    known = runs.set_index(runs["run_id"].astype(str))[response.name].astype(float)
    ends = [(float(low), float(known[name])) for name, low in zip(named, least, strict=True)]
    if response.scale == "log" and (wrong := [name for name, end in zip(named, ends, strict=True) if end[0] <= 0.0]):
        raise ModelError(
            f"{response.name}: {', '.join(wrong)}: nothing is known of the value but that it is not above its upper "
            f"end. Ask the laboratory for the number behind the '<' of the zero-hour sample."
        )
    middle = [np.sqrt(low * high) if response.scale == "log" else 0.5 * (low + high) for low, high in ends]
    made = fit(brief, _with(runs, response, named, middle), response.name)
    told, means = comparisons.comparisons(made), comparisons.means(made)
    if len(named) > MOST:
        return _bounded(made, told, means, named, ends)
    corners = [
        fit(brief, _with(runs, response, named, values), response.name) for values in product(*ends)
    ]
    told = _widest(told, [comparisons.comparisons(one) for one in corners])
    means = _widest(means, [comparisons.means(one) for one in corners])
    # Kenward and Roger's df go with the values: there the widest over the ends is no bound, though close to one.
    held = "holds wherever" if made.mixed is None else "the widest, where"
    note = f"{held} {', '.join(named)} lie{'s' * (len(named) == 1)} between the two ends"
    told["note"] = [f"{text}; {note}" if text else note for text in told["note"].fillna("")]
    return told, means, made


def _bounded(
    made: Fit, told: pd.DataFrame, means: pd.DataFrame, named: Sequence[str], ends: Sequence[tuple[float, float]]
) -> tuple[pd.DataFrame, pd.DataFrame, Fit]:
    """The tables with the ends of each interval where they lie at most; of exact mean squares alone."""
    if made.mixed is not None or made.within:
        raise ModelError(
            f"{made.response.name}: {len(named)} values are only known to lie between two ends, and "
            f"{made.strata.unbalanced}; up to {MOST} are covered there. Ask the laboratory for the number behind the "
            f"'<'."
        )
    log = made.response.scale == "log"
    width = dict(zip(named, (np.log(high / low) if log else high - low for low, high in ends), strict=True))
    half = np.array([0.5 * width.get(str(run), 0.0) for run in made.strata.runs["run_id"]])
    terms = made.strata.terms
    asked = [questions.of_comparison(made.brief, item, terms).row for item in made.brief.comparisons]
    note = f"holds wherever {', '.join(named)} lie between the two ends"
    told = _put(told, [widest_ends.estimate(made, row, half) for row in asked], log)
    alone = [f"{note}; judged alone, also in a family" if how != "none" else note for how in told["adjust"]]
    known = told["note"].fillna("")
    told["note"] = [f"{text}; {more}" if text else more for text, more in zip(known, alone, strict=True)]
    told["adjust"] = "none"
    rows = [model_terms.row(made.brief, terms, levels) for levels in means["levels"]]
    return told, _put(means, [widest_ends.estimate(made, row, half) for row in rows], log), made


def _put(table: pd.DataFrame, found: Sequence[Estimate], log: bool) -> pd.DataFrame:
    """A table of estimates with other limits and p values, on the scale people read."""
    made = table.copy()
    made["std_error"] = None
    shown = np.exp if log else float
    for name, percent, values in (
        ("conf_low", "change_low_pct", [one.low for one in found]),
        ("conf_high", "change_high_pct", [one.high for one in found]),
    ):
        new = [None if value is None else float(shown(value)) for value in values]
        # Where an interval could not be told it still cannot.
        new = [None if pd.isna(old) else one for one, old in zip(new, made[name], strict=True)]
        made[name] = pd.Series(new, index=made.index, dtype=object)
        old = [not pd.isna(value) for value in made[percent]]
        changed = [100.0 * (one - 1.0) if was and one is not None else None for one, was in zip(new, old, strict=True)]
        made[percent] = pd.Series(changed, index=made.index, dtype=object)
    told = [None if pd.isna(old) else one.p_value for one, old in zip(found, made["p_value"], strict=True)]
    made["p_value"] = pd.Series(told, index=made.index, dtype=object)
    return made


def _with(runs: pd.DataFrame, response: Response, named: Sequence[str], values: Sequence[float]) -> pd.DataFrame:
    """The runs with other values of some."""
    put = dict(zip(named, values, strict=True))
    column = [put.get(str(run), value) for run, value in zip(runs["run_id"], runs[response.name], strict=True)]
    return runs.assign(**{response.name: pd.Series(column, index=runs.index, dtype=float)})


def _widest(table: pd.DataFrame, others: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """A table with the lowest and the highest ends of all; None where one of them has none."""
    made = table.copy()
    made["std_error"] = None
    for names, pick in ((_LOW, min), (_HIGH, max)):
        for name in (one for one in names if one in made):
            columns = [[None if pd.isna(one) else one for one in item[name]] for item in others]
            found = [None if None in row else pick(row) for row in zip(*columns, strict=True)]
            made[name] = pd.Series(found, index=made.index, dtype=object)
    return made
