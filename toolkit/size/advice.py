"""What is said beside the plans: the recommendation to be read out, what it cannot show, lost runs, splits, routes.

Rank 5. It takes the plans as ``size.options`` laid them out and works nothing out twice.
"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import Brief
from toolkit.design.design import Design
from toolkit.size import _claim_words as claim_words
from toolkit.size import _goals as goals
from toolkit.size import _option_words as option_words
from toolkit.size import candidates, in_words, losing_runs, routes
from toolkit.size import split as size_split
from toolkit.size.advised import Advice
from toolkit.size.claim import Claim
from toolkit.size.option import Option
from toolkit.size.options import Options
from toolkit.size.scatter import Scatter
from toolkit.size.split import Split
from toolkit.wording import joined


def of_options(found: Options, *, standing: pd.DataFrame | None = None) -> Advice:
    """The recommendation and all that stands beside it.

    Parameters
    ----------
    found : Options
    standing : DataFrame, optional
        As it was given to ``size.options.options``.

    Returns
    -------
    Advice

    Notes
    -----
    Checked against: the claims it tells of, tests/unit/size/test_advice.py.

    Examples
    --------
    By a guess of the scatter, with no price list:

    >>> from dataclasses import replace
    >>> from toolkit import shipped
    >>> from toolkit.brief import reading
    >>> from toolkit.brief.known_scatter import KnownScatter
    >>> from toolkit.size import options, scatter
    >>> brief = reading.read(shipped.folder("templates") / "campaign" / "campaign.toml")
    >>> brief = replace(brief, scatter=KnownScatter(declared_cv_pct=(8.0, 15.0)))
    >>> told = of_options(options.options(brief, [scatter.known(brief, "wear_um")]))
    >>> print(*told.spoken[:2], sep="\\n")
    Book 36 runs in 3 builds.
    It shows change a (true change -20 %, chance 100 %), change b (true change -20 %, chance 100 %) and does a need b \
(true change -20 %, chance 80 %).
    """
    brief = found.brief
    primary = next(item.name for item in brief.responses if item.role == "primary")
    scatter = next(item for item in found.scatters if item.response.name == primary)
    plan = goals.spoken_of(brief, found.options, found.recommended, primary)
    plan = _with_losses(plan, scatter, standing)
    notes: list[str] = []
    shared = _split(brief, plan, scatter, primary, standing)
    if isinstance(shared, str):
        notes.append(f"runs, stations and readings are not shared out: {shared}")
        shared = None
    both = routes.beside(brief, scatter, plan)
    advised = found.recommended is not None
    return Advice(
        plan,
        advised,
        _spoken(found, plan, primary, scatter) if advised else (found.sentence,),
        _cannot(found, plan, primary, scatter),
        shared,
        both,
        tuple(notes),
    )


def _with_losses(plan: Option, scatter: Scatter, standing: pd.DataFrame | None) -> Option:
    """The plan with what is left of the primary response's claims after lost runs."""
    own = [claim for claim in plan.claims if claim.response == scatter.response.name]
    if not any(claim.comparison for claim in own):
        return plan
    told = losing_runs.after_losses([plan.design], scatter, [own], standing=standing)[0]
    rest = [claim for claim in plan.claims if claim.response != scatter.response.name]
    return replace(plan, claims=(*told, *rest))


def _split(
    brief: Brief, plan: Option, scatter: Scatter, primary: str, standing: pd.DataFrame | None
) -> Split | str:
    """Runs, stations and readings shared out for the first comparison that is not shown yet, else the first of all."""
    claims = [claim for claim in plan.claims if claim.response == primary and claim.comparison]
    if not claims:
        return "no comparison is asked for"
    chosen = next((claim for claim in claims if not claim.reached), claims[0])
    comparison = next(item for item in brief.comparisons if item.name == chosen.comparison)
    if by_position.divided(brief):
        return "that is not worked out where the positions of a run hold parts of their own"
    proposed = candidates.of_brief(brief) if standing is None else candidates.of_extension(brief)
    return size_split.split(_alike(plan.design, proposed), scatter, comparison, standing=standing)


def _alike(design: Design, proposed: list[Design]) -> list[Design]:
    """The plans of the same kind as a plan, itself among them; a single build only if it is the plan itself."""
    kept = [
        item
        for item in proposed
        if item.strata.terms == design.strata.terms and (item.builds > 1 or design.builds == 1)
    ]
    return kept if any(item.name == design.name for item in kept) else [*kept, design]


