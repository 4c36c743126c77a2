"""Beside power and assurance: width, overstatement, equivalence, the iron promise and its price, and the aim."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit import briefs
from tests.unit.size.test_promise import ONE, scatter
from tests.unit.size.test_promise_of_runs import built
from toolkit.brief.model import Response, Sizing
from toolkit.design import factorial
from toolkit.size import options, promise, rig_memory
from toolkit.size.scatter import Layer, MeanSquare, Scatter


def coating(brief, design, known):
    return next(item for item in promise.claims([design], known)[0] if item.comparison == "coating")


def with_pilot(brief, sd=0.13, df=3.0):
    """A scatter with a pilot of its own."""
    own = (Layer("run", sd**2, df, {"run": 1.0}),)
    square = MeanSquare(sd**2, df)
    return Scatter(brief.responses[0], "pilot", square, None, 1.0, None, (), pd.DataFrame(), True, (), own)


def test_width_overstatement_and_equivalence_against_drawn_campaigns():
    """100,000 drawn scatters and campaigns of 12 runs: 4 standard errors."""
    rng, sims = np.random.default_rng(81), 100_000
    claim = coating(ONE, factorial.full(ONE, builds=3), scatter(ONE, df=5.0))
    sigma2 = 0.13**2 * 5 / rng.chisquare(5, sims)
    error = np.sqrt(sigma2 / 3) * rng.normal(size=sims)
    se = np.sqrt(sigma2 / 3 * rng.chisquare(6, sims) / 6)
    half = stats.t.isf(0.025, 6) * se
    assert abs(math.log(claim.half_width_ratio) - half.mean()) < 4 * half.std() / math.sqrt(sims) + 2e-4
    kept = np.abs(0.25 + error)[np.abs(0.25 + error) > half]
    assert abs(claim.exaggeration - kept.mean() / 0.25) < 4 * kept.std() / 0.25 / math.sqrt(len(kept)) + 1e-3
    narrow, margin = stats.t.isf(0.05, 6) * se, -math.log(0.8)
    equivalent = ((error - narrow > -margin) & (error + narrow < margin)).mean()
    no_harm = (error - narrow > -margin).mean()
    assert abs(claim.equivalent - equivalent) < 4 * math.sqrt(0.25 / sims)
    assert abs(claim.no_harm - no_harm) < 4 * math.sqrt(0.25 / sims)


@pytest.mark.parametrize("builds", [4, 6])
def test_power_of_a_comparison_that_mixes_strata_against_drawn_mean_squares(builds):
    """Whole plots of two runs, sprocket and oil changed together: variance (MS builds + MS runs) / builds x 2, by hand.

    200,000 campaigns, their two mean squares drawn; t by Satterthwaite from 3 df on, by Cochran and Cox below. With
    four builds the noncentral t on the df of the expected mean squares promises .40 where .32 come true.
    """
    brief = briefs.whole_plots()
    known = built(brief, sd=0.06, between=0.04, df=(3.0, 8.0))
    design = factorial.full(brief, builds=builds)
    claim = next(item for item in promise.claims([design], known)[0] if item.comparison == "both")
    sims, rng, df = 200_000, np.random.default_rng(19), builds - 2
    outer, inner = 2 * 0.04**2 + 0.06**2, 0.06**2
    # The upper limit of their sum, from drawn truths of which builds are no better than runs, multiplies both.
    within = inner * 8.0 / rng.chisquare(8, 2_000_000)
    between = np.maximum(outer * 3.0 / rng.chisquare(3, 2_000_000), within)
    upper = np.quantile(between + within, 0.8) / (outer + inner)
    luck = rng.chisquare(df, (2, sims)) / df
    errors = rng.normal(size=sims)

    def shown(gain, factor=1.0):
        variance = 2.0 / builds * factor * (outer + inner)
        squares = factor * np.array([outer, inner])[:, None] * luck
        total = squares.sum(axis=0)
        freedom = total**2 / (squares**2 / df).sum(axis=0)
        critical = stats.t.isf(0.025, df if df < 3 else freedom)
        error = np.sqrt(variance) * errors
        return float((np.abs(gain + error) > critical * np.sqrt(2.0 / builds * total)).mean())

    gain = -math.log(0.8)
    error = 3.3 * math.sqrt(0.25 / sims) + 5e-4
    assert abs(claim.power - shown(gain)) < error
    assert abs(claim.power_at_upper_scatter - shown(gain, upper)) < error
    assert abs(shown(-math.log(claim.detectable_ratio)) - brief.power) < error


def test_an_interaction_can_be_shown_to_be_none_but_does_no_harm():
    brief = briefs.blocked()
    found = {item.comparison: item for item in promise.claims([factorial.full(brief, builds=8)], scatter(brief))[0]}
    assert found["together"].equivalent > 0
    assert found["together"].no_harm is None
    assert found[None].equivalent is None


def test_the_iron_promise_and_its_price():
    """A pilot of 3 df: runs such that the variance of the main effect, sigma^2 / builds, meets Stein's by hand."""
    brief = ONE
    claim = coating(brief, factorial.full(brief, builds=3), with_pilot(brief))
    need = (0.25 / (stats.t.isf(0.025, 3) + stats.t.ppf(0.80, 3)) / 0.13) ** 2
    assert claim.iron == 4 * math.ceil(1 / need)
    assert {coating(brief, factorial.full(brief, builds=b), with_pilot(brief)).iron for b in (2, 5, 8)} == {claim.iron}
    aimed = replace(brief, sizing=Sizing("half-width", 15.0))
    narrow = coating(aimed, factorial.full(aimed, builds=3), with_pilot(aimed))
    need = (math.log(1.15) / stats.t.isf(0.025, 3) / 0.13) ** 2
    assert narrow.iron == 4 * math.ceil(1 / need)
    # Randomised runs grow by one of each combination; a guess or a history alone keeps no such promise.
    three = briefs.randomised()
    by_name = {item.comparison: item for item in promise.claims([factorial.full(three)], with_pilot(three, df=6.0))[0]}
    gain = -math.log(0.8)
    need = (gain / (stats.t.isf(0.025, 6) + stats.t.ppf(0.80, 6)) / 0.13) ** 2
    assert by_name["honing"].iron == 3 * math.ceil(2 / need)
    assert by_name[None].iron is None
    assert coating(brief, factorial.full(brief, builds=3), scatter(brief)).iron is None


