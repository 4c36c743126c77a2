"""What can be wrong with an extension: every fault with its line, all at once."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.unit import briefs
from tests.unit.campaign import shop
from toolkit.brief import checks, reading
from toolkit.brief.model import Extension, Pilot
from toolkit.errors import BriefError

BLOCKED = shop.BRIEF
RANDOMISED = shop.RANDOMISED


def faults(text, section):
    """The faults of a brief with an extension, without the name of the file."""
    with pytest.raises(BriefError) as told:
        reading.parse(text + f"\n[extension]\n{section}\n")
    return [line.strip().removeprefix("campaign.toml ") for line in str(told.value).split("\n")[1:]]


def line(text, ahead=1):
    """The line of the first key of an extension at the end of a text, or of one after it."""
    return text.count("\n") + 2 + ahead


def test_what_is_in_order_is_read():
    assert reading.parse(BLOCKED + "\n[extension]\nbuilds = 2\n").extension == Extension(builds=2)
    assert reading.parse(BLOCKED + "\n[extension]\n").extension == Extension()
    found = reading.parse(RANDOMISED + '\n[extension]\nreplicates = 2\ncombinations = [ { pin = "P1", oil = "O0" } ]\n')
    assert found.extension == Extension(replicates=2, combinations=({"pin": "P1", "oil": "O0"},))
    assert reading.parse(BLOCKED).extension is None


def test_numbers_as_levels_are_read_as_in_the_pilot():
    text = RANDOMISED.replace('name = "oil"', 'name = "load_Nm"').replace('{ O0 = "today", O1 = "new" }', "[80, 120]")
    text = text.replace('"O1"', "120").replace('"O0"', "80").replace("oil =", "load_Nm =")
    found = reading.parse(text + '\n[extension]\nreplicates = 1\ncombinations = [ { pin = "P0", load_Nm = 80.0 } ]\n')
    assert found.extension.combinations == ({"pin": "P0", "load_Nm": "80"},)


def test_builds_as_blocks_take_builds_and_nothing_else():
    at = line(BLOCKED)
    assert faults(BLOCKED, 'builds = 1\nreplicates = 2\ncombinations = [ { pin = "P0", oil = "O0" } ]') == [
        f"line {at + 1}: [extension] replicates: 2 though builds are blocks; expected builds. Give builds: each holds "
        f"what a build of the main phase holds.",
        f"line {at + 2}: [extension] combinations: 1 of them though builds are complete blocks; expected none. Delete "
        f"the line: a build holds every combination.",
    ]


def test_without_blocks_replicates_are_asked_for():
    assert faults(RANDOMISED, "builds = 2") == [
        f"line {line(RANDOMISED)}: [extension] builds: 2 though there are no blocks; expected replicates. Give "
        f"replicates."
    ]


def test_numbers_out_of_range_and_of_the_wrong_kind():
    at = line(BLOCKED)
    assert faults(BLOCKED, "builds = -1") == [
        f"line {at}: [extension] builds: -1; expected a whole number from 0 to 500 (0: not chosen yet)."
    ]
    assert faults(BLOCKED, "builds = 1.5") == [
        f"line {at}: [extension] builds: the number 1.5; expected a whole number; 0 means not chosen yet."
    ]
    assert faults(BLOCKED, "build = 1") == [
        f"line {at}: [extension] build: unknown key; expected 'builds', 'replicates', 'combinations', 'design', "
        f"'swap', 'half', 'axial', 'centre_points', 'free', 'comparison' or 'detectable_ratio'. Did you mean 'builds'?"
    ]


def test_combinations_are_looked_at_as_those_of_the_pilot():
    at = line(RANDOMISED)
    listed = ('{ pin = "P7", oil = "O0" }', '{ pin = "P0" }', *['{ pin = "P0", oil = "O0" }'] * 2)
    section = f"replicates = 1\ncombinations = [ {', '.join(listed)} ]"
    assert faults(RANDOMISED, section) == [
        f"line {at + 1}: [extension] combinations no. 1, pin: factor 'pin' has no level 'P7'; expected 'P0' or 'P1'.",
        f"line {at + 1}: [extension] combinations no. 2: no level of 'oil'; expected a level of every factor.",
        f"line {at + 1}: [extension] combinations no. 4: the same as no. 3; expected each combination once. Use "
        f"replicates to run it again.",
    ]


def test_builds_as_units_cannot_be_extended():
    text = shop.WHOLE_PLOTS
    assert faults(text, "builds = 2") == [
        f"line {line(text, 0)}: [extension]: an extension though factor 'pin' is changed with the build; expected no "
        f"[extension]. Further builds as units of a factor are not covered yet: plan them in [plan] from the start."
    ]


def test_a_brief_built_in_python_is_looked_at_too():
    told = checks.check(briefs.randomised(extension=Extension(builds=1)))
    assert [str(fault) for fault in told] == [
        "[extension] builds: 1 though there are no blocks; expected replicates. Give replicates."
    ]
    told = checks.check(briefs.blocked(extension={"builds": 1}))
    assert str(told[0]).endswith("expected a Extension.")


def test_which_phases_an_analysis_rests_on():
    brief = briefs.blocked()
    assert brief.counted_phases == ("main",)
    block = replace(brief, pilot=Pilot(brief.pilot.combinations, use="block"))
    assert block.counted_phases == ("pilot", "main")
    assert replace(block, extension=Extension(builds=1)).counted_phases == ("pilot", "main", "extension")
    assert replace(brief, pilot=None, extension=Extension(builds=1)).counted_phases == ("main", "extension")
