"""Findings: windows, limits, bounds, as run against as planned, slips; a clean campaign has none."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.unit.intake import material
from tests.unit.intake.material import with_cell, with_line
from toolkit.brief.model import Held, Protocol, Response, Stations
from toolkit.intake import as_planned, checks, records

WINDOW = "review the run"
JUDGE = "judge the run again: outside the limits the rule says invalid; until then it counts in the answers"
OF_R05 = [
    ("note", "R05", "run_time_h", "window", "37.5 h", "99 to 101 h", "none: the run is void"),
    ("note", "R05", "downtime_h", "protocol", "30 h", "at most 24 h", "none: the run is void"),
]


def told(tmp_path, plan: bool = False, **tables: str) -> list[tuple[object, ...]]:
    """The findings of the small campaign with these tables, without the part."""
    read = records.read(material.folder(tmp_path, **tables), material.brief(), plan=material.plan() if plan else None)
    return [tuple(row[name] for name in ("severity", "run_id", "column", "rule", "found", "expected", "action"))
            for row in read.findings.to_dict("records")]  # fmt: skip


def test_a_clean_campaign_has_findings_of_its_void_run_only(tmp_path):
    assert told(tmp_path, plan=True) == OF_R05


@pytest.mark.parametrize(
    ("column", "value", "row"),
    [
        ("sump_temp_degC", "98.2", ("note", "window", "98.2 °C", "98.5 to 101.5 °C", WINDOW)),
        ("sump_temp_degC", "106.5", ("exclude", "limits", "106.5 °C", "94 to 106 °C", JUDGE)),
        ("soot_pct", "9", ("note", "window", "9 %", "2.7 to 3.3 %", WINDOW)),
        (
            "downtime_h",
            "24.5",
            ("exclude", "protocol", "24.5 h", "at most 24 h",
             "judge the run again: above the protocol's upper bound; until then it counts in the answers"),
        ),
    ],
)  # fmt: skip
def test_a_valid_run_outside_is_told(tmp_path, column, value, row):
    severity, rule, *rest = row
    made = told(tmp_path, runs=with_cell(material.RUNS, 3, column, value))
    assert (severity, "R01", column, rule, *rest) in made
    assert len(made) == len(OF_R05) + 1


@pytest.mark.parametrize(("column", "value"), [("sump_temp_degC", "98.5"), ("sump_temp_degC", "101.5"),
                                               ("run_time_h", "101"), ("downtime_h", "24")])  # fmt: skip
def test_the_edges_of_windows_and_bounds_are_inside(tmp_path, column, value):
    assert told(tmp_path, runs=with_cell(material.RUNS, 3, column, value)) == OF_R05


def test_a_run_that_was_too_short_or_long_is_told(tmp_path):
    assert told(tmp_path, runs=with_cell(material.RUNS, 2, "run_time_h", "101.5")) == [
        ("note", "P01", "run_time_h", "window", "101.5 h", "99 to 101 h", WINDOW),
        *OF_R05,
        ("note", "P01", "fe_ppm", "last sample", "the last sample with a figure is at 100 h",
         "one at the end of the run (101.5 h)", "judge whether its value can be compared with those of full runs"),
    ]  # fmt: skip


def test_a_pending_run_outside_its_limits_is_a_note(tmp_path):
    made = told(tmp_path, runs=with_cell(material.RUNS, 8, "sump_temp_degC", "120"))
    assert made[-1] == (
        "note", "R06", "sump_temp_degC", "limits", "120 °C", "94 to 106 °C",
        "judge the run: outside the limits the rule says invalid",
    )  # fmt: skip


def test_a_bound_on_an_element_holds_for_every_sample(tmp_path):
    made = told(tmp_path, oil=with_cell(material.OIL, 3, "si_ppm", "45"))
    assert made == [
        ("exclude", "P01", "si_ppm", "protocol", "45 mg/kg", "at most 20 mg/kg",
         "judge the run again: above the protocol's upper bound; until then it counts in the pilot's scatter"),
        *OF_R05,
    ]  # fmt: skip


def test_a_lost_figure_of_a_valid_run_is_told(tmp_path):
    runs = with_cell(with_cell(material.RUNS, 3, "soot_pct", "lost"), 4, "torque_Nm", "")
    action = "enter the figure if it is found; it is never taken as nought"
    assert told(tmp_path, runs=runs)[:2] == [
        ("note", "R01", "soot_pct", "lost", "lost", "a number (%)", action),
        ("note", "R02", "torque_Nm", "lost", "blank", "a number (N·m)", action),
    ]


def test_treatment_build_and_place_may_differ_from_the_plan_and_are_told(tmp_path):
    runs = with_cell(with_cell(material.RUNS, 4, "pin", "P0"), 5, "build_id", "B3")
    action = "check the run sheet; the analysis uses what was run"
    made = told(tmp_path, plan=True, runs=runs)
    assert made == [
        ("note", "R02", "pin", "differs from plan", "P0", "P1", action),
        ("note", "R03", "build_id", "differs from plan", "B3", "B1", action),
        *OF_R05,
    ]
    read = records.read(tmp_path, material.brief(), plan=material.plan()).runs.set_index("run_id")
    assert (read.at["R02", "pin"], read.at["R03", "build_id"]) == ("P0", "B3")


def test_only_the_run_that_was_moved_is_named(tmp_path):
    rows = material.RUNS
    for line, order in ((3, "4"), (4, "1"), (5, "2"), (6, "3")):
        rows = with_cell(rows, line, "actual_order", order)
    assert told(tmp_path, plan=True, runs=rows)[0] == (
        "note", "R01", "actual_order", "differs from plan", "run in place 4", "place 1 of the plan",
        "check the run sheet; drift is judged by the order as run",
    )  # fmt: skip
    assert told(tmp_path, plan=True, runs=rows)[1:] == OF_R05


def test_a_repeat_that_was_not_planned_is_told(tmp_path):
    again = material.RUNS + "R05b,main,B2,5,6,P1,100,100,100,3,0,120,valid,,engineer\n"
    made = told(tmp_path, plan=True, runs=again)
    assert made[0] == (
        "note", "R05b", None, "not in plan", "a run that was not planned", "the runs of the plan",
        "judged valid, the analysis uses it as a run like any; say why it was made in its reason",
    )  # fmt: skip


def test_planned_runs_without_a_record_are_pending_as_planned(tmp_path):
    runs = with_line(with_line(material.RUNS, 8, lambda line: "R06,,,,,,,,,,,,,,"), 7, lambda line: "")
    folder = material.folder(tmp_path, runs=runs)
    read = records.read(folder, material.brief(), plan=material.plan())
    rows = read.runs.set_index("run_id")
    assert list(rows.index) == ["P01", "R01", "R02", "R03", "R04", "R06", "R05"]
    for run, order, pin in (("R05", 5, "P1"), ("R06", 6, "P0")):
        assert list(rows.loc[run, ["phase", "build_id", "planned_order", "pin", "load_Nm", "verdict"]]) == [
            "main", "B2", order, pin, "100", "pending"]  # fmt: skip
        assert rows.loc[run, ["actual_order", "run_time_h", "elongation_pct", "fe_ppm"]].isna().all()
    assert [tuple(row.values()) for row in read.findings.to_dict("records")] == [
        ("note", None, None, "run_id", "no record yet", "1 planned runs without a record: R05", "6 runs (main)",
         "they count as pending")
    ]  # fmt: skip


def test_what_a_pending_run_has_recorded_is_not_replaced_by_the_plan(tmp_path):
    runs = with_cell(with_cell(material.RUNS, 8, "pin", "P1"), 8, "build_id", "")
    action = "check the run sheet; the analysis uses what was run"
    assert told(tmp_path, plan=True, runs=runs)[0] == (
        "note", "R06", "pin", "differs from plan", "P1", "P0", action)  # fmt: skip
    row = records.read(tmp_path, material.brief(), plan=material.plan()).runs.set_index("run_id").loc["R06"]
    assert (row["pin"], row["build_id"], row["verdict"]) == ("P1", "B2", "pending")


def test_stations_may_be_measured_before_a_planned_run_is_entered(tmp_path):
    early = material.stations_text() + "R06,C-9,1,1,before,0.002\n"
    runs = with_line(material.RUNS, 8, lambda line: "")
    folder = material.folder(tmp_path, runs=runs, stations=early)
    read = records.read(folder, material.brief(), plan=material.plan())
    assert (read.readings["run_id"] == "R06").sum() == 1
    assert np.isnan(read.runs.set_index("run_id").at["R06", "elongation_pct"])
    with pytest.raises(records.IntakeError, match="unknown run 'R06'; expected a run of the table of runs"):
        records.read(folder, material.brief())


def test_before_any_record_every_planned_run_is_pending(tmp_path):
    folder = material.folder(tmp_path, runs=None, stations=None, oil=None)
    read = records.read(folder, material.brief(), plan=material.plan())
    assert list(read.runs["verdict"]) == ["pending"] * 6
    assert read.notes == ("6 runs: 6 pending.", "1 findings: 1 note.")
    empty = records.read(folder, material.brief())
    assert (len(empty.runs), len(empty.findings)) == (0, 0)
    assert {"run_id", "pin", "elongation_pct", "fe_ppm", "fe_ppm_below_limit", "verdict"} <= set(empty.runs.columns)


def test_a_plan_that_is_none_is_refused(tmp_path):
    folder = material.folder(tmp_path)
    with pytest.raises(records.IntakeError) as caught:
        records.read(folder, material.brief(), plan=material.plan().drop(columns=["pin"]))
    assert str(caught.value).split("\n")[1:] == ["  plan: no column pin; expected the table of the order drawn."]
    with pytest.raises(records.IntakeError) as caught:
        records.read(folder, material.brief(), plan=pd.concat([material.plan()] * 2))
    assert str(caught.value).split("\n")[1:] == ["  plan: a run that stands twice; expected each run once."]


@given(st.permutations(range(1, 7)))
def test_the_longest_rise_is_the_longest(places):
    # Against every choice of positions, by brute force.
    kept = as_planned._longest_rise(places)
    rising = [places[at] for at in sorted(kept)]
    best = max(
        size for size in range(1, 7) if any(list(choice) == sorted(choice) for choice in combinations(places, size))
    )
    assert rising == sorted(rising)
    assert len(kept) == best


def test_a_part_in_two_runs_is_told(tmp_path):
    swapped = material.stations_text().replace("R02,C-3,", "R02,C-2,")
    made = told(tmp_path, stations=swapped)
    assert made[2] == (
        "note", "R02", "part_id", "part in several runs", "part C-2 also in run R01", "a new part in every run",
        "look for a swapped or mistyped part",
    )  # fmt: skip
    # A part that is kept and carries a factor: runs of one set may share it.
    runs = tmp_path / "raw" / "runs.csv"
    head, *lines = runs.read_text(encoding="utf-8").splitlines()
    runs.write_text("\n".join([f"{head},part_set_id", *(f"{line},1" for line in lines)]) + "\n", encoding="utf-8")
    kept = records.read(tmp_path, material.brief(new_each_run=("fill",)))
    assert "part in several runs" not in set(kept.findings["rule"])


def test_a_table_that_is_not_asked_for_is_told_and_not_read(tmp_path):
    folder = material.folder(tmp_path, stations="anything")
    only = material.brief(
        responses=(Response("torque_Nm", scale="linear"),), scatter=material.KnownScatter(), held=(),
        protocol=Protocol(max={"downtime_h": 24.0, "soot_pct": 3.3, "sump_temp_degC": 106.0}),
    )  # fmt: skip
    read = records.read(folder, only)
    assert [(row["rule"], row["found"]) for row in read.findings.to_dict("records")][:2] == [
        ("not read", "raw/stations.csv"), ("not read", "raw/rig-history.csv")]  # fmt: skip
    assert read.stations is None and read.history is None
    assert list(read.oil["fe_ppm"])[:3] == [2.0, 15.5, 31.0]


def chains(rng: np.random.Generator, runs: int = 12) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Runs and readings of ten segments as a chain campaign gives them (ln SD 0.12 and 0.15, gauge 0.0054)."""
    names = [f"R{at + 1:02d}" for at in range(runs)]
    true = 0.1 * np.exp(rng.normal(0, 0.12, (runs, 1)) + rng.normal(0, 0.15, (runs, 10)))
    rows = []
    for at, run in enumerate(names):
        for station in range(10):
            for state, level in (("before", 0.02), ("after", 0.02 + true[at, station])):
                for reading in (1, 2):
                    value = round(level + rng.normal(0, 0.0054), 4)
                    rows.append((run, f"C{at}", str(station + 1), reading, state, value))
    table = pd.DataFrame(rows, columns=["run_id", "part_id", "station_id", "reading", "state", "elongation_pct"])
    frame = pd.DataFrame(
        {"run_id": names, "phase": "main", "build_id": "B1", "planned_order": range(1, runs + 1),
         "actual_order": range(1, runs + 1), "pin": "P0", "load_Nm": 100, "run_time_h": 100, "verdict": "valid",
         "reason": "", "role": ""}
    )  # fmt: skip
    return frame, table


