"""Tests of fixed effects in a linear mixed model with the df of Satterthwaite.

Beside Kenward and Roger's it neither widens the standard errors nor keeps components that come out at zero, so that
there its df jump up to those of the residual; it stands beside them for comparison with other programs.

May import numpy, scipy.special and the error classes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from toolkit.numeric import _contrast_work as work
from toolkit.numeric._bases import Floats
from toolkit.numeric._moments import moments
from toolkit.numeric.contrast_tests import ContrastTests, FTest
from toolkit.numeric.reml import MixedFit


@dataclass(frozen=True, eq=False)
class Approximate:
    """What the df of a contrast are worked out from.

    Attributes
    ----------
    covariance : ndarray, shape (..., p, p)
        Of the coefficients, as if the variances were known.
    slopes : ndarray, shape (..., sources, p, p)
        Its slope in each variance, the residual last.
    doubt : ndarray, shape (..., sources, sources)
        Covariance of the estimated variances by the observed information; nought for those at zero.
    """

    covariance: Floats
    slopes: Floats
    doubt: Floats


def approximate(fit: MixedFit) -> Approximate:
    """Give back the covariance of the coefficients and how much doubt there is about it.

    Parameters
    ----------
    fit : MixedFit
        From ``reml.fit`` or ``reml.fit_many``.

    Returns
    -------
    Approximate

    Notes
    -----
    F. E. Satterthwaite, Biometrics Bulletin 2 (1946) 110-114, in the form of A. Kuznetsova, P. B. Brockhoff and
    R. H. B. Christensen, Journal of Statistical Software 82 (2017) 13: observed information, components at zero out.

    Checked against: k07-oats-unbalanced (lmerTest 3.1-3), tests/reference/test_mixed_cases.py.
    """
    layout, lead = fit.layout, fit.variances.shape[:-1]
    flat = fit.variances.reshape(-1, layout.terms + 1)
    made, _ = moments(layout, flat[:, :-1] / flat[:, -1:], None, residual=True)
    inverse = made.inverse[:, None]
    slopes = work.inside(layout.back, np.matmul(inverse, np.matmul(made.once, inverse)))
    free = np.column_stack([~fit.at_zero.reshape(-1, layout.terms), np.ones(len(flat), dtype=bool)])
    both = free[:, :, None] & free[:, None, :]
    hessian = fit.hessian.reshape(-1, *both.shape[1:])
    own = hessian[:, -1:, -1:] * np.eye(layout.terms + 1)
    doubt = np.where(both, 2.0 * work.inverse_of(np.where(both, hessian, own)), 0.0)
    return Approximate(
        fit.covariance, slopes.reshape(*lead, *slopes.shape[1:]), doubt.reshape(*lead, *doubt.shape[1:])
    )


def contrasts(made: Approximate, beta: ArrayLike, rows: ArrayLike) -> ContrastTests:
    """Give back estimate, standard error, df, t and p of contrasts, each on its own.

    Parameters
    ----------
    made : Approximate
        From ``approximate``.
    beta : array_like, shape (..., p)
        Coefficients of the fixed columns, usually ``fit.beta``.
    rows : array_like, shape (contrasts, p)
        Coefficients of each contrast on the fixed columns.

    Returns
    -------
    ContrastTests

    Raises
    ------
    ModelError
        When the rows do not fit the columns or one of them is nought.

    Notes
    -----
    df = 2 v^2 / g'Ag, v the variance of the contrast, g its slopes in the variances, A their covariance.

    Checked against: k07-oats-unbalanced (emmeans 1.8.4 with lmerTest 3.1-3), tests/reference/test_mixed_cases.py.
    """
    asked = work.rows_of(rows, made.covariance.shape[-1], together=False)
    variance = work.along(asked, made.covariance)
    slope = work.along(asked, made.slopes)
    df = 2.0 * variance**2 / (slope * np.matmul(made.doubt, slope)).sum(axis=-2)
    return work.tests_of(np.asarray(beta, dtype=float) @ asked.T, variance, df)


def f_test(made: Approximate, beta: ArrayLike, rows: ArrayLike) -> FTest:
    """Give back the F test that all contrasts are nought.

    Parameters
    ----------
    made : Approximate
    beta : array_like, shape (..., p)
    rows : array_like, shape (contrasts, p)
        As in ``contrasts``; linearly independent.

    Returns
    -------
    FTest
        With a factor of 1.

    Raises
    ------
    ModelError
        When the rows do not fit the columns or are not independent.

    Notes
    -----
    The contrasts are turned until they are uncorrelated; with df nu of each, E = sum nu / (nu - 2) and the df are
    2 E / (E - q) (A. H.-T. Fai and P. L. Cornelius, Journal of Statistical Computation and Simulation 54 (1996)
    363-378); 2 when some nu is 2 or below. The result depends a little on how the contrasts are written:
    Kenward and Roger's does not.

    Checked against: k07-oats-unbalanced (lmerTest 3.1-3), tests/reference/test_mixed_cases.py.
    """
    asked = work.rows_of(rows, made.covariance.shape[-1], together=True)
    q = len(asked)
    sizes, directions = np.linalg.eigh(work.inside(asked, made.covariance))
    estimate = np.asarray(beta, dtype=float) @ asked.T
    parts = np.matmul(directions.swapaxes(-1, -2), estimate[..., None])[..., 0]
    f = (parts**2 / sizes).sum(axis=-1) / q
    turned = np.matmul(directions.swapaxes(-1, -2), asked)
    slope = (np.matmul(turned[..., None, :, :], made.slopes) * turned[..., None, :, :]).sum(axis=-1)
    each = 2.0 * sizes**2 / (slope * np.matmul(made.doubt, slope)).sum(axis=-2)
    return work.f_test_of(f, q, _joint_df(each), np.ones_like(f))


def _joint_df(each: Floats) -> Floats:
    """df of a sum of squared t statistics from the df of each, shape (..., q) to (...)."""
    q = each.shape[-1]
    alike = np.ptp(each, axis=-1) < 1e-8 * each.max(axis=-1)
    safe = np.maximum(each, 2.0 + 1e-12)
    summed = (safe / (safe - 2.0)).sum(axis=-1)
    joint = np.where((each <= 2.0).any(axis=-1), 2.0, 2.0 * summed / np.where(alike, 1.0, summed - q))
    return np.where(alike, each.mean(axis=-1), joint)
