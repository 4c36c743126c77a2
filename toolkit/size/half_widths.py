"""How wide the interval of each comparison will be: with every run made, with one or two lost, and which to keep.

Rank 5. The error of each comparison comes from the strata. Where no scatter is known, widths are told in multiples of
the SD that the comparison is judged by; where units of several runs are left unbalanced by Kenward and Roger's method.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from scipy import special

from toolkit.design import strata
from toolkit.design.strata import Strata
from toolkit.errors import DesignError
from toolkit.numeric import lost_runs
from toolkit.size import _errors as errors
from toolkit.size import _unbalanced as unbalanced
from toolkit.size import losing_runs, promise
from toolkit.size.claim import Asked
from toolkit.size.scatter import Scatter

COLUMNS = (
    *("response", "comparison", "told_in", "error_stratum", "error_df", "every_run"),
    *("one_lost", "untold_after_one", "two_lost", "untold_after_two", "dearest_lost", "dearest_run", "note"),
)
IN_SDS = "error SDs"
RATIO = "ratio"
# Ways of losing runs that are alike differ by less than this.
_ALIKE = 1e-9


@dataclass(frozen=True, eq=False)
class _Widths:
    """Half-widths of one comparison on the analysis scale: of every way of losing so many runs, infinite: not told."""

    every: float | None
    df: float | None
    one: np.ndarray | None
    two: np.ndarray | None
    note: str = ""


def half_widths(judged: Strata, own: Sequence[int], scatter: Scatter | None = None) -> pd.DataFrame:
    """The half-width of each comparison's interval, with every run and with some lost.

    Parameters
    ----------
    judged : Strata
        That the runs will be judged in, those of other phases that count among them.
    own : sequence of int
        Which of its runs are the plan's own, and can be lost.
    scatter : Scatter, optional
        Of one response: widths are told on its scale, at the scatter as estimated. Left out: in SDs of the error.

    Returns
    -------
    DataFrame
        One row a comparison. told_in: 'ratio' (the interval reaches from the estimate divided by the width to it times
        the width), the response's unit, or 'error SDs'. every_run; one_lost and two_lost: on average over the runs
        lost, of the ways that leave an interval; untold_after_one, untold_after_two: the share of ways that leave none;
        dearest_lost and dearest_run: the width without the run whose loss costs most, and its name (empty where every
        loss costs the same). None where nothing can be told, and ``note`` says why.

    Notes
    -----
    t at the comparison's alpha and df, times its standard error. Runs are lost at random and not made again. Variances
    after losses are those of least squares over the runs left; where builds, parts or fills are units of a factor those
    of Kenward and Roger, of which ways of losing runs that are alike are worked out once; more than 40 that differ are
    not.

    Checked against: factors told for 2 x 2 plans of 8, 12 and 16 runs beforehand, runs left fitted anew,
    tests/unit/size/test_half_widths.py.
    """
    asked = [item for item in promise.asked_of([judged]) if item.comparison is not None]
    found = _told(judged, np.asarray(own, dtype=int), asked, scatter)
    rows = [_row(judged, own, item, one, scatter) for item, one in zip(asked, found, strict=True)]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def _told(judged: Strata, own: np.ndarray, asked: Sequence[Asked], scatter: Scatter | None) -> list[_Widths]:
    """The widths of each comparison on the analysis scale, or in SDs."""
    if not judged.plots:
        return [_by_least_squares(judged, own, asked, number, scatter) for number in range(len(asked))]
    if scatter is None:
        return [_in_sds(judged, item) for item in asked]
    every = _of_units(judged, asked, scatter)
    losses = [_lost_units(judged, own, asked, scatter, lost) for lost in (1, 2)]
    made = []
    for number, (width, df, note) in enumerate(every):
        one, two = (None if part is None else part[:, number] for part in losses)
        made.append(_Widths(width, df, one, two, note))
    return made


def _by_least_squares(
    judged: Strata, own: np.ndarray, asked: Sequence[Asked], number: int, scatter: Scatter | None
) -> _Widths:
    """Where runs are the only units: by downdating."""
    item = asked[number]
    parts = item.parts[0]
    if not parts:
        return _Widths(None, None, None, None, "cannot be told from these runs")
    sd = 1.0
    if scatter is not None:
        error = errors.error_of(scatter, [judged], [parts])
        if isinstance(error, str):
            return _Widths(None, None, None, None, error)
        sd = math.sqrt(float(error.variance[0]) / parts[0].unit_variance)
    alpha, note = promise.judged_at(judged, item.comparison)
    every = sd * _width(np.array([parts[0].unit_variance]), np.array([float(parts[0].error_df)]), alpha)[0]
    row = np.concatenate([item.question.row, np.zeros(judged.block_columns.shape[1])])
    made = []
    for lost in (1, 2):
        if len(own) <= lost or len(judged.runs) <= lost:
            made.append(None)
            continue
        found = lost_runs.losses(judged.full_columns, row[None, :], lost=lost)
        kept = np.isin(found.lost, own).all(axis=1)
        variance, df = errors.at_equal(
            found.variance[kept, 0], found.error_df[kept].astype(float), errors.slopes_of(judged)
        )
        made.append(sd * _width(variance, df, alpha))
    if not np.isfinite(every):
        note = "no degrees of freedom are left to judge it by"
    return _Widths(_finite(every), float(parts[0].error_df), made[0], made[1], note)


def _in_sds(judged: Strata, item: Asked) -> _Widths:
    """Without a scatter, where units hold several runs: in SDs of the one stratum it is judged in."""
    unknown = "what lost runs do to it is told once the scatter between units is known"
    parts = item.parts[0]
    if len(parts) != 1:
        return _Widths(None, None, None, None, f"judged by several units or unbalanced; {unknown}")
    alpha, note = promise.judged_at(judged, item.comparison)
    df = float(parts[0].error_df)
    width = _width(np.array([parts[0].unit_variance]), np.array([df]), alpha)[0]
    return _Widths(_finite(width), df, None, None, f"{note}; {unknown}" if note else unknown)


def _of_units(
    judged: Strata, asked: Sequence[Asked], scatter: Scatter
) -> list[tuple[float | None, float | None, str]]:
    """Width, df and note of each comparison where units hold several runs."""
    states: unbalanced.States | str = ""
    if judged.unbalanced:
        states = unbalanced.states_of(scatter, judged, np.array([item.question.row for item in asked]))
    made: list[tuple[float | None, float | None, str]] = []
    for number, item in enumerate(asked):
        alpha, note = promise.judged_at(judged, item.comparison, states)
        if judged.unbalanced:
            if isinstance(states, str):
                made.append((None, None, states))
                continue
            variance, df = states.variance[number, -1] * states.widening[number, -1] ** 2, states.df[number, -1]
        elif item.parts[0]:
            error = errors.error_of(scatter, [judged], [item.parts[0]])
            if isinstance(error, str):
                made.append((None, None, error))
                continue
            variance, df = error.variance[0], error.df[0]
        else:
            made.append((None, None, "cannot be told from these runs"))
            continue
        width = _finite(_width(np.array([variance]), np.array([df]), alpha)[0])
        made.append((width, None if np.isnan(df) else float(df), note))
    return made


def _lost_units(
    judged: Strata, own: np.ndarray, asked: Sequence[Asked], scatter: Scatter, lost: int
) -> np.ndarray | None:
    """Widths after each way of losing so many runs, shape (ways, comparisons); alike ways are worked out once."""
    if len(own) <= lost:
        return None
    ways = list(combinations(own.tolist(), lost))
    marks = losing_runs.alike(judged, ways)
    first = {mark: way for mark, way in reversed(list(zip(marks, ways, strict=True)))}
    if len(first) > losing_runs.MOST_WAYS:
        return None
    by_mark = {}
    for mark, way in first.items():
        left = judged.runs.drop(index=list(way)).reset_index(drop=True)
        try:
            laid = strata.again(judged, left)
        except DesignError:
            by_mark[mark] = [np.inf] * len(asked)
            continue
        again = [item for item in promise.asked_of([laid]) if item.comparison is not None]
        by_mark[mark] = [np.inf if width is None else width for width, _, _ in _of_units(laid, again, scatter)]
    return np.array([by_mark[mark] for mark in marks])


def _width(variance: np.ndarray, df: np.ndarray, alpha: float) -> np.ndarray:
    """t times the standard error; infinite where there is none, or no df."""
    good = np.isfinite(variance) & np.isfinite(df) & (df >= 1.0)
    made = np.full(len(variance), np.inf)
    made[good] = -special.stdtrit(df[good], 0.5 * alpha) * np.sqrt(variance[good])
    return made


def _finite(value: float) -> float | None:
    """A width, or None."""
    return float(value) if np.isfinite(value) else None


def _row(
    judged: Strata, own: Sequence[int], item: Asked, found: _Widths, scatter: Scatter | None
) -> dict[str, object]:
    """One comparison as the table has it."""
    log = scatter is not None and scatter.response.scale == "log"

    def scaled(width: float | None) -> float | None:
        return math.exp(width) if log and width is not None else width

    one, untold_one = _mean(found.one)
    two, untold_two = _mean(found.two)
    dearest, name = None, ""
    if found.one is not None and len(found.one):
        dearest = _finite(float(found.one.max()))
        if float(found.one.max()) - float(found.one.min()) > _ALIKE or not np.isfinite(found.one).all():
            name = _dearest(judged, own, found.one)
    unit = RATIO if log else (scatter.response.measured_in or "its unit") if scatter is not None else IN_SDS
    return {
        "response": None if scatter is None else scatter.response.name,
        "comparison": item.question.name,
        "told_in": unit,
        "error_stratum": " and ".join(part.stratum for part in item.parts[0]) or None,
        "error_df": found.df,
        "every_run": scaled(found.every),
        "one_lost": scaled(one),
        "untold_after_one": untold_one,
        "two_lost": scaled(two),
        "untold_after_two": untold_two,
        "dearest_lost": scaled(dearest),
        "dearest_run": name,
        "note": found.note,
    }


def _mean(widths: np.ndarray | None) -> tuple[float | None, float | None]:
    """The mean of the ways that leave an interval, and the share of those that leave none."""
    if widths is None or not len(widths):
        return None, None
    good = np.isfinite(widths)
    return (float(widths[good].mean()) if good.any() else None), float(1.0 - good.mean())


def _dearest(judged: Strata, own: Sequence[int], widths: np.ndarray) -> str:
    """The run that costs most to lose, with how many others cost as much; empty where all leave nothing."""
    if not np.isfinite(widths).any():
        return ""
    as_dear = np.flatnonzero(np.isinf(widths) if np.isinf(widths).any() else widths > widths.max() - _ALIKE)
    first = _run(judged, int(np.asarray(own)[as_dear[0]]))
    others = len(as_dear) - 1
    return f"{first}, or {'the one' if others == 1 else f'one of {others}'} alike" if others else first


def _run(judged: Strata, at: int) -> str:
    """A run by its id, else by its levels."""
    row = judged.runs.iloc[at]
    levels = ", ".join(f"{name} {row[name]}" for name in judged.brief.factor_names)
    where = f", build {row['build_id']}" if judged.runs["build_id"].nunique() > 1 else ""
    return f"{row['run_id']} ({levels}{where})" if "run_id" in row.index else f"{levels}{where}"
