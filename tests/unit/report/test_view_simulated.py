"""What a notebook shows of simulated campaigns and of habits: the figures of the results, or why there are none."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from toolkit.campaign import folder, simulating, sizing
from toolkit.report import view_simulated

DATA = Path(__file__).resolve().parents[3] / "data"


@pytest.fixture(scope="module")
def chain(tmp_path_factory):
    made = tmp_path_factory.mktemp("shown") / "chain"
    shutil.copytree(DATA / "chain-soot", made)
    return folder.open_campaign(made)


def test_a_checked_plan_is_a_table_and_sentences(chain):
    text = repr(view_simulated.checked(chain, 100))
    made = simulating.simulated(chain, campaigns=100)
    lines = text.splitlines()
    assert lines[0] == "full factorial, 3 builds of 4 runs (chosen), 100 campaigns under each condition"
    for part in made.parts:
        assert part.conditions.name in text
    first = made.parts[0].table.to_dict("records")[0]
    assert f"as planned | coating | 86.5 | {first['simulated (%)']} | {first['false alarms (%)']} |" in text
    for sentence in made.parts[0].sentences:
        assert sentence in text
    assert lines[-1].strip() == "Written to derived/simulated.json."


def test_why_nothing_is_simulated(chain):
    assert repr(view_simulated.checked(chain, 0)) == "Not asked for: `simulate` is 0."
    assert repr(view_simulated.checked(chain, 7)) == (
        "Not simulated: 7 campaigns were asked for; expected 100 to 10,000,000."
    )


def test_habits_are_a_table_with_notes(chain):
    found = sizing.sizing_of(chain, chain.records())
    lines = repr(view_simulated.habits(found)).splitlines()
    assert lines[0] == "At the scatter of elongation, beside full factorial, 3 builds of 4 runs"
    rows = [line.strip() for line in lines]
    for habit in found.habits.habits:
        start = f"{habit.habit} | {habit.comparison or 'every one'} | {habit.runs} | "
        assert any(row.startswith(start) for row in rows)
    assert "Changing one factor at a time tells nothing of both together and coating needs the new oil" in rows[-1]
    # Habits without an error rate in mind have no column of it, where it would be empty.
    bare = replace(found.habits, habits=tuple(item for item in found.habits.habits if item.meant is None))
    assert 0 < len(bare.habits) < len(found.habits.habits)
    assert "meant (%)" in repr(view_simulated.habits(found))
    assert "meant (%)" not in repr(view_simulated.habits(replace(found, habits=bare)))
    assert repr(view_simulated.habits(replace(found, habits=None))) == (
        "What other ways of testing would claim cannot be told at the scatter that is known."
    )
