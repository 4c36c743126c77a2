"""Whether groups scatter alike, and contrasts of means that take no common scatter (rank 1)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special


@dataclass(frozen=True)
class SpreadTest:
    """A test of equal scatter: statistic, degrees of freedom (error_df None for a chi-square), p value."""

    statistic: float
    df: int
    error_df: int | None
    p_value: float


@dataclass(frozen=True)
class Separate:
    """A contrast of means by the scatter of each group: estimate, standard error, degrees of freedom."""

    estimate: float
    std_error: float
    df: float


def levene(values: ArrayLike, groups: ArrayLike, *, centre: str = "median") -> SpreadTest:
    """The test of equal scatter by absolute deviations from the centre of each group.

    Parameters
    ----------
    values : array, shape (n,)
    groups : array, shape (n,)
        The group of each value; two groups at least, each of two values at least.
    centre : str
        median (M. B. Brown and A. B. Forsythe, JASA 69 (1974) 364-367: holds its level also off the normal) or mean
        (H. Levene, 1960).

    Returns
    -------
    SpreadTest
        F on groups - 1 and n - groups degrees of freedom.

    Raises
    ------
    ValueError
        When there are fewer than two groups, one holds fewer than two values, or all deviations agree.

    Notes
    -----
    Checked against: k11-levene-bartlett-gear (NIST/SEMATECH e-Handbook, 1.3.5.10).
    """
    y, codes, counts = _grouped(values, groups)
    if centre not in ("median", "mean"):
        raise ValueError(f"centre = {centre!r}: expected 'median' or 'mean'.")
    middle = np.array([getattr(np, centre)(y[codes == at]) for at in range(len(counts))])
    return deviation_test(np.abs(y - middle[codes]), codes)


def deviation_test(deviations: ArrayLike, groups: ArrayLike) -> SpreadTest:
    """The one-way F of absolute deviations between groups.

    Parameters
    ----------
    deviations : array, shape (n,)
        At least 0.
    groups : array, shape (n,)

    Returns
    -------
    SpreadTest

    Raises
    ------
    ValueError
        As ``levene``.

    Notes
    -----
    Checked against: k11-levene-bartlett-gear.
    """
    z, codes, counts = _grouped(deviations, groups)
    means = np.bincount(codes, weights=z) / counts
    between = float(counts @ (means - z.mean()) ** 2)
    within = float(((z - means[codes]) ** 2).sum())
    if within <= 1e-24 * float(z @ z):
        raise ValueError("all deviations of a group agree: their scatter cannot be tested.")
    df, error_df = len(counts) - 1, len(z) - len(counts)
    f = between / df / (within / error_df)
    return SpreadTest(f, df, error_df, float(special.fdtrc(df, error_df, f)))


def bartlett(values: ArrayLike, groups: ArrayLike) -> SpreadTest:
    """The test of equal variances by their logarithms: sharp where errors are normal, misled where they are not.

    Parameters
    ----------
    values, groups
        As for ``levene``.

    Returns
    -------
    SpreadTest
        Chi-square on groups - 1 degrees of freedom.

    Raises
    ------
    ValueError
        As ``levene``; or when the values of a group agree.

    Notes
    -----
    M. S. Bartlett, Proceedings of the Royal Society A 160 (1937) 268-282.

    Checked against: k11-levene-bartlett-gear (NIST/SEMATECH e-Handbook, 1.3.5.7).
    """
    y, codes, counts = _grouped(values, groups)
    dfs = counts - 1.0
    variances = np.array([float(np.var(y[codes == at], ddof=1)) for at in range(len(counts))])
    if np.any(variances <= 0.0):
        raise ValueError("the values of a group agree: its scatter cannot be compared.")
    total = dfs.sum()
    pooled = float(dfs @ variances) / total
    raw = total * np.log(pooled) - float(dfs @ np.log(variances))
    size = 1.0 + (float((1.0 / dfs).sum()) - 1.0 / total) / (3.0 * (len(counts) - 1))
    df = len(counts) - 1
    return SpreadTest(raw / size, df, None, float(special.chdtrc(df, raw / size)))


def separate(weights: ArrayLike, samples: Sequence[ArrayLike]) -> Separate:
    """A contrast of group means judged by each group's own scatter.

    Parameters
    ----------
    weights : array, shape (groups,)
        Weight of each group's mean; those of weight 0 take no part.
    samples : sequence of arrays
        The values of each group, two at least where the weight is not 0.

    Returns
    -------
    Separate

    Raises
    ------
    ValueError
        When a group that takes part has fewer than two values, or none of them scatters.

    Notes
    -----
    B. L. Welch, Biometrika 34 (1947) 28-35; F. E. Satterthwaite, Biometrics Bulletin 2 (1946) 110-114.

    Checked against: Student's sleep data as R's t.test prints them, scipy's ttest_ind without equal variances,
    tests/unit/numeric/test_spread.py.
    """
    used = [(float(w), np.asarray(y, dtype=float)) for w, y in zip(weights, samples, strict=True) if w]
    if not used or any(len(y) < 2 for _, y in used):
        raise ValueError("every group that takes part needs two values at least.")
    shares = np.array([w**2 * float(np.var(y, ddof=1)) / len(y) for w, y in used])
    if shares.sum() <= 0.0:
        raise ValueError("the values of every group agree: there is no scatter to judge by.")
    dfs = np.array([len(y) - 1.0 for _, y in used])
    estimate = float(sum(w * y.mean() for w, y in used))
    return Separate(estimate, float(np.sqrt(shares.sum())), float(shares.sum() ** 2 / (shares**2 / dfs).sum()))


def _grouped(values: ArrayLike, groups: ArrayLike) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Values, the number of each one's group, and how many each group holds."""
    y, named = np.asarray(values, dtype=float), np.asarray(groups)
    if y.shape != named.shape or y.ndim != 1:
        raise ValueError(f"shapes {y.shape} and {named.shape}: expected (n,) and (n,).")
    codes = np.unique(named, return_inverse=True)[1]
    counts = np.bincount(codes)
    if len(counts) < 2 or counts.min() < 2:
        raise ValueError("two groups at least are needed, each of two values at least.")
    return y, codes, counts
