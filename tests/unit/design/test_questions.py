"""Questions as contrasts of the model, by hand algebra on cell means."""

from __future__ import annotations

import numpy as np
import pytest

from tests.unit import briefs
from toolkit.brief.model import Comparison
from toolkit.design import questions, terms


def value(brief, row, means):
    """The contrast applied to a table of cell means, by the model that reproduces them exactly."""
    table = {name: [c[at] for c in brief.combinations] for at, name in enumerate(brief.factor_names)}
    columns, _ = terms.columns(brief, table, terms.of_brief(brief))
    beta = np.linalg.solve(columns, np.array([means[c] for c in brief.combinations]))
    return row @ beta


def test_main_effect_pair_and_interaction_of_a_two_by_two():
    brief = briefs.blocked()
    means = {("P0", "O0"): 10.0, ("P0", "O1"): 8.0, ("P1", "O0"): 7.0, ("P1", "O1"): 3.0}
    asked = [questions.of_comparison(brief, item, terms.of_brief(brief)) for item in brief.comparisons]
    assert [value(brief, q.row, means) for q in asked] == pytest.approx(
        [(7 + 3 - 10 - 8) / 2, 3 - 10, (3 - 8) - (7 - 10)]
    )
    assert [q.contrast for q in asked] == [
        "pin P1 against pin P0, mean over oil",
        "pin P1, oil O1 against pin P0, oil O0",
        "change pin P1 against P0 at oil O1, against the same change at oil O0",
    ]


def test_terms_give_a_contrast_a_degree_of_freedom_the_extreme_levels_first():
    brief = briefs.randomised()
    made = questions.of_term(brief, ("finish",), terms.of_brief(brief))
    means = {("turned",): 5.0, ("honed",): 4.0, ("lapped",): 1.0}
    assert [q.contrast for q in made] == ["finish lapped against finish turned", "finish honed against finish turned"]
    assert [value(brief, q.row, means) for q in made] == pytest.approx([-4.0, -1.0])


def test_three_factors_average_over_the_rest_with_equal_weights():
    brief = briefs.randomised(
        factors=(briefs.factor("a", "x", "y"), briefs.factor("b", "u", "v", "w"), briefs.factor("c", "k", "l")),
        comparisons=(Comparison("ac", interaction=("a", "c")),),
    )
    draw = np.random.default_rng(5)
    means = {c: float(draw.normal()) for c in brief.combinations}
    asked = questions.of_comparison(brief, brief.comparisons[0], terms.of_brief(brief))
    by_hand = np.mean(
        [(means["y", b, "l"] - means["x", b, "l"]) - (means["y", b, "k"] - means["x", b, "k"]) for b in "uvw"]
    )
    assert value(brief, asked.row, means) == pytest.approx(by_hand)
    assert asked.contrast == "change a y against x at c l, against the same change at c k, mean over b"


def test_an_interaction_of_three_factors_is_told_as_what_it_is():
    brief = briefs.randomised(
        factors=(briefs.factor("a", "x", "y"), briefs.factor("b", "u", "v"), briefs.factor("c", "k", "l")),
        comparisons=(Comparison("abc", interaction=("a", "b", "c")),),
    )
    draw = np.random.default_rng(6)
    means = {c: float(draw.normal()) for c in brief.combinations}
    asked = questions.of_comparison(brief, brief.comparisons[0], terms.of_brief(brief))
    two_way = {
        c: (means["y", "v", c] - means["x", "v", c]) - (means["y", "u", c] - means["x", "u", c]) for c in ("k", "l")
    }
    assert value(brief, asked.row, means) == pytest.approx(two_way["l"] - two_way["k"])
    assert asked.contrast == (
        "(change a y against x at b v, against the same change at b u) at c l, against the same at c k"
    )
