"""The error of questions in plans whose strata have no mean squares of their own, state by state of the pilot's doubt.

Rank 5. Kenward and Roger's covariance and degrees of freedom at the assumed variances of the units, and as campaigns
would find them, laid out from a fixed seed. Their df at the true variances alone promise too much of what is changed
with a unit, up to three times the chance where units are few, and a few points too little of the rest.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy import special

from toolkit.design.strata import Strata
from toolkit.errors import ModelError
from toolkit.model import _random_units as random_units
from toolkit.numeric import kenward_roger, pilot_doubt
from toolkit.numeric.many import Judged
from toolkit.numeric.many_mixed import OneTerm, SeveralTerms
from toolkit.size._errors import turned, unknown
from toolkit.size._guesses import over_range, upper_end
from toolkit.size._judging import judge_of
from toolkit.size.scatter import Scatter

# States of each mean square: with two of them the chance is right to 0.002 or so, below what draws are off by.
_NODES = {1: 32, 2: 10, 3: 5}
# Campaigns in all: laid out evenly, a chance is right to 0.001 or so. Where several kinds of units hold several runs
# each costs fifty times as much; a quarter of them is drawn at random there, with a standard error of 0.01.
DRAWS = 4_000
_FEWER = 4
_SEED = 30_611
# Wider than any change: an interval that reaches everywhere.
_ENDLESS = 1e6


@dataclass(frozen=True, eq=False)
class Luck:
    """Campaigns of some states: what makes their chances with ``numeric.promise``, shape (states, campaigns) each.

    Attributes
    ----------
    variance : ndarray
        Of the estimate.
    widening : ndarray
        The half-width of the interval over that of infinite df.
    """

    variance: np.ndarray
    widening: np.ndarray

    @property
    def parts(self) -> list[tuple[np.ndarray, float]]:
        """The one mean square of each campaign, as ``numeric.promise`` takes it."""
        return [(self.variance, math.inf)]

    @property
    def bounded(self) -> np.ndarray:
        """Where a campaign has an interval at all."""
        return self.widening < _ENDLESS


@dataclass(frozen=True, eq=False)
class States:
    """Variance and df of several contrasts in each state; the last state is the scatter as estimated.

    Attributes
    ----------
    variance, widening, df : ndarray, shape (contrasts, states + 1)
        Variance of the estimate; what its standard error is multiplied with for the doubt of the variances; df. NaN
        where a contrast is not estimable.
    weights : ndarray, shape (states,)
    least_doubt : float
        Fewest df of a mean square of the pilot.
    laid : Strata
    variances : ndarray, shape (states + 1, units)
        Of the units.
    judge : OneTerm or SeveralTerms or None
        None where no contrast is estimable.
    able : ndarray of bool, shape (contrasts,)
        The contrasts of ``judge``, in order.
    upper : int or None
        The state of the upper end of a declared range; None where there is none.
    """

    variance: np.ndarray
    widening: np.ndarray
    df: np.ndarray
    weights: np.ndarray
    least_doubt: float
    laid: Strata
    variances: np.ndarray
    judge: OneTerm | SeveralTerms | None
    able: np.ndarray
    upper: int | None = None
    _drawn: dict[tuple[tuple[int, ...], int], tuple[np.ndarray, ...]] = field(default_factory=dict)

    @property
    def every(self) -> tuple[int, ...]:
        """The states of the pilot's doubt, by number."""
        return tuple(range(len(self.weights)))

    def luck(self, number: int, which: Sequence[int], alpha: float, draws: int = DRAWS) -> Luck:
        """Campaigns of some states as one contrast is judged at alpha, so many in all.

        Parameters
        ----------
        number : int
            Of the contrast.
        which : sequence of int
            Numbers of states.
        alpha : float
        draws : int
        """
        chosen = list(which)
        each = math.ceil(draws / len(chosen) / (1 if isinstance(self.judge, OneTerm) else _FEWER))
        key = (tuple(chosen), each)
        if key not in self._drawn:
            self._drawn[key] = self._found(np.repeat(self.variances[chosen], each, axis=0))
        std_error, df, shift = (part[:, number] for part in self._drawn[key])
        half = Judged(shift, std_error, df).half_width(1.0 - alpha).reshape(len(chosen), each)
        # The estimate strays from the best one as often to either side.
        variance = self.variance[number, chosen][:, None] + shift.reshape(half.shape) ** 2
        wider = half / (-special.ndtri(0.5 * alpha) * np.sqrt(variance))
        return Luck(variance, np.minimum(wider, _ENDLESS))

    def _found(self, known: np.ndarray) -> tuple[np.ndarray, ...]:
        """Standard error, df and shift of all contrasts in campaigns of these variances, (campaigns, contrasts)."""
        rng = np.random.default_rng(_SEED)
        if isinstance(self.judge, OneTerm):
            own = known[:, -1]
            normals = _even(len(known), len(self.judge.which), rng)
            std_error, df, shift = self.judge.luck(known[:, 0] / own, normals)
            found = [std_error * np.sqrt(own)[:, None], df, shift * np.sqrt(own)[:, None]]
        else:
            found = _of_values(self.judge, self.laid, known, rng)  # type: ignore[arg-type]
        made = [np.full((len(known), len(self.able)), np.nan) for _ in found]
        for place, values in zip(made, found, strict=True):
            place[:, self.able] = values
        return tuple(made)


