"""Picking the best of several means: the chance to pick right, what stays possible, how much the winner flatters.

May import numpy, scipy.special and the error classes. All means are equally well known; "best" is the largest, so a
caller for whom less is better turns the sign. Nothing is drawn at random.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from toolkit.errors import Fault, SizingError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric.pilot_doubt import states

Floats = NDArray[np.float64]

_NODES = 240
_REACH = 10.0
# Places of each mean square: alone, with another, with two others.
_DOUBT = {1: 64, 2: 24, 3: 14}
_HEADLINE = "The best of several cannot be judged."


def chance_of_best(gap: ArrayLike, std_error: ArrayLike, means: int) -> Floats:
    """Give back the chance that the truly best of several has the best mean, if it leads each other by the gap.

    Parameters
    ----------
    gap : array_like
        By how much the best leads every other [ln ratio, or unit of the response], 0 or more.
    std_error : array_like
        Standard error of the difference of two means [same unit], above 0, taken as known.
    means : int
        How many are compared, 2 or more.

    Returns
    -------
    ndarray, broadcast shape of the two
        Between 1 / means (no gap) and 1. It is the least chance over all cases in which the best leads by the gap
        or more.

    Raises
    ------
    SizingError
        When an argument is out of range; all faults are told at once.

    Notes
    -----
    The integral of Phi(z + h)^(k - 1) over a standard normal z, with h the gap over the standard error of one mean
    (R. E. Bechhofer, Annals of Mathematical Statistics 25 (1954) 16-39).

    Checked against: the normal law of one difference where there are two means, and means drawn at random;
    tests/unit/numeric/test_best_of.py.
    """
    faults = [*guards.not_negative("gap", gap), *guards.positive("standard error", std_error), *_means_faults(means)]
    raise_all(SizingError, _HEADLINE, faults)
    lead = np.sqrt(2.0) * np.asarray(gap, dtype=float) / np.asarray(std_error, dtype=float)
    return _picked(lead, means)


def chance_in_doubt(
    gap: float, means: int, parts: Sequence[ArrayLike], pilot: Sequence[tuple[float, float]]
) -> Floats:
    """Give back the chance to pick the best, averaged over what the pilot leaves in doubt of the scatter.

    Parameters
    ----------
    gap : float
        As for ``chance_of_best``.
    means : int
    parts : sequence of one to three array_like
        The variance of a difference of two means as multiples of the pilot's mean squares, outermost first; arrays
        over plans.
    pilot : sequence of one to three (mean_square, df)
        As many as ``parts``; df infinite: taken as known.

    Returns
    -------
    ndarray, shape of the entries of ``parts``
        Between 1 / means and 1, never NaN.

    Raises
    ------
    SizingError
        When an argument is out of range; all faults are told at once.

    Notes
    -----
    Averaged over ``numeric.pilot_doubt.states``, 64 places for one mean square, 24 each for two, 14 for three.

    Checked against: pilots and campaigns drawn at random, tests/unit/numeric/test_best_of.py.
    """
    faults = [*guards.not_negative("gap", gap), *_means_faults(means)]
    if len(parts) != len(pilot) or len(pilot) not in _DOUBT:
        faults.append(Fault("mean squares", f"{len(parts)} and {len(pilot)} were given", "one to three of each"))
    raise_all(SizingError, _HEADLINE, faults)
    squares, weight = states(pilot, nodes=_DOUBT[len(pilot)])
    shares = np.broadcast_arrays(*(np.asarray(part, dtype=float) for part in parts))
    variance = sum(share[..., None] * square for share, square in zip(shares, squares, strict=True))
    raise_all(SizingError, _HEADLINE, guards.positive("variance of a difference", variance))
    lead = gap * np.sqrt(2.0 / variance)
    # A lead beyond the table is certain; within it the curve is smooth, and read far faster than the integral is done.
    table, values = _table(means)
    return np.interp(np.minimum(lead, table[-1]), table, values) @ weight


def overstated(lead: ArrayLike, means: int) -> Floats:
    """Give back by how much the winner's mean overstates its own truth on average, in standard errors of one mean.

    Parameters
    ----------
    lead : array_like
        By how much the best truly leads each other, in standard errors of one mean, 0 or more.
    means : int

    Returns
    -------
    ndarray, shape of ``lead``

    Raises
    ------
    SizingError
        When an argument is out of range.

    Notes
    -----
    The mean of the winner's own error: the integral of z Phi(z + h)^(k-1), and k - 1 times that of
    z Phi(z)^(k-2) Phi(z - h), over a standard normal z (order statistics, textbook).

    Checked against: the expected largest of k normals where there is no lead, and means drawn at random;
    tests/unit/numeric/test_best_of.py.
    """
    raise_all(SizingError, _HEADLINE, [*guards.not_negative("lead", lead), *_means_faults(means)])
    place, weight = _normal_rule()
    ahead = np.asarray(lead, dtype=float)[..., None]
    best = special.ndtr(place + ahead) ** (means - 1)
    other = (means - 1) * special.ndtr(place) ** (means - 2) * special.ndtr(place - ahead)
    return (place * (best + other)) @ weight


def _means_faults(means: int) -> list[Fault]:
    """A fault unless two means or more are compared."""
    return [] if means >= 2 else [Fault("means", f"{means} were given", "two or more")]


def _picked(lead: Floats, means: int) -> Floats:
    """The integral of Phi(z + lead)^(means - 1)."""
    place, weight = _normal_rule()
    return special.ndtr(place + lead[..., None]) ** (means - 1) @ weight


@lru_cache(maxsize=1)
def _normal_rule() -> tuple[Floats, Floats]:
    """Places of a standard normal and their weights."""
    place, weight = np.polynomial.legendre.leggauss(_NODES)
    at = _REACH * place
    return at, _REACH * weight * np.exp(-0.5 * at**2) / np.sqrt(2.0 * np.pi)


@lru_cache(maxsize=64)
def _table(means: int) -> tuple[Floats, Floats]:
    """Leads and the chance to pick the best at each, fine enough to be read by straight lines to 1e-6."""
    lead = np.linspace(0.0, 16.0, 6401)
    return lead, np.concatenate([_picked(piece, means) for piece in np.array_split(lead, 64)])
