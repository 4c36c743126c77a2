"""Parts and fills kept over several runs: lost runs made again, plans of another size, centre points; by hand."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from tests.unit import briefs
from tests.unit.design.test_kept_units import kept
from toolkit.brief.model import PlanChoice
from toolkit.design import changed, factorial, kept_again, kept_resized, orders, resized, strata
from toolkit.design._run_list import RunList
from toolkit.design.changed import Standing
from toolkit.errors import DesignError
from toolkit.model.anova import table as anova_table
from toolkit.model.fit import fit

UNITS = ["build_id", "part_set_id"]


def standing(brief, made, *, more=()):
    """A sealed run list of which the first few runs were made."""
    table = orders.randomise(factorial.full(brief), seed=7).table
    fixed = frozenset([*table["run_id"].iloc[:made], *more])
    return Standing(brief, table, fixed, frozenset(table["run_id"]))


def units_of(runs, names=UNITS):
    """Unit to its runs, in order of the plan."""
    held = {}
    for row in runs.sort_values("planned_order").to_dict("records"):
        held.setdefault("/".join(str(row[name]) for name in names), []).append(row["run_id"])
    return held


def together(runs, names=UNITS):
    """True where the runs of every unit follow each other."""
    order = ["/".join(map(str, line)) for line in runs.sort_values("planned_order")[names].itertuples(index=False)]
    return sum(one != two for one, two in zip(order, order[1:], strict=False)) + 1 == len(set(order))


def test_a_run_is_replaced_in_its_set_while_that_is_set_up():
    # Sets of four runs: R01 to R04, R05 to R08 in the first build; R06 was lost, R07 and R08 are left.
    state = standing(kept("fill"), 6)
    made = changed.lost(state, changed.REPLACE, ["R06"])
    assert (made.added, made.instead, made.within, made.notes) == (("R25",), {"R06": "R25"}, ("part_set_id",), ())
    seen = Counter()
    for seed in range(60):
        after = made.redrawn(fixed=state.fixed, seed=[7, seed]).table
        assert together(after) and list(after["planned_order"]) == list(range(1, 26))
        assert after["run_id"].tolist()[:6] == state.runs["run_id"].tolist()[:6]
        assert set(units_of(after)["B1/2"]) == {"R05", "R06", "R07", "R08", "R25"}
        seen[tuple(after["run_id"][6:9])] += 1
    assert len(seen) == 6
    new, old = (after[after["run_id"] == run].iloc[0] for run in ("R25", "R06"))
    assert all(new[name] == old[name] for name in (*UNITS, "pin", "oil", "load", "replicate"))


def test_a_set_that_was_taken_off_takes_no_run_and_one_that_is_set_up_in_advance_counts():
    with pytest.raises(DesignError) as told:
        changed.lost(standing(kept("fill"), 6), changed.REPLACE, ["R02"])
    assert str(told.value) == "R02: set of parts B1/1 is gone, since set of parts B1/2 has begun"
    with pytest.raises(DesignError) as told:
        changed.lost(standing(kept("fill"), 3, more=["R05"]), changed.REPLACE, ["R02"])
    assert str(told.value) == "R02: set of parts B1/1 is gone, since set of parts B1/2 has begun"
    with pytest.raises(DesignError) as told:
        changed.lost(standing(kept("fill"), 10), changed.REPLACE, ["R02"])
    assert str(told.value) == "R02: build B1 is gone, since build B2 has begun"


def test_a_fill_that_was_drained_is_made_anew_in_the_set_of_parts_that_stands():
    # In each set of parts two fills of two runs: R01, R02 and R03, R04.
    state = standing(kept(), 3)
    made = changed.lost(state, changed.REPLACE, ["R02"])
    assert made.notes == (
        "R25: fill B1/1/1 is gone, since fill B1/1/2 has begun; a new one, B1/5, is set up in its set of parts",
    )
    row = made.runs[made.runs["run_id"] == "R25"].iloc[0]
    assert (row["part_set_id"], row["fill_id"]) == ("1", "5")
    for seed in range(20):
        after = made.redrawn(fixed=state.fixed, seed=[seed]).table
        assert together(after) and together(after, [*UNITS, "fill_id"])
        # The fill that has begun is run to its end first.
        assert after["run_id"].tolist()[:5] == [*state.runs["run_id"][:4], "R25"]


def test_repeated_runs_get_sets_of_their_own_and_those_of_one_set_share_it():
    state = standing(kept("fill"), 12)
    made = changed.lost(state, changed.REPEAT, ["R02", "R03", "R06"])
    assert list(made.runs["build_id"].iloc[24:]) == ["B3"] * 3
    assert list(made.runs["part_set_id"].iloc[24:]) == ["3", "3", "4"]
    assert made.notes == (
        "R25 and R26: set of parts B3/3 is set up for them",
        "R27: set of parts B3/4 is set up for it; alone there it is one more set of parts to judge by, and tells next "
        "to nothing of what changes within one (oil and load)",
    )
    first = Counter()
    for seed in range(80):
        after = made.redrawn(fixed=state.fixed, seed=[7, seed]).table
        assert together(after)
        assert after["run_id"].tolist()[:16] == state.runs["run_id"].tolist()[:16]
        first[after["part_set_id"].iloc[16]] += 1
    # None of the sets of the last build has begun: each of the four may be the first.
    assert set(first) == {"1", "2", "3", "4"}
    laid = strata.of_runs(state.brief, after[~after["run_id"].isin(["R02", "R03", "R06"])])
    assert not laid.balanced and laid.stratum("part").units == 8


def test_repeated_where_runs_are_completely_randomised_come_behind():
    brief = kept("fill", block_by=None, plan=PlanChoice(replicates=2))
    state = standing(brief, 9)
    made = changed.lost(state, changed.REPEAT, ["R01", "R02"])
    after = made.redrawn(fixed=state.fixed, seed=[3]).table
    assert set(after["run_id"].tolist()[-2:]) == {"R17", "R18"}
    assert set(after["part_set_id"].tolist()[-2:]) == {"5"}


def test_builds_that_are_units_are_built_again_with_their_fills():
    brief = replace(briefs.whole_plots(new_each_run=("part",)), plan=PlanChoice(builds=4))
    brief = replace(brief, factors=(*brief.factors, briefs.factor("load", "L0", "L1", undo="setting")))
    state = standing(brief, 6)
    made = changed.lost(state, changed.REPEAT, ["R01", "R02", "R03"])
    assert set(made.runs["build_id"].iloc[16:]) == {"B5"}
    assert list(made.runs["fill_id"].iloc[16:]) == ["1", "1", "2"]
    after = made.redrawn(fixed=state.fixed, seed=[3]).table
    assert together(after, ["build_id", "fill_id"])


def test_a_plan_of_another_size_adds_and_takes_out_whole_units():
    brief = kept("fill")
    state, before = standing(brief, 10), factorial.full(brief)

    def asked(**plan):
        return resized.resized(state, before, factorial.full(replace(brief, plan=PlanChoice(**plan))), {})

    more, labels = asked(builds=4)
    assert (more.new_builds, len(more.added), labels["B4"]) == (("B4",), 8, "B4")
    assert Counter(more.runs["part_set_id"].iloc[24:]) == {"1": 4, "2": 4}
    after = more.redrawn(fixed=state.fixed, seed=[1]).table
    assert together(after)
    # B1 is gone; B2 has begun and takes a set of each pin behind, B3 too.
    twice, _ = asked(builds=3, replicates=2)
    assert twice.notes == ("build B1 is gone, since build B2 has begun: its runs stay as they are",)
    assert Counter(twice.runs["build_id"].iloc[24:]) == {"B2": 8, "B3": 8}
    assert sorted(set(twice.runs["part_set_id"].iloc[24:])) == ["3", "4"]
    for seed in range(20):
        after = twice.redrawn(fixed=state.fixed, seed=[seed]).table
        assert together(after)
        assert after["run_id"].tolist()[:12] == state.runs["run_id"].tolist()[:12] or (
            set(after["run_id"][8:12]) == set(state.runs["run_id"][8:12])
        )
    less, _ = asked(builds=2)
    assert sorted(less.dropped) == [f"R{at}" for at in range(17, 25)]
    # Back again, a set of each pin of B3 goes, and of B2 too: none of those added has begun.
    doubled = replace(state, runs=after, used=state.used | set(twice.added))
    had = factorial.full(replace(brief, plan=PlanChoice(builds=3, replicates=2)))
    back, _ = resized.resized(doubled, had, before, {})
    assert len(back.dropped) == 16 and together(back.redrawn(fixed=state.fixed, seed=[2]).table)
    held = Counter("/".join(map(str, line)) for line in back.runs[UNITS].itertuples(index=False))
    assert set(held.values()) == {4} and len(held) == 6


def test_a_level_more_within_a_set_goes_into_the_sets_that_stand():
    brief = kept("fill")
    state, before = standing(brief, 6), factorial.full(brief)
    oil = briefs.factor("oil", "O0", "O1", "O2", undo="fill")
    wider = replace(brief, factors=(brief.factors[0], oil, brief.factors[2]))
    made, _ = resized.resized(state, before, factorial.full(wider), {})
    assert made.notes == (
        "set of parts B1/1 is gone, since set of parts B1/2 has begun: its runs stay as they are",
    )
    held = made.runs[made.runs["oil"] == "O2"]
    assert Counter("/".join(map(str, line)) for line in held[UNITS].itertuples(index=False)) == {
        "B1/2": 2, "B2/1": 2, "B2/2": 2, "B3/1": 2, "B3/2": 2,
    }  # fmt: skip


SOOT = briefs.numeric("soot_pct", 1.0, 3.0)


def test_centre_points_lie_in_the_sets_that_stand_and_are_judged_by_the_runs():
    brief = kept("fill", plan=PlanChoice(builds=3, centre_points=2))
    brief = replace(brief, factors=(brief.factors[0], SOOT), comparisons=brief.comparisons[:1])
    laid = factorial.full(brief).strata
    # Two of each pin: in every set two corners and two centre points.
    assert {len(part) for _, part in laid.runs.groupby(UNITS)} == {4} and len(laid.runs) == 24
    assert laid.of_term(("curvature",)) == "run"
    assert laid.unbalanced == "centre points lie beside the corners in each set of parts"
    assert {item.name: item.error_df for item in laid.strata if item.error_df is not None} == {"part": 2, "run": 15}
    draw = np.random.default_rng(3)
    sets = laid.members["part"]
    y = draw.normal(size=6)[sets] + 0.5 * (laid.runs["soot_pct"] == "centre") + 0.3 * draw.normal(size=24)
    runs = laid.runs.assign(
        run_id=[f"R{at:02d}" for at in range(24)], phase="main", verdict="valid", elongation_pct=np.exp(y)
    )
    lines = anova_table(fit(brief, runs, "elongation_pct")).set_index("term")
    # Within sets by least squares: sets as blocks, then soot, pin x soot, and centre against corners.
    slope = laid.runs["soot_pct"].map({"1": -1.0, "3": 1.0, "centre": 0.0}).to_numpy()
    pin = np.where(laid.runs["pin"] == "P1", 1.0, -1.0)
    centre = (laid.runs["soot_pct"] == "centre").to_numpy(dtype=float)
    within = np.column_stack([np.eye(6)[sets], slope, pin * slope])
    rests = []
    for held in (within, np.column_stack([within, centre])):
        rests.append(float(((y - held @ np.linalg.lstsq(held, y, rcond=None)[0]) ** 2).sum()))
    # Pin x centre is no term of the model, so that 24 - 6 - 3 = 15 are left for the error.
    assert lines.loc["curvature", "f"] == pytest.approx((rests[0] - rests[1]) / (rests[1] / 15), rel=1e-6)
    assert lines.loc["curvature", "error_df"] == pytest.approx(15, rel=1e-6)


def test_a_fill_at_its_centre_is_a_unit_of_its_own_and_judged_by_fills():
    brief = kept("part", plan=PlanChoice(builds=3, centre_points=1))
    soot = replace(SOOT, undo="fill")
    brief = replace(brief, factors=(brief.factors[0], soot), comparisons=brief.comparisons[:1])
    laid = factorial.full(brief).strata
    # In each build a fill of either soot and one half-way, each with both pins.
    assert {len(part) for _, part in laid.runs.groupby(["build_id", "fill_id"])} == {2} and len(laid.runs) == 18
    assert laid.of_term(("curvature",)) == "fill"
    assert {item.name: item.error_df for item in laid.strata if item.error_df is not None} == {"fill": 4, "run": 7}
    two = replace(brief, plan=PlanChoice(builds=3, centre_points=2))
    assert factorial.full(two).table.groupby("build_id")["fill_id"].nunique().tolist() == [4, 4, 4]


def test_the_steps_by_themselves():
    """What an amendment puts together, step by step on a plan of which six runs were made."""
    state = standing(kept(), 6)
    brief, runs = state.brief, state.runs
    assert kept_again.columns(brief) == ["part_set_id", "fill_id"] and kept_again.columns(briefs.blocked()) == []
    first, fifth = (runs[runs["run_id"] == run] for run in ("R01", "R05"))
    # R01 and R02 lie in the first fill of the first set of parts, R05 and R06 in the first of the second.
    assert kept_again.begun_after(brief, runs, first.iloc[0].to_dict(), state.fixed, 1) == "B1/2"
    assert kept_again.begun_after(brief, runs, fifth.iloc[0].to_dict(), state.fixed, 2) == ""
    assert kept_again.refused(brief, runs, fifth, state.fixed) == []
    (why,) = kept_again.refused(brief, runs, first, state.fixed)
    assert why == "R01: set of parts B1/1 is gone, since set of parts B1/2 has begun"
    more = fifth.assign(run_id="R25", planned_order=0)
    placed, notes = kept_again.replaced(brief, runs, fifth, more, state.fixed)
    assert (placed["part_set_id"].tolist(), placed["fill_id"].tolist(), notes) == (["2"], ["3"], [])
    again, notes = kept_again.repeated(brief, runs, fifth, more.assign(build_id="B3"))
    assert (again["part_set_id"].tolist(), again["fill_id"].tolist()) == (["3"], ["5"])
    assert notes[0].startswith("R25: set of parts B3/3 is set up for it; alone there")
    made, table = RunList(state), factorial.full(brief).table
    old = table[table["build_id"] == "B3"]
    kept_resized.change(brief, made, "B3", old, old[old["load"] == "L0"])
    # Every fill of the third build keeps one of its two runs.
    assert len(made.dropped) == 4 and set(made.runs.loc[made.runs["build_id"] == "B3", "load"]) == {"L0"}
    assert made.notes == []


def test_a_set_that_has_begun_is_not_taken_out():
    """Of four sets in the last build, two are too many: those that have begun stay, whatever is asked."""
    brief = kept("fill")
    had = factorial.full(replace(brief, plan=PlanChoice(builds=3, replicates=2)))
    table = orders.randomise(had, seed=7).table
    last = table[table["build_id"] == "B3"]
    stay_on = "its runs stay as they are"
    gone = tuple(f"build {build} is gone, since build B3 has begun: {stay_on}" for build in ("B1", "B2"))
    for begun, stay, taken in ((4, ("3", "4"), set()), (3, ("3",), {"4"})):
        first = list(dict.fromkeys(last["part_set_id"]))[:begun]
        made = last.loc[last["part_set_id"].isin(first), "run_id"]
        state = Standing(brief, table, frozenset(made), frozenset(table["run_id"]))
        back, _ = resized.resized(state, had, factorial.full(brief), {})
        told = tuple(f"set of parts B3/{label} has begun and stays as it is" for label in stay)
        assert back.notes == (*gone, *told)
        assert set(last.loc[last["run_id"].isin(back.dropped), "part_set_id"]) == taken
        assert not set(back.dropped) & state.fixed
