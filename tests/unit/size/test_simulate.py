"""Simulated campaigns against what is worked out for their plans; what drift, lost runs and covariates do; refusals."""

from __future__ import annotations

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit import briefs
from toolkit.brief.model import Comparison, Response
from toolkit.decide import verdict
from toolkit.design import factorial, questions, strata
from toolkit.errors import SizingError
from toolkit.model import _estimates
from toolkit.model.fit import of_strata
from toolkit.numeric import censored
from toolkit.numeric.promise import OUTCOMES
from toolkit.size import _below as below
from toolkit.size import _counting as counting
from toolkit.size import _drawing as drawing
from toolkit.size import _simulated_words, conditions, simulate
from toolkit.size._answer import Answer, Counted
from toolkit.size._judging import Judging
from toolkit.size._share import Seen, Share
from toolkit.size.conditions import Conditions
from toolkit.size.scatter import Layer, MeanSquare, Scatter

CAMPAIGNS = 2_000
LINEAR = Response("slack_mm", scale="linear", worthwhile_change=0.25)


def scatter(brief, run=(0.02, 6.0), build=None, each=2.0, declared=None):
    """A pilot's mean squares with their df, as the sizing holds them."""
    known = MeanSquare(*build) if build else None
    basis = "declared" if declared else "pilot"
    return Scatter(
        brief.responses[0], basis, MeanSquare(*run), known, each, declared, (), pd.DataFrame(columns=["stratum", "sd"])
    )


def thinned(laid, *lost):
    """The strata of the same runs without some of them."""
    return strata.of_runs(laid.brief, laid.runs.drop(index=list(lost)))


def kept_fills():
    """A coating in every run, an oil whose fill serves two runs: fills are units of several runs."""
    return briefs.whole_plots(
        factors=(briefs.factor("oil", "O0", "O1", undo="build"), briefs.factor("pin", "P0", "P1", undo="part")),
        comparisons=(
            replace(briefs.whole_plots().comparisons[0], name="oil", of={"oil": "O1"}, against={"oil": "O0"}),
            replace(briefs.whole_plots().comparisons[0], name="pin", of={"pin": "P1"}, against={"pin": "P0"}),
        ),
    )


def pins_in_blocks():
    """Builds are blocks of four sets of pins, each of which runs with either oil: the brief and its strata."""
    brief = briefs.blocked(new_each_run=("fill",))
    rows = [
        {"run_id": f"R{b}{s}{r}", "build_id": f"B{b}", "part_set_id": f"{s}", "pin": f"P{s % 2}", "oil": f"O{r}"}
        for b in range(3)
        for s in range(4)
        for r in range(2)
    ]
    return brief, strata.of_runs(brief, pd.DataFrame(rows))


def fills_in_builds():
    """A sprocket a build, an oil a fill of two runs, a speed a run, in four builds of which one run is lost."""
    units = {"sprocket": "build", "oil": "fill", "speed": "setting"}
    asked = [Comparison(name, of={name: "H"}, against={name: "L"}) for name in units]
    brief = briefs.whole_plots(
        factors=tuple(briefs.factor(name, "L", "H", undo=unit) for name, unit in units.items()),
        new_each_run=("part",),
        comparisons=tuple(asked),
    )
    outer = (
        Layer("build", 0.025, 3.0, {"build": 4.0, "fill": 2.0, "run": 1.0}),
        Layer("fill", 0.015, 4.0, {"fill": 2.0, "run": 1.0}),
    )
    known = replace(scatter(brief, (0.01, 4.0)), between=outer)
    return brief, thinned(factorial.full(brief, builds=4).strata, 1), known


