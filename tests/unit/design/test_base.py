"""Sets of runs: their sizes, their balance, and what they can tell."""

from __future__ import annotations

from dataclasses import fields, replace
from itertools import combinations

import numpy as np
import pandas as pd
import pytest

from tests.unit import briefs
from toolkit.brief import checks
from toolkit.brief.model import CENTRE, Brief, Comparison, Extension, Factor, Level, Limit, Pilot, PlanChoice
from toolkit.design import base
from toolkit.design import terms as model_terms
from toolkit.errors import DesignError

NAMES = ("pin", "oil", "link", "guide", "soot", "seal", "tip", "rail")


def two_level(count: int, **plan: object) -> Brief:
    """Factors at two levels, completely randomised."""
    return briefs.blocked(
        factors=tuple(briefs.factor(name, "0", "1") for name in NAMES[:count]),
        comparisons=(Comparison("pin", of={"pin": "1"}, against={"pin": "0"}),),
        block_by=None,
        pilot=None,
        plan=PlanChoice(**plan),
    )


def numbers(count: int, levels: tuple[float, ...], **plan: object) -> Brief:
    """Numeric factors, completely randomised."""
    names = ("speed_rpm", "load_N", "temp_degC", "soot_pct", "flow_L_min", "pull_kN", "gap_um")
    return briefs.blocked(
        factors=tuple(briefs.numeric(name, *levels) for name in names[:count]),
        comparisons=(
            Comparison("speed", of={"speed_rpm": f"{levels[-1]:g}"}, against={"speed_rpm": f"{levels[0]:g}"}),
        ),
        block_by=None,
        pilot=None,
        plan=PlanChoice(**plan),
    )


def columns_of(brief: Brief) -> np.ndarray:
    """The columns of the model over one set."""
    held = base.of_brief(brief)
    runs = pd.DataFrame(list(held.lines), columns=list(brief.factor_names))
    return model_terms.columns(brief, runs, model_terms.of_brief(brief))[0]


@pytest.mark.parametrize(
    ("count", "runs", "terms", "name"),
    [
        (7, 8, 7, "two-level fraction 2^(7-4), resolution III, 8 runs a set"),
        (7, 16, 15, "two-level fraction 2^(7-3), resolution IV, 16 runs a set"),
        (5, 16, 15, "two-level fraction 2^(5-1), resolution V, 16 runs a set"),
        (3, 8, 7, "2^3, 8 runs a set"),
    ],
)
def test_a_fraction_has_one_term_for_each_contrast(count: int, runs: int, terms: int, name: str) -> None:
    """All contrasts are used, each by its shortest effect, and the columns are orthogonal."""
    brief = two_level(count, design="two-level fraction", runs=runs, replicates=1)
    assert checks.check(brief) == []
    held = base.of_brief(brief)
    assert (len(held.lines), len(held.terms), held.name, held.spread) == (runs, terms, name, 1)
    columns = columns_of(brief)
    assert np.array_equal(columns.T @ columns, runs * np.eye(terms + 1))
    assert base.lines(brief) == tuple(dict.fromkeys(held.lines))
    assert held.terms[:count] == tuple((one,) for one in brief.factor_names)


def test_interactions_asked_for_are_the_names_of_their_contrasts() -> None:
    """What keep_clear and comparisons name is told under that name, and keep_clear is in truth clear."""
    brief = two_level(6, design="two-level fraction", runs=16, replicates=1, keep_clear=(("link", "seal"),))
    asked = Comparison("both", interaction=("oil", "soot"))
    brief = replace(brief, comparisons=(*brief.comparisons, asked))
    assert checks.check(brief) == []
    held = base.of_brief(brief)
    assert {("link", "seal"), ("oil", "soot")} <= set(held.terms)
    at = tuple(brief.factor_names.index(name) for name in ("link", "seal"))
    assert at in held.fraction.clear_pairs


def test_nil_and_higher_interactions_leave_their_contrasts_to_the_error() -> None:
    """2^(7-3): 14 terms up to two factors; one interaction declared nil gives its name to the next of its chain."""
    plan = {"design": "two-level fraction", "runs": 16, "replicates": 1}
    assert len(base.of_brief(two_level(7, **plan, interactions_up_to=2)).terms) == 14
    assert len(base.of_brief(two_level(7, **plan, interactions_up_to=1)).terms) == 7
    every = base.of_brief(two_level(7, **plan)).terms
    pair = next(term for term in every if len(term) == 2)
    less = base.of_brief(two_level(7, **plan, nil_interactions=(pair,))).terms
    assert pair not in less
    assert len(less) == len(every)


def test_a_set_over_builds_gives_up_no_main_effect() -> None:
    """Over two builds one contrast goes to the builds; each level stands equally often in both."""
    brief = two_level(5, design="two-level fraction", runs=16, builds=2, split_over=2)
    brief = replace(brief, block_by="build")
    assert checks.check(brief) == []
    held = base.of_brief(brief)
    assert (held.spread, len(held.terms)) == (2, 14)
    for place in range(5):
        for build in (0, 1):
            levels = [line[place] for line, own in zip(held.lines, held.builds, strict=True) if own == build]
            assert (levels.count("0"), levels.count("1")) == (4, 4)


