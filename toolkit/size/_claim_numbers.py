"""Power, assurance, smallest change, width, overstatement and outcomes of one question over several plans (rank 5)."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from toolkit.numeric import equivalence_promise, forecast, noncentral, promise, term_promise
from toolkit.size._errors import Error
from toolkit.size._unbalanced import DRAWS, States
from toolkit.size.scatter import Scatter

UPPER_LEVEL = 0.80
_GUESS_NODES = 9
# Where a smallest change is looked for, in standard errors, and how often the stretch is halved: to 1e-9 of it.
_FAR = 1e3
_HALVINGS = 40

_CLAIMS = {
    "equivalent": equivalence_promise.equivalence_assurance,
    "no_harm": equivalence_promise.no_harm_assurance,
}

Numbers = dict[str, np.ndarray]


@dataclass(frozen=True)
class Aim:
    """What one question is asked at.

    Attributes
    ----------
    gain, margin : float
        True gain assumed and worthwhile change, on the analysis scale.
    alpha : float
        Error rate of its interval.
    power : float
    df : int
        Degrees of freedom of the question.
    alone : float or None
        Error rate of the claims 'equivalent' and 'no harm', which are judged alone; None: they are not told.
    """

    gain: float
    margin: float
    alpha: float
    power: float
    df: int = 1
    alone: float | None = None


def numbers_of(scatter: Scatter, error: Error, aim: Aim) -> Numbers:
    """What several plans can show of one question, one value a plan in each array."""
    weights, factors = _guesses(scatter)
    if scatter.declared is not None:
        weights, factors = weights[:-1], factors[:-1]
    made = _averaged(error, aim, weights, factors) | _nothing_changes(error, aim, weights, factors)
    made["power"] = _power_of(error, aim, 1.0)
    made["power_at_upper_scatter"] = _power_of(error, aim, _upper(scatter, error))
    made["detectable"] = _smallest_of(error, aim)
    made["error_df"] = error.df
    return made


def assurance_of(scatter: Scatter, error: Error, aim: Aim) -> np.ndarray:
    """The assurance of one question of one degree of freedom alone, one value a plan."""
    return assurance_at(scatter, error, aim.gain, aim.alpha)


def assurance_at(scatter: Scatter, error: Error, gain: float | np.ndarray, alpha: float) -> np.ndarray:
    """As ``assurance_of``; of one plan also at several true gains, one value a gain."""
    weights, factors = _guesses(scatter)
    return sum(
        weight * promise.assurance(gain, error.parts, error.pilot(factor), alpha=alpha, link=error.link)
        for weight, factor in zip(weights, factors, strict=True)
        if weight
    )


def power_at_upper(scatter: Scatter, error: Error, gain: float, alpha: float) -> np.ndarray:
    """The power of one question of one degree of freedom at the upper limit of its scatter, one value a plan."""
    return _shown_at(error, gain, alpha, _upper(scatter, error))


def _upper(scatter: Scatter, error: Error) -> np.ndarray:
    """The upper limit of the variance over its estimate: of a pilot's scatter at 80 %, of a guess at its end."""
    if scatter.declared is not None:
        return np.full(len(error.variances), _guesses(scatter)[1][-1])
    return error.upper(UPPER_LEVEL) / error.variance


def _power_of(error: Error, aim: Aim, factor: float | np.ndarray) -> np.ndarray:
    """Power at the scatter as estimated, its variances all times a factor, taken as the truth."""
    if len(error.strata) == 1:
        return _power(aim, np.sqrt(error.variance * factor), error.df)
    return _shown_at(error, aim.gain, aim.alpha, factor)


def _shown_at(error: Error, gain: float | np.ndarray, alpha: float, factor: float | np.ndarray) -> np.ndarray:
    """The same of a question of one degree of freedom, at any gain.

    With several mean squares the critical value is that of a campaign's own, so it is averaged over what these turn out
    to be: the noncentral t on their df as expected promises up to twice the chance where df are few.
    """
    if len(error.strata) == 1:
        return noncentral.power_t(gain, np.sqrt(error.variance * factor), error.df, alpha=alpha)
    parts = [(variances * factor, df) for variances, df in error.parts]
    known = [(square, math.inf) for square, _ in error.pilot()]
    return promise.assurance(gain, parts, known, alpha=alpha, link=error.link)


