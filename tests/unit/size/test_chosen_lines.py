"""The lines that choose a plan: read back by a TOML reader, they lay out the same plan again."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace

import pytest

from tests.unit import briefs
from tests.unit.size.test_candidates import FOUR, NUMERIC
from tests.unit.size.test_options import BRIEF, COATING, EXTENDED, known, standing
from toolkit.brief.model import Comparison
from toolkit.design import chosen
from toolkit.size import advice, candidates, chosen_lines, options

OIL = (Comparison("oil", of={"oil": "O1"}, against={"oil": "O0"}),)


def laid_again(found, option):
    """The plan that the lines in the file choose."""
    told = tomllib.loads(chosen_lines.toml(replace(found, recommended=option)))["plan"]
    line = ", ".join(f"{key} = {json.dumps(value)}" for key, value in told.items())
    assert chosen_lines.in_a_line(found, option) == line
    assert json.loads(json.dumps(chosen_lines.keys(found, option))) == told
    plan = replace(briefs.PlanChoice(), centre_points=found.brief.plan.centre_points)
    told = {key: tuple(map(tuple, value)) if isinstance(value, list) else value for key, value in told.items()}
    return chosen.main(replace(found.brief, plan=replace(plan, **told)))


@pytest.mark.parametrize(
    "brief",
    [
        BRIEF,
        replace(BRIEF, most_runs_in_build=None, comparisons=(COATING,)),
        briefs.randomised(),
        briefs.randomised(factors=NUMERIC, comparisons=OIL),
        briefs.blocked(factors=NUMERIC, comparisons=OIL, pilot=None),
        FOUR,
    ],
    ids=["blocks", "replicates in blocks", "randomised", "centre points", "centre points in blocks", "fractions"],
)
def test_the_lines_lay_the_plan_out_again(brief):
    found = options.options(brief, [known(brief)])
    for option in found.options:
        again = laid_again(found, option)
        assert again.table.drop(columns="replicate").equals(option.design.table.drop(columns="replicate"))
    assert len(candidates.of_brief(brief)) >= len(found.options)


def test_an_extension_chooses_its_own_section():
    found = options.options(EXTENDED, [known(EXTENDED)], standing=standing())
    assert tomllib.loads(chosen_lines.toml(found)) == {"extension": {"builds": 1}}


def test_what_is_said_stands_in_remarks_that_no_name_can_leave():
    odd = replace(COATING, name='coating"\n[plan]\nbuilds = 99')
    brief = replace(BRIEF, comparisons=(odd,))
    found = options.options(brief, [known(brief)])
    found = replace(found, advice=advice.of_options(found))
    text = chosen_lines.toml(found)
    assert tomllib.loads(text) == {"plan": {"builds": 3}}
    assert text.startswith("# Put these lines into [plan] of campaign.toml, in place of the keys of the same names: ")
    assert 'coating" [plan] builds = 99' in " ".join(text.replace("#", "").split())
    assert max(len(line) for line in text.splitlines()) <= 116


def test_nothing_advised_is_remarks_only():
    brief = replace(BRIEF, comparisons=BRIEF.comparisons[1:])
    text = chosen_lines.toml(options.options(brief, [known(brief)]))
    assert tomllib.loads(text) == {}
    assert text.startswith("# No plan is advised.\n# No plan within the budget reaches 80 % for any comparison of ")