def test_plackett_burman_takes_the_fewest_runs_that_hold_the_factors() -> None:
    """7 factors: 12 runs and main effects alone; asked for 20 it has 20."""
    held = base.of_brief(two_level(7, design="Plackett-Burman", replicates=1))
    assert (held.name, len(held.lines), len(held.terms)) == ("Plackett-Burman, 12 runs a set", 12, 7)
    assert len(base.of_brief(two_level(7, design="Plackett-Burman", runs=20, replicates=1)).lines) == 20
    columns = columns_of(two_level(7, design="Plackett-Burman", replicates=1))
    assert np.array_equal(columns.T @ columns, 12 * np.eye(8))


def test_three_levels_have_slope_and_square() -> None:
    """Slopes are orthogonal to squares; both are told of every factor."""
    brief = numbers(4, (1.0, 2.0, 3.0), design="three-level screening", replicates=1)
    assert checks.check(brief) == []
    columns = columns_of(brief)
    assert columns.shape == (13, 9)
    assert np.linalg.matrix_rank(columns) == 9
    slopes, squares = columns[:, 1::2], columns[:, 2::2]
    assert np.abs(slopes.T @ squares).max() < 1e-12
    assert base.steps(brief)["load_N"] == {"1": -1.0, "2": 0.0, "3": 1.0, CENTRE: 0.0}


@pytest.mark.parametrize(
    ("levels", "plan", "runs", "builds"),
    [
        ((1.0, 2.0, 3.0), {"design": "Box-Behnken", "centre_points": 3}, 15, 1),
        ((1.0, 2.0, 3.0), {"design": "central composite", "axial": "face-centred", "centre_points": 2}, 16, 1),
        (
            (31.82, 100.0, 200.0, 300.0, 368.18),
            {"design": "central composite", "axial": "rotatable", "centre_points": 6},
            20,
            1,
        ),
        (
            (36.70, 100.0, 200.0, 300.0, 363.30),
            {"design": "central composite", "axial": "orthogonal blocking", "centre_points": 2, "split_over": 3},
            20,
            3,
        ),
    ],
)
def test_surfaces_tell_slopes_squares_and_products(
    levels: tuple[float, ...], plan: dict[str, object], runs: int, builds: int
) -> None:
    """Nine coefficients and the mean of three factors; every level is one of the brief."""
    size = {"builds": builds} if builds > 1 else {"replicates": 1}
    brief = numbers(3, levels, **plan, **size)
    brief = replace(brief, block_by="build" if builds > 1 else None)
    assert checks.check(brief) == []
    held = base.of_brief(brief)
    assert (len(held.lines), held.spread, len(held.terms)) == (runs, builds, 6)
    columns = columns_of(brief)
    assert columns.shape == (runs, 10)
    assert np.linalg.matrix_rank(columns) == 10


def test_the_18_run_array_tells_one_interaction_where_it_is_asked_for() -> None:
    """2 x 3^2: main effects in 5 df; with keep_clear the interaction in two more, orthogonal to them."""
    factors = (briefs.factor("pin", "A", "B", "C"), briefs.factor("oil", "0", "1"), briefs.factor("tip", "x", "y", "z"))
    brief = replace(two_level(3), factors=factors, comparisons=(), plan=PlanChoice("18-run array", replicates=1))
    assert checks.check(brief) == []
    assert base.of_brief(brief).terms == (("pin",), ("oil",), ("tip",))
    kept = replace(brief, plan=PlanChoice("18-run array", replicates=1, keep_clear=(("tip", "oil"),)))
    assert base.of_brief(kept).terms == (("pin",), ("oil",), ("tip",), ("oil", "tip"))
    columns = columns_of(kept)
    assert np.linalg.matrix_rank(columns) == 8
    assert np.abs(columns[:, 6:].T @ columns[:, :6]).max() < 1e-12
    for one, other in combinations(range(3), 2):
        pairs = [(line[one], line[other]) for line in base.of_brief(kept).lines]
        assert len({pairs.count(pair) for pair in pairs}) == 1
    with pytest.raises(DesignError, match="only one interaction, of the two-level factor with one factor of three"):
        base.of_brief(replace(brief, plan=PlanChoice("18-run array", keep_clear=(("tip", "pin"),))))


def test_a_full_factorial_has_every_combination() -> None:
    """The part is no part."""
    brief = briefs.blocked()
    assert not base.part(brief)
    assert base.lines(brief) == brief.combinations
    assert not base.second_order(brief)


def test_whatever_a_set_of_runs_is_kept_by_tells_all_that_it_holds():
    # Sets of runs are kept by the text of these; one with words of its own would give one plan the runs of another.
    level = Level("P0")
    kept_by = (PlanChoice(), Extension(), Pilot(), Limit({}), Factor("pin", "part", (level, Level("P1"))), level)
    for one in kept_by:
        assert [f"{item.name}=" in repr(one) for item in fields(one)] == [True] * len(fields(one))
