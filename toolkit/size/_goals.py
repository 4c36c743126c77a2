"""What a plan is asked to show, promise by promise, and the rule by which one plan is advised (rank 5)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from toolkit.brief import model as brief_model
from toolkit.brief.model import Brief
from toolkit.design import strata
from toolkit.size import _option_words as option_words
from toolkit.size.claim import Claim
from toolkit.size.option import Option


@dataclass(frozen=True)
class Goal:
    """One promise asked of a plan: of a comparison, of a choice of the best, or of a family that is promised together.

    Attributes
    ----------
    name : str
        As people say it; empty where its parts are told one by one.
    score : float
        Larger is better: the chance, or the half-width with its sign turned; minus infinity where it is not told.
    figure : str
        The score in words: '36 %', 'x/÷ 1.150'.
    kept : bool
    """

    name: str
    score: float
    figure: str
    kept: bool


def goals(brief: Brief, option: Option, primary: str) -> dict[str, Goal]:
    """Every promise asked of a plan for the primary response, in the order of the brief."""
    # Where a family promises any or all of its comparisons, that counts in their place.
    kind = {family.name: family.promise for family in brief.families}
    together = {item.name for item in brief.comparisons if kind.get(item.family or "", "each") != "each"}
    made = {
        f"comparison {claim.comparison}": _of_comparison(brief, claim)
        for claim in option.claims
        if claim.response == primary and claim.comparison and claim.comparison not in together
    }
    made |= {
        pick.name: _of_chance(brief, pick.name, pick.chance, pick.reached)
        for pick in option.picks
        if pick.response == primary
    }
    for item in option.families:
        if item.response == primary:
            name = "" if item.promise == "each" else f"{item.promise} of the family '{item.family}'"
            share = {"any": item.any, "each": item.each, "all": item.all}[item.promise]
            made[f"family {item.family}"] = _of_chance(brief, name, share, item.reached)
    return made


def inside(brief: Brief, made: Sequence[Option]) -> list[Option]:
    """The plans that may be advised: of the brief's own design, within the budget, no single build as a block."""
    return [option for option in eligible(brief, made) if option.within_budget]


def eligible(brief: Brief, made: Sequence[Option]) -> list[Option]:
    """The same whatever they cost."""
    # One build cannot tell what another would show: where builds are blocks, such a plan is shown and never advised.
    blocked = strata.layout_of_builds(brief) == strata.BLOCKS and made[0].design.phase == "main"
    # What design it is, is the brief's to say.
    own = [option for option in made if option.design.brief.plan.design == brief.plan.design] or list(made)
    return [option for option in own if not (blocked and option.design.builds < 2)]


def advised(brief: Brief, made: Sequence[Option], primary: str) -> Option | None:
    """The plan to book, or None.

    The rule: of the plans within the budget, the cheapest that keeps every promise that any of them keeps. A promise
    is kept where its chance, averaged over the doubt in the scatter, is at least the power asked for (or its interval
    as narrow as asked). A plan that costs more and keeps no further promise is not advised, however much it raises a
    chance; ``_reach.sentences`` says by how much it does, and what keeping the promise would take.

    Where no plan keeps all that one or another keeps, it is the cheapest of those that keep most. Only plans of the
    brief's own design count, and none in a single build where builds are blocks. Of two at one price that with fewer
    runs is taken. None where no promise is kept, or the scatter of a comparison is not known.
    """
    if option_words.untold(made, primary):
        return None
    plans = inside(brief, made)
    kept = [{key for key, goal in goals(brief, option, primary).items() if goal.kept} for option in plans]
    most = max((len(names) for names in kept), default=0)
    if not most:
        return None
    # One that keeps all that any keeps keeps most.
    whole = [option for option, names in zip(plans, kept, strict=True) if len(names) == most]
    return min(whole, key=lambda option: (option.price.cost, option.design.runs))


def spoken_of(brief: Brief, made: Sequence[Option], book: Option | None, primary: str) -> Option:
    """The advised plan; where there is none the largest that might be, of those alike in runs the best."""

    def size(option: Option) -> tuple[int, float]:
        chances = [claim.assurance or 0.0 for claim in option.claims if claim.response == primary and claim.comparison]
        return option.design.runs, min(chances, default=0.0)

    within = [option for option in made if option.within_budget]
    return book or max(inside(brief, made) or within, key=size)


def _of_comparison(brief: Brief, claim: Claim) -> Goal:
    """The promise of one comparison: its chance, or how wide its interval will be."""
    name, response = str(claim.comparison), brief.response(claim.response)
    if brief_model.aimed_half_width(brief, response) is None:
        return _of_chance(brief, name, claim.assurance, claim.reached)
    width = math.log(claim.half_width_ratio) if claim.half_width_ratio is not None else claim.half_width
    if width is None:
        return Goal(name, -math.inf, "not told", False)
    return Goal(name, -width, option_words.width_of(brief, claim.response, width), claim.reached)


def _of_chance(brief: Brief, name: str, share: float | None, kept: bool) -> Goal:
    """A promise that is a chance."""
    if share is None:
        return Goal(name, -math.inf, "not told", False)
    return Goal(name, share, f"{option_words.chance(share, brief.power)} %", kept)