CHAIN = material.brief(
    responses=(Response("elongation_pct", stations=Stations("segment", 10, 2, ("before", "after"))),), held=(),
    protocol=Protocol(Held("run_time_h", 100.0, (99.0, 101.0))), scatter=material.KnownScatter(),
)  # fmt: skip


def test_clean_chains_are_never_called_slips():
    # 30 campaigns of 12 runs of 10 segments, 3,600 stations and 7,200 pairs of readings: none may be flagged.
    flagged = []
    for seed in range(30):
        runs, table = chains(np.random.default_rng([911, seed]))
        flagged += list(records.from_tables(CHAIN, runs=runs, stations=table).findings["rule"])
    assert flagged == []


def test_a_reading_in_inches_is_found():
    # One wear of R03 taken in inches: both readings after, divided by 25.4; or one of them only.
    runs, table = chains(np.random.default_rng(5))
    place = (table["run_id"] == "R03") & (table["station_id"] == "4") & (table["state"] == "after")
    both = table.assign(elongation_pct=table["elongation_pct"].where(~place, table["elongation_pct"] * 25.4))
    read = records.from_tables(CHAIN, runs=runs, stations=both)
    wear = read.stations.set_index(["run_id", "station_id"]).at[("R03", "4"), "elongation_pct"]
    middle = read.stations[read.stations["run_id"] == "R03"]["elongation_pct"].median()
    assert [tuple(row.values()) for row in read.findings.to_dict("records")][0] == (
        "note", "R03", "C2", "elongation_pct", "station far off", f"station 4: {wear:.12g} %",
        f"about the median of the run ({middle:.12g} %)", "look for a wrong unit or a slip; kept as it is",
    )  # fmt: skip
    one = table.copy()
    at = one.index[place][0]
    one.loc[at, "elongation_pct"] = one.loc[at, "elongation_pct"] / 25.4
    found = records.from_tables(CHAIN, runs=runs, stations=one).findings
    assert list(found["rule"]) == ["readings far apart"]
    low, high = sorted(one.loc[place, "elongation_pct"])
    assert found["found"].iloc[0] == (
        f"station 4 after: readings {high - low:.12g} % apart ({low:.12g} and {high:.12g})"
    )
    assert found["action"].iloc[0] == "look for a unit, mm for inch; the mean is taken as it is"
    assert list(found["run_id"]) == ["R03"]


