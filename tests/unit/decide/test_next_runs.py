"""What further runs take from the variance, against closed forms and value-of-information figures."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, stats

from tests.unit import briefs, rings
from toolkit.brief.model import Comparison, Cost, CostItem, Family, PlanChoice
from toolkit.decide import next_runs as module
from toolkit.decide import next_words, verdict
from toolkit.decide.next_runs import next_runs
from toolkit.design import factorial, strata
from toolkit.model import comparisons
from toolkit.model.fit import of_strata

PIN = Comparison("pin", of={"pin": "P1"}, against={"pin": "P0"})


def additive(**changes):
    """A 2x2 in blocks whose interaction is declared nil, one comparison."""
    return briefs.blocked(
        comparisons=(PIN,), plan=PlanChoice(builds=2, nil_interactions=(("pin", "oil"),)), pilot=None, **changes
    )


def runs_of(*builds):
    """Runs from builds given as lists of combinations, in order."""
    rows = [(f"B{at + 1}", *line.split()) for at, build in enumerate(builds) for line in build]
    made = pd.DataFrame(rows, columns=["build_id", "pin", "oil"])
    made["run_id"] = [f"R{at + 1:02d}" for at in range(len(made))]
    made["actual_order"] = np.arange(1, len(made) + 1)
    return made


FULL = ("P0 O0", "P1 O0", "P0 O1", "P1 O1")


def fitted(brief, runs, *, estimate=0.18, sd=0.15, seed=1):
    """A fit with exactly this gain of the pin and this error SD."""
    laid = strata.of_runs(brief, runs)
    noise = np.random.default_rng(seed).normal(size=len(runs))
    full = laid.full_columns
    rest = noise - full @ np.linalg.pinv(full) @ noise
    rest *= sd * np.sqrt((len(runs) - np.linalg.matrix_rank(full)) / (rest @ rest))
    y = -estimate * (runs["pin"] == "P1").to_numpy() + rest
    made = of_strata(brief, brief.responses[0], laid, y)
    return made, verdict.verdicts(comparisons.comparisons(made), brief)


def worth(v, *, s=0.15, df=4, distance=0.223 - 0.18):
    """The expected gain of a better decision for a loss of 1 per ln on the wrong side, by numerical integration."""
    sd = s * np.sqrt(v)
    if sd == 0.0:
        return 0.0
    z = abs(distance) / sd
    return sd * integrate.quad(lambda t: (t - z) * stats.t.pdf(t, df), z, np.inf)[0]


def taken(fit, verdicts, what, where):
    """The variance (in units of the error variance) that a candidate takes from the pin contrast."""
    table = next_runs(fit, verdicts).table
    row = table[(table["what"] == what) & (table["where"] == where)].iloc[0]
    before = fit.strata.parts(np.array([0.0, 1.0, 0.0]) * _scale(fit))[0].unit_variance
    return float(row["variance_taken"]) * before


def _scale(fit):
    """The pin contrast is this many times its sum-coded coefficient."""
    from toolkit.design import questions

    return questions.of_comparison(fit.brief, PIN, fit.strata.terms).row[1]


@pytest.mark.parametrize(("what", "expected"), [("P0 O0", 0.0), ("P0 O1; P1 O0", 0.00745), ("every", 0.01451)])
def test_a_new_block_of_an_additive_model_is_worth_the_figures_of_the_textbook_loss(what, expected):
    # One, two (both factors differ) and four runs in a new block beside two blocks of four; error
    # SD .15 on 4 df, estimate .18, limit .223: 0, .00745, .01451 for a loss of 1 per ln (unit t loss, Raiffa and
    # Schlaifer 1961; computed figures).
    fit, told = fitted(additive(), runs_of(FULL, FULL))
    assert fit.mean_squares["run"][1] == 4
    name = "every combination once (4 runs)" if what == "every" else what
    assert worth(taken(fit, told, name, "a new build")) == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize(("what", "expected"), [("P0 O1", 0.00898), ("P0 O0", 0.00745), ("P1 O0", 0), ("P1 O1", 0)])
def test_the_missing_opposite_level_is_the_best_make_up_run(what, expected):
    # A third block begun with P1 O1 alone: the run with the other pin and the same oil is worth most.
    fit, told = fitted(additive(), runs_of(FULL, FULL, ["P1 O1"]))
    assert worth(taken(fit, told, what, "B3")) == pytest.approx(expected, abs=1e-5)


def test_one_run_takes_what_the_closed_form_says():
    brief = briefs.randomised(pilot=None)
    runs = pd.DataFrame({"build_id": "B1", "finish": ["turned"] * 3 + ["honed"] * 4 + ["lapped"] * 2})
    runs["run_id"] = [f"R{at}" for at in range(9)]
    fit = of_strata(brief, brief.responses[0], strata.of_runs(brief, runs), np.random.default_rng(2).normal(size=9))
    told = verdict.verdicts(comparisons.comparisons(fit), brief)
    made = next_runs(fit, told)
    row = made.table[made.table["what"] == "lapped"].iloc[0]
    # By hand: variances 1/3 + 1/4 and 1/3 + 1/2 become 1/3 + 1/4 and 1/3 + 1/3.
    assert row["variance_taken"] == pytest.approx((0.0 + (5 / 6 - 2 / 3) / (5 / 6)) / 2)
    t = stats.t.ppf(0.975, [6, 7])
    assert row["half_width_factor"]["lapping"] == pytest.approx(t[1] / t[0] * np.sqrt((2 / 3) / (5 / 6)))


def test_prices_decide_the_order_and_what_is_paid_once_is_not_paid_again():
    items = (
        CostItem("run", "cell", hours=100, rate=100),
        CostItem("build", "rebuild", amount=50_000),
        CostItem("campaign", "set-up", amount=7_000),
    )
    brief = replace(additive(most_runs_in_build=5), cost=Cost("EUR", items=items))
    fit, told = fitted(brief, runs_of(FULL, FULL))
    table = next_runs(fit, told).table
    one = table[(table["what"] == "P1 O1") & (table["where"] == "B2")].iloc[0]
    block = table[table["runs"] == 4].iloc[0]
    assert (one["cost"], one["hours"]) == (10_000.0, 100.0)
    assert (block["cost"], block["hours"]) == (90_000.0, 400.0)
    assert not ((table["where"] == "B2") & (table["runs"] == 2)).any()
    assert table["score"].is_monotonic_decreasing
    alone = table[(table["where"] == "a new build") & (table["runs"] == 1)]
    assert set(alone["note"]) == {"a run alone in a new build is compared with nothing"}


def test_nothing_is_asked_for_when_all_is_settled():
    fit, told = fitted(additive(), runs_of(FULL, FULL), estimate=0.9, sd=0.05)
    made = next_runs(fit, told)
    assert made.sentence == "elongation_pct: every comparison is settled; no further run is needed for them."
    assert made.open == () and made.table.empty


def test_none_pays_is_said_when_no_batch_would_settle_what_is_open():
    fit, told = fitted(additive(), runs_of(FULL, FULL), estimate=0.22, sd=0.5)
    made = next_runs(fit, told)
    assert made.sentence.endswith(
        "Nothing up to a whole block pays by itself: none of it would settle 'pin' if the estimates stayed where they "
        "are."
    )


def test_a_missing_combination_comes_first_where_it_makes_a_question_answerable():
    brief = briefs.blocked(block_by=None, pilot=None, comparisons=(PIN, Comparison("both", interaction=("pin", "oil"))))
    runs = runs_of(["P0 O0", "P0 O0", "P1 O0", "P1 O0", "P0 O1", "P0 O1"])
    laid = strata.of_runs(brief, runs)
    fit = of_strata(brief, brief.responses[0], laid, np.random.default_rng(3).normal(size=6))
    told = verdict.verdicts(comparisons.comparisons(fit), brief)
    best = next_runs(fit, told).table.iloc[0]
    assert best["what"] == "P1 O1"
    assert best["variance_taken"] == 1.0


def test_where_builds_are_units_runs_of_the_last_build_and_whole_sets_are_offered():
    brief = briefs.whole_plots()
    from toolkit.design import factorial

    runs = factorial.full(brief).table
    runs["run_id"] = [f"R{at}" for at in range(len(runs))]
    fit = of_strata(brief, brief.responses[0], strata.of_runs(brief, runs), np.random.default_rng(4).normal(size=16))
    table = next_runs(fit, verdict.verdicts(comparisons.comparisons(fit), brief)).table
    assert sorted(zip(table["where"], table["what"], strict=True)) == [
        ("B8", "S1 O0"),
        ("B8", "S1 O0; S1 O1"),
        ("B8", "S1 O1"),
        ("new builds", "every combination once (4 runs)"),
    ]
    # Eight builds become ten: every variance falls by a fifth.
    assert table.set_index("where").loc["new builds", "variance_taken"] == pytest.approx(0.2)


def test_the_build_that_still_stands_is_that_of_the_last_phase():
    brief = briefs.blocked()
    from toolkit.design import factorial

    main = factorial.full(brief).table.assign(phase="main")
    main["planned_order"] = range(1, 13)
    later = main[main["build_id"] == "B1"].assign(build_id="X1", phase="extension", planned_order=range(1, 5))
    runs = pd.concat([main, later], ignore_index=True)
    runs["run_id"] = [f"R{at}" for at in range(len(runs))]
    fit = of_strata(brief, brief.responses[0], strata.of_runs(brief, runs), np.random.default_rng(4).normal(size=16))
    table = next_runs(fit, verdict.verdicts(comparisons.comparisons(fit), brief)).table
    assert set(table["where"]) == {"X1", "a new build"}


def test_further_runs_of_kept_parts_come_in_units_of_their_own():
    brief = briefs.blocked(new_each_run=("fill",))
    from toolkit.design import factorial

    runs = factorial.full(brief).table
    runs["run_id"] = [f"R{at}" for at in range(len(runs))]
    fit = of_strata(brief, brief.responses[0], strata.of_runs(brief, runs), np.random.default_rng(4).normal(size=12))
    table = next_runs(fit, verdict.verdicts(comparisons.comparisons(fit), brief)).table
    # No command plans a run on the parts that stand.
    assert list(zip(table["where"], table["what"], strict=True)) == [("a new build", "every combination once (4 runs)")]
    # Three builds become four: every variance falls by a quarter.
    assert table.set_index("where").loc["a new build", "variance_taken"] == pytest.approx(0.25)
    alone = briefs.blocked(new_each_run=("fill",), block_by=None)
    runs = factorial.full(alone, replicates=3).table
    runs["run_id"] = [f"R{at}" for at in range(len(runs))]
    fit = of_strata(alone, alone.responses[0], strata.of_runs(alone, runs), np.random.default_rng(4).normal(size=12))
    table = next_runs(fit, verdict.verdicts(comparisons.comparisons(fit), alone)).table
    assert list(zip(table["where"], table["what"], strict=True)) == [
        ("new sets of parts", "every combination once (4 runs)")
    ]
    assert table.set_index("where").loc["new sets of parts", "variance_taken"] == pytest.approx(0.25)


def test_where_positions_hold_parts_it_is_said_that_the_runs_are_a_campaign_of_their_own():
    asked = rings.brief()
    fit = SimpleNamespace(
        response=asked.responses[0], brief=asked, strata=SimpleNamespace(brief=asked, of_builds=strata.RANDOMISED)
    )
    table = pd.DataFrame([{
        "what": "O1 L0", "where": "B1", "runs": 1, "hours": None, "cost": None, "variance_taken": 0.1, "settles": (),
        "half_width_factor": {"new oil": 0.9},
    }])
    assert next_words.sentence(fit, ["new oil"], table, {}) == (
        "ring_loss_mg: most for its price is O1 L0 (1 run): it takes 10 % off the variance of what is open, and makes "
        "the intervals about 10 % narrower. Neither an amendment nor an extension adds runs whose positions hold "
        "parts: they are a campaign of their own. Nothing up to a whole block pays by itself: none of it would settle "
        "'new oil' if the estimates stayed where they are."
    )


def test_of_equal_scores_the_smaller_batch_comes_first_whatever_the_last_digit():
    tried = [{"score": 0.1 + 0.2, "runs": 2}, {"score": 0.3, "runs": 1}, {"score": 0.30001, "runs": 4}]
    assert tried[0]["score"] > tried[1]["score"]
    assert module._best_first(tried) == [2, 1, 0]


def test_a_comparison_that_mixes_strata_is_foreseen_by_the_df_it_is_judged_by():
    """Sprocket and oil changed together over six builds and eight: Satterthwaite's df by hand of both mean squares."""
    brief = briefs.whole_plots(plan=PlanChoice(builds=6))
    runs = factorial.full(brief, builds=6).table.assign(phase="main")
    runs["run_id"] = [f"R{at + 1:02d}" for at in range(12)]
    laid = strata.of_runs(brief, runs)
    rng = np.random.default_rng(4)
    values = 0.1 * rng.normal(size=6)[laid.members["build"]] + 0.1 * rng.normal(size=12)
    made = of_strata(brief, brief.responses[0], laid, values)
    told = verdict.verdicts(comparisons.comparisons(made), brief)
    row = next_runs(made, told).table.iloc[0]
    assert (row["what"], row["runs"]) == ("every combination once (4 runs)", 4)
    squares = np.array([made.mean_squares[name][0] for name in ("build", "run")])
    # Each main effect has variance 4 MS / runs; 6 builds leave 4 df in either stratum, 8 builds 6.
    half = []
    for builds in (6, 8):
        df = squares.sum() ** 2 / (squares**2 / (builds - 2)).sum()
        half.append(stats.t.isf(0.025, df) * np.sqrt(4.0 * squares.sum() / (2 * builds)))
    answer = verdict.answer_of(comparisons.comparisons(made).to_dict("records")[2], brief)
    assert half[0] == pytest.approx((answer.high - answer.low) / 2.0, rel=1e-6)
    assert row["half_width_factor"]["both"] == pytest.approx(half[1] / half[0], rel=1e-6)


