"""All two-level fractions of a size, each kind once: sets of points of a binary projective geometry.

May import numpy and the error classes. A regular fraction in 2^m runs gives each factor a different one of the
2^m - 1 columns of the full factorial of m basic columns. Which column is a number from 1 up whose binary digits say
which basic columns are multiplied (5 is the first times the third). Two fractions are of one kind when one becomes
the other by renaming factors and choosing other basic columns.
"""

from __future__ import annotations

from functools import lru_cache
from math import comb

import numpy as np
from numpy.typing import NDArray

from toolkit.errors import Fault, ModelError, raise_all

Columns = tuple[int, ...]

# Basic columns of 4, 8, 16, 32 and 64 runs.
BASICS = {4: 2, 8: 3, 16: 4, 32: 5, 64: 6}
MOST_FACTORS = 15
# Up to 32 runs every kind is gone through; in 64 runs those without words of three letters.
PROVED = 32
_ROUNDS = 2
# Sums of 63 colours of 46 bits are exact in floating point.
_SHIFT = np.uint64(18)


@lru_cache(maxsize=8)
def classes(runs: int, *, factors: int) -> tuple[Columns, ...]:
    """Give back one fraction of every kind with so many runs and factors, those of least aberration first.

    Parameters
    ----------
    runs : int
        4, 8, 16, 32 or 64.
    factors : int
        From 1 to 15, and below ``runs``.

    Returns
    -------
    tuple of tuple of int
        The column of each factor. Fractions that would run a smaller one several times over are left out. In 64 runs
        only those without words of three letters are told.

    Raises
    ------
    ModelError
        When runs or factors are out of range.

    Notes
    -----
    Grown point by point; of sets that are alike up to an invariant (colours of points and hyperplanes, refined twice)
    one is kept. An invariant never parts what is alike; that it never joins what is not is checked by counting:
    the number of kinds is the number of orbits by Burnside's lemma for every size up to 32 runs. For 64 runs it is
    not checked, so nothing is called proved there.

    Checked against: orbits of GL(m, 2), m = 2 to 5, by Burnside's lemma, and the totals 20, 92 and 2744 of M. A.
    Harrison (J. SIAM 12 (1964) 285-299, from memory); tests/unit/numeric/test_fraction_classes.py.
    """
    faults = []
    if runs not in BASICS:
        faults.append(Fault("runs", f"{runs} were given", "4, 8, 16, 32 or 64"))
    elif not BASICS[runs] <= factors < runs:
        faults.append(Fault("factors", f"{factors} were given", f"{BASICS[runs]} to {min(runs - 1, MOST_FACTORS)}"))
    elif factors > MOST_FACTORS:
        faults.append(Fault("factors", f"{factors} were given", f"{MOST_FACTORS} at most"))
    raise_all(ModelError, "The fractions cannot be listed.", faults)
    held = _grown(BASICS[runs], factors)
    patterns = word_lengths_of(held)
    full = np.array([_rank_of(np.flatnonzero(row) + 1) == BASICS[runs] for row in held], dtype=bool)
    order = [at for at in np.lexsort(patterns[:, ::-1].T) if full[at]]
    return tuple(tuple(int(point) + 1 for point in np.flatnonzero(held[at])) for at in order)


