"""Oil samples become a run value: increase or end, with what is below a limit carried along."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from tests.unit.intake import material
from toolkit.brief.model import Response
from toolkit.intake import records

ASK = "judge whether its value can be compared with those of full runs"


def one(*samples: tuple[object, ...], per_run: str = "increase", hours: float = 100.0, **columns: list):
    """Run value, mark and findings of one valid run with these samples (hour, iron)."""
    brief = material.brief(
        factors=(material.Factor("pin", "part", (material.Level("P0"), material.Level("P1"))),),
        responses=(Response("fe_ppm", per_run=per_run),), held=(), scatter=material.KnownScatter(),
        protocol=material.Protocol(),
    )  # fmt: skip
    runs = pd.DataFrame(
        [{"run_id": "R01", "phase": "main", "build_id": "B1", "planned_order": 1, "actual_order": 1, "pin": "P0",
          "run_time_h": hours, "verdict": "valid", "reason": None, "role": None}]
    )  # fmt: skip
    oil = pd.DataFrame({
        "run_id": "R01", "sample_id": [f"S{at}" for at in range(len(samples))],
        "at_h": [hour for hour, _ in samples], "fe_ppm": [iron for _, iron in samples], **columns,
    })  # fmt: skip
    read = records.from_tables(brief, runs=runs, oil=oil)
    rows = read.findings.to_dict("records")
    assert all(row["severity"] == "note" and row["column"] == "fe_ppm" for row in rows)
    return (
        read.runs["fe_ppm"].iloc[0],
        bool(read.runs["fe_ppm_below_limit"].iloc[0]),
        [(row["rule"], row["found"], row["expected"], row["action"]) for row in rows],
    )


def ends(*samples: tuple[object, ...]):
    """The lower and upper end of what the run value of one run can be; None where it is a number."""
    brief = material.brief(
        factors=(material.Factor("pin", "part", (material.Level("P0"), material.Level("P1"))),),
        responses=(Response("fe_ppm"),), held=(), scatter=material.KnownScatter(), protocol=material.Protocol(),
    )  # fmt: skip
    runs = pd.DataFrame(
        [{"run_id": "R01", "phase": "main", "build_id": "B1", "planned_order": 1, "actual_order": 1, "pin": "P0",
          "run_time_h": 100.0, "verdict": "valid", "reason": None, "role": None}]
    )  # fmt: skip
    oil = pd.DataFrame({
        "run_id": "R01", "sample_id": [f"S{at}" for at in range(len(samples))],
        "at_h": [hour for hour, _ in samples], "fe_ppm": [iron for _, iron in samples],
    })  # fmt: skip
    read = records.from_tables(brief, runs=runs, oil=oil).runs
    return (read["fe_ppm_at_least"].iloc[0], read["fe_ppm"].iloc[0]) if "fe_ppm_at_least" in read else None


def test_increase_is_the_last_sample_less_the_zero_hour_sample():
    # Worked by hand: a fill of 4.30 kg that rises from 2.0 to 29.9 mg/kg gained 119.97 mg, not counting what was drawn,
    # topped up or burnt: 119.97 / 4.30 = 27.9 mg/kg.
    samples = [(60, 19.8), (0, 2.0), (100, 29.9), (20, 9.0), (80, 24.6), (40, 14.5)]
    value, below, told = one(*samples)
    assert value == pytest.approx(119.97 / 4.30, rel=1e-12)
    assert (below, told) == (False, [])
    assert one(*samples, per_run="end") == (29.9, False, [])


def test_a_negative_increase_stays_a_value():
    value, below, told = one((0, 5.0), (100, 4.0))
    assert (value, below, told) == (-1.0, False, [])


def test_without_a_zero_hour_sample_there_is_no_increase():
    value, below, told = one((20, 9.0), (100, 29.9))
    assert math.isnan(value) and not below
    assert told == [
        (
            "zero-hour sample",
            "no zero-hour sample with a figure",
            "one at at_h = 0",
            "the increase cannot be told: the run has no value of this response",
        )
    ]
    assert one((20, 9.0), (100, 29.9), per_run="end") == (29.9, False, [])


def test_a_lost_last_sample_falls_back_to_the_one_before_and_says_so():
    value, _, told = one((0, 2.0), (60, 19.5), (100, "lost"))
    assert value == 17.5
    assert told == [
        (
            "lost",
            "sample S2: lost",
            "a concentration",
            "ask the laboratory for it; it is never taken as nought",
        ),
        (
            "last sample",
            "the last sample with a figure is at 60 h",
            "one at the end of the run (100 h)",
            ASK,
        ),
    ]


@pytest.mark.parametrize(
    ("hour", "rules"), [(99.0, []), (98.9, ["last sample"]), (101.0, []), (101.5, ["last sample"])]
)
def test_the_last_sample_belongs_to_the_end_of_the_run(hour, rules):
    assert [rule for rule, *_ in one((0, 2.0), (hour, 30.0))[2]] == rules


def test_below_the_limit_at_the_end_is_marked():
    value, below, told = one((0, 0.25), (100, "<1"))
    assert (value, below) == (0.75, True)
    assert told == [
        (
            "below limit",
            "the last sample is below 1 mg/kg",
            "a figure",
            "the run value is the most it can be, marked in its own column",
        )
    ]
    marked = one((0, 0.25), (100, 1.0), fe_ppm_below_limit=[False, True])
    assert marked[:2] == (0.75, True)
    both = one((0, "<0.5"), (100, "<1"))
    assert both[:2] == (1.0, True)


def test_below_the_limit_at_the_start_is_no_number_and_gives_both_bounds():
    value, below, told = one((0, "<0.5"), (100, 30.0))
    assert (value, below) == (30.0, True)
    assert told == [
        (
            "below limit",
            "the zero-hour sample is below 0.5 mg/kg",
            "a figure",
            "the increase lies between 29.5 and 30 mg/kg: it counts as that interval, and no number is put in its "
            "place",
        )
    ]
    assert ends((0, "<0.5"), (100, 30.0)) == (29.5, 30.0)
    assert ends((0, 0.5), (100, 30.0)) is None


def test_two_samples_at_one_hour_are_averaged_and_told():
    value, _, told = one((0, 2.0), (100, 30.0), (100, 31.0))
    assert value == 28.5
    assert told == [("samples at one hour", "2 samples at 100 h", "one", "their mean is taken")]


def test_a_run_without_samples_waits():
    value, below, told = one((0, 2.0))
    assert math.isnan(value) and not below
    assert told == [
        (
            "no value",
            "no sample drawn after the start",
            "samples of the run",
            "enter the laboratory's figures; the run has no value of this response until then",
        )
    ]


def test_a_response_in_oil_needs_its_own_way_to_make_a_run_value():
    with pytest.raises(records.IntakeError) as caught:
        one((0, 2.0), (100, 3.0), per_run="max")
    assert str(caught.value).split("\n")[1:] == [
        "  brief, response fe_ppm: per_run = 'max'; expected 'increase', 'end' or 'balance' for a response read from "
        "oil samples."
    ]


def test_one_sample_below_the_limit_marks_the_mean_of_both():
    value, below, told = one((0, 0.5), (100, "<1"), (100, 1.5))
    assert (value, below) == (0.75, True)
    assert [rule for rule, *_ in told] == ["samples at one hour", "below limit"]
