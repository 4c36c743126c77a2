"""What a design says of picking the best level of a factor: the chance to pick right, and what a proof would ask.

Rank 5. The error of a difference of two levels comes from the design's strata; the formulas are those of
``numeric.best_of``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from toolkit import stamp
from toolkit.brief import model as brief_model
from toolkit.brief.model import BestOf, Response
from toolkit.design import terms as model_terms
from toolkit.design.strata import Strata
from toolkit.numeric import best_of as formulas
from toolkit.numeric import promise
from toolkit.size import _claim_numbers as claim_numbers
from toolkit.size import _errors as errors
from toolkit.size import _unbalanced as unbalanced
from toolkit.size._guesses import over_range
from toolkit.size.scatter import Scatter

# Unit variances this near are the same.
_SAME = 1e-9


@dataclass(frozen=True)
class Pick:
    """What one design says of picking the best level of a factor.

    Attributes
    ----------
    response, factor : str
    levels : int
        How many are ranked.
    gap_pct, gap : float or None
        The lead it is told for: per cent on the log scale, else in the response's unit.
    chance : float or None
        Chance that the truly best level comes out best if it leads every other by the gap or more, averaged over the
        doubt in the scatter; None when it cannot be told.
    chance_if_known : float or None
        The same if the scatter is exactly as estimated.
    proof : float or None
        Chance that a difference of the size of the gap between two of the levels is shown, each pair judged alone:
        what picking does not do.
    overstated_pct, overstated : float or None
        By how much the winner flatters itself on average if all levels are equal, at the scatter as estimated.
    overstated_at_gap_pct, overstated_at_gap : float or None
        The same where the best leads by the gap.
    error_stratum : str
    reached : bool
        Chance at least the asked power, unrounded.
    note : str
    """

    response: str
    factor: str
    levels: int
    gap_pct: float | None
    gap: float | None
    chance: float | None
    chance_if_known: float | None
    proof: float | None
    overstated_pct: float | None
    overstated: float | None
    overstated_at_gap_pct: float | None
    overstated_at_gap: float | None
    error_stratum: str
    reached: bool
    note: str

    @property
    def name(self) -> str:
        """What is picked: 'best of 4 coating'."""
        return f"best of {self.levels} {self.factor}"

    def to_dict(self) -> dict[str, object]:
        """The pick for JSON."""
        return stamp.plain(dict(self.__dict__))


def picks(laid: Sequence[Strata], scatter: Scatter) -> list[tuple[Pick, ...]]:
    """Every choice the brief asks for, for the strata of each design in turn.

    Parameters
    ----------
    laid : sequence of Strata
        As the runs will be judged: ``size.promise.as_judged``.
    scatter : Scatter
        Of one response of their brief.

    Returns
    -------
    list of tuple of Pick
        One tuple a design; empty where the brief has no ``[[best_of]]``.

    Notes
    -----
    Where two levels are told apart less well than others (runs lost, combinations missing) the chance is told for all
    at the worst pair, which is the safe side.

    Checked against: campaigns drawn and ranked run by run, tests/unit/size/test_best_of.py.
    """
    brief = laid[0].brief
    return [tuple(_pick(judged, scatter, asked) for asked in brief.best_of) for judged in laid]


def _pick(judged: Strata, scatter: Scatter, asked: BestOf) -> Pick:
    """One choice in one design."""
    brief, response = judged.brief, scatter.response
    factor = brief.factor(asked.factor)
    gap = brief_model.lead(asked, response)
    rows = [
        model_terms.row(brief, judged.terms, {factor.name: one})
        - model_terms.row(brief, judged.terms, {factor.name: other})
        for one, other in combinations(factor.names, 2)
    ]
    found: tuple[float, float, float, float] | str
    stratum, uneven = "", False
    if gap is None:
        found = f"no gap and no worthwhile change is stated for {response.name}"
    elif not all(judged.estimable(row) for row in rows):
        found = "not every level can be told in this design"
    elif judged.unbalanced:
        stratum = " and ".join(judged.units)
        found, uneven = _of_states(judged, scatter, rows, gap, len(factor.levels))
    else:
        parts = [judged.parts(row) for row in rows]
        variances = [sum(part.unit_variance for part in each) for each in parts]
        uneven = max(variances) - min(variances) > _SAME * max(variances)
        error = errors.error_of(scatter, [judged], [parts[int(np.argmax(variances))]])
        found = error if isinstance(error, str) else _of_error(error, scatter, gap, len(factor.levels), brief.alpha)
        stratum = "" if isinstance(error, str) else " and ".join(error.strata)
    note = found if isinstance(found, str) else "the levels are not equally well known: told at the worst pair" * uneven
    return _made(response, factor.name, len(factor.levels), gap, found, stratum, brief.power, note)


def _of_error(
    error: errors.Error, scatter: Scatter, gap: float, levels: int, alpha: float
) -> tuple[float, float, float, float]:
    """Chance, chance if the scatter is known, chance of a proof, and standard error, from mean squares."""
    shares = list(np.einsum("nk,nkj->jn", error.variances, error.link))
    chance = proof = 0.0
    for weight, factor in over_range(scatter):
        known = error.pilot(factor)
        chance += weight * float(formulas.chance_in_doubt(gap, levels, shares, known)[0])
        proof += weight * float(promise.assurance(gap, error.parts, known, alpha=alpha, link=error.link)[0])
    std_error = math.sqrt(float(error.variance[0]))
    return chance, float(formulas.chance_of_best(gap, std_error, levels)), proof, std_error


def _of_states(
    judged: Strata, scatter: Scatter, rows: Sequence[np.ndarray], gap: float, levels: int
) -> tuple[tuple[float, float, float, float] | str, bool]:
    """The same where the strata have no mean squares of their own, and whether the levels are unequally known."""
    states = unbalanced.states_of(scatter, judged, np.array(rows))
    if isinstance(states, str):
        return states, False
    estimated = states.variance[:, -1]
    worst = int(np.argmax(estimated))
    std_error = np.sqrt(states.variance[worst])
    chance = float(states.weights @ formulas.chance_of_best(gap, std_error[:-1], levels))
    proof = claim_numbers.shown_in(states, worst, states.every, gap, judged.brief.alpha)[0]
    known = float(formulas.chance_of_best(gap, std_error[-1], levels))
    uneven = estimated.max() - estimated.min() > _SAME * estimated.max()
    return (chance, known, float(states.weights @ proof), float(std_error[-1])), bool(uneven)


def _made(
    response: Response,
    factor: str,
    levels: int,
    gap: float | None,
    found: tuple[float, float, float, float] | str,
    stratum: str,
    power: float,
    note: str,
) -> Pick:
    """A pick from its numbers, or from the words for why there are none."""
    log = response.scale == "log"
    sign = brief_model.gain_sign(response)

    def stated(value: float | None) -> tuple[float | None, float | None]:
        if value is None:
            return None, None
        return (100.0 * abs(math.expm1(sign * value)), None) if log else (None, value)

    chance = known = proof = None
    flattered: list[float | None] = [None, None]
    if not isinstance(found, str) and gap is not None:
        chance, known, proof, std_error = found
        one = std_error / math.sqrt(2.0)
        flattered = [float(value) * one for value in formulas.overstated(np.array([0.0, gap / one]), levels)]
    return Pick(
        response.name,
        factor,
        levels,
        *stated(gap),
        chance,
        known,
        proof,
        *stated(flattered[0]),
        *stated(flattered[1]),
        stratum,
        chance is not None and chance >= power,
        note,
    )
