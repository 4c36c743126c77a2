"""Power, assurance, smallest change and outcomes of one question over several sets of runs."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from toolkit.brief.model import Comparison
from toolkit.design import questions
from toolkit.numeric import components, intervals, noncentral, promise, term_promise
from toolkit.size.scatter import MeanSquare, Scatter

UPPER_LEVEL = 0.80
_GUESS_NODES = 9


@dataclass(frozen=True, eq=False)
class Asked:
    """One question to a list of designs, with the variance of its contrast in each of them."""

    question: questions.Question
    comparison: Comparison | None
    df: int
    strata: tuple[str, ...]
    variances: np.ndarray
    error_df: np.ndarray
    each: np.ndarray
    uncovered: str = ""


def numbers_of(
    scatter: Scatter, asked: Asked, gain: float, margin: float, alpha: float, power: float
) -> dict[str, np.ndarray]:
    """Power, assurance, detectable change and outcomes of one question over the designs."""
    pilot, link = _link(scatter, asked)
    squares = np.array([square.value for square in pilot])
    doubt = np.array([square.df for square in pilot])
    if len(squares) == 2:
        squares[0] = max(squares[0], squares[1])
    planned = np.einsum("nkj,j->nk", link, squares)
    variance = (asked.variances * planned).sum(axis=1)
    std_error = np.sqrt(variance)
    df = (
        asked.error_df[:, 0]
        if len(asked.strata) == 1
        else np.where(
            asked.error_df.min(axis=1) >= 1,
            components.satterthwaite(asked.variances, planned, np.maximum(asked.error_df, 1.0)),
            0.0,
        )
    )
    coefficients = np.einsum("nk,nkj->nj", asked.variances, link)
    if np.isinf(doubt).all():
        upper = std_error
    else:
        own = doubt[0] if len(doubt) == 1 else components.satterthwaite(coefficients, squares, doubt)
        upper = intervals.sd_upper(std_error, own, level=UPPER_LEVEL)
    parts = [(asked.variances[:, k], asked.error_df[:, k]) for k in range(len(asked.strata))]
    known = [(square, freedom) for square, freedom in zip(squares, doubt, strict=True)]
    weights, factors = _guesses(scatter)
    if scatter.declared is not None:
        upper = std_error * math.sqrt(factors[-1])
        weights, factors = weights[:-1], factors[:-1]
    assured = np.zeros(len(df))
    outcomes = np.zeros((len(df), len(promise.OUTCOMES)))
    for weight, factor in zip(weights, factors, strict=True):
        scaled = [(square * factor, freedom) for square, freedom in known]
        if asked.df == 1:
            assured += weight * promise.assurance(gain, parts, scaled, alpha=alpha, link=link)
        else:
            assured += weight * term_promise.assurance_f(
                gain, asked.df, parts[0], scaled, alpha=alpha, link=link[:, 0, :]
            )
        outcomes += weight * promise.outcome_shares(gain, margin, parts, scaled, alpha=alpha, link=link)
    if asked.df == 1:
        plug_in = noncentral.power_t(gain, std_error, df, alpha=alpha)
        at_upper = noncentral.power_t(gain, upper, df, alpha=alpha)
        smallest = noncentral.detectable(std_error, df, alpha=alpha, power=power)
    else:
        plug_in = noncentral.power_f(gain**2 / variance, asked.df, df, alpha=alpha)
        at_upper = noncentral.power_f((gain / upper) ** 2, asked.df, df, alpha=alpha)
        smallest = term_promise.detectable_f(std_error, asked.df, df, alpha=alpha, power=power)
    return {
        "error_df": df,
        "power": plug_in,
        "assurance": assured,
        "power_at_upper_scatter": at_upper,
        "detectable": smallest,
        "outcomes": outcomes,
    }


def _link(scatter: Scatter, asked: Asked) -> tuple[list[MeanSquare], np.ndarray]:
    """The pilot's mean squares a claim rests on, and the plan's mean squares as sums of them: (designs, parts, pilot).

    The mean square between builds is run scatter plus runs per build times build scatter, so a plan with other
    builds than the pilot's has MS' = (1 - n'/n) MS_run + (n'/n) MS_build (textbook expected mean squares).
    """
    if asked.strata == ("run",):
        return [scatter.run], np.ones((len(asked.each), 1, 1))
    ratio = asked.each / scatter.runs_per_build
    upper = np.stack([ratio, 1.0 - ratio], axis=1)[:, None, :]
    between = scatter.build or scatter.run
    if asked.strata == ("build",):
        return [between, scatter.run], upper
    lower = np.broadcast_to(np.array([0.0, 1.0]), (len(asked.each), 1, 2))
    return [between, scatter.run], np.concatenate([upper, lower], axis=1)


def _guesses(scatter: Scatter) -> tuple[np.ndarray, np.ndarray]:
    """Weights and factors on the mean square over a declared range (the last factor is its upper end)."""
    if scatter.declared is None:
        return np.ones(1), np.ones(1)
    place, weight = np.polynomial.legendre.leggauss(_GUESS_NODES)
    low, high = scatter.declared
    sd = np.append(low + (high - low) * (place + 1.0) / 2.0, high)
    return np.append(weight / 2.0, 0.0), (sd / scatter.sd) ** 2
