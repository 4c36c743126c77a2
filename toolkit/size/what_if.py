"""What a plan would show if the scatter, or the true change, were another one (rank 5)."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import pandas as pd

from toolkit.brief import model as brief_model
from toolkit.brief.model import Brief, Comparison, Response
from toolkit.size import _option_words as option_words
from toolkit.size import _promise_curve as promise_curve
from toolkit.size import chosen_lines, in_words, promise
from toolkit.size._promise_curve import Judged
from toolkit.size.claim import Claim
from toolkit.size.option import Option
from toolkit.size.options import Options
from toolkit.wording import counted, joined


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
    priced : str
        The plan by its runs, hours and money: '12 runs, 1,598 h, 188,718 EUR, within the budget'.
    curve : DataFrame
        The chance over the true change, whatever change is assumed: comparison, change (per cent on the log scale, else
        in the response's unit, without a sign), chance, worthwhile (True at the worthwhile change).
    """

    table: pd.DataFrame
    sentence: str
    lines: str
    priced: str
    curve: pd.DataFrame

    def __repr__(self) -> str:
        """The sentence."""
        return self.sentence


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
    option = found.option(plan)
    primary = next(item for item in found.brief.responses if item.role == "primary")
    scatter = next(item for item in found.scatters if item.response.name == primary.name)
    assumed = _assumed(found.brief, primary, change)
    judged = _judged(found, plan)
    stored = [item for item in option.claims if item.comparison and item.response == primary.name]
    claims = [
        _at(claim, item, brief_model.assumed(assumed, _named(assumed, claim), primary), scatter_times, change)
        for claim, item in zip(stored, judged, strict=True)
    ]
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
        f"{_price(found, option, named=True)}. If run values scatter by {scatter.sd * scatter_times:.3g}"
        f"{' (SD of ln)' if primary.scale == 'log' else f' {primary.measured_in}'.rstrip()}: "
        f"{joined(told) if told else 'no comparison is asked for'}. If nothing differs, a difference is "
        f"shown all the same in {100 * found.brief.alpha:g} % of campaigns.",
        chosen_lines.in_a_line(found, option),
        _price(found, option, named=False),
        promise_curve.curve(found.brief, primary, judged, scatter_times=scatter_times),
    )


@lru_cache(maxsize=16)
def _judged(found: Options, plan: str) -> tuple[Judged, ...]:
    """What is known of the comparisons of one plan, whatever is assumed of them; kept for the next move of a slider."""
    option = found.option(plan)
    primary = next(item for item in found.brief.responses if item.role == "primary")
    scatter = next(item for item in found.scatters if item.response.name == primary.name)
    return promise_curve.judged(scatter, promise.of_response(promise.as_judged([option.design], None), primary)[0])


def _at(claim: Claim, judged: Judged, gain: float | None, times: float, change: float | None) -> Claim:
    """A claim at another scatter and true change; a chance that cannot be told there is left open."""
    found = None if gain is None or claim.assurance is None else judged.chances([gain / times])
    if gain is None or found is None:
        moved = times != 1.0 or change is not None
        chance, at_upper = (None, None) if moved else (claim.assurance, claim.power_at_upper_scatter)
    else:
        chance, at_upper = float(found[0]), judged.at_upper(gain / times)
    ratio, wide = claim.detectable_ratio, claim.half_width_ratio
    return replace(
        claim,
        assumed_change=claim.assumed_change if change is None else change,
        assurance=chance,
        power_at_upper_scatter=at_upper,
        # All of these go up with the scatter, on the analysis scale.
        detectable_ratio=None if ratio is None else ratio**times,
        detectable_change=None if claim.detectable_change is None else claim.detectable_change * times,
        half_width_ratio=None if wide is None else wide**times,
        half_width=None if claim.half_width is None else claim.half_width * times,
    )


def _named(brief: Brief, claim: Claim) -> Comparison:
    """The comparison that a claim is about."""
    return next(item for item in brief.comparisons if item.name == claim.comparison)


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


def _price(found: Options, option: Option, *, named: bool) -> str:
    """Runs, hours and cost of a plan; with its name, in brackets behind the runs."""
    paid = [option.name] if named else []
    if found.brief.cost.items:
        paid += [f"{option.price.hours:,.0f} h", f"{option.price.cost:,.0f} {found.brief.cost.currency}".rstrip()]
        if found.brief.cost.budget is not None:
            paid.append("within the budget" if option.within_budget else "beyond the budget")
    runs = counted(option.design.runs, "run")
    return f"{runs} ({', '.join(paid)})" if named else ", ".join([runs, *paid])
