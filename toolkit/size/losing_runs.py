"""What a plan still shows when one run or two are lost: on average over which, and at worst (rank 5)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
import pandas as pd

from toolkit.brief import by_position
from toolkit.brief import model as brief_model
from toolkit.design import strata, units
from toolkit.design.design import Design
from toolkit.design.strata import Strata
from toolkit.errors import DesignError
from toolkit.numeric import lost_runs
from toolkit.size import _claim_numbers as claim_numbers
from toolkit.size import _errors as errors
from toolkit.size import _unbalanced as unbalanced
from toolkit.size import promise
from toolkit.size.claim import Asked, Claim
from toolkit.size.scatter import Scatter

# More ways of losing runs than this, alike ones taken together, are not worked through by Kenward and Roger's method.
MOST_WAYS = 40
# Campaigns drawn for each of them: the mean over the ways is told to a point or so.
_DRAWS = 2_000


def after_losses(
    designs: Sequence[Design],
    scatter: Scatter,
    found: Sequence[Sequence[Claim]],
    *,
    standing: pd.DataFrame | None = None,
) -> list[list[Claim]]:
    """The claims of ``promise.claims`` with the chances that are left when runs of the plan are lost.

    Parameters
    ----------
    designs, scatter, standing
        As for ``promise.claims``.
    found : list of list of Claim
        What it gave for these designs.

    Returns
    -------
    list of list of Claim
        The same claims. Those of comparisons hold after_one_lost and after_two_lost (assurance, averaged over the runs
        lost) and after_worst_lost (the worst one run, named in ``note``). None where nothing was told before, and of
        two lost runs where units of several runs leave more than ``MOST_WAYS`` ways of losing them that differ.

    Notes
    -----
    The runs are lost at random and not made again. A comparison that is not estimable any more is shown with chance 0.

    Checked against: campaigns drawn, run by run lost and analysed, tests/unit/size/test_losing_runs.py.
    """
    laid = promise.as_judged(designs, standing)
    asked = [item for item in promise.asked_of(laid) if item.comparison is not None]
    made = [list(claims) for claims in found]
    for at, judged in enumerate(laid):
        own = own_runs(judged, designs[at])
        one, two = _chances(scatter, judged, asked, at, own)
        for number in range(len(asked)):
            if made[at][number].assurance is not None and one is not None:
                left = None if two is None else two[number]
                made[at][number] = _with(made[at][number], judged, own, one[number], left)
    return made


def own_runs(judged: Strata, design: Design) -> np.ndarray:
    """Which runs of those judged are the plan's own.

    Notes
    -----
    Checked against: tests/unit/size/test_half_widths.py, a pilot that counts.
    """
    if "phase" in judged.runs and len(judged.runs) > design.runs:
        return np.flatnonzero((judged.runs["phase"] == design.phase).to_numpy())
    return np.arange(len(judged.runs))


def _chances(
    scatter: Scatter, judged: Strata, asked: Sequence[Asked], at: int, own: np.ndarray
) -> tuple[list[np.ndarray] | None, list[np.ndarray] | None]:
    """Assurance of each comparison after each way of losing one run, and two; None where it cannot be told."""
    if by_position.divided(judged.brief):
        return _by_whole_runs(scatter, judged, asked), None
    if not judged.plots:
        return tuple(_by_least_squares(scatter, judged, asked, at, own, lost) for lost in (1, 2))
    return tuple(_by_units(scatter, judged, asked, own, lost) for lost in (1, 2))


def _aim(
    scatter: Scatter, item: Asked, judged: Strata, states: unbalanced.States | str | None = None
) -> claim_numbers.Aim | None:
    """What a comparison is asked at; None without a worthwhile change."""
    brief = judged.brief
    gain = brief_model.assumed(brief, item.comparison, scatter.response)
    margin = brief_model.worthwhile(brief, item.comparison, scatter.response)
    alpha, _ = promise.judged_at(judged, item.comparison, states)
    return None if gain is None or margin is None else claim_numbers.Aim(gain, margin, alpha, brief.power)


def _by_least_squares(
    scatter: Scatter, judged: Strata, asked: Sequence[Asked], at: int, own: np.ndarray, lost: int
) -> list[np.ndarray] | None:
    """The chances where runs are the only units: variances and df by downdating, alike ones worked out once."""
    if len(own) <= lost:
        return None
    rows = np.array([item.question.row for item in asked])
    rows = np.hstack([rows, np.zeros((len(rows), judged.block_columns.shape[1]))])
    found = lost_runs.losses(judged.full_columns, rows, lost=lost)
    kept = np.isin(found.lost, own).all(axis=1)
    made = []
    for number, item in enumerate(asked):
        aim, error = _aim(scatter, item, judged), None
        if aim is not None and item.parts[at]:
            error = errors.error_of(scatter, [judged], [item.parts[at]])
        if aim is None or error is None or isinstance(error, str):
            made.append(np.full(int(kept.sum()), np.nan))
            continue
        variance, df = errors.at_equal(
            found.variance[kept, number], found.error_df[kept].astype(float), errors.slopes_of(judged)
        )
        told = np.isfinite(variance) & (df >= 1.0)
        chance = np.zeros(len(variance))
        if told.any():
            pairs, back = np.unique(
                np.round(np.column_stack([variance[told], df[told]]), 10), axis=0, return_inverse=True
            )
            several = replace(
                error,
                variances=pairs[:, :1],
                error_df=pairs[:, 1:],
                link=np.repeat(error.link, len(pairs), axis=0),
            )
            chance[told] = claim_numbers.assurance_of(scatter, several, aim)[back.ravel()]
        made.append(chance)
    return made


def _by_units(
    scatter: Scatter, judged: Strata, asked: Sequence[Asked], own: np.ndarray, lost: int
) -> list[np.ndarray] | None:
    """The chances where units hold several runs: the runs left are not balanced; alike losses are worked out once."""
    ways = list(combinations(own.tolist(), lost))
    marks = alike(judged, ways)
    first = {mark: way for mark, way in reversed(list(zip(marks, ways, strict=True)))}
    if len(first) > MOST_WAYS:
        return None
    rows = np.array([item.question.row for item in asked])
    by_mark: dict[tuple[object, ...], list[float]] = {}
    for mark, way in first.items():
        left = judged.runs.drop(index=list(way)).reset_index(drop=True)
        by_mark[mark] = _of_runs_left(scatter, judged, left, asked, rows)
    return [np.array([by_mark[mark][number] for mark in marks]) for number in range(len(asked))]


def _by_whole_runs(scatter: Scatter, judged: Strata, asked: Sequence[Asked]) -> list[np.ndarray]:
    """The chances after each run is lost with all its positions, a value for each of its rows."""
    rows = np.array([item.question.row for item in asked])
    codes = judged.members[units.RUN]
    told = {}
    for run in dict.fromkeys(codes.tolist()):
        left = judged.runs[codes != run].reset_index(drop=True)
        told[run] = _of_runs_left(scatter, judged, left, asked, rows)
    return [np.array([told[run][number] for run in codes.tolist()]) for number in range(len(asked))]


def _of_runs_left(
    scatter: Scatter, judged: Strata, left: pd.DataFrame, asked: Sequence[Asked], rows: np.ndarray
) -> list[float]:
    """The assurance of each comparison from the runs left; 0 where it cannot be told any more."""
    try:
        laid = strata.again(judged, left)
    except DesignError:
        return [0.0] * len(asked)
    if laid.balanced:
        claims = promise.of_strata(scatter, [laid], [None])[0]
        return [claims[number].assurance or 0.0 for number in range(len(asked))]
    found = unbalanced.states_of(scatter, laid, rows)
    made = []
    for number, item in enumerate(asked):
        aim = _aim(scatter, item, laid, found)
        if isinstance(found, str) or aim is None or np.isnan(found.variance[number]).any():
            made.append(0.0)
            continue
        made.append(claim_numbers.assurance_of_states(found, number, aim, _DRAWS))
    return made


def alike(judged: Strata, ways: Sequence[Sequence[int]]) -> list[tuple[object, ...]]:
    """What two ways of losing runs of a balanced plan must have in common to do the same harm, one mark a way.

    Notes
    -----
    Checked against: every way worked out by itself, tests/unit/size/test_half_widths.py.
    """
    levels = judged.runs[list(judged.brief.factor_names)].astype(str).agg(" ".join, axis=1).tolist()
    held = [judged.members[unit].tolist() for unit in judged.units[:-1]]
    held.append(judged.runs["build_id"].astype(str).tolist())
    marks: list[tuple[object, ...]] = []
    for way in ways:
        order = sorted(way, key=lambda run: levels[run])
        shared = []
        for codes in held:
            own = [codes[run] for run in order]
            shared.append(tuple(own.index(code) for code in own))
        marks.append((*(levels[run] for run in order), *shared))
    return marks


def _with(claim: Claim, judged: Strata, own: np.ndarray, one: np.ndarray, two: np.ndarray | None) -> Claim:
    """A claim with what is left of it."""
    if np.isnan(one).any():
        return claim
    worst = int(np.argmin(np.round(one, 9)))
    row = judged.runs.iloc[int(own[worst])]
    levels = ", ".join(f"{item.name} {row[item.name]}" for item in by_position.of_whole_runs(judged.brief))
    where = f" in build {row['build_id']}" if judged.blocked or judged.plots else ""
    if float(np.ptp(one)) < 1e-6:
        told = f"one lost run, whichever it is, leaves a chance of {100 * one.min():.0f} %"
    else:
        told = (
            f"one lost run leaves a chance of {100 * one.mean():.0f} % on average, and of {100 * one.min():.0f} % "
            f"where it is the one of {levels}{where}"
        )
    return replace(
        claim,
        after_one_lost=float(one.mean()),
        after_two_lost=None if two is None or np.isnan(two).any() else float(two.mean()),
        after_worst_lost=float(one.min()),
        note=f"{claim.note}; {told}" if claim.note else told,
    )
