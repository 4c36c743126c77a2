"""How many runs keep a promise whatever the true scatter is (rank 5)."""

from __future__ import annotations

import math

import numpy as np

from toolkit.brief import by_position
from toolkit.design import units
from toolkit.design.strata import ErrorPart, Strata
from toolkit.numeric import iron_promise
from toolkit.size._errors import turned
from toolkit.size.scatter import Scatter


def iron_runs(
    scatter: Scatter,
    laid: Strata,
    row: np.ndarray,
    *,
    gain: float | None,
    half_width: float | None,
    alpha: float,
    power: float,
) -> int | None:
    """The runs of a plan of this kind that shows a change, or keeps a half-width, whatever the true scatter is.

    Parameters
    ----------
    scatter : Scatter
        With a pilot of its own: its scatter, not one blended or guessed, is what judges.
    laid : Strata
        Of a plan of the kind.
    row : ndarray, shape (parameters,)
        The contrast.
    gain, half_width : float or None
        What is promised, on the analysis scale: with a half-width that, else that the change is shown.
    alpha, power : float

    Returns
    -------
    int or None
        Whole replicates (or builds, where they are blocks). None without a pilot, where the contrast rests on more
        than one mean square, and where its mean square is not one the pilot had itself.

    Notes
    -----
    The unit variance of a contrast goes down as the runs go up, so that the plan needed has runs times the ratio of
    the two variances; see ``numeric.iron_promise``.

    Checked against: unit variances of the plan advised, tests/unit/size/test_promise_more.py.
    """
    parts = laid.parts(row)
    if len(parts) != 1 or not scatter.own or (gain is None and half_width is None):
        return None
    judge = _own_mean_square(scatter, laid, parts[0])
    if judge is None or judge[1] < 1.0:
        return None
    if half_width is not None:
        most = iron_promise.variance_for_width(*judge, half_width, alpha=alpha)
    else:
        most = iron_promise.variance_for_power(*judge, gain, alpha=alpha, power=power)
    step = _step(laid)
    return step * max(math.ceil(laid.run_count * parts[0].unit_variance / float(most) / step - 1e-9), 1)


def _own_mean_square(scatter: Scatter, laid: Strata, part: ErrorPart) -> tuple[float, float] | None:
    """The pilot's own mean square that is the plan's, with its df."""
    found = turned(scatter.own, laid.expected(part.stratum))
    if found is None:
        return None
    used = np.flatnonzero(found)
    if len(used) != 1:
        return None
    layer = scatter.own[int(used[0])]
    return layer.value * float(found[used[0]]), layer.df


def _step(laid: Strata) -> int:
    """By how many runs plans of this kind grow: a build where builds are blocks, else a replicate of every unit."""
    runs, factors = laid.runs, list(laid.brief.factor_names)
    if by_position.divided(laid.brief):
        names = [item.name for item in by_position.of_whole_runs(laid.brief)]
        each = runs.drop_duplicates(units.RUN)
        builds = int(each["build_id"].nunique())
        return max(len(each) // builds, 1) if laid.blocked else max(len(each[names].drop_duplicates()), 1)
    if laid.blocked:
        return max(len(runs) // int(runs["build_id"].nunique()), 1)
    distinct = len(runs[factors].drop_duplicates())
    if not laid.plots:
        return distinct
    first = laid.members[laid.units[0]]
    inside = runs[first == first[0]]
    return distinct * max(len(inside) // len(inside[factors].drop_duplicates()), 1)
