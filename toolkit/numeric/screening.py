"""Screening plans: Plackett-Burman at two levels, three levels from conference matrices, and the 18-run mixed array.

May import numpy and the error classes. Every array is checked for what it promises each time it is made.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from toolkit.errors import Fault, ModelError, raise_all

Floats = NDArray[np.float64]

# First rows of R. L. Plackett and J. P. Burman, Biometrika 33 (1946) 305-325; the others are shifts of it, and a last
# row of minus signs.
_FIRST_ROWS = {
    12: "++-+++---+-",
    20: "++--++++-+-+----++-",
    24: "+++++-+-++--++--+-+----",
}
PLACKETT_BURMAN = tuple(_FIRST_ROWS)
CONFERENCE = (6, 8, 10, 12)
# Differences of any two columns hold 0, 1 and 2 twice each: a difference scheme of order 6 over 3, found by search.
_DIFFERENCES = (
    (0, 0, 0, 0, 0, 0),
    (0, 0, 1, 1, 2, 2),
    (0, 1, 0, 2, 1, 2),
    (0, 1, 2, 0, 2, 1),
    (0, 2, 1, 2, 0, 1),
    (0, 2, 2, 1, 1, 0),
)


def plackett_burman(factors: int, runs: int) -> Floats:
    """Give back a two-level plan in which every main effect stands apart from every other.

    Parameters
    ----------
    factors : int
        From 2 up to ``runs`` - 1.
    runs : int
        12, 20 or 24.

    Returns
    -------
    ndarray, shape (runs, factors)
        -1 and 1. Of the columns those are taken, one after the other, that mix least with interactions of two
        others (sum of squared aliases).

    Raises
    ------
    ModelError
        When the size is out of range.

    Notes
    -----
    Every two-factor interaction is spread in part over the main effects of the other factors; none is lost whole as
    in a regular fraction.

    Checked against: k05-plackett-burman-12, tests/reference/test_fraction_cases.py; orthogonality and projections,
    tests/unit/numeric/test_screening.py.
    """
    faults = []
    if runs not in _FIRST_ROWS:
        faults.append(Fault("runs", f"{runs} were given", "12, 20 or 24"))
    elif not 2 <= factors < runs:
        faults.append(Fault("factors", f"{factors} in {runs} runs", f"2 to {runs - 1}"))
    raise_all(ModelError, "There is no such screening plan.", faults)
    first = np.array([1.0 if sign == "+" else -1.0 for sign in _FIRST_ROWS[runs]])
    every = np.vstack([*(np.roll(first, shift) for shift in range(runs - 1)), -np.ones(runs - 1)])
    made = every[:, _least_mixed(every, factors)]
    _promise(np.array_equal(made.T @ np.column_stack([np.ones(runs), made])[:, 1:], runs * np.eye(factors)))
    _promise(not made.sum(axis=0).any())
    return made


def conference(order: int) -> Floats:
    """Give back a conference matrix: noughts on the diagonal, -1 and 1 elsewhere, all columns orthogonal.

    Parameters
    ----------
    order : int
        6, 8, 10 or 12.

    Returns
    -------
    ndarray, shape (order, order)
        C with C'C = (order - 1) I.

    Raises
    ------
    ModelError
        When the order is another.

    Notes
    -----
    R. E. A. C. Paley's construction (J. Math. Phys. 12 (1933) 311-320): squares and non-squares of the field of
    order - 1 elements, bordered by ones.

    Checked against: C'C = (order - 1) I on every call and in tests/unit/numeric/test_screening.py.
    """
    if order not in CONFERENCE:
        raise_all(ModelError, "There is no such matrix here.", [Fault("order", f"{order} was given", "6, 8, 10 or 12")])
    size = order - 1
    elements, minus = _field(size)
    squares = {_times(one, one, size) for one in elements if any(one)}
    inner = np.array(
        [[0.0 if a == b else 1.0 if minus(a, b) in squares else -1.0 for b in elements] for a in elements]
    )
    made = np.zeros((order, order))
    made[0, 1:] = 1.0
    # -1 is a square where order - 1 leaves 1 on division by 4: symmetric there, skew otherwise.
    made[1:, 0] = 1.0 if size % 4 == 1 else -1.0
    made[1:, 1:] = inner
    _promise(np.array_equal(made.T @ made, size * np.eye(order)))
    return made


def three_level(factors: int) -> Floats:
    """Give back a three-level screening plan: a conference matrix, its mirror image and a centre run.

    Parameters
    ----------
    factors : int
        From 3 to 12.

    Returns
    -------
    ndarray, shape (runs, factors)
        -1, 0 and 1; 13, 17, 21 or 25 runs. Main effects are free of each other, of every two-factor interaction and
        of every square.

    Raises
    ------
    ModelError
        When the number of factors is out of range.

    Notes
    -----
    L. Xiao, D. K. J. Lin and F. Bai, J. Quality Technology 44 (2012) 2-8 (from memory). Of a larger matrix the first
    columns are taken, which adds runs and degrees of freedom for error.

    Checked against: run counts 13, 17, 21, 25; orthogonality of main effects to second-order columns,
    tests/unit/numeric/test_screening.py.
    """
    if not 3 <= factors <= max(CONFERENCE):
        fault = Fault("factors", f"{factors} were given", f"3 to {max(CONFERENCE)}")
        raise_all(ModelError, "There is no such screening plan.", [fault])
    half = conference(next(order for order in CONFERENCE if order >= factors))[:, :factors]
    made = np.vstack([half, -half, np.zeros((1, factors))])
    squares = made**2
    _promise(not (made.T @ squares).any() and np.count_nonzero(made.T @ made - np.diag(np.diag(made.T @ made))) == 0)
    return made


def eighteen(three: int, *, two: bool = True) -> NDArray[np.int64]:
    """Give back the 18-run array of one factor at two levels and up to seven at three.

    Parameters
    ----------
    three : int
        Factors at three levels, 1 to 7.
    two : bool
        Whether there is a factor at two levels.

    Returns
    -------
    ndarray of int, shape (18, two + three)
        Level numbers from 0 up, the two-level factor first. Every pair of columns holds each combination equally
        often. The interaction of the two-level factor with the first three-level one is free of every main effect.

    Raises
    ------
    ModelError
        When the number of factors is out of range.

    Notes
    -----
    A difference scheme of order 6 developed over three levels; its six rows make a factor of two and one of three
    levels (R. C. Bose and K. A. Bush, Ann. Math. Stat. 23 (1952) 508-524, from memory).

    Checked against: counts of every pair of levels, tests/unit/numeric/test_screening.py.
    """
    if not 1 <= three <= 7:
        fault = Fault("factors at three levels", f"{three} were given", "1 to 7")
        raise_all(ModelError, "There is no such array.", [fault])
    rows = [
        (line % 2, line // 2, *((step + shift) % 3 for step in _DIFFERENCES[line]))
        for line in range(6)
        for shift in range(3)
    ]
    every = np.array(rows, dtype=np.int64)
    made = every[:, [*([0] if two else []), *range(1, three + 1)]]
    for one, other in combinations(range(made.shape[1]), 2):
        counts = np.unique(made[:, [one, other]], axis=0, return_counts=True)[1]
        _promise(len(set(counts.tolist())) == 1)
    return made


def _least_mixed(every: Floats, factors: int) -> list[int]:
    """Columns taken one after the other so that the squared aliases with products of two others stay least."""
    products = {pair: every[:, pair[0]] * every[:, pair[1]] for pair in combinations(range(every.shape[1]), 2)}
    chosen = [0, 1]
    while len(chosen) < factors:
        held = np.array([products[min(a, b), max(a, b)] for a, b in combinations(chosen, 2)])
        mixed = ((held @ every) ** 2).sum(axis=0)
        chosen.append(min((at for at in range(every.shape[1]) if at not in chosen), key=lambda at: (mixed[at], at)))
    return sorted(chosen)


def _field(size: int) -> tuple[list[tuple[int, int]], object]:
    """The elements of the field of 5, 7, 9 or 11 elements, and how one is taken from another."""
    if size == 9:
        elements = [(a, b) for a in range(3) for b in range(3)]
        return elements, lambda one, other: ((one[0] - other[0]) % 3, (one[1] - other[1]) % 3)
    return [(a, 0) for a in range(size)], lambda one, other: ((one[0] - other[0]) % size, 0)


def _times(one: tuple[int, int], other: tuple[int, int], size: int) -> tuple[int, int]:
    """The product of two elements; in the field of nine the second part is a root of -1."""
    if size == 9:
        return ((one[0] * other[0] - one[1] * other[1]) % 3, (one[0] * other[1] + one[1] * other[0]) % 3)
    return (one[0] * other[0] % size, 0)


def _promise(kept: bool) -> None:
    """Stop where an array is not what it is said to be."""
    if not kept:
        raise ModelError("The plan is not orthogonal as promised; this is a fault of the program. Please report it.")
