"""Stations become run values, by hand calculation and against Python's own statistics module."""

from __future__ import annotations

import math
import statistics

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.unit.intake import material
from toolkit.brief.model import Response, Stations
from toolkit.intake import records, run_values

# Worked by hand. Station 1: before (10.0 + 10.2)/2 = 10.1, after (10.5 + 10.7)/2 = 10.6, wear 0.5. Station 2: before
# 10.0, after 10.2, wear 0.2. Station 3: before 10.4, after 10.3, wear -0.1: a negative difference stays a value.
BY_HAND = """\
R01,C1,1,1,before,10.0
R01,C1,1,2,before,10.2
R01,C1,1,1,after,10.5
R01,C1,1,2,after,10.7
R01,C1,2,1,before,9.9
R01,C1,2,2,before,10.1
R01,C1,2,1,after,10.1
R01,C1,2,2,after,10.3
R01,C1,3,1,before,10.3
R01,C1,3,2,before,10.5
R01,C1,3,1,after,10.2
R01,C1,3,2,after,10.4
"""
HEADER = "run_id,part_id,station_id,reading,state,depth_um\n"


def brief_of(per_run: str = "mean", *, scale: str = "linear", stations: Stations | None = None):
    """One response measured at three stations."""
    asked = stations or Stations("lobe", 3, 2, ("before", "after"))
    return material.brief(
        factors=(material.Factor("pin", "part", (material.Level("P0"), material.Level("P1"))),),
        responses=(Response("depth_um", scale=scale, per_run=per_run, stations=asked),),
        held=(), protocol=material.Protocol(), scatter=material.KnownScatter(),
    )  # fmt: skip


def run_table(**changes: object) -> pd.DataFrame:
    """One valid run."""
    line = {"run_id": "R01", "phase": "main", "build_id": "B1", "planned_order": 1, "actual_order": 1, "pin": "P0",
            "run_time_h": 100, "verdict": "valid", "reason": "", "role": ""}  # fmt: skip
    return pd.DataFrame([{**line, **changes}])


def station_table(lines: str, header: str = HEADER) -> pd.DataFrame:
    """A table of stations from its lines."""
    cells = [line.split(",") for line in (header + lines).strip().split("\n")]
    return pd.DataFrame(cells[1:], columns=cells[0])


def made(lines: str = BY_HAND, per_run: str = "mean", *, scale: str = "linear", run: pd.DataFrame | None = None):
    """The records of one run measured like this."""
    return records.from_tables(
        brief_of(per_run, scale=scale), runs=run_table() if run is None else run, stations=station_table(lines)
    )


def told(read: records.Records) -> list[tuple[object, ...]]:
    """The findings without what they all share here: run R01, column depth_um, station 3 a hair below nought."""
    assert set(read.findings["run_id"]) <= {"R01"}
    return [
        (row["severity"], row["rule"], row["found"], row["expected"], row["action"])
        for row in read.findings.to_dict("records")
        if row["rule"] != "wear below nought"
    ]


def test_a_station_a_hair_below_nought_is_judged_against_the_gauge_and_kept():
    row = made().findings.set_index("rule").loc["wear below nought"]
    assert row[["severity", "run_id", "found", "expected", "action"]].tolist() == [
        "note",
        "R01",
        "wear below 0 at station 3: down to -0.1 µm, 0.7 times its uncertainty",
        "no less than 2 times its uncertainty below 0",
        "none: the gauge alone does this now and then; kept as it is",
    ]


def test_wear_of_a_station_is_after_less_before_and_signed():
    wear = made().stations
    assert list(wear.columns) == ["run_id", "part_id", "station_id", "depth_um"]
    assert list(wear["station_id"]) == ["1", "2", "3"]
    assert wear["depth_um"].to_numpy() == pytest.approx([0.5, 0.2, -0.1], abs=1e-12)


@pytest.mark.parametrize(("per_run", "value"), [("mean", 0.2), ("max", 0.5), ("total", 0.6)])
def test_run_value_by_hand(per_run, value):
    read = made(per_run=per_run)
    assert read.runs["depth_um"].iloc[0] == pytest.approx(value, abs=1e-12)
    assert told(read) == []


