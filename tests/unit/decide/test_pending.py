"""The runs that answers wait for: without a record, without a verdict, without a figure that is still to come."""

import dataclasses

import pandas as pd
import pytest

from tests.unit.decide.made import BRIEF, as_made, noted
from tests.unit.intake import material
from toolkit.brief.model import OldData
from toolkit.decide import analysis, pending
from toolkit.intake import records
from toolkit.report import html


def told(planned, taken, brief=BRIEF):
    """Run to what it waits for and the responses that wait."""
    found = pending.pending(brief, taken, planned)
    return {row["run_id"]: (row["waits_for"], row["responses"]) for row in found.to_dict("records")}


BOTH = ("wear_um", "torque_Nm")


def test_nothing_is_pending_when_every_run_has_a_verdict_and_its_figures():
    planned, taken = as_made(lost=["R08"])
    found = pending.pending(BRIEF, taken, planned)
    assert found.empty
    assert list(found.columns)[:4] == ["run_id", "phase", "build_id", "planned_order"]
    assert pending.progress(BRIEF, taken, found) == ""


def test_each_run_says_what_it_waits_for():
    planned, taken = as_made(
        pending=["R10", "R12"], R11_verdict="pending", R07_torque_Nm=None, R09_verdict="pending", R09_wear_um=None
    )
    assert told(planned, taken) == {
        "R07": ("torque to be entered", ("torque_Nm",)),
        "R09": ("wear to be entered; a verdict", BOTH),
        "R10": ("the run", BOTH),
        "R11": ("a verdict", BOTH),
        "R12": ("the run", BOTH),
    }
    found = pending.pending(BRIEF, taken, planned)
    assert pending.progress(BRIEF, taken, found) == "wear 8 and torque 7 of 12 runs"
    assert pending.progress(BRIEF, taken, found, "wear_um") == "8 of 12 runs"
    assert pending.progress(BRIEF, taken, found, "torque_Nm") == "7 of 12 runs"


def test_planned_runs_that_no_table_holds_wait_too():
    planned, taken = as_made(with_plan=False)
    some = records.from_tables(BRIEF, runs=taken.runs[taken.runs["run_id"] < "R08"])
    assert list(told(planned, some)) == ["R08", "R09", "R10", "R11", "R12"]
    assert set(told(planned, some).values()) == {("the run", BOTH)}
    found = pending.pending(BRIEF, some, planned)
    assert pending.progress(BRIEF, some, found) == "7 of 12 runs"
    assert list(found["pin"]) == list(planned["pin"])[7:]
    assert told(None, some) == {}


def test_a_figure_that_is_lost_is_not_waited_for():
    planned, taken = as_made(R07_torque_Nm="lost", R06_torque_Nm=None)
    assert told(planned, taken) == {"R06": ("torque to be entered", ("torque_Nm",))}


def test_stations_and_oil_name_who_is_late():
    brief, frames = material.brief(), material.frames()
    frames["stations"] = frames["stations"][frames["stations"]["run_id"] != "R03"]
    frames["oil"] = frames["oil"][frames["oil"]["run_id"] != "R04"]
    taken = records.from_tables(brief, **{name: frames[name] for name in ("runs", "stations", "oil")})
    found = told(None, taken, brief)
    assert found["R03"] == ("elongation to be measured", ("elongation_pct",))
    assert found["R04"] == ("Fe from the oil laboratory", ("fe_ppm",))
    assert found["R06"] == ("the run", ("elongation_pct", "fe_ppm", "torque_Nm"))
    assert "R05" not in found and "P01" not in found


def test_a_value_below_the_limit_is_a_value():
    runs = pd.DataFrame({"fe_ppm": [None, 1.0, None], "fe_ppm_below_limit": [True, False, False]})
    assert pending.has_value(runs, "fe_ppm").tolist() == [True, True, False]


def test_old_data_wait_for_no_more_figures():
    brief = dataclasses.replace(BRIEF, old_data=OldData("unknown", "runs"))
    _, taken = as_made(brief, with_plan=False, R06_torque_Nm=None)
    assert told(None, taken, brief) == {}


def test_notes_after_a_look_are_told_by_run():
    _, taken = as_made(corrections=[
        noted("R02", "run_time_h", "100", "100.2"),
        noted("R06", "verdict", "valid", "invalid", late=True),
        noted("R06", "run_time_h", "100", "60", late=True),
    ])  # fmt: skip
    assert pending.after_look(taken) == {"R06": ["verdict", "run time"]}


@pytest.mark.parametrize("late", [("R12",), ("R09", "R10", "R11", "R12")])
def test_the_whole_analysis_claims_nothing_while_runs_are_pending(late):
    planned, taken = as_made(pending=late)
    found = analysis.analyse(BRIEF, taken, planned=planned)
    done = 12 - len(late)
    assert found.headline == (
        f"INTERIM, {done} of 12 runs: campaign 'chain-soot', {done} of 12 runs valid, {len(late)} pending "
        f"({', '.join(late)})"
    )
    for item in found.responses.values():
        assert set(item.verdicts["verdict"]) == {"interim, no claim"}
        assert item.verdicts["chance_worthwhile"].isna().all()
        assert set(item.verdicts["interim"]) == {item.interim} == {f"{done} of 12 runs"}
        assert list(item.worst_cases["comparison"]) == [item.name for item in BRIEF.comparisons]
    told = found.to_json()
    assert (told["interim"], told["progress"]) == (True, f"{done} of 12 runs")
    assert [row["run_id"] for row in told["pending"]] == list(late)
    assert told["responses"]["wear_um"]["worst_cases"][0]["against_estimate"] > 0
    assert told["as_run"]["sentence"].startswith(f"Of 12 planned runs: {done} as planned, {len(late)} pending (")
    assert found.tables()["pending"]["responses"].tolist() == ["wear_um, torque_Nm"] * len(late)


def test_only_the_response_that_waits_is_interim():
    planned, taken = as_made(R06_torque_Nm=None)
    found = analysis.analyse(BRIEF, taken, planned=planned)
    assert found.headline == (
        "INTERIM, wear 12 and torque 11 of 12 runs: campaign 'chain-soot', 12 of 12 runs valid, 1 valid with figures "
        "to come (R06)"
    )
    assert (found.responses["wear_um"].interim, found.responses["torque_Nm"].interim) == ("", "11 of 12 runs")
    assert "interim, no claim" not in set(found.responses["wear_um"].verdicts["verdict"])
    assert set(found.responses["torque_Nm"].verdicts["verdict"]) == {"interim, no claim"}
    assert html._banner(found) == (
        "INTERIM, wear 12 and torque 11 of 12 runs. What stands below of torque are estimates and no claims: no looks "
        "were planned, so nothing is judged before all runs are in. The other answers rest on all their runs. Every "
        "look is written into the log."
    )


def test_a_finished_campaign_is_not_interim_and_says_what_was_noted_late():
    planned, taken = as_made(corrections=[noted("R06", "verdict", "valid", "invalid", late=True)])
    found = analysis.analyse(BRIEF, taken, planned=planned, notes=("first",))
    assert not found.interim and found.to_json()["progress"] is None
    assert found.notes == ("first", "R06: verdict noted after its wear had been looked at")
    assert found.responses["wear_um"].worst_cases.empty
    assert list(found.tables()["worst_cases"].columns)[:3] == ["response", "comparison", "pending"]
    assert found.tables()["pending"].empty
