"""Worst cases of pending runs against least squares with those values put in, by another route in each layout."""

import dataclasses
import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit import briefs
from tests.unit.decide.made import BRIEF, as_made
from tests.unit.size.test_promise import scatter
from toolkit.brief.model import Comparison, Family, PlanChoice, Response
from toolkit.decide import interim, pending
from toolkit.design import factorial, orders
from toolkit.intake import records
from toolkit.model import comparisons
from toolkit.model.fit import fit

LATE = ("R10", "R11", "R12")
CORNERS = [("P0", "O0"), ("P0", "O1"), ("P1", "O0"), ("P1", "O1")]
ROWS = {"coating": (-0.5, -0.5, 0.5, 0.5), "new oil": (-0.5, 0.5, -0.5, 0.5), "both together": (-1, 0, 0, 1),
        "coating needs the new oil": (1, -1, -1, 1)}  # fmt: skip


def told(brief, planned, taken, response, **more):
    """The worst cases of one response, the fit they start from and the runs it waits for."""
    waiting = pending.pending(brief, taken, planned)
    waiting = waiting[[response in names for names in waiting["responses"]]]
    made = fit(brief, taken.runs, response)
    return interim.worst_cases(brief, made, taken.runs, waiting, **more), made, waiting


def line(table, name):
    """The row of one comparison."""
    return table.set_index("comparison").loc[name]


def dummies(runs):
    """Columns of builds and combinations, and the run values of wear in ln."""
    cells = np.array([[float(key == corner) for corner in CORNERS[1:]]
                      for key in zip(runs["pin"], runs["oil"], strict=True)])  # fmt: skip
    return np.hstack([pd.get_dummies(runs["build_id"]).to_numpy(float), cells])


@pytest.mark.parametrize("late", [LATE, ("R05", "R11"), ("R09", "R10", "R11", "R12")])
def test_blocks_refitted_with_the_values_put_in(late):
    planned, taken = as_made(pending=late)
    table, made, _ = told(BRIEF, planned, taken, "wear_um")
    runs = planned.merge(taken.runs[["run_id", "wear_um", "verdict"]], on="run_id")
    out = runs["run_id"].isin(late).to_numpy()
    y = np.log(runs["wear_um"].astype(float)).to_numpy()
    x = dummies(runs)
    # Builds that were not begun have a column of their own that no run so far has: lstsq gives it nought.
    beta, _, rank, _ = np.linalg.lstsq(x[~out], y[~out], rcond=None)
    left = y[~out] - x[~out] @ beta
    sd = math.sqrt(left @ left / ((~out).sum() - rank))
    assert sd == pytest.approx(math.sqrt(made.mean_squares["run"][0]))
    for name, weights in ROWS.items():
        row = np.concatenate([np.zeros(3), weights[1:]])
        taken_of = x @ np.linalg.inv(x.T @ x) @ row
        # Wear: more is worse, so against a comparison is where its estimate grows.
        for end, way in (("against", 1.0), ("for", -1.0)):
            put = y.copy()
            put[out] = x[out] @ beta + way * 2.0 * sd * np.sign(np.where(abs(taken_of[out]) < 1e-9, 0, taken_of[out]))
            again, residual, _, _ = np.linalg.lstsq(x, put, rcond=None)
            df = len(y) - x.shape[1]
            half = stats.t.isf(0.025, df) * math.sqrt(residual[0] / df * (row @ np.linalg.inv(x.T @ x) @ row))
            found = line(table, name)
            expected = [math.exp(row @ again + shift) for shift in (0.0, -half, half)]
            assert [found[f"{end}_{key}"] for key in ("estimate", "low", "high")] == pytest.approx(expected, rel=1e-9)
        assert found["measured_in"] == "ratio" and found["pending"] == len(late)


def test_the_ends_lie_on_both_sides_of_the_estimate_so_far():
    planned, taken = as_made(pending=LATE)
    table, made, _ = told(BRIEF, planned, taken, "wear_um")
    now = comparisons.comparisons(made).set_index("comparison")["estimate"]
    for name in ROWS:
        found = line(table, name)
        assert found["for_estimate"] < now[name] < found["against_estimate"]


def test_the_sentence_tells_both_ends():
    planned, taken = as_made(pending=LATE)
    table, made, _ = told(BRIEF, planned, taken, "wear_um")
    found = line(table, "coating")
    sd = math.sqrt(made.mean_squares["run"][0])
    assert (found["error_sd"], found["error_sd_from"]) == (pytest.approx(sd), "as found so far")
    less = {end: 100 * (1 - found[f"{end}_estimate"]) for end in ("against", "for")}
    text = found["sentence"]
    assert text.startswith(
        f"coating: if all 3 pending runs came out 2 error SDs (SD {100 * sd:.3g} %, as found so far) against it, it "
        f"would end at {less['against']:.0f} % less wear (95 % interval: "
    )
    assert f"); 2 SDs for it, at {less['for']:.0f} % less wear (95 % interval: " in text
    one, _, _ = told(BRIEF, *as_made(pending=("R12",)), "wear_um")
    assert line(one, "coating")["sentence"].startswith("coating: if the pending run came out 2 error SDs (SD ")


