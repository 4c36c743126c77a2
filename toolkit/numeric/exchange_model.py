"""What a search for an optimal design chooses from: axes with their levels, the terms of the model, what is allowed.

May import numpy and the error classes. Levels are numbers from 0 up on each axis; a run is one level of each.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import Fault, ModelError, raise_all

Floats = NDArray[np.float64]
Levels = NDArray[np.int64]
# An axis stands once for its slope or its categories, twice for its square.
Term = tuple[int, ...]
# Of so many combinations a table is kept; of more, one axis of a run is changed at a time.
MOST_LISTED = 1500


@dataclass(frozen=True, eq=False)
class Axis:
    """One factor of a search.

    Attributes
    ----------
    columns : ndarray, shape (levels, columns)
        What stands in the model for each level: one column of numbers, or one contrast less than there are categories.
    numeric : bool
        True where the levels are numbers, so that the axis has a slope and may have a square.
    """

    columns: Floats
    numeric: bool

    @property
    def count(self) -> int:
        """How many levels there are."""
        return len(self.columns)


def numbers(values: ArrayLike) -> Axis:
    """Give back an axis of numbers, usually in coded units from -1 to 1.

    Parameters
    ----------
    values : array_like, shape (levels,)
        Two levels at least; a grid such as ``numpy.linspace(-1, 1, 21)`` stands for a continuous factor.

    Returns
    -------
    Axis

    Notes
    -----
    Checked against: tests/unit/numeric/test_exchange_model.py.
    """
    return Axis(np.asarray(values, dtype=float)[:, None], True)


def categories(count: int) -> Axis:
    """Give back an axis of categories: orthogonal contrasts whose mean square over the levels is 1.

    Parameters
    ----------
    count : int
        How many categories, two at least.

    Returns
    -------
    Axis
        Of two levels one column of -1 and 1. Any other orthogonal contrasts are these turned, so that neither
        determinants nor traces change when levels are renamed.

    Notes
    -----
    Helmert contrasts (textbook), scaled.

    Checked against: tests/unit/numeric/test_exchange_model.py.
    """
    made = np.zeros((count, count - 1))
    for at in range(1, count):
        made[:at, at - 1] = -1.0
        made[at, at - 1] = at
    return Axis(made / np.sqrt((made**2).mean(axis=0)), False)


@dataclass(frozen=True, eq=False)
class Space:
    """The runs that a search may choose, and the model they are to tell.

    Attributes
    ----------
    axes : tuple of Axis
    terms : tuple of Term
        Numbers of axes: (0,) a main effect, (0, 1) an interaction, (0, 0) a square. The mean is always in the model.
    allowed : callable, optional
        Levels, shape (runs, axes), to a mask of those that may be run; None: all.
    """

    axes: tuple[Axis, ...]
    terms: tuple[Term, ...]
    allowed: Callable[[Levels], NDArray[np.bool_]] | None = None
    _sizes: tuple[int, ...] = field(init=False, default=())

    def __post_init__(self) -> None:
        """Refuse terms of axes that are not there, and squares of categories."""
        object.__setattr__(self, "_sizes", tuple(axis.count for axis in self.axes))
        faults = [] if self.axes else [Fault("axes", "none was given", "one axis at least")]
        for term in self.terms:
            if not term or any(not 0 <= at < len(self.axes) for at in term):
                faults.append(Fault("terms", f"{term} was given", f"numbers of axes from 0 to {len(self.axes) - 1}"))
            elif len(set(term)) < len(term) and (len(term) > 2 or not self.axes[term[0]].numeric):
                faults.append(Fault("terms", f"{term} was given", "squares of numeric axes only"))
        raise_all(ModelError, "The model of the search cannot be.", faults)

    @property
    def parameters(self) -> int:
        """How many columns the model has, the mean among them."""
        return 1 + sum(self._width(term) for term in self.terms)

    @property
    def combinations(self) -> int:
        """How many combinations of levels there are, allowed or not."""
        return int(np.prod([float(count) for count in self._sizes]))

    def rows(self, levels: ArrayLike) -> Floats:
        """Give back the model's rows for runs: the mean first, then the terms in order.

        Parameters
        ----------
        levels : array_like of int, shape (runs, axes)

        Returns
        -------
        ndarray, shape (runs, parameters)

        Notes
        -----
        Checked against: columns written out by hand, tests/unit/numeric/test_exchange_model.py.
        """
        given = np.asarray(levels, dtype=np.int64)
        own = [axis.columns[given[:, at]] for at, axis in enumerate(self.axes)]
        blocks = [np.ones((len(given), 1))]
        for term in self.terms:
            block = own[term[0]]
            for at in term[1:]:
                block = (block[:, :, None] * own[at][:, None, :]).reshape(len(given), -1)
            blocks.append(block)
        return np.hstack(blocks)

    def may(self, levels: Levels) -> NDArray[np.bool_]:
        """Give back a mask of the runs that are allowed, shape (runs,)."""
        if self.allowed is None:
            return np.ones(len(levels), dtype=bool)
        return np.asarray(self.allowed(levels), dtype=bool)

    def listed(self) -> Levels | None:
        """Give back every allowed combination, the last axis changing fastest; None where they are too many to list.

        Returns
        -------
        ndarray of int, shape (allowed, axes), or None
        """
        if self.combinations > MOST_LISTED:
            return None
        every = np.array(list(product(*(range(count) for count in self._sizes))), dtype=np.int64)
        return every[self.may(every)]

    def drawn(self, count: int, draw: np.random.Generator, *, tries: int = 200) -> Levels:
        """Give back allowed runs drawn at random, fewer where they are too rare to be found.

        Parameters
        ----------
        count : int
        draw : Generator
        tries : int
            How often so many runs are drawn before the search for allowed ones is given up.

        Returns
        -------
        ndarray of int, shape (up to count, axes)
        """
        found = np.zeros((0, len(self.axes)), dtype=np.int64)
        for _ in range(tries):
            given = draw.integers(0, self._sizes, size=(max(count, 64), len(self.axes)))
            found = np.vstack([found, given[self.may(given)]])
            if len(found) >= count:
                break
        return found[:count]

    def neighbours(self, run: Levels, free: Sequence[int]) -> Levels:
        """Give back the allowed runs that differ from a run on one axis of those that are free."""
        made = []
        for at in free:
            others = np.arange(self._sizes[at])
            block = np.repeat(run[None, :], len(others) - 1, axis=0)
            block[:, at] = others[others != run[at]]
            made.append(block)
        every = np.vstack(made) if made else np.zeros((0, len(self.axes)), dtype=np.int64)
        return every[self.may(every)]

    def settings(self, axes: Sequence[int]) -> Levels:
        """Give back every combination of levels of some axes, shape (combinations, axes named)."""
        return np.array(list(product(*(range(self._sizes[at]) for at in axes))), dtype=np.int64)

    def _width(self, term: Term) -> int:
        """How many columns a term has."""
        return int(np.prod([self.axes[at].columns.shape[1] for at in term]))


def main_effects(axes: int) -> tuple[Term, ...]:
    """Give back the terms of the model of main effects."""
    return tuple((at,) for at in range(axes))


def interactions(axes: int) -> tuple[Term, ...]:
    """Give back the terms of main effects and every interaction of two."""
    pairs = [(one, other) for one in range(axes) for other in range(one + 1, axes)]
    return (*main_effects(axes), *pairs)


def quadratic(axes: Sequence[Axis]) -> tuple[Term, ...]:
    """Give back main effects, every interaction of two, and the squares of numeric axes of three levels or more."""
    squares = [(at, at) for at, axis in enumerate(axes) if axis.numeric and axis.count > 2]
    return (*interactions(len(axes)), *squares)
