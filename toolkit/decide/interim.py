"""Where interim answers would end if every pending run came out far against, or far for, a comparison (rank 7)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import Brief, Comparison, gain_sign
from toolkit.decide import aliases, change_words, verdict
from toolkit.design import phases, questions, units
from toolkit.design import strata as design_strata
from toolkit.design import terms as model_terms
from toolkit.design.strata import RANDOMISED, Strata
from toolkit.errors import DesignError, ModelError
from toolkit.model import comparisons
from toolkit.model import fit as model_fit
from toolkit.model.fit import Fit
from toolkit.size.scatter import Scatter

AWAY = 2.0
COLUMNS = (
    "response",
    "comparison",
    "pending",
    "measured_in",
    "error_sd",
    "error_sd_from",
    "against_estimate",
    "against_low",
    "against_high",
    "for_estimate",
    "for_low",
    "for_high",
    "sentence",
)


@dataclass(frozen=True, eq=False)
class _Whole:
    """The runs so far with the pending ones, laid out, and what each is expected to give."""

    strata: Strata
    # Values so far, and for pending runs what the fit expects; on the analysis scale.
    values: np.ndarray
    waiting: np.ndarray
    new_build: np.ndarray


def worst_cases(
    brief: Brief, fit: Fit, runs: pd.DataFrame, waiting: pd.DataFrame, *, scatter: Scatter | None = None
) -> pd.DataFrame:
    """For each comparison: estimate and interval if every pending run came out 2 error SDs against it, and for it.

    Parameters
    ----------
    brief : Brief
    fit : Fit
        Of the runs so far, one response.
    runs : DataFrame
        Run values, all phases and verdicts.
    waiting : DataFrame
        The runs this response waits for, as ``pending.pending`` gives them.
    scatter : Scatter, optional
        Known before the runs: its SD between runs counts where it is larger than the one found so far, which rests on
        few runs.

    Returns
    -------
    DataFrame
        response, comparison, pending (how many runs), measured_in, error_sd (that was taken, on the analysis scale;
        None where two strata are mixed) and error_sd_from ('as found so far' or 'as planned with'), estimate and limits
        against and for (as the table of comparisons gives them), sentence. Where it cannot be reckoned the numbers are
        None and the sentence says why.

    Notes
    -----
    A pending run is expected to give what the runs so far predict for its combination in its build (a build not begun
    adds a constant that no comparison within builds sees). It is then moved by 2 SDs of the error that the comparison
    is judged by (of a build: of its mean), so that the gain falls (against) or grows (for) by as much as it can;
    everything is fitted again with these values, so that they count in the error too. This is arithmetic on supposed
    values and no forecast.

    Checked against: least squares on the values put in, by another route, in three layouts,
    tests/unit/decide/test_interim.py.
    """
    why = ""
    whole: _Whole | None = None
    try:
        whole = _whole(brief, fit, runs, waiting)
    except (ModelError, DesignError) as problem:
        why = str(problem)
    squares = {} if whole is None else _squares(fit, whole, scatter)
    # Positions of a run come in together.
    count = waiting["run"].nunique() if by_position.divided(brief) else len(waiting)
    rows = [_row(brief, fit, whole, squares, item, count, why) for item in brief.comparisons]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def _squares(fit: Fit, whole: _Whole, scatter: Scatter | None) -> dict[str, tuple[float, str]]:
    """Stratum to the error mean square that is taken and where it comes from; strata without any are left out."""
    found = {
        name: (float(square), "as found so far") for name, (square, df) in fit.mean_squares.items() if square and df
    }
    if fit.mixed is not None:
        # What the mean squares would be expected to be, once the units are balanced.
        by_unit = dict(zip(fit.mixed.units, map(float, fit.mixed.fit.variances), strict=True))
        for name in whole.strata.units:
            expected = whole.strata.expected(name)
            found[name] = (sum(times * by_unit[unit] for unit, times in expected.items()), "as found so far")
    finest = fit.strata.finest
    if scatter is not None and scatter.run_known and scatter.run.value > found.get(finest, (0.0, ""))[0]:
        found[finest] = (scatter.run.value, "as planned with")
    return found


def _row(
    brief: Brief,
    fit: Fit,
    whole: _Whole | None,
    squares: Mapping[str, tuple[float, str]],
    item: Comparison,
    count: int,
    why: str,
) -> dict[str, object]:
    """One comparison at both ends, or why not."""
    row: dict[str, object] = dict.fromkeys(COLUMNS)
    row |= {"response": fit.response.name, "comparison": item.name, "pending": count}
    try:
        weights = {} if whole is None else _weights(brief, whole, item)
        ends = {name: _end(fit, whole, squares, weights, item, way) for name, way in _WAYS.items() if whole is not None}
    except ModelError as problem:
        ends, why = {}, str(problem)
    if not ends:
        return {**row, "sentence": f"{item.name}: where the pending runs could take it is not told: {why}"}
    for name, line in ends.items():
        row |= {f"{name}_estimate": line["estimate"], "measured_in": line["measured_in"]}
        row |= {f"{name}_low": line["conf_low"], f"{name}_high": line["conf_high"]}
    told = ""
    if len(weights) == 1:
        square, source = squares[next(iter(weights))]
        row |= {"error_sd": math.sqrt(square), "error_sd_from": source}
        percent = fit.response.scale == "log"
        sd = f"{(100.0 if percent else 1.0) * math.sqrt(square):.3g} {'%' if percent else fit.response.measured_in}"
        told = f" (SD {sd.strip()}, {source})"
    return {**row, "sentence": _sentence(brief, item, ends, count, told)}


_WAYS = {"against": -1, "for": 1}


def _whole(brief: Brief, fit: Fit, runs: pd.DataFrame, waiting: pd.DataFrame) -> _Whole:
    """All runs laid out as the analysis will, once the pending ones are in as planned.

    Raises
    ------
    ModelError, DesignError
        When they cannot be laid out, or a pending run's value cannot be foreseen.
    """
    names = list(brief.factor_names)
    known = set(fit.runs["run_id"])
    blank = waiting[[*names, *units.id_columns(brief)]].isna().any(axis=1)
    if blank.any():
        raise ModelError(f"the treatment or build of {', '.join(waiting.loc[blank, 'run_id'])} is not known.")
    kept = runs[runs["run_id"].isin(known)]
    within = ("run", "position") if by_position.divided(brief) else ()
    told = ["run_id", "phase", *within, *units.id_columns(brief), *names]
    parts = [kept[told].astype(object), waiting[told].astype(object)]
    if fit.strata.covariates:
        # A run that is not made yet is taken at the reference values.
        own = fit.runs.set_index("run_id")[list(fit.strata.covariates)]
        parts[0] = parts[0].join(own, on="run_id")
    judged, whole = phases.side_by_side(brief, pd.concat(parts, ignore_index=True))
    laid = design_strata.again(replace(fit.strata, brief=judged), whole)
    if laid.terms != fit.strata.terms:
        raise ModelError("the runs to come are an extension that tells more effects than the runs so far do.")
    if not laid.balanced:
        raise ModelError(f"{laid.unbalanced} even with them, so that no run has a weight of its own.")
    late = whole["run_id"].isin(waiting["run_id"]).to_numpy()
    so_far = dict(zip(fit.runs["run_id"], fit.y, strict=True))
    values = np.array([so_far.get(name, math.nan) for name in whole["run_id"]])
    columns, _ = model_terms.columns(brief, whole[late].reset_index(drop=True), fit.strata.terms)
    unknown = [not fit.strata.estimable(row) for row in columns]
    if any(unknown):
        which = ", ".join(whole.loc[late, "run_id"][unknown])
        raise ModelError(f"the runs so far say nothing of the combination of {which} yet.")
    builds, new = _builds(fit, whole[late])
    values[late] = columns @ fit.beta + builds
    fresh = np.zeros(len(late), dtype=bool)
    fresh[late] = new
    return _Whole(laid, values, late, fresh)


def _builds(fit: Fit, late: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """What the build of each pending run adds to its expected value (0 when not begun), and which builds are new."""
    if fit.strata.layout == RANDOMISED:
        return np.zeros(len(late)), np.zeros(len(late), dtype=bool)
    unit = fit.strata.units[-2] if fit.strata.plots else "build"
    ids = units.labels(fit.brief, fit.runs, unit)
    left = pd.Series(fit.y - fit.strata.columns @ fit.beta, index=ids.to_numpy()).groupby(level=0).mean()
    mine = units.labels(fit.brief, late, unit).map(left)
    return mine.fillna(0.0).to_numpy(), mine.isna().to_numpy()


def _weights(brief: Brief, whole: _Whole, item: Comparison) -> dict[str, np.ndarray]:
    """What the estimate will take of each run, by stratum.

    Raises
    ------
    ModelError
        When it is not estimable even then.
    """
    row = questions.of_comparison(brief, item, whole.strata.terms).row
    if not whole.strata.estimable(row):
        raise ModelError("it is not estimable even with the pending runs as planned.")
    return aliases.weights(whole.strata, row)


def _end(
    fit: Fit,
    whole: _Whole,
    squares: Mapping[str, tuple[float, str]],
    weights: Mapping[str, np.ndarray],
    item: Comparison,
    way: int,
) -> Mapping[str, Any]:
    """The row of comparisons after every pending run came out against (-1) or for (1) this one.

    Raises
    ------
    ModelError
        When the comparison has no error to measure by yet, or no interval even then.
    """
    moved = whole.values.copy()
    for stratum, weight in weights.items():
        if stratum not in squares:
            many = units.PLURALS[stratum]
            raise ModelError(f"the scatter between {many} is not known yet (no degrees of freedom of error).")
        # Of a build its mean is 2 SDs away; a build that was begun has shown its own already.
        each = whole.strata.expected(stratum)[stratum]
        free = whole.waiting & whole.new_build if stratum != whole.strata.finest else whole.waiting
        step = AWAY * math.sqrt(squares[stratum][0] / each)
        moved[free] += way * gain_sign(fit.response) * step * np.sign(_clean(weight[free]))
    made = model_fit.of_strata(fit.brief, fit.response, whole.strata, moved)
    found = comparisons.comparisons(made)
    line = next(line for line in found.to_dict("records") if line["comparison"] == item.name)
    if verdict.answer_of(line, fit.brief) is None:
        raise ModelError(f"it has no interval even then: {line['note']}")
    return line


def _clean(weights: np.ndarray) -> np.ndarray:
    """Weights with rounding taken for the nought it stands for."""
    return np.where(np.abs(weights) < 1e-12, 0.0, weights)


def _sentence(brief: Brief, item: Comparison, ends: Mapping[str, Mapping[str, Any]], count: int, told: str) -> str:
    """Both ends in one sentence."""
    answers = {name: verdict.answer_of(line, brief) for name, line in ends.items()}
    words = {name: change_words.with_interval(answer) for name, answer in answers.items() if answer is not None}
    which = "the pending run" if count == 1 else f"all {count} pending runs"
    return (
        f"{item.name}: if {which} came out {AWAY:g} error SDs{told} against it, it would end at {words['against']}; "
        f"{AWAY:g} SDs for it, at {words['for']}."
    )
