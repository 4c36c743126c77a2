"""Places of a Latin square: as planned, as made, in the strata."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from tests.unit.briefs import blocked, factor, randomised
from toolkit.brief.designs import LATIN
from toolkit.brief.model import Brief, PlanChoice
from toolkit.design import chosen, factorial, latin, orders, strata
from toolkit.numeric import latin_squares


def brief_of(levels: int, builds: int, **plan: object) -> Brief:
    """One factor in a Latin square of builds and places."""
    made = randomised(
        factors=(factor("finish", *(f"F{at}" for at in range(levels))),), block_by="build", comparisons=()
    )
    return replace(made, plan=PlanChoice(design=LATIN, builds=builds, **plan))


@pytest.mark.parametrize(("levels", "builds", "df"), [(3, 3, 2), (4, 4, 6), (5, 5, 12), (4, 8, 18), (3, 6, 8)])
def test_error_df_by_hand(levels, builds, df):
    # runs - 1 - (builds - 1) - (places - 1) - (levels - 1): (t - 1)(t - 2) of one square.
    laid = chosen.main(brief_of(levels, builds)).strata
    assert laid.stratum("run").error_df == df == levels * builds - builds - 2 * (levels - 1)
    assert laid.position_df == levels - 1
    row = np.zeros(laid.columns.shape[1])
    row[1:3] = 1.0, -1.0
    # Nothing is lost to builds or places: 2 over the runs of a level.
    assert laid.parts(row)[0].unit_variance == pytest.approx(2.0 / builds)


def test_every_square_is_drawn_by_itself_and_its_order_is_kept():
    brief = brief_of(4, 8)
    design = chosen.main(brief)
    order = orders.randomise(design, seed=brief.seed)
    table = order.table
    assert table["finish"].tolist() == design.table["finish"].tolist()
    assert order.drawn == "levels, builds and places of each square at random"
    squares = table["finish"].to_numpy().reshape(2, 4, 4)
    assert not (squares[0] == squares[1]).all()
    for square in squares:
        assert all(len(set(line)) == 4 for line in (*square, *square.T))


def test_followers_are_balanced_in_the_plan():
    brief = brief_of(5, 10, balance_carry_over=True)
    assert (latin.builds_in_set(brief), latin.builds_in_set(brief_of(4, 4, balance_carry_over=True))) == (10, 4)
    table = orders.randomise(chosen.main(brief), seed=1).table
    rows = table["finish"].to_numpy().reshape(10, 5)
    counts = latin_squares.followers([[int(name[1:]) for name in row] for row in rows])
    assert len(counts) == 20 and set(counts.values()) == {2}


def test_places_as_planned_and_as_made():
    brief = brief_of(3, 3)
    runs = orders.randomise(chosen.main(brief), seed=1).table
    assert latin.with_places(brief, runs)[latin.PLACE].tolist() == [1, 2, 3] * 3
    # The second run of the first build is lost: the third stays the third.
    left = runs.drop(index=1)
    assert latin.with_places(brief, left)[latin.PLACE].tolist() == [1, 3, 1, 2, 3, 1, 2, 3]
    # Two runs of the second build were made in each other's place.
    made = runs.assign(actual_order=[1, 2, 3, 5, 4, 6, 7, 8, np.nan])
    assert latin.with_places(brief, made)[latin.PLACE].tolist() == [1, 2, 3, 2, 1, 3, 1, 2, 3]
    kept = latin.with_places(brief, made.assign(**{latin.PLACE: 1}))
    assert set(kept[latin.PLACE]) == {1}
    assert latin.PLACE not in latin.with_places(blocked(), made)


def test_place_columns_add_to_nought_and_a_pilot_has_none():
    brief = brief_of(3, 3)
    columns = latin.place_columns(brief, chosen.main(brief).table)
    assert columns.shape == (9, 2)
    assert np.allclose(columns.sum(axis=0), 0.0)
    assert latin.place_columns(blocked(), pd.DataFrame({"build_id": ["B1"]})).shape == (1, 0)
    with_pilot = replace(brief, pilot=replace(blocked().pilot, combinations=({"finish": "F0"}, {"finish": "F1"})))
    laid = factorial.pilot(with_pilot).strata
    assert laid.position_df == 0 and laid.stratum("run").error_df == 2


def test_rows_hold_each_combination_once():
    rows = latin.rows(brief_of(4, 4), np.random.default_rng(3))
    assert [sorted(row) for row in rows] == [[0, 1, 2, 3]] * 4
    assert strata.layout_of(brief_of(4, 4)) == strata.BLOCKS
    assert latin.used(brief_of(4, 4)) and not latin.used(blocked())
