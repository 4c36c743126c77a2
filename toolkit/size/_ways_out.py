"""What to do when the budget pays for no plan, or no plan shows what would be worthwhile (rank 5)."""

from __future__ import annotations

import math
from collections.abc import Sequence

from toolkit.brief import model as brief_model
from toolkit.brief.model import Brief, Response
from toolkit.design.design import Design
from toolkit.size import in_words, money
from toolkit.size._option_words import MOST_RUNS
from toolkit.size.money import Price
from toolkit.size.option import Option
from toolkit.size.scatter import Scatter


def nothing_fits(brief: Brief, priced: Sequence[tuple[Design, Price]]) -> str:
    """What to do when the budget pays for no plan."""
    budget, currency = brief.cost.budget or 0.0, brief.cost.currency
    design, price = min(priced, key=lambda item: item[1].cost)
    runs = design.table
    first = runs["build_id"].iloc[0]
    build = money.of_added(brief, runs[runs["build_id"] == first], {first})
    under = ""
    if design.builds > 1 and build.cost > budget:
        under = f" It is under one build, which costs {build.cost:,.0f}."
    return (
        f"budget {budget:,.0f} {currency}: not one plan fits; the smallest ({design.name}, {design.runs} runs) costs "
        f"{price.cost:,.0f} with the expected repeats.{under} Raise the budget to that at least, take levels or "
        f"factors out, or spend it on a pilot that tells the scatter before more is asked for."
    )


def out_of_reach(brief: Brief, made: Sequence[Option], primary: str, scatters: Sequence[Scatter]) -> list[str]:
    """The worthwhile changes that no plan laid out here shows, with the ways out; nothing where there are none."""
    scatter = next(item for item in scatters if item.response.name == primary)
    response = scatter.response
    inside = [option for option in made if option.within_budget]
    told = []
    for name in [str(claim.comparison) for claim in made[0].claims if claim.response == primary and claim.comparison]:
        worth = brief_model.worthwhile(brief, _comparison(brief, name), response)
        shown = [value for option in inside if (value := _least(option, primary, name, response)) is not None]
        if worth is None or not shown or min(shown) <= worth:
            continue
        ways = [f"scatter of {scatter.sd * worth / min(shown):.2g} in place of {scatter.sd:.2g}"]
        dearer = [
            option.price.cost
            for option in made
            if not option.within_budget and (_least(option, primary, name, response) or math.inf) <= worth
        ]
        if dearer:
            ways.insert(0, f"{min(dearer):,.0f} {brief.cost.currency}".rstrip())
        least = in_words.changed(response, min(shown))
        told.append(f"{name} {in_words.changed(response, worth)} (from {least} on; needs {' or '.join(ways)})")
    if not told:
        return []
    among = "within the budget" if brief.cost.budget is not None else f"of up to {MOST_RUNS} runs"
    return [
        f"worthwhile changes too small for every plan {among} at power {100 * brief.power:g} %: {', '.join(told)}. "
        f"Else take a larger worthwhile change if the decision allows it, or ask only whether it is no worse"
    ]


def _least(option: Option, primary: str, name: str, response: Response) -> float | None:
    """The smallest gain a plan shows of a comparison, on the analysis scale; None where it shows none."""
    value = in_words.smallest(option.claim(primary, name))
    return None if value is None else in_words.gain_of(value, response)


def _comparison(brief: Brief, name: str) -> brief_model.Comparison:
    """The comparison called ``name``."""
    return next(item for item in brief.comparisons if item.name == name)
