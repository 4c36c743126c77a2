"""A factor kept over a unit of several runs against a new unit in every run: hours, money and promise (rank 5)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd

from toolkit import stamp
from toolkit.brief.model import Brief
from toolkit.design import factorial, strata, units
from toolkit.design.design import Design
from toolkit.errors import DesignError
from toolkit.size import _option_words as option_words
from toolkit.size import money, promise
from toolkit.size.option import Option
from toolkit.size.promise import Claim
from toolkit.size.scatter import Scatter
from toolkit.wording import joined


@dataclass(frozen=True, eq=False)
class Routes:
    """The same question by two routes.

    Attributes
    ----------
    unit : str
        build, part or fill: what the kept route keeps over several runs.
    factors : tuple of str
        The factors that are changed with it.
    options : tuple of Option
        The kept plan; the plan with as many runs and a new unit in every run; and the cheapest plan of that kind that
        shows what the kept plan shows with the asked power, where there is one.
    sentence : str
    """

    unit: str
    factors: tuple[str, ...]
    options: tuple[Option, ...]
    sentence: str

    @property
    def table(self) -> pd.DataFrame:
        """One row a plan: route, runs, units, hours, cost, within_budget, and the chance of each comparison."""
        routes = (f"{units.NAMES[self.unit]} kept", *(f"new {units.NAMES[self.unit]} in every run",) * 2)
        rows = []
        for route, option in zip(routes, self.options, strict=False):
            row: dict[str, object] = {
                "route": route,
                "plan": option.name,
                "runs": option.design.runs,
                units.PLURALS[self.unit]: _units(option.design, self.unit),
                "hours": option.price.hours,
                "cost": option.price.cost,
                "within_budget": option.within_budget,
            }
            rows.append(row | {str(claim.comparison): claim.assurance for claim in option.claims if claim.comparison})
        return pd.DataFrame(rows)

    def to_json(self) -> dict[str, object]:
        """The two routes as plain data."""
        return stamp.plain(
            {
                "unit": self.unit,
                "factors": list(self.factors),
                "plans": stamp.records(self.table),
                "sentence": self.sentence,
            }
        )

    def __repr__(self) -> str:
        """The sentence."""
        return self.sentence


def beside(brief: Brief, scatter: Scatter, option: Option, *, most_runs: int = option_words.MOST_RUNS) -> Routes | None:
    """The kept route of a plan beside the fully randomised one; None where no factor is kept over several runs.

    Parameters
    ----------
    brief : Brief
    scatter : Scatter
        Of the primary response.
    option : Option
        A plan in which a factor is kept over a unit of several runs.
    most_runs : int
        Of the plans that are tried.

    Returns
    -------
    Routes or None

    Notes
    -----
    Where every run has a unit of its own, its error is the scatter between units and between runs together, and every
    factor is judged by it: what the pilot's two mean squares tell of a unit of one run.

    Checked against: a plan of one run a build written by hand, campaigns drawn, tests/unit/size/test_routes.py.
    """
    kept = [unit for unit in units.of_brief(brief) if unit != units.RUN]
    if units.POSITION in kept or not kept or option.design.phase != "main":
        return None
    unit = kept[0]
    try:
        designs = _randomised(brief, unit, most_runs)
    except DesignError:
        return None
    if not designs:
        return None
    held = [replace(item, claims=_comparisons(item)) for item in _priced(brief, unit, designs, scatter)]
    own = replace(option, claims=_comparisons(option, scatter.response.name))
    wanted = {claim.comparison for claim in own.claims if claim.reached}
    same = min(held, key=lambda item: (abs(item.design.runs - own.design.runs), item.design.runs))
    enough = [item for item in held if wanted <= {claim.comparison for claim in item.claims if claim.reached}]
    chosen = min(enough, key=lambda item: (item.price.cost, item.design.runs)) if enough and wanted else None
    factors = tuple(item.name for item in brief.factors if units.unit_of(brief, item) == unit)
    options = (own, same, *(() if chosen is None or chosen is same else (chosen,)))
    return Routes(unit, factors, options, _sentence(brief, unit, factors, own, same, chosen))


def _randomised(brief: Brief, unit: str, most_runs: int) -> list[Design]:
    """Plans of the brief with a new unit in every run: every factor is then changed with that unit."""
    free = replace(
        brief,
        factors=tuple(replace(factor, undo=unit) for factor in brief.factors),
        new_each_run=tuple(item for item in brief.new_each_run if item != unit),
        plan=replace(brief.plan, centre_points=0),
        pilot=None,
    )
    one = len(brief.combinations)
    made = []
    for count in range(2, most_runs // one + 1):
        if unit == "build":
            made.append(factorial.full(free, builds=count * one, replicates=1))
        elif brief.block_by == "build":
            made.append(factorial.full(free, builds=count, replicates=1))
        else:
            made.append(factorial.full(free, replicates=count))
    return [design for design in made if design.strata.balanced]


def _priced(brief: Brief, unit: str, designs: Sequence[Design], scatter: Scatter) -> list[Option]:
    """The plans with their price and claims."""
    told = promise.claims(designs, scatter)
    budget = brief.cost.budget
    made = []
    # What a plan costs follows from the brief's own factors, with the unit, and all that lies in it, new in every run.
    within = list(units.COLUMNS)[list(units.COLUMNS).index(unit) :]
    paid = replace(brief, new_each_run=tuple(dict.fromkeys([*brief.new_each_run, *within])))
    for design, claims in zip(designs, told, strict=True):
        price = money.of_design(Design(paid, "main", design.name, strata.of_runs(paid, design.table)))
        name = f"full factorial, {design.runs} runs, {units.NAMES[unit]} new in every run"
        made.append(
            Option(replace(design, name=name), price, tuple(claims), budget is None or price.cost <= budget)
        )
    return made


def _comparisons(option: Option, response: str | None = None) -> tuple[Claim, ...]:
    """The claims on comparisons, of one response where it is named."""
    return tuple(
        claim for claim in option.claims if claim.comparison and response in (None, claim.response)
    )


def _units(design: Design, unit: str) -> int:
    """How many units of a kind a plan has."""
    held = design.strata
    return int(held.members[unit].max()) + 1 if unit in held.members else design.runs


def _sentence(
    brief: Brief, unit: str, factors: Sequence[str], own: Option, same: Option, chosen: Option | None
) -> str:
    """The two routes in words."""
    name, plural = units.NAMES[unit], units.PLURALS[unit]
    parts = [
        f"With {joined(list(factors))} kept over a {name}, {own.design.runs} runs take "
        f"{_units(own.design, unit)} {plural}{_paid(brief, own)}; with a new {name} in every run {same.design.runs} "
        f"runs take {same.design.runs}{_paid(brief, same)}."
    ]
    gaps = [
        f"{claim.comparison} {_chance(brief, claim.assurance)} against {_chance(brief, other.assurance)}"
        for claim, other in zip(own.claims, same.claims, strict=True)
    ]
    parts.append(f"Chances shown, kept against new: {joined(gaps)}." if gaps else "")
    reached = [str(claim.comparison) for claim in own.claims if claim.reached]
    if reached and chosen is not None:
        parts.append(
            f"A new {name} in every run shows {joined(reached)} from {chosen.design.runs} runs on"
            f"{_paid(brief, chosen)}."
        )
    elif reached:
        parts.append(f"A new {name} in every run does not show {joined(reached)} with the runs tried.")
    return " ".join(part for part in parts if part)


def _paid(brief: Brief, option: Option) -> str:
    """Hours and money of a plan in brackets; nothing without a price list."""
    if not brief.cost.items:
        return ""
    return f" ({option.price.hours:,.0f} h, {option.price.cost:,.0f} {brief.cost.currency}".rstrip() + ")"


def _chance(brief: Brief, share: float | None) -> str:
    """A chance in per cent."""
    return "not told" if share is None else f"{option_words.chance(share, brief.power)} %"
