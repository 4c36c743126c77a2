"""How sure a comparison is of its worthwhile change."""

from __future__ import annotations

import pandas as pd
from scipy import special

from toolkit.brief.model import gain_sign, worthwhile
from toolkit.design import questions
from toolkit.model._estimates import of_row
from toolkit.model.fit import Fit

COLUMNS = (
    "response",
    "comparison",
    "worthwhile",
    "chance_worthwhile",
    "chance_gain",
    "chance_between",
    "chance_worthwhile_loss",
    "df",
    "note",
)


def chances(fit: Fit) -> pd.DataFrame:
    """The chance that the true change is at least the worthwhile one, given these runs and nothing else.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    DataFrame
        response, comparison, worthwhile (on the analysis scale), chance_worthwhile (a gain of at least that size),
        chance_gain (any gain), chance_between (smaller than worthwhile on either side), chance_worthwhile_loss, df,
        note. A comparison without a worthwhile change has chance_gain alone; one without an interval has none.

    Notes
    -----
    T_df((gain - m) / SE): the confidence distribution, which is the posterior under a flat prior (T. Schweder and N.
    L. Hjort, Scandinavian Journal of Statistics 29 (2002) 309-332). Given this model, and no prior knowledge.

    Checked against: scipy's t distribution and the limits of the interval, tests/unit/model/test_chances.py.
    """
    rows = []
    for comparison in fit.brief.comparisons:
        one = of_row(fit, questions.of_comparison(fit.brief, comparison, fit.strata.terms).row)
        margin = worthwhile(fit.brief, comparison, fit.response)
        told: list[float | None] = [None] * 4
        note = one.note
        if one.low is not None and one.value is not None and one.std_error and one.df:
            gain = gain_sign(fit.response) * one.value
            note = "" if margin is not None else "no worthwhile change was stated"
            edges = [None if margin is None else margin, 0.0, None if margin is None else -margin]
            above, any_gain, over_loss = (
                None if edge is None else float(special.stdtr(one.df, (gain - edge) / one.std_error)) for edge in edges
            )
            # The other tail by itself: one less a chance near 1 would lose its digits.
            loss = None if margin is None else float(special.stdtr(one.df, (-gain - margin) / one.std_error))
            between = None if above is None or over_loss is None else over_loss - above
            told = [above, any_gain, between, loss]
        rows.append((fit.response.name, comparison.name, margin, *told, one.df, note))
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)
