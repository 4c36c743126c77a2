"""Latin squares: every level once in each row and at each place, drawn at random, or followed equally often.

May import numpy and the error classes. Rows are builds, places the order within them; levels are numbers from 0 up.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from toolkit.errors import Fault, ModelError, raise_all

# Of plans by builds and places; LARGEST of any square, such as one over the positions of an engine.
FEWEST, MOST, LARGEST = 3, 12, 24


def square(levels: int, draw: np.random.Generator, *, each: int = 1) -> NDArray[np.intp]:
    """Give back a Latin square with its rows, places and levels permuted at random.

    Parameters
    ----------
    levels : int
        2 to 24.
    draw : Generator
    each : int
        How often a row holds each level; 1 gives a Latin square.

    Returns
    -------
    ndarray of int, shape (levels, levels * each)
        Row by row the level at each place: every level ``each`` times in a row and once at each place.

    Notes
    -----
    From the cyclic square; every order of rows, places and levels is equally likely, which is what the analysis asks of
    the draw (F. Yates, Empire Journal of Experimental Agriculture 1 (1933) 235-244, from memory).

    Checked against: each level counted in rows and places; the draw against chi-square,
    tests/unit/numeric/test_latin_squares.py.
    """
    raise_all(ModelError, "There is no such square.", _faults(levels, 2, LARGEST))
    cyclic = np.add.outer(np.arange(levels), np.repeat(np.arange(levels), each)) % levels
    shuffled = cyclic[draw.permutation(levels)][:, draw.permutation(levels * each)]
    return draw.permutation(levels)[shuffled]


def followed_equally(levels: int, draw: np.random.Generator) -> NDArray[np.intp]:
    """Give back squares in which every level follows every other one equally often, rows and levels drawn at random.

    Parameters
    ----------
    levels : int
        3 to 12.
    draw : Generator

    Returns
    -------
    ndarray of int, shape (levels or twice as many, levels)
        One square of an even number of levels, two of an odd one: each level then follows every other once, or twice.

    Notes
    -----
    E. J. Williams, Australian Journal of Scientific Research A 2 (1949) 149-168: the row 0, 1, t - 1, 2, t - 2, ...
    moved on cyclically, and of an odd number its mirror image beside. Places are not permuted: that would change what
    follows what.

    Checked against: the rows for four levels as printed in textbooks, from memory; followers counted up to 12 levels,
    tests/unit/numeric/test_latin_squares.py.
    """
    raise_all(ModelError, "There are no such squares.", _faults(levels, FEWEST, MOST))
    first = [0]
    for step in range(1, levels):
        first.append((step + 1) // 2 if step % 2 else levels - step // 2)
    rows = np.add.outer(np.arange(levels), np.array(first)) % levels
    if levels % 2:
        rows = np.vstack([rows, rows[:, ::-1]])
    return draw.permutation(levels)[rows[draw.permutation(len(rows))]]


def followers(rows: Sequence[Sequence[int]]) -> Counter[tuple[int, int]]:
    """Give back how often each level comes right after each other one, within rows.

    Parameters
    ----------
    rows : sequence of sequences of int

    Returns
    -------
    Counter
        (before, after) to the number.

    Notes
    -----
    Checked against: counts by hand, tests/unit/numeric/test_latin_squares.py.
    """
    return Counter((int(one), int(two)) for row in rows for one, two in zip(row, row[1:], strict=False))


def _faults(levels: int, fewest: int, most: int) -> list[Fault]:
    """A number of levels out of range."""
    return [] if fewest <= levels <= most else [Fault("levels", str(levels), f"{fewest} to {most}")]
