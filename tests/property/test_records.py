"""What must hold of any records and plans: readings twice over, the order of lines, the same brief again."""

from __future__ import annotations

import dataclasses

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.unit import briefs
from toolkit.brief.model import Response, Stations
from toolkit.design import factorial
from toolkit.intake import run_values

FEW = settings(max_examples=12, deadline=None, derandomize=True)
Y = "elongation_um"
READ = st.lists(st.floats(1.0, 500.0), min_size=8, max_size=8)
FORMS = st.sampled_from(["mean", "mean_of_log", "max", "total"])


def value_of(readings, per_run, *, times=1, turned=False):
    """The run value of four stations read twice each before and after, every line so many times over."""
    stations = Stations("segment", 4, 2, ("before", "after"))
    brief = briefs.blocked(responses=(Response(Y, per_run=per_run, stations=stations, worthwhile_change_pct=20.0),))
    lines = [
        {"run_id": "R01", "part_id": "A", "station_id": f"S{at // 2}", "reading": at % 2, "state": state, Y: value}
        for at, reading in enumerate(readings)
        for state, value in (("before", 1000.0), ("after", 1000.0 + reading))
        for _ in range(times)
    ]
    table = pd.DataFrame(lines[::-1] if turned else lines)
    runs = pd.DataFrame([{"run_id": "R01", "verdict": "valid"}])
    found, told = run_values.add(brief, runs, table, None)
    # More readings than the brief asks for are noted, and nothing else is said.
    assert {item["severity"] for item in told} <= {"note"}
    return found[Y].iloc[0]


@FEW
@given(READ, FORMS)
def test_readings_twice_over_are_the_same_run(readings, per_run):
    assert value_of(readings, per_run, times=2) == pytest.approx(value_of(readings, per_run), rel=1e-12)


@FEW
@given(READ, FORMS)
def test_lines_in_another_order_are_the_same_run(readings, per_run):
    assert value_of(readings, per_run, turned=True) == pytest.approx(value_of(readings, per_run), rel=1e-12)


@FEW
@given(st.integers(0, 2**31), st.integers(2, 6))
def test_the_same_brief_gives_the_same_design_and_every_combination_in_each_build(seed, builds):
    brief = briefs.blocked(seed=seed)
    brief = dataclasses.replace(brief, plan=dataclasses.replace(brief.plan, builds=builds))
    one, other = factorial.full(brief).table, factorial.full(brief).table
    pd.testing.assert_frame_equal(one, other)
    counts = one.groupby(["build_id", "pin", "oil"]).size()
    assert (len(counts), set(counts)) == (4 * builds, {1})
