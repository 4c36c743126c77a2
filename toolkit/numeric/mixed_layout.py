"""What a linear mixed model can work out before any response is known, done once for one layout of rows.

May import numpy and the error classes.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _mixed_checks as checks
from toolkit.numeric._bases import OUTSIDE, Floats, outside
from toolkit.numeric._folding import Codes, Folding, fold

MOST_TERMS = 8
# Parts of a column outside all groups below this share of its length count as rounding.
_NO_PART = 1e-9


@dataclass(frozen=True, eq=False)
class Patterns:
    """Coordinates that stand alone, sorted by how the sources of scatter add up in them.

    Attributes
    ----------
    multipliers : ndarray, shape (patterns, terms + 1)
        The variance of a coordinate is the sum of its multipliers times the variances.
    number : ndarray, shape (patterns,)
        Coordinates of each pattern.
    squares : ndarray, shape (patterns, p, p)
        X'X over them.
    which : ndarray of int, shape (coordinates,)
        The pattern of each coordinate.
    """

    multipliers: Floats
    number: Floats
    squares: Floats
    which: Codes

    @cached_property
    def pairs(self) -> Floats:
        """Products of the multipliers of two sources, shape (patterns, terms + 1, terms + 1)."""
        return self.multipliers[:, :, None] * self.multipliers[:, None, :]


@dataclass(frozen=True, eq=False)
class Layout:
    """Fixed columns and random terms of one layout of rows, made ready for any number of responses.

    Attributes
    ----------
    columns : ndarray, shape (rows, p)
        Fixed columns, of full rank.
    names : tuple of str
        The random terms as given, then 'residual'.
    levels : tuple of int
        Groups of each random term.
    basis : ndarray, shape (rows, p)
        Orthonormal basis of the fixed columns, in their order.
    back : ndarray, shape (p, p)
        Takes coefficients of ``basis`` to those of ``columns``.
    folding : Folding
    scalar : bool
        True when every coordinate stands alone, so that no matrix of a block need be inverted (r is 1 then).
    outer : ndarray, shape (rows, k)
        Orthonormal basis of the parts of ``basis`` that lie outside all groups; they follow as coordinates of
        their own.
    spread : ndarray, shape (terms + 1, blocks, r, r)
        Z Z' of each term in the coordinates of each block; last the identity of the coordinates in use.
    design : ndarray, shape (blocks, r, p)
        ``basis`` in the same coordinates.
    rest_df : int
        Dimensions in which rows differ by the residual alone and which no fixed column reaches.
    """

    columns: Floats
    names: tuple[str, ...]
    levels: tuple[int, ...]
    basis: Floats
    back: Floats
    folding: Folding
    scalar: bool
    outer: Floats
    spread: Floats
    design: Floats
    rest_df: int

    @property
    def rows(self) -> int:
        """How many rows there are."""
        return len(self.columns)

    @property
    def parameters(self) -> int:
        """How many fixed columns there are."""
        return self.columns.shape[1]

    @property
    def terms(self) -> int:
        """How many random terms there are, the residual not counted."""
        return len(self.names) - 1

    @cached_property
    def has_constant(self) -> bool:
        """True when the fixed columns hold a constant."""
        ones = np.ones(self.rows)
        return bool(np.linalg.norm(outside(self.basis, ones)) <= OUTSIDE * np.sqrt(self.rows))

    @cached_property
    def typical_sizes(self) -> Floats:
        """Rows a group, on average, of each random term: shape (terms,)."""
        return self.rows / np.array(self.levels, dtype=float)

    @cached_property
    def log_volume(self) -> float:
        """Log determinant of X'X."""
        return -2.0 * float(np.linalg.slogdet(self.back)[1])

    @cached_property
    def patterns(self) -> Patterns:
        """Coordinates of like variance put together, where ``scalar``."""
        values = self.spread[:, :, 0, 0].T
        rounded = np.round(values / np.maximum(values.max(axis=0), 1e-300), 9)
        order = np.lexsort(rounded.T)
        fresh = np.append(True, (np.diff(rounded[order], axis=0) != 0.0).any(axis=1))
        first, which = order[fresh], np.empty(len(order), dtype=np.intp)
        which[order] = np.cumsum(fresh) - 1
        design = self.design[:, 0]
        parts = [design[which == item] for item in range(len(first))]
        squares = np.array([part.T @ part for part in parts])
        return Patterns(values[first], np.bincount(which).astype(float), squares, which)

    def coordinates(self, values: Floats) -> tuple[Floats, Floats]:
        """Row values in the coordinates of ``design``, and the sum of squares that lies outside all of them.

        Parameters
        ----------
        values : ndarray, shape (sets, rows)

        Returns
        -------
        inside : ndarray, shape (sets, blocks, r)
        rest : ndarray, shape (sets,)
        """
        turned = self.folding.fold(values)
        left = values - self.folding.unfold(turned)
        beside = left @ self.outer
        rest = ((left - beside @ self.outer.T) ** 2).sum(axis=1)
        return _in_blocks(self.folding, self.scalar, turned, beside), rest


