"""Comparisons where some run values are only known to lie below the laboratory's limit (rank 4)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief, Response
from toolkit.design import alias_words, phases, questions, strata, units
from toolkit.design import terms as model_terms
from toolkit.errors import ModelError
from toolkit.model import _aligned_builds as aligned_builds
from toolkit.model import _between_ends as between_ends
from toolkit.model import _ways_out as ways_out
from toolkit.model._estimates import Estimate, schema_row, table_of
from toolkit.model._levels import words_of
from toolkit.model._selection import Selection, analysed
from toolkit.model.fit import Fit, of_strata
from toolkit.numeric import censored, contrasts
from toolkit.wording import filled

DRAWS = 1_999
NOTE = "likelihood with values below their limit"
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
    means : DataFrame
        Of every level and combination, in the schema of estimates with levels and runs; open ends are None.
    fit : Fit
        The layout the answers rest on, with the error of the likelihood; the limits stand in as values in ``y``.
    below : tuple of str
        Runs whose value lies below its limit.
    between : tuple of str
        Runs whose value is only known to lie between two ends.
    notes : tuple of str
    """

    comparisons: pd.DataFrame
    means: pd.DataFrame
    fit: Fit
    below: tuple[str, ...]
    between: tuple[str, ...]
    notes: tuple[str, ...]

    def __repr__(self) -> str:
        """The comparisons, then what there is to know of them."""
        shown = ["comparison", "estimate", "conf_low", "conf_high", "p_value"]
        return "\n".join([filled(self.comparisons[shown]).to_string(index=False), *self.notes])


def has_any(brief: Brief, runs: pd.DataFrame, response: str) -> bool:
    """True when a valid run of the phases that count has a value below its limit.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        Run values, all phases and verdicts.
    response : str

    Returns
    -------
    bool
    """
    mark = f"{response}_below_limit"
    if mark not in runs:
        return False
    counted = runs[mark].map(lambda value: not pd.isna(value) and bool(value))
    if "phase" in runs:
        counted &= runs["phase"].isin(brief.counted_phases)
    if "verdict" in runs:
        counted &= runs["verdict"] == "valid"
    return bool(counted.any())