def test_the_iron_promise_is_the_pilots_own_also_where_a_history_is_blended_in():
    brief = ONE
    lines, notes = [], []
    mixed = rig_memory.blended(brief, brief.responses[0], with_pilot(brief), MeanSquare(0.02, 6.0), lines, notes)
    design = factorial.full(brief, builds=3)
    assert mixed.run.df == 9.0
    assert coating(brief, design, mixed).iron == coating(brief, design, with_pilot(brief)).iron


def test_the_iron_promise_between_builds():
    """Builds as units, the pilot's runs a build: its mean square between builds judges; not where they differ."""
    brief = briefs.whole_plots()
    known = built(brief, df=(3.0, 8.0))
    known = replace(known, own=known.layers)
    by_name = {item.comparison: item for item in promise.claims([factorial.full(brief, builds=8)], known)[0]}
    between = 2 * 0.08**2 + 0.12**2
    need = (-math.log(0.8) / (stats.t.isf(0.025, 3) + stats.t.ppf(0.80, 3))) ** 2 / between
    # Of 8 builds the factor of the build has the unit variance 1/4 per run value: 4 / runs.
    assert by_name["sprocket"].iron == 4 * math.ceil(4 / need / 4)
    assert by_name["both"].iron is None
    wider = factorial.full(brief, builds=8, replicates=2)
    assert [item.iron for item in promise.claims([wider], known)[0] if item.comparison == "sprocket"] == [None]


def test_half_width_as_the_aim():
    """The smallest number of builds whose expected width is within 15 %: by the closed form of its mean."""
    brief = replace(ONE, sizing=Sizing("half-width", 15.0))
    designs = [factorial.full(brief, builds=builds) for builds in range(2, 16)]
    found = [next(item for item in one if item.comparison) for one in promise.claims(designs, scatter(brief, df=6.0))]

    def mean_root(df):
        return stats.chi(df).mean() / math.sqrt(df)

    def width(builds):
        df = 3 * (builds - 1)
        return stats.t.isf(0.025, df) * 0.13 / math.sqrt(builds) * mean_root(df) * mean_root(6) * 6 / 5

    for builds, claim in zip(range(2, 16), found, strict=True):
        assert math.log(claim.half_width_ratio) == pytest.approx(width(builds), rel=0.004)
        assert claim.reached is (claim.half_width_ratio <= 1.15)
    assert [claim.reached for claim in found].index(True) == next(
        at for at, builds in enumerate(range(2, 16)) if width(builds) <= math.log(1.15)
    )
    one = coating(brief, designs[3], scatter(brief, df=1.0))
    assert (one.half_width_ratio, one.reached) == (None, False)
    assert one.note == "how wide the interval will be has no average: the pilot has 1 degree of freedom; run one more"


def test_half_width_in_the_unit_on_the_linear_scale():
    response = Response("torque_Nm", better="larger", scale="linear", per_run="value", worthwhile_change=2.0)
    brief = replace(briefs.blocked(), responses=(response,), sizing=Sizing("half-width", None, 1.5))
    claim = promise.claims([factorial.full(brief, builds=4)], scatter(brief, sd=1.0, df=math.inf))[0][0]
    mean = stats.t.isf(0.025, 9) * 0.5 * stats.chi(9).mean() / 3
    assert (claim.half_width, claim.half_width_ratio) == (pytest.approx(mean, rel=0.002), None)
    assert claim.reached is True


def test_the_smallest_plan_that_reaches_the_width_is_advised():
    """No plan that costs less is expected to be as narrow; the sentence tells widths and no chances."""
    brief = replace(ONE, sizing=Sizing("half-width", 15.0))
    made = options.options(brief, [scatter(brief, df=6.0)])
    book = made.recommended
    designs = [factorial.full(brief, builds=builds) for builds in range(2, 16)]
    widths = [coating(brief, design, scatter(brief, df=6.0)).half_width_ratio for design in designs]
    fewest = 4 * next(builds for builds, width in zip(range(2, 16), widths, strict=True) if width <= 1.15)
    assert book.design.runs == fewest
    width = book.claim("elongation_pct", "coating").half_width_ratio
    assert made.sentence == f"{fewest} runs ({book.name}) will tell coating (interval of x/÷ {width:.3f} expected)."
    none = replace(brief, sizing=Sizing("half-width", 1.0))
    told = options.options(none, [scatter(none, df=6.0)])
    assert told.recommended is None
    assert told.sentence.startswith("No plan of up to 60 runs reaches an interval of x/÷ 1.010 for any comparison of")
