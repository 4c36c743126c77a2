"""Terms and their columns, against textbook coding tables and hand counts."""

from __future__ import annotations

import numpy as np
import pytest

from tests.unit import briefs
from toolkit.brief.model import PlanChoice
from toolkit.design import terms

THREE = briefs.randomised(
    factors=(briefs.factor("a", "x", "y"), briefs.factor("b", "u", "v", "w"), briefs.factor("c", "k", "l")),
    comparisons=(),
)


def test_sum_to_zero_coding_of_a_three_level_factor():
    # Textbook table: the first levels get unit vectors, the last one -1 throughout; a centre point is a row of noughts.
    found = terms.coded(briefs.factor("b", "u", "v", "w"), ["u", "v", "w", "centre"])
    assert found.tolist() == [[1, 0], [0, 1], [-1, -1], [0, 0]]


def test_every_term_once_main_effects_first():
    assert [terms.name_of(term) for term in terms.of_brief(THREE)] == [
        "a",
        "b",
        "c",
        "a × b",
        "a × c",
        "b × c",
        "a × b × c",
    ]
    nil = briefs.randomised(factors=THREE.factors, comparisons=(), plan=PlanChoice(nil_interactions=(("a", "b"),)))
    assert [terms.name_of(term) for term in terms.of_brief(nil, curvature=True)] == [
        "a",
        "b",
        "c",
        "a × c",
        "b × c",
        "curvature",
    ]


def test_columns_have_the_degrees_of_freedom_of_their_terms_and_are_orthogonal_when_balanced():
    table = {name: [line[at] for line in THREE.combinations] for at, name in enumerate(THREE.factor_names)}
    columns, spans = terms.columns(THREE, table, terms.of_brief(THREE))
    widths = {terms.name_of(term): span.stop - span.start for term, span in spans.items() if term}
    assert widths == {"a": 1, "b": 2, "c": 1, "a × b": 2, "a × c": 1, "b × c": 2, "a × b × c": 2}
    assert columns.shape == (12, 12)
    for one, first in spans.items():
        for other, second in spans.items():
            if one != other:
                assert np.allclose(columns[:, first].T @ columns[:, second], 0.0), (one, other)


def test_a_row_averages_over_the_factors_left_out():
    found = terms.row(THREE, terms.of_brief(THREE), {"a": "y"})
    _, spans = terms.columns(THREE, {"a": ["y"], "b": ["u"], "c": ["k"]}, terms.of_brief(THREE))
    assert found[spans[()]] == pytest.approx([1.0])
    assert found[spans[("a",)]] == pytest.approx([-1.0])
    assert np.allclose(np.delete(found, [0, spans[("a",)].start]), 0.0)