def designs():
    """Name, brief, strata, scatter, and how far the worked-out chance may be off beside chance itself.

    By what is laid out or drawn where strata are not balanced: 0.001 with one kind of units, 0.01 with two.
    """
    random, blocks, plots, other = briefs.randomised(), briefs.blocked(), briefs.whole_plots(), kept_fills()
    linear = replace(random, responses=(LINEAR,))
    three = replace(
        random,
        factors=tuple(briefs.factor(name, "0", "1") for name in ("pin", "oil", "shaft")),
        comparisons=(replace(random.comparisons[0], of={"pin": "1"}, against={"pin": "0"}),),
    )
    eight = factorial.full(plots, builds=8, replicates=1).strata
    twelve = factorial.full(plots, builds=12, replicates=1).strata
    finish = factorial.full(random, replicates=5).strata
    built = factorial.full(blocks, builds=4, replicates=1).strata
    twice = factorial.full(blocks, builds=2, replicates=2).strata
    in_units = factorial.full(linear, replicates=4).strata
    between = scatter(plots, build=(0.04, 4.0))
    kept, pins = pins_in_blocks()
    of_pins = replace(scatter(kept), between=(Layer("part", 0.03, 6.0, {"part": 2.0, "run": 1.0}),))
    few_pins = thinned(strata.of_runs(kept, pins.runs[pins.runs["part_set_id"].isin(["0", "1"])]), 1)
    layered, three_layers, of_layers = fills_in_builds()
    return {
        "three finishes, four runs each": (random, factorial.full(random, replicates=4).strata, scatter(random), 0.0),
        "three finishes, five runs lost": (random, thinned(finish, 0, 3, 7, 8, 14), scatter(random), 0.0),
        "2x2 in four blocks": (blocks, built, scatter(blocks), 0.0),
        "2x2 in blocks, twice each": (blocks, twice, scatter(blocks), 0.0),
        "2x2 in blocks, three lost": (blocks, thinned(built, 1, 6, 15), scatter(blocks), 0.0),
        "2x2x2, two runs each": (three, factorial.full(three, replicates=2).strata, scatter(three, (0.03, 3.0)), 0.0),
        "in the response's unit": (linear, in_units, scatter(linear, (0.04, 5.0)), 0.0),
        "a guess of the scatter": (random, finish, scatter(random, (0.0225, np.inf), declared=(0.1, 0.2)), 0.0),
        "eight builds of two oils": (plots, eight, between, 0.0),
        "other builds than the pilot's": (other, factorial.full(other, builds=8, replicates=2).strata, between, 0.0),
        "builds no worse than runs": (plots, eight, scatter(plots, build=(0.01, 4.0)), 0.0),
        "pins kept for two runs, in blocks": (kept, pins, of_pins, 0.0),
        "pins kept for two runs, two sets a block, one run lost": (kept, few_pins, of_pins, 0.003),
        "fills within builds, one run lost": (layered, three_layers, of_layers, 0.03),
        "twelve builds, five runs lost": (plots, thinned(twelve, 1, 6, 7, 15, 20), between, 0.003),
    }


@pytest.mark.parametrize("name", designs())
def test_the_promise_comes_out_again(name):
    """Power at the scatter as estimated, assurance and verdicts over the doubt of the pilot, and the error rate.

    Within three binomial standard errors, and what is drawn where strata are not balanced beside that. The error rate
    of comparisons of two strata and of Kenward and Roger is no more than 5 % and three standard errors; that of the
    others is 5 %.
    """
    brief, laid, known, off = designs()[name]
    found = simulate.simulated(brief, laid, known, plan=name, campaigns=CAMPAIGNS, seed=12, engine="serial")
    assert len(found.answers) == len(brief.comparisons)
    for answer in found.answers:
        alone = len(laid.parts(questions.of_comparison(brief, comparison(brief, answer), laid.terms).row)) == 1
        for key in ("power", "assurance"):
            value = getattr(answer.told, key)
            error = np.sqrt(value * (1.0 - value) / CAMPAIGNS)
            assert abs(answer.gap(key)) <= 3.0 * error + off, (name, answer.comparison, key, answer.gap(key))
        for verdict_name in OUTCOMES:
            value = answer.told.outcomes[verdict_name]
            error = np.sqrt(value * (1.0 - value) / CAMPAIGNS)
            share = answer.verdicts[verdict_name].share
            assert abs(share - value) <= 3.3 * error + 1.0 / CAMPAIGNS + off, (answer.comparison, verdict_name)
        assert sum(share.share for share in answer.verdicts.values()) == pytest.approx(1.0)
        too_many = answer.false_alarms.share - brief.alpha
        assert (abs(too_many) if alone else too_many) <= 3.0 * np.sqrt(0.05 * 0.95 / CAMPAIGNS)
        assert answer.coverage.share == pytest.approx(1.0 - answer.false_alarms.share)
        assert answer.not_judged.share == 0.0


