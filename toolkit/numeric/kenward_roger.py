"""Tests of fixed effects in a linear mixed model by the method of Kenward and Roger.

The covariance of the coefficients is widened for the variances having been estimated, and the df (with several
contrasts also a factor on F) are chosen so that F has the right mean and variance. In balanced layouts whose
components are all above zero this is the F test of the strata, exactly. How the contrasts of a test are written does
not matter.

May import numpy, scipy.special and the error classes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from toolkit.errors import ModelError, raise_all
from toolkit.numeric import _contrast_work as work
from toolkit.numeric import _mixed_checks as checks
from toolkit.numeric._bases import Floats
from toolkit.numeric._likelihood import cleared
from toolkit.numeric._moments import moments
from toolkit.numeric.contrast_tests import ContrastTests, FTest
from toolkit.numeric.mixed_layout import Layout


@dataclass(frozen=True, eq=False)
class Adjusted:
    """Covariance of the coefficients with the doubt of the variances taken in.

    Attributes
    ----------
    covariance : ndarray, shape (..., p, p)
        Widened covariance, for standard errors.
    plain : ndarray, shape (..., p, p)
        Covariance as if the variances were known.
    slopes : ndarray, shape (..., sources, p, p)
        Slope of ``plain`` in each variance over the residual one, the residual last.
    doubt : ndarray, shape (..., sources, sources)
        Covariance of the estimated variances over the residual one, by the expected information; components
        at zero are kept.
    """

    covariance: Floats
    plain: Floats
    slopes: Floats
    doubt: Floats


def adjusted(layout: Layout, variances: ArrayLike) -> Adjusted:
    """Give back the covariance of the fixed coefficients with the doubt of the variances taken in.

    Parameters
    ----------
    layout : Layout
    variances : array_like, shape (..., terms + 1)
        Variance components in the order of ``layout.names``, the residual last: of a fit (``fit.variances``), or
        those a plan is judged at.

    Returns
    -------
    Adjusted

    Raises
    ------
    ModelError
        When a variance is missing or below 0, or the residual one is not above 0.

    Notes
    -----
    M. G. Kenward and J. H. Roger, Biometrics 53 (1997) 983-997, with the expected information of the restricted
    likelihood and every component kept, as U. Halekoh and S. Hojsgaard, Journal of Statistical Software 59 (2014) 9.
    The covariance matrix is linear in the variances, so that no second derivatives appear.

    Checked against: k07-oats-unbalanced (pbkrtest 0.5.2), tests/reference/test_mixed_cases.py.
    """
    asked = np.asarray(variances, dtype=float)
    raise_all(ModelError, "The covariance cannot be worked out.", checks.of_variances(asked, layout.terms + 1))
    flat = asked.reshape(-1, asked.shape[-1])
    last = flat[:, -1, None, None]
    made, _ = moments(layout, flat[:, :-1] / flat[:, -1:], None, residual=True)
    inverse = made.inverse
    doubt = 2.0 * work.inverse_of(cleared(made)[1])
    half = np.matmul(made.once, inverse[:, None])
    # The sum over pairs of sources of doubt x (twice - once C once).
    summed = np.einsum("nij,nijab->nab", doubt, made.twice)
    leaning = np.einsum("nij,njab->niab", doubt, made.once)
    summed = summed - np.matmul(half, leaning).sum(axis=1)
    widened = inverse + 2.0 * np.matmul(inverse, np.matmul(summed, inverse))
    slopes = np.matmul(inverse[:, None], half)
    lead = asked.shape[:-1]
    turned = [work.inside(layout.back, item * last) for item in (0.5 * (widened + widened.swapaxes(1, 2)), inverse)]
    slopes = work.inside(layout.back, slopes * last[:, None])
    return Adjusted(
        *(item.reshape(*lead, *item.shape[1:]) for item in turned),
        slopes.reshape(*lead, *slopes.shape[1:]),
        doubt.reshape(*lead, *doubt.shape[1:]),
    )


def contrasts(made: Adjusted, beta: ArrayLike, rows: ArrayLike) -> ContrastTests:
    """Give back estimate, standard error, df, t and p of contrasts, each on its own.

    Parameters
    ----------
    made : Adjusted
        From ``adjusted``.
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
    For a single contrast the two conditions of Kenward and Roger come down to df = 2 v^2 / g'Wg, v its variance, g
    the slopes of v, W the covariance of the variances.

    Checked against: k07-oats-unbalanced, k08-machines-mixed (emmeans 1.8.4 with pbkrtest 0.5.2),
    tests/reference/test_mixed_cases.py.
    """
    asked = work.rows_of(rows, made.plain.shape[-1], together=False)
    return work.tests_of(
        np.asarray(beta, dtype=float) @ asked.T, work.along(asked, made.covariance), _single_df(made, asked)
    )


def f_test(made: Adjusted, beta: ArrayLike, rows: ArrayLike) -> FTest:
    """Give back the F test that all contrasts are nought.

    Parameters
    ----------
    made : Adjusted
    beta : array_like, shape (..., p)
    rows : array_like, shape (contrasts, p)
        As in ``contrasts``; linearly independent.

    Returns
    -------
    FTest

    Raises
    ------
    ModelError
        When the rows do not fit the columns or are not independent.

    Notes
    -----
    Kenward and Roger 1997, sections 3 and 4; near a df of 2 the factor is 1, as in Halekoh and Hojsgaard 2014. Where no
    F distribution has the mean and variance asked for (far too few df), the factor is 1 and the df are the
    smallest of the independent single contrasts.

    Checked against: k07-oats-splitplot, k07-oats-unbalanced (pbkrtest 0.5.2), tests/reference/test_mixed_cases.py; its
    size by simulation, tests/unit/numeric/test_kenward_roger.py.
    """
    asked = work.rows_of(rows, made.plain.shape[-1], together=True)
    q = len(asked)
    estimate = np.asarray(beta, dtype=float) @ asked.T
    weighted = np.linalg.solve(work.inside(asked, made.covariance), estimate[..., None])[..., 0]
    plain = (estimate * weighted).sum(axis=-1) / q
    df, scale = _matched(made, asked)
    return work.f_test_of(plain * scale, q, df, scale)


def _single_df(made: Adjusted, rows: Floats) -> Floats:
    """df of each contrast on its own, shape (..., contrasts)."""
    share = work.along(rows, made.slopes) / work.along(rows, made.plain)[..., None, :]
    return 2.0 / (share * np.matmul(made.doubt, share)).sum(axis=-2)


def _matched(made: Adjusted, rows: Floats) -> tuple[Floats, Floats]:
    """df and factor for which the scaled F has its mean and variance, shape (...)."""
    q = len(rows)
    if q == 1:
        df = _single_df(made, rows)[..., 0]
        return df, np.ones_like(df)
    middle = np.linalg.inv(work.inside(rows, made.plain))[..., None, :, :]
    parts = np.matmul(middle, work.inside(rows, made.slopes))
    trace = np.trace(parts, axis1=-2, axis2=-1)
    flat = parts.reshape(*parts.shape[:-2], -1)
    turned = parts.swapaxes(-1, -2).reshape(flat.shape)
    first = (trace * np.matmul(made.doubt, trace[..., None])[..., 0]).sum(axis=-1)
    second = (made.doubt * np.matmul(flat, turned.swapaxes(-1, -2))).sum(axis=(-1, -2))
    g = ((q + 1) * first - (q + 4) * second) / ((q + 2) * second)
    below = 3 * q + 2 * (1 - g)
    spread = (first + 6 * second) / (2 * q)
    top = 1 + g / below * spread
    middle_part = 1 - (q - g) / below * spread
    bottom = 1 - (q + 2 - g) / below * spread
    with np.errstate(all="ignore"):
        ratio = ((1 - second / q) / middle_part) ** 2 * top / bottom
        df = 4 + (q + 2) / (ratio - 1)
        scale = np.where(np.abs(df - 2) < 1e-2, 1.0, df * (1 - second / q) / (df - 2))
    good = np.isfinite(df) & np.isfinite(scale) & (df > 0) & (scale > 0)
    if not good.all():
        _, directions = np.linalg.eigh(work.inside(rows, made.plain))
        turned_rows = np.matmul(directions.swapaxes(-1, -2), rows)
        share = np.einsum("...cp,...ipq,...cq->...ic", turned_rows, made.slopes, turned_rows)
        share = share / np.einsum("...cp,...pq,...cq->...c", turned_rows, made.plain, turned_rows)[..., None, :]
        least = (2.0 / (share * np.matmul(made.doubt, share)).sum(axis=-2)).min(axis=-1)
        df, scale = np.where(good, df, least), np.where(good, scale, 1.0)
    return df, scale
