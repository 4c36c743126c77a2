"""A p value from the orders that the draw could have given, without a normal distribution (rank 4)."""

from __future__ import annotations

import numpy as np
import pandas as pd

from toolkit.brief.model import CENTRE, Comparison
from toolkit.design import latin, questions, strata, swaps, units
from toolkit.design.swaps import Allowed
from toolkit.errors import DesignError, ModelError
from toolkit.model import _aligned_builds as aligned_builds
from toolkit.model._layers import in_layer
from toolkit.model.fit import Fit, of_strata

COLUMNS = ("response", "comparison", "p_value", "smallest_p", "orders", "exact", "sentence")
# Column of the planned runs that says that their order was drawn anew on the way.
REDRAWN = "redrawn"
# Column of the runs that says how many centre points lie in the unit of a kind, before it the name of the kind.
_BESIDE = "_centre_points_beside"
_WITHOUT_PLAN = "no exact test: [order] limits the orders and no plan is sealed, so that none was drawn within them"
_REDRAWN = "no exact test: the order was drawn anew by an amendment, within limits that rest on the runs made by then"


def exact_p(fit: Fit, planned: pd.DataFrame | None = None) -> pd.DataFrame:
    """For each comparison: the share of the orders the draw could have given that differ at least as much.

    Parameters
    ----------
    fit : Fit
    planned : DataFrame, optional
        The sealed runs: run_id, phase, build_id, planned_order and the factors. Needed where the brief limits how
        closely comparisons may follow the run order: only orders within the limits count then.

    Returns
    -------
    DataFrame
        response, comparison, p_value (two-sided), smallest_p (the smallest this plan could give), orders (how many
        were gone through), exact (False: a sample of them, from the brief's seed), sentence. None where no
        exchange of runs tests the question: an interaction, a comparison of combinations that differ in units of two
        strata, or treatments that never met in a unit.

        Where centre points lie in or beside units of several runs they keep their places and are left out of the
        statistic, and whole units change places only with units that hold as many of them.

    Notes
    -----
    Under no difference the runs of the two levels are exchangeable where everything else is equal (build, and the
    levels of the other factors), because the order among them was drawn at random; the statistic is the size of t.
    (R. A. Fisher, The Design of Experiments, 1935; O. Kempthorne, The Design and Analysis of Experiments, 1952.)
    The verdict rests on t: the check takes no normal distribution, and pays with power.

    Checked against: k03-paired-shoe-wear (14 of the 1,024 sign changes, Box, Hunter and Hunter), counts by hand,
    scipy's permutation_test, tests/unit/model/test_randomisation.py.
    """
    corners = _corners(fit)
    rows = [_one(corners or fit, comparison, at, planned) for at, comparison in enumerate(fit.brief.comparisons)]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def _one(fit: Fit, comparison: Comparison, place: int, planned: pd.DataFrame | None) -> dict[str, object]:
    """The line of one comparison."""

    def line(p: float | None, smallest: float | None, orders: int, exact: bool, told: str) -> dict[str, object]:
        values = (fit.response.name, comparison.name, p, smallest, orders, exact, f"{comparison.name}: {told}")
        return dict(zip(COLUMNS, values, strict=True))

    if fit.strata.covariates:
        # A run's covariate goes with its value, so that values alone are not exchangeable.
        return line(None, None, 0, False, "told at equal covariates: no exact test")
    if latin.used(fit.brief):
        # Within a build the place decides the level: values are not exchangeable there.
        return line(None, None, 0, False, "drawn by Latin squares: no exact test")
    if comparison.interaction:
        return line(None, None, 0, False, "an interaction has no exact test")
    row = questions.of_comparison(fit.brief, comparison, fit.strata.terms).row
    if fit.strata.estimable(row) and (along := aligned_builds.aligned(fit.strata, row)) is not None:
        if along.withheld or along.told:
            # Orders across builds are not exchangeable where builds differ.
            return line(None, None, 0, False, "no exact test: what it compares goes along with builds")
    parts = fit.strata.parts(row)
    if len(parts) != 1:
        why = "judged in two strata: no exact test"
        if not parts:
            uneven = f"{fit.strata.unbalanced}: no exact test"
            why = uneven if fit.strata.estimable(row) else "not estimable from these runs"
        return line(None, None, 0, False, why)
    if parts[0].stratum == units.POSITION:
        return line(None, None, 0, False, "what positions hold was drawn by Latin squares: no exact test")
    layer = fit.layer(parts[0].stratum)
    square, _ = fit.mean_squares[parts[0].stratum]
    if not square:
        return line(None, None, 0, False, "no error estimate, so no size of t to compare")
    limited = fit.brief.order is not None
    beside = f"{parts[0].stratum}{_BESIDE}"
    apart = ("phase",) if limited else (beside,) if beside in fit.strata.runs else ()
    groups = swaps.groups(fit.strata, comparison, parts[0].stratum, apart=apart)
    if swaps.number(groups) < 2:
        return line(None, None, swaps.number(groups), False, "the levels compared never met where all else was equal")
    judge = _judge(fit, comparison, parts[0].stratum, planned) if limited else None
    if isinstance(judge, str):
        return line(None, None, 0, False, judge)
    solve = np.linalg.pinv(layer.full, rcond=1e-10)
    weights = in_layer(layer, fit.strata, row) @ solve
    arranged, exact, orders = swaps.through(groups, len(layer.y), judge, swaps.seed_of(fit.brief, place))
    fitted = layer.full @ solve
    sizes = _size_of_t(layer.y[arranged], fitted, weights)
    own = _size_of_t(layer.y[None, :], fitted, weights)[0]
    # Orders that give the same split of the values tie but for rounding.
    as_far, count = int((sizes >= own * (1.0 - 1e-9)).sum()), len(arranged)
    mirror = swaps.mirrored(groups, len(layer.y))
    if mirror is not None and judge is not None and not judge.holds(mirror)[0]:
        mirror = None
    # Where every order has a mirror image that differs as much, no p can come from one order alone.
    twice = mirror is not None and abs(_size_of_t(layer.y[mirror], fitted, weights)[0] - own) <= 1e-9 * max(own, 1e-300)
    smallest = min((2 if twice else 1) / orders, 1.0)
    within = " within the limits of [order]" if limited else ""
    left = "; centre points stay in their places and are left out" if beside in fit.strata.runs else ""
    if exact:
        p_value = as_far / count
        told = f"{as_far} of {count:,} orders{within} differ as much (p = {p_value:.3g}; the smallest here is "
        return line(p_value, smallest, count, True, f"{told}{smallest:.2g}){left}")
    p_value = (1 + as_far) / (count + 1)
    told = f"p = {p_value:.3g} over {count:,} orders{within}, drawn from all that the draw could have given{left}"
    return line(p_value, smallest, count, False, told)


