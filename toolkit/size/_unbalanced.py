"""The error of questions in plans whose strata have no mean squares of their own, state by state of the pilot's doubt.

Rank 5. Kenward and Roger's covariance and degrees of freedom at assumed variances of the units.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from toolkit.design.strata import Strata
from toolkit.errors import ModelError
from toolkit.model import _random_units as random_units
from toolkit.numeric import kenward_roger, pilot_doubt
from toolkit.size._errors import turned, unknown
from toolkit.size.scatter import Scatter

# States of each mean square: with two of them the chance is right to 0.002 or so, far below what the method is off by.
_NODES = {1: 32, 2: 10, 3: 5}


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
    """

    variance: np.ndarray
    widening: np.ndarray
    df: np.ndarray
    weights: np.ndarray
    least_doubt: float


def states_of(scatter: Scatter, laid: Strata, rows: np.ndarray) -> States | str:
    """Variance and df of contrasts in runs that are not balanced; or why they cannot be told."""
    layers = scatter.layers
    found = [turned(layers, {unit: 1.0}) for unit in laid.units]
    if any(row is None for row in found):
        return unknown(layers, laid.expected(laid.units[0]))
    pilot = [(layer.value, layer.df) for layer in layers]
    squares, weights = pilot_doubt.states(pilot, nodes=_NODES[len(pilot)])
    estimated = np.maximum.accumulate([layer.value for layer in reversed(layers)])[::-1]
    variances = np.maximum(np.array(found) @ np.column_stack([squares, estimated]), 0.0).T
    columns = laid.full_columns
    kept = random_units.independent(columns)
    try:
        random_units.refuse(laid)
        made = kenward_roger.adjusted(random_units.layout_of(laid, columns[:, kept]), variances)
    except ModelError as problem:
        return str(problem)
    into = np.linalg.lstsq(columns[:, kept], columns, rcond=None)[0]
    variance, widening, df = (np.full((len(rows), len(variances)), np.nan) for _ in range(3))
    for at, row in enumerate(rows):
        if laid.estimable(row):
            own = random_units.turned(into, row[None, :])
            one = kenward_roger.contrasts(made, np.zeros((len(variances), len(kept))), own)
            variance[at] = np.einsum("p,npq,q->n", own[0], made.plain, own[0])
            widening[at], df[at] = one.std_error[..., 0] / np.sqrt(variance[at]), one.df[..., 0]
    return States(variance, widening, df, weights, min(layer.df for layer in layers))