def comparison(brief, answer):
    """The comparison an answer is of."""
    return next(item for item in brief.comparisons if item.name == answer.comparison)


def test_each_campaign_is_analysed_as_model_fit_does():
    """Whole plots with runs lost at random: estimate and interval of single campaigns by the ordinary way."""
    brief, laid, known, _ = designs()["eight builds of two oils"]
    rows = np.array([questions.of_comparison(brief, item, laid.terms).row for item in brief.comparisons])
    asked = Conditions(lost_share=0.12)
    numbers = np.ones(len(rows))
    share = Share(Judging(laid, rows), known.response, known, asked, numbers, numbers, 0.95 * numbers, 12, False)
    rng = np.random.default_rng(8)
    spread = drawing.variances(known, drawing.multipliers(known, laid), 12, rng, doubt=False)
    drawn = drawing.draw(laid, known.response, spread, asked, rng)
    # One campaign loses nothing, one loses a whole build: both keep exact mean squares.
    drawn.lost[0], drawn.lost[1] = False, laid.members["build"] == 3
    error, half, able, layouts = counting.analysed(share, drawn, drawn.lost)
    assert layouts == len({row.tobytes() for row in drawn.lost})
    mixed = 0
    for at, lost in enumerate(drawn.lost):
        part = strata.of_runs(brief, laid.runs[~lost])
        made = of_strata(brief, known.response, part, drawn.values[at][~lost])
        mixed += not part.balanced
        for number, row in enumerate(rows):
            one = _estimates.of_row(made, row)
            assert able[at, number] == (one.high is not None)
            if able[at, number]:
                assert error[at, number] == pytest.approx(one.value, rel=1e-6, abs=1e-8)
                assert half[at, number] == pytest.approx((one.high - one.low) / 2, rel=1e-6)
    assert mixed > 6


def test_a_guess_is_drawn_evenly_over_its_range():
    """The SD of each campaign, by scipy's test of the uniform distribution; without doubt it is the middle."""
    _, laid, known, _ = designs()["a guess of the scatter"]
    made_of, rng = drawing.multipliers(known, laid), np.random.default_rng(3)
    drawn = np.sqrt(drawing.variances(known, made_of, 20_000, rng, doubt=True)[:, -1])
    assert 0.1 <= drawn.min() < 0.101 and 0.199 < drawn.max() <= 0.2
    assert stats.kstest(drawn, stats.uniform(0.1, 0.1).cdf).pvalue > 0.001
    assert np.sqrt(drawing.variances(known, made_of, 3, rng, doubt=False)[:, -1]) == pytest.approx([0.15] * 3)


def test_verdicts_are_those_of_the_report():
    rng = np.random.default_rng(4)
    low = rng.normal(0.0, 0.3, 400)
    high = low + rng.exponential(0.3, 400)
    found = counting.verdicts(low, high, np.full(400, 0.2))
    assert found.tolist() == [verdict.name_of(a, b, 0.2) for a, b in zip(low, high, strict=True)]
    assert set(found) == set(OUTCOMES)


