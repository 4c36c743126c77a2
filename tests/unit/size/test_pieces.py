"""The pieces that claims are put together from, each by itself, against algebra by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit import briefs
from tests.unit.size.test_promise import ONE, scatter
from tests.unit.size.test_promise_more import with_pilot
from tests.unit.size.test_scatter import past, pilot
from toolkit.brief.model import Comparison, Covariate, Family
from toolkit.design import factorial
from toolkit.size import claim, family_claims, iron, pilot_scatter, promise, rig_memory
from toolkit.size.scatter import Layer, MeanSquare, Scatter

GAIN = -math.log(0.8)


def test_strata_as_judged_and_the_parts_of_a_question():
    """3 builds of a 2x2: main effect sigma^2 / 3 on 6 df; a pilot that counts adds its builds before the plan's."""
    design = factorial.full(ONE, builds=3)
    laid = promise.as_judged([design], None)
    asked = promise.asked_of(laid)
    assert [item.question.name for item in asked] == ["coating", "pin", "oil", "pin × oil"]
    part = asked[0].parts[0][0]
    assert (part.stratum, part.unit_variance, part.error_df) == ("run", pytest.approx(1 / 3), 6)
    counted = replace(ONE, pilot=replace(ONE.pilot, use="block"))
    both = promise.as_judged([factorial.full(counted, builds=3)], None)[0]
    assert (len(both.runs), both.runs["phase"].tolist()[:4], both.stratum("run").error_df) == (16, ["pilot"] * 4, 9)


def test_claims_of_strata_by_noncentral_t():
    design = factorial.full(ONE, builds=3)
    found = promise.of_strata(scatter(ONE, df=math.inf), [design.strata], [design.strata])[0][0]
    nc = 0.25 / (0.13 / math.sqrt(3))
    assert found.power == pytest.approx(stats.ncf.sf(stats.f.isf(0.05, 1, 6), 1, 6, nc**2), abs=1e-9)


def test_families_share_alpha_only_where_they_are_adjusted():
    brief = briefs.blocked(families=(Family("f", adjust="holm"),))
    two = tuple(replace(item, family="f") for item in brief.comparisons[:2])
    brief = replace(brief, comparisons=(*two, brief.comparisons[2]))
    judged = factorial.full(brief, builds=4).strata
    assert promise.judged_at(judged, two[0])[0] == 0.025
    assert promise.judged_at(judged, brief.comparisons[2]) == (0.05, "")
    assert promise.judged_at(judged, None) == (0.05, "")
    found = family_claims.of_strata(scatter(brief, df=9.0), [factorial.full(brief, builds=4).strata])[0][0]
    assert found.comparisons == ("coating", "both")
    assert family_claims.of_strata(scatter(ONE), [factorial.full(ONE, builds=4).strata] * 2) == [[], []]


def test_a_claim_without_numbers():
    laid = promise.as_judged([factorial.full(ONE, builds=3)], None)
    asked = promise.asked_of(laid)[0]
    made = claim.claim_of(ONE, ONE.responses[0], asked, 0, 0.25, GAIN, None, "not told", None)
    assert (made.assurance, made.reached, made.note, made.iron) == (None, False, "not told", None)
    assert (made.assumed_change, made.worthwhile_change) == pytest.approx((100 * (1 - math.exp(-0.25)), 20.0))
    assert None not in (made.to_dict()["comparison"], made.to_dict()["contrast"])
    assert "nan" not in str(made.to_dict()).lower()


def test_iron_runs_by_hand():
    """Width of 15 % whatever the scatter: v = (ln 1.15 / (t s))^2, in whole builds."""
    laid = factorial.full(ONE, builds=2).strata
    row = promise.asked_of([laid])[0].question.row
    told = {"gain": None, "half_width": math.log(1.15), "alpha": 0.05, "power": 0.8}
    need = (math.log(1.15) / stats.t.isf(0.025, 3) / 0.13) ** 2
    assert iron.iron_runs(with_pilot(ONE), laid, row, **told) == 4 * math.ceil(1 / need)
    assert iron.iron_runs(with_pilot(ONE), laid, row, **(told | {"half_width": None})) is None


def test_a_pilot_in_two_builds_is_two_blocks():
    """Builds a factor e apart: their difference is taken out, and so is that of the treatments."""
    values = np.array([0.10, 0.08, 0.12, 0.09])
    apart = pd.concat(
        [
            pilot(values, builds=("PB1",) * 4),
            pilot(np.e * values * [1.1, 1, 1, 1], builds=("PB2",) * 4).assign(run_id=["P05", "P06", "P07", "P08"]),
        ],
        ignore_index=True,
    )
    lines, notes = [], []
    found = pilot_scatter.of_runs(ONE, ONE.responses[0], apart, (None, None), lines, notes, "pilot")
    x = np.column_stack([np.repeat(np.eye(2), 4, axis=0), np.tile([0.0, 1.0, 0.0, 1.0], 2)])
    left = np.linalg.lstsq(x, np.log(apart["elongation_pct"].to_numpy(float)), rcond=None)[1][0]
    assert (found.run.value, found.run.df) == (pytest.approx(left / 5), 5.0)
    assert [layer.stratum for layer in found.own] == ["run"]
    assert notes == []


def test_a_history_by_itself():
    """The worked history (d0 16.16 capped at 6, s0^2 .018643), with one campaign refused where it was read."""
    lines, notes = [], []
    found = rig_memory.of_history(ONE, ONE.responses[0], past(), lines, notes)
    assert (found.value, found.df, notes) == (pytest.approx(0.0186433, abs=5e-8), 6, [])
    refused = past().assign(refused=["its rig is another"] + [""] * 5)
    rig_memory.of_history(ONE, ONE.responses[0], refused, lines, notes)
    assert notes == ["elongation_pct: campaign 'c0' of the rig's history is not used: its rig is another."]