def test_a_part_measured_in_inches_as_a_whole_is_found_though_its_stations_scatter():
    runs, table = chains(np.random.default_rng(5))
    # Every second run wears a quarter less, so that single stations scatter too much to tell.
    less = table["run_id"].isin(runs["run_id"][1::2]) & (table["state"] == "after")
    table = table.assign(elongation_pct=table["elongation_pct"].where(~less, table["elongation_pct"] * 0.75))
    mine = (table["run_id"] == "R03") & (table["state"] == "after")
    inches = table.assign(elongation_pct=table["elongation_pct"].where(~mine, table["elongation_pct"] / 25.4))
    found = records.from_tables(CHAIN, runs=runs, stations=inches).findings
    first = found[found["severity"] == "exclude"].to_dict("records")
    middle, usual = (
        means.groupby(level=0).median()
        for means in (
            part.groupby(["run_id", "station_id"])["elongation_pct"].mean()
            for part in (inches[mine], inches[inches["state"] == "after"])
        )
    )
    assert [tuple(row.values()) for row in first] == [
        (
            "exclude", "R03", "C2", "elongation_pct", "unit of a reading",
            f"all 10 stations after: {float(f'{middle.iloc[0]:.3g}'):.12g} % in the middle",
            f"about {float(f'{usual.median():.3g}'):.12g} %, as usual in these records",
            "look for mm for inch, and correct the readings; they are kept as they are",
        )
    ]  # fmt: skip
    # Many readings of a part that lie far apart are one row.
    spoiled = table.copy()
    at = spoiled.index[mine][::2]
    spoiled.loc[at, "elongation_pct"] += np.linspace(0.2, 0.4, len(at))
    told = records.from_tables(CHAIN, runs=runs, stations=spoiled).findings
    apart = told[told["rule"] == "readings far apart"]
    assert apart["run_id"].tolist() == ["R03"] and apart["found"].iloc[0].startswith("station 10 after: readings 0.")
    assert apart["found"].iloc[0].endswith("), and those of 9 more")


def test_few_stations_are_not_judged():
    wear = pd.DataFrame(
        {"run_id": "R01", "part_id": "A", "station_id": ["1", "2", "3"], "elongation_pct": [1.0, 1.0, 90.0]}
    )
    readings = wear.assign(reading=1, state="after")
    assert checks.far_apart(CHAIN, readings, wear) == []
