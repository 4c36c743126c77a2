"""How closely the comparisons of a phase follow the places of its order, and which orders keep the limits (rank 3)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from toolkit.brief.model import OrderLimits
from toolkit.design import questions
from toolkit.design.strata import Strata
from toolkit.numeric import drift

# Room for rounding at a limit.
ROOM = 1e-9


@dataclass(frozen=True, eq=False)
class Followed:
    """How closely the comparisons of one phase follow its places, and what is allowed.

    Attributes
    ----------
    weights : ndarray, shape (runs, comparisons)
        What each comparison multiplies the run values with; noughts where it cannot be told from this phase.
    shapes : ndarray, shape (4, runs)
        Drift over the places, as ``numeric.drift.trends`` gives it.
    lengths : ndarray, shape (4, comparisons)
        What the sums are divided by; infinite where there is no such correlation.
    limits : ndarray, shape (4,)
        1 where there is no limit.
    """

    weights: np.ndarray
    shapes: np.ndarray
    lengths: np.ndarray
    limits: np.ndarray

    def correlations(self, stands: np.ndarray) -> np.ndarray:
        """The correlation of each comparison with each shape of drift, for runs put in order.

        Parameters
        ----------
        stands : ndarray of int, shape (orders, runs)
            Which run, or which run like it, stands at each place.

        Returns
        -------
        ndarray, shape (orders, 4, comparisons)
            0 where there is no such correlation.
        """
        sums = [own[stands] @ self.shapes.T for own in np.ascontiguousarray(self.weights.T)]
        return np.stack(sums, axis=2) / self.lengths

    def within(self, sums: np.ndarray) -> np.ndarray:
        """Which of the orders keep the limits, from their correlations; shape (orders,)."""
        return (np.abs(sums) <= self.limits[:, None] + ROOM).all(axis=(1, 2))


def weights_of(laid: Strata) -> np.ndarray:
    """What each comparison of the brief multiplies the run values with.

    Parameters
    ----------
    laid : Strata

    Returns
    -------
    ndarray, shape (runs, comparisons)
        NaN in the columns of comparisons that cannot be told from these runs.

    Notes
    -----
    Least squares over exactly these runs and their blocks (textbook).

    Checked against: extreme orders by hand, tests/unit/design/test_orders.py.
    """
    full = laid.full_columns
    inverse = np.linalg.pinv(full.T @ full, rcond=1e-10, hermitian=True)
    made = np.full((len(full), len(laid.brief.comparisons)), np.nan)
    for at, comparison in enumerate(laid.brief.comparisons):
        row = questions.of_comparison(laid.brief, comparison, laid.terms).row
        if laid.estimable(row):
            made[:, at] = full @ inverse @ np.concatenate([row, np.zeros(full.shape[1] - len(row))])
    return made


def followed(laid: Strata, limits: OrderLimits, places: Sequence[float]) -> Followed:
    """How closely comparisons follow the places that runs stand at.

    Parameters
    ----------
    laid : Strata
        Of the runs of one phase.
    limits : OrderLimits
    places : sequence of float
        Where each run stands.

    Notes
    -----
    Checked against: ``orders.correlations``, tests/unit/design/test_order_sets.py.
    """
    weights = np.nan_to_num(weights_of(laid))
    holder = laid.runs["build_id"].astype(str).to_numpy()
    most = [1.0 if value is None else float(value) for value in (limits.most_linear, limits.most_quadratic)]
    shapes = drift.trends(places, np.unique(holder, return_inverse=True)[1])
    return Followed(weights, shapes, drift.norms(weights, holder), np.array([most[0], most[0], most[1], most[1]]))