def test_mean_of_log_by_hand():
    lines = BY_HAND.replace("R01,C1,3,1,after,10.2", "R01,C1,3,1,after,10.4").replace(
        "R01,C1,3,2,after,10.4", "R01,C1,3,2,after,10.6"
    )
    # Wear 0.5, 0.2, 0.1: the cube root of 0.01 is 0.21544347.
    assert made(lines, "mean_of_log").runs["depth_um"].iloc[0] == pytest.approx(0.21544347, abs=5e-9)


@given(st.lists(st.floats(0.01, 1000.0), min_size=1, max_size=20))
def test_forms_agree_with_the_statistics_module(wear):
    # Source: Python's statistics.fmean and statistics.geometric_mean.
    assert run_values.combine(wear, "mean") == pytest.approx(statistics.fmean(wear), rel=1e-12)
    assert run_values.combine(wear, "mean_of_log") == pytest.approx(statistics.geometric_mean(wear), rel=1e-12)
    assert run_values.combine(wear, "max") == sorted(wear)[-1]
    assert run_values.combine(wear, "total") == pytest.approx(len(wear) * statistics.fmean(wear), rel=1e-12)


def test_mean_of_log_of_a_station_at_or_below_nought_stops_and_names_it():
    read = made(per_run="mean_of_log")
    assert math.isnan(read.runs["depth_um"].iloc[0])
    assert told(read) == [
        (
            "stop",
            "mean of log",
            "station 3 at or below 0 (-0.1)",
            "wear above 0",
            'choose per_run = "mean", correct the reading or judge the run again; the run has no value',
        )
    ]
    void = made(per_run="mean_of_log", run=run_table(verdict="invalid", reason="leak", role="engineer"))
    assert list(void.findings["severity"]) == ["note"]


def test_on_the_log_scale_a_negative_station_is_told_and_kept():
    read = made(scale="log")
    assert read.runs["depth_um"].iloc[0] == pytest.approx(0.2, abs=1e-12)
    assert told(read) == [
        (
            "note",
            "no wear",
            "station 3 at or below 0 (-0.1)",
            "wear above 0",
            "kept as it is; look for a swapped part, station or state",
        )
    ]


def test_a_pair_that_misses_one_side_leaves_the_station_out():
    lines = BY_HAND.replace("R01,C1,2,1,after,10.1\nR01,C1,2,2,after,10.3\n", "")
    read = made(lines)
    assert read.runs["depth_um"].iloc[0] == pytest.approx((0.5 - 0.1) / 2, abs=1e-12)
    assert np.isnan(read.stations["depth_um"].iloc[1])
    assert told(read) == [
        (
            "note",
            "pair",
            "no reading after: station 2",
            "before and after",
            "the station has no wear and is left out of the run value",
        ),
        ("note", "stations", "2 with a value", "3 stations (lobe)", "the mean is made from 2"),
    ]


@pytest.mark.parametrize(("per_run", "value", "word"), [("max", 0.5, "maximum"), ("total", 0.4, "total")])
def test_maximum_and_total_of_fewer_stations_cannot_be_compared(per_run, value, word):
    lines = "\n".join(line for line in BY_HAND.split("\n") if ",C1,2," not in line)
    read = made(lines, per_run)
    assert read.runs["depth_um"].iloc[0] == pytest.approx(value, abs=1e-12)
    action = f"a {word} of 2 cannot be compared with one of 3; judge the run again"
    assert told(read) == [("exclude", "stations", "2 with a value", "3 stations (lobe)", action)]


def test_too_many_stations_are_told_too():
    extra = BY_HAND + "R01,C1,4,1,before,1\nR01,C1,4,2,before,1\nR01,C1,4,1,after,2\nR01,C1,4,2,after,2\n"
    read = made(extra)
    assert read.runs["depth_um"].iloc[0] == pytest.approx((0.5 + 0.2 - 0.1 + 1.0) / 4, abs=1e-12)
    assert ("note", "stations", "4 with a value", "3 stations (lobe)", "the mean is made from 4") in told(read)


def test_lost_readings_are_missing_and_never_nought():
    lines = BY_HAND.replace("R01,C1,1,2,after,10.7", "R01,C1,1,2,after,lost").replace(
        "R01,C1,2,1,before,9.9", "R01,C1,2,1,before,"
    )
    read = made(lines)
    # Station 1: 10.5 - 10.1 = 0.4; station 2: 10.2 - 10.1 = 0.1; station 3: -0.1.
    assert read.stations["depth_um"].to_numpy() == pytest.approx([0.4, 0.1, -0.1], abs=1e-12)
    assert read.runs["depth_um"].iloc[0] == pytest.approx(0.4 / 3, abs=1e-12)
    assert told(read) == [
        (
            "note",
            "lost",
            "1 lost: station 1 reading 2 after",
            "a reading",
            "read it again if the part is still there; it is never taken as nought",
        ),
        (
            "note",
            "lost",
            "1 blank: station 2 reading 1 before",
            "a reading",
            "read it again if the part is still there; it is never taken as nought",
        ),
        (
            "note",
            "readings",
            "another number of readings: stations 1, 2",
            "2 of each station in each state",
            "the mean of those there is taken",
        ),
    ]


