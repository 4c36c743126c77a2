"""What a claim tells beside its chance, in sentences: width, overstatement, no harm, and the iron promise (rank 5)."""

from __future__ import annotations

from toolkit.brief.model import Brief
from toolkit.size.option import Option
from toolkit.size.promise import Claim


def beside(brief: Brief, plan: Option, claim: Claim) -> list[str]:
    """Sentences on one comparison of a plan; what is not known is left out."""
    said = []
    response = brief.response(claim.response)
    width = f"x/÷ {claim.half_width_ratio:.3g}" if claim.half_width_ratio is not None else ""
    if claim.half_width is not None:
        width = f"± {claim.half_width:.3g} {response.measured_in}".rstrip()
    if width and claim.exaggeration is not None:
        said.append(
            f"The interval of {claim.comparison} is expected to reach {width} to either side; where the change is as "
            f"assumed and is shown, it comes out {100 * (claim.exaggeration - 1.0):.0f} % too large on average."
        )
    if claim.no_harm is not None and claim.worthwhile_change is not None:
        unit = "%" if response.scale == "log" else response.measured_in
        said.append(
            f"If {claim.comparison} in truth changes nothing, that it does no harm of {claim.worthwhile_change:.3g} "
            f"{unit} is shown with a chance of {100 * claim.no_harm:.0f} %, and that it changes nothing of that size "
            f"either way with one of {100 * (claim.equivalent or 0.0):.0f} %."
        )
    if claim.iron is not None:
        cost = ""
        if brief.cost.items and plan.design.runs:
            about = plan.price.cost * claim.iron / plan.design.runs
            cost = f" (about {about:,.0f} {brief.cost.currency})".replace(" )", ")")
        said.append(
            f"A promise for {claim.comparison} that holds whatever the true scatter is, judged by the pilot's own "
            f"scatter, would take {claim.iron} runs{cost}; the analysis judges by the campaign's own scatter and "
            f"makes no such promise."
        )
    return said
