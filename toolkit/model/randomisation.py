"""A p value from the design's own order set, without a normal distribution: a check beside the verdict (rank 4)."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, product
from math import comb, prod

import numpy as np
import pandas as pd

from toolkit.brief.model import Comparison
from toolkit.design import questions
from toolkit.model import _aligned_builds as aligned_builds
from toolkit.model.fit import Fit

COLUMNS = ("response", "comparison", "p_value", "smallest_p", "orders", "exact", "sentence")
# All orders are gone through up to this many, else as many are drawn.
MOST_ORDERS = 20_000
DRAWN = 19_999
_STREAM = 6


def exact_p(fit: Fit) -> pd.DataFrame:
    """For each comparison: the share of the orders the draw could have given that differ at least as much.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    DataFrame
        response, comparison, p_value (two-sided), smallest_p (the smallest this design could give), orders (how many
        were gone through), exact (False: a sample of them, from the brief's seed), sentence. None where the order
        set has no test for the question: an interaction, a comparison of combinations that differ in units of two
        strata, or treatments that never met in a unit.

    Notes
    -----
    Under no difference the runs of the two levels are exchangeable where everything else is equal (build, and the
    levels of the other factors), because the order among them was drawn at random; the statistic is the size of t.
    (R. A. Fisher, The Design of Experiments, 1935; O. Kempthorne, The Design and Analysis of Experiments, 1952.)
    The verdict rests on t: the check takes no normal distribution, and pays with power.

    Checked against: k03-paired-shoe-wear (14 of the 1,024 sign changes, Box, Hunter and Hunter), counts by hand,
    scipy's permutation_test, tests/unit/model/test_randomisation.py.
    """
    rows = [_one(fit, comparison, at) for at, comparison in enumerate(fit.brief.comparisons)]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def _one(fit: Fit, comparison: Comparison, place: int) -> dict[str, object]:
    """The line of one comparison."""

    def line(p: float | None, smallest: float | None, orders: int, exact: bool, told: str) -> dict[str, object]:
        values = (fit.response.name, comparison.name, p, smallest, orders, exact, f"{comparison.name}: {told}")
        return dict(zip(COLUMNS, values, strict=True))

    if fit.strata.covariates:
        # A run's covariate goes with its value, so that values alone are not exchangeable.
        return line(None, None, 0, False, "told at equal covariates: no exact test in the order set")
    if comparison.interaction:
        return line(None, None, 0, False, "an interaction has no exact test in the order set")
    row = questions.of_comparison(fit.brief, comparison, fit.strata.terms).row
    if fit.strata.estimable(row) and (along := aligned_builds.aligned(fit.strata, row)) is not None:
        if along.withheld or along.told:
            # Orders across builds are not exchangeable where builds differ.
            return line(None, None, 0, False, "no exact test: what it compares goes along with builds")
    parts = fit.strata.parts(row)
    if len(parts) != 1:
        why = "judged in two strata: no exact test in the order set"
        if not parts:
            uneven = f"{fit.strata.unbalanced}: no exact test in the order set"
            why = uneven if fit.strata.estimable(row) else "not estimable from these runs"
        return line(None, None, 0, False, why)
    layer = fit.layer(parts[0].stratum)
    square, _ = fit.mean_squares[parts[0].stratum]
    if not square:
        return line(None, None, 0, False, "no error estimate, so no size of t to compare")
    groups = _exchangeable(fit, comparison, parts[0].stratum)
    count = prod(comb(len(of) + len(against), len(of)) for of, against in groups)
    if count < 2:
        return line(None, None, count, False, "the levels compared never met where all else was equal")
    solve = np.linalg.pinv(layer.full, rcond=1e-10)
    spanned = np.concatenate([np.zeros(layer.base.shape[1]), *(row[fit.strata.spans[term]] for term in layer.terms)])
    weights = spanned @ solve
    exact = count <= MOST_ORDERS
    arranged = _all(groups, len(layer.y)) if exact else _some(groups, len(layer.y), [fit.brief.seed, _STREAM, place])
    sizes = _size_of_t(layer.y[arranged], layer.full @ solve, weights)
    own = _size_of_t(layer.y[None, :], layer.full @ solve, weights)[0]
    # Orders that give the same split of the values tie but for rounding.
    as_far = int((sizes >= own * (1.0 - 1e-9)).sum())
    smallest = (2 if _mirrors(layer.y, layer.full @ solve, weights, groups, own) else 1) / count
    if exact:
        p_value = as_far / count
        told = f"{as_far} of {count:,} orders differ as much (p = {p_value:.3g}; the smallest here is {smallest:.2g})"
        return line(p_value, smallest, count, True, told)
    p_value = (1 + as_far) / (DRAWN + 1)
    told = f"p = {p_value:.3g} over {DRAWN:,} orders drawn from the order set"
    return line(p_value, smallest, DRAWN, False, told)


def _exchangeable(fit: Fit, comparison: Comparison, stratum: str) -> list[tuple[np.ndarray, np.ndarray]]:
    """Units of the two levels that were allotted at random among themselves, as positions in the layer."""
    laid = fit.strata
    runs = laid.runs.reset_index(drop=True)
    # One row a unit of the layer; what holds it is where it was drawn.
    coarser = laid.units[: laid.units.index(stratum)]
    held = laid.members[coarser[-1]] if coarser else laid.runs["build_id"].to_numpy() if laid.blocked else None
    runs = runs.assign(_held=0 if held is None else held)
    runs = runs.iloc[np.unique(laid.members[stratum], return_index=True)[1]].reset_index(drop=True)
    named = list(comparison.of)
    upto = (*coarser, stratum)
    others = [name for name in fit.brief.factor_names if name not in named and laid.of_term((name,)) in upto]
    sides = [(runs[named] == pd.Series(side)[named]).all(axis=1) for side in (comparison.of, comparison.against)]
    by = [*others, "_held"]
    asked = runs[sides[0] | sides[1]]
    parts = [part.index for _, part in asked.groupby(by)] if by else [asked.index]
    made = [(part[sides[0][part]].to_numpy(), part[sides[1][part]].to_numpy()) for part in parts]
    return [(of, against) for of, against in made if len(of) and len(against)]


def _mirrors(
    y: np.ndarray,
    fitted: np.ndarray,
    weights: np.ndarray,
    groups: Sequence[tuple[np.ndarray, np.ndarray]],
    own: float,
) -> bool:
    """True when every order has a mirror image that differs as much, so that no p can come from one order alone."""
    if any(len(of) != len(against) for of, against in groups):
        return False
    line = np.arange(len(y))
    for of, against in groups:
        line[of], line[against] = against, of
    return bool(abs(_size_of_t(y[line][None, :], fitted, weights)[0] - own) <= 1e-9 * max(own, 1e-300))


def _all(groups: Sequence[tuple[np.ndarray, np.ndarray]], units: int) -> np.ndarray:
    """Every split of each group over the two levels, as positions of values, shape (orders, units)."""
    choices = []
    for of, against in groups:
        both = [*of, *against]
        choices.append([
            (*chosen, *(item for item in both if item not in chosen)) for chosen in combinations(both, len(of))
        ])
    places = np.concatenate([np.concatenate(group) for group in groups])
    made = np.tile(np.arange(units), (prod(len(options) for options in choices), 1))
    made[:, places] = [np.concatenate(chosen) for chosen in product(*choices)]
    return made


def _some(groups: Sequence[tuple[np.ndarray, np.ndarray]], units: int, seed: Sequence[int]) -> np.ndarray:
    """Orders drawn at random, as positions of values, shape (orders, units)."""
    draw = np.random.default_rng(list(seed))
    made = np.tile(np.arange(units), (DRAWN, 1))
    for of, against in groups:
        both = np.concatenate([of, against])
        made[:, both] = draw.permuted(np.tile(both, (DRAWN, 1)), axis=1)
    return made


def _size_of_t(values: np.ndarray, fitted: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """The size of the estimate over the root of its residual sum of squares, for each line of values."""
    estimate = np.abs(values @ weights)
    residual = values - values @ fitted.T
    return estimate / np.sqrt(np.maximum((residual**2).sum(axis=1), 1e-300))
