"""The extension as a design: what it holds, in which builds, and what both phases tell together."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pandas as pd
import pytest

from tests.unit import briefs
from toolkit.brief.model import CENTRE, Extension, PlanChoice
from toolkit.design import base, chosen, extend, further_runs, joined_words, phases, strata
from toolkit.design import terms as model_terms
from toolkit.errors import DesignError

FRACTION = PlanChoice("two-level fraction", runs=8, replicates=1)
LETTERS = "abcdefg"


def fraction(count, extension, *, plan=FRACTION, **changes):
    """A two-level fraction of factors a, b, c ... that are new in every run."""
    factors = tuple(briefs.factor(name, "low", "high") for name in LETTERS[:count])
    return briefs.randomised(factors=factors, comparisons=(), plan=plan, extension=extension, **changes)


def together(brief):
    """The strata of both phases as planned."""
    parts = [chosen.main(brief).table.assign(phase="main"), chosen.extension(brief).table.assign(phase="extension")]
    return phases.strata_together(brief, pd.concat(parts, ignore_index=True))


def signs(table, names):
    """Levels as -1 and 1."""
    return np.where(table[list(names)].to_numpy() == "high", 1.0, -1.0)


def test_a_semifold_of_six_factors_tells_as_many_interactions_as_the_whole_mirror_image():
    # R. W. Mee and M. Peralta, Technometrics 42 (2000) 122-134 (from memory): half of a fold-over of resolution IV
    # tells as many two-factor interactions as the whole of it.
    plan = replace(FRACTION, runs=16)
    counts = {}
    for design, more in (("fold-over", {}), ("semifold", {"half": {"b": "high"}})):
        brief = fraction(6, Extension(design=design, swap=("a",), **more), plan=plan)
        laid = together(brief)
        levels = signs(laid.runs, LETTERS[:6])
        pairs = [levels[:, [one, other]].prod(axis=1) for one, other in combinations(range(6), 2)]
        block = (laid.runs["phase"] == "extension").to_numpy(dtype=float)
        plain = np.column_stack([np.ones(len(levels)), block, levels])
        # What all interactions of two add in rank, by numpy alone.
        added = np.linalg.matrix_rank(np.column_stack([plain, *pairs])) - np.linalg.matrix_rank(plain)
        counts[design] = added
        assert sum(len(term) == 2 for term in laid.terms) == added
        assert chosen.extension(brief).runs == {"fold-over": 16, "semifold": 8}[design]
    assert counts["semifold"] == counts["fold-over"] == 12


def test_what_both_phases_tell_leaves_the_model_of_the_main_phase_as_it_was():
    brief = fraction(4, Extension(design="fold-over", swap=("a",)))
    plain = replace(brief, extension=None)
    assert chosen.main(brief).strata.terms == chosen.main(plain).strata.terms
    assert len(chosen.main(brief).strata.terms) == 7
    laid = together(brief)
    # Sixteen runs less mean and block: fourteen contrasts, of four factors fifteen effects but the one of the block.
    assert len(laid.terms) == 14
    assert strata.of_runs(brief, chosen.main(brief).table.assign(phase="main")).terms == chosen.main(plain).strata.terms


def test_a_mirror_image_in_builds_is_spread_as_the_main_phase_is():
    plan = PlanChoice("two-level fraction", runs=8, builds=2, split_over=2)
    brief = fraction(4, Extension(design="fold-over", swap=("a",)), plan=plan, block_by="build")
    made = chosen.extension(brief)
    assert made.name == "fold-over by a, 2 builds"
    assert made.table["build_id"].tolist() == ["X1"] * 4 + ["X2"] * 4
    main = chosen.main(brief).table
    for ours, theirs in (("X1", "B1"), ("X2", "B2")):
        own = signs(made.table[made.table["build_id"] == ours], "abcd")
        other = signs(main[main["build_id"] == theirs], "abcd")
        assert (own == other * [-1, 1, 1, 1]).all()
    assert together(brief).runs["build_id"].nunique() == 4


def test_as_often_as_the_main_phase_where_it_is_not_said():
    plan = replace(FRACTION, replicates=2)
    brief = fraction(4, Extension(design="fold-over", swap=("a",)), plan=plan)
    assert (chosen.extension(brief).runs, chosen.extension(brief).name) == (16, "fold-over by a, 2 sets")
    once = replace(brief, extension=replace(brief.extension, replicates=1))
    assert chosen.extension(once).runs == 8
    assert set(chosen.extension(once).table["build_id"]) == {"X1"}


def test_axial_points_make_a_central_composite_with_the_phases_as_blocks():
    factors = (briefs.numeric("speed_rpm", 2000, 4000), briefs.numeric("load_N", 500, 900))
    given = Extension(design="axial points", axial="rotatable", centre_points=3)
    brief = briefs.randomised(
        factors=factors, comparisons=(), plan=PlanChoice(replicates=1, centre_points=3), extension=given
    )
    made = chosen.extension(brief)
    assert made.name == "axial points, rotatable (1.414), 1 set"
    # 3000 -/+ 1.41421 times 1000, 700 -/+ 1.41421 times 200.
    assert [tuple(row) for row in made.table[["speed_rpm", "load_N"]].to_numpy()] == [
        ("1585.79", CENTRE),
        ("4414.21", CENTRE),
        (CENTRE, "417.157"),
        (CENTRE, "982.843"),
        *[(CENTRE, CENTRE)] * 3,
    ]
    laid = together(brief)
    assert [model_terms.name_of(term) for term in laid.terms] == ["speed_rpm", "load_N", "speed_rpm × load_N"]
    # Fourteen runs less mean, block and five coefficients of the second order.
    assert laid.stratum("run").error_df == 7
    gain = joined_words.gain(chosen.main(brief).strata, laid)
    assert gain.sentences[1] == (
        "Squares of every factor are told: the runs are a central composite with the phases as blocks."
    )
    coded = laid.columns[:, laid.spans[("speed_rpm",)]]
    assert coded[7] == pytest.approx([-(2**0.5), 1.0], abs=2e-5)
    # Without its extension the main phase has its own model, with curvature.
    assert ("curvature",) in chosen.main(brief).strata.terms


def test_orthogonal_blocking_keeps_the_block_out_of_every_coefficient():
    factors = (briefs.numeric("speed_rpm", 2000, 4000), briefs.numeric("load_N", 500, 900))
    given = Extension(design="axial points", axial="orthogonal blocking", centre_points=2)
    brief = briefs.randomised(
        factors=factors, comparisons=(), plan=PlanChoice(replicates=1, centre_points=2), extension=given
    )
    laid = together(brief)
    block = laid.block_columns - laid.block_columns.mean(axis=0)
    assert np.abs(block.T @ laid.columns[:, 1:]).max() < 1e-4


def test_kept_parts_are_refused_with_what_can_be_done():
    brief = briefs.blocked(
        new_each_run=("fill",),
        pilot=None,
        extension=Extension(design="make-up runs", combinations=({"pin": "P0", "oil": "O0"},)),
    )
    with pytest.raises(DesignError) as told:
        chosen.extension(brief)
    assert str(told.value) == (
        "[extension] design = 'make-up runs': not covered where a part is kept over several runs (pin). Choose "
        "design = 'more of the same': further sets as they were."
    )


def test_a_build_that_does_not_last():
    plan = PlanChoice("two-level fraction", runs=8, builds=2)
    brief = fraction(4, Extension(design="fold-over", swap=("a",)), plan=plan, block_by="build", most_runs_in_build=6)
    with pytest.raises(DesignError) as told:
        chosen.extension(brief)
    assert str(told.value) == (
        "[extension] design = 'fold-over': 8 runs in a build, but a build lasts 6 ([blocks] most_runs). "
        "Take more builds, or half of the set."
    )


def test_twelve_runs_of_plackett_and_burman_folded_by_one_factor_tell_its_interactions():
    plan = PlanChoice("Plackett-Burman", runs=12, replicates=1)
    brief = fraction(7, Extension(design="fold-over", swap=("a",)), plan=plan)
    laid = together(brief)
    pairs = [term for term in laid.terms if len(term) == 2]
    assert pairs == [("a", other) for other in LETTERS[1:7]]
    assert all(laid.estimable(np.eye(laid.columns.shape[1])[laid.spans[term].start]) for term in laid.terms)
    whole = fraction(7, Extension(design="fold-over"), plan=plan)
    assert [term for term in together(whole).terms if len(term) == 2] == []
    assert base.of_brief(whole).further != ()


def test_the_pieces_that_an_extension_is_made_of():
    brief = fraction(4, Extension(design="fold-over", swap=("a",)))
    plain = base.alone(brief)
    assert plain == replace(brief, extension=None)
    assert (base.joined(brief), base.joined(plain), base.with_axial_points(brief)) == (True, False, False)
    assert not base.joined(replace(brief, extension=Extension(replicates=1)))
    held = base.of_brief(plain)
    lines, builds = further_runs.lines(brief, held.lines, held.builds, held.terms)
    other = {"low": "high", "high": "low"}
    assert lines == tuple((other[line[0]], *line[1:]) for line in held.lines)
    assert builds == (0,) * 8
    # Sixteen different runs: every effect of four factors but one, which is the difference between the phases.
    allowed = [term for size in range(1, 5) for term in combinations("abcd", size)]
    told = further_runs.terms(brief, (held.lines, held.builds), (lines, builds), held.terms, allowed)
    assert len(told) == 14
    assert ("a", "b", "c", "d") not in told
    asked = replace(brief, plan=replace(brief.plan, keep_clear=(("b", "a"),)))
    assert further_runs.asked(asked) == (("a", "b"),)
    assert extend.name(brief) == "fold-over by a"
    assert extend.design(brief).table.equals(chosen.extension(brief).table)
    assert phases.told_by(brief, plain) == plain
    assert phases.told_by(brief, brief) is brief
