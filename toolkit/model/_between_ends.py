"""Values only known to lie between two ends, where units of several runs are compared: an interval that holds for all.

With fixed degrees of freedom the ends of an interval are a line less (or plus) a multiple of a length in the values, so
the lowest and highest over all that the values could be are reached where each is at one of its ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief, Response
from toolkit.errors import ModelError
from toolkit.model import comparisons
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
        When there are too many, or no lower end on the log scale.
    """
    if len(named) > MOST:
        raise ModelError(
            f"{response.name}: {len(named)} values are only known to lie between two ends; up to {MOST} are covered "
            f"where units of several runs are compared. Ask the laboratory for the number behind the '<'."
        )
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
