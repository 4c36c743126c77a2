"""Briefs with one fault, and with two: the whole message, every fault in it, and nothing else."""

import random
import re
import tomllib
from pathlib import Path

import pytest

from toolkit.brief import reading
from toolkit.errors import BriefError

HERE = Path(__file__).parent
EXAMPLE = (HERE.parent / "unit" / "brief" / "example.toml").read_text(encoding="utf-8")
CASES = tomllib.loads((HERE / "broken_briefs.toml").read_text(encoding="utf-8"))["case"]
UNITS = (
    "um, mm, mm2, mm3, mg, g, kg, pct, ppm, h, s, min, rpm, Nm, kW, N, kN, MPa, GPa, kPa, bar, mbar, degC, K, "
    "mm2_s, g_h, L_min, m_s, deg, HV"
)
PAIRS = 30


def told(text):
    """The message for a text that is not in order."""
    with pytest.raises(BriefError) as caught:
        reading.parse(text)
    return str(caught.value)


def message(lines):
    """The whole message for these faults."""
    head = f"campaign.toml is not in order ({len(lines)} fault{'s' * (len(lines) > 1)}):"
    return "\n".join([head, *(f"  campaign.toml {line}" for line in lines)])


def lines_of(case):
    """The faults of a case as they are printed."""
    return [line.replace("UNITS", UNITS) for line in case["told"]]


def broken(case, text=EXAMPLE):
    """A text with the fault of a case put in."""
    assert text.count(case["old"]) == 1
    return text.replace(case["old"], case["new"])


def test_the_example_is_in_order():
    assert reading.parse(EXAMPLE).id == "chain-soot"


def test_there_are_enough_cases_and_no_name_twice():
    assert len({case["name"] for case in CASES}) == len(CASES) >= 150


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_one_fault_is_told_in_full(case):
    assert told(broken(case)) == message(lines_of(case))


def moved(case, other):
    """The fault of a case with its line as it is once another case is put in as well."""
    start = {one["name"]: EXAMPLE[: EXAMPLE.index(one["old"])].count("\n") + 1 for one in (case, other)}
    added = {one["name"]: one["new"].count("\n") - one["old"].count("\n") for one in (case, other)}
    line = int(re.match(r"line (\d+)", case["told"][0]).group(1))
    first = start[other["name"]]
    if start[case["name"]] < first:
        first += added[case["name"]]
    return re.sub(r"^line \d+", f"line {line + added[other['name']] * (line > first)}", lines_of(case)[0])


def pairs():
    """Pairs of cases that can both be put in, drawn from a fixed seed."""
    single = [case for case in CASES if not case.get("alone")]
    fits = []
    for at, one in enumerate(single):
        for other in single[at + 1 :]:
            both = EXAMPLE.replace(one["old"], one["new"]).count(other["old"]) == 1
            both = both and EXAMPLE.replace(other["old"], other["new"]).count(one["old"]) == 1
            if both and one["told"][0].split(":")[0] != other["told"][0].split(":")[0]:
                fits.append((one, other))
    return random.Random(20417).sample(fits, PAIRS)


@pytest.mark.parametrize("pair", pairs(), ids=lambda pair: f"{pair[0]['name']} + {pair[1]['name']}")
def test_two_faults_are_told_together(pair):
    one, other = pair
    both = told(broken(other, broken(one))).split("\n")
    assert both[0] == "campaign.toml is not in order (2 faults):"
    assert sorted(both[1:]) == sorted(f"  campaign.toml {line}" for line in (moved(one, other), moved(other, one)))


def test_faults_come_in_the_order_of_the_lines():
    text = EXAMPLE
    for case in [one for one in CASES if not one.get("alone")]:
        if text.count(case["old"]) == 1:
            text = text.replace(case["old"], case["new"])
    lines = told(text).split("\n")
    numbers = [int(found.group(1)) for line in lines if (found := re.match(r"  campaign.toml line (\d+):", line))]
    assert len(numbers) == 20
    assert numbers == sorted(numbers)
    # More than twenty are counted, not printed.
    assert re.fullmatch(r"  \.\.\. and \d+ more\.", lines[-1])
    assert lines[0] == f"campaign.toml is not in order ({20 + int(lines[-1].split()[2])} faults):"


def test_nothing_at_all():
    assert told("") == (
        "campaign.toml is not in order (3 faults):\n"
        "  campaign.toml: the section [campaign] is missing; expected a section [campaign] with id, question and "
        "seed.\n"
        "  campaign.toml: the section [[factor]] is missing; expected [[factor]] with name, undo and levels.\n"
        "  campaign.toml: the section [[response]] is missing; expected [[response]] with a name."
    )
