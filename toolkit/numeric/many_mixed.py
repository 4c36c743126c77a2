"""Contrasts of thousands of data sets of one layout with scatter between groups, judged by Kenward and Roger's method.

One random term, any holes: everything follows from the eigenvalues of what the fixed columns leave of Z Z', found once.
The data sets then differ by a few sums of squares, the highest likelihood is found for all of them at once, and
Kenward and Roger's covariance and df are closed forms in the ratio of the two variances: nothing is interpolated.
Several terms: ``reml.fit_many``, with the covariance and df of every ratio worked out together.

May import numpy and the error classes.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _contrast_work as work
from toolkit.numeric import _guards as guards
from toolkit.numeric import kenward_roger, mixed_layout, reml
from toolkit.numeric._bases import Floats
from toolkit.numeric._many_sets import HEADLINE, asked_of, sets_of, taken_apart
from toolkit.numeric.many import Judged
from toolkit.numeric.mixed_layout import Layout

# ln(1 + rows of a group x ratio): where the search looks first, and where it gives up (as in ``reml``).
_PLACES = np.concatenate([np.arange(0.0, 3.0, 0.1), np.arange(3.0, 8.0, 0.25), np.arange(8.0, 28.0, 1.0)])
_ITERATIONS = 60
_SHORT = 1e-9
# Sizes equal to so many digits are one pattern; below this share of the largest group a size is nought.
_ALIKE = 9
_NONE = 1e-10
# Data sets whose covariances are held at once.
_SLICE = 2_000


@dataclass(frozen=True, eq=False)
class OneTerm:
    """A layout with scatter between groups and within them, made ready for any number of data sets.

    Attributes
    ----------
    weights : ndarray, shape (contrasts, rows)
        Least-squares weights of each contrast.
    turned : ndarray, shape (rows, rows - rank)
        Directions of what the fixed columns leave, each of variance residual x (1 + ratio x size).
    sizes : ndarray, shape (patterns,)
        Their different sizes.
    which : ndarray of int, shape (rows - rank,)
        The pattern of each direction, in order.
    leaning : ndarray, shape (contrasts, rows - rank)
        Covariance of each contrast with each direction, over residual x ratio.
    own, between : ndarray, shape (contrasts,)
        Variance of the least-squares contrast: residual x (own + ratio x between).
    typical : float
        Rows a group, on average.
    """

    weights: Floats
    turned: Floats
    sizes: Floats
    which: np.ndarray
    leaning: Floats
    own: Floats
    between: Floats
    typical: float

    @property
    def number(self) -> Floats:
        """Directions of each pattern."""
        return np.bincount(self.which, minlength=len(self.sizes)).astype(float)

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
        The best linear unbiased estimate is the least-squares one less what the directions tell of its error.

        Checked against: ``reml.fit`` and ``kenward_roger.contrasts``, one data set after the other,
        tests/unit/numeric/test_many_mixed.py.
        """
        given = sets_of(values, self.weights.shape[1])
        found = given @ self.turned
        ratio, std_error, df = self._scatter(found)
        return Judged(given @ self.weights.T - self._told(found, ratio), std_error, df)

    def luck(self, ratio: ArrayLike, normals: ArrayLike) -> tuple[Floats, Floats, Floats]:
        """Give back what campaigns of a known scatter would be judged by, without their values.

        Parameters
        ----------
        ratio : array_like, shape (sets,)
            True variance between groups over that within them; the latter is 1.
        normals : array_like, shape (sets, directions)
            Standard normal, one for each direction that the fixed columns leave.

        Returns
        -------
        std_error, df, shift : ndarray, shape (sets, contrasts)
            As ``judged`` tells them; and how far the estimate lies from the best one, that of the true ratio.

        Raises
        ------
        ModelError
            When a ratio is missing or below 0.

        Notes
        -----
        Given the directions the best estimate is normal about the truth: they say nothing of it. So the chance of an
        answer is a mean of normal integrals over them, and few draws tell it well.

        Checked against: ``judged`` of drawn values, tests/unit/numeric/test_many_mixed.py.
        """
        true = np.asarray(ratio, dtype=float)
        raise_all(ModelError, HEADLINE, guards.finite("ratio", true) or guards.not_negative("ratio", true))
        above = 1.0 + true[:, None] * self.sizes
        found = np.asarray(normals, dtype=float) * np.sqrt(above)[:, self.which]
        estimated, std_error, df = self._scatter(found)
        return std_error, df, self._told(found, true) - self._told(found, estimated)

    def _scatter(self, found: Floats) -> tuple[Floats, Floats, Floats]:
        """The ratio of variances, and standard error and df of every contrast, from what lies in the directions."""
        first = np.flatnonzero(np.diff(self.which, prepend=-1))
        squares = np.add.reduceat(found**2, first, axis=1)
        ratio = _best_ratio(squares, self.sizes, self.number, self.typical)
        residual = (squares / (1.0 + ratio[:, None] * self.sizes)).sum(axis=1) / self.number.sum()
        share, df = self.known(ratio)
        return ratio, np.sqrt(residual[:, None] * share), df

    def _told(self, found: Floats, ratio: Floats) -> Floats:
        """What the directions tell of the error of the least-squares estimates, at ratios of shape (sets,)."""
        above = 1.0 + ratio[:, None] * self.sizes
        return (found * (ratio[:, None] / above)[:, self.which]) @ self.leaning.T

    def known(self, ratio: ArrayLike) -> tuple[Floats, Floats]:
        """Give back the variance of each contrast over the residual one, and its df, where the ratio is estimated.

        Parameters
        ----------
        ratio : array_like, shape (sets,)
            Variance between groups over that within them: estimated, or that a plan is judged at.

        Returns
        -------
        share, df : ndarray, shape (sets, contrasts)

        Raises
        ------
        ModelError
            When a ratio is missing or below 0.

        Notes
        -----
        Kenward and Roger (Biometrics 53 (1997) 983-997), both components kept, by the expected information. With
        f(ratio) the variance over the residual one: widened = f - f'' (w11 - 2 ratio w12 + ratio^2 w22), df = 2 f^2 /
        g'Wg with g = (f', f - ratio f'), W the covariance of the two variances over the residual one.

        Checked against: ``kenward_roger``, tests/unit/numeric/test_many_mixed.py.
        """
        asked = np.asarray(ratio, dtype=float)
        raise_all(ModelError, HEADLINE, guards.finite("ratio", asked) or guards.not_negative("ratio", asked))
        at = asked[:, None]
        above = 1.0 + at * self.sizes
        first = np.flatnonzero(np.diff(self.which, prepend=-1))
        leaning = np.add.reduceat(self.leaning**2, first, axis=1)
        plain = self.own + at * self.between - at**2 * (leaning @ (1.0 / above).T).T
        slope = self.between - ((2.0 * at + at**2 * self.sizes) / above**2) @ leaning.T
        bend = -2.0 * (above**-3.0) @ leaning.T
        information = [0.5 * (self.number * self.sizes**power / above**2).sum(axis=1) for power in (2, 1, 0)]
        volume = information[0] * information[2] - information[1] ** 2
        w11, w12, w22 = (part[:, None] / volume[:, None] for part in (information[2], -information[1], information[0]))
        rest = plain - at * slope
        df = 2.0 * plain**2 / (w11 * slope**2 + 2.0 * w12 * slope * rest + w22 * rest**2)
        return plain - bend * (w11 - 2.0 * at * w12 + at**2 * w22), df


