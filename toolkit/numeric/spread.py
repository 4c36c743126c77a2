"""Contrasts of means that take no common scatter (rank 1)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike


@dataclass(frozen=True)
class Separate:
    """A contrast of means by the scatter of each group: estimate, standard error, degrees of freedom."""

    estimate: float
    std_error: float
    df: float


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
