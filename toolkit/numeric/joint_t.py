"""Several t values that share one error, taken together: where the law is exact by quadrature.

May import numpy, scipy.special and the error classes. Two shapes have a closed integral: all pairs of equally well
known means (the studentised range), and comparisons whose correlations are products (each mean against one
baseline). Everything else is left to the caller.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards

Floats = NDArray[np.float64]

_NODES = 240
# A standard normal beyond 14 and a scatter with a tail below 1e-80 add nothing even to very small p values.
_REACH = 14.0
_TAIL = 1e-80


def range_beyond(limit: float, groups: int, df: float) -> float:
    """Give back the chance that the largest of all differences of equally well known means is beyond a limit.

    Parameters
    ----------
    limit : float
        In standard errors of a difference (the studentised range over the root of 2), above 0.
    groups : int
        Number of means, 2 or more.
    df : float
        Error degrees of freedom, 1 or more.

    Returns
    -------
    float
        Between 0 and 1, right to 1e-9 (to 1e-7 between 1 and 2 df).

    Raises
    ------
    ModelError
        When an argument is out of range; all faults are told at once.

    Notes
    -----
    The law of the studentised range (J. W. Tukey, The Problem of Multiple Comparisons, 1953; the integral is
    textbook), its upper tail worked out by itself so that small p values keep their digits. Where the means are
    not equally well known the same number is conservative (A. J. Hayter, Annals of Statistics 12 (1984) 61-75).

    Checked against: k10-tukey-warpbreaks and k10-tukey-kramer-chickwts (R 4.2.2 TukeyHSD), studentized_range of
    scipy, tests/unit/numeric/test_joint_t.py.
    """
    faults = [*guards.positive("limit", limit), *_df_faults(df)]
    if groups < 2:
        faults.append(Fault("means", f"{groups} were given", "two or more"))
    raise_all(ModelError, "The law of the range cannot be worked out.", faults)
    place, weight = _normal_rule()
    scatter, density = _scatter_rule(float(df))
    wide = limit * np.sqrt(2.0) * scatter
    below = special.ndtr(place)[None, :]
    share = special.ndtr(place[None, :] - wide[:, None]) / below
    # Phi^(k-1) less (Phi - Phi(z - w))^(k-1), without taking nearly equal numbers from each other.
    lost = below ** (groups - 1) * -np.expm1((groups - 1) * np.log1p(-np.minimum(share, 1.0 - 1e-16)))
    return float(min(1.0, groups * density @ (lost @ weight)))


def product_beyond(limit: float, loadings: ArrayLike, df: float, *, sides: int = 2) -> float:
    """Give back the chance that the largest of several t values is beyond a limit, their correlations being products.

    Parameters
    ----------
    limit : float
        Above 0 where both sides count; any number for one side.
    loadings : array_like, shape (comparisons,)
        Strictly between -1 and 1: the correlation of two comparisons is the product of theirs. For comparisons
        with one baseline in r0 runs and others in r runs: the root of r / (r + r0).
    df : float
        Error degrees of freedom, 1 or more.
    sides : int
        2: the largest size counts; 1: the largest value counts.

    Returns
    -------
    float
        Between 0 and 1, right to 1e-9 (to 1e-7 between 1 and 2 df), for loadings up to 0.99.

    Raises
    ------
    ModelError
        When an argument is out of range; all faults are told at once.

    Notes
    -----
    Given the part that all share and the scatter, the comparisons are independent (C. W. Dunnett and M. Sobel,
    Biometrika 42 (1955) 258-260).

    Checked against: k10-dunnett-1955 (R 4.2.2, multcomp), scipy's multivariate t, tests/unit/numeric/test_joint_t.py.
    """
    given = np.asarray(loadings, dtype=float).ravel()
    faults = [*guards.finite("limit", limit), *_df_faults(df)]
    if sides not in (1, 2):
        faults.append(Fault("sides", f"{sides!r} was given", "1 or 2"))
    elif sides == 2:
        faults += guards.positive("limit", limit)
    if not (len(given) and np.all(np.abs(given) < 1.0)):
        faults.append(Fault("loadings", f"{given.tolist()} was given", "at least one, each between -1 and 1"))
    raise_all(ModelError, "The joint law cannot be worked out.", faults)
    place, weight = _normal_rule()
    scatter, density = _scatter_rule(float(df))
    held = np.zeros((len(scatter), len(place)))
    for loading in given:
        own = np.sqrt(1.0 - loading**2)
        beyond = special.ndtr((loading * place[None, :] - limit * scatter[:, None]) / own)
        if sides == 2:
            beyond += special.ndtr((-loading * place[None, :] - limit * scatter[:, None]) / own)
        held += np.log1p(-np.minimum(beyond, 1.0 - 1e-16))
    return float(min(1.0, density @ (-np.expm1(held) @ weight)))


def loadings_of(correlation: ArrayLike) -> Floats | None:
    """Give back the loadings whose products are the correlations, or None where there are none.

    Parameters
    ----------
    correlation : array_like, shape (comparisons, comparisons)
        Three comparisons or more.

    Returns
    -------
    ndarray, shape (comparisons,), or None

    Notes
    -----
    The square of the first loading is r12 r13 / r23; the others follow (one-factor algebra, textbook). None where a
    correlation is nought or a loading is not between -1 and 1.

    Checked against: correlations multiplied by hand, tests/unit/numeric/test_joint_t.py.
    """
    given = np.asarray(correlation, dtype=float)
    count = len(given)
    if count < 3 or np.any(np.abs(given) < 1e-12):
        return None
    square = given[0, 1] * given[0, 2] / given[1, 2]
    if not 0.0 < square < 1.0:
        return None
    first = np.sqrt(square)
    found = np.concatenate([[first], given[0, 1:] / first])
    apart = np.outer(found, found) - given
    np.fill_diagonal(apart, 0.0)
    return found if np.all(np.abs(found) < 0.9999) and np.all(np.abs(apart) < 1e-9) else None


def _df_faults(df: float) -> list[Fault]:
    """A fault unless the df are a number from 1 on."""
    faults = guards.positive("df", df)
    return faults or ([] if df >= 1.0 else [Fault("df", f"{df:g} was given", "1 or more")])


@lru_cache(maxsize=1)
def _normal_rule() -> tuple[Floats, Floats]:
    """Places of a standard normal and their weights."""
    place, weight = np.polynomial.legendre.leggauss(_NODES)
    at = _REACH * place
    return at, _REACH * weight * np.exp(-0.5 * at**2) / np.sqrt(2.0 * np.pi)


@lru_cache(maxsize=64)
def _scatter_rule(df: float) -> tuple[Floats, Floats]:
    """Places of the estimated over the true scatter and their weights."""
    low = np.sqrt(2.0 * special.gammaincinv(0.5 * df, _TAIL) / df)
    high = np.sqrt(2.0 * special.gammainccinv(0.5 * df, _TAIL) / df)
    place, weight = np.polynomial.legendre.leggauss(_NODES)
    # Evenly in the root: at fractions of a df the density has a corner at nought.
    root = 0.5 * (place + 1.0)
    at = low + (high - low) * root**2
    # Density of the root of chi-square over its df.
    log = np.log(2.0) + 0.5 * df * np.log(0.5 * df) - special.gammaln(0.5 * df) + (df - 1.0) * np.log(at)
    made = (high - low) * root * weight * np.exp(log - 0.5 * df * at**2)
    return at, made / made.sum()