def _smallest_of(error: Error, aim: Aim) -> np.ndarray:
    """Smallest change shown with the power asked at the scatter as estimated."""
    std_error = np.sqrt(error.variance)
    if len(error.strata) == 1:
        return _smallest(aim, std_error, error.df)
    told = error.error_df.min(axis=1) >= 1.0
    return np.where(told, _solved(lambda gain: _shown_at(error, gain, aim.alpha, 1.0), std_error, aim.power), np.inf)


def _solved(shown: Callable[[np.ndarray], np.ndarray], std_error: np.ndarray, power: float) -> np.ndarray:
    """The gains shown with a power, by halving: between none and a thousand standard errors; infinite beyond."""
    low, high = np.zeros_like(std_error), _FAR * std_error
    reached = shown(high) >= power
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        above = shown(middle) >= power
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return np.where(reached, high, np.inf)


def _averaged(error: Error, aim: Aim, weights: np.ndarray, factors: np.ndarray) -> Numbers:
    """What is averaged over the doubt of the pilot, or over the range of a guess."""
    link, total = error.link, None
    for weight, factor in zip(weights, factors, strict=True):
        known = error.pilot(factor)
        found = forecast.forecast(aim.gain, aim.margin, error.parts, known, alpha=aim.alpha, link=link)
        shown = found.assurance
        if aim.df > 1:
            shown = term_promise.assurance_f(
                aim.gain, aim.df, error.parts[0], known, alpha=aim.alpha, link=link[:, 0, :]
            )
        made = [shown, found.outcomes, found.half_width, found.shown_size, found.assurance]
        made = [weight * item for item in made]
        total = made if total is None else [one + other for one, other in zip(total, made, strict=True)]
    assured, outcomes, width, size, alone = total or []
    return {"assurance": assured, "outcomes": outcomes, "half_width": width, "exaggeration": _ratio(size, alone)}


def _nothing_changes(error: Error, aim: Aim, weights: np.ndarray, factors: np.ndarray) -> Numbers:
    """The chance that equivalence, and that no harm, is shown where in truth nothing changes."""
    if aim.alone is None:
        return {}
    made = {}
    for key, function in _CLAIMS.items():
        told = {"alpha": aim.alone, "link": error.link}
        made[key] = sum(
            weight * function(0.0, aim.margin, error.parts, error.pilot(factor), **told)
            for weight, factor in zip(weights, factors, strict=True)
        )
    return made


def _ratio(size: np.ndarray, shown: np.ndarray) -> np.ndarray:
    """Mean size over the true change where a difference is shown; infinite where none ever is."""
    return np.where(shown > 0.0, np.maximum(size / np.where(shown > 0.0, shown, 1.0), 1.0), np.inf)


def assurance_of_states(found: States, number: int, aim: Aim, draws: int = DRAWS) -> float:
    """The assurance of one question of one degree of freedom alone, where there are no mean squares."""
    return float(found.weights @ shown_in(found, number, found.every, aim.gain, aim.alpha, draws)[0])


def shown_in(
    found: States, number: int, which: Sequence[int], gains: float | np.ndarray, alpha: float, draws: int = DRAWS
) -> np.ndarray:
    """The chance that one question of one degree of freedom is shown, at each gain in each of some states."""
    luck = found.luck(number, which, alpha, draws)
    told = {"alpha": alpha, "widening": luck.widening}
    each = [
        promise.assurance(gain, luck.parts, [(1.0, math.inf)], **told).mean(axis=1) for gain in np.atleast_1d(gains)
    ]
    return np.array(each)


