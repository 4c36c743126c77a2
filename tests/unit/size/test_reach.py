"""Promises out of reach: why a plan is advised, what a larger one brings, what keeping them takes; by hand on pilots.

The chances are worked out again by scipy alone: noncentral t at each scatter that the pilot leaves open (its mean
square times its df over chi-square, textbook), with the variances of a 2x2 in complete blocks: SD^2 / builds for the
mean change by one factor, 4 SD^2 / builds for how much it depends on the other.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
from scipy import integrate, stats

from tests.unit import briefs
from tests.unit.size.test_best_of import coatings
from tests.unit.size.test_family_claims import in_family
from tests.unit.size.test_money import ITEMS
from tests.unit.size.test_options import COATING, EXTENDED, known, standing
from toolkit.brief.model import Comparison, Cost, Extension, Sizing
from toolkit.cli import words
from toolkit.report import view_sizing
from toolkit.size import _goals as goals
from toolkit.size import _reach as reach
from toolkit.size import advice, chosen_lines, options, scatter

OIL = Comparison("new oil", of={"oil": "O1"}, against={"oil": "O0"}, assumed_change_pct=24)
TOGETHER = Comparison("together", interaction=("pin", "oil"))
GAINS = {"coating": (-math.log(0.70), 1.0), "new oil": (-math.log(0.76), 1.0), "together": (-math.log(0.80), 4.0)}
# Four runs of 13,875 on average, of which 8 % are lost and made again, and a rebuild of 2,580.
BUILD = 4 * 13_875 / 0.92 + 2_580


def brief(budget, **changes):
    cost = Cost(currency="EUR", budget=budget, lost_runs_pct=8, items=ITEMS)
    made = briefs.blocked(cost=cost, most_runs_in_build=4, comparisons=(COATING, OIL, TOGETHER))
    return replace(made, **changes)


def pilot(of, sd):
    """Ten pilot runs, five of each of two combinations; their pooled SD of ln is ``sd`` on 8 df exactly."""
    steps = np.array([-1.0, -1.0, 0.0, 1.0, 1.0])
    runs = pd.DataFrame(
        {
            "run_id": [f"P{at:02d}" for at in range(1, 11)],
            "phase": "pilot",
            "build_id": "PB1",
            "pin": ["P0"] * 5 + ["P1"] * 5,
            "oil": "O0",
            "verdict": "valid",
            "elongation_pct": [*(0.12 * np.exp(sd * steps)), *(0.09 * np.exp(sd * steps))],
        }
    )
    return scatter.known(of, "elongation_pct", runs=runs)


def by_hand(name, builds, sd, df=8):
    """The chance that a change is shown, averaged over the doubt in the pilot."""
    gain, times = GAINS[name]
    own = 3 * (builds - 1)
    edge = stats.t.isf(0.025, own)

    def shown(square):
        shift = gain / math.sqrt(sd**2 * df / square * times / builds)
        return (stats.nct.sf(edge, own, shift) + stats.nct.cdf(-edge, own, shift)) * stats.chi2.pdf(square, df)

    # Beyond these a chi-square on 8 df has a chance of less than one in a million.
    return integrate.quad(shown, 0.1, 45.0, limit=200)[0]


def per_cent(name, builds, sd):
    return f"{100 * by_hand(name, builds, sd):.0f} %"


def money(builds):
    return f"{BUILD * builds:,.0f} EUR"


def of(asked, known_of, **given):
    found = options.options(asked, [known_of], **given)
    return replace(found, advice=advice.of_options(found, **given))


def test_a_larger_plan_that_the_budget_pays_for_is_told_with_what_it_brings():
    asked = brief(260_000)
    found = of(asked, pilot(asked, 0.10))
    fewest = next(builds for builds in range(2, 16) if by_hand("together", builds, 0.10) >= 0.8)
    assert found.recommended.design.builds == 3
    assert found.why == (
        "This is the cheapest plan within the budget that reaches 80 % for coating and new oil; beyond every one of "
        "them: together.",
        f"A larger plan within the budget, 16 runs (full factorial, 4 builds of 4 runs), for {money(1)} more, raises "
        f"the chance of together from {per_cent('together', 3, 0.10)} to {per_cent('together', 4, 0.10)}, short of "
        "80 %.",
        f"The cheapest plan that reaches 80 % for together has {4 * fewest} runs (full factorial, {fewest} builds of 4 "
        f"runs), {money(fewest)} ({round(BUILD * fewest) - 260_000:,} over the budget); it reaches that for all that "
        "is asked.",
    )
    # As worked out once, so that both ways cannot move together.
    assert (found.why[1][-38:], fewest) == ("of together from 36 % to 49 %, short of 80 %."[-38:], 9)
    assert found.to_json()["why"] == list(found.why)
    lines = " ".join(line.lstrip("# ") for line in chosen_lines.toml(found).splitlines())
    assert all(text in lines for text in found.why)
    shown = "\n".join(["Why this plan:", *(f"  {text}" for text in found.why), "", "What full factorial, 3 builds"])
    assert f"\n\n{shown}" in words.sized(found)
    told = repr(view_sizing.advice(found))
    assert "\n".join(["Why this plan:", *found.why, "What full factorial, 3 builds of 4 runs cannot show:"]) in told


def test_each_comparison_out_of_reach_is_told_with_what_it_takes():
    asked = brief(320_000)
    found = of(asked, pilot(asked, 0.20))
    oil = next(builds for builds in range(2, 16) if by_hand("new oil", builds, 0.20) >= 0.8)
    assert by_hand("together", 15, 0.20) < 0.8
    assert found.recommended.design.builds == 4
    assert found.why == (
        "This is the cheapest plan within the budget that reaches 80 % for coating; beyond every one of them: new oil "
        "and together.",
        f"A larger plan within the budget, 20 runs (full factorial, 5 builds of 4 runs), for {money(1)} more, raises "
        f"the chance of new oil from {per_cent('new oil', 4, 0.20)} to {per_cent('new oil', 5, 0.20)} and together "
        f"from {per_cent('together', 4, 0.20)} to {per_cent('together', 5, 0.20)}, short of 80 %.",
        f"The cheapest plan that reaches 80 % for new oil has {4 * oil} runs (full factorial, {oil} builds of 4 runs), "
        f"{money(oil)} ({round(BUILD * oil) - 320_000:,} over the budget).",
        f"No plan of up to 60 runs reaches 80 % for together, whatever it costs: 60 runs (full factorial, 15 builds of "
        f"4 runs), {money(15)} ({round(BUILD * 15) - 320_000:,} over the budget), come to "
        f"{per_cent('together', 15, 0.20)}.",
    )
    assert oil == 6


def test_nothing_is_told_where_every_promise_is_kept():
    asked = brief(260_000, comparisons=(COATING, OIL))
    assert of(asked, pilot(asked, 0.10)).why == ()


def test_where_no_plan_is_advised_what_it_takes_is_told():
    asked = brief(200_000, comparisons=(OIL, TOGETHER))
    found = of(asked, pilot(asked, 0.20))
    assert found.recommended is None
    assert found.why[:2] == (
        "No plan is advised, since none within the budget reaches 80 % for anything that is asked.",
        f"No other plan within the budget does more for new oil ({per_cent('new oil', 3, 0.20)}) and together "
        f"({per_cent('together', 3, 0.20)}).",
    )
    assert found.why[2].startswith("The cheapest plan that reaches 80 % for new oil has 24 runs (full factorial, ")
    assert f"\nWhat it would take:\n  {found.why[0]}\n" in words.sized(found)
    assert chosen_lines.toml(found).startswith("# No plan is advised.\n")
    assert "# The cheapest plan that reaches 80 % for new oil has 24 runs" in chosen_lines.toml(found)


def test_without_prices_plans_are_weighed_by_their_runs():
    asked = brief(None, cost=Cost(), comparisons=(OIL, TOGETHER))
    found = of(asked, pilot(asked, 0.20))
    assert found.why == (
        "This is the smallest plan of up to 60 runs that reaches 80 % for new oil; beyond every one of them: together.",
        f"A larger plan of up to 60 runs, 60 runs (full factorial, 15 builds of 4 runs), 36 runs more, raises the "
        f"chance of together from {per_cent('together', 6, 0.20)} to {per_cent('together', 15, 0.20)}, short of 80 %.",
        f"No plan of up to 60 runs reaches 80 % for together, whatever it costs: 60 runs (full factorial, 15 builds of "
        f"4 runs), come to {per_cent('together', 15, 0.20)}.",
    )


def test_an_interval_as_narrow_as_asked_is_a_promise_too():
    asked = brief(260_000, sizing=Sizing("half-width", 15.0), comparisons=(COATING, TOGETHER))
    found = of(asked, known(asked, sd=0.10, df=math.inf))

    def width(name, builds):
        """Half of the interval by Student's t on 3 (builds - 1) df, times the mean of the SD that it is made of."""
        own = 3 * (builds - 1)
        sd = 0.10 * stats.chi(own).mean() / math.sqrt(own)
        return f"x/÷ {math.exp(stats.t.isf(0.025, own) * sd * math.sqrt(GAINS[name][1] / builds)):.3f}"

    assert found.why == (
        "This is the cheapest plan within the budget that reaches an interval of x/÷ 1.150 for coating; beyond every "
        "one of them: together.",
        f"A larger plan within the budget, 16 runs (full factorial, 4 builds of 4 runs), for {money(1)} more, brings "
        f"together from {width('together', 3)} to {width('together', 4)}, short of an interval of x/÷ 1.150.",
        f"The cheapest plan that reaches an interval of x/÷ 1.150 for together has 36 runs (full factorial, 9 builds "
        f"of 4 runs), {money(9)} ({round(BUILD * 9) - 260_000:,} over the budget); it reaches that for all that is "
        "asked.",
    )
    assert width("together", 9) <= "x/÷ 1.150" < width("together", 8)
    assert width("coating", 3) <= "x/÷ 1.150" < width("coating", 2)


