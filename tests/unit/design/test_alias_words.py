"""The alias table against chains by hand, thirds of twelve runs, and least squares on made responses."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from tests.unit import briefs
from tests.unit.design.test_base import numbers, two_level
from toolkit.brief.model import Comparison, PlanChoice
from toolkit.design import alias_words, chosen, questions, strata
from toolkit.design import terms as model_terms
from toolkit.numeric import aliases


def lines_of(brief: object) -> dict[str, alias_words.AliasLine]:
    """The lines of the brief's main phase by term."""
    found = alias_words.of_strata(chosen.main(brief).strata)
    return {model_terms.name_of(line.term): line for line in found}


def test_seven_factors_in_eight_runs_have_the_chains_of_their_levels() -> None:
    """Each main effect with three interactions, as the products of the runs themselves say, signs and all."""
    brief = two_level(7, design="two-level fraction", runs=8, replicates=1)
    made = chosen.main(brief)
    names = list(brief.factor_names)
    levels = np.where(made.table[names] == "1", 1.0, -1.0)
    chains, _ = aliases.chains(levels)
    for line in alias_words.of_strata(made.strata):
        chain = next(one for one in chains if one.effects[0] == (names.index(line.term[0]),))
        pairs = {
            tuple(names[at] for at in effect): float(sign)
            for effect, sign in zip(chain.effects, chain.signs, strict=True)
            if len(effect) == 2
        }
        assert dict(line.others) == pairs
        assert len(pairs) == 3
        assert not line.clear


@pytest.mark.parametrize("kind", ["two-level fraction", "Plackett-Burman"])
def test_an_effect_comes_out_with_the_sum_that_is_told(kind: str) -> None:
    """Runs made from one interaction alone: every effect found is the told share of it."""
    brief = two_level(7, design=kind, runs=16 if kind == "two-level fraction" else 12, replicates=1)
    laid = chosen.main(brief).strata
    names = list(brief.factor_names)
    levels = np.where(laid.runs[names] == "1", 1.0, -1.0)
    for pair in combinations(range(7), 2):
        y = levels[:, pair].prod(axis=1)
        named = tuple(names[at] for at in pair)
        for line in alias_words.of_strata(laid):
            own = levels[:, [names.index(name) for name in line.term]].prod(axis=1)
            effect = y[own > 0].mean() - y[own < 0].mean()
            share = 1.0 if line.term == named else dict(line.others).get(named, 0.0)
            # The effect of the interaction itself, high less low, is 2.
            assert effect == pytest.approx(2.0 * share, abs=1e-12)


def test_thirds_of_twelve_runs() -> None:
    """Every main effect of 11 takes in a third of 45 interactions; the sentence writes out four of them."""
    brief = two_level(8, design="Plackett-Burman", replicates=1)
    line = lines_of(brief)["pin"]
    assert len(line.others) == 21
    assert {round(abs(share), 9) for _, share in line.others} == {round(1 / 3, 9)}
    assert line.sentence.endswith(", and 17 more in part or whole: these runs cannot tell them apart.")
    assert "1/3 of " in line.sentence


def test_sentences() -> None:
    """Whole aliases with their sign, clear effects, effects that are not there; and the table."""
    half = two_level(3, design="two-level fraction", runs=4, replicates=1)
    lines = lines_of(half)
    assert lines["pin"].sentence in (
        "What is told as pin is pin plus oil × link: these runs cannot tell them apart.",
        "What is told as pin is pin minus oil × link: these runs cannot tell them apart.",
    )
    assert lines["pin"].chain in ("pin + oil × link", "pin − oil × link")
    whole = lines_of(two_level(5, design="two-level fraction", runs=16, replicates=1))
    assert whole["pin"].sentence == (
        "pin stands clear of every other main effect and every interaction of two factors."
    )
    assert all(line.clear for line in whole.values())
    brief = briefs.blocked()
    laid = strata.of_runs(brief, chosen.main(brief).table.query("pin == 'P0' or oil == 'O0'"))
    told = {model_terms.name_of(line.term): line.sentence for line in alias_words.of_strata(laid)}
    assert told["pin × oil"] == "pin × oil cannot be told from these runs."
    table = alias_words.table(tuple(lines.values()))
    assert list(table.columns) == ["term", "chain", "clear", "sentence"]
    assert table["clear"].tolist() == [False] * 3


def test_interactions_given_up_to_builds_are_named() -> None:
    """2^(7-3) over four builds; a set in whole builds gives up nothing."""
    brief = replace(two_level(7, design="two-level fraction", runs=16, split_over=4, builds=4), block_by="build")
    laid = chosen.main(brief).strata
    told = alias_words.builds_words(laid)
    assert told.endswith(": the same as a difference between builds, so given up to it; no run can tell them.")
    for name in told.split(":")[0].split(", "):
        pair = name.split(" × ")
        product = np.where(laid.runs[pair] == "1", 1.0, -1.0).prod(axis=1)
        assert all(len(set(product[laid.runs["build_id"] == build])) == 1 for build in laid.runs["build_id"].unique())
    assert len(told.split(":")[0].split(", ")) == 9
    whole = replace(two_level(5, design="two-level fraction", runs=16, builds=2), block_by="build")
    assert alias_words.builds_words(chosen.main(whole).strata) == ""


