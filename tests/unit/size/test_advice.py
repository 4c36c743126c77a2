"""What is said beside the plans: every figure in it is one of the claims, and nothing is left unsaid."""

from __future__ import annotations

import json
from dataclasses import replace

from tests.unit import briefs
from tests.unit.size.test_best_of import coatings
from tests.unit.size.test_candidates import FOUR
from tests.unit.size.test_options import BRIEF, COST, known
from tests.unit.size.test_routes import BRIEF as SPLIT_PLOT
from tests.unit.size.test_routes import scatter_of
from tests.unit.size.test_split import lines
from toolkit.brief.model import Cost
from toolkit.size import _claim_words as claim_words
from toolkit.size import advice, losing_runs, options, promise


def per_cent(share):
    return f"{100 * share:.0f} %"


def advised(brief, scatter):
    found = options.options(brief, [scatter])
    return found, advice.of_options(found)


def test_what_is_said_is_what_the_claims_hold():
    found, told = advised(BRIEF, known(BRIEF))
    claim = found.recommended.claim("elongation_pct", "coating")
    other = found.recommended.claim("elongation_pct", "together")
    design = found.recommended.design
    lost = losing_runs.after_losses([design], known(BRIEF), promise.claims([design], known(BRIEF)))[0][0]
    assert told.recommended
    assert told.spoken == (
        "Book 12 runs in 3 builds: 1,598 h and 188,718 EUR, which pays for 13 attempts, as 8 % of runs are lost "
        "(budget 240,000 EUR).",
        f"It shows coating (true change -30 %, chance {per_cent(claim.assurance)}).",
        f"If coating truly brings what is assumed, it is shown to be worthwhile with a chance of "
        f"{per_cent(claim.outcomes['worthwhile gain'])}, and the money is spent and nothing known yet with one of "
        f"{per_cent(claim.outcomes['not known yet'])}.",
        f"If one run is lost for good its chance falls to {per_cent(lost.after_one_lost)}, after two "
        f"{per_cent(lost.after_two_lost)}.",
        f"All this is averaged over the doubt in the pilot's scatter; at the 80 % upper limit of the scatter the "
        f"chance of coating is {per_cent(claim.power_at_upper_scatter)}.",
        *claim_words.beside(BRIEF, told.plan, told.plan.claim("elongation_pct", "coating")),
    )
    assert told.cannot == (
        f"It cannot be relied on for together (true change -20 %, chance {per_cent(other.assurance)}); asked are 80 %.",
        f"Changes smaller than {100 * (claim.detectable_ratio - 1):.3g} % (× {claim.detectable_ratio:.3g}) for coating "
        f"and {100 * (other.detectable_ratio - 1):.3g} % (× {other.detectable_ratio:.3g}) for together are shown in "
        f"fewer than 80 % of campaigns even if the scatter is as estimated.",
        "A true change of exactly the worthwhile size is shown to be worthwhile in only 2.5 % of campaigns, however "
        "many runs are made.",
        "Nothing here speaks of engines, batches of parts or batches of oil other than those that are run, and "
        "stations or readings are no substitute for runs.",
    )
    assert list(told.lost["comparison"]) == ["coating", "together"]
    assert told.lost["after_two_lost"].iloc[0] < told.lost["after_one_lost"].iloc[0] < told.lost["as_planned"].iloc[0]
    assert told.routes is None
    assert json.loads(json.dumps(told.to_json(), allow_nan=False))["plan"] == design.name


def test_a_choice_is_said_to_be_no_proof():
    brief = coatings(cost=Cost())
    found, told = advised(brief, known(brief))
    pick = found.recommended.picks[0]
    assert found.sentence == (
        f"{found.recommended.design.runs} runs ({found.recommended.name}) will pick the best of 4 coating (if it leads "
        f"each other by 20 %, chance {per_cent(pick.chance)})."
    )
    assert told.spoken[1] == (
        f"It picks the best of 4 coating (if it leads each other by 20 %, chance {per_cent(pick.chance)}). That is a "
        f"choice and no proof: a difference of that size between two of them is shown with a chance of "
        f"{per_cent(pick.proof)}."
    )
    assert told.split is None
    assert told.notes == ("runs, stations and readings are not shared out: no comparison is asked for",)
    assert list(found.picks["name"]) == [option.name for option in found.options]
    assert found.to_json()["options"][0]["picks"][0]["factor"] == "coating"


def test_the_cheapest_plan_that_picks_well_enough_is_advised():
    brief = coatings(cost=Cost(items=COST.items[:1]), power=0.93)
    found, _ = advised(brief, known(brief))
    chances = {option.design.runs: option.picks[0].chance for option in found.options}
    least = min(runs for runs, chance in chances.items() if chance >= 0.93)
    assert found.recommended.design.runs == least > min(chances)


def test_splits_and_routes_stand_beside_the_plan():
    scatter = replace(known(BRIEF), _table=lines())
    _, told = advised(BRIEF, scatter)
    assert told.split.comparison == "together"
    assert told.split.sentences[0].startswith("Stations sharpen a run value and never replace runs: ")
    _, told = advised(replace(SPLIT_PLOT, power=0.7), scatter_of(SPLIT_PLOT))
    assert told.routes.factors == ("sprocket",)
    assert told.to_json()["routes"]["unit"] == "build"


def test_without_a_plan_to_advise_the_sentence_is_read_out():
    brief = replace(BRIEF, comparisons=BRIEF.comparisons[1:])
    found, told = advised(brief, known(brief))
    assert not told.recommended
    assert told.spoken == (found.sentence,)
    assert not any(text.startswith("It cannot be relied on") for text in told.cannot)


def test_no_price_list_no_price():
    brief = briefs.blocked(cost=Cost(), comparisons=BRIEF.comparisons, pilot=None)
    _, told = advised(brief, known(brief, sd=0.08))
    assert told.spoken[0] == f"Book {told.plan.design.runs} runs in {told.plan.design.builds} builds."


def test_a_part_of_the_combinations_that_shows_the_same_is_said():
    brief = replace(FOUR, cost=Cost())
    found, told = advised(brief, known(brief))
    assert found.recommended.name == "full factorial, 2 replicates"
    assert told.spoken[-1] == (
        "A part of the combinations shows the same with 24 runs (two-level fraction 2^(4-1), resolution IV, 8 runs a "
        "set, 3 sets); main effects are clear of interactions there, but interactions that are not asked for share "
        "contrasts and cannot be told apart."
    )
