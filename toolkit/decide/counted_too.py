"""Comparisons of run values that were corrected or adjusted, with the variance that this adds (rank 7).

They stand beside the verdicts and never take their place.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief
from toolkit.design import questions, strata
from toolkit.errors import ModelError
from toolkit.model import _ways_out as ways_out
from toolkit.model._estimates import Estimate, schema_row, table_of, with_limits
from toolkit.model._selection import analysed
from toolkit.model.fit import of_strata
from toolkit.numeric import contrasts


def comparisons(
    brief: Brief,
    runs: pd.DataFrame,
    response: str,
    *,
    adjusted: pd.Series | None = None,
    shape: pd.DataFrame | None = None,
    added: pd.DataFrame | None = None,
    note: str = "",
) -> pd.DataFrame:
    """The comparisons of the brief from run values as they are given, with more variance than that of a run.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        Run values, all phases and verdicts.
    response : str
    adjusted : Series, optional
        Run values in place of those of ``runs``, by run_id, in the response's unit.
    shape : DataFrame, optional
        Covariance of the values in units of the variance of one run, runs by runs; left out, the identity. Runs that it
        does not name stand for themselves.
    added : DataFrame, optional
        Covariance that comes on top and is known, runs by runs, on the analysis scale.
    note : str
        What the reader must know of each.

    Returns
    -------
    DataFrame
        In the schema of estimates.

    Raises
    ------
    ModelError
        Where some factor is changed with a unit of several runs, or no degrees of freedom are left.

    Notes
    -----
    Least squares y = X b with contrast weights a = c' X+. The variance of one run is RSS / tr(M V), M the residual
    projection and V ``shape``; that of a comparison s^2 a'Va + a'Ca with C ``added``; t at the residual degrees of
    freedom. What ``added`` brings from run to run is in s^2 already, so that its part is on the safe side.

    Checked against: hand calculations, tests/unit/decide/test_counted_too.py.
    """
    table = runs if adjusted is None else _placed(runs, response, adjusted)
    picked = analysed(table, brief.response(response), brief)
    laid = strata.of_runs(picked.brief, picked.runs)
    asked = brief.response(response)
    given = picked.runs[response].to_numpy(dtype=float)
    values = np.log(given) if asked.scale == "log" else given
    if laid.plots:
        raise ModelError(f"{response}: some factor is changed with a unit of several runs; it is not answered so.")
    columns = laid.full_columns
    inverse = np.linalg.pinv(columns)
    residual = np.eye(len(values)) - columns @ inverse
    names = picked.runs["run_id"].astype(str).tolist()
    whole = _square(shape, names, 1.0)
    df = len(values) - contrasts.rank(columns)
    share = float(np.trace(residual @ whole))
    if df < 1 or share <= 0.0:
        raise ModelError(f"{response}: no degrees of freedom are left for the error.")
    variance = float(values @ residual @ values) / share
    extra = _square(added, names, 0.0)
    made = of_strata(brief, asked, laid, values)
    rows = []
    for item in brief.comparisons:
        question = questions.of_comparison(laid.brief, item, laid.terms)
        if laid.estimable(question.row):
            weights = np.concatenate([question.row, np.zeros(laid.block_columns.shape[1])]) @ inverse
            error = math.sqrt(variance * float(weights @ whole @ weights) + float(weights @ extra @ weights))
            found = Estimate(float(weights @ values), error, float(df), strata="run", note=note)
            one = with_limits(found, brief.conf_level)
        else:
            one = Estimate(None, note=ways_out.why_not(laid, question.row))
        row = schema_row(made, one, question.contrast, comparison=item.name, planned=True)
        rows.append({**row, "family": item.family, "adjust": "none"})
    return table_of(rows, ("family", "adjust"))


def on_scale(covariance: pd.DataFrame, values: pd.Series, log: bool) -> pd.DataFrame:
    """A covariance of run values on the analysis scale: divided by both values on the log scale.

    Parameters
    ----------
    covariance : DataFrame
        Runs by runs.
    values : Series
        Run values, by run_id.
    log : bool
    """
    if not log:
        return covariance
    level = values.reindex(covariance.index).to_numpy(dtype=float)
    return covariance / np.outer(level, level)


def _placed(runs: pd.DataFrame, response: str, adjusted: pd.Series) -> pd.DataFrame:
    """The runs with other values where they are given."""
    made = runs.copy()
    made[response] = [
        float(adjusted.get(run, value)) for run, value in zip(made["run_id"], made[response], strict=True)
    ]
    return made


def _square(given: pd.DataFrame | None, names: list[str], alone: float) -> np.ndarray:
    """A covariance in the order of the runs; those it does not name stand alone."""
    whole = np.eye(len(names)) * alone
    if given is None:
        return whole
    known = [at for at, name in enumerate(names) if name in given.index]
    there = [names[at] for at in known]
    whole[np.ix_(known, known)] = given.loc[there, there].to_numpy(dtype=float)
    return whole
