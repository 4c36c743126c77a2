"""Comparisons judged together: the joint level of several intervals, and p values that count their number.

The comparisons share one error, or, where they are judged in different strata, are treated as if each had the error
with the fewest degrees of freedom.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy import special

from toolkit.numeric import joint_t
from toolkit.numeric.noncentral import critical_t

# Directions over which the joint law is averaged: in a plane evenly spaced, beyond it scrambled Sobol points.
_PLANE = 20_000
_POINTS_LOG2 = 16
_SEED = 20_417


@dataclass(frozen=True, eq=False)
class _Law:
    """Several t values with these correlations: which of the integrals holds, and what it needs."""

    groups: int = 0
    loadings: np.ndarray | None = None
    rank: int = 0
    up: np.ndarray | None = None
    down: np.ndarray | None = None

    def beyond(self, limit: float, df: float, sides: int) -> float:
        """The chance that the largest of them (two sides: in size) is beyond the limit."""
        if self.groups and sides == 2:
            return 1.0 if limit <= 0.0 else joint_t.range_beyond(limit, self.groups, df)
        if self.loadings is not None:
            return 1.0 if sides == 2 and limit <= 0.0 else joint_t.product_beyond(limit, self.loadings, df, sides=sides)
        up, down = self.up, self.down
        if sides == 2:
            return float(np.mean(special.fdtrc(self.rank, df, (limit / np.maximum(up, down)) ** 2 / self.rank)))
        return float(0.5 * (np.mean(self._one_way(limit, up, df)) + np.mean(self._one_way(limit, down, df))))

    def _one_way(self, limit: float, reach: np.ndarray, df: float) -> np.ndarray:
        """The chance along each direction that the largest value is beyond the limit."""
        # Along a direction that lowers all of them the largest is below nought: it gets there from nought downwards.
        wide = (limit / np.where(np.abs(reach) < 1e-300, 1e-300, reach)) ** 2 / self.rank
        if limit > 0.0:
            return np.where(reach > 0.0, special.fdtrc(self.rank, df, wide), 0.0)
        return np.where(reach < 0.0, special.fdtr(self.rank, df, wide), 1.0)


def joint_two_sided(limit: float, correlation: np.ndarray, df: float) -> float:
    """The chance that every one of several t values stays within plus and minus ``limit`` when nothing is
    there.

    Parameters
    ----------
    limit : float
        Above 0.
    correlation : ndarray, shape (comparisons, comparisons)
        Correlations of the estimates; may be singular (one comparison the sum of two others).
    df : float
        Error degrees of freedom they share, 1 or more.

    Returns
    -------
    float
        Between 0 and 1. Right to 1e-8 for comparisons with one baseline, for all pairs of equally well known means
        (in the order of ``pairs_of``) and wherever the correlations have rank 2; else to 1e-4 or better.

    Notes
    -----
    Exact forms: ``numeric.joint_t``. Otherwise the t values are A u / s, with u standard normal in r dimensions (the
    rank of the correlations). The squared length of u over r s^2 is F on (r, df) and independent of its direction d,
    so the chance is the mean over directions of P(F <= limit^2 / (r max_k (a_k d)^2)). (Multivariate t: Dunnett and
    Sobel 1954; the polar form is textbook.) In a plane the mean is taken over evenly spaced directions, beyond it
    over fixed Sobol points.

    Checked against: k10-dunnett-1955 (R multcomp, mvtnorm), k10-tukey-warpbreaks, studentized range of scipy,
    tests/unit/model/test_families.py.
    """
    return 1.0 - _law(correlation).beyond(limit, df, 2)


def joint_critical(correlation: np.ndarray, df: float, alpha: float, *, sides: int = 2) -> float:
    """The half-width, in standard errors, at which all intervals together hold with confidence 1 - alpha.

    Parameters
    ----------
    correlation : ndarray, shape (comparisons, comparisons)
    df : float
        Error degrees of freedom, 1 or more.
    alpha : float
        Between 0 and 0.5.
    sides : int
        2: limits on both sides; 1: a limit on one side of each.

    Returns
    -------
    float
        The critical value of the largest absolute t, or of the largest t.

    Notes
    -----
    Checked against: k10-dunnett-1955, k10-tukey-warpbreaks, Dunnett's tables, tests/unit/model/test_families.py.
    """
    law = _law(correlation)
    # One interval alone is a lower bound, Bonferroni's an upper one.
    shared = alpha if sides == 2 else 2.0 * alpha
    low, high = float(critical_t(df, alpha=shared)), float(critical_t(df, alpha=shared / len(correlation)))
    return low if law.rank == 1 and sides == 2 else _root(law, df, alpha, sides, low, high)


def range_critical(groups: int, df: float, alpha: float) -> float:
    """The half-width, in standard errors, at which the intervals of all pairs of means hold together.

    Parameters
    ----------
    groups : int
        Number of means, 2 or more.
    df : float
        Error degrees of freedom, 1 or more.
    alpha : float
        Between 0 and 0.5.

    Returns
    -------
    float
        The quantile of the studentised range over the root of 2: exact where the means are equally well known, on
        the safe side elsewhere.

    Notes
    -----
    Checked against: k10-tukey-warpbreaks and k10-tukey-kramer-chickwts (R 4.2.2 TukeyHSD).
    """
    pairs = groups * (groups - 1) // 2
    low, high = float(critical_t(df, alpha=alpha)), float(critical_t(df, alpha=alpha / pairs))
    return _root(_Law(groups=groups), df, alpha, 2, low, high)


def joint_p(t_values: Sequence[float], correlation: np.ndarray, df: float, *, sides: int = 2) -> list[float]:
    """p values that count the whole family: the chance of a largest absolute t at least as large as each.

    Parameters
    ----------
    t_values : sequence of float
    correlation : ndarray, shape (comparisons, comparisons)
    df : float
        1 or more.
    sides : int
        2: the size of t counts; 1: large values of t count.

    Returns
    -------
    list of float
        One p value a comparison, between 0 and 1.

    Notes
    -----
    Checked against: k10-dunnett-1955 (both, and one side), k10-tukey-warpbreaks.
    """
    law = _law(correlation)
    # The upper tail by itself: one less the chance within would lose a small p to rounding.
    return [law.beyond(abs(t) if sides == 2 else float(t), df, sides) for t in t_values]


def range_p(t_values: Sequence[float], groups: int, df: float) -> list[float]:
    """p values of all pairs of means by the studentised range.

    Parameters
    ----------
    t_values : sequence of float
        One a pair.
    groups : int
        Number of means, 2 or more.
    df : float
        1 or more.

    Returns
    -------
    list of float
        Exact where the means are equally well known, on the safe side elsewhere.

    Notes
    -----
    Checked against: k10-tukey-warpbreaks and k10-tukey-kramer-chickwts (R 4.2.2 TukeyHSD).
    """
    return [_Law(groups=groups).beyond(abs(t), df, 2) for t in t_values]


def pairs_of(groups: int) -> list[tuple[int, int]]:
    """All pairs of several means in a fixed order, each as (later, earlier): (1, 0), (2, 0), (2, 1) of three.

    Parameters
    ----------
    groups : int

    Returns
    -------
    list of tuple of int

    Notes
    -----
    Checked against: the order written out, tests/unit/model/test_families.py.
    """
    return sorted(((later, earlier) for earlier, later in combinations(range(groups), 2)))


def holm(p_values: Sequence[float]) -> list[float]:
    """p values adjusted by Holm's steps: the smallest times their number, the next times one less, never
    falling.

    Parameters
    ----------
    p_values : sequence of float
        Between 0 and 1.

    Returns
    -------
    list of float
        In the order given, at most 1.

    Notes
    -----
    S. Holm, Scandinavian Journal of Statistics 6 (1979) 65-70.

    Checked against: R's p.adjust on InsectSprays (k10-bonferroni-holm-insectsprays),
    tests/unit/model/test_families.py.
    """
    order = np.argsort(p_values, kind="stable")
    adjusted, largest = [0.0] * len(order), 0.0
    for place, at in enumerate(order):
        largest = max(largest, min(1.0, (len(order) - place) * float(p_values[at])))
        adjusted[int(at)] = largest
    return adjusted


def _root(law: _Law, df: float, alpha: float, sides: int, low: float, high: float) -> float:
    """The limit beyond which the law has the share alpha, between two bounds."""
    from scipy.optimize import brentq

    return float(brentq(lambda limit: law.beyond(limit, df, sides) - alpha, 0.999 * low, 1.001 * high, xtol=1e-10))


def _law(correlation: np.ndarray) -> _Law:
    """The integral that holds for these correlations."""
    given = np.asarray(correlation, dtype=float)
    values, vectors = np.linalg.eigh(given)
    kept = values > 1e-10 * values.max()
    rank = int(kept.sum())
    if rank > 2:
        groups = rank + 1
        if len(given) == groups * (groups - 1) // 2 and np.allclose(given, _of_pairs(groups), atol=1e-9):
            up, down = _reach(vectors[:, kept] * np.sqrt(values[kept]), rank)
            return _Law(groups=groups, rank=rank, up=up, down=down)
        loadings = joint_t.loadings_of(given)
        if loadings is not None:
            return _Law(loadings=loadings, rank=rank)
    up, down = _reach(vectors[:, kept] * np.sqrt(values[kept]), rank)
    return _Law(rank=rank, up=up, down=down)


def _of_pairs(groups: int) -> np.ndarray:
    """Correlations of all pairwise differences of equally well known means, in the order of ``pairs_of``."""
    one = np.eye(groups)
    rows = np.array([one[later] - one[earlier] for later, earlier in pairs_of(groups)])
    return rows @ rows.T / 2.0


def _reach(roots: np.ndarray, rank: int) -> tuple[np.ndarray, np.ndarray]:
    """For each direction the largest reach of any comparison along it, and against it."""
    along = roots @ _directions(rank)
    return along.max(axis=0), (-along).max(axis=0)


def _directions(rank: int) -> np.ndarray:
    """Directions spread evenly over the sphere of that dimension, shape (rank, directions); always the
    same."""
    if rank == 1:
        return np.ones((1, 1))
    if rank == 2:
        angle = (np.arange(_PLANE) + 0.5) * np.pi / _PLANE
        return np.vstack([np.cos(angle), np.sin(angle)])
    from scipy.stats import qmc

    uniform = qmc.Sobol(rank, scramble=True, rng=np.random.default_rng(_SEED)).random_base2(_POINTS_LOG2)
    normal = special.ndtri(np.clip(uniform, 1e-12, 1.0 - 1e-12)).T
    return normal / np.sqrt((normal**2).sum(axis=0))
