"""Columns of a model, what they can estimate, and sums of squares by rank.

May import numpy and the error classes. Everything goes through orthonormal bases of columns brought to equal
length: units do not matter, aliased columns count once, a large constant in the response costs no digits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._bases import OUTSIDE, Floats, basis_of, outside, shift_of


@dataclass(frozen=True, eq=False)
class LeastSquares:
    """A least-squares fit by rank.

    Attributes
    ----------
    beta : ndarray, shape (columns,)
        Coefficients; with aliased columns the shortest vector of all that fit equally well.
    residuals : ndarray, shape (runs,)
        Response minus fitted values.
    residual_ss : float
        Their sum of squares.
    df : int
        Runs minus rank.
    rank : int
        Rank of the columns.
    unscaled_cov : ndarray, shape (columns, columns)
        Moore-Penrose inverse of X'X: times the error variance it is the covariance of ``beta``.
    """

    beta: Floats
    residuals: Floats
    residual_ss: float
    df: int
    rank: int
    unscaled_cov: Floats


def _matrix(name: str, values: ArrayLike) -> tuple[Floats, list[Fault]]:
    """The values as a two-dimensional array of floats, with what is wrong with them."""
    given = np.asarray(values, dtype=float)
    if given.ndim != 2:
        expected = "two dimensions, runs by columns"
        return given, [Fault(name, f"an array of {given.ndim} dimensions was given", expected)]
    return given, guards.finite(name, given)


def _lengths(given: ArrayLike, runs: int, name: str) -> list[Fault]:
    """A fault when the array does not have one row a run."""
    rows = len(np.atleast_1d(np.asarray(given, dtype=float)))
    return [] if rows == runs else [Fault(name, f"{rows} rows were given", f"{runs}, one a run")]


def rank(matrix: ArrayLike) -> int:
    """Give back how many of the columns say something of their own.

    Parameters
    ----------
    matrix : array_like, shape (runs, columns)
        Columns of a model, in any units.

    Returns
    -------
    int
        Rank, from 0 to the number of columns.

    Raises
    ------
    ModelError
        When the array is not two-dimensional or holds a missing value.

    Notes
    -----
    Singular values of the columns brought to length 1; those below 1e-10 of the largest count as zero.

    Checked against: layouts counted by hand, tests/unit/numeric/test_contrasts.py.
    """
    given, faults = _matrix("columns", matrix)
    raise_all(ModelError, "The rank of the columns cannot be worked out.", faults)
    return len(basis_of(given).sizes)


def spanned(columns: ArrayLike) -> Floats:
    """Give back orthonormal columns that span the same as the columns of a design, by rank.

    Parameters
    ----------
    columns : array_like, shape (runs, columns)

    Returns
    -------
    ndarray, shape (runs, rank)

    Raises
    ------
    ModelError
        As ``rank``.

    Notes
    -----
    Checked against: ``rank``, and residuals of least squares, tests/unit/numeric/test_contrasts.py.
    """
    given, faults = _matrix("columns", columns)
    raise_all(ModelError, "The basis of the columns cannot be worked out.", faults)
    return basis_of(given).left


def estimable(rows: ArrayLike, matrix: ArrayLike) -> NDArray[np.bool_]:
    """Give back, for each comparison, whether the runs can tell anything about it without further
    assumptions.

    Parameters
    ----------
    rows : array_like, shape (comparisons, columns)
        Coefficients of each comparison on the columns of the model.
    matrix : array_like, shape (runs, columns)
        Columns of the model.

    Returns
    -------
    ndarray of bool, shape (comparisons,)
        True where the comparison lies in the row space of the columns.

    Raises
    ------
    ModelError
        When an array is not two-dimensional, holds a missing value, or the numbers of columns differ.

    Notes
    -----
    A comparison is estimable if it is a weighted sum of rows of the model matrix (any textbook of linear
    models).

    Checked against: a 2 x 2 with a missing combination, k04-warpbreaks-unequal-n and
    k04-toothgrowth-empty-cell (estimable or not by R's emmeans); tests/unit/numeric/test_contrasts.py.
    """
    asked, faults = _matrix("comparisons", rows)
    given, more = _matrix("columns", matrix)
    faults += more
    if not faults and asked.shape[1] != given.shape[1]:
        found = f"coefficients for {asked.shape[1]} columns were given"
        faults.append(Fault("comparisons", found, f"coefficients for {given.shape[1]}"))
    raise_all(ModelError, "It cannot be told what is estimable.", faults)
    basis = basis_of(given)
    scaled = asked * basis.scale
    left_over = np.linalg.norm(outside(basis.right.T, scaled.T), axis=0)
    return left_over <= OUTSIDE * np.linalg.norm(scaled, axis=1)


def least_squares(matrix: ArrayLike, response: ArrayLike) -> LeastSquares:
    """Give back the least-squares fit of a response, whatever columns are aliased.

    Parameters
    ----------
    matrix : array_like, shape (runs, columns)
        Columns of the model.
    response : array_like, shape (runs,)
        Values of the response, none missing.

    Returns
    -------
    LeastSquares
        Coefficients, residuals, residual sum of squares with its df, rank and X'X inverted by rank.

    Raises
    ------
    ModelError
        When an array has the wrong shape or holds a missing value; all faults are told at once.

    Notes
    -----
    Where a constant is in the model the first value of the response is taken off before anything is summed.

    Checked against: the certified residual sums of squares of the NIST StRD analysis-of-variance sets,
    tests/unit/numeric/test_strd.py; Moore-Penrose conditions, tests/unit/numeric/test_contrasts.py.
    """
    given, faults = _matrix("columns", matrix)
    values = np.asarray(response, dtype=float)
    if not faults:
        faults += _lengths(values, len(given), "response")
    raise_all(ModelError, "The fit cannot be made.", [*faults, *guards.finite("response", values)])
    basis = basis_of(given)
    shift = shift_of(values, basis.left)
    centred = values - shift
    residuals = outside(basis.left, centred)
    back = basis.scale[:, None] * basis.right.T / basis.sizes
    beta = back @ (basis.left.T @ (centred - residuals)) + shift * (back @ basis.left.sum(axis=0))
    cov = back @ back.T
    if len(basis.sizes) < given.shape[1]:
        # Scaling the columns picked one of many solutions; the row space of the columns as given picks the
        # shortest.
        row_space, _ = np.linalg.qr((basis.right / basis.scale).T)
        shortest = row_space @ row_space.T
        beta, cov = shortest @ beta, shortest @ cov @ shortest
    count = len(basis.sizes)
    # Pairwise summation: a plain dot product over 18,000 runs loses a digit.
    residual_ss = float(np.sum(residuals**2))
    return LeastSquares(beta, residuals, residual_ss, len(given) - count, count, cov)


def projection_ss(response: ArrayLike, base: ArrayLike, added: ArrayLike) -> tuple[float, int]:
    """Give back the sum of squares that added columns explain beyond a base model, with its degrees of
    freedom.

    Parameters
    ----------
    response : array_like, shape (runs,)
        Values of the response, none missing.
    base : array_like, shape (runs, columns)
        Columns already in the model (usually with the constant); may have no columns.
    added : array_like, shape (runs, columns)
        Columns whose contribution is asked for.

    Returns
    -------
    ss : float
        Drop of the residual sum of squares from the base to the larger model.
    df : int
        Rank of the larger model minus rank of the base.

    Raises
    ------
    ModelError
        When an array has the wrong shape or holds a missing value; all faults are told at once.

    Notes
    -----
    The added columns are cleared of the base and the response is projected on what is left of them: no
    difference of two large sums is ever taken. Type I and Type II sums of squares are this function with
    different bases.

    Checked against: NIST StRD analysis of variance (11 certified sets), tests/unit/numeric/test_strd.py;
    k04-warpbreaks-unequal-n (R 4.2.2 anova, car::Anova).
    """
    small, faults = _matrix("base columns", base)
    extra, more = _matrix("added columns", added)
    values = np.asarray(response, dtype=float)
    faults += more
    if not faults:
        faults += _lengths(extra, len(values), "added columns") + _lengths(small, len(values), "base columns")
    raise_all(ModelError, "The sum of squares cannot be worked out.", [*faults, *guards.finite("response", values)])
    left = basis_of(small).left
    both = basis_of(np.hstack([small, extra]))
    df = len(both.sizes) - left.shape[1]
    if df == 0:
        return 0.0, 0
    length = np.linalg.norm(extra, axis=0)
    cleared = outside(left, extra / np.where(length > 0.0, length, 1.0))
    own = np.linalg.svd(cleared, full_matrices=False)[0][:, :df]
    rest = outside(left, values - shift_of(values, left))
    part = own.T @ rest
    part += own.T @ (rest - own @ part)
    return float(part @ part), df


def sum_coded(levels: int) -> Floats:
    """Give back the sum-to-zero coding of a factor.

    Parameters
    ----------
    levels : int
        Number of levels, 2 or more.

    Returns
    -------
    ndarray, shape (levels, levels - 1)
        Row i holds the columns of level i: an identity, and -1 everywhere in the last row. The coefficients
        are then differences of each level from the mean of all levels.

    Raises
    ------
    ModelError
        With fewer than two levels.

    Notes
    -----
    Checked against: R 4.2.2 contr.sum(3), tests/unit/numeric/test_contrasts.py.
    """
    if levels < 2:
        fault = Fault("levels", f"{levels} were given", "two or more")
        raise_all(ModelError, "The factor cannot be coded.", [fault])
    return np.vstack([np.eye(levels - 1), -np.ones((1, levels - 1))])


def term_columns(coded: Sequence[ArrayLike]) -> Floats:
    """Give back the columns of a main effect or an interaction from the coded columns of its factors.

    Parameters
    ----------
    coded : sequence of array_like, each of shape (runs, columns)
        One array a factor of the term: ``sum_coded(levels)[level of each run]``, or one column of a
        covariate.

    Returns
    -------
    ndarray, shape (runs, product of the numbers of columns)
        Every product of one column of each factor, run by run; the last factor changes fastest.

    Raises
    ------
    ModelError
        When no factor is given or the arrays have different numbers of runs.

    Notes
    -----
    Checked against: columns multiplied by hand, tests/unit/numeric/test_contrasts.py.
    """
    faults = [] if len(coded) else [Fault("factors of the term", "none was given", "at least one")]
    arrays = []
    for number, values in enumerate(coded, start=1):
        given, more = _matrix(f"columns of factor {number}", values)
        faults += more
        if not faults:
            faults += _lengths(given, len(np.asarray(coded[0])), f"columns of factor {number}")
        arrays.append(given)
    raise_all(ModelError, "The columns of the term cannot be built.", faults)
    return reduce(lambda one, other: (one[:, :, None] * other[:, None, :]).reshape(len(one), -1), arrays)
