"""The advice on further runs at a terminal: the best dozen, later ones that settle more, and how many are left out."""

from __future__ import annotations

from types import SimpleNamespace

import pandas as pd

from toolkit.cli import words
from toolkit.decide.next_runs import NextRuns


def advice(settles: list[tuple[str, ...]]) -> str:
    """What is printed of so many batches, each settling what is given."""
    rows = [
        {"what": f"batch {at}", "where": "B1", "runs": 1, "hours": 63.0, "cost": 6070.0, "variance_taken": 0.04,
         "settles": done, "note": ""}
        for at, done in enumerate(settles)
    ]  # fmt: skip
    runs = NextRuns("wear_um", pd.DataFrame(rows), ("coating",), "wear_um: most for its price is batch 0",
                    currency="EUR")  # fmt: skip
    ways = SimpleNamespace(table=pd.DataFrame(), sentences=())
    return words.further(SimpleNamespace(runs=runs, ways=ways))


def test_a_dozen_batches_are_shown_and_those_behind_that_settle_more():
    told = advice([("coating",)] * 20 + [("coating", "oil")] + [("oil",)] * 4)
    shown = [line.split("  ")[1] for line in told.splitlines() if line.startswith("  batch ")]
    assert shown == [f"batch {at}" for at in (*range(12), 20)]
    assert "  ... and 12 more, none with more for its price: wearbook next --json" in told.splitlines()


def test_a_dozen_or_fewer_are_all_shown():
    told = advice([()] * 12)
    assert told.count("  batch ") == 12 and "more, none" not in told


def test_money_has_its_currency():
    assert "further runs  where  runs  hours  cost (EUR)  variance taken  would settle" in advice([()]).splitlines()[2]
    assert NextRuns("wear_um", pd.DataFrame(), (), "").cost_head == "cost"
