"""How straight a normal plot is: Shapiro and Wilk's W, and the share of drawn campaigns that are as crooked.

May import numpy, scipy.special and the error classes. What is drawn at random comes from the seed given.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._left_over import basis_beside

Floats = NDArray[np.float64]

DRAWN = 4000
FEWEST, MOST = 3, 5000
_HEADLINE = "How straight the normal plot is cannot be told."
# scipy.stats has the same W, sample by sample; it alone would take a second to import in every analysis.
# Royston's polynomials in 1 / sqrt(n) for the two outermost weights.
_LAST = (-2.706056, 4.434685, -2.07119, -0.147981, 0.221157, 0.0)
_NEXT = (-3.582633, 5.682633, -1.752461, -0.293762, 0.042981, 0.0)


@dataclass(frozen=True)
class Straightness:
    """W of some residuals (1 is straight) and the share of drawn campaigns whose W is as low."""

    w: float
    p_value: float


def shapiro_wilk(values: ArrayLike) -> Floats:
    """Give back Shapiro and Wilk's W of samples: 1 where the normal plot is straight, less the more it bends.

    Parameters
    ----------
    values : array_like, shape (..., n)
        Samples of 3 to 5,000 values in any unit, none of them all alike.

    Returns
    -------
    ndarray, shape (...)
        Between 0 and 1.

    Raises
    ------
    ModelError
        When a value is missing, there are too few or too many, or all of a sample are alike.

    Notes
    -----
    S. S. Shapiro and M. B. Wilk, Biometrika 52 (1965) 591-611, with the weights of P. Royston, Applied Statistics 44
    (1995) 547-551 (algorithm R94).

    Checked against: k11-shapiro-wilk (R 4.2.2), tests/reference/test_residual_cases.py; scipy.stats.shapiro,
    tests/unit/numeric/test_normality.py.
    """
    given = np.asarray(values, dtype=float)
    faults = guards.finite("values", given)
    count = given.shape[-1] if given.ndim else 1
    if not FEWEST <= count <= MOST:
        faults.append(Fault("values", f"{count} in a sample", f"{FEWEST} to {MOST:,}"))
    raise_all(ModelError, _HEADLINE, faults)
    ordered = np.sort(given, axis=-1)
    ordered = ordered - ordered.mean(axis=-1, keepdims=True)
    squares = (ordered**2).sum(axis=-1)
    alike = squares <= count * (8.0 * np.finfo(float).eps * np.abs(given).max(axis=-1)) ** 2
    if alike.any():
        raise_all(ModelError, _HEADLINE, [Fault("values", "all of a sample are alike", "values that scatter")])
    return np.minimum((ordered @ _weights(count)) ** 2 / squares, 1.0)


def straightness(columns: ArrayLike, residuals: ArrayLike, *, seed: int, drawn: int = DRAWN) -> Straightness:
    """Give back W of the residuals of a fit, and how often a normal scatter alone gives one as low.

    Parameters
    ----------
    columns : array_like, shape (runs, columns)
        All that was taken out of the runs, in any coding; one degree of freedom or more must be left.
    residuals : array_like, shape (runs,)
    seed : int
        Of the drawing.
    drawn : int
        Campaigns drawn, 100 or more.

    Returns
    -------
    Straightness

    Raises
    ------
    ModelError
        When an argument is out of range or nothing is left of the runs.

    Notes
    -----
    Residuals of a few runs are neither independent nor of one variance, so that the p value of a plain sample is not
    theirs: drawn campaigns go through the same least squares. p = (1 + as low) / (1 + drawn).

    Checked against: the p value of R for a plain sample (k11-shapiro-wilk), false alarms by simulation,
    tests/reference/test_residual_cases.py and tests/unit/numeric/test_normality.py.
    """
    given = np.asarray(columns, dtype=float)
    faults = guards.finite("columns", given) + guards.finite("residuals", residuals)
    if drawn < 100:
        faults.append(Fault("drawn", f"{drawn}", "100 or more"))
    raise_all(ModelError, _HEADLINE, faults)
    basis = basis_beside(given, _HEADLINE)
    own = float(shapiro_wilk(residuals))
    errors = np.random.default_rng(seed).standard_normal((drawn, len(given)))
    as_low = int((shapiro_wilk(errors - (errors @ basis) @ basis.T) <= own).sum())
    return Straightness(own, (1.0 + as_low) / (1.0 + drawn))


@lru_cache(maxsize=64)
def _weights(count: int) -> Floats:
    """Weights of ordered values, the smallest first; their squares add to 1."""
    half = special.ndtri((np.arange(1, count + 1) - 0.375) / (count + 0.25))
    if count == FEWEST:
        return np.array([-np.sqrt(0.5), 0.0, np.sqrt(0.5)])
    size, root = float(half @ half), 1.0 / np.sqrt(count)
    weights = half.copy()
    outer = [half[-1] / np.sqrt(size) + np.polyval(_LAST, root)]
    if count > 5:
        outer.append(half[-2] / np.sqrt(size) + np.polyval(_NEXT, root))
    taken = len(outer)
    rest = size - 2.0 * float((half[-taken:] ** 2).sum())
    weights /= np.sqrt(rest / (1.0 - 2.0 * float((np.array(outer) ** 2).sum())))
    for at, value in enumerate(outer, 1):
        weights[-at], weights[at - 1] = value, -value
    return weights
