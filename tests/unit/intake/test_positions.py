"""Readings find their position, and what was fitted elsewhere than planned counts where it ran."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from tests.unit import rings
from toolkit.brief.model import Brief
from toolkit.design import chosen, orders
from toolkit.intake import judged_rows, positions, records
from toolkit.intake.received import Registers
from toolkit.intake.records import Records
from toolkit.running.register import register


def campaign(seed: int = 1) -> tuple[Brief, pd.DataFrame, dict[str, pd.DataFrame]]:
    """The brief, the plan, and raw tables without scatter."""
    asked = rings.brief()
    plan = orders.randomise(chosen.main(asked), seed=seed).table
    return asked, plan, rings.tables(asked, plan, seed=seed, exact=True)


def of(asked: Brief, plan: pd.DataFrame, raw: dict[str, pd.DataFrame], registers: Registers | None = None) -> Records:
    """The records of raw tables."""
    return records.from_tables(asked, plan=plan, registers=registers, **raw)


def expected(plan: pd.DataFrame, run: int, name: str) -> float:
    """Ring loss without scatter."""
    row = plan.iloc[run]
    return 35.0 * math.exp(rings.OIL[row["oil"]] + rings.RING[row[f"ring@{name}"]] + rings.PLACE[name])


def test_values_of_positions_are_those_of_their_stations() -> None:
    """To the printed digits; the run value is still the mean over the run."""
    asked, plan, raw = campaign()
    found = of(asked, plan, raw)
    assert found.findings.empty
    made = found.positions.set_index(["run_id", "position"])["ring_loss_mg"]
    for at, run in enumerate(plan["run_id"]):
        for name in asked.positions.names:
            assert made[run, name] == pytest.approx(expected(plan, at, name), abs=1e-4)
        assert found.runs["ring_loss_mg"].iloc[at] == pytest.approx(made[run].mean(), rel=1e-12)
    assert found.to_json()["positions"][0]["position"] == "cyl 1"


def test_rows_to_judge_have_the_levels_as_run() -> None:
    """A wrong part noted in the table of runs: the row has the level that ran, and the difference is a finding."""
    asked, plan, raw = campaign()
    other = next(level for level in rings.RING if level != plan["ring@cyl 3"].iloc[2])
    raw["runs"].loc[2, "ring@cyl 3"] = other
    found = of(asked, plan, raw)
    told = found.findings.iloc[0]
    assert (told["rule"], told["run_id"], told["column"], told["found"]) == (
        "differs from plan", plan["run_id"].iloc[2], "ring@cyl 3", other,
    )  # fmt: skip
    rows = judged_rows.judged_by(found, "ring_loss_mg").runs
    assert len(rows) == 32
    line = rows[rows["run_id"] == f"{plan['run_id'].iloc[2]}/cyl 3"].iloc[0]
    assert line["ring"] == other
    assert line["ring_loss_mg"] == pytest.approx(expected(plan, 2, "cyl 3"), abs=1e-4)


def test_what_is_measured_once_a_run_keeps_a_row_a_run() -> None:
    """Iron: eight rows, and a brief without the coating."""
    asked, plan, raw = campaign()
    mine = judged_rows.judged_by(of(asked, plan, raw), "fe_ppm")
    assert len(mine.runs) == 8
    assert mine.brief.factor_names == ("oil", "liner")


def test_a_missing_reading_leaves_its_position_without_a_value() -> None:
    """Of a mean the other stations of the position stand; a position without any has none, the others keep theirs."""
    asked, plan, raw = campaign()
    first = plan["run_id"].iloc[0]
    stations = raw["stations"]
    gone = (stations["run_id"] == first) & stations["station_id"].isin(["RIN02", "LIN01"])
    raw["stations"] = stations[~gone]
    found = of(asked, plan, raw).positions.set_index(["run_id", "position"])
    assert math.isnan(found.loc[(first, "cyl 2"), "ring_loss_mg"])
    assert found.loc[(first, "cyl 1"), "ring_loss_mg"] == pytest.approx(expected(plan, 0, "cyl 1"), abs=1e-4)
    assert not math.isnan(found.loc[(first, "cyl 1"), "liner_wear_um"])


def test_a_station_in_no_position_is_told_and_counts_in_none() -> None:
    """A name that the register does not have."""
    asked, plan, raw = campaign()
    first = plan["run_id"].iloc[0]
    here = (raw["stations"]["run_id"] == first) & (raw["stations"]["station_id"] == "RIN02")
    raw["stations"].loc[here, "station_id"] = "ring two"
    found = of(asked, plan, raw)
    told = found.findings[found.findings["rule"] == "station in no position"].iloc[0]
    assert (told["severity"], told["run_id"], told["found"], told["expected"], told["action"]) == (
        "exclude",
        first,
        "ring two",
        "the ids of the register, RIN01 to LIN12",
        "name the stations as the register does: in no value of a position until then",
    )
    assert math.isnan(found.positions.set_index(["run_id", "position"]).loc[(first, "cyl 2"), "ring_loss_mg"])


def test_registers_hold_a_part_a_position_with_blind_codes() -> None:
    """Four parts a run and a spare of each coating; the stations of the part's own position."""
    asked, plan, _ = campaign()
    parts = register(asked, plan, seed=asked.seed).parts
    assert len(parts) == 8 * 4 + 4 and parts["part_id"].is_unique
    for row in parts[parts["spare"] == "no"].to_dict("records"):
        run = plan[plan["run_id"] == row["run_id"]].iloc[0]
        at = asked.positions.names.index(row["position"])
        assert row["ring"] == run[f"ring@{row['position']}"]
        assert row["stations"] == f"RIN{at + 1:02d}; LIN{3 * at + 1:02d} to LIN{3 * at + 3:02d}"
    assert sorted(parts.loc[parts["spare"] == "yes", "ring"]) == ["R0", "R1", "R2", "R3"]


def test_parts_that_changed_places_count_where_they_ran() -> None:
    """Two parts of a run fitted to each other's position: their readings go along, and both are told."""
    asked, plan, raw = campaign()
    first = str(plan["run_id"].iloc[0])
    parts = register(asked, plan, seed=asked.seed).parts.assign(phase="main")
    mine = parts[parts["run_id"] == first].set_index("position")["part_id"]
    readings = pd.DataFrame(
        [
            {"run_id": first, "part_id": mine[name], "station_id": f"RIN{at + 1:02d}", "ring_loss_mg": float(at)}
            for at, name in enumerate(asked.positions.names)
        ]
    )
    there = {
        f"{first}\x1fcyl 1": mine["cyl 2"],
        f"{first}\x1fcyl 2": mine["cyl 1"],
        f"{first}\x1fcyl 3": mine["cyl 3"],
    }
    made, told = positions.moved(asked, readings, there)
    assert made["station_id"].tolist() == ["RIN02", "RIN01", "RIN03", "RIN04"]
    assert [(row["part_id"], row["found"], row["action"]) for row in told] == [
        (
            mine["cyl 1"],
            "stations of cyl 1, and the part ran in cyl 2",
            "none if the run sheet is right: its readings count for cyl 2",
        ),
        (
            mine["cyl 2"],
            "stations of cyl 2, and the part ran in cyl 1",
            "none if the run sheet is right: its readings count for cyl 1",
        ),
    ]
