"""Comparisons where some run values are only known to lie below the laboratory's limit (rank 4)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief, Response
from toolkit.design import questions, strata
from toolkit.errors import ModelError
from toolkit.model import _ways_out as ways_out
from toolkit.model._estimates import Estimate, schema_row, table_of
from toolkit.model._selection import Selection, analysed
from toolkit.model.fit import Fit, of_strata
from toolkit.numeric import censored, contrasts

DRAWS = 1_999
# With more than half of the values below the limit the interval is no longer what it says.
MOST_BELOW = 0.5


@dataclass(frozen=True, eq=False)
class BelowLimit:
    """The answers of a response with values below its limit.

    Attributes
    ----------
    comparisons : DataFrame
        In the schema of estimates, with family and adjust. std_error is None: the interval comes from the likelihood.
        An end that the data leave open is None, and the note says so.
    fit : Fit
        The layout the answers rest on, the limits standing in as values: for run ids and strata, not for numbers.
    below : tuple of str
        Runs whose value lies below its limit.
    notes : tuple of str
    """

    comparisons: pd.DataFrame
    fit: Fit
    below: tuple[str, ...]
    notes: tuple[str, ...]


def comparisons(brief: Brief, runs: pd.DataFrame, response: str, *, phase: str = "main") -> BelowLimit:
    """The comparisons of the brief by a likelihood that takes '<' for what it says; nothing is put in its place.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        Run values with <response>_below_limit; where it is true the response's column holds the limit.
    response : str
    phase : str

    Returns
    -------
    BelowLimit

    Raises
    ------
    ModelError
        When builds are units of a factor, more than half of the values lie below their limits, too few lie above
        them, or no degrees of freedom are left.

    Notes
    -----
    Normal errors on the analysis scale; interval: every change whose likelihood ratio is at most n ln(1 + t^2 / df),
    which is the t interval when nothing is below; p: parametric bootstrap of the likelihood ratio (1,999 draws from the
    brief's seed). See ``numeric.censored``. Each comparison is judged alone.

    Checked against: the comparisons without a limit when nothing lies below it; size and coverage by simulation in
    tests/unit/numeric/test_censored.py, tests/unit/model/test_below_limit.py.
    """
    asked = brief.response(response)
    mark = f"{response}_below_limit"
    known = runs.assign(**{mark: False}) if mark in runs else runs
    picked = analysed(known, asked, brief, phase=phase)
    laid = strata.of_runs(picked.brief, picked.runs)
    below = _below(runs, picked, mark)
    _refuse(asked, laid, below)
    values = picked.runs[response].to_numpy(dtype=float)
    y = np.log(values) if asked.scale == "log" else values
    made = of_strata(brief, asked, laid, y)
    x, back = _full_rank(laid.full_columns)
    df = len(y) - x.shape[1]
    rows = []
    for at, item in enumerate(brief.comparisons):
        question = questions.of_comparison(brief, item, laid.terms)
        one = _estimate(brief, made, laid, x, back, y, below, question.row, df, at)
        row = schema_row(made, one, question.contrast, comparison=item.name, planned=True)
        rows.append({**row, "family": item.family, "adjust": "none"})
    names = tuple(str(name) for name in picked.runs["run_id"][below])
    notes = (
        *picked.notes,
        f"{len(names)} of {len(y)} values lie below their limit ({', '.join(names)}): they count as 'at most the "
        f"limit', and no number is put in their place",
        "each comparison is judged alone, also in a family",
    )
    return BelowLimit(table_of(rows, ("family", "adjust")), made, names, notes)


def _below(runs: pd.DataFrame, picked: Selection, mark: str) -> np.ndarray:
    """Which of the runs picked lie below their limit."""
    if mark not in runs:
        return np.zeros(len(picked.runs), dtype=bool)
    marked = {
        str(name)
        for name, value in zip(runs["run_id"], runs[mark], strict=True)
        if not pd.isna(value) and bool(value)
    }
    return np.array([str(name) in marked for name in picked.runs["run_id"]])


def _refuse(response: Response, laid: strata.Strata, below: np.ndarray) -> None:
    """What this likelihood cannot answer."""
    if laid.layout == strata.WHOLE_PLOTS:
        raise ModelError(
            f"{response.name}: values below a limit are not covered where builds are the units of a factor. Ask the "
            f"laboratory for the number behind the '<' or a repeat with a lower limit."
        )
    columns = contrasts.rank(laid.full_columns)
    if below.mean() > MOST_BELOW or int((~below).sum()) < columns + 1:
        raise ModelError(
            f"{response.name}: {int(below.sum())} of {len(below)} values lie below their limits, which is too many to "
            f"compare treatments by ({max(columns + 1, math.ceil(len(below) * (1 - MOST_BELOW)))} must lie above). Ask "
            f"the laboratory for a lower limit, or answer from the other responses."
        )
    if len(below) <= columns:
        raise ModelError(f"{response.name}: no degrees of freedom are left for the error ({len(below)} runs).")


def _full_rank(columns: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Columns that span the same, none aliased, and what turns a contrast's row into theirs."""
    if contrasts.rank(columns) == columns.shape[1]:
        return columns, np.eye(columns.shape[1])
    left, sizes, right = np.linalg.svd(columns, full_matrices=False)
    kept = sizes > 1e-9 * sizes.max()
    return left[:, kept] * sizes[kept], right[kept].T


def _estimate(
    brief: Brief,
    made: Fit,
    laid: strata.Strata,
    x: np.ndarray,
    back: np.ndarray,
    y: np.ndarray,
    below: np.ndarray,
    row: np.ndarray,
    df: int,
    place: int,
) -> Estimate:
    """One comparison on the analysis scale."""
    if not laid.estimable(row):
        return Estimate(None, note=ways_out.why_not(laid, row))
    whole = np.concatenate([row, np.zeros(laid.block_columns.shape[1])]) @ back
    found = censored.limits(x, y, below, whole, level=brief.conf_level, df=df)
    limit = float(y[below].max()) if below.any() else float(y.min()) - 1e3
    p_value = censored.ratio_p(x, y, below, whole, limit=limit, df=df, draws=DRAWS, seed=brief.seed + place)
    log = made.response.scale == "log"
    open_ends = [word for word, end in (("lower", found.low), ("upper", found.high)) if end is None]
    note = "likelihood with values below their limit"
    if open_ends:
        note += f"; the {' and '.join(open_ends)} end is open: what would close it lies below the limit"
    value = found.estimate
    if value is None:
        note += f"; no {'ratio' if log else 'difference'} can be named, only its bound"
    return Estimate(value, None, float(df), found.low, found.high, p_value, "run", note, brief.conf_level)
