"""What a plan would show if the scatter, or the true change, were another one (rank 5)."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import pandas as pd

from toolkit.brief import model as brief_model
from toolkit.brief.model import Brief, Comparison, Response
from toolkit.design.design import Design
from toolkit.size import _option_words as option_words
from toolkit.size import chosen_lines, in_words, promise
from toolkit.size.option import Option
from toolkit.size.options import Options
from toolkit.size.scatter import Scatter
from toolkit.wording import joined


@dataclass(frozen=True, eq=False)
class WhatIf:
    """What one plan shows at an assumed scatter and true change.

    Attributes
    ----------
    table : DataFrame
        One row a comparison of the primary response: comparison, true_change, chance_shown, at_upper_limit,
        detectable (in words).
    sentence : str
        The plan, its price and the chances.
    lines : str
        What chooses the plan in campaign.toml.
    """

    table: pd.DataFrame
    sentence: str
    lines: str


def what_if(found: Options, plan: str, *, scatter_times: float = 1.0, change: float | None = None) -> WhatIf:
    """What one of the plans would show.

    Parameters
    ----------
    found : Options
    plan : str
        The name of one of its plans.
    scatter_times : float
        By how much the SD of run values is larger than the one the sizing rests on; above 0.
    change : float, optional
        True change assumed of every comparison, without a sign: per cent on the log scale, else in the response's unit.
        Left out: what the brief assumes of each.

    Returns
    -------
    WhatIf

    Notes
    -----
    Checked against: the claims of a brief and a scatter that say the same, tests/unit/size/test_what_if.py.
    """
    option = next(item for item in found.options if item.name == plan)
    primary = next(item for item in found.brief.responses if item.role == "primary")
    scatter = _times(next(item for item in found.scatters if item.response.name == primary.name), scatter_times)
    assumed = _assumed(found.brief, primary, change)
    strata = replace(option.design.strata, brief=_assumed(option.design.brief, primary, change))
    design = Design(strata.brief, option.design.phase, option.design.name, strata)
    claims = [claim for claim in promise.claims([design], scatter)[0] if claim.comparison]
    rows = [
        {
            "comparison": claim.comparison,
            "true_change": _stated(assumed, primary, str(claim.comparison)),
            "chance_shown": claim.assurance,
            "at_upper_limit": claim.power_at_upper_scatter,
            "detectable": in_words.detectable(primary, claim),
        }
        for claim in claims
    ]
    columns = ["comparison", "true_change", "chance_shown", "at_upper_limit", "detectable"]
    told = [option_words.told(assumed, claim) for claim in claims]
    return WhatIf(
        pd.DataFrame(rows, columns=columns),
        f"{_price(found, option)} If run values scatter by {scatter.sd:.3g}"
        f"{' (SD of ln)' if primary.scale == 'log' else f' {primary.measured_in}'.rstrip()}: "
        f"{joined(told) if told else 'no comparison is asked for'}. If nothing differs, a difference is "
        f"shown all the same in {100 * found.brief.alpha:g} % of campaigns.",
        chosen_lines.in_a_line(found, option),
    )


def _times(scatter: Scatter, times: float) -> Scatter:
    """The scatter with every SD times a factor."""
    square = times**2
    return replace(
        scatter,
        run=replace(scatter.run, value=scatter.run.value * square),
        build=None if scatter.build is None else replace(scatter.build, value=scatter.build.value * square),
        declared=None if scatter.declared is None else (scatter.declared[0] * times, scatter.declared[1] * times),
        between=tuple(replace(layer, value=layer.value * square) for layer in scatter.between),
    )


def _assumed(brief: Brief, primary: Response, change: float | None) -> Brief:
    """The brief with one true change assumed of every comparison."""
    if change is None:
        return brief
    key = "assumed_change_pct" if primary.scale == "log" else "assumed_change"
    return replace(brief, comparisons=tuple(replace(item, **{key: change}) for item in brief.comparisons))


def _stated(brief: Brief, primary: Response, name: str) -> str:
    """The true change that a comparison is told for."""
    comparison: Comparison = next(item for item in brief.comparisons if item.name == name)
    gain = brief_model.assumed(brief, comparison, primary)
    return "–" if gain is None or not math.isfinite(gain) else in_words.changed(primary, gain)


def _price(found: Options, option: Option) -> str:
    """Runs, hours and cost of a plan."""
    paid = ""
    if found.brief.cost.items:
        paid = f", {option.price.hours:,.0f} h, {option.price.cost:,.0f} {found.brief.cost.currency}".rstrip()
        if found.brief.cost.budget is not None:
            paid += ", within the budget" if option.within_budget else ", beyond the budget"
    return f"{option.design.runs} runs ({option.name}{paid})."
