"""Claims of a plan: closed forms against handbook-like tables, an independent simulation, and hand algebra.

The numbers of the invented chain scenario (SD of ln 0.13, change 0.25 in ln, blocks 2 to 8) were made by a 2e6-draw
simulation when the method was chosen; they are re-derived here by a separate simulation.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit import briefs
from toolkit.brief.model import Comparison, Response
from toolkit.design import factorial
from toolkit.size import promise
from toolkit.size.scatter import MeanSquare, Scatter

ONE = replace(
    briefs.blocked(),
    comparisons=(
        Comparison("coating", of={"pin": "P1"}, against={"pin": "P0"}, assumed_change_pct=100 * (1 - math.exp(-0.25))),
    ),
)


def scatter(brief, sd=0.13, df=2.0, build=None, each=1.0, declared=None, basis="pilot"):
    return Scatter(brief.responses[0], basis, MeanSquare(sd**2, df), build, each, declared, (), pd.DataFrame())


def told(brief, designs, known, name="coating"):
    return [next(item for item in found if item.comparison == name) for found in promise.claims(designs, known)]


def test_power_and_assurance_over_the_number_of_builds():
    designs = [factorial.full(ONE, builds=builds) for builds in range(2, 9)]
    alone = told(ONE, designs, scatter(ONE, df=2.0))
    assert [item.power for item in alone] == pytest.approx([0.46, 0.79, 0.93, 0.98, 0.99, 1, 1], abs=0.006)
    assert [item.assurance for item in alone] == pytest.approx([0.40, 0.60, 0.70, 0.76, 0.80, 0.82, 0.85], abs=0.006)
    remembered = told(ONE, designs, scatter(ONE, df=8.0))
    assert [item.assurance for item in remembered] == pytest.approx(
        [0.44, 0.73, 0.85, 0.91, 0.94, 0.96, 0.97], abs=0.006
    )
    assert [item.error_df for item in alone] == [3, 6, 9, 12, 15, 18, 21]
    assert {item.error_stratum for item in alone} == {"run"}


def test_assurance_against_campaigns_drawn_and_analysed_run_by_run():
    brief, sims = ONE, 20_000
    design = factorial.full(brief, builds=3)
    claim = told(brief, [design], scatter(brief))[0]
    draw = np.random.default_rng(3)
    sigma = 0.13 * np.sqrt(2 / draw.chisquare(2, sims))
    table = design.table
    x = np.hstack(
        [
            pd.get_dummies(table["build_id"]).to_numpy(float),
            (table[["pin"]] == "P1").to_numpy(float),
            (table[["oil"]] == "O1").to_numpy(float),
        ]
    )
    x = np.hstack([x, x[:, -2:-1] * x[:, -1:]])
    y = -0.25 * (table["pin"] == "P1").to_numpy(float) + sigma[:, None] * draw.normal(size=(sims, 12))
    inverse = np.linalg.inv(x.T @ x)
    beta = y @ x @ inverse
    row = np.array([0, 0, 0, 1, 0, 0.5])
    error = ((y - beta @ x.T) ** 2).sum(axis=1) / 6
    half = stats.t.isf(0.025, 6) * np.sqrt(row @ inverse @ row * error)
    gain, margin = -(beta @ row), -math.log(0.8)
    low, high = gain - half, gain + half
    shares = {
        "worthwhile gain": low > margin,
        "worthwhile loss": high < -margin,
        "smaller than worthwhile": (low > -margin) & (high < margin),
    }
    rest = ~(shares["worthwhile gain"] | shares["worthwhile loss"] | shares["smaller than worthwhile"])
    shares["gain, size not settled"] = rest & (low > 0)
    shares["loss, size not settled"] = rest & (high < 0)
    shares["not known yet"] = rest & (low <= 0) & (high >= 0)
    for name, found in shares.items():
        share = claim.outcomes[name]
        assert abs(found.mean() - share) < 3.3 * math.sqrt(share * (1 - share) / sims) + 1e-4, name
    shown = ((low > 0) | (high < 0)).mean()
    assert abs(shown - claim.assurance) < 3.3 * math.sqrt(0.25 / sims)
    assert sum(claim.outcomes.values()) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("cv", "builds", "main", "interaction"),
    [(10, 2, 26, 45), (10, 3, 18, 32), (15, 3, 25, 44), (20, 4, 27, 46), (30, 6, 30, 51)],
)
def test_detectable_reduction_of_a_two_by_two_in_blocks(cv, builds, main, interaction):
    # Table of detectable reductions of a 2x2 in complete blocks, power 0.80: noncentral t, recomputed by scipy here.
    brief = briefs.blocked()
    sd = math.sqrt(math.log(1 + (cv / 100) ** 2))
    found = promise.claims([factorial.full(brief, builds=builds)], scatter(brief, sd=sd, df=math.inf))[0]
    by_name = {item.comparison: item for item in found if item.comparison}
    assert round(100 * (1 - by_name["coating"].detectable_ratio)) == main
    assert round(100 * (1 - by_name["together"].detectable_ratio)) == interaction
    df, ratio = 3 * (builds - 1), by_name["coating"].detectable_ratio
    nc = -math.log(ratio) / (sd / math.sqrt(builds))
    assert stats.ncf.sf(stats.f.isf(0.05, 1, df), 1, df, nc**2) == pytest.approx(0.80, abs=1e-9)


def test_upper_scatter_is_that_of_the_claims_own_error():
    brief = ONE
    claim = told(brief, [factorial.full(brief, builds=3)], scatter(brief, df=4.0))[0]
    upper = 0.13 * math.sqrt(4 / stats.chi2.ppf(0.2, 4))
    nc = 0.25 / (upper / math.sqrt(3))
    assert claim.power_at_upper_scatter == pytest.approx(stats.ncf.sf(stats.f.isf(0.05, 1, 6), 1, 6, nc**2), abs=1e-6)


def test_whole_plots_use_the_scatter_between_builds_on_its_own_df():
    brief = briefs.whole_plots()
    design = factorial.full(brief)
    known = scatter(brief, sd=0.12, df=6.0, build=MeanSquare(2 * 0.08**2 + 0.12**2, 3.0), each=2.0)
    by_name = {item.comparison: item for item in promise.claims([design], known)[0] if item.comparison}
    gain = -math.log(0.8)
    for name, variance in (("sprocket", 0.25 * (2 * 0.08**2 + 0.12**2)), ("oil", 0.25 * 0.12**2)):
        nc = gain / math.sqrt(variance)
        assert by_name[name].power == pytest.approx(stats.ncf.sf(stats.f.isf(0.05, 1, 6), 1, 6, nc**2), abs=1e-9)
    assert by_name["sprocket"].error_stratum == "build"
    assert by_name["both"].error_stratum == "build and run"
    parts = np.array([0.25 * (2 * 0.08**2 + 0.12**2), 0.25 * 0.12**2])
    assert by_name["both"].error_df == pytest.approx(parts.sum() ** 2 / (parts**2 / 6).sum())
    # Four runs a build instead of two: the mean square between builds is run plus four times build scatter.
    wider = promise.claims([factorial.full(brief, builds=8, replicates=2)], known)[0]
    variance = (4 / 32) * (4 * 0.08**2 + 0.12**2)
    nc = gain / math.sqrt(variance)
    found = next(item for item in wider if item.comparison == "sprocket")
    assert found.power == pytest.approx(stats.ncf.sf(stats.f.isf(0.05, 1, 6), 1, 6, nc**2), abs=1e-9)


def test_unknown_scatter_between_builds_is_said():
    brief = briefs.whole_plots()
    found = {item.comparison: item for item in promise.claims([factorial.full(brief)], scatter(brief))[0]}
    assert found["sprocket"].power is None
    assert found["sprocket"].note == "the scatter between builds is not known"
    assert found["oil"].power is not None


def test_term_of_three_levels_is_sized_by_f():
    brief = briefs.randomised()
    found = promise.claims([factorial.full(brief, replicates=5)], scatter(brief, df=math.inf))[0]
    term = next(item for item in found if item.term == "finish")
    lam = math.log(0.8) ** 2 * 5 / 2 / 0.13**2
    assert term.power == pytest.approx(stats.ncf.sf(stats.f.isf(0.05, 2, 12), 2, 12, lam), abs=1e-9)
    assert term.assurance == pytest.approx(term.power)


def test_declared_range_is_averaged_and_its_upper_end_shown():
    brief, low, high = ONE, 0.08, 0.18
    known = scatter(brief, sd=0.13, df=math.inf, declared=(low, high), basis="declared")
    claim = told(brief, [factorial.full(brief, builds=3)], known)[0]
    sd = np.linspace(low, high, 20_001)
    nc = 0.25 / (sd / math.sqrt(3))
    power = stats.ncf.sf(stats.f.isf(0.05, 1, 6), 1, 6, nc**2)
    assert claim.assurance == pytest.approx(power.mean(), abs=1e-4)
    assert claim.power_at_upper_scatter == pytest.approx(power[-1], abs=1e-6)


def test_families_judged_together_are_sized_at_the_safe_side():
    brief = replace(
        briefs.blocked(),
        families=(briefs_family(),),
        comparisons=tuple(replace(item, family="f") for item in briefs.blocked().comparisons),
    )
    found = promise.claims([factorial.full(brief, builds=4)], scatter(brief, df=math.inf))[0][0]
    nc = math.log(0.8) / (0.13 / math.sqrt(4))
    assert found.power == pytest.approx(stats.ncf.sf(stats.f.isf(0.05 / 3, 1, 9), 1, 9, nc**2), abs=1e-9)
    assert found.note == "family 'f' of 3 is judged together (holm): sized at alpha / 3, the safe side"


def briefs_family():
    from toolkit.brief.model import Family

    return Family("f", adjust="holm")


def test_linear_scale_tells_changes_in_the_unit():
    response = Response("torque_Nm", better="larger", scale="linear", per_run="value", worthwhile_change=2.0)
    brief = replace(briefs.blocked(), responses=(response,))
    claim = promise.claims([factorial.full(brief, builds=3)], scatter(brief, sd=1.5, df=6.0))[0][0]
    assert (claim.detectable_ratio, claim.assumed_change, claim.worthwhile_change) == (None, 2.0, 2.0)
    assert claim.detectable_change > 2.0


def test_larger_is_better_tells_the_change_as_the_brief_states_it():
    response = Response("strength_MPa", better="larger", per_run="value", worthwhile_change_pct=20.0)
    brief = replace(briefs.blocked(), responses=(response,))
    claim = promise.claims([factorial.full(brief, builds=3)], scatter(brief, df=math.inf))[0][0]
    nc = math.log(1.2) / (0.13 / math.sqrt(3))
    assert claim.power == pytest.approx(stats.ncf.sf(stats.f.isf(0.05, 1, 6), 1, 6, nc**2), abs=1e-9)
    assert (claim.assumed_change, claim.worthwhile_change) == (pytest.approx(20.0), pytest.approx(20.0))
    assert claim.detectable_ratio > 1


def test_builds_of_one_run_are_sized_by_the_scatter_between_builds():
    brief = briefs.whole_plots(
        factors=(briefs.factor("sprocket", "S0", "S1", undo="build"),),
        comparisons=(Comparison("sprocket", of={"sprocket": "S1"}, against={"sprocket": "S0"}),),
    )
    square = MeanSquare(0.02, 3.0)
    known = Scatter(brief.responses[0], "pilot", square, square, 1.0, None, (), pd.DataFrame(), run_known=False)
    one, two = promise.claims([factorial.full(brief, builds=8), factorial.full(brief, builds=8, replicates=2)], known)
    nc = math.log(0.8) / math.sqrt(0.02 / 2)
    assert one[0].power == pytest.approx(stats.ncf.sf(stats.f.isf(0.05, 1, 6), 1, 6, nc**2), abs=1e-9)
    # Two runs a build would need to know how runs of one build scatter.
    assert {claim.note for claim in two} == {"the scatter between runs of a build is not known"}