def test_a_family_is_settled_by_the_interval_of_the_family():
    """Two comparisons judged together: at alpha / 2 each, not at alpha (the same factor, another 'settles')."""
    alone = briefs.randomised(comparisons=briefs.randomised().comparisons)
    together = replace(
        alone,
        families=(Family("both", adjust="holm"),),
        comparisons=tuple(replace(item, family="both") for item in alone.comparisons),
    )
    runs = factorial.full(alone, replicates=4).table.assign(run_id=[f"R{at + 1:02d}" for at in range(12)])
    noise = np.tile([1.0, -1.0, 1.0, -1.0], 3)
    laid = strata.of_runs(alone, runs.sort_values("finish", kind="stable", ignore_index=True))
    # Three means of four runs, SD 0.1 on 9 df; one more of each: half-width t(12) x 0.1 x sqrt(2 / 5).
    spread = 0.1 * np.sqrt(9.0 / 12.0)
    half = {share: stats.t.isf(0.025 / share, 12) * 0.1 * np.sqrt(2.0 / 5.0) for share in (1, 2)}
    gain = -np.log(0.8) + 0.5 * (half[1] + half[2])
    settles = []
    for brief in (alone, together):
        y = spread * noise - gain * (laid.runs["finish"] == "honed").to_numpy()
        made = of_strata(brief, brief.responses[0], replace(laid, brief=brief), y)
        assert made.mean_squares["run"] == (pytest.approx(0.01), 9)
        told = verdict.verdicts(comparisons.comparisons(made), brief)
        table = next_runs(made, told).table
        settles.append(table[table["runs"] == 3].iloc[0]["settles"])
    assert settles == [("honing",), ()]