def test_a_valid_run_without_readings_has_no_value_and_says_so():
    read = made("R02,C1,1,1,before,10\n", run=pd.concat([run_table(), run_table(run_id="R02", actual_order=2)]))
    assert read.runs["depth_um"].isna().tolist() == [True, True]
    assert [(row["run_id"], row["rule"], row["found"]) for row in read.findings.to_dict("records")] == [
        ("R01", "no value", "no station with a value"),
        ("R02", "no value", "no station with a value"),
    ]
    assert list(read.runs["verdict"]) == ["valid", "valid"]


def test_without_the_table_of_stations_valid_runs_wait_for_it():
    read = records.from_tables(brief_of(), runs=run_table())
    assert read.stations is None and read.readings is None
    assert told(read) == [
        (
            "note",
            "no value",
            "no table of stations yet",
            "3 stations (lobe)",
            "enter the readings; the run has no value of this response until then",
        )
    ]


def test_wear_read_as_such_needs_no_states():
    header = "run_id,part_id,station_id,reading,depth_um\n"
    lines = "R01,A,1,1,2.0\nR01,A,1,2,3.0\nR01,B,1,1,4.0\nR01,B,1,2,4.0\nR01,B,2,1,6.0\nR01,B,2,2,7.5\n"
    read = records.from_tables(
        brief_of(stations=Stations("lobe", 3, 2)), runs=run_table(), stations=station_table(lines, header)
    )
    # Means 2.5, 4.0, 6.75; station 1 of part A is not station 1 of part B.
    assert list(read.stations["depth_um"]) == [2.5, 4.0, 6.75]
    assert read.runs["depth_um"].iloc[0] == pytest.approx(13.25 / 3, abs=1e-12)


def test_several_responses_share_the_table_each_in_its_own_states():
    both = material.brief(
        factors=brief_of().factors,
        responses=(
            Response("depth_um", stations=Stations("lobe", 1, 1, ("before", "after"))),
            Response("hardness_HV", role="secondary", scale="linear", stations=Stations("ring", 2)),
        ),
        held=(), protocol=material.Protocol(), scatter=material.KnownScatter(),
    )  # fmt: skip
    header = "run_id,part_id,station_id,reading,state,depth_um,hardness_HV\n"
    lines = "R01,A,1,1,before,2.0,\nR01,A,1,1,after,3.5,700\nR01,R,7,1,,,760\n"
    read = records.from_tables(both, runs=run_table(), stations=station_table(lines, header))
    assert list(read.runs[["depth_um", "hardness_HV"]].iloc[0]) == [1.5, 730.0]
    assert told(read) == []
    with pytest.raises(records.IntakeError) as caught:
        records.from_tables(
            both, runs=run_table(), stations=station_table("R01,A,1,1,before,2.0,700\nR01,A,1,1,,3.5,\n", header)
        )
    assert str(caught.value).split("\n")[1:] == [
        "  stations row 1, column hardness_HV: a figure in a row of state before; expected figures of hardness_HV, "
        "which is wear as read, in rows of state after or without a state.",
        "  stations row 2, column depth_um: a figure in a row without a state; expected figures of depth_um in "
        "rows of state before or after.",
    ]


@pytest.mark.parametrize(("per_run", "rule"), [("mean", "no wear"), ("mean_of_log", "mean of log")])
def test_a_station_at_nought_is_named(per_run, rule):
    # Station 3: before 10.4, after 10.4.
    lines = BY_HAND.replace("R01,C1,3,1,after,10.2", "R01,C1,3,1,after,10.3").replace(
        "R01,C1,3,2,after,10.4", "R01,C1,3,2,after,10.5"
    )
    told_of = told(made(lines, per_run, scale="log"))
    assert [(line[1], line[2]) for line in told_of] == [(rule, "station 3 at or below 0 (0)")]
