"""The layers of units of a run table: what each sees of a value, its degrees of freedom, its balance (rank 3)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief
from toolkit.design import base, units
from toolkit.design.terms import CURVATURE, Term
from toolkit.design.units import POSITION, RUN, unit_of
from toolkit.numeric import contrasts

# Column means below this are rounding.
_NIL = 1e-9


@dataclass(frozen=True)
class ErrorPart:
    """The share of one stratum in the variance of a contrast: unit_variance times that stratum's mean square."""

    stratum: str
    unit_variance: float
    error_df: int


@dataclass(frozen=True)
class Stratum:
    """One layer of units.

    Attributes
    ----------
    name : str
        build, part, fill, run or position; station and reading for sub-samples.
    units : int
        How many units of this kind there are.
    terms : tuple of Term
        The terms judged in this stratum.
    term_df : int
        Their degrees of freedom, by rank.
    error_df : int or None
        Degrees of freedom of the error; None where the layer is never an error.
    role : str
        What the layer is for, in words.
    """

    name: str
    units: int
    terms: tuple[Term, ...]
    term_df: int
    error_df: int | None
    role: str


def unit_of_term(brief: Brief, term: Term) -> str:
    """The finest unit among the factors of a term; of curvature the coarsest among the factors with a centre."""
    chain = units.of_brief(brief)
    if term != CURVATURE and (shared := base.unit_of_contrast(brief, term)):
        # Runs of a unit may share what two factors that change within it do together.
        return shared
    if term == CURVATURE:
        # What is set up at its centre stays there for all runs of that unit.
        return min((unit_of(brief, item) for item in brief.factors if item.numeric), key=chain.index, default=RUN)
    return max((unit_of(brief, brief.factor(name)) for name in term), key=chain.index)


def scaled(members: Mapping[str, np.ndarray], stratum: str, values: np.ndarray) -> np.ndarray:
    """Values as a stratum sees them (see ``Strata.scaled``)."""
    names = list(members)
    own = members[stratum]
    number = np.bincount(own).astype(float)
    found = units.means(values, own)
    if stratum != names[0]:
        above = members[names[names.index(stratum) - 1]]
        first = np.unique(own, return_index=True)[1]
        found = found - units.means(values, above)[above[first]]
    return (found.T * np.sqrt(number)).T


def block_columns_of(builds: pd.Series) -> np.ndarray:
    """Sum-coded columns of the builds, shape (runs, builds - 1)."""
    names = list(dict.fromkeys(builds))
    coding = np.vstack([np.eye(len(names) - 1), -np.ones((1, len(names) - 1))])
    return coding[[names.index(name) for name in builds]].reshape(len(builds), len(names) - 1)


def sub_samples(brief: Brief, runs: int) -> Sequence[Stratum]:
    """The station and reading layers of the first response that has them: sharpen a run value, never an error."""
    for response in brief.responses:
        if response.stations is not None:
            stations = runs * response.stations.count
            lines = [Stratum("station", stations, (), 0, None, f"sub-sample ({response.stations.kind})")]
            if response.stations.readings > 1:
                lines.append(Stratum("reading", stations * response.stations.readings, (), 0, None, "sub-sample"))
            return lines
    return ()


def stratum_of(
    brief: Brief,
    members: Mapping[str, np.ndarray],
    unit: str,
    terms: Sequence[Term],
    columns: np.ndarray,
    spans: dict[Term, slice],
    block_columns: np.ndarray,
    of_positions: np.ndarray,
) -> Stratum:
    """One layer of units with its terms and degrees of freedom, by rank."""
    names = list(members)
    first, count = unit == names[0], len(set(members[unit]))
    own = tuple(term for term in terms if unit_of_term(brief, term) == unit)
    chosen = [columns[:, :0], *(columns[:, spans[term]] for term in own)]
    if first:
        base = np.hstack([np.ones((len(columns), 1)), block_columns])
        taken = contrasts.rank(scaled(members, unit, base))
        rank = contrasts.rank(scaled(members, unit, np.hstack([base, *chosen]))) - taken
    else:
        taken = len(set(members[names[names.index(unit) - 1]]))
        fixed = of_positions if unit == names[-1] else columns[:, :0]
        held = scaled(members, unit, np.hstack([fixed, *chosen]))
        besides = contrasts.rank(held[:, : fixed.shape[1]]) if fixed.shape[1] else 0
        taken += besides
        rank = contrasts.rank(held) - besides if held.shape[1] else 0
    role = "experimental unit and error" if unit == names[-1] else f"unit of the {unit}-level factors"
    if unit == RUN and names[-1] == POSITION and not own:
        role = "block: positions are compared within"
    return Stratum(unit, count, own, rank, count - taken - rank, role)


def unbalanced(
    brief: Brief,
    runs: pd.DataFrame,
    members: Mapping[str, np.ndarray],
    columns: np.ndarray,
    spans: dict[Term, slice],
    of_positions: np.ndarray,
) -> tuple[str, bool]:
    """Why the strata have no exact mean squares of their own (empty: they have), and whether all units are alike."""
    if len(members) == 1:
        return "", True
    names, odd, uneven = list(members), {}, ""
    for above, below in zip(names, names[1:], strict=False):
        finer = [f.name for f in brief.factors if names.index(unit_of(brief, f)) > names.index(above)]
        odd[above] = _odd(brief, runs, above, finer)
        own = [span for term, span in spans.items() if term != () and unit_of_term(brief, term) == below]
        fixed = of_positions if below == names[-1] else columns[:, :0]
        chosen = np.hstack([fixed, *(columns[:, span] for span in own)])
        even = bool((np.abs(units.means(chosen, members[above])) < _NIL).all())
        if len(set(np.bincount(members[above]))) > 1 or not even:
            uneven = uneven or above
    alike = not any(odd.values())
    if not uneven:
        return "", alike
    if alike and CURVATURE in spans:
        return f"centre points lie beside the corners in each {units.NAMES[uneven]}", alike
    found = next(((unit, labels) for unit, labels in odd.items() if labels), None)
    if found is None:
        what = f"in each {units.NAMES[uneven]} not every combination of what changes there is run equally often"
    else:
        unit, labels = found
        what = (
            f"{units.listed(unit, labels)} {'does' if len(labels) == 1 else 'do'} not hold the same combinations as "
            f"the other {units.PLURALS[unit]}"
        )
    return what, alike


def _odd(brief: Brief, runs: pd.DataFrame, unit: str, finer: Sequence[str]) -> list[str]:
    """Labels of the units that do not hold the combinations of these factors that most of their kind hold."""
    keys = zip(*(runs[name].astype(str).tolist() for name in finer), strict=True) if finer else [()] * len(runs)
    inside: dict[str, list[tuple[str, ...]]] = {}
    for label, key in zip(units.labels(brief, runs, unit).tolist(), keys, strict=True):
        inside.setdefault(label, []).append(key)
    content = {label: tuple(sorted(keys)) for label, keys in inside.items()}
    held = list(content.values())
    usual = max(held, key=lambda one: (held.count(one), len(one)))
    return [label for label, one in content.items() if one != usual]
