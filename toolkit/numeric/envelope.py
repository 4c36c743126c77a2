"""The band that ordered residuals keep to where nothing but a normal scatter is in them, by drawing.

May import numpy and the error classes. What is drawn at random comes from the seed given.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._left_over import basis_beside

Floats = NDArray[np.float64]

# Campaigns drawn: a limit of the 95 % band then lies within about 2 % of the scatter of where it belongs.
DRAWN = 4000


@dataclass(frozen=True, eq=False)
class Envelope:
    """Ordered residuals of a layout, the smallest first, in error SDs as each campaign estimates its own.

    Attributes
    ----------
    low, middle, high : ndarray, shape (runs,)
        The band that each place keeps to with the confidence asked, and its median.
    df : int
        Degrees of freedom that the columns leave.
    """

    low: Floats
    middle: Floats
    high: Floats
    df: int


def residual_envelope(columns: ArrayLike, *, seed: int, conf_level: float = 0.95, drawn: int = DRAWN) -> Envelope:
    """Give back the band of ordered residuals of a layout whose runs differ by a normal scatter alone.

    Parameters
    ----------
    columns : array_like, shape (runs, columns)
        All that is taken out of the runs, in any coding; one degree of freedom or more must be left.
    seed : int
        Of the drawing.
    conf_level : float
        Of each place by itself: of many places some lie outside by chance.
    drawn : int
        Campaigns drawn, 100 or more.

    Returns
    -------
    Envelope
        Multiply by the error SD found to set it beside residuals.

    Raises
    ------
    ModelError
        When an argument is out of range, or nothing is left of the runs.

    Notes
    -----
    Each campaign is taken through the same least squares and divided by its own error SD, so that neither the unequal
    variances of residuals nor their correlation is left out (A. C. Atkinson, Biometrika 68 (1981) 13-20).

    Checked against: two runs (closed form), shares of drawn campaigns inside the band,
    tests/unit/numeric/test_envelope.py.
    """
    given = np.asarray(columns, dtype=float)
    faults = guards.finite("columns", given)
    if given.ndim != 2:
        faults.append(Fault("columns", f"{given.ndim} dimensions", "a table of runs by columns"))
    if not 0.0 < conf_level < 1.0:
        faults.append(Fault("conf_level", f"{conf_level:g}", "a number between 0 and 1"))
    if drawn < 100:
        faults.append(Fault("drawn", f"{drawn}", "100 or more"))
    raise_all(ModelError, "The band of residuals cannot be drawn.", faults)
    basis = basis_beside(given, "The band of residuals cannot be drawn.")
    df = len(given) - basis.shape[1]
    errors = np.random.default_rng(seed).standard_normal((drawn, len(given)))
    rest = errors - (errors @ basis) @ basis.T
    rest /= np.sqrt((rest**2).sum(axis=1, keepdims=True) / df)
    ordered = np.sort(rest, axis=1)
    tail = (1.0 - conf_level) / 2.0
    low, middle, high = np.quantile(ordered, (tail, 0.5, 1.0 - tail), axis=0)
    return Envelope(low, middle, high, df)
