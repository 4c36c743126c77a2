"""Comparisons that go along with builds, where the brief takes builds as neither units nor blocks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from toolkit.design import terms as model_terms
from toolkit.design.strata import Strata
from toolkit.design.terms import Term
from toolkit.numeric import contrasts

# Scatter between builds may count this many times as much in the answer as in its error before the answer goes
# without a verdict; our own choice: at 1.5 a nominal 5 % is at most about 11 %.
UNDERSTATED = 1.5
# What is told of those below it: rounding and a lone pair of runs in a build stay out.
WORTH_TELLING = 1.05
# A contrast whose variance grows more than this many times once builds are taken out goes along with them; so does one
# whose error counts less than this part of the scatter between builds that is in it.
INFLATED = 4.0
_SHOWN = 4


@dataclass(frozen=True)
class Aligned:
    """How a contrast lies over the builds.

    Attributes
    ----------
    apart : bool
        True when it can still be estimated with builds as fixed columns.
    inflation : float
        Its variance with builds taken out over that without; infinite where it is not apart.
    understated : float
        Scatter between builds in its estimate over what of it the error counts; 1 when every unit has a build of its
        own, infinite when the error counts none.
    """

    apart: bool
    inflation: float
    understated: float

    @property
    def withheld(self) -> bool:
        """True when nothing tells the contrast from builds and the error does not count them."""
        return not self.apart and self.understated > UNDERSTATED

    @property
    def told(self) -> bool:
        """True when the contrast keeps its verdict and a person must know of the builds."""
        if self.withheld:
            return False
        if self.apart:
            return max(self.inflation, self.understated) > INFLATED
        return self.understated > WORTH_TELLING


def aligned(laid: Strata, row: np.ndarray) -> Aligned | None:
    """How a contrast lies over builds that the strata do not count; None where they count them or there is one.

    Parameters
    ----------
    laid : Strata
        As run.
    row : ndarray, shape (parameters,)
        A contrast that is estimable without builds.

    Returns
    -------
    Aligned or None
        None too for a mean, which holds the constant.

    Notes
    -----
    With weights w of the units in the contrast, R the residual projection of its model and Z the builds: scatter of
    variance 1 between builds adds |Z'w|^2 to its variance and tr(Z'RZ) / df to its mean square, of which |w|^2 is
    counted.

    Checked against: shares by hand (six runs a level in one build each, in two builds each, and the levels spread),
    tests/unit/model/test_aligned_builds.py.
    """
    runs = laid.runs
    if laid.blocked or "build" in laid.units or "build_id" not in runs.columns or abs(float(row[0])) > 1e-9:
        return None
    names = list(dict.fromkeys(runs["build_id"]))
    used = np.abs(row) > 1e-12
    if len(names) < 2 or not used.any():
        return None
    marks = (runs["build_id"].to_numpy()[:, None] == np.array(names, dtype=object)[None, :]).astype(float)
    columns, builds = _of_units(laid, used, marks)
    if (builds > 0.0).sum(axis=0).max() < 2:
        return None
    padded = np.concatenate([row, np.zeros(columns.shape[1] - len(row))])
    solve = np.linalg.pinv(columns, rcond=1e-10)
    weights = padded @ solve
    rest = builds - columns @ (solve @ builds)
    df = len(columns) - contrasts.rank(columns)
    counted = float((rest * builds).sum()) / df if df else 0.0
    own, between = float(weights @ weights), float(((weights @ builds) ** 2).sum())
    understated = between / (own * counted) if counted > 1e-9 else np.inf
    both = np.hstack([columns, builds])
    beside = np.concatenate([padded, np.zeros(len(names))])
    if not contrasts.estimable(beside[None, :], both)[0]:
        return Aligned(False, np.inf, understated)
    apart = beside @ np.linalg.pinv(both, rcond=1e-10)
    return Aligned(True, float(apart @ apart) / own, understated)


def why_withheld(laid: Strata, row: np.ndarray) -> str:
    """Why a contrast has no interval and no verdict because of builds, and what to do; empty where it has."""
    found = aligned(laid, row)
    if found is None or not found.withheld:
        return ""
    return (
        f"cannot be told apart from builds: {_where(laid, row)}. So no interval and no test: repeat both sides within "
        f"one build, or declare builds as blocks in the brief and run both sides in each"
    )


def why_told(laid: Strata, row: np.ndarray) -> str:
    """How a contrast that keeps its verdict goes along with builds, in words; empty where it does not."""
    found = aligned(laid, row)
    if found is None or not found.told:
        return ""
    if found.inflation <= INFLATED or not found.apart:
        where = _where(laid, row)
        return f"goes along with builds ({where}), and its error counts the scatter between them in part only"
    return (
        f"goes along with builds ({_where(laid, row)}): with builds taken out its variance would be "
        f"{found.inflation:.1f} times as large"
    )


def term_withheld(laid: Strata, term: Term) -> str:
    """Why a term has no test because of builds; empty where it has one."""
    span = laid.spans[term]
    for row in np.eye(laid.columns.shape[1])[span]:
        if contrasts.estimable(row[None, :], laid.columns)[0] and (told := why_withheld(laid, row)):
            return told
    return ""


def _of_units(laid: Strata, used: np.ndarray, marks: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Columns and builds with one row a unit of the coarsest stratum of the contrast; finer terms are nought."""
    finer = list(laid.columns_of().items())
    at = next((place for place, (_, own) in enumerate(finer) if np.any(used[own])), len(finer) - 1)
    columns = laid.full_columns.copy()
    for _, own in finer[at + 1 :]:
        keep = np.flatnonzero(own) if np.asarray(own).dtype == bool else np.asarray(own)
        columns[:, keep] = np.where(used[keep], columns[:, keep], 0.0)
    _, member = np.unique(laid.members[finer[at][0]], return_inverse=True)
    share = np.eye(int(member.max()) + 1)[member]
    share = share / share.sum(axis=0)
    return share.T @ columns, share.T @ marks


def _where(laid: Strata, row: np.ndarray) -> str:
    """In which builds the levels of the factors of a contrast were run, in words."""
    factors = dict.fromkeys(
        name
        for term, span in laid.spans.items()
        if term != model_terms.CURVATURE and np.any(np.abs(row[span]) > 1e-9)
        for name in term
    )
    everywhere = laid.runs["build_id"].nunique()
    spread = {name: int(laid.runs.groupby(name)["build_id"].nunique().min()) for name in factors}
    parts = []
    for name in [name for name in factors if spread[name] < everywhere] or list(factors):
        for level, part in laid.runs.groupby(name, sort=False):
            builds = list(dict.fromkeys(part["build_id"].astype(str)))
            told = ", ".join(builds[:_SHOWN]) + (f" and {len(builds) - _SHOWN} more" if len(builds) > _SHOWN else "")
            parts.append(f"every run with {name} {level} was in build{'s' if len(builds) > 1 else ''} {told}")
    return "; ".join(parts)
