"""A factor kept over a build against a new build in every run: drawn campaigns, prices by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit import briefs
from toolkit.brief.model import Cost, CostItem
from toolkit.design import factorial
from toolkit.size import money, promise, routes
from toolkit.size.option import Option
from toolkit.size.scatter import MeanSquare, Scatter

ITEMS = (CostItem("run", "cell", hours=100, rate=100), CostItem("build", "rebuild", hours=24, rate=70, amount=900))
BRIEF = briefs.whole_plots(cost=Cost(currency="EUR", budget=200_000, lost_runs_pct=5, items=ITEMS))
TABLE = pd.DataFrame([{"response": "elongation_pct", "source": "pilot", "stratum": "run", "sd": 0.13}])


BUILD = MeanSquare(0.03, 6.0)


def scatter_of(brief, build=BUILD):
    return Scatter(brief.responses[0], "pilot", MeanSquare(0.0169, 8.0), build, 2.0, None, (), TABLE)


def option_of(brief, scatter, builds=8):
    design = factorial.full(brief, builds=builds)
    return Option(design, money.of_design(design), tuple(promise.claims([design], scatter)[0]), True)


def test_both_routes_side_by_side():
    scatter = scatter_of(BRIEF)
    found = routes.beside(BRIEF, scatter, option_of(BRIEF, scatter))
    assert (found.unit, found.factors) == ("build", ("sprocket",))
    kept, new = found.options[:2]
    assert (kept.design.runs, new.design.runs) == (16, 16)
    # Per run 100 h at 100; a build of one run is built again for each repeat: 16 / .95 of both.
    assert new.price.cost == pytest.approx(16 / 0.95 * (10_000 + 24 * 70 + 900))
    assert new.price.hours == pytest.approx(16 / 0.95 * 124)
    assert kept.price.cost == pytest.approx(16 / 0.95 * 10_000 + 8 * 2_580)
    assert list(found.table["builds"]) == [8, 16]
    assert found.sentence == (
        "With sprocket kept over a build, 16 runs take 8 builds (1,876 h, 189,061 EUR); with a new build in every run "
        "16 runs take 16 (2,088 h, 211,874 EUR). Chances shown, kept against new: sprocket 50 % against 65 %, oil 75 % "
        "against 65 % and both 39 % against 41 %."
    )
    assert found.to_json()["plans"][1]["within_budget"] is False


def test_the_error_of_a_new_build_in_every_run_is_that_of_drawn_campaigns():
    scatter = scatter_of(BRIEF)
    new = routes.beside(BRIEF, scatter, option_of(BRIEF, scatter)).options[1]
    draw, count, gain = np.random.default_rng(7), 40_000, -math.log(0.8)
    inner = 0.0169 * 8.0 / draw.chisquare(8.0, count)
    outer = np.maximum(0.03 * 6.0 / draw.chisquare(6.0, count), inner)
    # Builds of two runs held outer = run + 2 build; a build of one run has run + build = (inner + outer) / 2.
    sd = np.sqrt((inner + outer) / 2)
    values = draw.standard_normal((count, 4, 4)) * sd[:, None, None]
    values[:, :2] -= gain
    means = values.mean(axis=2)
    error = np.sqrt(((values - means[:, :, None]) ** 2).sum(axis=(1, 2)) / 12 * 4 / 16)
    difference = means[:, 2:].mean(axis=1) - means[:, :2].mean(axis=1)
    shown = (np.abs(difference) > stats.t.isf(0.025, 12) * error).mean()
    for name in ("sprocket", "oil"):
        claim = new.claim("elongation_pct", name)
        assert claim.error_df == 12
        assert claim.assurance == pytest.approx(shown, abs=3.24 * math.sqrt(shown * (1 - shown) / count) + 5e-4)


def test_the_runs_that_a_new_build_each_needs_for_the_same_are_told():
    brief = replace(BRIEF, power=0.70)
    scatter = scatter_of(brief)
    found = routes.beside(brief, scatter, option_of(brief, scatter))
    cheapest = found.options[2]
    assert cheapest.claim("elongation_pct", "oil").reached
    assert cheapest.design.runs == 20
    assert found.sentence.endswith(
        f"A new build in every run shows oil from 20 runs on (2,611 h, {20 / 0.95 * 12_580:,.0f} EUR)."
    )


def test_no_second_route_where_nothing_is_kept():
    brief = briefs.blocked(cost=BRIEF.cost)
    scatter = scatter_of(brief, build=None)
    assert routes.beside(brief, scatter, option_of(brief, scatter, builds=3)) is None


def test_what_the_pilot_does_not_tell_is_said_on_both_routes():
    scatter = scatter_of(BRIEF, build=None)
    found = routes.beside(BRIEF, scatter, option_of(BRIEF, scatter))
    assert "sprocket not told against not told, oil 75 % against not told" in found.sentence


def test_kept_fills_are_set_beside_plans_of_as_many_runs_where_builds_are_no_blocks():
    brief = briefs.blocked(new_each_run=("part",), block_by=None)
    plans = routes._randomised(brief, "fill", 24)
    assert [plan.runs for plan in plans] == [8, 12, 16, 20, 24]
    # With builds as blocks a plan grows by its builds.
    blocked = routes._randomised(briefs.blocked(new_each_run=("part",)), "fill", 16)
    assert [(plan.runs, plan.builds) for plan in blocked] == [(8, 2), (12, 3), (16, 4)]