def word_lengths_of(held: NDArray[np.float64]) -> NDArray[np.int64]:
    """Give back the word-length patterns of sets of columns, without writing down a single word.

    Parameters
    ----------
    held : ndarray, shape (sets, 2^m - 1)
        1 where a column is in the set; every set of one size.

    Returns
    -------
    ndarray of int, shape (sets, factors)
        Number of defining words of length 1, 2, ..., factors.

    Notes
    -----
    MacWilliams' identity: from the weights of the 2^m sums of columns through the Krawtchouk polynomials (F. J.
    MacWilliams, Bell System Technical Journal 42 (1963) 79-94).

    Checked against: words counted one by one, tests/unit/numeric/test_fraction_classes.py.
    """
    points = held.shape[1]
    factors = int(held[0].sum())
    weights = (held @ _odd(points).T).astype(np.int64)
    counts = np.zeros((len(held), factors + 1), dtype=np.int64)
    for weight in range(factors + 1):
        counts[:, weight] = (weights == weight).sum(axis=1)
    counts[:, 0] += 1
    krawtchouk = np.array(
        [
            [
                sum((-1) ** part * comb(weight, part) * comb(factors - weight, size - part) for part in range(size + 1))
                for size in range(1, factors + 1)
            ]
            for weight in range(factors + 1)
        ],
        dtype=np.int64,
    )
    return (counts @ krawtchouk) // (points + 1)


def _grown(basics: int, factors: int) -> NDArray[np.float64]:
    """Sets of ``factors`` points, one of each kind, of any rank: shape (kinds, points)."""
    if factors == 1:
        first = np.zeros((1, 2**basics - 1))
        first[0, 0] = 1.0
        return first
    return _grown_once(basics, factors)


@lru_cache(maxsize=64)
def _grown_once(basics: int, factors: int) -> NDArray[np.float64]:
    """One step: every set with a point more, then one of each kind."""
    smaller = _grown(basics, factors - 1)
    which, point = np.nonzero(smaller == 0.0)
    if 2**basics > PROVED:
        free = _no_short_word(smaller)[which, point]
        which, point = which[free], point[free]
    larger = smaller[which]
    larger[np.arange(len(which)), point] = 1.0
    _, first = np.unique(_invariant(larger), return_index=True)
    found = larger[np.sort(first)]
    found.flags.writeable = False
    return found


def _no_short_word(held: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which points can be added without a word of three letters: shape (sets, points)."""
    free = np.ones(held.shape, dtype=bool)
    for at, row in enumerate(held):
        points = np.flatnonzero(row) + 1
        free[at, np.bitwise_xor.outer(points, points)[np.triu_indices(len(points), 1)] - 1] = False
    return free


def _invariant(held: NDArray[np.float64]) -> NDArray[np.float64]:
    """A number that is the same for sets of one kind: shape (sets,)."""
    odd = _odd(held.shape[1])
    planes = _mixed((held @ odd.T).astype(np.uint64))
    places = held
    for turn in range(_ROUNDS):
        places = _mixed(
            (held.astype(np.uint64) << np.uint64(55)) + (planes @ odd).astype(np.uint64) + np.uint64(turn)
        )
        planes = _mixed(planes.astype(np.uint64) * np.uint64(5) + (places @ odd.T).astype(np.uint64))
    return _mixed(planes.astype(np.uint64)).sum(axis=1) + _mixed(places.astype(np.uint64)).sum(axis=1)


def _mixed(values: NDArray[np.uint64]) -> NDArray[np.float64]:
    """Whole numbers scattered over 46 bits (splitmix64: G. L. Steele and others, OOPSLA 2014)."""
    state = values + np.uint64(0x9E3779B97F4A7C15)
    state = (state ^ (state >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    state = (state ^ (state >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return ((state ^ (state >> np.uint64(31))) >> _SHIFT).astype(np.float64)


@lru_cache(maxsize=8)
def _odd(points: int) -> NDArray[np.float64]:
    """1 where a sum of basic columns and a column have an odd number of digits in common: (points, points)."""
    numbers = np.arange(1, points + 1)
    both = numbers[:, None] & numbers[None, :]
    return np.array([[value.bit_count() & 1 for value in row] for row in both.tolist()], dtype=float)


def _rank_of(points: NDArray[np.int64]) -> int:
    """How many basic columns a set of columns spans."""
    basis: list[int] = []
    for value in points.tolist():
        left = value
        for one in basis:
            left = min(left, left ^ one)
        if left:
            basis.append(left)
    return len(basis)
