"""Which part goes to which position: squares, their allotment to runs, the rows that are judged, their strata."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import numpy as np
import pandas as pd
import pytest

from tests.unit import rings
from toolkit.brief.model import Positions
from toolkit.design import chosen, factorial, orders, positions, questions, strata
from toolkit.errors import DesignError
from toolkit.numeric import latin_squares


def counts(runs: pd.DataFrame, within: str = "") -> list[list[int]]:
    """How often each position holds each coating, for each level of a factor of the run."""
    parts = [runs] if not within else [part for _, part in runs.groupby(within)]
    return [
        [int((part[f"ring@cyl {at}"] == level).sum()) for at in (1, 2, 3, 4) for level in ("R0", "R1", "R2", "R3")]
        for part in parts
    ]


@pytest.mark.parametrize(("size", "each"), [(2, 1), (3, 1), (4, 1), (6, 1), (2, 2), (3, 4)])
def test_a_square_holds_every_symbol_equally_often(size: int, each: int) -> None:
    """Counted: ``each`` times in a row, once in a column."""
    found = latin_squares.square(size, np.random.default_rng(3), each=each)
    assert found.shape == (size, size * each)
    assert all(np.bincount(row, minlength=size).tolist() == [each] * size for row in found)
    assert all(np.bincount(column, minlength=size).tolist() == [1] * size for column in found.T)


def test_every_latin_square_of_three_is_drawn_equally_often() -> None:
    """All twelve squares of order 3 (each is a cyclic one in other order), 2,400 draws; chi-square on 11 df."""
    every = [
        rows
        for rows in permutations(permutations(range(3)), 3)
        if all(len({row[at] for row in rows}) == 3 for at in range(3))
    ]
    assert len(every) == 12
    draw = np.random.default_rng(5)
    found = [tuple(map(tuple, latin_squares.square(3, draw).tolist())) for _ in range(2_400)]
    told = np.array([found.count(one) for one in every])
    # 31.3 is the 99.9 % point of chi-square on 11 df (table, from memory).
    assert told.sum() == 2_400
    assert ((told - 200.0) ** 2 / 200.0).sum() < 31.3


def test_every_level_of_the_run_sees_each_coating_in_each_position_equally_often() -> None:
    """Eight runs: once in each oil and each liner, and twice in all, counted."""
    asked = rings.brief()
    found = orders.randomise(chosen.main(asked), seed=asked.seed).table
    assert counts(found) == [[2] * 16]
    assert counts(found, "oil") == [[1] * 16] * 2
    assert counts(found, "liner") == [[1] * 16] * 2
    assert positions.uneven(asked, found) == ""


def test_runs_that_are_no_multiple_say_what_is_uneven() -> None:
    """Six runs of one oil: 24 places for 4 coatings, one or two of each in a position."""
    asked = rings.brief()
    runs = chosen.main(replace(asked, plan=replace(asked.plan, replicates=3))).table.iloc[:6]
    found = positions.arranged(asked, runs.drop(columns=[name for name in runs if "@" in name]))
    assert sorted(set(counts(found)[0])) == [1, 2]
    assert positions.uneven(asked, found) == (
        "each position holds a level of ring 1 to 2 times: 6 runs are no multiple of 4, so that positions are taken "
        "out by least squares and the comparisons lose a little by it"
    )


def test_the_same_seed_fits_the_same_parts_and_another_other_ones() -> None:
    """Drawn from the seed; the runs are the same but for their order."""
    made = chosen.main(rings.brief())
    one, again, other = (orders.randomise(made, seed=seed).table for seed in (4, 4, 5))
    pd.testing.assert_frame_equal(one, again)
    assert one.filter(like="@").to_numpy().tolist() != other.filter(like="@").to_numpy().tolist()
    assert orders.randomise(made, seed=4).drawn == (
        "all runs at random; what each position holds by Latin squares over the runs, their rows, columns and symbols "
        "at random"
    )


def test_squares_are_drawn_from_the_generator_that_is_given() -> None:
    """What is drawn for a phase is what is arranged by its own generator; another seed draws other squares."""
    asked = rings.brief()
    runs = chosen.main(asked).table.assign(phase="main")
    one = positions.drawn(asked, runs, seed=4)
    pd.testing.assert_frame_equal(one, positions.drawn(asked, runs, seed=4))
    assert not one.equals(positions.drawn(asked, runs, seed=5))
    assert counts(one) == [[len(runs) // 4] * 16]


def test_effects_of_positions_are_sum_coded_columns() -> None:
    """By hand: a one for each position but the last, which has minus one throughout."""
    rows = pd.DataFrame({positions.POSITION: ["cyl 2", "cyl 4", "cyl 1"]})
    assert positions.effects(rings.brief(), rows).tolist() == [[0, 1, 0], [-1, -1, -1], [1, 0, 0]]


def test_rows_and_runs_are_there_and_back() -> None:
    """A row a run and position, named after both; the table of runs comes back."""
    asked = rings.brief()
    runs = orders.randomise(chosen.main(asked), seed=1).table
    rows = positions.rows_of(asked, runs)
    assert rows["run_id"].tolist()[:5] == ["R01/cyl 1", "R01/cyl 2", "R01/cyl 3", "R01/cyl 4", "R02/cyl 1"]
    assert rows["ring"].tolist()[:4] == runs.filter(like="@").iloc[0].tolist()
    assert positions.rows_of(asked, rows) is rows
    pd.testing.assert_frame_equal(positions.runs_of(asked, rows)[list(runs)], runs)


def test_the_skeleton_of_eight_runs() -> None:
    """Degrees of freedom by hand: 8 - 4 between runs; 32 - 8 - 3 - 12 at most within, none of the main effects lost.

    A run holds four rows, so that its mean square is 4 times the variance of runs and once that of positions.
    """
    laid = chosen.main(rings.brief()).strata
    assert laid.units == ("run", "position")
    assert laid.balanced and laid.finest == "position" and laid.run_count == 8
    assert laid.stratum("run").error_df == 4
    assert laid.stratum("position").term_df + laid.stratum("position").error_df == 32 - 8 - 3
    assert laid.stratum("position").terms[0] == ("ring",)
    assert laid.expected("run") == {"run": 4.0, "position": 1.0}
    assert laid.expected("position") == {"position": 1.0}
    assert laid.of_term(("ring", "oil")) == "position"
    # Positions are taken out of the finest stratum alone, and every level of a coating is met in each of them.
    assert laid.beside("run").shape == (32, 0)
    assert laid.beside("position").shape == (32, 3)


def test_variances_of_comparisons_in_both_strata() -> None:
    """2 / 8 for two coatings with 8 rows each, 2 / 16 for two oils with 16; coatings are orthogonal to positions."""
    asked = rings.brief()
    laid = orders.randomise(chosen.main(asked), seed=2).design.strata
    found = [laid.parts(questions.of_comparison(asked, item, laid.terms).row) for item in asked.comparisons]
    assert [[part.stratum for part in parts] for parts in found] == [["position"], ["run"], ["position"]]
    assert found[0][0].unit_variance == pytest.approx(2.0 / 8.0, rel=1e-12)
    assert found[1][0].unit_variance == pytest.approx(2.0 / 16.0, rel=1e-12)
    # Within one oil each coating has 4 rows, one in each position.
    assert found[2][0].unit_variance == pytest.approx(2.0 / 4.0, rel=1e-9)


def test_a_lost_position_and_a_wrong_part_are_not_balanced() -> None:
    """Said of the run it is; losing a whole run leaves the rest as balanced as they were."""
    asked = rings.brief()
    runs = orders.randomise(chosen.main(asked), seed=2).table
    rows = positions.rows_of(asked, runs)
    assert strata.of_runs(asked, rows.drop(index=5)).unbalanced == (
        "run R02 does not hold the same combinations as the other runs"
    )
    wrong = rows.copy()
    wrong.loc[0, "ring"] = next(level for level in ("R0", "R1") if level != wrong.loc[0, "ring"])
    assert strata.of_runs(asked, wrong).unbalanced == "run R01 does not hold the same combinations as the other runs"
    assert strata.of_runs(asked, runs.iloc[1:]).balanced


def test_builds_are_blocks_or_units_around_the_runs() -> None:
    """Blocks: builds are fixed, runs are the units within them. Units: builds, runs, positions, by skeleton."""
    asked = rings.brief()
    asked = replace(asked, plan=replace(asked.plan, replicates=1))
    blocked = replace(asked, new_each_run=("part", "fill"), block_by="build", factors=asked.factors[:2])
    laid = factorial.full(blocked, builds=4).strata
    assert laid.layout == "whole plots in complete blocks" and laid.units == ("run", "position")
    assert laid.stratum("run").error_df == 8 - 4 - 1
    whole = replace(asked, new_each_run=("part", "fill"))
    laid = factorial.full(whole, builds=4).strata
    assert laid.units == ("build", "run", "position")
    assert [laid.stratum(name).error_df for name in ("build", "run")] == [4 - 2, 8 - 4 - 2]
    assert laid.expected("build") == {"build": 8.0, "run": 4.0, "position": 1.0}


def test_further_runs_hold_what_was_held_least_often() -> None:
    """After four runs of a square a further one repeats one of its rows; four make it even again."""
    asked = rings.brief()
    runs = orders.randomise(chosen.main(asked), seed=2).table
    more = pd.DataFrame([{"build_id": "B1", "oil": "O0", "liner": "L0"}] * 4)
    rows = positions.continued(asked, positions.rows_of(asked, runs), more)
    assert rows["run"].unique().tolist() == ["further 1", "further 2", "further 3", "further 4"]
    both = positions.runs_of(asked, rows)
    assert counts(both) == [[1] * 16]


def test_two_levels_over_four_positions() -> None:
    """Each coating twice in a run, and over two runs once in each position."""
    asked = rings.brief()
    ring = replace(asked.factors[0], levels=asked.factors[0].levels[:2])
    two = replace(asked, factors=(ring, *asked.factors[1:]))
    found = chosen.main(two).table
    assert all(sorted(row) == ["R0", "R0", "R1", "R1"] for row in found.filter(like="@").to_numpy().tolist())
    assert [int((found[f"ring@cyl {at}"] == "R1").sum()) for at in (1, 2, 3, 4)] == [4, 4, 4, 4]


def test_a_plan_of_coatings_alone_is_a_latin_square() -> None:
    """No factor of the run: four runs, 16 - 4 - 3 - 3 = 6 df, as the textbook has it."""
    asked = rings.brief()
    alone = replace(asked, factors=asked.factors[:1], comparisons=asked.comparisons[:1],
                    plan=replace(asked.plan, replicates=4))  # fmt: skip
    made = chosen.main(alone)
    assert counts(made.table) == [[1] * 16]
    assert made.strata.stratum("position").error_df == 6
    assert made.strata.stratum("run").role == "block: positions are compared within"
    assert made.name == "full factorial, 4 replicates, 4 levels of ring over 4 positions of each run"


def test_names_of_positions_are_looked_up_only() -> None:
    """A name with signs that mean something elsewhere is a name."""
    asked = rings.brief()
    odd = replace(asked, positions=Positions(("I(1)", "a.b", "no 3", "4/4")))
    rows = positions.rows_of(odd, chosen.main(odd).table)
    assert rows["position"].tolist()[:4] == ["I(1)", "a.b", "no 3", "4/4"]


def test_builds_that_do_not_hold_every_liner_equally_often_are_refused() -> None:
    """As where runs are not divided."""
    asked = rings.brief()
    with pytest.raises(DesignError, match="builds = 3"):
        factorial.full(replace(asked, new_each_run=("part", "fill")), builds=3)
