"""The error of one question over several plans, as the formulas of numeric take it: what the pilot knows, turned round.

Rank 5. The parts come from the strata of each plan, the pilot's mean squares from ``size.scatter``; a table of
multipliers turns the one into the other through the expected mean squares of both.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from toolkit.design import units
from toolkit.design.strata import ErrorPart, Strata
from toolkit.numeric import pilot_doubt, weighted_t
from toolkit.size.scatter import Layer, Scatter

# Multipliers below this are rounding.
_NIL = 1e-9


@dataclass(frozen=True, eq=False)
class Error:
    """The error of one question in several plans.

    Attributes
    ----------
    strata : tuple of str
        The strata it is judged in, outermost first.
    variances, error_df : ndarray, shape (plans, strata)
        Unit variance of the contrast in each stratum, and the df of its mean square.
    squares, doubt : ndarray, shape (mean squares,)
        The pilot's mean squares it rests on, outermost first, and their df.
    link : ndarray, shape (plans, strata, mean squares)
        Each mean square of the plan as a sum of the pilot's.
    alpha : float
        At which it is judged.
    """

    strata: tuple[str, ...]
    variances: np.ndarray
    error_df: np.ndarray
    squares: np.ndarray
    doubt: np.ndarray
    link: np.ndarray
    alpha: float = 0.05

    @property
    def parts(self) -> list[tuple[np.ndarray, np.ndarray]]:
        """The plans' mean squares as ``numeric.promise`` takes them."""
        return [(self.variances[:, at], self.error_df[:, at]) for at in range(len(self.strata))]

    def pilot(self, factor: float = 1.0) -> list[tuple[float, float]]:
        """The pilot's mean squares as ``numeric.promise`` takes them, all times a factor."""
        return [(float(square) * factor, float(df)) for square, df in zip(self.squares, self.doubt, strict=True)]

    @property
    def floored(self) -> np.ndarray:
        """The pilot's mean squares with negative components at zero, shape (mean squares,)."""
        return np.maximum.accumulate(self.squares[::-1])[::-1]

    @property
    def planned(self) -> np.ndarray:
        """The plans' mean squares at the scatter as estimated, shape (plans, strata)."""
        return np.einsum("nkj,j->nk", self.link, self.floored)

    @property
    def variance(self) -> np.ndarray:
        """The variance of the comparison at the scatter as estimated, shape (plans,)."""
        return (self.variances * self.planned).sum(axis=1)

    @property
    def df(self) -> np.ndarray:
        """Error df of the comparison, by those of a weighted t where it rests on several, shape (plans,)."""
        if len(self.strata) == 1:
            return self.error_df[:, 0]
        made = weighted_t.judged_df(
            self.variances, self.planned, np.maximum(self.error_df, 1.0), alpha=self.alpha
        )
        return np.where(self.error_df.min(axis=1) >= 1, made, 0.0)

    def upper(self, level: float) -> np.ndarray:
        """The variance of the comparison below which so much of what the pilot leaves possible lies, shape (plans,)."""
        return pilot_doubt.upper(self.pilot(), np.einsum("nk,nkj->nj", self.variances, self.link), level=level)


def error_of(scatter: Scatter, laid: Sequence[Strata], parts: Sequence[Sequence[ErrorPart]]) -> Error | str:
    """The error of a question in plans that judge it in the same strata; or what is not known of the scatter."""
    names = tuple(part.stratum for part in parts[0])
    rows = []
    for judged in laid:
        found = [turned(scatter.layers, judged.expected(name)) for name in names]
        if any(row is None for row in found):
            return unknown(scatter.layers, judged.expected(names[0]))
        rows.append(found)
    link = np.array(rows, dtype=float)
    used = np.flatnonzero((np.abs(link) > _NIL).any(axis=(0, 1)))
    # The inner mean squares stay: they are the floor of the outer ones.
    kept = scatter.layers[int(used[0]) :]
    return Error(
        names,
        np.array([[part.unit_variance for part in found] for found in parts], dtype=float),
        np.array([[part.error_df for part in found] for found in parts], dtype=float),
        np.array([layer.value for layer in kept]),
        np.array([layer.df for layer in kept]),
        link[:, :, len(scatter.layers) - len(kept) :],
        laid[0].brief.alpha,
    )


def turned(layers: Sequence[Layer], expected: Mapping[str, float]) -> np.ndarray | None:
    """A plan's mean square as a sum of the pilot's; None when the pilot's do not tell it, shape (mean squares,)."""
    names = list(dict.fromkeys([*expected, *(unit for layer in layers for unit in layer.expected)]))
    table = np.array([[layer.expected.get(unit, 0.0) for unit in names] for layer in layers]).T
    asked = np.array([expected.get(unit, 0.0) for unit in names])
    if not len(layers):
        return None
    found = np.linalg.lstsq(table, asked, rcond=None)[0]
    found[np.abs(found) < _NIL] = 0.0
    return found if np.allclose(table @ found, asked, rtol=1e-9, atol=1e-9) else None


def unknown(layers: Sequence[Layer], expected: Mapping[str, float]) -> str:
    """Which scatter the pilot does not tell, in words."""
    held = {unit for layer in layers for unit in layer.expected}
    for unit in expected:
        if unit not in held:
            return f"the scatter between {units.PLURALS[unit]} is not known"
    coarser = list(expected)[-2] if len(expected) > 1 else "build"
    return f"the scatter between runs of a {units.NAMES[coarser]} is not known"


def slopes_of(laid: Strata) -> int:
    """How many slopes of covariates the analysis will take out that these strata do not hold yet.

    Those of the brief that no treatment can act on. They are drawn from the runs: the finest unit pays for them.
    """
    return 0 if laid.covariates else sum(item.unmoved for item in laid.brief.covariates)


def at_equal(
    variance: np.ndarray, df: np.ndarray, slopes: int | np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Unit variances and error df once that many slopes of covariates are taken out.

    The values of a covariate are not known beforehand. Where it is normal and randomised against, the variance grows
    on average by k / (f - k - 1) of itself, f the df before, as the mean of one over chi-square is 1 / (f - 2)
    (textbook). The scatter is taken as it is told: what a covariate explains of it is not foreseen.
    """
    if not np.any(slopes):
        return variance, df
    room = np.maximum(df - slopes - 1.0, 1.0)
    return variance * (1.0 + slopes / room), np.maximum(df - slopes, 0.0)
