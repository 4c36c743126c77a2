"""Another scatter and another true change: the claims of a brief and a scatter that say the same."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from tests.unit import briefs
from tests.unit.size.test_options import BRIEF, known
from tests.unit.size.test_promise_of_runs import built
from tests.unit.size.test_routes import BRIEF as SPLIT_PLOT
from tests.unit.size.test_routes import option_of, scatter_of
from toolkit.design import factorial, phases
from toolkit.size import _promise_curve, in_words, options, promise
from toolkit.size import what_if as what_if_module
from toolkit.size.scatter import MeanSquare
from toolkit.size.what_if import what_if

PLAN = "full factorial, 3 builds of 4 runs"


def test_as_the_brief_has_it_the_chances_are_those_of_the_plans():
    found = options.options(BRIEF, [known(BRIEF)])
    told = what_if(found, PLAN)
    claims = [claim for claim in found.options[1].claims if claim.comparison]
    assert list(told.table["chance_shown"]) == pytest.approx([claim.assurance for claim in claims])
    assert list(told.table["true_change"]) == ["-30 %", "-20 %"]
    shares = [round(100 * claim.assurance) for claim in claims]
    assert told.sentence == (
        "12 runs (full factorial, 3 builds of 4 runs, 1,598 h, 188,718 EUR, within the budget). If run values scatter "
        f"by 0.13 (SD of ln): coating (true change -30 %, chance {shares[0]} %) and together (true change -20 %, "
        f"chance {shares[1]} %). If nothing differs, a difference is shown all the same in 5 % of campaigns."
    )
    assert told.lines == "builds = 3"


def test_another_scatter_and_change_are_those_of_a_brief_that_says_so():
    found = options.options(BRIEF, [known(BRIEF)])
    told = what_if(found, PLAN, scatter_times=1.5, change=40.0)
    brief = replace(BRIEF, comparisons=tuple(replace(item, assumed_change_pct=40.0) for item in BRIEF.comparisons))
    design = replace(found.options[1].design, brief=brief)
    design = replace(design, strata=replace(design.strata, brief=brief))
    claims = promise.claims([design], known(brief, sd=0.13 * 1.5))[0]
    assert list(told.table["chance_shown"]) == pytest.approx([claims[0].assurance, claims[1].assurance])
    assert list(told.table["true_change"]) == ["-40 %", "-40 %"]
    assert told.table["chance_shown"].iloc[0] < what_if(found, PLAN, change=40.0).table["chance_shown"].iloc[0]


def test_a_guess_and_builds_as_units_are_scaled_as_a_whole():
    declared = replace(known(BRIEF), basis="declared", run=MeanSquare(0.15**2, math.inf), declared=(0.1, 0.2))
    found = options.options(BRIEF, [declared])
    wider = replace(declared, run=MeanSquare(0.3**2, math.inf), declared=(0.2, 0.4))
    expected = options.options(BRIEF, [wider]).options[1].claim("elongation_pct", "coating")
    told = what_if(found, PLAN, scatter_times=2.0)
    assert told.table["chance_shown"].iloc[0] == pytest.approx(expected.assurance)
    assert told.table["at_upper_limit"].iloc[0] == pytest.approx(expected.power_at_upper_scatter)
    assert told.table["detectable"].iloc[0] == in_words.detectable(BRIEF.responses[0], expected)
    assert list(told.curve[told.curve["change"] == 30.0]["chance"])[0] == pytest.approx(expected.assurance)
    scatter = scatter_of(SPLIT_PLOT)
    option = option_of(SPLIT_PLOT, scatter)
    whole = options.Options(SPLIT_PLOT, (scatter,), (option,), option, "", ())
    doubled = scatter_of(SPLIT_PLOT, build=MeanSquare(0.12, 6.0))
    doubled = replace(doubled, run=MeanSquare(4 * 0.0169, 8.0))
    claims = [claim for claim in promise.claims([option.design], doubled)[0] if claim.comparison]
    told = what_if(whole, option.name, scatter_times=2.0)
    assert list(told.table["chance_shown"]) == pytest.approx([claim.assurance for claim in claims])
    assert list(told.table["at_upper_limit"]) == pytest.approx([claim.power_at_upper_scatter for claim in claims])
    assert list(told.table["detectable"]) == [in_words.detectable(scatter.response, claim) for claim in claims]
    there = told.curve[told.curve["change"] == claims[0].assumed_change]
    assert list(there["chance"]) == pytest.approx([claim.assurance for claim in claims])


@pytest.mark.parametrize(("scatter_times", "change"), [(1.0, 20.0), (1.5, 40.0)])
def test_the_curve_goes_through_the_chances_of_each_change(scatter_times, change):
    found = options.options(BRIEF, [known(BRIEF)])
    curve = what_if(found, PLAN, scatter_times=scatter_times).curve
    there = curve[curve["change"] == change]
    told = what_if(found, PLAN, scatter_times=scatter_times, change=change).table
    assert list(there["comparison"]) == list(told["comparison"]) == ["coating", "together"]
    assert list(there["chance"]) == pytest.approx(list(told["chance_shown"]), abs=1e-9)
    assert list(there["worthwhile"]) == [change == 20.0] * 2
    # Where nothing differs a test at 5 % shows a difference in 5 % of campaigns, whatever the scatter.
    assert list(curve[curve["change"] == 0.0]["chance"]) == pytest.approx([0.05, 0.05], abs=5e-4)
    assert curve.groupby("comparison")["chance"].apply(lambda chance: chance.is_monotonic_increasing).all()
    assert what_if(found, PLAN).priced == "12 runs, 1,598 h, 188,718 EUR, within the budget"


def curve_of(brief, laid):
    """The curve of runs without a plan."""
    return _promise_curve.curve(brief, brief.responses[0], _promise_curve.judged(built(brief), laid))


def test_the_curve_of_runs_that_are_not_balanced():
    brief = briefs.whole_plots()
    runs = factorial.full(brief, builds=12).table.assign(phase="main").drop(index=[0, 7]).reset_index(drop=True)
    laid = phases.strata_together(brief, runs)
    assert laid.unbalanced
    curve = curve_of(brief, laid)
    claims = [item for item in promise.claims_of_runs(brief, runs, built(brief)) if item.comparison]
    there = curve[curve["change"] == claims[0].assumed_change]
    assert list(there["comparison"]) == [item.comparison for item in claims]
    assert list(there["chance"]) == pytest.approx([item.assurance for item in claims], abs=1e-9)
    # A comparison that the runs cannot tell has no curve.
    one_oil = runs[runs["oil"] == "O0"].reset_index(drop=True)
    told = curve_of(brief, phases.strata_together(brief, one_oil))
    assert "oil" not in set(told["comparison"])


def test_the_upper_limit_of_the_scatter_is_that_of_each_comparison():
    brief = briefs.whole_plots()
    runs = factorial.full(brief, builds=8).table.assign(phase="main").drop(index=[0]).reset_index(drop=True)
    scatter = built(brief, df=(6.0, 10.0))
    claims = [item for item in promise.claims_of_runs(brief, runs, scatter) if item.comparison]
    asked = _promise_curve.judged(scatter, phases.strata_together(brief, runs))
    assert [item.comparison.name for item in asked] == [item.comparison for item in claims]
    # Builds scatter in one comparison and runs in another, so that another state of both is the upper limit.
    gains = [_promise_curve._gain(brief, item.comparison, scatter.response, 20.0) for item in asked]
    at_upper = [item.at_upper(gain) for item, gain in zip(asked, gains, strict=True)]
    assert {claim.assumed_change for claim in claims} == {20.0}
    assert at_upper == pytest.approx([claim.power_at_upper_scatter for claim in claims], abs=1e-9)


def test_a_chance_that_cannot_be_told_elsewhere_is_left_open_and_widths_follow_the_scatter():
    found = options.options(BRIEF, [known(BRIEF)])
    claim = found.options[1].claim("elongation_pct", "coating")
    untold = _promise_curve.Judged(BRIEF.comparisons[0], 0.05, found.scatters[0], None, None, 0)
    assert what_if_module._at(claim, untold, 0.2, 1.0, None) == claim
    moved = what_if_module._at(claim, untold, 0.2, 2.0, None)
    assert (moved.assurance, moved.power_at_upper_scatter) == (None, None)
    assert moved.detectable_ratio == pytest.approx(claim.detectable_ratio**2)
    assert moved.half_width_ratio == pytest.approx(claim.half_width_ratio**2)
