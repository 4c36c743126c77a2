"""Which effects of two-level runs cannot be told from each other.

May import numpy and the error classes. Works on any runs at two levels: a full factorial has one effect a chain, a
regular fraction several, and anything else is found out as not regular.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards

# 2^15 effects are gone through in well under a second.
MOST_FACTORS = 15
_DIGITS = 12

Effect = tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Chain:
    """Effects that share one column up to sign.

    Attributes
    ----------
    effects : tuple of tuple of int
        Numbers of the factors of each effect; those with fewest factors first.
    signs : tuple of int
        1 or -1 against the first effect; the column is that of the first.
    column : ndarray of float, shape (runs,)
        -1 and 1.
    """

    effects: tuple[Effect, ...]
    signs: tuple[int, ...]
    column: NDArray[np.float64]


def chains(levels: ArrayLike) -> tuple[list[Chain], Chain]:
    """Give back the alias chains of two-level runs, and the words that are constant over all of them.

    Parameters
    ----------
    levels : array_like, shape (runs, factors)
        -1 and 1.

    Returns
    -------
    chains : list of Chain
        In the order of their first effect: main effects, then interactions by their order.
    constant : Chain
        The effects that are the same in every run (defining words of a fraction); none in a full factorial.

    Raises
    ------
    ModelError
        When the levels are not -1 and 1, or there are more than 15 factors.

    Notes
    -----
    Products of columns compared run by run (textbook). Whether two chains are orthogonal is for the caller to see.

    Checked against: the 2^(7-4) of Box, Hunter and Hunter (k05-bike-2-7-4-foldover), a half fraction by hand, full
    factorials; tests/unit/numeric/test_aliases.py.
    """
    given = np.asarray(levels, dtype=float)
    faults = guards.finite("levels", given)
    if given.ndim != 2 or not given.size:
        faults.append(Fault("levels", f"an array of shape {given.shape} was given", "runs by factors"))
    elif not faults and not np.all(np.abs(given) == 1.0):
        faults.append(Fault("levels", "a number other than -1 and 1 was given", "-1 or 1"))
    elif given.shape[1] > MOST_FACTORS:
        faults.append(Fault("factors", f"{given.shape[1]} were given", f"{MOST_FACTORS} at most"))
    raise_all(ModelError, "The aliases cannot be told.", faults)
    found: dict[bytes, list[tuple[Effect, int]]] = {}
    columns: dict[bytes, NDArray[np.float64]] = {}
    for size in range(1, given.shape[1] + 1):
        for effect in combinations(range(given.shape[1]), size):
            column = given[:, effect].prod(axis=1)
            # The sign in the first run is taken off, so that a column and its opposite meet.
            key = (column * column[0]).astype(np.int8).tobytes()
            columns.setdefault(key, column)
            found.setdefault(key, []).append((effect, int(column[0] * columns[key][0])))
    alike = np.ones(len(given), dtype=np.int8).tobytes()
    constant = found.pop(alike, [])
    made = [
        Chain(tuple(effect for effect, _ in members), tuple(sign for _, sign in members), columns[key])
        for key, members in found.items()
    ]
    signs = tuple(int(given[0, effect].prod()) for effect, _ in constant)
    return made, Chain(tuple(effect for effect, _ in constant), signs, np.ones(len(given)))


def shares(model: ArrayLike, others: ArrayLike) -> NDArray[np.float64]:
    """Give back how much of each column left out every estimate of a model takes in.

    Parameters
    ----------
    model : array_like, shape (runs, parameters)
        The columns that are fitted (usually with the constant); none may be a sum of others.
    others : array_like, shape (runs, left out)
        Columns that are not, such as interactions.

    Returns
    -------
    ndarray, shape (parameters, left out)
        1 or -1: wholly aliased; 0: not at all; anything else: in part. Rounding is taken off.

    Raises
    ------
    ModelError
        When the model cannot be estimated, or the arrays do not fit each other.

    Notes
    -----
    The alias matrix (X'X)^-1 X'Z (G. E. P. Box and K. B. Wilson, J. R. Stat. Soc. B 13 (1951) 1-45).

    Checked against: k05-plackett-burman-12 (1/3 throughout), chains of regular fractions,
    tests/unit/numeric/test_aliases.py.
    """
    fitted, left = np.asarray(model, dtype=float), np.asarray(others, dtype=float)
    faults = guards.finite("model", fitted) + guards.finite("others", left)
    if fitted.ndim != 2 or left.ndim != 2 or len(fitted) != len(left):
        found_shapes = f"arrays of shape {fitted.shape} and {left.shape} were given"
        faults.append(Fault("others", found_shapes, "a row a run in both"))
    elif not faults and np.linalg.matrix_rank(fitted) < fitted.shape[1]:
        faults.append(Fault("model", "a column that is a sum of others", "columns that can all be estimated"))
    raise_all(ModelError, "The aliases cannot be told.", faults)
    found = np.linalg.lstsq(fitted, left, rcond=None)[0]
    return np.round(found, _DIGITS) + 0.0
