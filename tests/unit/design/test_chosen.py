"""Phases of the designs that run a part of the combinations."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.unit import briefs
from tests.unit.design.test_base import numbers, two_level
from toolkit.brief.model import CENTRE, Extension, PlanChoice
from toolkit.design import chosen, orders, questions
from toolkit.errors import DesignError

SEVEN = {"design": "two-level fraction", "runs": 8}


def test_sets_are_made_again_as_replicates() -> None:
    """Two sets of eight: 8 df for the error, 1/4 of the variance in a main effect; the order holds every run once."""
    brief = two_level(7, **SEVEN, replicates=2)
    made = chosen.main(brief)
    assert (made.name, made.runs) == ("two-level fraction 2^(7-4), resolution III, 8 runs a set, 2 sets", 16)
    assert made.strata.stratum("run").error_df == 8
    row = questions.of_comparison(brief, brief.comparisons[0], made.strata.terms).row
    assert made.strata.parts(row)[0].unit_variance == pytest.approx(4.0 / 16.0)
    assert sorted(made.table["replicate"]) == [1] * 8 + [2] * 8
    drawn = orders.randomise(made, seed=3).table
    assert len(drawn) == 16
    assert sorted(drawn["run_id"]) == [f"R{number:02d}" for number in range(1, 17)]
    names = list(brief.factor_names)
    assert sorted(map(tuple, drawn[names].to_numpy())) == sorted(map(tuple, made.table[names].to_numpy()))


def test_sets_over_builds() -> None:
    """16 runs over two builds, twice: 3 df between four builds, the lost contrast is no term."""
    brief = replace(two_level(7, design="two-level fraction", runs=16, split_over=2, builds=4), block_by="build")
    made = chosen.main(brief)
    assert made.name == "two-level fraction 2^(7-3), resolution IV, 16 runs a set, 4 builds of 8 runs"
    assert made.table["build_id"].value_counts().to_dict() == {"B1": 8, "B2": 8, "B3": 8, "B4": 8}
    run = made.strata.stratum("run")
    assert (run.term_df, run.error_df) == (14, 32 - 1 - 3 - 14)
    for term in made.strata.terms:
        assert made.strata.parts(questions.of_term(brief, term, made.strata.terms)[0].row)
    with pytest.raises(DesignError) as told:
        chosen.main(brief, builds=3)
    assert str(told.value) == (
        "builds = 3: one set is spread over 2 builds ([plan] split_over), so their number must be a multiple of 2; "
        "choose 2 or 4."
    )
    with pytest.raises(DesignError) as told:
        chosen.main(replace(brief, most_runs_in_build=6))
    assert str(told.value) == (
        "8 runs in a build, but a build lasts 6 ([blocks] most_runs); spread the set over more builds ([plan] "
        "split_over), or take fewer runs a set."
    )


def test_centre_points_beside_a_fraction() -> None:
    """Numbers go to their middle at each combination of the named factors that the set runs; curvature can be told."""
    brief = two_level(4, design="two-level fraction", runs=8, replicates=1, centre_points=2)
    factors = (*brief.factors[:1], *(briefs.numeric(name, 1, 3) for name in ("speed_rpm", "load_N", "temp_degC")))
    made = chosen.main(replace(brief, factors=factors))
    centre = made.table[made.table["speed_rpm"] == CENTRE]
    assert (made.runs, sorted(centre["pin"])) == (12, ["0", "0", "1", "1"])
    assert made.strata.terms[-1] == ("curvature",)
    assert chosen.set_size(replace(brief, factors=factors)) == 12


def test_runs_without_an_error_are_judged_by_each_other_where_there_are_seven_effects() -> None:
    """Saturated 2^(7-4): yes; a 2^(3-1) with three effects: no; Plackett-Burman: no."""
    assert chosen.judged_by_each_other(chosen.main(two_level(7, **SEVEN, replicates=1)))
    assert not chosen.judged_by_each_other(chosen.main(two_level(3, design="two-level fraction", runs=4, replicates=1)))
    assert not chosen.judged_by_each_other(chosen.main(two_level(11 - 3, design="Plackett-Burman", replicates=1)))


def test_extension_makes_further_sets() -> None:
    """One more set; or further builds where builds are blocks; named combinations as for a full factorial."""
    brief = replace(two_level(7, **SEVEN, replicates=1), extension=Extension(replicates=1))
    made = chosen.extension(brief)
    assert (made.name, made.runs) == ("extension, two-level fraction 2^(7-4), resolution III, 8 runs a set, 1 set", 8)
    blocked = replace(
        two_level(7, design="two-level fraction", runs=16, split_over=2, builds=2),
        block_by="build",
        extension=Extension(builds=2),
    )
    assert chosen.extension(blocked).table["build_id"].value_counts().to_dict() == {"X1": 8, "X2": 8}
    again = made.table[list(brief.factor_names)].iloc[0].to_dict()
    named = chosen.extension(replace(brief, extension=Extension(replicates=3, combinations=(again,))))
    assert named.runs == 3


def test_surfaces_keep_their_own_centre_runs() -> None:
    """Box-Behnken of four factors over three builds: nine runs in each, one of them at the centre."""
    brief = numbers(4, (1.0, 2.0, 3.0), design="Box-Behnken", centre_points=1, split_over=3, builds=3)
    made = chosen.main(replace(brief, block_by="build"))
    assert made.name == "Box-Behnken, 27 runs a set, 3 builds of 9 runs"
    middle = made.table[(made.table[list(brief.factor_names)] == "2").all(axis=1)]
    assert sorted(middle["build_id"]) == ["B1", "B2", "B3"]
    assert sorted(middle["replicate"]) == [1, 2, 3]
    assert (chosen.set_size(brief), chosen.spread(brief)) == (27, 3)


def test_what_is_open_or_not_covered() -> None:
    """The size is not chosen; a full factorial goes its own way."""
    with pytest.raises(DesignError) as told:
        chosen.main(two_level(7, **SEVEN))
    assert str(told.value) == (
        "[plan] replicates = 0: the size of the main phase is not chosen yet. Run `wearbook size`, decide, and write "
        "your choice into campaign.toml."
    )
    assert chosen.main(briefs.blocked()).name == "full factorial, 3 builds of 4 runs"
    assert chosen.set_size(briefs.blocked(plan=PlanChoice(builds=3))) == 4
    assert chosen.spread(briefs.blocked()) == 1
