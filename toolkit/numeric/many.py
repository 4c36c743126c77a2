"""Contrasts of thousands of data sets of one layout, each judged as a single one would be: by exact mean squares.

What depends on the layout alone is worked out once; a data set then costs two or three small products. For layouts
without exact mean squares see ``many_mixed``. May import numpy, scipy.special and the error classes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric import weighted_t
from toolkit.numeric._bases import Floats
from toolkit.numeric._many_sets import HEADLINE, NO_DIRECTION, asked_of, sets_of, taken_apart


@dataclass(frozen=True, eq=False)
class Judged:
    """Contrasts of many data sets.

    Attributes
    ----------
    estimate, std_error, df : ndarray, shape (sets, contrasts)
        df may not be whole; 0 where there is no error estimate (std_error is infinite then).
    """

    estimate: Floats
    std_error: Floats
    df: Floats

    def half_width(self, conf_level: ArrayLike = 0.95) -> Floats:
        """Half the width of the t interval, shape (sets, contrasts); infinite below 1 df.

        Parameters
        ----------
        conf_level : float or array_like, shape (contrasts,)

        Notes
        -----
        Checked against: ``intervals.t_interval``, tests/unit/numeric/test_many.py.
        """
        level = 0.5 + 0.5 * np.asarray(conf_level, dtype=float)
        df = np.maximum(self.df, 1.0)
        if np.all(df == df[0]):
            quantile = np.broadcast_to(special.stdtrit(df[:1], level), df.shape)
        else:
            quantile = special.stdtrit(df, level)
        return np.where(self.df >= 1.0, quantile * self.std_error, np.inf)


@dataclass(frozen=True, eq=False)
class MeanSquares:
    """A layout whose strata have exact mean squares, made ready for any number of data sets.

    Attributes
    ----------
    weights : ndarray, shape (contrasts, rows)
        What each contrast makes of the values.
    errors : tuple of ndarray, shape (rows, df)
        One a stratum: directions whose squares, over their number, are its mean square.
    shares : ndarray, shape (contrasts, strata)
        Variance of each contrast as multiples of the mean squares.
    alpha : float
        At which contrasts of several strata with few df are judged.
    """

    weights: Floats
    errors: tuple[Floats, ...]
    shares: Floats
    alpha: float = 0.05

    def judged(self, values: ArrayLike) -> Judged:
        """Give back estimate, standard error and df of every contrast in every data set.

        Parameters
        ----------
        values : array_like, shape (sets, rows)

        Returns
        -------
        Judged

        Raises
        ------
        ModelError
            When the values do not fit the layout or one is missing.

        Notes
        -----
        A contrast of several strata has the df of ``weighted_t.judged_df``.

        Checked against: one fit after the other by ``model.fit``, tests/unit/numeric/test_many.py.
        """
        given = sets_of(values, self.weights.shape[1])
        number = np.array([float(error.shape[1]) for error in self.errors])
        squares = np.column_stack([((given @ error) ** 2).sum(axis=1) for error in self.errors])
        squares = squares / np.maximum(number, 1.0)
        parts = squares[:, None, :] * self.shares
        variance = parts.sum(axis=2)
        alone = (self.shares > 0.0).sum(axis=1) == 1
        df = np.broadcast_to(((self.shares > 0.0) * number).sum(axis=1), variance.shape)
        if not alone.all():
            df = df.copy()
            weights, least = self.shares[~alone], np.maximum(number, 1.0)
            df[:, ~alone] = weighted_t.judged_df(weights, squares[:, None, :], least, alpha=self.alpha)
        judged = ~((self.shares > 0.0) & (number < 1.0)).any(axis=1)
        error = np.where(judged, np.sqrt(variance), np.inf)
        return Judged(given @ self.weights.T, error, np.where(judged, df, 0.0))


def least_squares(columns: ArrayLike, rows: ArrayLike) -> MeanSquares:
    """Give back a layout with a single stratum: independent values, fixed columns.

    Parameters
    ----------
    columns : array_like, shape (rows, p)
        Fixed columns, the constant and fixed blocks among them; of any rank.
    rows : array_like, shape (contrasts, p)
        Contrasts, estimable from these columns (see ``contrasts.estimable``).

    Returns
    -------
    MeanSquares

    Raises
    ------
    ModelError
        When the contrasts do not fit the columns or a number is missing.

    Notes
    -----
    Textbook least squares. Checked against: ``model.fit``, tests/unit/numeric/test_many.py.
    """
    given, asked = asked_of(columns, rows)
    rest, weights = taken_apart(given, asked)
    return MeanSquares(weights, (rest,), (weights**2).sum(axis=1)[:, None])


def of_strata(
    weights: ArrayLike, errors: Sequence[ArrayLike], shares: ArrayLike, *, alpha: float = 0.05
) -> MeanSquares:
    """Give back a layout of several strata from linear maps.

    Parameters
    ----------
    weights : array_like, shape (contrasts, rows)
        What each contrast makes of the values.
    errors : sequence of array_like, shape (units, rows)
        One a stratum: what its terms leave of the values, as a map whose squares add to its error sum of squares;
        singular values are 1 where values count as themselves.
    shares : array_like, shape (contrasts, strata)
        Variance of each contrast as multiples of the mean squares of the strata.
    alpha : float
        At which contrasts are judged.

    Returns
    -------
    MeanSquares

    Raises
    ------
    ModelError
        When a number is missing.

    Notes
    -----
    Checked against: ``model.fit`` on whole plots, tests/unit/numeric/test_many.py.
    """
    maps = [np.asarray(item, dtype=float) for item in errors]
    faults = guards.finite("weights", weights) + guards.finite("shares", shares)
    raise_all(ModelError, HEADLINE, faults)
    made = []
    for item in maps:
        _, sizes, directions = np.linalg.svd(item, full_matrices=False)
        # A stratum without error leaves rounding alone, which is nothing beside values that count as themselves.
        kept = sizes > NO_DIRECTION * max(float(sizes.max(initial=0.0)), 1.0)
        made.append(directions[kept].T * sizes[kept])
    return MeanSquares(np.asarray(weights, dtype=float), tuple(made), np.asarray(shares, dtype=float), alpha)


def beside(known: MeanSquares, values: ArrayLike, covariates: ArrayLike) -> Judged:
    """Give back the contrasts of data sets that each have covariates of their own, with a common slope each.

    Parameters
    ----------
    known : MeanSquares
        Of a single stratum, without the covariates.
    values : array_like, shape (sets, rows)
    covariates : array_like, shape (sets, covariates, rows)
        Less their reference values.

    Returns
    -------
    Judged
        With as many df fewer as there are covariates.

    Raises
    ------
    ModelError
        When the layout has several strata, or the shapes do not fit.

    Notes
    -----
    Partial regression (R. Frisch and F. V. Waugh, Econometrica 1 (1933) 387-401): the slopes are those of what the
    columns leave. Checked against: ``least_squares`` with the covariates among the columns,
    tests/unit/numeric/test_many.py.
    """
    given = sets_of(values, known.weights.shape[1])
    beside_them = np.asarray(covariates, dtype=float)
    faults = guards.finite("covariates", beside_them)
    if len(known.errors) != 1:
        faults.append(Fault("layout", f"it has {len(known.errors)} strata", "a single one where there are covariates"))
    if beside_them.ndim != 3 or beside_them.shape[::2] != given.shape:
        expected = f"one set of rows of {given.shape[1]} numbers for each of {len(given)} data sets"
        faults.append(Fault("covariates", f"an array of shape {beside_them.shape} was given", expected))
    raise_all(ModelError, HEADLINE, faults)
    error = known.errors[0]
    left, own = given @ error, beside_them @ error
    inverse = np.linalg.inv(own @ own.swapaxes(1, 2))
    slopes = (inverse @ (own @ left[:, :, None]))[:, :, 0]
    df = float(error.shape[1] - own.shape[1])
    residual = left - (slopes[:, None, :] @ own)[:, 0]
    square = (residual**2).sum(axis=1) / max(df, 1.0)
    moved = beside_them @ known.weights.T
    estimate = given @ known.weights.T - (slopes[:, None, :] @ moved)[:, 0]
    share = known.shares[:, 0] + (moved * (inverse @ moved)).sum(axis=1)
    made = np.sqrt(share * square[:, None]) if df >= 1 else np.full(estimate.shape, np.inf)
    return Judged(estimate, made, np.full(estimate.shape, max(df, 0.0)))
