"""The chance that any, each or all of several comparisons of one campaign are shown.

May import numpy, scipy and the error classes. Comparisons that share runs share their luck, and all of them the
scatter that turns up; no product of single chances tells that, so campaigns are laid out point by point (a fixed
low-discrepancy set, the same for every plan, so that plans can be set side by side).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from toolkit.errors import Fault, SizingError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric import weighted_t
from toolkit.numeric._quadrature import Floats, Pair
from toolkit.numeric.noncentral import critical_t

_POINTS_LOG2 = 14
_SEED = 20_423
# A direction in which comparisons vary by less than this share of the largest is rounding.
_NIL = 1e-10


@dataclass(frozen=True, eq=False)
class Together:
    """What becomes of several comparisons in one campaign.

    Attributes
    ----------
    each : ndarray, shape (comparisons,)
        Chance that each of them is shown, whatever becomes of the others.
    any : float
        Chance that at least one of them is shown.
    all : float
        Chance that every one of them is shown.
    """

    each: Floats
    any: float
    all: float


def together(
    gains: ArrayLike,
    covariances: ArrayLike,
    df: ArrayLike,
    pilot: Sequence[Pair],
    critical: ArrayLike,
    *,
    link: ArrayLike | None = None,
    alpha: float | None = None,
) -> Together:
    """Give back the chances that any, each and all of several comparisons are shown, averaged over the pilot's doubt.

    Parameters
    ----------
    gains : array_like, shape (comparisons,)
        True gain of each [ln ratio, or unit of the response], any sign.
    covariances : array_like, shape (strata, comparisons, comparisons)
        Covariances of the comparisons in each stratum, in units of its mean square.
    df : array_like, shape (strata,)
        Error df of each stratum, 1 or more (infinite ones too).
    pilot : sequence of (mean_square, df)
        As for ``promise.assurance``.
    critical : array_like, shape (comparisons,)
        Half-width of the interval of each comparison in its standard errors, above 0.
    link : array_like, shape (strata, mean squares), optional
        As for ``promise.assurance``; None: the plan has the pilot's mean squares.
    alpha : float, optional
        At which comparisons that rest on several strata are judged by their own mean squares, each by the df of
        ``weighted_t.judged_df``; None: by ``critical`` as the others.

    Returns
    -------
    Together
        Right to about 0.002.

    Raises
    ------
    SizingError
        When an argument is out of range or of the wrong shape; all faults are told at once.

    Notes
    -----
    The true mean squares are those of the pilot times nu / chi2_nu, outer ones never below inner ones; the estimates
    are jointly normal, and each stratum's own mean square is chi-square over df and serves all its comparisons.
    16,384 scrambled Sobol points (a fixed seed) through the inverse distribution functions.

    Checked against: the joint t law of scipy at a known scatter, ``promise.assurance`` one by one, and drawn campaigns,
    tests/unit/numeric/test_joint_promise.py.
    """
    gain, spread = np.asarray(gains, dtype=float), np.asarray(covariances, dtype=float)
    freedom, reach = np.asarray(df, dtype=float), np.asarray(critical, dtype=float)
    count, strata = len(gain), len(freedom)
    faults = [*guards.finite("true gain", gain), *guards.positive("critical value", reach)]
    faults += guards.finite("covariance", spread)
    for square, doubt in pilot:
        faults += guards.positive("mean square of the pilot", square)
        faults += guards.positive("df of the pilot", doubt, infinite=True)
    if spread.shape != (strata, count, count) or reach.shape != (count,):
        found = f"shapes {spread.shape} and {reach.shape}"
        faults.append(Fault("covariances and critical values", found, f"({strata}, {count}, {count}) and ({count},)"))
    if not (freedom >= 1.0).all():
        faults.append(Fault("df of the plan", f"{freedom.min():g} was given", "1 or more"))
    table = np.eye(strata, len(pilot)) if link is None else np.asarray(link, dtype=float)
    if table.shape != (strata, len(pilot)):
        faults.append(Fault("link", f"an array of shape {table.shape}", f"a table of {strata} by {len(pilot)}"))
    raise_all(SizingError, "What is promised of several comparisons together cannot be worked out.", faults)
    roots = [_root(one) for one in spread]
    points = _points(len(pilot) + strata + sum(root.shape[1] for root in roots))
    truth = []
    for at, (square, doubt) in enumerate(pilot):
        truth.append(float(np.asarray(square)) / _scaled(float(np.asarray(doubt)), points[at]))
    for outer in range(len(truth) - 2, -1, -1):
        truth[outer] = np.maximum(truth[outer], truth[outer + 1])
    planned = table @ np.array(truth)
    estimate = np.repeat(gain[:, None], points.shape[1], axis=1)
    variance = np.zeros_like(estimate)
    owned = np.empty((strata, points.shape[1]))
    at = len(pilot) + strata
    for stratum, root in enumerate(roots):
        normal = special.ndtri(points[at : at + root.shape[1]])
        at += root.shape[1]
        estimate = estimate + np.sqrt(planned[stratum]) * (root @ normal)
        owned[stratum] = planned[stratum] * _scaled(float(freedom[stratum]), points[len(pilot) + stratum])
        variance = variance + np.diag(spread[stratum])[:, None] * owned[stratum]
    limits = np.repeat(reach[:, None], points.shape[1], axis=1)
    shares = np.array([np.diag(one) for one in spread]).T
    for one in np.flatnonzero((shares > _NIL * shares.max()).sum(axis=1) > 1) if alpha is not None else ():
        realised = weighted_t.judged_df(shares[one], owned.T, freedom, alpha=alpha)
        limits[one] = critical_t(np.maximum(realised, 1.0), alpha=alpha)
    shown = np.abs(estimate) > limits * np.sqrt(variance)
    return Together(shown.mean(axis=1), float(shown.any(axis=0).mean()), float(shown.all(axis=0).mean()))


def _root(covariance: Floats) -> Floats:
    """A root of a covariance matrix by its rank, shape (comparisons, rank)."""
    sizes, turns = np.linalg.eigh(covariance)
    kept = sizes > _NIL * max(float(sizes.max()), 1e-300)
    return turns[:, kept] * np.sqrt(sizes[kept])


def _scaled(df: float, share: Floats) -> Floats:
    """Chi-square over its df at these shares; 1 where the df is infinite."""
    if np.isinf(df):
        return np.ones_like(share)
    return np.maximum(2.0 * special.gammaincinv(0.5 * df, share) / df, 1e-100)


@lru_cache(maxsize=16)
def _points(dimensions: int) -> Floats:
    """The fixed set of points, shape (dimensions, points)."""
    from scipy.stats import qmc

    made = qmc.Sobol(dimensions, scramble=True, rng=np.random.default_rng(_SEED)).random_base2(_POINTS_LOG2)
    return np.clip(made, 1e-12, 1.0 - 1e-12).T
