"""What the sealed rules propose, on campaigns of other names, rules and limits; wear can change nothing of it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from toolkit.brief import reading
from toolkit.brief.dyno_log import DynoLog
from toolkit.brief.model import Held
from toolkit.demo import bundled
from toolkit.intake import dyno_summary, judging, records
from toolkit.intake.dyno_file import Recording

# A pump rig; INVENTED.
BRIEF = """[campaign]
id = "vane-pump"
question = "INVENTED: does the ground ring wear less?"
seed = 3
new_each_run = ["part"]
[[factor]]
name = "ring"
undo = "part"
levels = { cast = "as cast", ground = "ground" }
[[response]]
name = "vane_loss_mg"
worthwhile_change_pct = 20
[[response]]
name = "cu_ppm"
role = "secondary"
worthwhile_change_pct = 20
[[comparison]]
name = "grinding"
of = { ring = "ground" }
against = { ring = "cast" }
[plan]
replicates = 4
[held]
delivery_MPa = { target = 13.8, window = [13.5, 14.1], limits = [13, 14.6] }
tank_temp_degC = { target = 66, window = [63, 69] }
[protocol]
run_time_h = { target = 100, window = [99, 101], limits = [90, 110] }
max = { stops_h = 3, water_ppm = 200, leak_mg = 50, cu_ppm = 5 }
not_interpretable = ["water_ppm"]
judged_by = "pump rig engineer"
[dyno_log]
time = "t"
columns = { delivery_MPa = "p", tank_temp_degC = "T" }
review_deviation_pct = 2.5
"""
KEPT = {
    **{"run_time_h": 100.0, "delivery_MPa": 13.8, "tank_temp_degC": 66.0},
    **{"stops_h": 0.5, "water_ppm": 80.0, "leak_mg": 10.0},
}


def made(**changes):
    """One valid run with these figures, through the records; with copper in its oil and its wear."""
    brief = reading.parse(BRIEF)
    row = {
        **{"run_id": "R01", "phase": "main", "build_id": "B1", "planned_order": 1, "actual_order": 1, "ring": "cast"},
        **KEPT, "vane_loss_mg": 12.0, "verdict": "valid", "reason": "", "role": "pump rig engineer", **changes,
    }  # fmt: skip
    oil = pd.DataFrame([{"run_id": "R01", "sample_id": "S0", "at_h": 0.0, "cu_ppm": 1.0},
                        {"run_id": "R01", "sample_id": "S1", "at_h": row["run_time_h"], "cu_ppm": 90.0}])  # fmt: skip
    return records.from_tables(brief, runs=pd.DataFrame([row]), oil=oil).proposals.iloc[0]


@pytest.mark.parametrize(
    ("changes", "proposed", "reason"),
    [
        ({}, "valid", "every rule was kept"),
        ({"delivery_MPa": 14.2}, "review", "delivery 14.2 MPa (expected 13.5 to 14.1 MPa)"),
        ({"delivery_MPa": 14.7}, "invalid", "delivery 14.7 MPa (expected 13 to 14.6 MPa)"),
        ({"tank_temp_degC": 80.0}, "review", "tank temp 80 °C (expected 63 to 69 °C)"),
        ({"run_time_h": 98.0}, "review", "run time 98 h (expected 99 to 101 h)"),
        ({"run_time_h": 60.0}, "invalid", "run time 60 h (expected 90 to 110 h)"),
        ({"stops_h": 3.5}, "invalid", "stops 3.5 h (expected at most 3 h)"),
        ({"water_ppm": 300.0}, "not interpretable", "water 300 mg/kg (expected at most 200 mg/kg)"),
        ({"stops_h": None}, "not yet", "not on record: stops_h"),
        (
            {"water_ppm": 300.0, "tank_temp_degC": 62.0, "leak_mg": 51.0},
            "invalid",
            "tank temp 62 °C (expected 63 to 69 °C); water 300 mg/kg (expected at most 200 mg/kg); leak 51 mg "
            "(expected at most 50 mg)",
        ),
        # Copper rose to 90 mg/kg: it is a response, and no bound on it can judge the run.
        ({"vane_loss_mg": 9_999.0}, "valid", "every rule was kept"),
        ({"vane_loss_mg": -5.0}, "valid", "every rule was kept"),
    ],
)
def test_every_rule_proposes_by_its_kind_and_the_gravest_counts(changes, proposed, reason):
    found = made(**changes)
    assert (found["proposed"], found["reason"], found["judged_by"]) == (proposed, reason, "pump rig engineer")


def test_a_proposal_is_held_against_the_verdict_on_record_and_changes_nothing():
    assert made()["agrees"] is True
    void = {"verdict": "invalid", "reason": "seal burst"}
    assert made(**void)["agrees"] is False and made(stops_h=9.0, **void)["agrees"] is True
    assert made(tank_temp_degC=80.0)["agrees"] is None
    open_still = made(stops_h=9.0, verdict="pending", role="")
    assert (open_still["proposed"], open_still["verdict"], open_still["agrees"]) == ("invalid", "pending", None)


def recording(delivery, tank):
    """A recording of an hour of two channels."""
    at = np.arange(0.0, 3600.0)
    channels = {"delivery_MPa": delivery, "tank_temp_degC": tank}
    return Recording(at, {name: np.asarray(item, np.float32) for name, item in channels.items()}, (), ("a.csv",))


def test_rules_of_recordings_ask_for_a_review_and_never_more():
    brief = reading.parse(BRIEF)
    delivery = np.full(3600, 13.8)
    # 200 s at 14.4 of a half window of 0.3: (0.3 / 0.3) * 200 / 3600 is 5.56 % deviation, the index stays above nought.
    delivery[1000:1200] = 14.4
    found = dyno_summary.summarise(
        recording(delivery, np.full(3600, np.nan)), brief.dyno_log, brief.held, run_id="R01"
    )
    run = {"run_id": "R01", "phase": "main", "verdict": "pending", "reason": "", **KEPT}
    broken = judging.of_run(brief, run, None, found)
    assert [(item.proposes, item.rule, item.column, item.found) for item in broken] == [
        (
            "review",
            "per cent deviation",
            "delivery_MPa",
            "deviation 5.56 %: 94.4 % of the time within 13.5 to 14.1 MPa, furthest 14.4 MPa",
        ),
        ("review", "silent channel", "tank_temp_degC", "0 readings that count"),
    ]
    told = judging.findings(brief, pd.DataFrame([run, {**run, "run_id": "R02"}]), {"R01": found})
    assert [(row["severity"], row["run_id"], row["rule"]) for row in told] == [
        ("note", "R01", "per cent deviation"),
        ("note", "R01", "silent channel"),
    ]
    actions = {
        ("pending", ""): "review the run before its wear is looked at; this alone makes no run invalid",
        ("valid", ""): "review the run; it counts as valid, and no reason is on record",
        ("valid", "reviewed"): "none: judged valid (reviewed)",
        ("invalid", "burst"): "none: the run is void",
    }
    for (verdict, reason), action in actions.items():
        judged = pd.DataFrame([{**run, "verdict": verdict, "reason": reason}])
        assert {row["action"] for row in judging.findings(brief, judged, {"R01": found})} == {action}


def test_hard_limits_cut_off_what_counts_in_the_index():
    rule = DynoLog(time="t", columns={"delivery_MPa": "p"})
    one_sided = Held("delivery_MPa", 13.8, (13.5, 14.1), (13.0, 14.6))
    delivery = np.full(3600, 13.8)
    delivery[:100] = 99.0
    row = dyno_summary.summarise(recording(delivery, delivery), rule, [one_sided], run_id="R01").channels.iloc[0]
    # 1 - 100 / 3600 * ((14.6 - 13.8) / 0.3)^2.
    assert row["quality_index"] == pytest.approx(1.0 - 100.0 / 3600.0 * (0.8 / 0.3) ** 2, rel=1e-5)
    assert (row["over_range"], row["under_range"]) == (100, 0)


@pytest.mark.parametrize(("over", "told"), [(480, []), (540, ["quality index"])])
def test_an_index_below_nought_asks_for_a_review(over, told):
    # 1 - share x (0.8 / 0.3)^2: nought at 506 of 3600 readings.
    rule = DynoLog(time="t", columns={"delivery_MPa": "p"})
    held = Held("delivery_MPa", 13.8, (13.5, 14.1), (13.0, 14.6))
    delivery = np.full(3600, 13.8)
    delivery[:over] = 99.0
    summary = dyno_summary.summarise(recording(delivery, delivery), rule, [held], run_id="R01")
    found = judging.of_recording(rule, summary)
    assert [(item.rule, item.column, item.expected) for item in found] == [
        (name, "delivery_MPa", "0 or more") for name in told
    ]


@pytest.mark.parametrize(("name", "runs"), [("tappet-finish", 20), ("sprocket-build", 24)])
def test_bundled_campaigns_with_other_names_and_windows(name, runs, tmp_path):
    found = bundled.bring(name, tmp_path / name, phases=("pilot", "main")).records()
    proposals = found.proposals
    assert len(proposals) == runs and set(proposals["proposed"]) == {"valid"} and proposals["agrees"].all()
    # A run that is not made yet has no proposal.
    pending = set(found.runs.loc[found.runs["verdict"] == "pending", "run_id"])
    assert not pending & set(proposals["run_id"])
