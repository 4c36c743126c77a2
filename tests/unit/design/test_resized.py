"""A sealed plan of another size: which runs are added and taken out, by hand, and that what was made stays."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.unit import briefs
from tests.unit.design.test_changed import standing
from toolkit.brief.model import Extension, PlanChoice
from toolkit.design import factorial, resized
from toolkit.errors import DesignError

FOUR = ("P0 O0", "P0 O1", "P1 O0", "P1 O1")


def asked(brief, made, now, *, labels=None, **more):
    """The change from one brief to another when the first few runs were made."""
    state = standing(brief, made, **more)
    return state, *resized.resized(state, factorial.full(brief), factorial.full(now), labels or {})


def content(runs, build):
    """The combinations of a build in order."""
    inside = runs[runs["build_id"] == build]
    return sorted(" ".join(pair) for pair in zip(inside["pin"], inside["oil"], strict=True))


def test_a_build_more_comes_behind_and_the_others_stay():
    brief = briefs.blocked()
    state, change, labels = asked(brief, 5, replace(brief, plan=PlanChoice(builds=4)))
    assert change.runs.iloc[:12].equals(state.runs)
    assert (change.added, change.dropped) == (("R13", "R14", "R15", "R16"), ())
    assert (change.new_builds, change.anew) == (("B4",), ("B4",))
    assert content(change.runs, "B4") == list(FOUR)
    assert set(change.runs["replicate"].iloc[12:]) == {4}
    assert labels == {"B1": "B1", "B2": "B2", "B3": "B3", "B4": "B4"}


def test_a_build_that_repeats_lost_runs_is_not_taken_for_one_of_the_design():
    brief = briefs.blocked()
    state = standing(brief, 5)
    more = state.runs[state.runs["run_id"] == "R02"].assign(run_id="R13", build_id="B4", planned_order=13)
    runs = state.runs.__class__(state.runs.to_dict("records") + more.to_dict("records"))
    state = replace(state, runs=runs, used=state.used | {"R13"}, lost=frozenset(["R02"]))
    change, labels = resized.resized(
        state, factorial.full(brief), factorial.full(brief, builds=4), {name: name for name in ("B1", "B2", "B3")}
    )
    assert change.new_builds == ("B5",)
    assert labels["B4"] == "B5"
    assert change.added == ("R14", "R15", "R16", "R17")
    # And one build less afterwards takes that one out again.
    later = replace(state, runs=change.runs, used=state.used | set(change.added))
    less, back = resized.resized(later, factorial.full(brief, builds=4), factorial.full(brief), labels)
    assert sorted(less.dropped) == ["R14", "R15", "R16", "R17"]
    assert back == {"B1": "B1", "B2": "B2", "B3": "B3"}
    assert "R13" in set(less.runs["run_id"])


def test_a_build_less_takes_out_the_last_one_unless_it_has_begun():
    brief = briefs.blocked()
    _, change, labels = asked(brief, 5, replace(brief, plan=PlanChoice(builds=2)))
    assert sorted(change.dropped) == ["R09", "R10", "R11", "R12"]
    assert (change.anew, labels) == ((), {"B1": "B1", "B2": "B2"})
    with pytest.raises(DesignError) as told:
        asked(brief, 9, replace(brief, plan=PlanChoice(builds=2)))
    assert (
        str(told.value)
        == "build B3 would be taken out, but it has begun; ask for as many builds as have begun, or more"
    )


def test_further_replicates_go_into_builds_that_are_not_gone():
    brief = briefs.blocked()
    _, change, _ = asked(brief, 5, replace(brief, plan=PlanChoice(builds=3, replicates=2)))
    assert content(change.runs, "B1") == list(FOUR)
    assert content(change.runs, "B2") == content(change.runs, "B3") == sorted(FOUR * 2)
    assert change.anew == ("B2", "B3")
    assert change.notes == ("build B1 is gone, since build B2 has begun: its runs stay as they are",)


def test_a_level_more_and_a_level_less():
    two = briefs.blocked()
    three = replace(two, factors=(briefs.factor("pin", "P0", "P1", "P2"), two.factors[1]))
    _, change, _ = asked(two, 5, three)
    assert change.anew == ("B2", "B3")
    assert content(change.runs, "B3") == sorted((*FOUR, "P2 O0", "P2 O1"))
    # R01 to R04 are those of the first build; of the third level nothing was made in the others.
    _, change, _ = asked(three, 6, two)
    dropped = change.runs[~change.runs["run_id"].isin(change.dropped)]
    assert len(change.dropped) == 4
    assert content(dropped, "B2") == content(dropped, "B3") == list(FOUR)
    assert change.anew == ()


def test_replicates_of_a_randomised_plan():
    brief = briefs.randomised()
    _, more, _ = asked(brief, 5, replace(brief, plan=PlanChoice(replicates=5)))
    assert (len(more.added), more.dropped, more.anew) == (3, (), ("B1",))
    state, fewer, _ = asked(brief, 9, replace(brief, plan=PlanChoice(replicates=2)))
    left = fewer.runs
    assert set(state.runs["run_id"].iloc[:9]) <= set(left["run_id"])
    made = state.runs.iloc[:9]["finish"].value_counts()
    short = {level: number - 2 for level, number in made.items() if number > 2}
    counts = left["finish"].value_counts()
    assert all(counts[level] == max(2, made[level]) for level in ("turned", "honed", "lapped"))
    told = fewer.notes[0].removeprefix("made already and left as they are in build B1: ").split(", ")
    assert sorted(told) == sorted(f"{level} ({number})" for level, number in short.items())


def test_whole_plots_keep_begun_builds_and_allot_the_others_anew():
    brief = briefs.whole_plots()
    state, change, labels = asked(brief, 4, replace(brief, plan=PlanChoice(builds=10)))
    assert labels == {}
    assert change.new_builds == ("B9", "B10")
    assert change.allotted == change.anew == tuple(f"B{at}" for at in range(3, 11))
    assert sorted(change.runs.iloc[16:]["sprocket"]) == ["S0", "S0", "S1", "S1"]
    assert change.runs.iloc[:16].equals(state.runs)
    _, fewer, _ = asked(brief, 4, replace(brief, plan=PlanChoice(builds=6)))
    assert fewer.runs.groupby("sprocket").size().to_dict() == {"S0": 6, "S1": 6}
    with pytest.raises(DesignError) as told:
        asked(brief, 4, replace(brief, plan=PlanChoice(builds=8, replicates=2)))
    begun = state.runs["sprocket"].iloc[0]
    assert str(told.value) == (
        f"build B1 has begun and holds what no build of the plan asked for holds ({begun} O0, {begun} O1); builds as "
        f"units of a factor must stay balanced. Go on with what is planned, or plan the further builds as a campaign "
        f"of their own"
    ) or str(told.value) == (
        f"build B1 has begun and holds what no build of the plan asked for holds ({begun} O1, {begun} O0); builds as "
        f"units of a factor must stay balanced. Go on with what is planned, or plan the further builds as a campaign "
        f"of their own"
    )


def test_the_same_runs_under_another_brief_are_no_change():
    brief = briefs.blocked()
    assert resized.same_runs(factorial.full(brief), factorial.full(replace(brief, alpha=0.1)))
    assert not resized.same_runs(factorial.full(brief), factorial.full(brief, builds=4))
    one = briefs.blocked(extension=Extension(builds=1))
    assert not resized.same_runs(factorial.extension(one), factorial.extension(one, builds=2))