def test_results_do_not_depend_on_the_number_of_processes():
    brief, laid, known, _ = designs()["twelve builds, five runs lost"]
    asked = Conditions("runs lost", lost_share=0.05)
    found = [
        simulate.simulated(
            brief, laid, known, plan="p", campaigns=600, conditions=asked, engine=engine, processes=count
        ).to_json()
        for engine, count in (("serial", 1), ("processes", 2))
    ]
    assert json.dumps(found[0]) == json.dumps(found[1])


def test_another_seed_is_another_simulation():
    brief, laid, known, _ = designs()["2x2 in four blocks"]
    one, again, other = (
        simulate.simulated(brief, laid, known, plan="p", campaigns=500, seed=seed, engine="serial").to_json()
        for seed in (1, 1, 2)
    )
    assert one == again
    assert one != other


def by_order(brief, laid, known, asked, campaigns=4_000):
    """Shown and false alarms in per cent, of the first comparison, under conditions."""
    found = simulate.simulated(brief, laid, known, plan="p", campaigns=campaigns, conditions=asked, engine="serial")
    return found.answers[0]


def test_drift_costs_power_and_raises_no_false_alarms_where_runs_are_in_random_order():
    """A random order turns drift into scatter: drift^2 (n + 1) / 12 (n - 1) more for a straight line (textbook)."""
    brief, laid, known, _ = designs()["three finishes, four runs each"]
    quiet = by_order(brief, laid, known, Conditions())
    for asked in (
        Conditions("steady drift", steady=0.5),
        Conditions("a wandering rig", wander=0.1),
        Conditions("a step", jump=0.3),
    ):
        found = by_order(brief, laid, known, asked)
        assert found.power.share < quiet.power.share - 0.05, asked.name
        assert abs(found.false_alarms.share - 0.05) < 3.24 * np.sqrt(0.05 * 0.95 / 4_000), asked.name
    # The same power as that of runs which scatter more by just that much.
    share = 0.5**2 * 13 / (12 * 11)
    worse = by_order(brief, laid, replace(known, run=MeanSquare(0.02 + share, 6.0)), Conditions())
    steady = by_order(brief, laid, known, Conditions(steady=0.5))
    assert steady.power.share == pytest.approx(worse.power.share, abs=0.03)


def test_blocks_take_drift_out():
    brief, laid, known, _ = designs()["2x2 in four blocks"]
    quiet, found = by_order(brief, laid, known, Conditions()), by_order(brief, laid, known, Conditions(steady=0.5))
    assert quiet.power.share - found.power.share < 0.04


def test_lost_runs_cost_what_their_number_costs():
    brief, laid, known, _ = designs()["three finishes, four runs each"]
    found = by_order(brief, laid, known, Conditions("runs lost", lost_share=0.15))
    quiet = by_order(brief, laid, known, Conditions())
    assert found.power.share < quiet.power.share - 0.04
    assert abs(found.false_alarms.share - 0.05) < 3.24 * np.sqrt(0.05 * 0.95 / 4_000)
    # All four runs of a finish are lost in about .15^4 of the campaigns, of either of the two compared.
    assert 0.0 < found.not_judged.share < 0.005


def test_a_covariate_that_is_known_buys_back_its_share():
    """Half of the variance taken out is nearly half of the variance, less one degree of freedom."""
    brief, laid, known, _ = designs()["three finishes, five runs lost"]
    unknown = by_order(brief, laid, known, Conditions(covariate_share=0.5))
    taken = by_order(brief, laid, known, Conditions(covariate_share=0.5, covariate_known=True))
    half = by_order(brief, laid, replace(known, run=MeanSquare(0.01, 6.0)), Conditions())
    assert unknown.power.share == pytest.approx(by_order(brief, laid, known, Conditions()).power.share, abs=0.03)
    assert unknown.power.share + 0.1 < taken.power.share < half.power.share
    assert abs(taken.false_alarms.share - 0.05) < 3.24 * np.sqrt(0.05 * 0.95 / 4_000)


