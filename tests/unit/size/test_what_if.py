"""Another scatter and another true change: the claims of a brief and a scatter that say the same."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from tests.unit.size.test_options import BRIEF, known
from tests.unit.size.test_routes import BRIEF as SPLIT_PLOT
from tests.unit.size.test_routes import option_of, scatter_of
from toolkit.size import options, promise
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
    assert what_if(found, PLAN, scatter_times=2.0).table["chance_shown"].iloc[0] == pytest.approx(expected.assurance)
    scatter = scatter_of(SPLIT_PLOT)
    option = option_of(SPLIT_PLOT, scatter)
    whole = options.Options(SPLIT_PLOT, (scatter,), (option,), option, "", ())
    doubled = scatter_of(SPLIT_PLOT, build=MeanSquare(0.12, 6.0))
    doubled = replace(doubled, run=MeanSquare(4 * 0.0169, 8.0))
    expected = [claim.assurance for claim in promise.claims([option.design], doubled)[0] if claim.comparison]
    assert list(what_if(whole, option.name, scatter_times=2.0).table["chance_shown"]) == pytest.approx(expected)
