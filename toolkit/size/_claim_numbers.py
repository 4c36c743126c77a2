"""Power, assurance, smallest change, width, overstatement and outcomes of one question over several plans (rank 5)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from toolkit.numeric import exaggeration, half_width, intervals, noncentral, promise, term_promise
from toolkit.size._errors import Error
from toolkit.size._unbalanced import States
from toolkit.size.scatter import Scatter

UPPER_LEVEL = 0.80
_GUESS_NODES = 9

Numbers = dict[str, np.ndarray]


@dataclass(frozen=True)
class Aim:
    """What one question is asked at: true gain, worthwhile change, error rate of its interval, and power asked."""

    gain: float
    margin: float
    alpha: float
    power: float
    df: int = 1


def numbers_of(scatter: Scatter, error: Error, aim: Aim) -> Numbers:
    """What several plans can show of one question, one value a plan in each array."""
    std_error, df = np.sqrt(error.variance), error.df
    weights, factors = _guesses(scatter)
    if scatter.declared is not None:
        upper = std_error * math.sqrt(factors[-1])
        weights, factors = weights[:-1], factors[:-1]
    else:
        upper = intervals.sd_upper(std_error, error.own_doubt, level=UPPER_LEVEL)
    made = _averaged(error, aim, weights, factors)
    made["power"] = _power(aim, std_error, df)
    made["power_at_upper_scatter"] = _power(aim, upper, df)
    made["detectable"] = _smallest(aim, std_error, df)
    made["error_df"] = df
    return made


def _averaged(error: Error, aim: Aim, weights: np.ndarray, factors: np.ndarray) -> Numbers:
    """What is averaged over the doubt of the pilot, or over the range of a guess."""
    plans, link, parts = len(error.variances), error.link, error.parts
    assured, width = np.zeros(plans), np.zeros(plans)
    shown, larger = np.zeros(plans), np.zeros(plans)
    outcomes = np.zeros((plans, len(promise.OUTCOMES)))
    for weight, factor in zip(weights, factors, strict=True):
        known = error.pilot(factor)
        alone = promise.assurance(aim.gain, parts, known, alpha=aim.alpha, link=link)
        if aim.df == 1:
            assured += weight * alone
        else:
            assured += weight * term_promise.assurance_f(
                aim.gain, aim.df, parts[0], known, alpha=aim.alpha, link=link[:, 0, :]
            )
        outcomes += weight * promise.outcome_shares(aim.gain, aim.margin, parts, known, alpha=aim.alpha, link=link)
        width += weight * half_width.expected_half_width(parts, known, alpha=aim.alpha, link=link)
        ratio = exaggeration.exaggeration(aim.gain, parts, known, alpha=aim.alpha, link=link)
        shown += weight * alone
        larger += weight * np.where(alone > 0.0, alone * np.where(np.isfinite(ratio), ratio, 0.0), 0.0)
    overstated = np.where(shown > 0.0, larger / np.where(shown > 0.0, shown, 1.0), np.inf)
    return {"assurance": assured, "outcomes": outcomes, "half_width": width, "exaggeration": overstated}


def of_states(found: States, number: int, aim: Aim) -> Numbers:
    """What a plan without mean squares of its own can show of one question (the ``number``-th of the states)."""
    variance, wider, df = found.variance[number], found.widening[number], found.df[number]
    known, weights = [(1.0, math.inf)], found.weights
    parts, told = [(variance[:-1], df[:-1])], {"alpha": aim.alpha, "widening": wider[:-1]}
    alone = promise.assurance(aim.gain, parts, known, **told)
    std_error = np.sqrt(variance) * wider
    each = alone if aim.df == 1 else _power(aim, std_error[:-1], df[:-1])
    shown = float(weights @ alone)
    ratio = exaggeration.exaggeration(aim.gain, parts, known, **told)
    width = wider[:-1] * half_width.expected_half_width(parts, known, alpha=aim.alpha)
    order = np.argsort(variance[:-1])
    upper = int(order[min(int(np.searchsorted(np.cumsum(weights[order]), UPPER_LEVEL)), len(order) - 1)])
    two = [-1, upper]
    if aim.df == 1:
        pair = [(variance[two], df[two])]
        at_once = promise.assurance(aim.gain, pair, known, alpha=aim.alpha, widening=wider[two])
    else:
        at_once = _power(aim, std_error[two], df[two])
    return {
        "assurance": weights @ each,
        "outcomes": weights @ promise.outcome_shares(aim.gain, aim.margin, parts, known, **told),
        "half_width": np.inf if found.least_doubt <= 1 else weights @ width,
        "exaggeration": weights @ (alone * ratio) / shown if shown > 0.0 and np.isfinite(ratio).all() else np.inf,
        "power": at_once[0],
        "power_at_upper_scatter": at_once[1],
        "detectable": _smallest(aim, std_error[-1:], df[-1:])[0],
        "error_df": df[-1],
    }


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