def test_values_below_a_limit_are_judged_by_their_likelihood():
    """A third of the values below the limit: the interval of each campaign by columns written by hand, with the change
    (less is better: the honed runs go down) and without; where nothing lies below, as without a limit."""
    brief, laid, known, _ = designs()["three finishes, four runs each"]
    asked = Conditions(below_share=0.33)
    rows = np.array([questions.of_comparison(brief, brief.comparisons[0], laid.terms).row])
    gain = -np.log(0.8)
    ones = np.ones(1)
    share = Share(Judging(laid, rows), known.response, known, asked, gain * ones, gain * ones, 0.95 * ones, 6, False)
    values = np.random.default_rng(5).normal(0.0, np.sqrt(0.02), (6, 12))
    values[5] = np.abs(values[5])
    spread, lost = np.full((6, 1), 0.02), np.zeros((6, 12), dtype=bool)
    judge, _ = share.judging.whole
    exact = judge.judged(values)
    half = exact.half_width(0.95)
    plain = Seen(exact.estimate, exact.estimate - half, exact.estimate + half, np.ones((6, 1), dtype=bool))
    at_change, at_none = below.seen(share, drawing.Drawn(values, lost, None), spread, plain)
    limit = stats.norm.ppf(0.33) * np.sqrt(0.02)
    finish = laid.runs["finish"].to_numpy()
    columns = np.column_stack([finish == name for name in ("turned", "honed", "lapped")]).astype(float)
    moved = values - gain * (finish == "honed") / 2 + gain * (finish == "turned") / 2
    for found, given in ((at_change, moved), (at_none, values)):
        for at, y in enumerate(given):
            under = y < limit
            assert bool(found.able[at, 0]) == (under.sum() <= 6)
            if found.able[at, 0]:
                one = censored.limits(columns, np.maximum(y, limit), under, [1.0, -1.0, 0.0], level=0.95, df=9)
                ends = (-np.inf if one.low is None else one.low, np.inf if one.high is None else one.high)
                assert (found.low[at, 0], found.high[at, 0]) == pytest.approx(ends, abs=2e-4)
    # Nothing of the last campaign lies below: the exact interval, to the last digit.
    assert (at_none.low[5], at_none.high[5]) == (-plain.high[5], -plain.low[5])
    assert (at_none.estimate[:5] != -plain.estimate[:5]).any()


@pytest.mark.parametrize("per_run", ["mean", "mean_of_log", "max", "total"])
def test_stations_and_their_trend_leave_the_promise_as_it_is(per_run):
    """The run value scatters as the pilot's did, however much of it comes from the stations."""
    brief, laid, known, _ = designs()["2x2 in four blocks"]
    response = replace(brief.responses[0], per_run=per_run)
    known = replace(known, response=response)
    asked = Conditions(station_sd=0.2, reading_sd=0.05, station_trend=0.3)
    found = by_order(brief, laid, known, asked)
    assert abs(found.gap("power")) < 0.03
    assert asked.plain


def test_order_keeps_together_what_is_kept():
    """Builds follow each other whole; each place is taken once; every order within a build comes up alike."""
    laid = factorial.full(briefs.blocked(), builds=3, replicates=1).strata
    found = drawing.places(laid, 6_000, np.random.default_rng(2))
    assert np.array_equal(np.sort(found, axis=1), np.tile(np.arange(12), (6_000, 1)))
    builds = pd.factorize(laid.runs["build_id"])[0]
    for build in range(3):
        mine = np.sort(found[:, builds == build], axis=1)
        assert np.all(mine[:, -1] - mine[:, 0] == 3)
    counts = np.bincount(found[:, 5], minlength=12)
    assert np.all(np.abs(counts - 500) < 4 * np.sqrt(6_000 / 12 * 11 / 12))