def _corners(fit: Fit) -> Fit | None:
    """The fit without centre points, where these alone keep units of several runs from being balanced; else None."""
    found = fit.strata
    centre = (found.runs[list(fit.brief.factor_names)] == CENTRE).any(axis=1).to_numpy()
    if found.balanced or not centre.any() or fit.brief.order is not None:
        return None
    kinds = {name: pd.Series(centre).groupby(codes).transform("sum") for name, codes in found.members.items()}
    runs = found.runs.reset_index(drop=True).assign(**{f"{name}{_BESIDE}": count for name, count in kinds.items()})
    try:
        laid = strata.again(found, runs[~centre].reset_index(drop=True))
        return of_strata(fit.brief, fit.response, laid, fit.y[~centre]) if laid.balanced else None
    except (DesignError, ModelError):
        return None


def _judge(fit: Fit, comparison: Comparison, stratum: str, planned: pd.DataFrame | None) -> Allowed | str:
    """Which exchanges keep the limits of the brief, or why there is no exact test."""
    if planned is None:
        return _WITHOUT_PLAN
    if REDRAWN in planned and planned[REDRAWN].any():
        return _REDRAWN
    judge = swaps.allowed(fit.strata, comparison, stratum, planned)
    if isinstance(judge, str):
        return f"no exact test: {judge}"
    units = int(fit.strata.members[stratum].max()) + 1
    if not judge.holds(np.arange(units)[None, :])[0]:
        return "no exact test: the order on record does not keep the limits of [order]"
    return judge


def _size_of_t(values: np.ndarray, fitted: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """The size of the estimate over the root of its residual sum of squares, for each line of values."""
    estimate = np.abs(values @ weights)
    residual = values - values @ fitted.T
    return estimate / np.sqrt(np.maximum((residual**2).sum(axis=1), 1e-300))
