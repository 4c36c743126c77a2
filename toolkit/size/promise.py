"""What a design promises for each comparison and term: power, assurance, detectable ratio, forecast of verdicts.

Rank 5. The error of each claim comes from the design's strata; the scatter from ``size.scatter``. The formulas are
those of ``numeric.promise`` and its neighbours; where the strata have no mean squares of their own, Kenward and Roger's
in campaigns laid out at the scatter assumed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from scipy import special

from toolkit.brief import by_position
from toolkit.brief import model as brief_model
from toolkit.brief.model import Brief, Comparison, Response
from toolkit.design import factorial, phases, questions
from toolkit.design import positions as design_positions
from toolkit.design import strata as design_strata
from toolkit.design.design import Design
from toolkit.design.strata import ErrorPart, Strata
from toolkit.design.terms import CURVATURE
from toolkit.numeric.noncentral import critical_t
from toolkit.size import _claim_numbers as claim_numbers
from toolkit.size import _errors as errors
from toolkit.size import _helping_run as helping_run
from toolkit.size import _unbalanced as unbalanced
from toolkit.size import iron
from toolkit.size.claim import Asked, Claim, claim_of
from toolkit.size.scatter import Scatter

__all__ = ["Claim", "as_judged", "asked_of", "claims", "claims_of_runs", "judged_at", "of_strata"]


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

    Examples
    --------
    How likely two and three builds of four runs would show the first change, by a guess of the scatter:

    >>> from dataclasses import replace
    >>> from toolkit import shipped
    >>> from toolkit.brief import reading
    >>> from toolkit.brief.known_scatter import KnownScatter
    >>> from toolkit.design import factorial
    >>> from toolkit.size import scatter
    >>> brief = reading.read(shipped.folder("templates") / "campaign" / "campaign.toml")
    >>> guess = scatter.known(replace(brief, scatter=KnownScatter(declared_cv_pct=(8.0, 15.0))), "wear_um")
    >>> two, three = claims([factorial.full(brief, builds=builds) for builds in (2, 3)], guess)
    >>> f"{100 * two[0].power:.0f} %, {100 * three[0].power:.0f} %"
    '47 %, 80 %'
    """
    laid = of_response(as_judged(designs, standing), scatter.response)
    return of_strata(scatter, laid, of_response([design.strata for design in designs], scatter.response))


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
    the blocks they are judged in, or Kenward and Roger's where units of several runs are not balanced.

    Checked against: tests/unit/size/test_promise_of_runs.py (noncentral t of scipy on columns written by hand, and
    campaigns drawn and analysed run by run).
    """
    return of_strata(scatter, [phases.strata_together(by_position.judged(brief, scatter.response), runs)], [None])[0]


def as_judged(designs: Sequence[Design], standing: pd.DataFrame | None) -> list[Strata]:
    """The strata the runs of each design will be judged in, beside the runs of other phases that count.

    Parameters
    ----------
    designs, standing
        As for ``claims``.

    Notes
    -----
    Checked against: tests/unit/size/test_options.py, a pilot that counts.
    """
    brief = designs[0].brief
    if standing is None and "pilot" in brief.counted_phases and designs[0].phase != "pilot":
        standing = factorial.pilot(brief).table.assign(phase="pilot")
    if standing is None:
        return [design.strata for design in designs]
    return [
        phases.strata_together(brief, pd.concat([standing, design.table.assign(phase=design.phase)], ignore_index=True))
        for design in designs
    ]


def of_response(laid: Sequence[Strata], response: Response) -> list[Strata]:
    """The strata by which a response is judged: without positions where it is measured once a run.

    Parameters
    ----------
    laid : sequence of Strata
        Of one brief.
    response : Response

    Notes
    -----
    Checked against: tests/unit/size/test_positions.py.
    """
    mine = by_position.judged(laid[0].brief, response) if laid else None
    if mine is None or mine is laid[0].brief:
        return list(laid)
    return [design_strata.of_runs(mine, design_positions.runs_of(item.brief, item.runs)) for item in laid]


def of_strata(scatter: Scatter, laid: Sequence[Strata], plans: Sequence[Strata | None]) -> list[list[Claim]]:
    """The claims in each of several strata of one brief.

    Parameters
    ----------
    scatter : Scatter
    laid : sequence of Strata
    plans : sequence of Strata or None
        The plan behind each by itself, for the price of the iron promise; None where there is no plan.

    Notes
    -----
    Checked against: as ``claims`` and ``claims_of_runs``, which are made of it.
    """
    states: dict[int, unbalanced.States | str] = {}
    asked = asked_of(laid)
    for at, judged in enumerate(laid):
        if judged.unbalanced:
            states[at] = unbalanced.states_of(scatter, judged, np.array([item.question.row for item in asked]))
    found = [_claims(scatter, item, number, plans, states) for number, item in enumerate(asked)]
    return [[by_question[at] for by_question in found] for at in range(len(laid))]


def asked_of(laid: Sequence[Strata]) -> list[Asked]:
    """The brief's comparisons and the model's terms with their error parts in each of the strata.

    Notes
    -----
    Checked against: as ``claims``.
    """
    brief, terms = laid[0].brief, laid[0].terms
    asked = [(questions.of_comparison(brief, item, terms), item, 1) for item in brief.comparisons]
    for term in terms:
        if term != CURVATURE:
            contrasts = questions.of_term(brief, term, terms)
            asked.append((contrasts[0], None, len(contrasts)))
    return [
        Asked(question, comparison, df, tuple(laid), tuple(_parts(judged, question.row) for judged in laid))
        for question, comparison, df in asked
    ]


def _parts(judged: Strata, row: np.ndarray) -> tuple[ErrorPart, ...]:
    """The error of a contrast, with what the slopes of covariates take of it."""
    slopes = errors.slopes_of(judged)
    made = []
    for part in judged.parts(row):
        own = slopes if part.stratum == judged.finest else 0
        variance, df = errors.at_equal(np.array(part.unit_variance), np.array(float(part.error_df)), own)
        made.append(ErrorPart(part.stratum, float(variance), int(df)))
    return tuple(made)


def _claims(
    scatter: Scatter,
    asked: Asked,
    number: int,
    plans: Sequence[Strata | None],
    states: dict[int, unbalanced.States | str],
) -> list[Claim]:
    """The claims of one question, one a design."""
    brief, response = asked.laid[0].brief, scatter.response
    gain = brief_model.assumed(brief, asked.comparison, response)
    margin = brief_model.worthwhile(brief, asked.comparison, response)
    told: dict[int, claim_numbers.Numbers | str] = {}
    if gain is None or margin is None:
        told = dict.fromkeys(range(len(plans)), f"no worthwhile change is stated for {response.name}")
    else:
        alone = brief.alpha if asked.comparison is not None else None
        aim = claim_numbers.Aim(gain, margin, brief.alpha, brief.power, asked.df, alone)
        told = _told(scatter, asked, number, aim, states)
    made = []
    width = brief_model.aimed_half_width(brief, response)
    for at, judged in enumerate(asked.laid):
        found = told[at]
        if isinstance(found, str):
            made.append(claim_of(brief, response, asked, at, gain, margin, None, found, None))
            continue
        alpha, note = judged_at(judged, asked.comparison, states.get(at))
        reason, price, plan = _joined(note, _slopes(judged)), None, plans[at]
        if found["error_df"] < 1:
            reason = "no degrees of freedom for the error of this claim"
        elif width is not None and not np.isfinite(found["half_width"]):
            reason = "how wide the interval will be has no average: the pilot has 1 degree of freedom; run one more"
        if plan is not None and asked.df == 1 and plan.terms == judged.terms:
            promised = {"gain": gain, "half_width": width, "alpha": alpha, "power": brief.power}
            price = iron.iron_runs(scatter, plan, asked.question.row, **promised)
        made.append(claim_of(brief, response, asked, at, gain, margin, found, reason, price))
    return made


def _slopes(judged: Strata) -> str:
    """What the slopes of covariates cost, in words; empty where none is taken out."""
    count = errors.slopes_of(judged)
    names = " and ".join(item.name for item in judged.brief.covariates if item.unmoved)
    return f"at equal {names}: {count} df for {'the slope' if count == 1 else 'slopes'}" if count else ""


def _joined(*notes: str) -> str:
    """Notes one after the other."""
    return "; ".join(note for note in notes if note)


def _told(
    scatter: Scatter,
    asked: Asked,
    number: int,
    aim: claim_numbers.Aim,
    states: dict[int, unbalanced.States | str],
) -> dict[int, claim_numbers.Numbers | str]:
    """The numbers of one question in each of the strata, or why there are none; alike ones worked out together."""
    told: dict[int, claim_numbers.Numbers | str] = {}
    groups: dict[tuple[tuple[str, ...], float], list[int]] = {}
    for at, judged in enumerate(asked.laid):
        alpha, _ = judged_at(judged, asked.comparison, states.get(at))
        if at in states:
            told[at] = _of_states(states[at], judged, asked, number, replace(aim, alpha=alpha))
        elif not asked.parts[at]:
            told[at] = helping_run.not_estimable(judged, asked.question.row)
        else:
            error = errors.error_of(scatter, [judged], [asked.parts[at]])
            if isinstance(error, str):
                told[at] = error
            else:
                groups.setdefault((error.strata, alpha), []).append(at)
    for (_, alpha), members in groups.items():
        error = errors.error_of(scatter, [asked.laid[at] for at in members], [asked.parts[at] for at in members])
        if isinstance(error, str):
            told |= dict.fromkeys(members, error)
            continue
        numbers = claim_numbers.numbers_of(scatter, error, replace(aim, alpha=alpha))
        told |= {at: {key: value[place] for key, value in numbers.items()} for place, at in enumerate(members)}
    return told


def _of_states(
    found: unbalanced.States | str, judged: Strata, asked: Asked, number: int, aim: claim_numbers.Aim
) -> claim_numbers.Numbers | str:
    """The numbers of one question where the strata are not balanced, or why there are none."""
    if isinstance(found, str):
        return found
    if np.isnan(found.variance[number]).any():
        return helping_run.not_estimable(judged, asked.question.row)
    return claim_numbers.of_states(found, number, aim)


def judged_at(
    judged: Strata, comparison: Comparison | None, states: unbalanced.States | str | None = None
) -> tuple[float, str]:
    """The error rate a claim is judged at, and why when it is not alpha.

    Parameters
    ----------
    judged : Strata
        As the runs will be judged.
    comparison : Comparison or None
        None for a term of the model.
    states : States, optional
        Where the strata are not balanced, of the brief's comparisons in order (more may follow): their degrees of
        freedom at the scatter as estimated count. Without it such a family is taken at alpha / k.

    Returns
    -------
    alpha : float
        Of an interval on the comparison's own degrees of freedom.
    note : str

    Notes
    -----
    The analysis judges a family by the multivariate t on the fewest degrees of freedom among its comparisons. Its
    critical value is never above Student's at alpha / k on those, which is taken here: a comparison with more of its
    own is judged at the chance beyond it by its own.

    Checked against: scipy's t, tests/unit/size/test_judged_together.py, and campaigns drawn and analysed there.
    """
    brief = judged.brief
    family = brief.family_of(comparison) if comparison is not None else None
    if comparison is None or family is None or family.adjust == "none":
        return brief.alpha, ""
    size = sum(item.family == family.name for item in brief.comparisons)
    share = brief.alpha / size
    told = f"family '{family.name}' of {size} is judged together ({family.adjust}): sized at alpha / {size}"
    own, fewest = 0.0, 0.0
    if family.adjust == "multivariate_t":
        own, fewest = _own_and_fewest(judged, comparison, family.name, states)
    if not 1.0 <= fewest < own:
        return share, f"{told}, the safe side"
    limit = float(critical_t(fewest, alpha=share))
    return 2.0 * float(special.stdtr(own, -limit)), f"{told} on the family's fewest df ({fewest:.4g}), the safe side"


def _own_and_fewest(
    judged: Strata, comparison: Comparison, family: str, states: unbalanced.States | str | None
) -> tuple[float, float]:
    """The most df a comparison can be judged on, and the fewest of its family; 0 where they are not known."""
    brief = judged.brief
    most: dict[str, float] = {}
    fewest: list[float] = []
    for at, item in enumerate(brief.comparisons):
        if item.family != family:
            continue
        if not judged.unbalanced:
            row = questions.of_comparison(brief, item, judged.terms).row
            freedom = [float(part.error_df) for part in _parts(judged, row)]
        elif isinstance(states, unbalanced.States) and not np.isnan(states.variance[at]).any():
            freedom = [float(states.df[at, -1])]
        else:
            continue
        most[item.name] = sum(freedom)
        fewest += freedom
    return most.get(comparison.name, 0.0), min(fewest, default=0.0)