def comparisons(brief: Brief, runs: pd.DataFrame, response: str, *, phase: str = "main") -> BelowLimit:
    """The comparisons of the brief by a likelihood that takes '<' for what it says; nothing is put in its place.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        Run values with <response>_below_limit; where it is true the response's column holds the limit, and
        <response>_at_least, where there is such a column, the lower end of what is only known to lie between two.
    response : str
    phase : str

    Returns
    -------
    BelowLimit

    Raises
    ------
    ModelError
        When a unit of several runs belongs to a factor (unless the value is a concentration at the end on the linear
        scale, between nought and its limit), more than half of the values lie below their limits, too few
        lie above them, or no degrees of freedom are left.

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
    brief = phases.told_by(brief, picked.brief)
    below = _marked(runs, picked, mark)
    laid = strata.of_runs(picked.brief, picked.runs.assign(**{mark: below}))
    least = _least(runs, picked, asked, below)
    bare = below & np.isnan(least)
    if laid.plots and asked.scale == "linear" and asked.source == "oil" and asked.per_run == "end":
        # A concentration lies between nought and its limit, wherever that may be.
        least = np.where(bare, 0.0, least)
    between = below & ~np.isnan(least)
    if laid.plots and laid.units[-1] == units.RUN and between.any() and not (below & ~between).any():
        return _in_units(brief, known, asked, picked, least, bare.any())
    _refuse(asked, laid, below & ~between)
    values = picked.runs[response].to_numpy(dtype=float)
    y = np.log(values) if asked.scale == "log" else values
    made = of_strata(brief, asked, laid, y)
    x, back = _full_rank(laid.full_columns)
    data = _Data(x, back, y, below, least, len(y) - x.shape[1])
    made = _judged(made, data)
    rows, beside = [], alias_words.notes(laid)
    for at, item in enumerate(brief.comparisons):
        question = questions.of_comparison(brief, item, laid.terms)
        one = _estimate(made, data, question.row, at)
        if one.value is not None and len(item.interaction) > 1:
            one = one.noted("a ratio of ratios" if asked.scale == "log" else "a difference of differences")
        one = one.noted(alias_words.note_of(laid, question.row, beside, item))
        row = schema_row(made, one, question.contrast, comparison=item.name, planned=True)
        rows.append({**row, "family": item.family, "adjust": "none"})
    named = [str(name) for name in picked.runs["run_id"]]
    hidden = tuple(name for name, one in zip(named, below & ~between, strict=True) if one)
    inside = tuple(name for name, one in zip(named, between, strict=True) if one)
    notes = [*picked.notes]
    if hidden or not inside:
        told = f"{len(hidden)} of {len(y)} values lie below their limit ({', '.join(hidden)})"
        notes.append(f"{told}: they count as 'at most the limit', and no number is put in their place")
    if inside:
        notes.append(
            f"{len(inside)} of {len(y)} values are only known to lie between two ends ({', '.join(inside)}), because "
            f"the zero-hour sample is below its limit: they count as that interval"
        )
    notes.append("each comparison is judged alone, also in a family")
    means = table_of([_mean(made, data, levels) for levels in _wanted(made)], ("levels", "runs"))
    return BelowLimit(table_of(rows, ("family", "adjust")), means, made, hidden, inside, tuple(notes))


def _in_units(
    brief: Brief, runs: pd.DataFrame, response: Response, picked: Selection, least: np.ndarray, bare: bool
) -> BelowLimit:
    """The answers where units of several runs are compared and values lie between two ends, the lower one nought where
    the values themselves are below a limit (``bare``)."""
    inside = ~np.isnan(least)
    named = tuple(str(name) for name in picked.runs.loc[inside, "run_id"])
    ends = np.exp(least[inside]) if response.scale == "log" else least[inside]
    told, means, made = between_ends.answers(brief, runs, response, named, ends.tolist())
    why = "they are below their limit and not below nought" if bare else "the zero-hour sample is below its limit"
    note = (
        f"{len(named)} of {len(inside)} values are only known to lie between two ends ({', '.join(named)}), because "
        f"{why}: estimates rest on the middle, intervals hold wherever they lie"
    )
    return BelowLimit(told, means, made, (), named, (*made.notes, note))


@dataclass(frozen=True, eq=False)
class _Data:
    """What the likelihood takes: columns of full rank, what turns a row into theirs, values, marks, lower ends, df."""

    x: np.ndarray
    back: np.ndarray
    y: np.ndarray
    below: np.ndarray
    least: np.ndarray
    df: int

    def row(self, row: np.ndarray) -> np.ndarray:
        """A contrast's row in these columns."""
        return np.concatenate([row, np.zeros(len(self.back) - len(row))]) @ self.back


def _marked(runs: pd.DataFrame, picked: Selection, mark: str) -> np.ndarray:
    """Which of the runs picked lie below their limit."""
    if mark not in runs:
        return np.zeros(len(picked.runs), dtype=bool)
    marked = {
        str(name)
        for name, value in zip(runs["run_id"], runs[mark], strict=True)
        if not pd.isna(value) and bool(value)
    }
    return np.array([str(name) in marked for name in picked.runs["run_id"]])


def _least(runs: pd.DataFrame, picked: Selection, response: Response, below: np.ndarray) -> np.ndarray:
    """The lower end of each value below its limit on the analysis scale; NaN where none is known."""
    name = f"{response.name}_at_least"
    if name not in runs:
        return np.full(len(below), np.nan)
    known = dict(zip(runs["run_id"].astype(str), runs[name].astype(float), strict=True))
    ends = np.array([known[str(run)] for run in picked.runs["run_id"]])
    ends = np.where(below, ends, np.nan)
    if response.scale != "log":
        return ends
    # At or below nought a lower end says nothing on the log scale.
    return np.log(np.where(ends > 0.0, ends, np.nan))


def _refuse(response: Response, laid: strata.Strata, below: np.ndarray) -> None:
    """What this likelihood cannot answer."""
    if laid.plots:
        many = units.PLURALS[laid.units[0]]
        # As one value goes down without end its t goes to about 1 in size, which is no critical value.
        why = (
            "on the log scale such a value can lie any way down, and the scatter grows with it as fast as the "
            "estimate, so that an interval that holds for all has no end on either side"
            if response.scale == "log"
            else "nothing says how far down such a value can lie"
        )
        raise ModelError(
            f"{response.name}: values below a limit are not covered where {many} are the units of a factor: {why}. Ask "
            f"the laboratory for the number behind the '<' or a repeat with a lower limit."
        )
    columns = contrasts.rank(laid.full_columns)
    if below.mean() > MOST_BELOW or int((~below).sum()) < columns + 1:
        raise ModelError(
            f"{response.name}: {int(below.sum())} of {len(below)} values lie below their limits, which is too many to "
            f"compare treatments by ({max(columns + 1, math.ceil(len(below) * (1 - MOST_BELOW)))} must lie above). Ask "
            f"the laboratory for a lower limit, or answer from the other responses."
        )
    if len(below) <= columns:
        raise ModelError(
            f"{response.name}: no degrees of freedom are left for the error ({len(below)} runs). Repeat runs, or "
            f"declare an interaction nil in [plan] nil_interactions."
        )