def upper_in(found: States, number: int, gain: float, alpha: float) -> float:
    """The chance in the state of the upper limit."""
    return float(shown_in(found, number, [upper_state(found, number)], gain, alpha, DRAWS // 2)[0, 0])


def of_states(found: States, number: int, aim: Aim) -> Numbers:
    """What a plan without mean squares of its own can show of one question (the ``number``-th of the states)."""
    known, weights = [(1.0, math.inf)], found.weights
    luck = found.luck(number, found.every, aim.alpha)
    told = {"alpha": aim.alpha, "widening": luck.widening}
    each = forecast.forecast(aim.gain, aim.margin, luck.parts, known, **told)
    shown = each.assurance.mean(axis=1)
    # Of the campaigns that have an interval.
    count = np.maximum(luck.bounded.sum(axis=1), 1)
    width = np.where(luck.bounded, each.half_width, 0.0).sum(axis=1) / count
    beside = {}
    if aim.alone is not None:
        wide = found.luck(number, found.every, 2.0 * aim.alone)
        alike = {"alpha": aim.alone, "widening": wide.widening}
        beside = {
            key: weights @ function(0.0, aim.margin, wide.parts, known, **alike).mean(axis=1)
            for key, function in _CLAIMS.items()
        }
    made = beside | _at_once(found, number, aim)
    made["assurance"] = weights @ (shown if aim.df == 1 else _several(found, number, aim, found.every))
    made["outcomes"] = weights @ each.outcomes.mean(axis=1)
    made["half_width"] = np.inf if found.least_doubt <= 1 else weights @ width
    made["exaggeration"] = _ratio(weights @ each.shown_size.mean(axis=1), weights @ shown)
    made["error_df"] = found.df[number, -1]
    return made


def _at_once(found: States, number: int, aim: Aim) -> Numbers:
    """Power at the scatter as estimated and at its upper limit, and the smallest change, where there are no squares."""
    last = len(found.weights)
    if aim.df > 1:
        std_error, df = np.sqrt(found.variance[number]) * found.widening[number], found.df[number]
        power, upper = _several(found, number, aim, [last, upper_state(found, number)])
        smallest = _smallest(aim, std_error[-1:], df[-1:])[0]
    else:
        power = shown_in(found, number, [last], aim.gain, aim.alpha)[0, 0]
        upper = upper_in(found, number, aim.gain, aim.alpha)
        smallest = _smallest_in(found, number, last, aim)
    return {"power": power, "power_at_upper_scatter": upper, "detectable": smallest}


def _smallest_in(found: States, number: int, state: int, aim: Aim) -> float:
    """Smallest change shown with the power asked in one state: every campaign that is laid out, at each gain tried."""
    luck = found.luck(number, [state], aim.alpha)
    std_error = np.sqrt(luck.variance[0])
    half = -special.ndtri(0.5 * aim.alpha) * luck.widening[0]

    def shown(gain: np.ndarray) -> np.ndarray:
        """The chance at one gain."""
        return np.array([np.mean(special.ndtr(gain / std_error - half) + special.ndtr(-gain / std_error - half))])

    return float(_solved(shown, np.sqrt(found.variance[number, [state]]), aim.power)[0])


def _several(found: States, number: int, aim: Aim, which: Sequence[int]) -> np.ndarray:
    """The power of a question of several degrees of freedom in some states."""
    chosen = list(which)
    std_error = np.sqrt(found.variance[number, chosen]) * found.widening[number, chosen]
    return _power(aim, std_error, found.df[number, chosen])


def upper_state(found: States, number: int) -> int:
    """The state in which the variance of one question is at its 80 % upper limit, or that of a declared range's end."""
    if found.upper is not None:
        return found.upper
    order = np.argsort(found.variance[number, :-1])
    return int(order[min(int(np.searchsorted(np.cumsum(found.weights[order]), UPPER_LEVEL)), len(order) - 1)])


def _power(aim: Aim, std_error: np.ndarray, df: np.ndarray) -> np.ndarray:
    """Power at a scatter taken as the truth."""
    if aim.df == 1:
        return noncentral.power_t(aim.gain, std_error, df, alpha=aim.alpha)
    return noncentral.power_f((aim.gain / std_error) ** 2, aim.df, df, alpha=aim.alpha)


def _smallest(aim: Aim, std_error: np.ndarray, df: np.ndarray) -> np.ndarray:
    """Smallest change shown with the power asked at a scatter taken as the truth."""
    if aim.df == 1:
        return noncentral.detectable(std_error, df, alpha=aim.alpha, power=aim.power)
    return term_promise.detectable_f(std_error, aim.df, df, alpha=aim.alpha, power=aim.power)


def _guesses(scatter: Scatter) -> tuple[np.ndarray, np.ndarray]:
    """Weights and factors on the mean square over a declared range (the last factor is its upper end)."""
    if scatter.declared is None:
        return np.ones(1), np.ones(1)
    place, weight = np.polynomial.legendre.leggauss(_GUESS_NODES)
    low, high = scatter.declared
    sd = np.append(low + (high - low) * (place + 1.0) / 2.0, high)
    return np.append(weight / 2.0, 0.0), (sd / scatter.sd) ** 2
