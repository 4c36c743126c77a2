"""Every way to put things in a row of which some are alike: how many there are, and all of them.

May import numpy and the error classes.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import factorial, prod

import numpy as np
from numpy.typing import NDArray

from toolkit.errors import Fault, ModelError, raise_all


def number(counts: Sequence[int]) -> int:
    """Give back in how many ways things can stand in a row.

    Parameters
    ----------
    counts : sequence of int
        How many things of each kind there are, 0 or more.

    Returns
    -------
    int
        The multinomial coefficient, exact however large.

    Raises
    ------
    ModelError
        When a count is below 0.

    Notes
    -----
    Checked against: counts by hand, tests/unit/numeric/test_arrangements.py.
    """
    odd = [count for count in counts if count < 0]
    faults = [Fault("counts", f"{odd[0]} was given", "whole numbers from 0 up")] if odd else []
    raise_all(ModelError, "Arrangements cannot be counted.", faults)
    return factorial(sum(counts)) // prod(factorial(count) for count in counts)


def arrangements(counts: Sequence[int]) -> NDArray[np.int_]:
    """Give back every way that things can stand in a row, each once.

    Parameters
    ----------
    counts : sequence of int
        How many things of each kind there are.

    Returns
    -------
    ndarray of int, shape (ways, things)
        The kind at each place, counted from 0, in lexical order.

    Notes
    -----
    Place by place, each row is followed by every kind that is left.

    Checked against: itertools.permutations with the doubles taken out, tests/unit/numeric/test_arrangements.py.
    """
    number(counts)
    made = np.zeros((1, 0), dtype=np.int16)
    left = np.array([list(counts)], dtype=np.int16).reshape(1, len(counts))
    for _ in range(sum(counts)):
        row, kind = np.nonzero(left > 0)
        made = np.hstack([made[row], kind[:, None].astype(np.int16)])
        left = left[row]
        left[np.arange(len(row)), kind] -= 1
    return made.astype(np.intp)