@pytest.mark.parametrize(
    ("change", "text"),
    [
        (
            {"conditions": Conditions("storm", lost_share=1.0, wander=-1.0, steady=np.inf)},
            "The conditions 'storm' cannot be simulated.\n  lost_share: 1 was given; expected a share from 0 to below "
            "1.\n  wander: -1 was given; expected an SD of 0 or more, on the analysis scale.\n  steady: inf was given; "
            "expected a finite number on the analysis scale.",
        ),
        ({"campaigns": 99}, "99 campaigns were asked for; expected 100 to 10,000,000."),
        (
            {"conditions": Conditions(covariate_share=0.3, covariate_known=True)},
            "a covariate is not taken out in simulations where units of several runs carry a factor; the analysis of a "
            "campaign does it. Leave the covariate out of what is simulated.",
        ),
        (
            {"conditions": Conditions(below_share=0.1)},
            "values below a limit are simulated where all runs are judged by each other, none is lost and no covariate "
            "is taken out. Simulate one of these at a time.",
        ),
    ],
)
def test_what_cannot_be_simulated_is_refused(change, text):
    brief, laid, known, _ = designs()["eight builds of two oils"]
    with pytest.raises(SizingError) as told:
        simulate.simulated(brief, laid, known, plan="p", **change)
    assert str(told.value) == text


def test_what_a_plan_cannot_judge_is_said():
    """Without any run of P1 with O1 the interaction cannot be told, and what rests on it neither."""
    brief, laid, known, _ = designs()["2x2 in four blocks"]
    gone = [at for at, row in laid.runs.iterrows() if (row["pin"], row["oil"]) == ("P1", "O1")]
    found = simulate.simulated(brief, thinned(laid, *gone), known, plan="p", campaigns=100, engine="serial")
    answer = found.answers[2]
    assert (answer.comparison, answer.not_judged.share, answer.coverage, answer.told) == ("together", 1.0, None, None)
    assert found.sentences[2] == "together: the runs of this plan cannot judge it in any campaign."
    assert found.to_json()["answers"][2]["coverage"] is None
    assert found.table.loc[2, "coverage (%)"] == ""
    assert sum(share.share for share in answer.verdicts.values()) == 0.0


def test_conditions_in_order_are_let_through():
    assert conditions.check(Conditions("a bit of all", 0.1, 0.2, 0.1, -0.3, 0.1, 0.1, 0.05, 0.4, True, 0.2)) is None
    with pytest.raises(SizingError, match=r"below_share: 1\.5 was given; expected a share from 0 to below 1\."):
        conditions.check(Conditions(below_share=1.5))


def test_a_unit_of_unknown_scatter_is_refused():
    brief, laid, _, _ = designs()["eight builds of two oils"]
    with pytest.raises(SizingError) as told:
        simulate.simulated(brief, laid, scatter(brief), plan="p", engine="serial")
    assert str(told.value) == (
        "elongation_pct: the scatter between builds is not known, so no campaign can be "
        "simulated. The pilot that was run does not have two builds of the same level: add them to [pilot] of "
        "campaign.toml, then `wearbook amend --phase pilot` where the pilot is sealed."
    )


def test_what_is_missing_is_named():
    brief, laid, known, _ = designs()["2x2 in four blocks"]
    with pytest.raises(SizingError) as told:
        simulate.simulated(replace(brief, comparisons=()), laid, known, plan="p")
    assert str(told.value) == (
        "no comparison stands in campaign.toml, so there is nothing to simulate an answer to. Add a [[comparison]]."
    )
    bare = replace(known, response=replace(known.response, worthwhile_change_pct=None))
    with pytest.raises(SizingError) as told:
        simulate.simulated(brief, laid, bare, plan="p")
    assert str(told.value) == (
        "coating: no worthwhile change is stated for elongation_pct, so there is no true change to simulate. State it "
        "in campaign.toml."
    )
    none = replace(known, response=replace(known.response, stations=None, per_run="value"))
    with pytest.raises(SizingError) as told:
        simulate.simulated(brief, laid, none, plan="p", conditions=Conditions(station_sd=0.1), engine="serial")
    expected = "elongation_pct: it has no stations, so none can be simulated. Leave station_sd out."
    assert str(told.value) == expected


