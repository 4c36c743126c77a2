"""One row for what tables kept by hand, files and notes tell of the same run, reading or sample."""

from __future__ import annotations

import pandas as pd
import pytest

from tests.unit.intake import came_back
from tests.unit.intake.came_back import everything, issued, read, sheet
from toolkit.errors import IntakeError
from toolkit.intake import gathered, records
from toolkit.intake.received import Correction, ReceivedFile

RUNS = (
    "run_id,phase,build_id,planned_order,actual_order,pin,load_Nm,run_time_h,sump_temp_degC,downtime_h,si_ppm,torque_Nm,"
    "verdict,reason,role\n"
)
BLANK = RUNS + "".join(f"R0{at},main,B1,{at},,,,,,,,,pending,,\n" for at in range(1, 5))


def folder(tmp_path, **tables):
    """A folder with these tables in raw/."""
    (tmp_path / "raw").mkdir()
    for name, text in tables.items():
        (tmp_path / "raw" / f"{name}.csv").write_text(text, encoding="utf-8")
    return tmp_path


def from_folder(path, received, **changes):
    """The records of a folder with files that were taken in."""
    made = issued()
    return records.read(path, made.brief, made.plan, received=received, registers=made.registers, **changes)


def line(run_id, **changes):
    """A line of runs.csv that says what the sheet of a run says."""
    values = {**came_back.good(run_id), "run_id": run_id, "phase": "main", "reason": ""}
    values["planned_order"] = issued().row(run_id)["planned_order"]
    values |= changes
    return ",".join(str(values[name]) for name in RUNS.strip().split(",")) + "\n"


def told(call):
    """The lines of the error."""
    with pytest.raises(IntakeError) as caught:
        call()
    lines = str(caught.value).split("\n")
    assert lines[0] == gathered.HEADLINE
    return [text[2:] for text in lines[1:]]


def test_a_table_that_was_not_filled_in_gives_way_to_the_sheets(tmp_path):
    treated = BLANK.replace("R01,main,B1,1,,,", "R01,main,B1,1,,P0,80")
    found = from_folder(folder(tmp_path, runs=treated), everything())
    # The line of R01 was printed with another treatment and nothing was entered: the sheet counts.
    assert issued().row("R01")["pin"] == "P1"
    pd.testing.assert_frame_equal(found.runs, read(everything()).runs)


def test_the_same_told_twice_is_one_run(tmp_path):
    text = RUNS + line("R01", run_time_h="100.0", sump_temp_degC="100.20", verdict="Valid")
    found = from_folder(folder(tmp_path, runs=text), [sheet("R01")])
    assert list(found.runs["run_id"]) == ["R01", "R02", "R03", "R04"]
    where = found.sources.set_index(["run_id", "column"])
    assert where.loc[("R01", "run_time_h")].tolist() == ["raw/runs.csv", "line 2"]
    assert where.loc[("R01", "serial")].tolist() == ["R01.xlsx", "R01!C16"]


def test_a_blank_gives_way_to_a_value_wherever_it_stands(tmp_path):
    text = RUNS + line("R01", torque_Nm="", role="")
    found = from_folder(folder(tmp_path, runs=text), [sheet("R01", sump_temp_degC=None)])
    run = found.runs.iloc[0]
    assert (run["torque_Nm"], run["sump_temp_degC"], run["role"]) == (121.5, 100.2, "test engineer")


def test_every_cell_that_contradicts_is_told(tmp_path):
    text = RUNS + line("R01", run_time_h=101, verdict="invalid", reason="leak")
    lines = told(lambda: from_folder(folder(tmp_path, runs=text), [sheet("R01")]))
    way_out = "Make the two equal, or take the line out of raw/runs.csv."
    assert lines == [
        f"R01.xlsx R01!C29, column run_time_h: '100'; expected '101', as raw/runs.csv line 2 has it. {way_out}",
        f"R01.xlsx R01!C33, column verdict: 'valid'; expected 'invalid', as raw/runs.csv line 2 has it. {way_out}",
    ]


