"""The run values taken apart by stratum: for each one its values, its columns and its sums of squares.

In a balanced layout the strata are orthogonal, so that each is an ordinary least-squares problem of its own: the means
of the coarsest units, brought to the scale of one run, and the deviations of every finer unit from the one it lies in
(textbook split-plot algebra). Builds that are blocks are taken out of the coarsest first.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from toolkit.design.strata import Strata
from toolkit.design.terms import Term
from toolkit.numeric import contrasts


@dataclass(frozen=True, eq=False)
class Layer:
    """One stratum with an error of its own.

    Attributes
    ----------
    stratum : str
        build, part, fill, run or position.
    y : ndarray, shape (units,)
        Centred values; of units of several runs: their means times the square root of those runs.
    base : ndarray, shape (units, columns)
        What is taken out before any term: the mean and fixed blocks.
    terms : tuple of Term
        The terms judged here.
    columns : dict
        Term to ndarray, shape (units, columns of the term).
    error_df : int
        As the strata say.
    """

    stratum: str
    y: np.ndarray
    base: np.ndarray
    terms: tuple[Term, ...]
    columns: dict[Term, np.ndarray]
    error_df: int

    def of(self, terms: Iterable[Term]) -> np.ndarray:
        """The base and the columns of these terms side by side, shape (units, columns)."""
        return np.hstack([self.base, *(self.columns[term] for term in terms)])

    @property
    def full(self) -> np.ndarray:
        """The base and every term judged here, shape (units, columns)."""
        return self.of(self.terms)

    def adjusted_for(self, term: Term, ss_type: int) -> tuple[Term, ...]:
        """What a term is adjusted for: the terms before it (1), all that do not contain it (2), all others (3)."""
        if ss_type == 1:
            return self.terms[: self.terms.index(term)]
        others = tuple(item for item in self.terms if item != term)
        return others if ss_type == 3 else tuple(item for item in others if not set(term) < set(item))


def layers_of(strata: Strata, y: np.ndarray) -> tuple[Layer, ...]:
    """The strata with an error, the coarsest first, for centred values ``y``.

    Parameters
    ----------
    strata : Strata
    y : ndarray, shape (runs,)
        Values on the analysis scale, already centred.

    Returns
    -------
    tuple of Layer

    Notes
    -----
    Checked against: corrosion of coated bars, four positions in each of six furnace heats (Box, Quality
    Engineering 8 (1996) 515-520), tests/reference/test_anova_cases.py.
    """
    every = {term: strata.columns[:, span] for term, span in strata.spans.items() if term != ()}
    made = []
    for name in strata.units:
        item = strata.stratum(name)
        base = np.hstack([np.ones((len(y), 0 if made else 1)), strata.beside(name)])
        made.append(
            Layer(
                name,
                strata.scaled(name, y),
                strata.scaled(name, base),
                item.terms,
                {term: strata.scaled(name, every[term]) for term in item.terms},
                int(item.error_df or 0),
            )
        )
    return tuple(made)


def within_layer(strata: Strata, y: np.ndarray) -> Layer:
    """The runs alone, compared within the finest units of several runs, balanced or not; for centred values ``y``."""
    codes = strata.members[strata.units[-2]]
    base = np.hstack([np.eye(int(codes.max()) + 1)[codes], strata.position_columns])
    terms = strata.stratum(strata.finest).terms
    columns = {term: strata.columns[:, strata.spans[term]] for term in terms}
    rank = contrasts.rank(np.hstack([base, *columns.values()]))
    return Layer(strata.finest, y, base, terms, columns, len(y) - rank)


def within_units(strata: Strata) -> np.ndarray:
    """Every column and one for each unit that holds several runs, of the finest such kind, shape (runs, columns).

    What they leave of the run values is scatter between runs alone, balanced or not.
    """
    columns = strata.full_columns
    if not strata.plots:
        return columns
    codes = strata.members[strata.units[-2]]
    return np.hstack([np.eye(int(codes.max()) + 1)[codes], columns])


def in_layer(layer: Layer, strata: Strata, rows: np.ndarray, *, mean: bool = False) -> np.ndarray:
    """Contrasts in the columns of one layer.

    Parameters
    ----------
    layer : Layer
    strata : Strata
    rows : ndarray, shape (parameters,) or (contrasts, parameters)
    mean : bool
        Whether the weight of the mean goes into the first column of the layer, that of the constant.

    Returns
    -------
    ndarray, shape (columns of the layer,) or (contrasts, columns of the layer)
    """
    base = np.zeros((*rows.shape[:-1], layer.base.shape[1]))
    if mean:
        base[..., 0] = rows[..., 0]
    return np.concatenate([base, *(rows[..., strata.spans[term]] for term in layer.terms)], axis=-1)


def error_of(layer: Layer, residual_ss: float, level: float) -> tuple[float | None, int]:
    """The error mean square of a stratum and its df; None without df, exactly 0 where all repeats agree.

    Parameters
    ----------
    layer : Layer
    residual_ss : float
        What the terms of the stratum leave.
    level : float
        The largest absolute value before centring: what is left below its rounding counts as nought.

    Returns
    -------
    mean_square : float or None
    df : int
    """
    if layer.error_df < 1:
        return None, 0
    noise = len(layer.y) * (8.0 * np.finfo(float).eps * level) ** 2
    return (0.0 if residual_ss <= noise else residual_ss / layer.error_df), layer.error_df