def test_choices_and_families_are_promises_too():
    asked = coatings(cost=Cost(), power=0.999)
    found = of(asked, known(asked))
    chances = {option.design.runs: option.picks[0].chance for option in found.options}
    assert found.why[-1].startswith("No plan of up to 60 runs reaches 99.9 % for best of 4 coating, whatever it ")
    assert found.why[-1].endswith(f"come to {options.chance(max(chances.values()), 0.999)} %.")
    asked = in_family(brief(260_000), promise="all", adjust="none")
    found = of(asked, pilot(asked, 0.10))
    told = next(item.families[0] for item in found.options if item.design.runs == 16)
    assert found.why[1] == (
        f"No other plan within the budget does more for all of the family 'f' ({100 * told.all:.0f} %)."
    )
    # Of a family whose comparisons are promised one by one they are told one by one.
    asked = in_family(brief(260_000), promise="each", adjust="none")
    assert of(asked, pilot(asked, 0.10)).why == of(brief(260_000), pilot(brief(260_000), 0.10)).why


def test_an_extension_tells_further_runs_and_one_for_a_ratio_tells_the_ratio():
    asked = replace(EXTENDED, cost=replace(EXTENDED.cost, budget=130_000))
    found = of(asked, known(asked), standing=standing())
    assert found.recommended.design.builds == 1
    assert found.why[1].startswith(
        f"A larger plan within the budget, 8 further runs (extension, 2 builds of 4 runs), for {money(1)} more, raises "
        "the chance of together from "
    )
    assert found.why[2].startswith("The cheapest plan that reaches 80 % for together has ")
    ratio = replace(asked, extension=Extension(comparison="coating", detectable_ratio=0.85))
    assert options.options(ratio, [known(ratio)], standing=standing()).why == ()