def _spoken(found: Options, plan: Option, primary: str, scatter: Scatter) -> tuple[str, ...]:
    """The recommendation, sentence by sentence."""
    brief = found.brief
    claims = [claim for claim in plan.claims if claim.response == primary and claim.comparison]
    further = "further " if found.phase == "extension" else ""
    runs = f"{plan.design.runs} {further}runs"
    if plan.design.builds > 1:
        runs += f" in {plan.design.builds} builds"
    paid = ""
    if brief.cost.items:
        paid = f": {plan.price.hours:,.0f} h and {plan.price.cost:,.0f} {brief.cost.currency}".rstrip()
        if plan.price.expected_lost_runs:
            attempts = plan.design.runs + plan.price.expected_lost_runs
            paid += f", which pays for {attempts:.3g} attempts, as {brief.cost.lost_runs_pct:g} % of runs are lost"
        if brief.cost.budget is not None:
            paid += f" (budget {brief.cost.budget:,.0f} {brief.cost.currency}".rstrip() + ")"
    said = [f"Book {runs}{paid}."]
    reached = [claim for claim in claims if claim.reached]
    if reached:
        said.append(f"It shows {joined([_shown(brief, claim) for claim in reached])}.")
    picks = [pick for pick in plan.picks if pick.response == primary and pick.reached]
    for pick in picks:
        said.append(
            f"It picks the {option_words.picked(brief, pick)}. That is a choice and no proof: a difference of that "
            f"size between two of them is shown with a chance of {_per_cent(pick.proof)}."
        )
    if reached:
        first = reached[0]
        outcomes = first.outcomes or {}
        said.append(
            f"If {first.comparison} truly brings what is assumed, it is shown to be worthwhile with a chance of "
            f"{_per_cent(outcomes.get('worthwhile gain'))}, and the money is spent and nothing known yet with one of "
            f"{_per_cent(outcomes.get('not known yet'))}."
        )
        if first.after_one_lost is not None:
            two = "" if first.after_two_lost is None else f", after two {_per_cent(first.after_two_lost)}"
            said.append(
                f"If one run is lost for good its chance falls to {_per_cent(first.after_one_lost)}{two}."
            )
        said.append(_rests_on(scatter, first))
        said += claim_words.beside(brief, plan, first)
    if fewer := _fewer(found, plan, primary):
        said.append(fewer)
    return tuple(said)


def _fewer(found: Options, plan: Option, primary: str) -> str:
    """A cheaper plan that runs a part of the combinations and shows the same; empty where there is none."""
    brief = found.brief

    def shows(option: Option) -> set[str]:
        reached = {str(claim.comparison) for claim in option.claims if claim.response == primary and claim.reached}
        return (reached - {"None"}) | {pick.name for pick in option.picks if pick.response == primary and pick.reached}

    def paid(option: Option) -> float:
        return option.price.cost if brief.cost.items else float(option.design.runs)

    wanted = shows(plan)
    other = [
        option
        for option in found.options
        if option.design.brief.plan.design != plan.design.brief.plan.design
        and wanted <= shows(option)
        and paid(option) < paid(plan)
    ]
    if not wanted or not other:
        return ""
    least = min(other, key=paid)
    price = f", {least.price.cost:,.0f} {brief.cost.currency}".rstrip() if brief.cost.items else ""
    return (
        f"A part of the combinations shows the same with {least.design.runs} runs ({least.name}{price}); main effects "
        f"are clear of interactions there, but interactions that are not asked for share contrasts and cannot be told "
        f"apart."
    )


def _rests_on(scatter: Scatter, claim: Claim) -> str:
    """What the chances rest on, and how they stand at the upper limit of the scatter."""
    from_ = {
        "pilot": "the pilot's scatter",
        "blended": "the pilot's scatter blended with the rig's history",
        "history": "the rig's history",
        "declared": "a declared guess of the scatter",
        "main": "the scatter of the runs made so far",
    }[scatter.basis]
    held = "" if scatter.ends is None else ", which is taken as the most that values below the limit allow"
    upper = "the upper end of the guess" if scatter.basis == "declared" else "the 80 % upper limit of the scatter"
    return (
        f"All this is averaged over the doubt in {from_}{held}; at {upper} the chance of {claim.comparison} is "
        f"{_per_cent(claim.power_at_upper_scatter)}."
    )


def _cannot(found: Options, plan: Option, primary: str, scatter: Scatter) -> tuple[str, ...]:
    """What the plan cannot show."""
    brief, response = found.brief, found.brief.response(primary)
    claims = [claim for claim in plan.claims if claim.response == primary and claim.comparison]
    said = []
    missed = [option_words.told(brief, claim) for claim in claims if not claim.reached]
    missed += [
        option_words.picked(brief, pick) for pick in plan.picks if pick.response == primary and not pick.reached
    ]
    if missed and found.recommended is not None:
        said.append(f"It cannot be relied on for {joined(missed)}; asked are {100 * brief.power:g} %.")
    smallest = [
        f"{in_words.detectable(response, claim)} for {claim.comparison}"
        for claim in claims
        if in_words.smallest(claim) is not None
    ]
    if smallest:
        said.append(
            f"Changes smaller than {joined(smallest)} are shown in fewer than {100 * brief.power:g} % of "
            f"campaigns even if the scatter is as {'estimated' if scatter.ends is None else 'large as taken'}."
        )
    if claims:
        said.append(
            f"A true change of exactly the worthwhile size is shown to be worthwhile in only "
            f"{100 * brief.alpha / 2:g} % of campaigns, however many runs are made."
        )
    said.append(
        "Nothing here speaks of engines, batches of parts or batches of oil other than those that are run, and "
        "stations or readings are no substitute for runs."
    )
    return tuple(said)


def _shown(brief: Brief, claim: Claim) -> str:
    """A comparison with its assumed change and the chance that it is shown."""
    return option_words.told(brief, claim)


def _per_cent(share: float | None) -> str:
    """A chance as a whole per cent; below 1 % said so."""
    if share is None:
        return "not told"
    return "under 1 %" if 0.0 < share < 0.005 else f"{100 * share:.0f} %"
