"""What a design promises for each comparison and term: power, assurance, detectable ratio, forecast of verdicts.

Rank 5. The error of each claim comes from the design's strata; the scatter from ``size.scatter``. The formulas are
those of ``numeric.promise`` and ``numeric.noncentral``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from toolkit import stamp
from toolkit.brief import model as brief_model
from toolkit.brief.model import Brief, Comparison, Response
from toolkit.design import factorial, phases, questions
from toolkit.design import terms as model_terms
from toolkit.design.design import Design
from toolkit.design.strata import Strata
from toolkit.design.terms import CURVATURE
from toolkit.model._layers import even_within_builds
from toolkit.numeric import promise
from toolkit.size._claim_numbers import Asked, numbers_of
from toolkit.size.scatter import Scatter

_RUNS_UNKNOWN = "the scatter between runs of a build is not known"
_UNEVEN = "within a build not every combination is run equally often, and unbalanced whole plots are not covered"


@dataclass(frozen=True)
class Claim:
    """What one design says about one comparison or term of one response.

    Attributes
    ----------
    response, comparison, term, contrast : str or None
        Exactly one of comparison and term is filled.
    error_stratum : str
    error_df : float or None
        Of the comparison's own error; None when not estimable.
    power : float or None
        Chance that a difference is shown if the scatter is exactly as estimated (plug-in).
    assurance : float or None
        The same averaged over the doubt in the scatter: this one counts.
    power_at_upper_scatter : float or None
        The same at the 80 % upper limit of the comparison's own error SD; for a declared guess at the upper end of
        its range.
    detectable_ratio : float or None
        Smallest change, as a ratio in the direction of the gain, shown with the asked power at the scatter as
        estimated (log scale); ``detectable_change`` in the response's unit on the linear scale.
    assumed_change, worthwhile_change : float or None
        In per cent on the log scale, else in the response's unit.
    outcomes : dict or None
        Chance of each of the six verdicts at the assumed change, averaged over the doubt.
    reached : bool
        Assurance at least the asked power, unrounded.
    """

    response: str
    comparison: str | None
    term: str | None
    contrast: str
    error_stratum: str
    error_df: float | None
    power: float | None
    assurance: float | None
    power_at_upper_scatter: float | None
    detectable_ratio: float | None
    detectable_change: float | None
    assumed_change: float | None
    worthwhile_change: float | None
    outcomes: dict[str, float] | None
    reached: bool
    note: str

    def to_dict(self) -> dict[str, object]:
        """The claim for JSON."""
        return stamp.plain(dict(self.__dict__))


def claims(designs: Sequence[Design], scatter: Scatter, *, standing: pd.DataFrame | None = None) -> list[list[Claim]]:
    """Every comparison, then every term, for each design in turn.

    Parameters
    ----------
    designs : sequence of Design
        Designs of one brief, one phase and one kind.
    scatter : Scatter
        Of one response of that brief.
    standing : DataFrame, optional
        Runs of other phases that will count beside those of each design: phase, build_id and the factors. Left out:
        the pilot as planned, where the brief says that it counts.

    Returns
    -------
    list of list of Claim
        One list a design, comparisons first.
    """
    brief = designs[0].brief
    if standing is None and "pilot" in brief.counted_phases and designs[0].phase != "pilot":
        standing = factorial.pilot(brief).table.assign(phase="pilot")
    laid = [_as_judged(design, standing) for design in designs]
    return _of_strata(brief, laid, [design.runs / design.builds for design in designs], scatter)


def claims_of_runs(brief: Brief, runs: pd.DataFrame, scatter: Scatter) -> list[Claim]:
    """What a set of runs can show, whatever plan it came from: every comparison, then every term.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        The runs that would count, one row each: phase, build_id and one column per factor with level names. Phases
        that no analysis rests on are left out here.
    scatter : Scatter
        Of one response of that brief.

    Returns
    -------
    list of Claim
        Comparisons first. Nothing is told where the runs cannot be judged (its ``note`` says why).

    Raises
    ------
    DesignError
        As ``design.phases.strata_together``.

    Notes
    -----
    The runs need not be balanced: the variance of each contrast is that of least squares over exactly these runs in
    the blocks they are judged in.

    Checked against: tests/unit/size/test_promise_of_runs.py (noncentral t of scipy on columns written by hand, and
    campaigns drawn and analysed run by run).
    """
    laid = phases.strata_together(brief, runs)
    builds = laid.runs["build_id"].nunique()
    return [found[0] for found in zip(*_of_strata(brief, [laid], [len(laid.runs) / builds], scatter), strict=True)]


def _of_strata(brief: Brief, laid: Sequence[Strata], each: Sequence[float], scatter: Scatter) -> list[list[Claim]]:
    """The claims in each of several strata of one brief; ``each`` is how many runs a build has in them."""
    found = [_claims(brief, scatter.response, scatter, asked) for asked in _questions(brief, laid, each)]
    return [[by_question[at] for by_question in found] for at in range(len(laid))]


def _questions(brief: Brief, as_judged: Sequence[Strata], each: Sequence[float]) -> list[Asked]:
    """The brief's comparisons and the model's terms with their error parts in each of the strata."""
    terms = as_judged[0].terms
    uncovered = as_judged[0].not_covered or ("" if even_within_builds(as_judged[0]) else _UNEVEN)
    asked = [(questions.of_comparison(brief, item, terms), item, 1) for item in brief.comparisons]
    for term in terms:
        if term != CURVATURE:
            contrasts = questions.of_term(brief, term, terms)
            asked.append((contrasts[0], None, len(contrasts)))
    made = []
    for question, comparison, df in asked:
        parts = [judged.parts(question.row) for judged in as_judged]
        names = tuple(part.stratum for part in max(parts, key=len))
        variances = np.array([[part.unit_variance for part in found] or [math.nan] * len(names) for found in parts])
        freedom = np.array([[part.error_df for part in found] or [0] * len(names) for found in parts], dtype=float)
        made.append(Asked(question, comparison, df, names, variances, freedom, np.array(each), uncovered))
    return made


def _as_judged(design: Design, standing: pd.DataFrame | None) -> Strata:
    """The strata the runs of a plan will be judged in, beside the runs of other phases that count."""
    if standing is None:
        return design.strata
    both = pd.concat([standing, design.table.assign(phase=design.phase)], ignore_index=True)
    return phases.strata_together(design.brief, both)


def _claims(brief: Brief, response: Response, scatter: Scatter, asked: Asked) -> list[Claim]:
    """The claims of one question, one a design."""
    count = len(asked.each)
    gain = brief_model.assumed(brief, asked.comparison, response)
    margin = brief_model.worthwhile(brief, asked.comparison, response)
    alpha, note = _judged_at(brief, asked.comparison)
    reason = ""
    if asked.uncovered:
        reason = asked.uncovered
    elif not asked.strata or np.isnan(asked.variances).any():
        reason = "not estimable in this design"
    elif "build" in asked.strata and scatter.build is None:
        reason = "the scatter between builds is not known"
    elif not scatter.run_known and asked.strata != ("build",):
        reason = _RUNS_UNKNOWN
    elif gain is None or margin is None:
        reason = f"no worthwhile change is stated for {response.name}"
    stratum = " and ".join(asked.strata)
    if reason:
        return [_claim(brief, response, asked, stratum, gain, margin, None, reason) for _ in range(count)]
    numbers = numbers_of(scatter, asked, gain, margin, alpha, brief.power)
    made = []
    for at in range(count):
        found: dict[str, np.ndarray] | None = {key: value[at] for key, value in numbers.items()}
        told = note if asked.error_df[at].min() >= 1 else "no degrees of freedom for the error of this claim"
        if not scatter.run_known and asked.each[at] != scatter.runs_per_build:
            found, told = None, _RUNS_UNKNOWN
        made.append(_claim(brief, response, asked, stratum, gain, margin, found, told))
    return made


def _judged_at(brief: Brief, comparison: Comparison | None) -> tuple[float, str]:
    """The error rate a claim is judged at, and why when it is not alpha."""
    family = brief.family_of(comparison) if comparison is not None else None
    if family is None or family.adjust == "none":
        return brief.alpha, ""
    size = sum(item.family == family.name for item in brief.comparisons)
    return brief.alpha / size, (
        f"family '{family.name}' of {size} is judged together ({family.adjust}): sized at alpha / {size}, the safe side"
    )


def _claim(
    brief: Brief,
    response: Response,
    asked: Asked,
    stratum: str,
    gain: float | None,
    margin: float | None,
    numbers: dict[str, np.ndarray] | None,
    note: str,
) -> Claim:
    """One claim from its numbers (None: none can be told)."""

    def told(key: str) -> float | None:
        value = None if numbers is None else float(numbers[key])
        return value if value is not None and math.isfinite(value) else None

    smallest = told("detectable")
    log = response.scale == "log"
    sign = brief_model.gain_sign(response)
    comparison = asked.comparison
    return Claim(
        response=response.name,
        comparison=comparison.name if comparison else None,
        term=None if comparison else model_terms.name_of(asked.question.term or ()),
        contrast=asked.question.contrast,
        error_stratum=stratum,
        error_df=told("error_df"),
        power=told("power"),
        assurance=told("assurance"),
        power_at_upper_scatter=told("power_at_upper_scatter"),
        detectable_ratio=math.exp(sign * smallest) if log and smallest is not None else None,
        detectable_change=None if log else smallest,
        assumed_change=_stated(gain, response),
        worthwhile_change=_stated(margin, response),
        outcomes=None
        if numbers is None
        else {name: float(share) for name, share in zip(promise.OUTCOMES, numbers["outcomes"], strict=True)},
        reached=(told("assurance") or 0.0) >= brief.power,
        note=note,
    )


def _stated(gain: float | None, response: Response) -> float | None:
    """A gain as the brief states it: per cent on the log scale, else in the unit."""
    if gain is None or response.scale != "log":
        return gain
    return 100.0 * abs(math.expm1(brief_model.gain_sign(response) * gain))
