"""Old runs looked at one by one: which differ in one factor only, which are missing, which would help most (rank 7)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
import pandas as pd

from toolkit.design import questions
from toolkit.design import terms as model_terms
from toolkit.model._ways_out import missing_combinations as missing
from toolkit.model.fit import Fit
from toolkit.numeric.one_more import one_more

__all__ = ["Difference", "as_good", "differences", "missing", "next_runs", "pattern", "rests_on"]

# More pairs than this tell nobody anything; the comparisons do.
MOST_PAIRS = 200
_NONE = 1e-9


@dataclass(frozen=True)
class Difference:
    """Two combinations that differ in the level of one factor: the change as it stands, and what it rests on.

    ``value`` is on the analysis scale, ``unit_variance`` in variances of a run value.
    """

    COLUMNS: ClassVar[tuple[str, ...]] = (
        "response",
        "factor",
        "of",
        "against",
        "at",
        "rests_on",
        "estimate",
        "measured_in",
        "std_error_factor",
        "what",
    )
    response: str
    factor: str
    of: str
    against: str
    at: str
    rests_on: str
    value: float
    unit_variance: float
    log: bool
    measured_in: str

    @property
    def what(self) -> str:
        """The difference in words: 'pin P1 against P0, at oil O0 (R02 less R01)'."""
        where = f", at {self.at}" if self.at else ""
        return f"{self.factor} {self.of} against {self.against}{where} ({self.rests_on})"

    def row(self) -> dict[str, Any]:
        """One row of the table of differences."""
        made = {name: getattr(self, name) for name in ("response", "factor", "of", "against", "at", "rests_on", "what")}
        made["estimate"] = math.exp(self.value) if self.log else self.value
        made["measured_in"] = self.measured_in
        made["std_error_factor"] = math.sqrt(self.unit_variance)
        return made


def differences(fit: Fit) -> list[Difference]:
    """Every pair of combinations that were run and differ in one factor only, within a build where builds are blocks.

    Returns
    -------
    list of Difference
        By factor, then by the level of the baseline; at most ``MOST_PAIRS``.
    """
    names = list(fit.brief.factor_names)
    runs, log = fit.runs, fit.response.scale == "log"
    builds = runs["build_id"].astype(str) if fit.strata.blocked else pd.Series("", index=runs.index)
    held: dict[tuple[str, tuple[str, ...]], list[int]] = {}
    for at, levels in enumerate(runs[names].itertuples(index=False, name=None)):
        held.setdefault((builds.iloc[at], levels), []).append(at)
    made = []
    for place, factor in enumerate(fit.brief.factors):
        rank = {level: at for at, level in enumerate(factor.names)}
        for (build, low), lows in held.items():
            for (other, high), highs in held.items():
                rest_low, rest_high = low[:place] + low[place + 1 :], high[:place] + high[place + 1 :]
                known = low[place] in rank and high[place] in rank
                if build != other or rest_low != rest_high or not known or rank[high[place]] <= rank[low[place]]:
                    continue
                rest = [f"{name} {level}" for name, level in zip(names, low, strict=True) if name != factor.name]
                weights = np.zeros(len(runs))
                weights[highs], weights[lows] = 1.0 / len(highs), -1.0 / len(lows)
                made.append(
                    Difference(
                        fit.response.name,
                        factor.name,
                        high[place],
                        low[place],
                        ", ".join([*rest, *([f"build {build}"] if build else [])]),
                        rests_on(weights, runs["run_id"]),
                        float(np.mean(fit.y[highs]) - np.mean(fit.y[lows])),
                        float(weights @ weights),
                        log,
                        "ratio" if log else fit.response.measured_in,
                    )
                )
    made.sort(key=lambda item: (names.index(item.factor), fit.brief.factor(item.factor).names.index(item.against)))
    return made[:MOST_PAIRS]


def rests_on(weights: np.ndarray, run_ids: Sequence[str] | pd.Series) -> str:
    """Which runs an estimate is made of: 'R02 less R01', or how many of them."""
    names = list(run_ids)
    used = np.flatnonzero(np.abs(weights) > _NONE)
    up, down = [names[at] for at in used if weights[at] > 0], [names[at] for at in used if weights[at] < 0]
    if len(used) == 2 and up and down and abs(weights[used[0]] + weights[used[1]]) < _NONE:
        if abs(abs(weights[used[0]]) - 1.0) < _NONE:
            return f"{up[0]} less {down[0]}"
    even = all(abs(abs(weights[at]) - 1.0 / len(side)) < _NONE for side, at in _sides(weights, used))
    if even and up and down and len(used) <= 6:
        return f"{_mean(up)} less {_mean(down)}"
    return f"{len(used)} of {len(names)} runs" if len(used) < len(names) else f"all {len(names)} runs"


def pattern(fit: Fit, order: np.ndarray | None) -> str:
    """How the runs were chosen, as far as they show it."""
    names = list(fit.brief.factor_names)
    every = [tuple(line) for line in fit.runs[names].itertuples(index=False, name=None)]
    if len(set(every)) < len(every):
        return "some combinations repeated"
    star = any(all(_apart(one, other) <= 1 for other in every) for one in every)
    chain = False
    if order is not None:
        sequence = [every[at] for at in np.argsort(order, kind="stable")]
        chain = all(_apart(one, other) == 1 for one, other in zip(sequence, sequence[1:], strict=False))
    if len(names) > 1 and len(every) > 2 and (star or chain) and len(every) < len(fit.brief.combinations):
        return "one factor at a time, one run each"
    return "one run each"


def next_runs(fit: Fit, nil: Fit | None) -> pd.DataFrame:
    """Every run that could be made next, in the order of what it does for the comparisons.

    Parameters
    ----------
    fit : Fit
        The whole model.
    nil : Fit or None
        With interactions assumed nil.

    Returns
    -------
    DataFrame
        As ``habit.Habit`` says; no rows where builds are units. First come the runs after which most comparisons can
        be estimated without assuming anything, among these those that leave an error, then those with the smallest
        mean variance of what can be estimated; then the same with interactions assumed nil; then the order of the
        brief.
    """
    laid, names = fit.strata, list(fit.brief.factor_names)
    head = ["rank", *names, *(["build_id"] if laid.blocked else []), "combination", "runs_so_far"]
    head += ["newly_estimable", "estimable", "error_df", "mean_variance"]
    head += ["estimable_nil", "error_df_nil", "mean_variance_nil"]
    if laid.plots:
        return pd.DataFrame(columns=head, dtype=object)
    builds = list(dict.fromkeys(laid.runs["build_id"])) if laid.blocked else [None]
    cells = [(dict(zip(names, chosen, strict=True)), build) for chosen in fit.brief.combinations for build in builds]
    whole, before = _after(fit, cells)
    less = _after(nil, cells)[0] if nil is not None else None
    rows = []
    for at, (levels, build) in enumerate(cells):
        told = np.isfinite(whole.variance[at])
        had = np.all([laid.runs[name] == level for name, level in levels.items()], axis=0)
        had &= True if build is None else (laid.runs["build_id"] == build).to_numpy()
        rows.append(
            {
                **levels,
                "build_id": build,
                "combination": ", ".join(f"{name} {level}" for name, level in levels.items()),
                "runs_so_far": int(np.sum(had)),
                "newly_estimable": [
                    item.name for item, now, then in zip(fit.brief.comparisons, before, told, strict=True) if then > now
                ],
                "estimable": int(told.sum()),
                "error_df": int(whole.error_df[at]),
                "mean_variance": _mean_of(whole.variance[at]),
                "estimable_nil": None if less is None else int(np.isfinite(less.variance[at]).sum()),
                "error_df_nil": None if less is None else int(less.error_df[at]),
                "mean_variance_nil": None if less is None else _mean_of(less.variance[at]),
            }
        )
    rows.sort(key=_worth)
    return pd.DataFrame([{"rank": at, **row} for at, row in enumerate(rows, start=1)], columns=head, dtype=object)


def as_good(candidates: pd.DataFrame) -> list[str]:
    """Combinations that would help just as much as the first of the candidates."""
    rows = candidates.to_dict("records")
    first = _worth(rows[0]) if rows else ()
    alike = [row["combination"] for row in rows[1:] if _worth(row) == first]
    return [name for name in dict.fromkeys(alike) if name != rows[0]["combination"]]


def _after(fit: Fit, cells: Sequence[tuple[dict[str, str], Any]]) -> tuple[Any, np.ndarray]:
    """What each cell, run once more, does under one model; and which comparisons are estimable without it."""
    laid, brief = fit.strata, fit.brief
    table = {name: [levels[name] for levels, _ in cells] for name in brief.factor_names}
    candidates = model_terms.columns(brief, table, laid.terms)[0]
    if laid.blocked:
        place = {build: at for at, build in enumerate(laid.runs["build_id"])}
        candidates = np.hstack([candidates, laid.block_columns[[place[build] for _, build in cells]]])
    rows = np.array([questions.of_comparison(brief, item, laid.terms).row for item in brief.comparisons])
    rows = rows.reshape(len(brief.comparisons), laid.columns.shape[1])
    padded = np.hstack([rows, np.zeros((len(rows), laid.block_columns.shape[1]))])
    before = np.array([laid.estimable(row) for row in rows], dtype=bool)
    return one_more(laid.full_columns, padded, candidates), before


def _worth(row: dict[str, Any]) -> tuple[Any, ...]:
    """What candidates are ordered by, the best first; rounding must not decide between equals."""
    means = [math.inf if row[name] is None else round(row[name], 9) for name in ("mean_variance", "mean_variance_nil")]
    open_nil, df_nil = row["estimable_nil"] or 0, row["error_df_nil"] or 0
    return (-row["estimable"], row["error_df"] == 0, means[0], -open_nil, df_nil == 0, means[1])


def _mean_of(variances: np.ndarray) -> float | None:
    """The mean of the variances that are there; None where none is."""
    known = variances[np.isfinite(variances)]
    return float(known.mean()) if len(known) else None


def _sides(weights: np.ndarray, used: np.ndarray) -> list[tuple[list[int], int]]:
    """Each run used with all runs of its sign."""
    up, down = [at for at in used if weights[at] > 0], [at for at in used if weights[at] < 0]
    return [(up if weights[at] > 0 else down, at) for at in used]


def _mean(names: Sequence[str]) -> str:
    """A run, or the mean of several."""
    return names[0] if len(names) == 1 else f"the mean of {', '.join(names[:-1])} and {names[-1]}"


def _apart(one: Sequence[str], other: Sequence[str]) -> int:
    """In how many factors two combinations differ."""
    return sum(a != b for a, b in zip(one, other, strict=True))
