"""Optimal plans that are proposed unasked where no full factorial fits the budget, and what they give up (rank 5)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from toolkit.brief import by_position, check_designs, check_optimal
from toolkit.brief import optimal as optimal_brief
from toolkit.brief.designs import FULL, OPTIMAL
from toolkit.brief.model import Brief, PlanChoice
from toolkit.design import alias_words, chosen, optimal, strata
from toolkit.design.design import Design
from toolkit.errors import DesignError
from toolkit.size import money
from toolkit.size._option_words import MOST_RUNS

# Runs of a set beyond the parameters of its model: what is left to judge by.
_SPARE = (4, 8, 14)
_MOST_SETS = 2


def plans(brief: Brief, others: Sequence[Design]) -> list[Design]:
    """Optimal plans for main effects and the interactions asked for, where no full factorial fits the budget.

    Parameters
    ----------
    brief : Brief
    others : sequence of Design
        What is proposed beside them.

    Returns
    -------
    list of Design
        Empty where the brief asks for another design, or a full factorial fits.

    Notes
    -----
    Checked against: the plans laid out again from the lines that choose them, tests/unit/size/test_leaner.py.
    """
    plan = brief.plan
    odd = plan.design != FULL or plan.centre_points or plan.nil_interactions or by_position.divided(brief)
    if odd or brief.extension is not None or _fits(brief, others):
        return []
    asked = tuple(dict.fromkeys(item.interaction for item in brief.comparisons if item.interaction))
    if any(len(pair) > 2 for pair in asked):
        return []
    made: list[Design] = []
    for own in _chosen(brief, asked):
        # Fewer runs than the smallest plan that holds every combination, or there is no price to give up for.
        if own.plan.runs < len(brief.combinations) and not check_designs.design(own):
            made += _sets(own)
    return made


def given_up(brief: Brief, shown: Sequence[Design], book: Design | None) -> list[str]:
    """What the plans give up that were proposed though the brief asks for every combination, a line each kind."""
    told: dict[str, str] = {}
    first = [] if book is None else [book]
    for design in (*first, *shown):
        own = design.brief.plan.design
        if own == brief.plan.design or own in told:
            continue
        clear = optimal.sentence(design.brief) or alias_words.summary(design.strata)
        if clear:
            told[own] = f"{design.name}, proposed though every combination was asked for: {clear}"
    return list(told.values())


def _fits(brief: Brief, others: Sequence[Design]) -> bool:
    """True where a plan with every combination is within the budget, and within the most runs."""
    full = [design for design in others if design.brief.plan.design == FULL]
    budget = brief.cost.budget
    return any(budget is None or money.of_design(design).cost <= budget for design in full)


def _chosen(brief: Brief, asked: tuple[tuple[str, ...], ...]) -> list[Brief]:
    """The brief with optimal designs of a few sizes."""
    base = PlanChoice(design=OPTIMAL, model=optimal_brief.MAIN_EFFECTS, interactions=asked)
    made = []
    for spare in _SPARE:
        own = replace(brief, plan=base)
        if optimal_brief.plots_of(brief):
            sized = _in_units(brief, base, spare)
        elif strata.layout_of_builds(brief) == strata.BLOCKS:
            sized = _in_blocks(own, spare)
        else:
            step = _step(brief)
            sized = replace(base, runs=-(-(check_optimal.fewest(own) + spare) // step) * step)
        if sized is not None and sized.runs <= MOST_RUNS:
            made.append(replace(brief, plan=sized))
    return made


def _step(brief: Brief) -> int:
    """Multiples in which each level of the factor with the most comes equally often; of two-level factors fours."""
    most = max(len(item.levels) for item in brief.factors)
    return 4 if most == 2 else most


def _in_blocks(own: Brief, spare: int) -> PlanChoice | None:
    """A set over builds, as few as hold it and two at least, each as long as it lasts at most."""
    lasts = own.most_runs_in_build or MOST_RUNS
    for builds in range(2, MOST_RUNS // 2 + 1):
        wanted = check_optimal.fewest(replace(own, plan=replace(own.plan, split_over=builds))) + spare
        each = -(-wanted // builds)
        if 2 <= each <= lasts:
            return replace(own.plan, split_over=builds, runs=each * builds)
    return None


def _in_units(brief: Brief, base: PlanChoice, spare: int) -> PlanChoice | None:
    """A set in the fewest builds, parts or fills that can be judged by, with two runs in the finest at least."""
    kinds = list(optimal_brief.plots_of(brief))
    over = 2 if strata.layout_of_builds(brief) == strata.BLOCKS else 1
    counts: dict[str, int] = {}
    above = over
    for unit in kinds:
        # Two more than the terms between them take, in whole multiples of what holds them.
        trial = replace(brief, plan=replace(base, split_over=over))
        needed = check_optimal.units_needed(trial, unit) + 1
        above = counts[unit] = above * max(-(-needed // above), 2 if counts else 1)
    least = check_optimal.fewest(replace(brief, plan=replace(base, split_over=over, plots=counts))) + spare
    runs = above * max(-(-least // above), 2)
    return replace(base, split_over=over, plots=counts, runs=runs)


def _sets(own: Brief) -> list[Design]:
    """A set once or a few times."""
    each, blocked = chosen.spread(own), strata.layout_of_builds(own) != strata.RANDOMISED
    made = []
    for turns in range(1, min(_MOST_SETS, MOST_RUNS // own.plan.runs) + 1):
        try:
            design = chosen.main(own, **({"builds": turns * each} if blocked else {"replicates": turns}))
        except DesignError:
            # No set tells the model in these units, or a build does not last that long.
            continue
        if all(item.error_df != 0 or not item.terms for item in design.strata.strata):
            made.append(design)
    return made
