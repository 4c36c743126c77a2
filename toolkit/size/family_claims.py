"""What a plan promises of comparisons that are judged as a family: any of them shown, each, or all (rank 5)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from toolkit import stamp
from toolkit.brief import model as brief_model
from toolkit.brief.model import Family
from toolkit.design.design import Design
from toolkit.design.strata import Strata
from toolkit.model import families
from toolkit.numeric import joint_promise
from toolkit.numeric.noncentral import critical_t
from toolkit.size import _errors as errors
from toolkit.size import promise
from toolkit.size.claim import Asked
from toolkit.size.scatter import Scatter

PROMISES = ("any", "each", "all")


@dataclass(frozen=True)
class FamilyClaim:
    """What one plan says about a family of comparisons of one response.

    Attributes
    ----------
    response, family, promise, adjust : str
        ``promise`` is what the brief asks for: any, each or all.
    comparisons : tuple of str
    any, each, all : float or None
        Chance that at least one is shown, the least chance of a single one, and the chance that all are shown, each
        comparison at its own assumed change and by its interval as the family adjusts it; averaged over the doubt.
    reached : bool
        The chance of what is promised is at least the asked power, unrounded.
    note : str
    """

    response: str
    family: str
    promise: str
    adjust: str
    comparisons: tuple[str, ...]
    any: float | None
    each: float | None
    all: float | None
    reached: bool
    note: str

    def to_dict(self) -> dict[str, object]:
        """The claim for JSON."""
        return stamp.plain(dict(self.__dict__))


def family_claims(
    designs: Sequence[Design], scatter: Scatter, *, standing: pd.DataFrame | None = None
) -> list[list[FamilyClaim]]:
    """Every family of the brief, for each design in turn.

    Parameters
    ----------
    designs, scatter, standing
        As for ``promise.claims``.

    Returns
    -------
    list of list of FamilyClaim
        One list a design, families in the order of the brief; those without a comparison are left out.

    Notes
    -----
    A comparison is shown when its interval leaves out no change. The interval is at 1 - alpha where the family adjusts
    nothing, at 1 - alpha / k for Holm (its intervals are Bonferroni's), and at the joint critical value on the fewest
    df of the family for the multivariate t: as ``model.comparisons`` judges. Joint chances by
    ``numeric.joint_promise``.

    Checked against: campaigns drawn and judged run by run, tests/unit/size/test_family_claims.py.
    """
    return of_strata(scatter, promise.as_judged(designs, standing))


def of_strata(scatter: Scatter, laid: Sequence[Strata]) -> list[list[FamilyClaim]]:
    """Every family of the brief in each of several strata.

    Parameters
    ----------
    scatter : Scatter
    laid : sequence of Strata

    Notes
    -----
    Checked against: as ``family_claims``, which is made of it.
    """
    if not laid[0].brief.families:
        return [[] for _ in laid]
    asked = promise.asked_of(laid)
    made: list[list[FamilyClaim]] = []
    for at, judged in enumerate(laid):
        rows = []
        for family in judged.brief.families:
            members = [item for item in asked if item.comparison and item.comparison.family == family.name]
            if members:
                rows.append(_claim(scatter, judged, family, members, at))
        made.append(rows)
    return made


def _claim(scatter: Scatter, judged: Strata, family: Family, members: Sequence[Asked], at: int) -> FamilyClaim:
    """One family in one plan."""
    names = tuple(item.question.name for item in members)
    found = _together(scatter, judged, family, members, at)
    head = (scatter.response.name, family.name, family.promise, family.adjust, names)
    if isinstance(found, str):
        return FamilyClaim(*head, None, None, None, False, found)
    chances = {"any": found.any, "each": float(found.each.min()), "all": found.all}
    reached = chances[family.promise] >= judged.brief.power
    note = f"the least of them: {names[int(found.each.argmin())]}" if len(names) > 1 else ""
    return FamilyClaim(*head, chances["any"], chances["each"], chances["all"], reached, note)


def _together(
    scatter: Scatter, judged: Strata, family: Family, members: Sequence[Asked], at: int
) -> joint_promise.Together | str:
    """The chances of a family, or why there are none."""
    brief, response = judged.brief, scatter.response
    if judged.unbalanced:
        return f"not told together: {judged.unbalanced}"
    if scatter.declared is not None:
        return "not told together: the scatter is a guess"
    lacking = [item.question.name for item in members if not item.parts[at]]
    if lacking:
        return f"not estimable in this design: {', '.join(lacking)}"
    gains = [brief_model.assumed(brief, item.comparison, response) for item in members]
    if None in gains:
        return f"no worthwhile change is stated for {response.name}"
    names = [name for name in judged.units if any(part.stratum == name for item in members for part in item.parts[at])]
    link = [errors.turned(scatter.layers, judged.expected(name)) for name in names]
    if any(row is None for row in link):
        return errors.unknown(scatter.layers, judged.expected(names[0]))
    df = np.array([float(judged.stratum(name).error_df or 0) for name in names])
    slopes = np.array([errors.slopes_of(judged) if name == judged.finest else 0 for name in names])
    if (df < 1.0 + slopes).any():
        return "no degrees of freedom for the error of this family"
    spread = _covariances(judged, [item.question.row for item in members], names)
    wider, df = errors.at_equal(np.ones(len(df)), df, slopes)
    spread = spread * wider[:, None, None]
    own = [errors.error_of(scatter, [judged], [item.parts[at]]) for item in members]
    freedom = np.array([float(one.df[0]) for one in own if not isinstance(one, str)])
    planned = np.array([link_row @ _floored(scatter) for link_row in link])
    critical = _critical(family, brief.alpha, freedom, np.einsum("s,sij->ij", planned, spread))
    pilot = [(layer.value, layer.df) for layer in scatter.layers]
    alone = {"none": brief.alpha, "holm": brief.alpha / len(members)}.get(family.adjust)
    return joint_promise.together(np.array(gains), spread, df, pilot, critical, link=np.array(link), alpha=alone)


def _floored(scatter: Scatter) -> np.ndarray:
    """The pilot's mean squares with negative components at zero."""
    return np.maximum.accumulate([layer.value for layer in reversed(scatter.layers)])[::-1]


def _covariances(judged: Strata, rows: Sequence[np.ndarray], names: Sequence[str]) -> np.ndarray:
    """Covariances of the contrasts in each stratum, from the unit variances of their sums and differences."""
    count = len(rows)
    made = np.zeros((len(names), count, count))

    def variances(row: np.ndarray) -> np.ndarray:
        """Unit variance of a contrast in each stratum."""
        found = {part.stratum: part.unit_variance for part in judged.parts(row)}
        return np.array([found.get(name, 0.0) for name in names])

    alone = [variances(row) for row in rows]
    for one in range(count):
        made[:, one, one] = alone[one]
        for other in range(one):
            shared = 0.5 * (variances(rows[one] + rows[other]) - alone[one] - alone[other])
            made[:, one, other] = made[:, other, one] = shared
    return made


def _critical(family: Family, alpha: float, df: np.ndarray, covariance: np.ndarray) -> np.ndarray:
    """Half-width of each interval in its standard errors, as the family adjusts it."""
    count = len(df)
    if family.adjust == "multivariate_t" and count > 1:
        scale = np.sqrt(np.diag(covariance))
        limit = families.joint_critical(covariance / np.outer(scale, scale), float(df.min()), alpha)
        return np.full(count, limit)
    return critical_t(df, alpha=alpha / count if family.adjust == "holm" else alpha)
