"""Broken run sheets and tables as they come back, singly and in pairs: every fault by its cell, and nothing else."""

from __future__ import annotations

import functools
import random
from collections.abc import Sequence

import pytest

from tests.unit.intake import broken_returns, came_back
from tests.unit.intake.broken_returns import Broken
from toolkit.errors import IntakeError
from toolkit.intake import gathered
from toolkit.intake.received import ReceivedFile

PAIRS = 40


def told(files: Sequence[ReceivedFile]) -> list[str]:
    """What is told when these files come back in place of those of the same name, or beside them."""
    given = {item.name: item for item in files}
    kept = [given.pop(item.name, item) for item in came_back.everything()]
    with pytest.raises(IntakeError) as caught:
        came_back.read([*kept, *given.values()])
    return str(caught.value).split("\n")


@functools.cache
def pairs() -> list[tuple[Broken, Broken]]:
    """Pairs drawn at random from a fixed seed, each of two files; worked out where the tests run, as it makes files."""
    draw, made = random.Random(20417), []
    while len(made) < PAIRS:
        one, other = draw.sample(broken_returns.EVERY, 2)
        if one.make("R02").name != other.make("R03").name:
            made.append((one, other))
    return made


def test_what_comes_back_in_order_is_read():
    assert len(came_back.read(came_back.everything()).runs) == 4


def test_there_are_enough_cases_each_with_its_message():
    names = [case.name for case in broken_returns.EVERY]
    assert len(set(names)) == len(names) >= 60
    assert set(names) == set(broken_returns.TOLD)


@pytest.mark.parametrize("case", broken_returns.EVERY, ids=lambda case: case.name)
def test_one_fault_is_told_in_full_by_its_cell(case):
    assert told([case.make("R01")]) == [gathered.HEADLINE, *(f"  {line}" for line in case.told("R01"))]


@pytest.mark.parametrize("at", range(PAIRS))
def test_both_faults_of_a_pair_are_told_and_nothing_else(at):
    one, other = pairs()[at]
    lines = told([one.make("R02"), other.make("R03")])
    assert lines[0] == gathered.HEADLINE
    told_of_both = sorted(f"  {line}" for line in (*one.told("R02"), *other.told("R03")))
    assert sorted(lines[1:]) == told_of_both, f"{one.name} and {other.name}"
