"""Lost runs made again, replaced or given up: which runs there are then, by hand."""

from __future__ import annotations

import pytest

from tests.unit import briefs
from toolkit.brief.model import PlanChoice
from toolkit.design import changed, factorial, orders
from toolkit.errors import DesignError

BLOCKED = briefs.blocked(most_runs_in_build=4)


def standing(brief, made, *, more=(), repeats=()):
    """A sealed run list of which the first few runs were made."""
    table = orders.randomise(factorial.full(brief), seed=7).table
    fixed = frozenset([*table["run_id"].iloc[:made], *more])
    return changed.Standing(brief, table, fixed, frozenset(table["run_id"]), frozenset(repeats))


def row(table, run_id):
    """The levels and the build of a run."""
    line = table[table["run_id"] == run_id].iloc[0]
    return {name: line[name] for name in ("build_id", "pin", "oil", "replicate", "planned_order") if name in line}


def test_without_leaves_the_list_and_takes_out_what_was_not_made():
    state = standing(BLOCKED, 9)
    made = changed.lost(state, "without", ["R08"])
    assert made.runs.equals(state.runs)
    assert (made.added, made.dropped, made.instead, made.anew, made.last) == ((), (), {}, (), ())
    given_up = changed.lost(state, "without", ["R11", "R12"])
    assert list(given_up.runs["run_id"]) == [f"R{at:02d}" for at in range(1, 11)]
    assert (given_up.dropped, given_up.anew) == (("R11", "R12"), ())


def test_replaced_in_the_same_build_with_the_same_levels():
    state = standing(BLOCKED, 6)
    made = changed.lost(state, "replace", ["R05"])
    assert (made.added, made.instead, made.anew, made.new_builds) == (("R13",), {"R05": "R13"}, ("B2",), ())
    assert row(made.runs, "R13") == {**row(state.runs, "R05"), "planned_order": 0}
    assert made.notes == ("build B2 is then run 5 times, lost runs among them, and lasts 4 ([blocks] most_runs)",)


def test_a_build_that_is_gone_takes_no_run():
    state = standing(BLOCKED, 9)
    with pytest.raises(DesignError) as told:
        changed.lost(state, "replace", ["R02", "R08"])
    assert str(told.value) == (
        "R02: build B1 is gone, since build B2 has begun; R08: build B2 is gone, since build B3 has begun"
    )
    # A run that is set up in a later build has begun it.
    with pytest.raises(DesignError) as told:
        changed.lost(standing(BLOCKED, 6, more=["R09"]), "replace", ["R05"])
    assert str(told.value) == "R05: build B2 is gone, since build B3 has begun"


def test_repeated_in_builds_of_their_own_where_the_last_one_is_full():
    state = standing(BLOCKED, 9)
    made = changed.lost(state, "repeat", ["R03"])
    assert (made.added, made.new_builds, made.anew) == (("R13",), ("B4",), ("B4",))
    assert row(made.runs, "R13") == {**row(state.runs, "R03"), "build_id": "B4", "planned_order": 0}
    assert made.notes == (
        "R13 alone in build B4 tells nothing of any comparison, since runs are compared within builds",
    )
    five = changed.lost(standing(BLOCKED, 12), "repeat", [f"R{at:02d}" for at in range(1, 6)])
    assert list(five.runs["build_id"].iloc[12:]) == ["B4"] * 4 + ["B5"]
    assert five.added == ("R13", "R14", "R15", "R16", "R17")


def test_repeated_in_the_last_build_while_it_has_room():
    roomy = changed.lost(standing(briefs.blocked(most_runs_in_build=5), 9), "repeat", ["R03", "R08"])
    assert list(roomy.runs["build_id"].iloc[12:]) == ["B3", "B4"]
    assert roomy.new_builds == ("B4",)
    assert roomy.anew == ("B3", "B4")
    unlimited = changed.lost(standing(briefs.blocked(), 9), "repeat", ["R03", "R08"])
    assert list(unlimited.runs["build_id"].iloc[12:]) == ["B3", "B3"]
    assert unlimited.notes == ()


def test_runs_that_will_not_be_made_where_they_stand_are_made_behind():
    # The second build broke down with two runs to go, and the third has begun.
    state = standing(BLOCKED, 6, more=["R09"])
    made = changed.lost(state, "repeat", ["R07", "R08"])
    assert (made.dropped, made.added, made.new_builds) == (("R07", "R08"), ("R13", "R14"), ("B4",))
    assert made.instead == {"R07": "R13", "R08": "R14"}
    assert "R07" not in set(made.runs["run_id"])


def test_completely_randomised_runs_are_repeated_behind_all_or_replaced_among_the_rest():
    brief = briefs.randomised()
    behind = changed.lost(standing(brief, 5), "repeat", ["R02", "R04"])
    assert (behind.added, behind.last, behind.anew) == (("R13", "R14"), ("R13", "R14"), ())
    among = changed.lost(standing(brief, 5), "replace", ["R02"])
    assert (among.added, among.last, among.anew) == (("R13",), (), ("B1",))
    # An earlier repeat stays behind the others.
    again = changed.lost(standing(brief, 5, repeats=["R12"]), "replace", ["R02"])
    assert again.last == ("R12",)
    with pytest.raises(DesignError) as told:
        changed.lost(standing(brief, 12), "replace", ["R02"])
    assert str(told.value) == "R02: no run is left to be made, so there is nothing to draw it among"


def test_whole_plots_lost_altogether_are_built_again():
    state = standing(briefs.whole_plots(), 6)
    made = changed.lost(state, "repeat", ["R03", "R04", "R05"])
    assert list(made.runs["build_id"].iloc[16:]) == ["B9", "B9", "B10"]
    assert made.new_builds == ("B9", "B10")


def test_ids_and_builds_go_on_counting_over_all_that_were_ever_used():
    table = orders.randomise(factorial.full(BLOCKED), seed=7).table
    state = changed.Standing(BLOCKED, table, frozenset(["R01"]), frozenset([*table["run_id"], "R17"]))
    assert changed.lost(state, "repeat", ["R01"]).added == ("R18",)
    more = changed.Standing(BLOCKED, table, frozenset(["R01"]), frozenset([*table["run_id"], "R99"]))
    assert changed.lost(more, "repeat", ["R01"]).added == ("R100",)


def test_what_is_kept_or_in_a_square_is_not_made_again():
    assert changed.made_again(briefs.blocked()) and changed.made_again(briefs.whole_plots())
    assert changed.made_again(briefs.blocked(new_each_run=("fill",)))
    assert not changed.made_again(briefs.blocked(plan=PlanChoice(design="Latin square")))
