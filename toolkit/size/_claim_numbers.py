"""Power, assurance, smallest change, width, overstatement and outcomes of one question over several plans (rank 5)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from toolkit.numeric import equivalence_promise, forecast, intervals, noncentral, promise, term_promise
from toolkit.size._errors import Error
from toolkit.size._unbalanced import States
from toolkit.size.scatter import Scatter

UPPER_LEVEL = 0.80
_GUESS_NODES = 9

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
    std_error, df = np.sqrt(error.variance), error.df
    upper = _upper(scatter, error)
    weights, factors = _guesses(scatter)
    if scatter.declared is not None:
        weights, factors = weights[:-1], factors[:-1]
    made = _averaged(error, aim, weights, factors) | _nothing_changes(error, aim, weights, factors)
    made["power"] = _power(aim, std_error, df)
    made["power_at_upper_scatter"] = _power(aim, upper, df)
    made["detectable"] = _smallest(aim, std_error, df)
    made["error_df"] = df
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
    return noncentral.power_t(gain, _upper(scatter, error), error.df, alpha=alpha)


def _upper(scatter: Scatter, error: Error) -> np.ndarray:
    """The upper limit of the standard error: of a pilot's scatter at 80 %, of a guess at the end of its range."""
    std_error = np.sqrt(error.variance)
    if scatter.declared is not None:
        return std_error * math.sqrt(_guesses(scatter)[1][-1])
    return intervals.sd_upper(std_error, error.own_doubt, level=UPPER_LEVEL)


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


def assurance_of_states(found: States, number: int, aim: Aim) -> float:
    """The assurance of one question of one degree of freedom alone, where there are no mean squares."""
    variance, wider, df = found.variance[number, :-1], found.widening[number, :-1], found.df[number, :-1]
    told = {"alpha": aim.alpha, "widening": wider}
    return float(found.weights @ promise.assurance(aim.gain, [(variance, df)], [(1.0, math.inf)], **told))


def of_states(found: States, number: int, aim: Aim) -> Numbers:
    """What a plan without mean squares of its own can show of one question (the ``number``-th of the states)."""
    variance, wider, df = found.variance[number], found.widening[number], found.df[number]
    known, weights = [(1.0, math.inf)], found.weights
    parts, told = [(variance[:-1], df[:-1])], {"alpha": aim.alpha, "widening": wider[:-1]}
    each = forecast.forecast(aim.gain, aim.margin, parts, known, **told)
    std_error = np.sqrt(variance) * wider
    shown = each.assurance if aim.df == 1 else _power(aim, std_error[:-1], df[:-1])
    two = [-1, upper_state(found, number)]
    if aim.df == 1:
        pair = [(variance[two], df[two])]
        at_once = promise.assurance(aim.gain, pair, known, alpha=aim.alpha, widening=wider[two])
    else:
        at_once = _power(aim, std_error[two], df[two])
    beside = {}
    if aim.alone is not None:
        alike = {"alpha": aim.alone, "widening": wider[:-1]}
        beside = {key: weights @ function(0.0, aim.margin, parts, known, **alike) for key, function in _CLAIMS.items()}
    return beside | {
        "assurance": weights @ shown,
        "outcomes": weights @ each.outcomes,
        "half_width": np.inf if found.least_doubt <= 1 else weights @ each.half_width,
        "exaggeration": _ratio(weights @ each.shown_size, weights @ each.assurance),
        "power": at_once[0],
        "power_at_upper_scatter": at_once[1],
        "detectable": _smallest(aim, std_error[-1:], df[-1:])[0],
        "error_df": df[-1],
    }


def upper_state(found: States, number: int) -> int:
    """The state in which the variance of one question is at its 80 % upper limit."""
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
