"""Plans that are proposed unasked where no full factorial fits: which, what they give up, and the lines for them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.unit import briefs
from tests.unit.size.test_options import known
from toolkit.brief import check_designs
from toolkit.brief.model import Comparison, Cost, CostItem, PlanChoice
from toolkit.design import chosen
from toolkit.size import candidates, chosen_lines, options

LEVELS = {"pin": 3, "guide": 3, "oil": 2, "link": 4}
FACTORS = tuple(briefs.factor(name, *(f"{name[0].upper()}{at}" for at in range(n))) for name, n in LEVELS.items())


def brief_of(budget, factors=FACTORS, **changes):
    """Four factors of 72 combinations; a run costs 1."""
    asked = tuple(
        Comparison(item.name, of={item.name: item.names[1]}, against={item.name: item.names[0]}) for item in factors
    )
    cost = Cost(currency="EUR", budget=float(budget), items=(CostItem("run", "test cell", amount=1.0),))
    changes = {"comparisons": asked, "plan": PlanChoice(), **changes}
    return replace(briefs.randomised(), factors=factors, cost=cost, **changes)


def test_optimal_plans_are_proposed_where_every_combination_is_too_dear():
    brief = brief_of(40)
    found = options.options(brief, [known(brief)])
    # 9 parameters of main effects, and 4, 8 and 14 runs more, in whole fours so that each link comes equally often.
    assert {option.design.brief.plan.runs for option in found.options} == {16, 20, 24}
    assert {option.design.brief.plan.design for option in found.options} == {"optimal"}
    for option in found.options:
        df = option.design.runs - 9
        assert {claim.error_df for claim in option.claims if claim.comparison} == {df}
    (told,) = [note for note in found.notes if "proposed though" in note]
    assert told.startswith(f"{found.recommended.name}, proposed though every combination was asked for: A set of ")
    assert told.endswith(
        "The price: main effects are told and nothing else; the rest is taken as nil, and what of it each effect takes "
        "in is listed. A full factorial takes 72 runs for each replicate."
    )


def test_interactions_that_are_asked_for_are_in_the_model():
    asked = (Comparison("pin x oil", interaction=("pin", "oil")),)
    made = candidates.of_brief(brief_of(40, comparisons=asked))
    assert {design.brief.plan.interactions for design in made} == {(("pin", "oil"),)}
    assert all(("pin", "oil") in design.strata.terms for design in made)
    three = (Comparison("three", interaction=("pin", "oil", "link")),)
    with pytest.raises(Exception, match="72 combinations: two runs of each are more than 60 runs"):
        candidates.of_brief(brief_of(40, comparisons=three))


def test_nothing_is_proposed_where_every_combination_fits_or_another_design_is_asked_for():
    small = FACTORS[:2]
    kinds = {design.brief.plan.design for design in candidates.of_brief(brief_of(20, small))}
    assert kinds == {"full factorial"}
    # Two of each of nine combinations are 18 runs; half of that is a set of main effects with 4 df.
    dear = [design.name for design in candidates.of_brief(brief_of(17, small))]
    assert not any(name.startswith("optimal") for name in dear)
    # Two of each of 18 combinations are 36 runs, and sets of main effects take 12 or 15.
    three = FACTORS[:3]
    fits = brief_of(36, three)
    unpriced = replace(fits, cost=replace(fits.cost, budget=None))
    for asked, expected in ((fits, set()), (unpriced, set()), (brief_of(35, three), {"optimal"})):
        made = {design.brief.plan.design for design in candidates.of_brief(asked)}
        assert made - {"full factorial"} == expected, asked.cost.budget
    own = brief_of(40, plan=PlanChoice(design="optimal", runs=12))
    assert {design.brief.plan.runs for design in candidates.of_brief(own)} == {12}


@pytest.mark.parametrize(
    "changes",
    [
        {"block_by": "build", "most_runs_in_build": 8},
        {"factors": (replace(FACTORS[0], undo="part"), *(replace(item, undo="setting") for item in FACTORS[1:3])),
         "new_each_run": ()},
        {},
    ],
)  # fmt: skip
def test_the_lines_that_choose_a_plan_lay_it_out_again(changes):
    brief = brief_of(30, **{"factors": FACTORS[:3], **changes})
    found, seen = options.options(brief, [known(brief)]), 0
    for option in (item for item in found.options if item.name.startswith("optimal")):
        keys = chosen_lines.keys(found, option)
        pairs = {name: tuple(map(tuple, value)) for name, value in keys.items() if name == "interactions"}
        own = replace(brief, plan=PlanChoice(**{**keys, **pairs}))
        assert check_designs.design(own) == []
        seen += 1
        assert chosen.main(own).name == option.name
        assert chosen.main(own).table.equals(option.design.table)
    assert seen
