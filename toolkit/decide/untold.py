"""Comparisons of positions beside a response that is measured once a run: they keep their row and say why (rank 7)."""

from __future__ import annotations

import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import Brief
from toolkit.decide import verdict
from toolkit.design import questions, terms
from toolkit.model._estimates import Estimate, schema_row, table_of
from toolkit.model.fit import Fit


def rows(brief: Brief, fitted: Fit) -> pd.DataFrame:
    """The rows of comparisons that a response cannot answer, since all positions of a run are measured together.

    Parameters
    ----------
    brief : Brief
        The whole brief, not the one by which the response is judged.
    fitted : Fit

    Returns
    -------
    DataFrame
        As ``model.comparisons.comparisons``, numbers null, the reason in ``note``; empty where there are none.
    """
    asked = by_position.untold(brief, fitted.response)
    made = []
    for item in asked:
        words = questions.of_comparison(brief, item, terms.of_brief(brief)).contrast
        why = by_position.why_untold(brief, fitted.response, item)
        row = schema_row(fitted, Estimate(None, note=why), words, comparison=item.name, planned=True)
        made.append({**row, "family": item.family, "adjust": "none"})
    return table_of(made, ("family", "adjust"))


def beside(brief: Brief, fitted: Fit, told: pd.DataFrame, judged: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Comparisons and verdicts with the rows of what the response cannot answer among them, in the brief's order."""
    more = rows(brief, fitted)
    if more.empty:
        return told, judged
    order = [item.name for item in brief.comparisons]
    both = [
        (told, more[list(told.columns)] if len(told.columns) else more),
        (judged, verdict.verdicts(more, brief)),
    ]
    made = []
    for known, rest in both:
        whole = pd.concat([part for part in (known, rest) if len(part)], ignore_index=True)
        made.append(whole.sort_values("comparison", key=lambda names: names.map(order.index), ignore_index=True))
    return made[0], made[1]