def test_the_variances_of_three_kinds_of_units_are_those_of_their_mean_squares():
    """Builds of two fills of two runs: by the expected mean squares 4 b + 2 f + r, 2 f + r and r, none below nought."""
    names = {"sprocket": "build", "oil": "fill", "speed": "setting"}
    brief = briefs.whole_plots(
        factors=tuple(briefs.factor(name, "L", "H", undo=unit) for name, unit in names.items()),
        new_each_run=("part",),
        comparisons=(Comparison("oil", of={"oil": "H"}, against={"oil": "L"}),),
    )
    laid = factorial.full(brief, builds=8).strata
    found, rng = [], np.random.default_rng(2)
    for between in (0.3, 0.0):
        builds, fills = (laid.members[unit] for unit in ("build", "fill"))
        y = between * rng.normal(size=8)[builds] + 0.2 * rng.normal(size=16)[fills] + 0.1 * rng.normal(size=32)
        made = of_strata(brief, brief.responses[0], laid, y)
        build, fill, run = (made.mean_squares[name][0] for name in ("build", "fill", "run"))
        by_fill = max(0.0, (fill - run) / 2)
        expected = [max(0.0, (build - 2 * by_fill - run) / 4), by_fill, run]
        assert module._variances(made).tolist() == pytest.approx(expected, rel=1e-9)
        found.append(expected[0])
    assert found[0] > 0.01
