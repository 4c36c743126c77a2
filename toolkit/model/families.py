"""Comparisons judged together: the joint level of several intervals, and p values that count their number.

Only where every comparison of the family is judged in one stratum, so that all share one error mean square.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import special

from toolkit.brief.model import Brief
from toolkit.design import questions
from toolkit.design.strata import Strata
from toolkit.errors import Fault
from toolkit.numeric.noncentral import critical_t

# Directions over which the joint law is averaged: in a plane evenly spaced, beyond it scrambled Sobol points.
_PLANE = 20_000
_POINTS_LOG2 = 16
_SEED = 20_417


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
        Error degrees of freedom they share, above 0.

    Returns
    -------
    float
        Between 0 and 1; right to 1e-4 or better.

    Notes
    -----
    The t values are A u / s, with u standard normal in r dimensions (the rank of the correlations). The
    squared length of u over r s^2 is F on (r, df) and independent of its direction d, so the chance is the
    mean over directions of P(F <= limit^2 / (r max_k (a_k d)^2)). (Multivariate t: Dunnett and Sobel 1954;
    the polar form is textbook.) In a plane the mean is taken over evenly spaced directions, beyond it over
    fixed Sobol points.

    Checked against: k10-dunnett-1955 (R multcomp, mvtnorm), studentized range of scipy for all pairs of equal
    groups, tests/unit/model/test_families.py.
    """
    return _within(limit, *_spread(correlation), df)


def joint_critical(correlation: np.ndarray, df: float, alpha: float) -> float:
    """The half-width, in standard errors, at which all intervals together hold with confidence 1 - alpha.

    Parameters
    ----------
    correlation : ndarray, shape (comparisons, comparisons)
    df : float
        Error degrees of freedom, 1 or more.
    alpha : float
        Between 0 and 1.

    Returns
    -------
    float
        The critical value of the largest absolute t.
    """
    from scipy.optimize import brentq

    reach, rank = _spread(correlation)
    # One interval alone is a lower bound, Bonferroni's an upper one.
    low = float(critical_t(df, alpha=alpha))
    high = float(critical_t(df, alpha=alpha / len(correlation)))
    if rank == 1:
        return low
    return float(brentq(lambda limit: _within(limit, reach, rank, df) - (1.0 - alpha), 0.999 * low, 1.001 * high,
                        xtol=1e-9))


def joint_p(t_values: Sequence[float], correlation: np.ndarray, df: float) -> list[float]:
    """p values that count the whole family: the chance of a largest absolute t at least as large as each.

    Parameters
    ----------
    t_values : sequence of float
    correlation : ndarray, shape (comparisons, comparisons)
    df : float

    Returns
    -------
    list of float
        One p value a comparison, between 0 and 1.
    """
    reach, rank = _spread(correlation)
    # The upper tail by itself: one less the chance within would lose a small p to rounding.
    return [float(np.mean(special.fdtrc(rank, df, (abs(t) / reach) ** 2 / rank))) for t in t_values]


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


def refusals(brief: Brief, strata: Strata) -> list[Fault]:
    """What is wrong with the families for these strata: a joint interval asked for across strata.

    Parameters
    ----------
    brief : Brief
    strata : Strata
        As planned or as run.

    Returns
    -------
    list of Fault
        Empty when every family can be judged as it asks.
    """
    faults = []
    for family in brief.families:
        if family.adjust != "multivariate_t":
            continue
        seen: dict[str, list[str]] = {}
        for comparison in brief.comparisons:
            if comparison.family == family.name:
                row = questions.of_comparison(brief, comparison, strata.terms).row
                parts = strata.parts(row)
                if parts:
                    seen.setdefault(" and ".join(part.stratum for part in parts), []).append(comparison.name)
        if len(seen) > 1 or any(" and " in where for where in seen):
            found = "; ".join(f"{', '.join(names)}: {where}" for where, names in seen.items())
            faults.append(
                Fault(
                    f"family '{family.name}', adjust = multivariate_t",
                    f"its comparisons are judged in different strata ({found})",
                    "comparisons of one stratum, which share one error mean square",
                    'Write adjust = "holm", which needs no common error, or make one family a stratum.',
                )
            )
    return faults


def _spread(correlation: np.ndarray) -> tuple[np.ndarray, int]:
    """For each direction the largest reach of any comparison along it, and the rank of the correlations."""
    values, vectors = np.linalg.eigh(np.asarray(correlation, dtype=float))
    kept = values > 1e-10 * values.max()
    roots = vectors[:, kept] * np.sqrt(values[kept])
    rank = int(kept.sum())
    return np.abs(roots @ _directions(rank)).max(axis=0), rank


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


def _within(limit: float, reach: np.ndarray, rank: int, df: float) -> float:
    """The chance that no comparison passes the limit."""
    return float(np.mean(special.fdtr(rank, df, (limit / reach) ** 2 / rank)))