def test_three_strata_against_drawn_campaigns():
    """Builds, fills kept over two runs, and runs; the pilot's three mean squares at other numbers of runs each.

    40,000 drawn truths and campaigns of 8 builds, each stratum's mean square drawn by itself: 3.3 SE, 0.003 of
    quadrature and of Satterthwaite's df.
    """
    names = ("sprocket", "oil", "speed")
    units = zip(names, ("build", "fill", "setting"), strict=True)
    brief = briefs.whole_plots(
        factors=tuple(briefs.factor(name, "L", "H", undo=undo) for name, undo in units),
        new_each_run=("part",),
        comparisons=(
            *(Comparison(name, of={name: "H"}, against={name: "L"}) for name in names),
            Comparison("all", of=dict.fromkeys(names, "H"), against=dict.fromkeys(names, "L")),
        ),
    )
    design = factorial.full(brief, builds=8)
    assert [design.strata.expected(unit)[unit] for unit in ("build", "fill", "run")] == [4, 2, 1]
    # A pilot of builds of two fills with three runs each.
    sd = {"build": 0.10, "fill": 0.08, "run": 0.12}
    squares = [
        6 * sd["build"] ** 2 + 3 * sd["fill"] ** 2 + sd["run"] ** 2,
        3 * sd["fill"] ** 2 + sd["run"] ** 2,
        sd["run"] ** 2,
    ]
    doubt = [5.0, 6.0, 12.0]
    expected = ({"build": 6.0, "fill": 3.0, "run": 1.0}, {"fill": 3.0, "run": 1.0})
    outer = tuple(
        Layer(unit, square, df, spread)
        for unit, square, df, spread in zip(("build", "fill"), squares, doubt, expected, strict=False)
    )
    run = MeanSquare(squares[2], doubt[2])
    known = Scatter(brief.responses[0], "pilot", run, None, 1.0, None, (), pd.DataFrame(), True, outer)
    found = {item.comparison: item for item in promise.claims([design], known)[0] if item.comparison}
    rng, sims = np.random.default_rng(91), 40_000
    truth = [square * df / rng.chisquare(df, sims) for square, df in zip(squares, doubt, strict=True)]
    for at in (1, 0):
        truth[at] = np.maximum(truth[at], truth[at + 1])
    variances = [(truth[0] - truth[1]) / 6, (truth[1] - truth[2]) / 3, truth[2]]
    planned = [4 * variances[0] + 2 * variances[1] + variances[2], 2 * variances[1] + variances[2], variances[2]]
    error_df = [6, 6, 12]
    for at, name in enumerate(names):
        error = np.sqrt(planned[at] / 8) * rng.normal(size=sims)
        se = np.sqrt(planned[at] / 8 * rng.chisquare(error_df[at], sims) / error_df[at])
        shown = (np.abs(GAIN + error) > stats.t.isf(0.025, error_df[at]) * se).mean()
        assert found[name].error_df == error_df[at]
        assert abs(found[name].assurance - shown) < 3.3 * math.sqrt(0.25 / sims) + 0.003, name
    assert found["all"].error_stratum == "build and fill and run"
    assert found["all"].assurance < min(found[name].assurance for name in names)


def test_a_covariate_takes_a_df_and_a_little_of_every_answer():
    """A figure of each part known before the run, of no effect: 40,000 campaigns of 12 runs, 3.3 SE and 0.012.

    The slope is estimated in every campaign; at 6 error df the variance grows by 1 / 4 on average.
    """
    brief = replace(ONE, covariates=(Covariate("hardness_HV", 600.0, before_run=True),))
    design = factorial.full(brief, builds=3)
    claim_of = {item.comparison: item for item in promise.claims([design], scatter(brief, df=math.inf))[0]}
    found = claim_of["coating"]
    assert (found.error_df, found.note) == (5, "at equal hardness_HV: 1 df for the slope")
    table, sims, rng = design.table, 40_000, np.random.default_rng(93)
    pin, oil = (table["pin"] == "P1").to_numpy(float), (table["oil"] == "O1").to_numpy(float)
    x = np.column_stack([pd.get_dummies(table["build_id"]).to_numpy(float), pin, oil, pin * oil])
    y = -0.25 * pin + 0.13 * rng.normal(size=(sims, 12))
    z = rng.normal(size=(sims, 12))
    off = np.eye(12) - x @ np.linalg.pinv(x)
    weights = np.linalg.pinv(x).T @ np.array([0, 0, 0, 1, 0, 0.5])
    zz = ((z @ off) * z).sum(axis=1)
    slope = ((z @ off) * y).sum(axis=1) / zz
    estimate = (y - slope[:, None] * z) @ weights
    error = (((y @ off) * y).sum(axis=1) - slope**2 * zz) / 5
    half = stats.t.isf(0.025, 5) * np.sqrt(error * (weights @ weights + (z @ weights) ** 2 / zz))
    shown = float((np.abs(estimate) > half).mean())
    assert abs(found.power - shown) < 3.3 * math.sqrt(0.25 / sims) + 0.012
    assert np.mean((z @ weights) ** 2 / zz) / (weights @ weights) == pytest.approx(0.25, abs=0.01)
    size = (0.25 / 0.13) ** 2 / (1.25 * weights @ weights)
    assert found.power == pytest.approx(stats.ncf.sf(stats.f.isf(0.05, 1, 5), 1, 5, size), abs=1e-6)
    plain = promise.claims([factorial.full(ONE, builds=3)], scatter(ONE, df=math.inf))[0][0]
    assert plain.power > shown + 0.05

