"""The toolkit's own analysis of many simulated campaigns of one plan, with any of its runs lost (rank 5).

Exact mean squares where the strata of the runs left are balanced, Kenward and Roger's method elsewhere: what
``model.fit`` does for one campaign, from the same strata.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from toolkit.design import strata as design_strata
from toolkit.design.strata import Strata
from toolkit.errors import ModelError
from toolkit.model import _random_units as random_units
from toolkit.numeric import contrasts, many, many_mixed
from toolkit.numeric._bases import Floats
from toolkit.numeric.many import MeanSquares
from toolkit.numeric.many_mixed import OneTerm, SeveralTerms

Judge = MeanSquares | OneTerm | SeveralTerms


@dataclass(frozen=True, eq=False)
class Judging:
    """How the runs of a plan will be judged.

    Attributes
    ----------
    laid : Strata
        As planned.
    rows : ndarray, shape (contrasts, parameters)
        The questions.
    """

    laid: Strata
    rows: Floats

    @cached_property
    def padded(self) -> Floats:
        """The questions over all columns, fixed blocks among them, shape (contrasts, parameters + blocks - 1)."""
        beside = np.zeros((len(self.rows), self.laid.block_columns.shape[1]))
        return np.hstack([self.rows, beside])

    @cached_property
    def whole(self) -> tuple[Judge | None, np.ndarray]:
        """The judge when no run is lost, and which questions it can answer."""
        return judge_of(self.laid, self.rows)

    def without(self, lost: np.ndarray) -> tuple[Judge | None, np.ndarray]:
        """The judge of the runs left and which questions it can answer; no judge where they leave none to judge by.

        Parameters
        ----------
        lost : ndarray of bool, shape (runs,)
        """
        if not lost.any():
            return self.whole
        kept = ~lost
        if kept.sum() < 2:
            return None, np.zeros(len(self.rows), dtype=bool)
        columns = self.laid.full_columns[kept]
        if len(self.laid.units) == 1:
            return _least_squares(columns, self.padded)
        outer = self.laid.members[self.laid.units[0]]
        # Units that have lost unequally hold different combinations; only equal losses can have left a balance.
        held = np.bincount(outer[kept])
        if len(set(held[held > 0].tolist())) == 1:
            return judge_of(design_strata.again(self.laid, self.laid.runs[kept]), self.rows)
        able = _estimable(self.padded, columns)
        groups = {unit: self.laid.members[unit][kept] for unit in self.laid.units[:-1]}
        return _mixed(columns, groups, self.padded, able)


def judge_of(laid: Strata, rows: Floats) -> tuple[Judge | None, np.ndarray]:
    """The judge of runs laid out, and which questions it can answer (its contrasts are those alone, in order).

    Parameters
    ----------
    laid : Strata
    rows : ndarray, shape (contrasts, parameters)
    """
    columns = laid.full_columns
    padded = np.hstack([rows, np.zeros((len(rows), laid.block_columns.shape[1]))])
    if len(laid.units) == 1:
        return _least_squares(columns, padded)
    able = _estimable(padded, columns)
    if not able.any():
        return None, able
    if laid.balanced:
        return _of_strata(laid, rows[able]), able
    try:
        random_units.refuse(laid)
    except ModelError:
        return None, np.zeros(len(rows), dtype=bool)
    groups = {unit: laid.members[unit] for unit in laid.units[:-1]}
    return _mixed(columns, groups, padded, able)


def _estimable(padded: Floats, columns: Floats) -> np.ndarray:
    """Which questions these columns answer; a question of terms that are not in the model is none of them."""
    return contrasts.estimable(padded, columns) & (np.abs(padded) > 1e-12).any(axis=1)


def _least_squares(columns: Floats, padded: Floats) -> tuple[Judge | None, np.ndarray]:
    """Runs that are all judged by each other."""
    able = _estimable(padded, columns)
    made = many.least_squares(columns, padded[able]) if able.any() else None
    if made is None or made.errors[0].shape[1] < 1:
        return None, np.zeros(len(padded), dtype=bool)
    return made, able


def _of_strata(laid: Strata, rows: Floats) -> MeanSquares:
    """Balanced strata: each contrast as the sum of its shares in them."""
    runs = len(laid.runs)
    weights, errors = np.zeros((len(rows), runs)), []
    for name, chosen in laid.columns_of().items():
        beside = laid.beside(name)
        columns = np.hstack([laid.columns[:, chosen], beside])
        own = np.hstack([rows[:, chosen], np.zeros((len(rows), beside.shape[1]))])
        seen, into = laid.scaled(name, columns), laid.scaled(name, np.eye(runs))
        inverse = np.linalg.pinv(seen, rcond=1e-10)
        weights += own @ inverse @ into
        errors.append(into - seen @ (inverse @ into))
    parts = [{part.stratum: part.unit_variance for part in laid.parts(row)} for row in rows]
    shares = [[part.get(name, 0.0) for name in laid.units] for part in parts]
    return many.of_strata(weights, errors, shares, alpha=laid.brief.alpha)


def _mixed(
    columns: Floats, groups: dict[str, np.ndarray], padded: Floats, able: np.ndarray
) -> tuple[Judge | None, np.ndarray]:
    """Runs whose units do not hold the same: Kenward and Roger."""
    none = np.zeros(len(padded), dtype=bool)
    if not able.any():
        return None, none
    try:
        if len(groups) == 1:
            (codes,) = groups.values()
            return many_mixed.one_term(columns, codes.tolist(), padded[able]), able
        kept = random_units.independent(columns)
        into = np.linalg.lstsq(columns[:, kept], columns, rcond=None)[0]
        names = {unit: codes.tolist() for unit, codes in groups.items()}
        return many_mixed.several_terms(columns[:, kept], names, random_units.turned(into, padded[able])), able
    except ModelError:
        return None, none