def randomised(late):
    """One factor of three levels, larger is better, linear scale, some runs pending; INVENTED."""
    brief = briefs.randomised(
        responses=(Response("torque_Nm", better="larger", scale="linear", per_run="value", worthwhile_change=0.5),)
    )
    planned = orders.randomise(factorial.full(brief), seed=3).table
    draw = np.random.default_rng(5)
    runs = planned.assign(actual_order=planned["planned_order"], run_time_h=100.0, verdict="valid", reason="", role="",
                          torque_Nm=np.round(50 + draw.normal(0, 0.4, len(planned)), 3))  # fmt: skip
    runs = runs.drop(columns="replicate").astype({"actual_order": object, "torque_Nm": object, "run_time_h": object})
    runs.loc[runs["run_id"].isin(late), ["actual_order", "run_time_h", "torque_Nm"]] = None
    runs.loc[runs["run_id"].isin(late), "verdict"] = "pending"
    return brief, planned, records.from_tables(brief, runs=runs, plan=planned)


def test_randomised_runs_against_means_and_pooled_scatter():
    late = ("R10", "R11", "R12")
    brief, planned, taken = randomised(late)
    table, _, _ = told(brief, planned, taken, "torque_Nm")
    runs = taken.runs
    groups = {level: part["torque_Nm"].dropna().to_numpy() for level, part in runs.groupby("finish")}
    df = sum(len(values) - 1 for values in groups.values())
    sd = math.sqrt(sum(((values - values.mean()) ** 2).sum() for values in groups.values()) / df)
    # Honing: of a pending run only 'honed' and 'turned' move, apart for it (larger is better), together against it.
    sides = {"honed": 1.0, "turned": -1.0, "lapped": 0.0}
    for end, way in (("against", -1.0), ("for", 1.0)):
        whole = {level: list(values) for level, values in groups.items()}
        for row in runs[runs["run_id"].isin(late)].to_dict("records"):
            level = row["finish"]
            whole[level].append(groups[level].mean() + way * sides[level] * 2 * sd)
        means = {level: np.mean(values) for level, values in whole.items()}
        square = sum(((np.array(values) - means[level]) ** 2).sum() for level, values in whole.items()) / 9
        half = stats.t.isf(0.025, 9) * math.sqrt(square * (1 / 4 + 1 / 4))
        change = means["honed"] - means["turned"]
        found = line(table, "honing")
        assert [found[f"{end}_{key}"] for key in ("estimate", "low", "high")] == pytest.approx(
            [change, change - half, change + half], rel=1e-9)
    assert found["measured_in"] == "N·m"


def test_whole_plots_move_builds_by_the_scatter_of_build_means():
    brief = briefs.whole_plots(responses=(Response("wear_um", scale="linear", per_run="value", worthwhile_change=5.0),))
    planned = orders.randomise(factorial.full(brief), seed=3).table
    draw = np.random.default_rng(8)
    runs = planned.assign(actual_order=planned["planned_order"], run_time_h=100.0, verdict="valid", reason="", role="",
                          wear_um=np.round(80 + draw.normal(0, 4, len(planned)), 3))  # fmt: skip
    runs = runs.drop(columns="replicate").astype({"actual_order": object, "wear_um": object, "run_time_h": object})
    late = runs["build_id"].isin(["B7", "B8"])
    runs.loc[late, ["actual_order", "run_time_h", "wear_um"]] = None
    runs.loc[late, "verdict"] = "pending"
    taken = records.from_tables(brief, runs=runs, plan=planned)
    table, made, _ = told(brief, planned, taken, "wear_um")
    # Means of two runs a build; the build-level factor is judged by these means alone (textbook split plot).
    so_far = taken.runs[~late]
    means = so_far.groupby("build_id").agg(wear=("wear_um", "mean"), level=("sprocket", "first"))
    sides = {level: part["wear"].to_numpy() for level, part in means.groupby("level")}
    sd = math.sqrt(sum(((part - part.mean()) ** 2).sum() for part in sides.values()) / 4)
    assert made.mean_squares["build"] == (pytest.approx(2 * sd**2), 4)
    to_come = runs[late].groupby("build_id")["sprocket"].first()
    for end, way in (("against", 1.0), ("for", -1.0)):
        whole = {level: list(values) for level, values in sides.items()}
        for level in to_come:
            whole[level].append(sides[level].mean() + way * (1 if level == "S1" else -1) * 2 * sd)
        middle = {level: np.mean(values) for level, values in whole.items()}
        square = sum(((np.array(values) - middle[level]) ** 2).sum() for level, values in whole.items()) / 6
        half = stats.t.isf(0.025, 6) * math.sqrt(square * sum(1 / len(values) for values in whole.values()))
        change = middle["S1"] - middle["S0"]
        found = line(table, "sprocket")
        assert [found[f"{end}_{key}"] for key in ("estimate", "low", "high")] == pytest.approx(
            [change, change - half, change + half], rel=1e-9)


