"""The restricted likelihood of a model with one random term, by the eigenvalues of its scatter beside fixed columns.

With M the projection beside the fixed columns and e its eigenvalues of Z'MZ, log det H + log det X'WX is the sum of
ln(1 + ratio e), and e'We the sum of the squares of the data along them over 1 + ratio e, plus what lies outside: a few
sums in place of matrices at every step of the search. May import numpy; arguments are checked by the callers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from toolkit.numeric._bases import Floats
from toolkit.numeric._moments import Values
from toolkit.numeric.mixed_layout import Layout

# Eigenvalues below this share of the largest are rounding.
_NIL = 1e-12


@dataclass(frozen=True, eq=False)
class Spectrum:
    """Data sets along the directions in which the groups scatter.

    Attributes
    ----------
    sizes : ndarray, shape (directions,)
        Eigenvalues, above 0.
    squares : ndarray, shape (sets, directions)
        Of the data along them.
    rest : ndarray, shape (sets,)
        Squares outside all of them.
    size : float
        Rows a group, on average.
    df : int
        Rows less fixed columns.
    """

    sizes: Floats
    squares: Floats
    rest: Floats
    size: float
    df: int

    def value(self, points: Floats) -> Floats:
        """-2 log of the restricted likelihood without its constants, shape (sets, places), at places of the search."""
        above = 1.0 + np.expm1(points)[:, None] / self.size * self.sizes
        total = self.squares @ (1.0 / above).T + self.rest[:, None]
        return self.df * np.log(total) + np.log(above).sum(axis=1)

    def at(self, points: Floats, sets: NDArray[np.intp]) -> tuple[Floats, Floats, Floats]:
        """Value, slope and bend at one place for each of some data sets, as the search takes them."""
        growth = np.exp(points) / self.size
        above = 1.0 + (growth - 1.0 / self.size) * self.sizes
        share = self.sizes / above
        along = self.squares[sets] / above
        total = along.sum(axis=1) + self.rest[sets]
        first = -(along * share).sum(axis=1) / total
        second = 2.0 * (along * share * share).sum(axis=1) / total
        slope = self.df * first + share.sum(axis=1)
        bend = self.df * (second - first * first) - (share * share).sum(axis=1)
        growth = growth[:, 0]
        value = self.df * np.log(total) + np.log(above).sum(axis=1)
        return value, (slope * growth)[:, None], (bend * growth * growth + slope * growth)[:, None, None]


def spectrum(layout: Layout, values: Values) -> Spectrum:
    """The spectrum of a layout of one term, and data sets that least squares has gone through along it."""
    scatter, design = layout.spread[0, :, 0, 0], layout.design[:, 0]
    used = scatter > 0.0
    root = np.sqrt(scatter[used])
    turned = design[used] * root[:, None]
    sizes, directions = np.linalg.eigh(np.diag(root * root) - turned @ turned.T)
    kept = sizes > _NIL * float(scatter.max())
    sizes, directions = sizes[kept], directions[:, kept]
    along = np.zeros((len(scatter), len(sizes)))
    along[used] = root[:, None] * directions
    along = (along - design @ (turned.T @ directions)) / np.sqrt(sizes)
    # The data are cleared of the fixed columns, so that nothing of them lies inside beside these directions.
    parts = values.inside[:, :, 0] @ along
    return Spectrum(sizes, parts * parts, values.rest, float(layout.typical_sizes[0]), layout.rows - layout.parameters)
