"""Promises that the advised plan does not keep: why it is advised all the same, and what keeping them takes (rank 5).

Every figure is one of the claims of a plan, judged as ``size.promise`` judges it; nothing is extrapolated.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from toolkit.brief import model as brief_model
from toolkit.brief.model import Brief
from toolkit.size import _option_words as option_words
from toolkit.size._goals import Goal, eligible, goals, inside
from toolkit.size.option import Option
from toolkit.wording import counted, joined

# Scores this near are the same.
_SAME = 1e-6
_Told = dict[str, Goal]


def sentences(
    brief: Brief,
    made: Sequence[Option],
    plan: Option,
    booked: bool,
    primary: str,
    beyond: Callable[[], Sequence[Option]],
) -> tuple[str, ...]:
    """Why this plan is advised and no larger one, then what each promise takes that it does not keep.

    Parameters
    ----------
    brief : Brief
    made : sequence of Option
        All that the budget pays for, outdone or not; dearer ones may be among them.
    plan : Option
        The advised plan; where there is none that which is spoken of.
    booked : bool
        Whether it is advised.
    primary : str
        The primary response.
    beyond : callable
        Gives the plans that are dearer than the budget; asked only where a promise is not kept.

    Returns
    -------
    tuple of str
        Empty where the advised plan keeps every promise, or no plan can be judged.
    """
    if option_words.untold(made, primary):
        return ()
    plans = inside(brief, made)
    if plan not in plans:
        return ()
    own = goals(brief, plan, primary)
    every = [*plans, *(option for option in eligible(brief, [*made, *beyond()]) if option not in plans)]
    told = {id(option): goals(brief, option, primary) for option in every}
    # What no plan tells at all is told with its reason beside the plans.
    missed = [
        key
        for key, goal in own.items()
        if goal.name and not goal.kept and any(math.isfinite(found[key].score) for found in told.values())
    ]
    if not missed:
        return ()
    where = "within the budget" if brief.cost.budget is not None else f"of up to {_most(plans)} runs"
    asked = _Asked(brief, primary, where)
    within = [(option, told[id(option)]) for option in plans]
    said = [_why(asked, within, own, booked), *_larger(asked, within, plan, missed)]
    return (*said, *_takes(asked, [(option, told[id(option)]) for option in every], missed))


@dataclass(frozen=True)
class _Asked:
    """What is asked of which plans, and how money is told."""

    brief: Brief
    primary: str
    where: str

    @property
    def level(self) -> str:
        """What a promise is kept by: '80 %', or 'an interval of x/÷ 1.150'."""
        aimed = brief_model.aimed_half_width(self.brief, self.brief.response(self.primary))
        if aimed is None:
            return f"{100 * self.brief.power:g} %"
        return f"an interval of {option_words.width_of(self.brief, self.primary, aimed)}"

    @property
    def least(self) -> str:
        """What plans are chosen by."""
        return "cheapest" if self.brief.cost.items else "smallest"

    @property
    def verb(self) -> str:
        """What a plan does to a promise that it comes nearer to."""
        chances = brief_model.aimed_half_width(self.brief, self.brief.response(self.primary)) is None
        return "raises the chance of" if chances else "brings"

    def paid(self, option: Option) -> float:
        """What a plan is weighed by: its cost, or its runs where there is no price list."""
        return option.price.cost if self.brief.cost.items else float(option.design.runs)

    def dearer(self, plan: Option, other: Option) -> str:
        """What one plan costs more, or less, than another."""
        if not self.brief.cost.items:
            more = other.design.runs - plan.design.runs
            return f"{counted(abs(more), 'run')} {'more' if more > 0 else 'fewer'}" if more else "as many runs"
        # As the two prices are read.
        more = round(other.price.cost) - round(plan.price.cost)
        return f"for {_money(self.brief, abs(more))} {'more' if more > 0 else 'less'}" if more else "at the same cost"

    def cost(self, option: Option) -> str:
        """What a plan costs, and how far that is over the budget; empty where there is no price list."""
        if not self.brief.cost.items:
            return ""
        text, budget = f", {_money(self.brief, option.price.cost)}", self.brief.cost.budget
        if budget is None or option.within_budget:
            return text
        return f"{text} ({round(option.price.cost) - round(budget):,} over the budget)"


def _why(asked: _Asked, within: Sequence[tuple[Option, _Told]], own: _Told, booked: bool) -> str:
    """The rule as it fell out."""
    if not booked:
        return f"No plan is advised, since none {asked.where} reaches {asked.level} for anything that is asked."
    kept = [goal.name for goal in own.values() if goal.kept and goal.name]
    others = {
        goal.name for _, found in within for key, goal in found.items() if goal.kept and goal.name and not own[key].kept
    }
    if others:
        return (
            f"No plan {asked.where} reaches {asked.level} for all that one or another of them does; this is the "
            f"{asked.least} of those that reach it most often, for {joined(kept)}."
        )
    lacking = [goal.name for goal in own.values() if not goal.kept and goal.name]
    return (
        f"This is the {asked.least} plan {asked.where} that reaches {asked.level} for {joined(kept)}; beyond "
        f"every one of them: {joined(lacking)}."
    )


def _larger(asked: _Asked, within: Sequence[tuple[Option, _Told]], plan: Option, missed: Sequence[str]) -> list[str]:
    """What the other plans within the budget do for the promises that are not kept."""
    own = next(found for option, found in within if option is plan)
    groups: dict[int, list[str]] = {}
    for key in missed:
        at = max(range(len(within)), key=lambda at: (_near(within[at][1][key].score), -asked.paid(within[at][0])))
        better = within[at][1][key].score > own[key].score + _SAME
        groups.setdefault(at if better else -1, []).append(key)
    said = []
    for at, keys in groups.items():
        if at < 0:
            names = joined([f"{own[key].name} ({own[key].figure})" for key in keys])
            said.append(f"No other plan {asked.where} does more for {names}.")
            continue
        other, found = within[at]
        moved = joined([f"{own[key].name} from {own[key].figure} to {found[key].figure}" for key in keys])
        short = [own[key].name for key in keys if not found[key].kept]
        tail = f", short of {asked.level}" if len(short) == len(keys) else ""
        if short and not tail:
            tail = f", still short of {asked.level} for {joined(short)}"
        lost = [goal.name for key, goal in own.items() if goal.name and goal.kept and not found[key].kept]
        tail += f", and falls short of {asked.level} for {joined(lost)}" if lost else ""
        head = "A larger plan" if other.design.runs > plan.design.runs else "Another plan"
        said.append(f"{head} {asked.where}, {_plan(other)}, {asked.dearer(plan, other)}, {asked.verb} {moved}{tail}.")
    return said


def _takes(asked: _Asked, every: Sequence[tuple[Option, _Told]], missed: Sequence[str]) -> list[str]:
    """The cheapest plan that keeps each promise, whatever it costs; the most any does where none keeps it."""
    by_price = sorted(every, key=lambda item: (asked.paid(item[0]), item[0].design.runs))
    names = {key: by_price[0][1][key].name for key in missed}
    groups: dict[int, list[str]] = {}
    for key in missed:
        at = next((at for at, (_, found) in enumerate(by_price) if found[key].kept), len(by_price))
        groups.setdefault(at, []).append(key)
    said = []
    for at, keys in sorted(groups.items()):
        if at < len(by_price):
            option, found = by_price[at]
            whole = all(goal.kept for goal in found.values())
            said.append(
                f"The {asked.least} plan that reaches {asked.level} for {joined([names[key] for key in keys])} has "
                f"{_plan(option)}{asked.cost(option)}{'; it reaches that for all that is asked' if whole else ''}."
            )
            continue
        for key in keys:
            option, found = max(by_price, key=lambda item: (_near(item[1][key].score), -asked.paid(item[0])))
            said.append(
                f"No plan of up to {_most([item for item, _ in every])} runs reaches {asked.level} for {names[key]}, "
                f"whatever it costs: {_plan(option)}{asked.cost(option)}, come to {found[key].figure}."
            )
    return said


def _most(options: Sequence[Option]) -> int:
    """The runs of the largest plan."""
    return max(option.design.runs for option in options)


def _plan(option: Option) -> str:
    """A plan by its runs and name: '16 runs (full factorial, 4 builds of 4 runs)'."""
    further = "further " if option.design.phase == "extension" else ""
    return f"{option.design.runs} {further}runs ({option.name})"


def _money(brief: Brief, amount: float) -> str:
    """An amount in the brief's currency."""
    return f"{amount:,.0f} {brief.cost.currency}".rstrip()


def _near(score: float) -> float:
    """A score without differences that mean nothing."""
    return score if math.isinf(score) else round(score / _SAME) * _SAME