def test_three_layers_of_units_balanced_and_with_lost_runs():
    """Builds, sets of parts in them, runs: exact while whole, several random terms once runs are lost."""
    brief = briefs.whole_plots(
        factors=(
            briefs.factor("sprocket", "S0", "S1", undo="build"),
            briefs.factor("pin", "P0", "P1", undo="part"),
            briefs.factor("oil", "O0", "O1", undo="fill"),
        ),
        new_each_run=("fill",),
        comparisons=(
            Comparison("sprocket", of={"sprocket": "S1"}, against={"sprocket": "S0"}),
            Comparison("pin", of={"pin": "P1"}, against={"pin": "P0"}),
            Comparison("oil", of={"oil": "O1"}, against={"oil": "O0"}),
        ),
    )
    rows = [
        {"run_id": f"R{b}{s}{r}", "build_id": f"B{b}", "part_set_id": f"{s}"}
        | {"sprocket": f"S{b % 2}", "pin": f"P{s}", "oil": f"O{r}"}
        for b in range(6)
        for s in range(2)
        for r in range(2)
    ]
    laid = strata.of_runs(brief, pd.DataFrame(rows))
    assert (laid.units, laid.balanced) == (("build", "part", "run"), True)
    between = (
        Layer("build", 0.06, 8.0, {"build": 4.0, "part": 2.0, "run": 1.0}),
        Layer("part", 0.03, 8.0, {"part": 2.0, "run": 1.0}),
    )
    known = replace(scatter(brief), between=between)
    found = simulate.simulated(brief, laid, known, plan="p", campaigns=CAMPAIGNS, seed=4, engine="serial")
    for answer in found.answers:
        assert abs(answer.gap("power")) <= 3.0 * np.sqrt(answer.told.power * (1 - answer.told.power) / CAMPAIGNS)
        assert abs(answer.false_alarms.share - 0.05) < 3.24 * np.sqrt(0.05 * 0.95 / CAMPAIGNS)
    asked = Conditions("lost", lost_share=0.08)
    lost = simulate.simulated(brief, laid, known, plan="p", campaigns=200, conditions=asked, engine="serial")
    assert 10 < lost.layouts <= counting._LAYOUTS
    assert lost.sentences[-1].startswith("The lost runs were drawn in 20 ways for every 500 campaigns")
    for answer, whole in zip(lost.answers, found.answers, strict=True):
        assert answer.false_alarms.share < 0.05 + 3.24 * np.sqrt(0.05 * 0.95 / 200)
        assert answer.power.share < whole.power.share + 3.24 * np.sqrt(0.25 / 200)
        assert answer.not_judged.share < 0.2


@pytest.mark.parametrize(
    ("told", "said"),
    [
        (0.34, "they agree"),
        # 2.4 standard errors of 0.0153 away, outside the limits that stand beside it.
        (0.368, "3.6 points apart, no more than chance explains now and then; simulate more to be sure"),
        (0.40, "6.8 points apart, more than chance explains; the simulation decides"),
    ],
)
def test_figures_agree_only_where_the_one_lies_within_the_limits_of_the_other(told, said):
    nought, share = Counted(0.0, 0.0, 0.0037), Counted(0.332, 0.303, 0.362)
    answer = Answer(
        "soot", "O1 against O0", -25.0, 0.05, share, share, nought, share, nought, nought, nought, {},
        SimpleNamespace(power=told, assurance=told),
    )  # fmt: skip
    (line,) = _simulated_words.sentences([answer], Conditions(), 1_000)
    start = f"soot: chance worked out {100 * told:.1f} %, simulated 33.2 % (30.3 to 36.2, 1,000 campaigns)"
    assert line.startswith(f"{start}: {said}. By chance")
