"""Which levels of a factor may still be the best, and how far each is from the best of the others."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pandas as pd

from toolkit.brief import model as brief_model
from toolkit.design import terms as model_terms
from toolkit.model import families
from toolkit.model._estimates import Estimate, covariance, of_row
from toolkit.model.fit import Fit
from toolkit.numeric import best_of

COLUMNS = (
    "response",
    "factor",
    "level",
    "lead",
    "lead_low",
    "lead_high",
    "measured_in",
    "df",
    "conf_level",
    "still_in",
    "note",
)


def race(fit: Fit, factor: str) -> pd.DataFrame:
    """Each level of a factor against the best of the others, and whether it may still be the best itself.

    Parameters
    ----------
    fit : Fit
    factor : str
        Its levels are compared, the other factors averaged with equal weights.

    Returns
    -------
    DataFrame
        One row a level in the order of the brief: response, factor, level, lead (by how much it leads the best of the
        others: per cent on the log scale, else in the unit of the response; below 0 it trails), lead_low, lead_high
        (together with 1 - alpha; 0 is the end of an interval that is open towards what cannot be told), measured_in,
        df, conf_level, still_in (True: it may be the best), note. What cannot be told keeps its row with a note, and
        None in still_in.

    Notes
    -----
    A level stays in the race unless another one beats it beyond the one-sided critical value of all comparisons with
    it together, so that the truly best one is left out in at most alpha of campaigns (S. S. Gupta, Technometrics 7
    (1965) 225-245). Intervals: J. C. Hsu, Annals of Statistics 12 (1984) 1136-1144 (both from memory).

    Checked against: intervals worked out by hand with scipy's multivariate t, and campaigns drawn with equal and with
    unequal runs; tests/unit/model/test_race.py.
    """
    names = fit.brief.factor(factor).names
    rows = {name: model_terms.row(fit.brief, fit.strata.terms, {factor: name}) for name in names}
    told = {pair: of_row(fit, rows[pair[0]] - rows[pair[1]]) for pair in combinations(names, 2)}
    open_ = _untold(names, told)
    known = [name for name in names if name not in open_]
    if len(known) < 2:
        return _table([_row(fit, factor, name, open_.get(name) or "no other level can be told") for name in names])
    sign = brief_model.gain_sign(fit.response)
    gain, error, df = _differences(known, told, sign)
    limit = _limits(fit, [rows[name] for name in known], df)
    count = len(known)
    upper = np.array([min(gain[i, j] + limit[i] * error[i, j] for j in range(count) if j != i) for i in range(count)])
    inside = upper > 0.0
    made = []
    for name in names:
        if name in open_:
            made.append(_row(fit, factor, name, open_[name]))
            continue
        i = known.index(name)
        others = [j for j in range(count) if j != i]
        # Only a level that may be the best itself can be what another one trails.
        rivals = [j for j in others if inside[j]]
        lower = min((gain[i, j] - limit[j] * error[i, j] for j in rivals), default=0.0)
        lead = (min(gain[i, j] for j in others), min(lower, 0.0), max(upper[i], 0.0))
        made.append(_row(fit, factor, name, "", lead, df, bool(inside[i])))
    return _table(made)


def flattered(fit: Fit, factor: str) -> float | None:
    """By how much the winner looks better than it is on average if all levels are equal: per cent, or in the unit.

    None where not all levels can be told.

    Notes
    -----
    At the scatter of the records, all levels taken as known like the least well known pair
    (``numeric.best_of.overstated``).

    Checked against: winners of drawn campaigns, tests/unit/model/test_race.py.
    """
    names = fit.brief.factor(factor).names
    rows = {name: model_terms.row(fit.brief, fit.strata.terms, {factor: name}) for name in names}
    told = {pair: of_row(fit, rows[pair[0]] - rows[pair[1]]) for pair in combinations(names, 2)}
    if _untold(names, told):
        return None
    error = max(float(one.std_error or 0.0) for one in told.values()) / math.sqrt(2.0)
    size = float(best_of.overstated(np.zeros(1), len(names))[0]) * error
    if fit.response.scale != "log":
        return size
    return 100.0 * abs(math.expm1(brief_model.gain_sign(fit.response) * size))


def _untold(names: tuple[str, ...], told: dict[tuple[str, str], Estimate]) -> dict[str, str]:
    """Levels that cannot be told against any other, with why: those that most of their pairs cannot be told for."""
    why = {}
    for name in names:
        own = [one for pair, one in told.items() if name in pair]
        missing = [one for one in own if one.value is None or not one.std_error]
        if len(missing) == len(own):
            why[name] = missing[0].note
    for pair, one in told.items():
        if (one.value is None or not one.std_error) and not set(pair) & set(why):
            why[pair[1]] = one.note
    return why


def _differences(
    known: list[str], told: dict[tuple[str, str], Estimate], sign: int
) -> tuple[np.ndarray, np.ndarray, float]:
    """Gains of each level over each other, their standard errors, and the fewest df."""
    count = len(known)
    gain, error = np.zeros((count, count)), np.zeros((count, count))
    freedom = []
    for (i, one), (j, other) in combinations(enumerate(known), 2):
        found = told[one, other]
        gain[i, j] = sign * float(found.value or 0.0)
        gain[j, i] = -gain[i, j]
        error[i, j] = error[j, i] = float(found.std_error or 0.0)
        freedom.append(float(found.df or 0.0))
    return gain, error, min(freedom)


def _limits(fit: Fit, rows: list[np.ndarray], df: float) -> np.ndarray:
    """The one-sided critical value of all comparisons with each level, shape (levels,)."""
    made, seen = [], {}
    for at, row in enumerate(rows):
        against = np.array([row - other for place, other in enumerate(rows) if place != at])
        spread = covariance(fit, against)
        scale = np.sqrt(np.diag(spread))
        correlation = spread / np.outer(scale, scale)
        # Levels in as many runs have the same value, which takes a while.
        key = np.round(correlation, 9).tobytes()
        if key not in seen:
            seen[key] = families.joint_critical(correlation, df, fit.brief.alpha, sides=1)
        made.append(seen[key])
    return np.array(made)


def _row(
    fit: Fit,
    factor: str,
    level: str,
    note: str,
    lead: tuple[float, float, float] | None = None,
    df: float | None = None,
    still_in: bool | None = None,
) -> dict[str, object]:
    """One level's row."""
    log = fit.response.scale == "log"
    sign = brief_model.gain_sign(fit.response)
    # A lead of g in ln where smaller is better is 1 - exp(-g) less wear; trailing is that much more.
    stated = None if lead is None else [sign * 100.0 * math.expm1(sign * one) if log else one for one in lead]
    values = [None, None, None] if stated is None else [0.0 if one == 0.0 else float(one) for one in stated]
    return dict(
        zip(
            COLUMNS,
            (
                fit.response.name,
                factor,
                level,
                *values,
                "%" if log else fit.response.measured_in,
                df,
                fit.brief.conf_level,
                still_in,
                note,
            ),
            strict=True,
        )
    )


def _table(rows: list[dict[str, object]]) -> pd.DataFrame:
    """The rows as a table that keeps None."""
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)