@dataclass(frozen=True, eq=False)
class SeveralTerms:
    """A layout with several random terms, and contrasts of its fixed columns, shape (contrasts, p)."""

    layout: Layout
    rows: Floats

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
            As ``reml.fit_many``.

        Notes
        -----
        Checked against: ``reml.fit`` and ``kenward_roger.contrasts``, one data set after the other,
        tests/unit/numeric/test_many_mixed.py.
        """
        given = sets_of(values, self.layout.rows)
        made = reml.fit_many(self.layout, given)
        parts = []
        for at in range(0, len(given), _SLICE):
            known = kenward_roger.adjusted(self.layout, made.variances[at : at + _SLICE])
            parts.append(kenward_roger.contrasts(known, made.beta[at : at + _SLICE], self.rows))
        numbers = ("estimate", "std_error", "df")
        return Judged(*(np.concatenate([getattr(part, name) for part in parts]) for name in numbers))


def one_term(columns: ArrayLike, groups: Sequence[Hashable], rows: ArrayLike) -> OneTerm:
    """Give back a layout with one random term, made ready for any number of data sets.

    Parameters
    ----------
    columns : array_like, shape (rows, p)
        Fixed columns, the constant among them; of any rank.
    groups : sequence, length rows
        The group (build) of each row.
    rows : array_like, shape (contrasts, p)
        Contrasts, estimable from these columns.

    Returns
    -------
    OneTerm

    Raises
    ------
    ModelError
        When the columns leave nothing to tell the scatter between groups by, or that within them.

    Notes
    -----
    Checked against: ``reml`` and ``kenward_roger`` on layouts with holes, tests/unit/numeric/test_many_mixed.py.
    """
    given, asked = asked_of(columns, rows)
    names = list(dict.fromkeys(groups))
    index = {name: at for at, name in enumerate(names)}
    marks = np.eye(len(names))[[index[name] for name in groups]]
    left, weights = taken_apart(given, asked)
    over = marks.T @ left
    sizes, directions = np.linalg.eigh(over.T @ over)
    sizes = np.where(sizes > _NONE * marks.sum(axis=0).max(), sizes, 0.0)
    faults = []
    if not (sizes > 0.0).any():
        faults.append(Fault("groups", "the fixed columns explain all of them", "scatter between them that is left"))
    if not (sizes == 0.0).any():
        expected = "repeats within groups"
        faults.append(Fault("groups", "the fixed columns leave nothing within them", expected))
    raise_all(ModelError, HEADLINE, faults)
    # Eigenvalues come in rising order, so that equal ones stand together.
    scaled = np.round(sizes / sizes.max(), _ALIKE)
    which = np.cumsum(np.diff(scaled, prepend=-1.0) != 0.0) - 1
    first = np.flatnonzero(np.diff(which, prepend=-1))
    turned = left @ directions
    crossed = weights @ marks
    return OneTerm(
        weights,
        turned,
        sizes[first],
        which,
        crossed @ (marks.T @ turned),
        (weights**2).sum(axis=1),
        (crossed**2).sum(axis=1),
        len(given) / len(names),
    )


def several_terms(columns: ArrayLike, groups: Mapping[str, Sequence[Hashable]], rows: ArrayLike) -> SeveralTerms:
    """Give back a layout with any number of random terms, made ready for any number of data sets.

    Parameters
    ----------
    columns : array_like, shape (rows, p)
        Fixed columns of full rank.
    groups : mapping of str to sequence, length rows
        As ``mixed_layout.layout_of`` takes them.
    rows : array_like, shape (contrasts, p)

    Returns
    -------
    SeveralTerms

    Raises
    ------
    ModelError
        As ``mixed_layout.layout_of``, or when the contrasts do not fit the columns.

    Notes
    -----
    Checked against: ``reml`` and ``kenward_roger``, tests/unit/numeric/test_many_mixed.py.
    """
    laid = mixed_layout.layout_of(columns, groups)
    return SeveralTerms(laid, work.rows_of(rows, laid.parameters, together=False))


def _best_ratio(squares: Floats, sizes: Floats, number: Floats, typical: float) -> Floats:
    """The ratio of variances at the highest restricted likelihood of each data set, shape (sets,)."""
    total = number.sum()
    grid = np.expm1(_PLACES) / typical
    above = 1.0 + grid[:, None] * sizes
    found = total * np.log(squares @ (1.0 / above).T) + np.log(above) @ number
    best = found.argmin(axis=1)
    low = _PLACES[np.maximum(best - 1, 0)]
    high = _PLACES[np.minimum(best + 1, len(_PLACES) - 1)]
    point = _PLACES[best].copy()
    going = np.arange(len(squares))
    for _ in range(_ITERATIONS):
        slope, bend = _slopes(squares[going], sizes, number, point[going], typical)
        falls = slope < 0.0
        low[going] = np.where(falls, point[going], low[going])
        high[going] = np.where(falls, high[going], point[going])
        with np.errstate(divide="ignore", invalid="ignore"):
            newton = point[going] - slope / bend
        inside = (bend > 0.0) & (newton > low[going]) & (newton < high[going])
        after = np.where(inside, newton, 0.5 * (low[going] + high[going]))
        moved = np.abs(after - point[going])
        point[going] = after
        going = going[moved > _SHORT]
        if not len(going):
            break
    return np.expm1(np.where(point > 10.0 * _SHORT, point, 0.0)) / typical


def _slopes(squares: Floats, sizes: Floats, number: Floats, point: Floats, typical: float) -> tuple[Floats, Floats]:
    """First and second derivative of the criterion on the scale of the search, shape (sets,) each."""
    total = number.sum()
    growth = np.exp(point) / typical
    inverse = 1.0 / (1.0 + (growth - 1.0 / typical)[:, None] * sizes)
    share = squares * inverse
    weighted = sizes * inverse
    rss = share.sum(axis=1)
    first = (share * weighted).sum(axis=1) / rss
    second = (share * weighted**2).sum(axis=1) / rss
    slope = (weighted @ number - total * first) * growth
    bend = total * (2.0 * second - first**2) - weighted**2 @ number
    return slope, bend * growth**2 + slope
