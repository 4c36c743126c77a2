"""The uncertainty of run values by hand and by simulation, wear below nought, and slips in tables; INVENTED."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from tests.unit.intake import material
from toolkit.brief.metrology import Master
from toolkit.brief.model import KnownScatter, Protocol, Response, Stations
from toolkit.intake import metrology, records, slips

LENGTH = Response("length_um", scale="linear", stations=Stations("link", 2, 2, ("before", "after")))
BRIEF = material.brief(responses=(LENGTH,), held=(), protocol=Protocol(), scatter=KnownScatter())
MASTER = Master("bar", "length_um", 0.0, correct="session")


def runs(count=2):
    rows = [
        (f"R{at + 1:02d}", "main", "B1", at + 1, at + 1, "P0", 100, 100, "valid", "", "engineer") for at in range(count)
    ]
    names = ["run_id", "phase", "build_id", "planned_order", "actual_order", "pin", "load_Nm", "run_time_h", "verdict"]
    return pd.DataFrame(rows, columns=[*names, "reason", "role"])


def stations(values, sessions=None):
    """Rows of (run, station, state, reading values)."""
    rows = [
        {"run_id": run, "part_id": f"A{run}", "station_id": station, "reading": at + 1, "state": state,
         "length_um": value, **({"session_id": sessions[run, state]} if sessions else {})}
        for run, station, state, readings in values for at, value in enumerate(readings)
    ]  # fmt: skip
    return pd.DataFrame(rows)


VALUES = [
    ("R01", "1", "before", [10.0, 10.2]), ("R01", "1", "after", [13.0, 13.2]),
    ("R01", "2", "before", [20.0, 20.2]), ("R01", "2", "after", [24.0, 24.2]),
    ("R02", "1", "before", [10.0, 10.2]), ("R02", "1", "after", [9.7, 9.9]),
    ("R02", "2", "before", [20.0, 20.2]), ("R02", "2", "after", [19.0, 19.2]),
]  # fmt: skip


@pytest.mark.parametrize(
    ("per_run", "expected"),
    [
        # Pairs 0.2 apart: s = 0.2 / sqrt 2. A station after less before, two readings each: s. Mean of two: s / sqrt 2.
        ("mean", 0.2 / math.sqrt(2.0) / math.sqrt(2.0)),
        ("total", 0.2),
        ("max", 0.2 / math.sqrt(2.0)),
    ],
)
def test_readings_propagate_by_how_a_run_value_is_made(per_run, expected):
    brief = replace(BRIEF, responses=(replace(LENGTH, per_run=per_run),))
    found = records.from_tables(brief, runs=runs(), stations=stations(VALUES)).metrology.uncertainty
    row = found.iloc[0]
    assert (row["run_id"], row["source"], row["of_alignment"]) == ("R01", "from repeated readings", 0.0)
    assert row["of_readings"] == row["combined_sd"] == pytest.approx(expected, rel=1e-12)
    assert row["times"] == pytest.approx(row["value"] / expected, rel=1e-12)
    stated = replace(brief, responses=(replace(LENGTH, per_run=per_run, gauge_sd=0.5),))
    told = records.from_tables(stated, runs=runs(), stations=stations(VALUES)).metrology.uncertainty.iloc[0]
    assert (told["combined_sd"], told["source"]) == (0.5, "as stated")


def test_wear_below_nought_is_kept_and_judged_by_the_gauge():
    found = records.from_tables(BRIEF, runs=runs(), stations=stations(VALUES))
    assert found.runs["length_um"].tolist() == pytest.approx([3.5, -0.65])
    # Station 2 grew by 1.0 with an uncertainty of 0.1414: 7.1 times.
    assert [tuple(row.values()) for row in found.findings.to_dict("records")] == [
        ("note", "R02", None, "length_um", "wear below nought",
         "wear below 0 at stations 1, 2: down to -1 µm, 7.1 times its uncertainty",
         "no less than 2 times its uncertainty below 0",
         "look for a swapped state or part, or for deposits; kept as it is"),
    ]  # fmt: skip
    little = [row for row in VALUES if row[0] == "R01"] + [
        ("R02", "1", "before", [10.0, 10.2]), ("R02", "1", "after", [9.9, 10.1]),
        ("R02", "2", "before", [20.0, 20.2]), ("R02", "2", "after", [21.0, 21.2]),
    ]  # fmt: skip
    told = records.from_tables(BRIEF, runs=runs(), stations=stations(little)).findings
    assert told["action"].tolist() == ["none: the gauge alone does this now and then; kept as it is"]


def masters(readings):
    rows = [("bar", session, day, at + 1, value) for session, (day, values) in readings.items()
            for at, value in enumerate(values)]  # fmt: skip
    return pd.DataFrame(rows, columns=["master_id", "session_id", "measured_at", "reading", "value"])


def handed(brief, table):
    told = metrology.Gathered()
    raw = metrology.masters.readings(records.of_frame("masters", table, told), brief, told)
    told.raise_all()
    return metrology.Handed(masters=raw)


def test_a_correction_is_taken_off_and_its_variance_carried_to_every_run():
    brief = replace(BRIEF, masters=(MASTER,))
    sessions = {("R01", "before"): "S1", ("R02", "before"): "S1", ("R01", "after"): "S2", ("R02", "after"): "S3"}
    table = masters(
        {"S1": ("2026-01-05", [0.0, 0.2]), "S2": ("2026-01-12", [0.5, 0.7]), "S3": ("2026-01-19", [1.0, 1.2])}
    )
    found = records.from_tables(brief, runs=runs(), stations=stations(VALUES, sessions), handed=handed(brief, table))
    # Read off 0.1, 0.6, 1.1: a run in S1 and S2 loses 0.5, one in S1 and S3 loses 1.0.
    assert found.runs["length_um"].tolist() == pytest.approx([3.0, -1.65])
    assert found.metrology.uncertainty["as_read"].tolist() == pytest.approx([3.5, -0.65])
    assert found.readings["length_um"].tolist() == stations(VALUES)["length_um"].tolist()
    # Each session: variance 0.02 / 2. A run has two of them; runs share S1.
    shares = found.metrology.covariances["length_um"]
    assert shares.to_numpy() == pytest.approx(np.array([[0.02, 0.01], [0.01, 0.02]]), rel=1e-6)
    row = found.metrology.uncertainty.iloc[0]
    assert row["of_correction"] == pytest.approx(math.sqrt(0.02), rel=1e-6)
    assert row["combined_sd"] == pytest.approx(math.hypot(0.1, math.sqrt(0.02)), rel=1e-6)
    plain = replace(brief, masters=(replace(MASTER, correct="none"),))
    kept = records.from_tables(plain, runs=runs(), stations=stations(VALUES, sessions), handed=handed(plain, table))
    assert kept.runs["length_um"].tolist() == pytest.approx([3.5, -0.65]) and kept.metrology.covariances == {}


def chains(draw, parts=6, links=8):
    """Parts whose links differ far more between each other than they wear."""
    rows = []
    for part in range(parts):
        new = 100.0 + draw.normal(0.0, 5.0, links)
        for state, wear in (("before", 0.0), ("after", draw.normal(3.0, 0.4, links))):
            rows += [{"run_id": f"R{part + 1:02d}", "part_id": f"A{part}", "station_id": f"{at + 1:02d}", "reading": 1,
                      "state": state, "length_um": value} for at, value in enumerate(new + wear)]  # fmt: skip
    return pd.DataFrame(rows)


def test_swapped_ends_other_parts_and_other_units_are_found_in_tables():
    table = chains(np.random.default_rng(3))
    assert slips.findings(BRIEF, table) == []
    mine = (table["run_id"] == "R02") & (table["state"] == "after")
    turned = table.copy()
    turned.loc[mine, "length_um"] = table.loc[mine, "length_um"].to_numpy()[::-1]
    (found,) = slips.findings(BRIEF, turned)
    assert (found["rule"], found["run_id"], found["severity"]) == ("ends swapped", "R02", "exclude")
    assert found["action"] == "look at which end is station 1, and correct the rows; they are kept as they are"
    other = table.copy()
    other.loc[mine, "length_um"] = table.loc[
        (table["run_id"] == "R05") & (table["state"] == "after"), "length_um"
    ].to_numpy()
    (found,) = slips.findings(BRIEF, other)
    assert found["rule"] == "wrong part" and found["found"].endswith("they fit those before of part A4 (R05)")
    inches = table.copy()
    inches.loc[table["run_id"] == "R03", "length_um"] /= 25.4
    told = slips.findings(BRIEF, inches)
    assert [(row["rule"], row["run_id"]) for row in told] == [("unit of a reading", "R03")] * 2
    assert told[0]["action"] == "look for mm for inch, and correct the reading; it is kept as it is"