def test_families_keep_their_joint_intervals():
    brief = dataclasses.replace(BRIEF, families=(Family("may we switch", adjust="holm"),))
    alone, _, _ = told(BRIEF, *as_made(pending=LATE), "wear_um")
    joint, _, _ = told(brief, *as_made(brief, pending=LATE), "wear_um")
    one, other = line(alone, "coating"), line(joint, "coating")
    assert other["against_estimate"] == pytest.approx(one["against_estimate"])
    # Three comparisons of the family at 1 - alpha / 3 (Bonferroni), on the same 6 df.
    wider = [math.log(found["against_high"] / found["against_estimate"]) for found in (one, other)]
    assert wider[1] / wider[0] == pytest.approx(stats.t.isf(0.025 / 3, 6) / stats.t.isf(0.025, 6), rel=1e-9)


def test_the_scatter_planned_with_counts_where_it_is_the_larger_one():
    planned, taken = as_made(pending=LATE)
    small, made, _ = told(BRIEF, planned, taken, "wear_um", scatter=scatter(BRIEF, sd=0.001))
    plain, _, _ = told(BRIEF, planned, taken, "wear_um")
    pd.testing.assert_frame_equal(small, plain)
    large, _, _ = told(BRIEF, planned, taken, "wear_um", scatter=scatter(BRIEF, sd=0.2))
    found, before = line(large, "coating"), line(plain, "coating")
    assert (found["error_sd"], found["error_sd_from"]) == (pytest.approx(0.2), "as planned with")
    # The estimate moves in proportion to the SD: it is linear in the values put in.
    now = math.log(comparisons.comparisons(made).set_index("comparison")["estimate"]["coating"])
    moved = [math.log(item["against_estimate"]) - now for item in (found, before)]
    assert moved[0] / moved[1] == pytest.approx(0.2 / before["error_sd"], rel=1e-9)
    # With one build there is no error so far; the SD planned with is enough.
    late = tuple(f"R{at:02d}" for at in range(5, 13))
    first, _, _ = told(BRIEF, *as_made(pending=late), "wear_um", scatter=scatter(BRIEF, sd=0.13))
    assert line(first, "new oil")["against_estimate"] > line(first, "new oil")["for_estimate"]
    assert "(SD 13 %, as planned with)" in line(first, "new oil")["sentence"]


def test_what_cannot_be_reckoned_says_why():
    # Nothing of P1 with O1 was run yet: R04, R06 and R10.
    table, _, _ = told(BRIEF, *as_made(pending=("R04", "R06", "R10")), "wear_um")
    assert line(table, "coating")["sentence"] == (
        "coating: where the pending runs could take it is not told: the runs so far say nothing of the combination of "
        "R04, R06, R10 yet."
    )
    assert line(table, "coating")["against_estimate"] is None
    # One build so far: four runs, four combinations, no error.
    late = tuple(f"R{at:02d}" for at in range(5, 13))
    table, _, _ = told(BRIEF, *as_made(pending=late), "wear_um")
    assert line(table, "new oil")["sentence"] == (
        "new oil: where the pending runs could take it is not told: the scatter between runs is not known yet (no "
        "degrees of freedom of error)."
    )


def test_pending_runs_without_a_plan_have_no_worst_case():
    brief = dataclasses.replace(BRIEF, plan=PlanChoice(builds=3))
    _, taken = as_made(brief, pending=LATE, with_plan=False, R11_pin=None, R12_build_id=None)
    table, _, _ = told(brief, None, taken, "wear_um")
    assert line(table, "coating")["sentence"] == (
        "coating: where the pending runs could take it is not told: the treatment or build of R11, R12 is not known."
    )


def test_a_comparison_that_stays_confounded_says_so():
    asked = (*BRIEF.comparisons[:1], Comparison("needs", interaction=("pin", "oil")))
    brief = dataclasses.replace(BRIEF, comparisons=asked)
    # As run P1 was never with O1, and the pending run is none of that combination either.
    table, _, _ = told(brief, *as_made(brief, pending=("R12",), R04_pin="P0", R06_pin="P0", R10_pin="P0"), "wear_um")
    assert line(table, "needs")["sentence"] == (
        "needs: where the pending runs could take it is not told: it is not estimable even with the pending runs as "
        "planned."
    )
