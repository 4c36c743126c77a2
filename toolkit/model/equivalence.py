"""Equivalence and non-inferiority: claims of their own beside the verdict, each read from an interval."""

from __future__ import annotations

import math
from collections.abc import Mapping

import pandas as pd
from scipy import special

from toolkit.brief.model import Comparison, gain_sign, worthwhile
from toolkit.design import questions
from toolkit.errors import Fault, ModelError, listing, nearest, raise_all
from toolkit.model._estimates import Estimate, of_row, schema_row, table_of, with_limits
from toolkit.model.fit import Fit

EQUIVALENT = "equivalent"
NOT_INFERIOR = "not inferior"
MORE = ("claim", "limit_low", "limit_high", "shown", "statement")


def equivalence(fit: Fit, *, margins: Mapping[str, float] | None = None) -> pd.DataFrame:
    """Whether each comparison is shown to be equivalent, and whether it is shown not to be inferior.

    Not a verdict: 'not shown' says nothing about a difference, and the six verdicts stand beside it unchanged.

    Parameters
    ----------
    fit : Fit
    margins : mapping of str to float, optional
        Comparison to the largest change that does not matter, as the brief states changes: per cent on the log scale
        (less where smaller is better, more where larger is), the response's unit on the linear one. Comparisons that
        are not named take their worthwhile change. State it before the runs.

    Returns
    -------
    DataFrame
        Two rows a comparison (one for an interaction, which has no better side), in the schema of estimates with the
        interval at 1 - 2 alpha and p_value the larger of the two one-sided p values (of the one for non-inferiority);
        then claim (equivalent, not inferior), limit_low and limit_high (on the scale of the estimate; one of them
        None for non-inferiority), shown (True, False, None) and statement.

    Raises
    ------
    ModelError
        When a comparison does not exist, or a margin is out of range.

    Notes
    -----
    Equivalent: the interval at 1 - 2 alpha lies within the limits, which is the same as two one-sided tests at alpha
    (D. J. Schuirmann, Journal of Pharmacokinetics and Biopharmaceutics 15 (1987) 657-680). On the log scale the limits
    are (1 - m) and 1 / (1 - m), so that it does not matter which side is called the baseline. Not inferior: the side
    of that interval that is for the worse does not reach the limit, one test at alpha. Each comparison is judged
    alone, whatever its family asks of intervals.

    Checked against: two one-sided t tests of statsmodels and scipy, tests/unit/model/test_equivalence.py.
    """
    given = dict(margins or {})
    _refuse(fit, given)
    rows = []
    for comparison in fit.brief.comparisons:
        question = questions.of_comparison(fit.brief, comparison, fit.strata.terms)
        one = of_row(fit, question.row)
        margin = _margin(fit, comparison, given)
        for claim in (EQUIVALENT,) if comparison.interaction else (EQUIVALENT, NOT_INFERIOR):
            rows.append(_line(fit, comparison, question.contrast, one, margin, claim))
    return table_of(rows, MORE)


def _line(
    fit: Fit, comparison: Comparison, contrast: str, one: Estimate, margin: float | None, claim: str
) -> dict[str, object]:
    """One claim on one comparison."""
    sign, alpha = gain_sign(fit.response), fit.brief.alpha
    judged = with_limits(one, 1.0 - 2.0 * alpha) if one.low is not None else one
    limits = {-1: None, 1: None} if margin is None else {-1: -margin, 1: margin}
    if claim == NOT_INFERIOR:
        limits[sign] = None
    p_value, shown = None, None
    if margin is not None and judged.low is not None and one.value is not None and one.std_error and one.df:
        beyond = [
            float(special.stdtr(one.df, -(one.value - edge) * (1 if side < 0 else -1) / one.std_error))
            for side, edge in limits.items()
            if edge is not None
        ]
        p_value, shown = max(beyond), max(beyond) < alpha
    note = "" if margin is not None or one.value is None else "no change that does not matter was stated"
    row = schema_row(fit, judged.noted(note), contrast, comparison=comparison.name, planned=True)
    told = {True: f"{claim}: shown", False: f"{claim}: not shown", None: f"{claim}: cannot be told"}[shown]
    log = fit.response.scale == "log"
    low, high = (None if edge is None else math.exp(edge) if log else edge for edge in (limits[-1], limits[1]))
    level = 1.0 - 2.0 * alpha
    more = {"claim": claim, "limit_low": low, "limit_high": high, "shown": shown, "statement": told}
    return {**row, **more, "p_value": p_value, "conf_level": level}


def _margin(fit: Fit, comparison: Comparison, given: Mapping[str, float]) -> float | None:
    """The largest change that does not matter, on the analysis scale."""
    if comparison.name not in given:
        return worthwhile(fit.brief, comparison, fit.response)
    value = float(given[comparison.name])
    if fit.response.scale != "log":
        return value
    return -math.log1p(-value / 100.0) if fit.response.better == "smaller" else math.log1p(value / 100.0)


def _refuse(fit: Fit, given: Mapping[str, float]) -> None:
    """Stop when a comparison does not exist or a margin cannot be one."""
    names, faults = [item.name for item in fit.brief.comparisons], []
    percent = fit.response.scale == "log"
    below = percent and fit.response.better == "smaller"
    for name, value in given.items():
        if name not in names:
            known = nearest(name, names)
            faults.append(Fault(f"margin of '{name}'", "there is no such comparison", listing(names), known))
        elif not (0.0 < float(value) < (100.0 if below else math.inf)):
            span = "per cent between 0 and 100" if below else "per cent above 0" if percent else "a number above 0"
            faults.append(Fault(f"margin of '{name}'", f"{value:g}", span))
    raise_all(ModelError, "Equivalence cannot be judged.", faults)