def with_chances(option, **shares):
    """A plan with other chances, 80 % asked."""
    claims = tuple(
        replace(claim, assurance=shares[claim.comparison], reached=shares[claim.comparison] >= 0.8)
        if claim.comparison in shares
        else claim
        for claim in option.claims
    )
    return replace(option, claims=claims)


def test_where_plans_reach_different_ones_it_is_the_cheapest_of_those_that_reach_most():
    asked = brief(260_000, comparisons=(COATING, OIL, replace(OIL, name="other oil")))
    made = options.options(asked, [pilot(asked, 0.10)]).options
    small = with_chances(made[0], **{"coating": 0.85, "new oil": 0.81, "other oil": 0.60})
    middle = with_chances(made[1], **{"coating": 0.90, "new oil": 0.82, "other oil": 0.65})
    large = with_chances(made[2], **{"coating": 0.50, "new oil": 0.70, "other oil": 0.88})
    plans = [small, middle, large]
    assert goals.advised(asked, plans, "elongation_pct") is small
    assert reach.sentences(asked, plans, small, True, "elongation_pct", lambda: ()) == (
        "No plan within the budget reaches 80 % for all that one or another of them does; this is the cheapest of "
        "those that reach it most often, for coating and new oil.",
        f"A larger plan within the budget, 16 runs (full factorial, 4 builds of 4 runs), for "
        f"{2 * BUILD:,.0f} EUR more, raises the chance of other oil from 60 % to 88 %, and falls short of 80 % for "
        "coating and new oil.",
        f"The cheapest plan that reaches 80 % for other oil has 16 runs (full factorial, 4 builds of 4 runs), "
        f"{money(4)}.",
    )


def test_a_single_build_is_not_spoken_of_where_there_are_others():
    """Twelve runs in one build cost less than eight in two, and tell nothing of other builds."""
    asked = brief(190_000, most_runs_in_build=None, comparisons=(TOGETHER,))
    found = of(asked, known(asked, sd=0.20))
    assert (found.recommended, found.advice.plan.design.builds) == (None, 3)
    alone = [item for item in found.options if item.design.builds == 1 and item.within_budget]
    assert max(item.design.runs for item in alone) >= found.advice.plan.design.runs
    assert found.sentence.startswith("No plan within the budget reaches 80 % for any comparison of ")
    assert "full factorial, 3 builds of 4 runs" in found.sentence
    assert found.why[1].startswith("No other plan within the budget does more for together (")
