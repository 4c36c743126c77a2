"""What a set of runs can show, balanced or not, against least squares on columns written by hand.

The power is that of the noncentral t (scipy) with the variance of the contrast from (X'X)^-1 and the degrees of
freedom from the rank of X; once more by campaigns drawn at random and analysed by least squares.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit import briefs
from tests.unit.size.test_promise import scatter
from toolkit.brief.model import Extension
from toolkit.design import factorial, phases, questions
from toolkit.numeric import kenward_roger, mixed_layout, reml
from toolkit.size import _unbalanced, promise
from toolkit.size.scatter import MeanSquare, Scatter

BRIEF = briefs.blocked()
GAIN = -math.log(0.8)


def main(brief=BRIEF):
    """The main phase as planned, with run ids."""
    table = factorial.full(brief).table.assign(phase="main")
    return table.assign(run_id=[f"R{at + 1:02d}" for at in range(len(table))])


def columns(runs):
    """Dummy columns: a build each, then pin, oil and both."""
    pin, oil = (runs["pin"] == "P1").to_numpy(float), (runs["oil"] == "O1").to_numpy(float)
    return np.column_stack([pd.get_dummies(runs["build_id"]).to_numpy(float), pin, oil, pin * oil])


def by_hand(runs, name, sd):
    """Power (two-sided t at 0.05) for a gain of 20 %, the variance factor and the error df."""
    x = columns(runs)
    row = np.zeros(x.shape[1])
    row[-3:] = {"coating": (1, 0, 0.5), "both": (1, 1, 1), "together": (0, 0, 1)}[name]
    df = len(x) - np.linalg.matrix_rank(x)
    factor = row @ np.linalg.pinv(x.T @ x) @ row
    nc, edge = GAIN / (sd * math.sqrt(factor)), stats.t.isf(0.025, df)
    return stats.nct.sf(edge, df, nc) + stats.nct.cdf(-edge, df, nc), factor, df


# A lost run; a lost run made again in a build of its own, at the end of the last build, and in its own build.
SETS = {
    "whole": lambda runs: runs,
    "one lost": lambda runs: runs.drop(index=5),
    "two of a build lost": lambda runs: runs.drop(index=[4, 5]),
    "again in a build of its own": lambda runs: pd.concat([runs.drop(index=5), runs.loc[[5]].assign(build_id="B4")]),
    "again in the last build": lambda runs: pd.concat([runs.drop(index=5), runs.loc[[5]].assign(build_id="B3")]),
    "one twice": lambda runs: pd.concat([runs, runs.loc[[5]]]),
}


@pytest.mark.parametrize("name", ["coating", "both", "together"])
@pytest.mark.parametrize("case", SETS)
def test_power_of_runs_is_that_of_least_squares_on_columns_by_hand(case, name):
    runs = SETS[case](main()).reset_index(drop=True)
    found = next(
        item for item in promise.claims_of_runs(BRIEF, runs, scatter(BRIEF, df=math.inf)) if item.comparison == name
    )
    power, _, df = by_hand(runs, name, 0.13)
    assert found.error_df == df
    assert found.power == pytest.approx(power, abs=1e-9)
    assert found.assurance == pytest.approx(power, abs=1e-5)


def test_a_run_alone_in_a_build_adds_nothing():
    without, alone = (by_hand(SETS[case](main()), "coating", 0.13) for case in ("one lost", list(SETS)[3]))
    assert alone == pytest.approx(without)
    assert without[2] == 5


def test_a_plan_is_its_runs():
    designed = promise.claims([factorial.full(BRIEF)], scatter(BRIEF))[0]
    assert [item.to_dict() for item in promise.claims_of_runs(BRIEF, main(), scatter(BRIEF))] == [
        item.to_dict() for item in designed
    ]


def test_assurance_of_an_unbalanced_set_against_campaigns_drawn_and_analysed():
    runs = SETS["two of a build lost"](main()).reset_index(drop=True)
    claim = next(
        item for item in promise.claims_of_runs(BRIEF, runs, scatter(BRIEF, df=4.0)) if item.comparison == "both"
    )
    sims, draw, x = 40_000, np.random.default_rng(11), columns(runs)
    sigma = 0.13 * np.sqrt(4 / draw.chisquare(4, sims))
    truth = np.where((runs["pin"] == "P1") & (runs["oil"] == "O1"), -GAIN, 0.0)
    y = truth + sigma[:, None] * draw.normal(size=(sims, len(runs)))
    inverse = np.linalg.inv(x.T @ x)
    beta = y @ x @ inverse
    df = len(runs) - x.shape[1]
    error = ((y - beta @ x.T) ** 2).sum(axis=1) / df
    row = np.array([0, 0, 0, 1, 1, 1.0])
    shown = np.abs(beta @ row) > stats.t.isf(0.025, df) * np.sqrt(row @ inverse @ row * error)
    assert claim.error_df == df == 4
    assert abs(shown.mean() - claim.assurance) < 3.3 * math.sqrt(claim.assurance * (1 - claim.assurance) / sims)


def test_runs_that_cannot_answer_a_question_say_so():
    runs = main()[main()["oil"] == "O0"]
    found = {item.comparison: item for item in promise.claims_of_runs(BRIEF, runs, scatter(BRIEF)) if item.comparison}
    assert found["both"].assurance is None
    assert found["both"].note == "not estimable in this design; a run of pin P1, oil O1 in build B1 would tell it"


def built(brief, sd=0.12, between=0.08, df=(math.inf, math.inf)):
    """A scatter with two runs a build behind it."""
    build = MeanSquare(2 * between**2 + sd**2, df[0])
    return Scatter(brief.responses[0], "pilot", MeanSquare(sd**2, df[1]), build, 2.0, None, (), pd.DataFrame())


def test_whole_plots_that_are_not_balanced_against_campaigns_drawn_and_fitted():
    """Two runs lost of 24 in twelve builds: 3,000 campaigns fitted by REML and judged by Kenward and Roger.

    3.3 binomial standard errors and 0.002 of what is laid out; by the df of the assumed variances alone the chance of
    the sprocket would be .03 too high, with eight builds .04.
    """
    brief = briefs.whole_plots()
    whole = factorial.full(brief, builds=12).table.assign(phase="main")
    left = whole.drop(index=[0, 7]).reset_index(drop=True)
    found = {item.comparison: item for item in promise.claims_of_runs(brief, left, built(brief)) if item.comparison}
    builds = left["build_id"].tolist()
    marks = pd.get_dummies(left["build_id"]).to_numpy(float)
    sprocket, oil = ((left[name] == level).to_numpy(float) for name, level in (("sprocket", "S1"), ("oil", "O1")))
    x = np.column_stack([np.ones(22), sprocket, oil, sprocket * oil])
    rng, sims, gain = np.random.default_rng(17), 3_000, -math.log(0.8)
    noise = 0.08 * rng.normal(size=(sims, 12)) @ marks.T + 0.12 * rng.normal(size=(sims, 22))
    layout = mixed_layout.layout_of(x, {"build": builds})
    for name, row, truth in (
        ("sprocket", [0, 1, 0, 0.5], sprocket),
        ("oil", [0, 0, 1, 0.5], oil),
        ("both", [0, 1, 1, 1], 0.5 * (sprocket + oil)),
    ):
        y = noise - gain * truth
        made = reml.fit_many(layout, y)
        judged = kenward_roger.contrasts(kenward_roger.adjusted(layout, made.variances), made.beta, np.array([row]))
        share = float(np.mean(judged.p_value[..., 0] < 0.05))
        error = math.sqrt(share * (1.0 - share) / sims)
        assert abs(found[name].power - share) < 3.3 * error + 0.002, (name, found[name].power, share)
        assert found[name].assurance == pytest.approx(found[name].power, abs=5e-4)
        assert found[name].note == ""
        # Where nothing changes: the interval at 90 % within the band of 20 % either way, and its worse end.
        error = judged.estimate[..., 0] + gain * np.array(row) @ np.linalg.pinv(x) @ truth
        narrow = stats.t.isf(0.05, judged.df[..., 0]) * judged.std_error[..., 0]
        for told, share in (
            (found[name].equivalent, np.mean(np.abs(error) + narrow < gain)),
            (found[name].no_harm, np.mean(error - narrow > -gain)),
        ):
            assert abs(told - share) < 3.3 * math.sqrt(told * (1.0 - told) / sims) + 0.002, (name, told, share)


def test_the_estimate_strays_from_the_best_one_where_variances_are_estimated():
    """Four builds, one run lost: the variance of 100,000 estimates by estimated variances, 6 % above the best one's."""
    brief = briefs.whole_plots()
    left = factorial.full(brief, builds=4).table.assign(phase="main").drop(index=1)
    laid = promise.phases.strata_together(brief, left)
    rows = np.array([questions.of_comparison(brief, item, laid.terms).row for item in brief.comparisons])
    states = _unbalanced.states_of(built(brief, between=0.10), laid, rows)
    rng, sims, builds = np.random.default_rng(8), 100_000, laid.members["build"]
    values = 0.10 * rng.normal(size=(sims, 4))[:, builds] + 0.12 * rng.normal(size=(sims, 7))
    drawn = states.judge.judged(values).estimate.var(axis=0)
    told = [states.luck(number, [len(states.weights)], 0.05).variance.mean() for number in range(3)]
    assert told == pytest.approx(drawn, rel=3.3 * math.sqrt(2.0 / sims) + 0.002)
    assert told[1] / states.variance[1, -1] == pytest.approx(1.06, abs=0.01)