def test_three_levels_keep_main_effects_clear_and_squares_not() -> None:
    """The slope takes in nothing; a square a part of products, which is said without a number."""
    brief = numbers(4, (1.0, 2.0, 3.0), design="three-level screening", replicates=1)
    line = lines_of(brief)["speed_rpm"]
    assert all(share is None for _, share in line.others)
    assert "plus a part of load_N × temp_degC" in line.sentence


def test_interactions_declared_nil_are_told_in_a_full_factorial_that_lost_a_run() -> None:
    """2 x 2 less one combination with the interaction nil: each main effect carries it in part."""
    brief = briefs.blocked(block_by=None, plan=PlanChoice(replicates=2, nil_interactions=(("pin", "oil"),)))
    laid = strata.of_runs(brief, chosen.main(brief).table.query("pin == 'P0' or oil == 'O0'"))
    told = {line.term: dict(line.others) for line in alias_words.of_strata(laid)}
    # By hand: the change by pin is told at O0 alone, where the product is the opposite of the high level of pin.
    assert told[("pin",)] == {("pin", "oil"): pytest.approx(-1.0)}


def test_notes_beside_estimates() -> None:
    """A short chain is written out, a long one counted; a comparison has the notes of the terms it is made of."""
    half = two_level(3, design="two-level fraction", runs=4, replicates=2)
    laid = chosen.main(half).strata
    told = alias_words.notes(laid)
    chain = lines_of(half)["pin"].chain
    assert told[("pin",)] == f"stands for {chain}: these runs cannot tell them apart"
    row = questions.of_comparison(half, half.comparisons[0], laid.terms).row
    assert alias_words.note_of(laid, row, told) == told[("pin",)]
    assert alias_words.note_of(laid, 0.0 * row, told) == ""
    many = chosen.main(two_level(8, design="Plackett-Burman", replicates=1)).strata
    assert alias_words.notes(many)[("pin",)] == (
        "pin takes in a part of 21 interactions of two factors, 0.33 of one at most"
    )
    assert alias_words.notes(chosen.main(briefs.blocked()).strata) == {}
    assert alias_words.notes(chosen.main(two_level(5, design="two-level fraction", runs=16, replicates=1)).strata) == {}


def test_a_line_says_what_stands_clear() -> None:
    """Nothing, main effects alone, main effects with some interactions, everything; none for a full factorial."""
    made = {
        (7, 8): "no effect stands clear of every interaction of two factors; what each could also be: plan.html",
        (7, 16): (
            "clear of every other main effect and every interaction of two factors: every main effect; what the others "
            "could also be: plan.html"
        ),
        (5, 16): (
            "clear of every other main effect and every interaction of two factors: every main effect, every "
            "interaction "
            "of two (10)"
        ),
    }
    for (count, runs), words in made.items():
        brief = two_level(count, design="two-level fraction", runs=runs, replicates=1)
        assert alias_words.summary(chosen.main(brief).strata) == words
    kept = two_level(6, design="two-level fraction", runs=16, replicates=1, keep_clear=(("pin", "oil"),))
    assert ", pin × oil" in alias_words.summary(chosen.main(kept).strata)
    assert alias_words.summary(chosen.main(briefs.blocked()).strata) == ""


def test_a_comparison_of_combinations_names_the_interaction_it_takes_as_nil() -> None:
    """Oil compared at one pin: in 8 runs pin × oil goes under another name; in a full 2^3 it is in the model."""
    asked = Comparison("oil on pin 1", of={"pin": "1", "oil": "1"}, against={"pin": "1", "oil": "0"})
    brief = replace(two_level(7, design="two-level fraction", runs=8, replicates=1), comparisons=(asked,))
    laid = chosen.main(brief).strata
    question = questions.of_comparison(brief, asked, laid.terms)
    told = alias_words.note_of(laid, question.row, {}, asked)
    assert told == "takes pin × oil as nil, which these runs do not tell by itself"
    # Both factors moved together: the product is the same on both sides.
    both = Comparison("both", of={"pin": "1", "oil": "1"}, against={"pin": "0", "oil": "0"})
    assert alias_words.note_of(laid, question.row, {}, both) == ""
    whole = replace(two_level(3, design="two-level fraction", runs=8, replicates=2), comparisons=(asked,))
    laid = chosen.main(whole).strata
    assert alias_words.note_of(laid, questions.of_comparison(whole, asked, laid.terms).row, {}, asked) == ""