def test_a_reading_told_twice_must_be_the_same(tmp_path):
    part = issued().part("R01")
    head = "run_id,part_id,station_id,reading,state,wear_um\n"
    same, other = f"{head}R01,{part},SEG01,1,before,10.0\n", f"{head}R01,{part},SEG01,1,before,10.5\n"
    found = from_folder(folder(tmp_path, stations=same), everything())
    pd.testing.assert_frame_equal(found.stations, read(everything()).stations)
    (tmp_path / "raw" / "stations.csv").write_text(other, encoding="utf-8")
    assert told(lambda: from_folder(tmp_path, everything())) == [
        "measure-before.xlsx segment!E10, column wear_um: '10'; expected '10.5', as raw/stations.csv line 2 has it. "
        "Make the two equal, or take the line out of raw/stations.csv."
    ]


def test_a_table_of_a_laboratory_grows_from_file_to_file():
    made = issued()
    figures = {"0": "2,0", "100": "30"}
    lines = [f"{made.sample(run, at)};{value};" for run in ("R01", "R02") for at, value in figures.items()]
    first = ReceivedFile("lab-1.csv", ("Probe;Eisen;Bemerkung\n" + "\n".join(lines[:2])).encode(), "oil", "lab")
    later = ReceivedFile("lab-2.csv", ("Probe;Eisen;Bemerkung\n" + "\n".join(lines)).encode(), "oil", "lab")
    found = read([first, later])
    assert list(found.oil["sample_id"]) == [made.sample(run, at) for run in ("R01", "R02") for at in ("0", "100")]
    assert list(found.runs["fe_ppm"].fillna(-1)) == [28.0, 28.0, -1, -1]


def test_a_half_filled_sheet_may_come_back_again_with_more():
    early = came_back.filled("R01.xlsx", {"started_at": "2026-03-01 08:00", "verdict": "pending", "build_id": "B1"})
    found = read([ReceivedFile("early.xlsx", early, "run sheet"), sheet("R01")])
    assert found.runs.iloc[0]["verdict"] == "valid"
    assert found.as_built.iloc[0]["sheet"] == "R01.xlsx"


def test_a_file_that_says_otherwise_is_refused_and_may_replace():
    again = ReceivedFile("again.xlsx", sheet("R01", run_time_h=99, torque_Nm=None).content, "run sheet")
    assert told(lambda: read([sheet("R01"), again])) == [
        "again.xlsx R01!C29, column run_time_h: '99'; expected '100', as R01.xlsx R01!C29 has it. If this file is "
        "right, take it in with --replace R01.xlsx, --reason and --role."
    ]
    replacing = ReceivedFile("again.xlsx", again.content, "run sheet", replaces="R01.xlsx")
    found = read([sheet("R01"), replacing])
    run = found.runs.iloc[0]
    assert run["run_time_h"] == 99.0 and pd.isna(run["torque_Nm"])
    action = "none: again.xlsx counts; R01.xlsx stays as it is"
    assert [tuple(row) for row in found.findings.itertuples(index=False) if row.rule == "replaced"] == [
        ("note", "R01", issued().part("R01"), "run_time_h", "replaced", "100 -> 99 (again.xlsx R01!C29)",
         "as R01.xlsx had it", action),
        ("note", "R01", issued().part("R01"), "torque_Nm", "replaced", "121.5 -> blank (again.xlsx R01!C37)",
         "as R01.xlsx had it", action),
    ]  # fmt: skip
    assert found.as_built.iloc[0]["sheet"] == "again.xlsx"


def test_lines_that_a_replacing_table_lacks_are_told():
    made = issued()
    lines = [f"{made.sample('R01', at)};{value};" for at, value in (("0", "2,0"), ("100", "30"))]
    first = ReceivedFile("lab-1.csv", ("Probe;Eisen;Bemerkung\n" + "\n".join(lines)).encode(), "oil", "lab")
    again = ReceivedFile("lab-2.csv", f"Probe;Eisen;Bemerkung\n{lines[1]}".encode(), "oil", "lab", "lab-1.csv")
    found = read([first, again])
    assert list(found.oil["sample_id"]) == [made.sample("R01", "100")]
    assert [tuple(row)[4:] for row in found.findings.itertuples(index=False) if row.rule == "replaced"] == [
        ("replaced", f"lines that are gone: {made.sample('R01', '0')}", "as lab-1.csv had them",
         "none: lab-2.csv counts; lab-1.csv stays as it is"),
    ]  # fmt: skip


