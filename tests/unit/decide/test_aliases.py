"""What runs cannot tell apart: hand algebra of a 2 x 2 with a missing combination, published incomplete layouts."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from tests.reference.loader import load
from tests.unit import briefs
from tests.unit.model.made import brief_of, runs_of
from toolkit.brief.model import Comparison, PlanChoice
from toolkit.decide import aliases
from toolkit.design import factorial, questions, strata
from toolkit.model import comparisons
from toolkit.model.fit import fit, of_strata

TWO = (briefs.factor("pin", "P0", "P1"), briefs.factor("oil", "O0", "O1"))
ASKED = (
    Comparison("coating", of={"pin": "P1"}, against={"pin": "P0"}),
    Comparison("both", of={"pin": "P1", "oil": "O1"}, against={"pin": "P0", "oil": "O0"}),
    Comparison("coating, old oil", of={"pin": "P1", "oil": "O0"}, against={"pin": "P0", "oil": "O0"}),
    Comparison("together", interaction=("pin", "oil")),
)


def three_of_four(**changes):
    """A 2 x 2, randomised, three runs of each combination but P1 with O1, which was never run."""
    brief = briefs.randomised(factors=TWO, comparisons=ASKED, **changes)
    table = factorial.full(brief, replicates=3).table
    return brief, strata.of_runs(brief, table[(table["pin"] == "P0") | (table["oil"] == "O0")])


def said(brief, laid):
    """The statement on each comparison of the brief."""
    return {
        item.name: aliases.statement(brief, laid, questions.of_comparison(brief, item, laid.terms))
        for item in brief.comparisons
    }


def test_a_missing_combination_by_hand():
    # Sum-coded, the first level +1: columns mean, A, B, AB at P0O0, P0O1, P1O0 are (1,1,1,1), (1,1,-1,-1), (1,-1,1,-1).
    # What they leave open is the direction (1,-1,-1,1): A, B and AB can be told only together, as A + AB (half the
    # change by the pin at O0, sign apart) or B + AB. A alone cannot, unless AB or B is nil; A + B (corner against
    # corner) cannot, unless AB is.
    brief, laid = three_of_four()
    assert said(brief, laid) == {
        "coating": "confounded with pin × oil (or with oil)",
        "both": "confounded with pin × oil",
        "coating, old oil": "",
        "together": "confounded with pin (or with oil)",
    }
    assert aliases.confounded_with(laid, np.array([0, 1.0, 0, 1.0])) == ()
    assert [aliases.told_df(laid, term) for term in laid.terms] == [0, 0, 0]
    row = questions.of_comparison(brief, ASKED[0], laid.terms).row
    assert aliases.what_helps(laid, row) == (
        "not estimable: no run of pin P1, oil O1. One run of pin P1, oil O1 would make it estimable."
    )


def test_an_interaction_declared_nil_is_carried_by_hand():
    # With the interaction left out the change by the pin is the one at O0: the mean change less half of the
    # difference of differences.
    brief, laid = three_of_four(plan=PlanChoice(replicates=3, nil_interactions=(("pin", "oil"),)))
    told = said(brief, laid)
    assert told["coating"] == "carries −0.5 of pin × oil, declared nil"
    assert told["coating, old oil"] == "carries −0.5 of pin × oil, declared nil"
    row = questions.of_comparison(brief, ASKED[0], laid.terms).row
    assert aliases.carried(brief, laid, row) == {"pin × oil": pytest.approx(-0.5)}
    whole = strata.of_runs(brief, factorial.full(brief).table)
    assert said(brief, whole)["coating"] == ""


def test_a_term_of_several_degrees_of_freedom_is_carried_in_part():
    three = briefs.factor("finish", "turned", "honed", "lapped")
    asked = (Comparison("coating", of={"pin": "P1"}, against={"pin": "P0"}),)
    plan = PlanChoice(replicates=2, nil_interactions=(("pin", "finish"),))
    brief = briefs.randomised(factors=(TWO[0], three), comparisons=asked, plan=plan)
    table = factorial.full(brief).table
    laid = strata.of_runs(brief, table[(table["pin"] == "P0") | (table["finish"] == "turned")])
    assert said(brief, laid) == {"coating": "carries a part of pin × finish, declared nil"}


def test_three_factors_in_blocks_of_four_are_confounded_as_published():
    # k03-npk-confounded: in R the coefficient of N:P:K is NA, aliased with block.
    case = load("k03-npk-confounded")
    names = ["N", "P", "K"]
    brief = brief_of(case.data, names, "yield", block="block", levels={name: ["0", "1"] for name in names})
    laid = strata.of_runs(brief, runs_of(case.data, names, "yield", build="block"))
    told = {
        " × ".join(term): aliases.statement(brief, laid, questions.of_term(brief, term, laid.terms)[0])
        for term in laid.terms
    }
    assert {name.replace(" × ", ":"): text for name, text in told.items() if text} == {
        case.text("not_estimable"): "confounded with builds"
    }


def test_an_empty_combination_of_a_larger_factorial_leaves_what_r_says():
    case = load("k04-toothgrowth-empty-cell")
    brief = brief_of(case.data, ["supp", "dose"], "len", levels={"supp": ["VC", "OJ"], "dose": ["0.5", "1.0", "2.0"]})
    laid = strata.of_runs(brief, runs_of(case.data, ["supp", "dose"], "len"))
    assert aliases.told_df(laid, ("supp", "dose")) == case.expected("interaction_df_estimable") == 1
    told = aliases.statement(brief, laid, questions.of_term(brief, ("supp", "dose"), laid.terms)[0])
    assert told == "1 of 2 degrees of freedom can be told"


@pytest.mark.parametrize("layout", ["blocked", "whole_plots", "randomised"])
def test_weights_give_the_estimates_of_the_whole_analysis(layout):
    brief = getattr(briefs, layout)(pilot=None)
    table = factorial.full(brief).table
    if layout != "whole_plots":
        table = table.iloc[2:]
    runs = table.assign(run_id=[f"R{at}" for at in range(len(table))])
    runs["elongation_pct"] = np.exp(np.random.default_rng(11).normal(0, 0.1, len(runs)))
    made = fit(brief, runs, "elongation_pct")
    found = comparisons.comparisons(made)
    assert len(found) >= 2
    for item, estimate in zip(brief.comparisons, found["estimate"], strict=True):
        row = questions.of_comparison(brief, item, made.strata.terms).row
        taken = aliases.weights(made.strata, row)
        assert set(taken) == {part.stratum for part in made.strata.parts(row)}
        assert sum(taken.values()) @ made.y == pytest.approx(np.log(estimate), abs=1e-12)


def test_the_variance_of_a_contrast_is_the_sum_of_its_squared_weights():
    # Var(w'y) = sigma^2 w'w for runs that are independent (textbook).
    brief = briefs.blocked(pilot=None)
    laid = strata.of_runs(brief, factorial.full(brief).table.iloc[1:])
    row = questions.of_comparison(brief, brief.comparisons[0], laid.terms).row
    (part,) = laid.parts(row)
    taken = aliases.weights(laid, row)["run"]
    assert taken @ taken == pytest.approx(part.unit_variance)


def test_runs_of_one_level_a_build_are_confounded_with_builds():
    brief = briefs.blocked(pilot=None)
    table = factorial.full(brief, builds=2).table
    table = table[((table["build_id"] == "B1") == (table["pin"] == "P0"))]
    told = said(brief, strata.of_runs(brief, table))
    assert told["coating"] == "confounded with builds"


def test_centre_points_are_one_more_term():
    numeric = (briefs.numeric("speed_rpm", 1500, 3000), briefs.numeric("load_N", 10, 20))
    asked = (Comparison("faster", of={"speed_rpm": "3000"}, against={"speed_rpm": "1500"}),)
    brief = briefs.randomised(factors=numeric, comparisons=asked, plan=PlanChoice(replicates=1, centre_points=2))
    laid = strata.of_runs(brief, factorial.full(brief).table)
    question = questions.of_term(brief, ("curvature",), laid.terms)[0]
    assert aliases.statement(brief, laid, question) == ""
    assert of_strata(brief, brief.responses[0], laid, np.arange(6.0)).mean_squares["run"][1] == 1
    only = replace(brief, plan=PlanChoice(replicates=1))
    assert said(only, strata.of_runs(only, pd.DataFrame(factorial.full(only).table))) == {"faster": ""}