def _full_rank(columns: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Columns that span the same, none aliased, and what turns a contrast's row into theirs."""
    if contrasts.rank(columns) == columns.shape[1]:
        return columns, np.eye(columns.shape[1])
    left, sizes, right = np.linalg.svd(columns, full_matrices=False)
    kept = sizes > 1e-9 * sizes.max()
    return left[:, kept] * sizes[kept], right[kept].T


def _judged(made: Fit, data: _Data) -> Fit:
    """The fit with the error of the likelihood in place of that of the limits as values."""
    found = censored.fit(data.x, data.y, data.below, data.least)
    square = found.sigma**2 * len(data.y) / data.df
    return replace(made, mean_squares={"run": (square, data.df)})


def _estimate(made: Fit, data: _Data, row: np.ndarray, place: int) -> Estimate:
    """One comparison on the analysis scale."""
    one = _limits(made, data, row)
    if one.df is None:
        return one
    left = data.below & np.isnan(data.least)
    limit = float(data.y[left].max()) if left.any() else float(data.y.min()) - 1e3
    p_value = censored.ratio_p(
        data.x,
        data.y,
        data.below,
        data.row(row),
        limit=limit,
        df=data.df,
        draws=DRAWS,
        seed=made.brief.seed + place,
        at_least=data.least,
    )
    if one.value is None:
        one = one.noted(f"no {'ratio' if made.response.scale == 'log' else 'difference'} can be named, only its bound")
    return replace(one, p_value=p_value)


def _limits(made: Fit, data: _Data, row: np.ndarray) -> Estimate:
    """The value of a row with its interval."""
    if not made.strata.estimable(row):
        return Estimate(None, note=ways_out.why_not(made.strata, row))
    level = made.brief.conf_level
    found = censored.limits(
        data.x, data.y, data.below, data.row(row), level=level, df=data.df, at_least=data.least
    )
    if why := aligned_builds.why_withheld(made.strata, row):
        return Estimate(found.estimate, strata="run", note=why)
    note = NOTE
    ends = [word for word, end in (("lower", found.low), ("upper", found.high)) if end is None]
    if ends:
        told = f"the {ends[0]} end is open: what would close it" if len(ends) == 1 else "both ends are open: what would"
        note += f"; {told}{'' if len(ends) == 1 else ' close them'} lies below the limit"
    if len(ends) == 1:
        # Where one end opens the other one is missed more often: about one in three in the simulations.
        note += f"; the end is held less well than {100.0 * level:g} %: values below the limit"
    return Estimate(found.estimate, None, float(data.df), found.low, found.high, None, "run", note, level)


def _wanted(made: Fit) -> list[dict[str, str]]:
    """The levels whose means are told: of every factor, and of every combination."""
    names = list(made.brief.factor_names)
    single = [{factor.name: level} for factor in made.brief.factors for level in factor.names]
    whole = [dict(zip(names, line, strict=True)) for line in made.brief.combinations]
    return [*(single if len(names) > 1 else []), *whole]


def _mean(made: Fit, data: _Data, levels: Mapping[str, str]) -> dict[str, object]:
    """One mean as a row of the table of means."""
    row = model_terms.row(made.brief, made.strata.terms, levels)
    one = _limits(made, data, row)
    what = "median (geometric mean)" if made.response.scale == "log" else "mean"
    one = one.noted(what) if one.value is not None else one
    laid = made.strata.runs
    with_them = np.all([laid[name] == level for name, level in levels.items()], axis=0)
    return {
        **schema_row(made, one, words_of(levels), term=model_terms.name_of(tuple(levels)), of_mean=True),
        "levels": dict(levels),
        "runs": int(with_them.sum()),
    }