def _even(count: int, directions: int, rng: np.random.Generator) -> np.ndarray:
    """Standard normals that fill the space evenly, shape (count, directions): multiples of the roots of primes.

    R. D. Richtmyer 1951 (reference from memory). Over eight starts the chances that follow scattered by 0.0006, those
    of as many random numbers by 0.004.
    """
    primes: list[int] = []
    number = 2
    while len(primes) < directions:
        if all(number % prime for prime in primes):
            primes.append(number)
        number += 1
    places = (np.arange(1, count + 1)[:, None] * np.sqrt(primes) + rng.random(directions)) % 1.0
    return special.ndtri(np.clip(places, 1e-12, 1.0 - 1e-12))


def _of_values(judge: SeveralTerms, laid: Strata, known: np.ndarray, rng: np.random.Generator) -> list[np.ndarray]:
    """The same from run values drawn; a campaign without a highest likelihood that can be proved has no interval."""
    values = np.zeros((len(known), len(laid.runs)))
    for at, unit in enumerate(laid.units):
        codes = laid.members[unit]
        values += np.sqrt(known[:, at])[:, None] * rng.normal(size=(len(known), int(codes.max()) + 1))[:, codes]
    try:
        parts = [judge.judged(values)]
    except ModelError:
        parts = [_alone(judge, one) for one in values]
    found = [np.concatenate([getattr(part, name) for part in parts]) for name in ("estimate", "std_error", "df")]
    best = np.empty_like(found[0])
    columns = laid.full_columns[:, random_units.independent(laid.full_columns)]
    for state in np.unique(known, axis=0):
        mine = (known == state).all(axis=1)
        spread = sum(
            part * np.equal.outer(laid.members[unit], laid.members[unit])
            for part, unit in zip(state, laid.units, strict=True)
        )
        weighted = np.linalg.solve(spread, columns)
        best[mine] = values[mine] @ weighted @ np.linalg.solve(columns.T @ weighted, judge.rows.T)
    return [found[1], found[2], np.where(np.isfinite(found[1]), found[0] - best, 0.0)]


def _alone(judge: SeveralTerms, values: np.ndarray) -> Judged:
    """One campaign."""
    try:
        return judge.judged(values[None, :])
    except ModelError:
        none = np.zeros((1, len(judge.rows)))
        return Judged(none, none + np.inf, none)


def states_of(scatter: Scatter, laid: Strata, rows: np.ndarray) -> States | str:
    """Variance and df of contrasts in runs that are not balanced; or why they cannot be told."""
    layers = scatter.layers
    found = [turned(layers, {unit: 1.0}) for unit in laid.units]
    if any(row is None for row in found):
        return unknown(layers, laid.expected(laid.units[0]))
    pilot = [(layer.value, layer.df) for layer in layers]
    squares, weights = pilot_doubt.states(pilot, nodes=_NODES[len(pilot)])
    upper = None
    if scatter.declared is not None:
        shares, factors = zip(*over_range(scatter), strict=True)
        squares, weights = squares[:, :1] * np.array([*factors, upper_end(scatter)]), np.array([*shares, 0.0])
        upper = len(weights) - 1
    estimated = np.maximum.accumulate([layer.value for layer in reversed(layers)])[::-1]
    variances = np.maximum(np.array(found) @ np.column_stack([squares, estimated]), 0.0).T
    columns = laid.full_columns
    kept = random_units.independent(columns)
    try:
        random_units.refuse(laid)
        made = kenward_roger.adjusted(random_units.layout_of(laid, columns[:, kept]), variances)
    except ModelError as problem:
        return str(problem)
    judge, able = judge_of(laid, rows)
    into = np.linalg.lstsq(columns[:, kept], columns, rcond=None)[0]
    variance, widening, df = (np.full((len(rows), len(variances)), np.nan) for _ in range(3))
    for at in np.flatnonzero(able):
        own = random_units.turned(into, rows[at][None, :])
        one = kenward_roger.contrasts(made, np.zeros((len(variances), len(kept))), own)
        variance[at] = np.einsum("p,npq,q->n", own[0], made.plain, own[0])
        widening[at], df[at] = one.std_error[..., 0] / np.sqrt(variance[at]), one.df[..., 0]
    doubt = min(layer.df for layer in layers)
    return States(variance, widening, df, weights, doubt, laid, variances, judge, able, upper)