def test_what_replaces_a_file_that_is_not_there_is_refused():
    lost = ReceivedFile("again.xlsx", sheet("R01").content, "run sheet", replaces="R01.xlsx")
    assert told(lambda: read([lost])) == [
        "again.xlsx: replaces 'R01.xlsx'; expected the name of a file that was taken in."
    ]


def note(column, new, *, run_id="R01", old="", after_look=False, at="2026-04-01T08:00:00Z"):
    """A note on a cell."""
    return Correction(run_id, column, old, new, "slip of the pen", "test engineer", at, after_look)


def test_notes_count_whatever_else_is_told(tmp_path):
    text = RUNS + line("R02")
    notes = [
        note("run_time_h", "99", old="100"),
        note("run_time_h", "98.5", old="99"),
        note("verdict", "invalid", run_id="R02", old="valid", after_look=True),
        note("part_id", issued().spare("P1"), old=issued().part("R01")),
    ]
    found = from_folder(folder(tmp_path, runs=text), everything(), corrections=notes)
    runs = found.runs.set_index("run_id")
    assert runs.loc["R01", "run_time_h"] == 98.5
    assert runs.loc["R02", ["verdict", "reason", "role"]].tolist() == ["invalid", "slip of the pen", "test engineer"]
    assert found.as_built.set_index("run_id").loc["R01", "part_id"] == issued().spare("P1")
    assert found.corrections.iloc[2].tolist() == [
        "R02", "verdict", "valid", "invalid", "slip of the pen", "test engineer", "2026-04-01T08:00:00Z", True,
    ]  # fmt: skip
    assert "noted on another value" not in set(found.findings["rule"])
    where = found.sources.set_index(["run_id", "column"])
    assert where.loc[("R01", "run_time_h")].tolist() == ["the note", "of 2026-04-01T08:00:00Z on R01"]


def test_a_run_of_which_nothing_came_back_can_be_judged():
    found = read(everything()[:2], corrections=[note("verdict", "invalid", run_id="R03")])
    run = found.runs.set_index("run_id").loc["R03"]
    assert (run["verdict"], run["reason"], run["pin"]) == ("invalid", "slip of the pen", issued().row("R03")["pin"])
    assert pd.isna(run["actual_order"]) and run["planned_order"] == 3
    assert "noted on another value" not in set(found.findings["rule"])


def test_a_note_on_another_value_than_is_told_now_is_a_finding():
    found = read([sheet("R01")], corrections=[note("run_time_h", "99", old="95")])
    assert [tuple(row) for row in found.findings.itertuples(index=False) if row.rule == "noted on another value"] == [
        ("note", "R01", None, "run_time_h", "noted on another value",
         "100 now, where the note of 2026-04-01T08:00:00Z says 95", "the value that the note put right",
         "look whether the note still holds; it counts (99)"),
    ]  # fmt: skip


def test_notes_pass_the_same_checks_as_cells():
    assert told(lambda: read([sheet("R01")], corrections=[note("run_time_h", "a hundred")])) == [
        "the note of 2026-04-01T08:00:00Z on R01, column run_time_h: 'a hundred'; expected a number alone (the column "
        "is in h)."
    ]
    lines = told(lambda: read([sheet("R01")], corrections=[note("wear_um", "3")]))
    assert lines == [
        "the note of 2026-04-01T08:00:00Z on R01: unknown column 'wear_um'; expected one of actual_order, build_id, "
        "downtime_h, load_Nm, oil_drum, part_id, phase, pin, planned_order, reason, role, run_time_h, serial, si_ppm, "
        "started_at, stopped_at, sump_temp_degC, torque_Nm, verdict."
    ]