def within(outer: Sequence[Hashable], inner: Sequence[Hashable]) -> list[tuple[Hashable, Hashable]]:
    """Give back one name for each group of ``inner`` inside each group of ``outer``.

    Parameters
    ----------
    outer, inner : sequence, length rows
        Names of groups; what is called 'a' in one build is another group than 'a' in the next.

    Returns
    -------
    list of tuple
        Pairs of names, one a row.

    Raises
    ------
    ModelError
        When the two have different lengths.

    Notes
    -----
    Checked against: k08-pastes-nested, where the casks of every batch are called a, b and c.
    """
    first, second = list(outer), list(inner)
    if len(first) != len(second):
        fault = Fault("inner groups", f"{len(second)} were given", f"{len(first)}, one a row")
        raise_all(ModelError, "The groups cannot be nested.", [fault])
    return list(zip(first, second, strict=True))


def layout_of(columns: ArrayLike, groups: Mapping[str, Sequence[Hashable]]) -> Layout:
    """Give back a layout that is ready to be fitted to any number of responses.

    Parameters
    ----------
    columns : array_like, shape (rows, p)
        Fixed columns, the constant among them, of full rank; any units.
    groups : mapping of str to sequence, length rows
        Random terms: a name (build, run, station, operator ...) and the group that each row belongs to. Groups
        may be nested (see ``within``), crossed, or anything between; at most eight terms.

    Returns
    -------
    Layout

    Raises
    ------
    ModelError
        When a column is missing a value or is a sum of others, when a term has a single group, as many groups as
        there are rows, or the groups of another, or when two sources of scatter cannot be told apart; all faults
        are told at once.

    Notes
    -----
    Folding rows into cells and blocks is an orthogonal change of coordinates: the likelihood stays as it is.

    Checked against: the likelihood by the full covariance matrix of all rows, tests/unit/numeric/test_reml.py.
    """
    given = np.asarray(columns, dtype=float)
    faults = checks.of_columns(given)
    coded = {str(name): _coded(values) for name, values in groups.items()}
    if not 1 <= len(groups) <= MOST_TERMS:
        faults.append(Fault("random terms", f"{len(groups)} were given", f"1 to {MOST_TERMS}"))
    for name, values in groups.items() if given.ndim == 2 else ():
        faults += checks.of_groups(str(name), values, len(given), coded)
    headline = "The mixed model cannot be laid out."
    raise_all(ModelError, headline, faults)
    made = _assembled(given, coded)
    raise_all(ModelError, headline, checks.not_apart(made.names, made.spread, made.design, made.rest_df))
    return made


def _coded(values: Sequence[Hashable]) -> Codes:
    """Numbers of the groups, in order of their first row."""
    index: dict[Hashable, int] = {}
    listed = values.tolist() if isinstance(values, np.ndarray) else values
    return np.array([index.setdefault(value, len(index)) for value in listed], dtype=np.intp)


def _assembled(columns: Floats, coded: Mapping[str, Codes]) -> Layout:
    """The layout of columns and groups that are in order."""
    scale = 1.0 / np.sqrt((columns**2).sum(axis=0))
    basis, triangle = np.linalg.qr(columns * scale)
    back = scale[:, None] * np.linalg.inv(triangle)
    folding, spread, scalar = fold(np.array(list(coded.values())))
    turned = folding.fold(np.ascontiguousarray(basis.T))
    left = basis - folding.unfold(turned).T
    directions, sizes, _ = np.linalg.svd(left, full_matrices=False)
    outer = directions[:, sizes > _NO_PART]
    design = _in_blocks(folding, scalar, turned, left.T @ outer).transpose(1, 2, 0)
    if scalar:
        spread = np.diagonal(spread, axis1=2, axis2=3)[:, folding.used][:, :, None, None]
    used = np.ones((int(folding.used.sum()), 1), dtype=bool) if scalar else folding.used
    blocks, r = design.shape[:2]
    marks = np.zeros((blocks, r), dtype=bool)
    marks[: len(used)] = used
    marks[len(used) :].reshape(-1)[: outer.shape[1]] = True
    spread = np.concatenate([spread, np.zeros((len(spread), blocks - len(used), r, r))], axis=1)
    spread = np.concatenate([spread, (marks[:, :, None] * np.eye(r))[None]])
    levels = tuple(int(item.max()) + 1 for item in coded.values())
    rest_df = len(columns) - int(marks.sum())
    return Layout(
        columns, (*coded, checks.RESIDUAL), levels, basis, back, folding, scalar, outer, spread, design, rest_df
    )


def _in_blocks(folding: Folding, scalar: bool, turned: Floats, beside: Floats) -> Floats:
    """Coordinates inside the groups and those outside them as blocks of one size, shape (sets, blocks, r)."""
    inside = turned[:, folding.used][:, :, None] if scalar else turned
    r = inside.shape[2]
    filled = np.zeros((len(turned), -(-beside.shape[1] // r) * r))
    filled[:, : beside.shape[1]] = beside
    return np.concatenate([inside, filled.reshape(len(turned), -1, r)], axis=1)


