"""What moves reference runs: a slope with time, a step at each rebuild, and the adjustment of runs by their neighbours.

May import numpy, scipy.special and the error classes. Values on the scale they are analysed on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._bases import Floats

_HEADLINE = "The reference runs cannot be judged."


@dataclass(frozen=True)
class Change:
    """A slope per run or a step between two groups, with its interval; None where the runs cannot tell it.

    Attributes
    ----------
    estimate : float
    std_error, low, high, p_value : float or None
        None where no degrees of freedom are left.
    df : int
    conf_level : float
    """

    estimate: float
    std_error: float | None
    low: float | None
    high: float | None
    p_value: float | None
    df: int
    conf_level: float


@dataclass(frozen=True, eq=False)
class Adjustment:
    """What is taken off runs because of the reference runs near them.

    Attributes
    ----------
    amount : ndarray, shape (runs,)
        To subtract from each run value.
    weights : ndarray, shape (runs, references)
        ``amount`` is weights times the references, less the target where that is known.
    added : ndarray, shape (runs,)
        Variance that the adjustment adds to each run, in units of the variance of one run.
    covariance : ndarray, shape (runs, runs)
        Of the adjusted runs, in the same units: runs that share a reference go together.
    """

    amount: Floats
    weights: Floats
    added: Floats
    covariance: Floats


def slope(
    order: ArrayLike, values: ArrayLike, groups: Sequence[object] | None = None, *, conf_level: float = 0.95
) -> Change | None:
    """Give back the change per unit of order, within groups where they are given, with its interval.

    Parameters
    ----------
    order, values : array_like, shape (points,)
    groups : sequence, optional
        Each with a level of its own (builds).
    conf_level : float

    Returns
    -------
    Change or None
        None where the order does not differ within any group.

    Raises
    ------
    ModelError
        When a value is missing or the lists differ in length.

    Notes
    -----
    Least squares with a common slope; t interval on what is left.

    Checked against: R's lm on Anscombe's first set and a hand calculation, tests/unit/numeric/test_reference_trend.py.
    """
    at, given = _both(order, values, conf_level)
    names = [""] * len(given) if groups is None else list(groups)
    _same_length(names, given)
    at, left = _within(at, names), _within(given, names)
    spread = float(at @ at)
    if spread <= 1e-12 * max(float(np.square(np.asarray(order, dtype=float)).sum()), 1.0):
        return None
    found = float(at @ left) / spread
    df = len(given) - len(set(names)) - 1
    error = float(np.square(left - found * at).sum())
    return _change(found, error / df / spread if df > 0 else None, df, conf_level)


def steps(
    values: ArrayLike, groups: Sequence[object], *, conf_level: float = 0.95
) -> list[tuple[object, object, Change]]:
    """Give back the step from each group to the next, in the order met, judged by the scatter within groups.

    Parameters
    ----------
    values : array_like, shape (points,)
    groups : sequence, shape (points,)
        Builds, in order of time.
    conf_level : float
        Of each step by itself.

    Returns
    -------
    list of (group before, group after, Change)
        Empty for one group; without intervals where every group has one point.

    Raises
    ------
    ModelError
        When a value is missing or the lists differ in length.

    Notes
    -----
    Difference of means over the pooled scatter within all groups; t interval. A slope within groups is part of that
    scatter here.

    Checked against: scipy.stats.ttest_ind for two groups, tests/unit/numeric/test_reference_trend.py.
    """
    given = _both(values, values, conf_level)[1]
    _same_length(groups, given)
    names = list(dict.fromkeys(groups))
    parts = [given[[name == group for group in groups]] for name in names]
    df = len(given) - len(names)
    within = sum(float(np.square(part - part.mean()).sum()) for part in parts)
    made = []
    for (before, one), (after, other) in zip(
        list(zip(names, parts, strict=True))[:-1], list(zip(names, parts, strict=True))[1:], strict=True
    ):
        variance = within / df * (1.0 / len(one) + 1.0 / len(other)) if df > 0 else None
        made.append((before, after, _change(float(other.mean() - one.mean()), variance, df, conf_level)))
    return made


def adjustment(
    order: ArrayLike,
    reference_order: ArrayLike,
    references: ArrayLike,
    *,
    target: float | None = None,
    groups: Sequence[object] | None = None,
    reference_groups: Sequence[object] | None = None,
) -> Adjustment:
    """Give back what to take off each run: the mean of the nearest references before and after it, less the target.

    Parameters
    ----------
    order : array_like, shape (runs,)
        When each run was made.
    reference_order, references : array_like, shape (references,)
        When each reference run was made, and its value; one at least.
    target : float, optional
        What a reference run gives when nothing is wrong, known before; left out, the mean of all references, whose own
        doubt is then carried.
    groups, reference_groups : sequence, optional
        Builds: references of the run's own build where it has any, else of all.

    Returns
    -------
    Adjustment

    Raises
    ------
    ModelError
        When a value is missing or there is no reference.

    Notes
    -----
    Bracketing, common practice of engine tests. Its price is in ``added``: one bracket of two references adds half of
    a run's variance, so it pays only where the references prove a drift.

    Checked against: variances by simulation and brackets by hand, tests/unit/numeric/test_reference_trend.py.
    """
    runs = np.atleast_1d(np.asarray(order, dtype=float))
    when, given = _both(reference_order, references, 0.95)
    faults = [*guards.finite("order", runs), *([] if target is None else guards.finite("target", target))]
    raise_all(ModelError, _HEADLINE, faults)
    own = [None] * len(runs) if groups is None else list(groups)
    theirs = [None] * len(given) if reference_groups is None else list(reference_groups)
    _same_length(own, runs)
    _same_length(theirs, given)
    weights = np.zeros((len(runs), len(given)))
    for at, (now, group) in enumerate(zip(runs, own, strict=True)):
        near = np.array([group == other for other in theirs])
        near = near if near.any() else np.ones(len(given), dtype=bool)
        before, after = np.flatnonzero(near & (when < now)), np.flatnonzero(near & (when >= now))
        chosen = [side for side in (
            before[np.argmax(when[before])] if len(before) else None,
            after[np.argmin(when[after])] if len(after) else None,
        ) if side is not None]  # fmt: skip
        weights[at, chosen] = 1.0 / len(chosen)
    if target is None:
        weights = weights - 1.0 / len(given)
    amount = weights @ given - (0.0 if target is None else target)
    shared = weights @ weights.T
    return Adjustment(amount, weights, np.diag(shared).copy(), np.eye(len(runs)) + shared)


def _change(estimate: float, variance: float | None, df: int, conf_level: float) -> Change:
    """A change with its t interval."""
    if variance is None:
        return Change(estimate, None, None, None, None, df, conf_level)
    error = float(np.sqrt(variance))
    reach = float(special.stdtrit(df, 0.5 * (1.0 + conf_level))) * error
    p_value = 2.0 * float(special.stdtr(df, -abs(estimate) / error)) if error > 0.0 else None
    return Change(estimate, error, estimate - reach, estimate + reach, p_value, df, conf_level)


def _within(values: Floats, names: Sequence[object]) -> Floats:
    """Values less the mean of their group."""
    made = values.copy()
    for name in dict.fromkeys(names):
        mine = np.array([name == other for other in names])
        made[mine] -= values[mine].mean()
    return made


def _both(order: ArrayLike, values: ArrayLike, conf_level: float) -> tuple[Floats, Floats]:
    """Order and values as arrays, or every fault."""
    at, given = (np.atleast_1d(np.asarray(part, dtype=float)) for part in (order, values))
    faults = [
        *guards.finite("order", at),
        *guards.finite("value", given),
        *guards.probability("conf_level", conf_level),
    ]
    if not len(given):
        faults.append(Fault("reference runs", "none", "one at least"))
    raise_all(ModelError, _HEADLINE, faults)
    _same_length(at, given)
    return at, given


def _same_length(one: Sequence[object] | Floats, other: Floats) -> None:
    """Refuse lists of two lengths."""
    if len(one) != len(other):
        fault = Fault("reference runs", f"lists of {len(one)} and {len(other)}", "one item a run in each")
        raise_all(ModelError, _HEADLINE, [fault])
