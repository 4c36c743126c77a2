"""What is said of a claim beside its chance."""

from __future__ import annotations

from dataclasses import replace

from tests.unit import briefs
from tests.unit.size.test_promise import ONE
from tests.unit.size.test_promise_more import with_pilot
from toolkit.brief.model import Cost, CostItem, Response
from toolkit.size import _claim_words as claim_words
from toolkit.size import options


def test_sentences_of_a_claim():
    priced = replace(ONE, cost=Cost("EUR", items=(CostItem("run", "cell", amount=1000.0),)))
    made = options.options(priced, [with_pilot(priced, df=6.0)])
    plan = made.recommended
    claim = plan.claim("elongation_pct", "coating")
    assert claim_words.beside(priced, plan, claim) == [
        f"The interval of coating is expected to reach x/÷ {claim.half_width_ratio:.3g} to either side; where the "
        f"change is as assumed and is shown, it comes out {100 * (claim.exaggeration - 1):.0f} % too large on average.",
        "If coating in truth changes nothing, that it does no harm of 20 % is shown with a chance of "
        f"{100 * claim.no_harm:.0f} %, and that it changes nothing of that size either way with one of "
        f"{100 * claim.equivalent:.0f} %.",
        "A promise for coating that holds whatever the true scatter is, judged by the pilot's own scatter, would take "
        f"{claim.iron} runs (about {1000 * claim.iron:,.0f} EUR); the analysis judges by the campaign's own scatter "
        "and makes no such promise.",
    ]


def test_in_the_unit_and_without_a_pilot():
    response = Response("torque_Nm", better="larger", scale="linear", per_run="value", worthwhile_change=2.0)
    brief = replace(briefs.blocked(), responses=(response,))
    made = options.options(brief, [replace(with_pilot(brief, sd=1.5), own=())])
    plan = made.recommended or made.options[-1]
    claim = plan.claim("torque_Nm", "together")
    assert claim_words.beside(brief, plan, claim) == [
        f"The interval of together is expected to reach ± {claim.half_width:.3g} N·m to either side; where the change "
        f"is as assumed and is shown, it comes out {100 * (claim.exaggeration - 1):.0f} % too large on average."
    ]