def test_a_guess_is_averaged_over_its_range_where_units_are_not_balanced():
    """SDs from 0.06 to 0.18 evenly, builds along with runs: the mean of 12 chances at known ones; the upper end."""
    brief = briefs.whole_plots()
    left = factorial.full(brief, builds=8).table.assign(phase="main").drop(index=[3])

    def oil(known):
        return next(item for item in promise.claims_of_runs(brief, left, known) if item.comparison == "oil")

    middle = built(brief)
    found = oil(replace(middle, basis="declared", declared=(0.06, 0.18)))
    places = 0.06 + 0.12 * (np.arange(12) + 0.5) / 12
    each = [oil(built(brief, sd=at, between=0.08 / 0.12 * at)).power for at in places]
    assert found.assurance == pytest.approx(np.mean(each), abs=0.002)
    assert found.power_at_upper_scatter == pytest.approx(oil(built(brief, sd=0.18, between=0.12)).power, abs=0.003)
    assert found.power == pytest.approx(oil(middle).power, abs=1e-12)
    assert found.power - found.assurance > 0.02


def test_whole_plots_nearly_balanced_are_told_nearly_what_balanced_ones_are():
    brief = briefs.whole_plots()
    runs = factorial.full(brief).table.assign(phase="main")
    known = built(brief, df=(3.0, 8.0))
    whole = promise.claims_of_runs(brief, runs, known)
    less = promise.claims_of_runs(brief, runs.drop(index=0), known)
    for before, after in zip(whole, less, strict=True):
        assert before.assurance - 0.12 < after.assurance < before.assurance + 0.005, before.contrast
        assert after.outcomes is not None
        assert sum(after.outcomes.values()) == pytest.approx(1.0)
        assert after.half_width_ratio > before.half_width_ratio - 0.01
    unknown = promise.claims_of_runs(brief, runs.drop(index=0), scatter(brief))
    assert {item.note for item in unknown} == {"the scatter between builds is not known"}


def test_an_extension_is_judged_with_the_main_phase():
    brief = replace(BRIEF, extension=Extension(builds=2))
    further = factorial.full(brief, builds=2).table.assign(phase="extension")
    found = promise.claims_of_runs(brief, pd.concat([main(), further]), scatter(brief, df=math.inf))
    both = pd.concat([main(), further.assign(build_id="X" + further["build_id"])])
    for name in ("coating", "both", "together"):
        power, _, df = by_hand(both, name, 0.13)
        claim = next(item for item in found if item.comparison == name)
        assert (claim.error_df, claim.power) == (12, pytest.approx(power, abs=1e-9))
        assert df == 12
    assert phases.strata_together(brief, pd.concat([main(), further])).stratum("run").error_df == 12
