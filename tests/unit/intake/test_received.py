"""What comes back of a campaign, read in one pass: figures, what was fitted, sources, and nothing silently lost."""

from __future__ import annotations

import io
import json
import time
import zipfile
from dataclasses import replace
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.unit.intake import came_back
from tests.unit.intake.came_back import Formula, everything, issued, read, sheet
from toolkit.errors import IntakeError
from toolkit.intake import cells, records
from toolkit.intake.received import ReceivedFile, identify

SAVED = Path(__file__).with_name("R01-saved-in-libreoffice.xlsx")


def findings(found, *, without=("spare not used",)):
    """Findings as tuples: severity, run, part, column, rule, found, expected, action."""
    return [tuple(row) for row in found.findings.itertuples(index=False) if row.rule not in without]


def test_everything_that_came_back_is_read():
    found = read(everything())
    assert list(found.runs["run_id"]) == ["R01", "R02", "R03", "R04"]
    first = found.runs.iloc[0]
    row = issued().row("R01")
    assert (first["phase"], first["build_id"], first["planned_order"], first["actual_order"]) == ("main", "B1", 1, 1)
    assert (first["pin"], first["load_Nm"]) == (row["pin"], row["load_Nm"])
    assert (first["run_time_h"], first["sump_temp_degC"], first["downtime_h"], first["si_ppm"]) == (100, 100.2, 0, 4)
    assert (first["verdict"], first["reason"], first["role"]) == ("valid", "", "test engineer")
    # Iron rose from 2 to 30 ppm; torque as typed; wear is after less before, the mean of two stations.
    assert (first["fe_ppm"], first["torque_Nm"]) == (28.0, 121.5)
    lines = [row for row in range(2, 26) if came_back_row(row) == issued().part("R01")]
    assert first["wear_um"] == pytest.approx(2.0 + 0.01 * sum(lines) / len(lines), abs=1e-12)
    assert findings(found) == []
    spares = f"{issued().spare('P0')}, {issued().spare('P1')}"
    assert findings(found, without=()) == [
        ("note", None, None, "part_id", "spare not used", f"16 readings of spare parts {spares}",
         "readings of parts that were fitted", "none: kept, and used if a run sheet says that one was fitted"),
    ]  # fmt: skip


def came_back_row(row):
    """The part in a row of the blank table."""
    book = openpyxl.load_workbook(io.BytesIO(issued().files["measure-after.xlsx"]))
    return book.active.cell(row, 1).value


def test_what_was_fitted_stands_beside_the_runs():
    found = read(everything())
    assert list(found.as_built.columns) == [
        "run_id", "part_id", "serial", "oil_drum", "started_at", "stopped_at", "sheet",
    ]  # fmt: skip
    assert found.as_built.iloc[0].tolist() == [
        "R01", issued().part("R01"), "S1", "D1", "2026-03-01 08:00", "2026-03-05 12:00", "R01.xlsx",
    ]  # fmt: skip
    # Without its sheet a run's part is known once readings of one part came.
    found = read(everything()[1:])
    assert found.as_built.iloc[0].tolist() == ["R02", *read(everything()).as_built.iloc[1].tolist()[1:]]
    first = found.as_built.set_index("run_id").loc["R01"]
    assert first.tolist() == [issued().part("R01"), "", "", "", "", ""]


def test_every_figure_tells_where_it_comes_from():
    where = read(everything()).sources
    found = where[(where["run_id"] == "R02") & (where["column"] == "torque_Nm")]
    assert found[["file", "where"]].to_numpy().tolist() == [["R02.xlsx", "R02!C37"]]
    found = where[(where["run_id"] == "R02") & (where["column"] == "serial")]
    assert found[["file", "where"]].to_numpy().tolist() == [["R02.xlsx", "R02!C16"]]
    found = where[(where["run_id"] == "R02") & where["column"].isin(["wear_um", "fe_ppm"])]
    assert list(found["file"]) == ["measure-before.xlsx", "measure-after.xlsx", "lab-request.xlsx"]


def test_what_is_read_is_told_as_plain_data_with_checksums():
    found = read(everything())
    plain = json.loads(json.dumps(found.to_json(), allow_nan=False))
    assert plain["as_built"][0]["serial"] == "S1"
    assert plain["corrections"] == []
    assert set(plain["inputs"]) == {item.name for item in everything()}
    assert all(len(checksum) == 64 for checksum in plain["inputs"].values())


def test_a_sheet_alone_leaves_the_others_pending():
    found = read([sheet("R03")])
    assert list(found.runs["verdict"]) == ["valid", "pending", "pending", "pending"]
    told = [row for row in findings(found) if row[4] == "no record yet"]
    assert told == [
        ("note", None, None, "run_id", "no record yet", "3 planned runs without a record: R01, R02, R04",
         "4 runs (main)", "they count as pending"),
    ]  # fmt: skip


def test_a_sheet_that_was_not_filled_in_says_nothing():
    blank = ReceivedFile("R03.xlsx", issued().files["R03.xlsx"], "run sheet")
    found = read([blank])
    assert list(found.runs["verdict"]) == ["pending"] * 4
    assert found.as_built.set_index("run_id").loc["R03"].tolist() == ["", "", "", "", "", "R03.xlsx"]


def test_what_is_blank_in_a_table_is_not_measured_yet():
    def half(page, head):
        for row in range(2, page.max_row + 1):
            if page.cell(row, head["part_id"]).value != issued().part("R01"):
                page.cell(row, head["wear_um"]).value = None

    early = [
        *everything()[:5],
        ReceivedFile("measure-after.xlsx", came_back.measured("measure-after.xlsx", half), "stations"),
        ReceivedFile("lab-request.xlsx", issued().files["lab-request.xlsx"], "oil"),
    ]
    found = read(early)
    assert len(found.readings) == 16 + 4 and found.oil is None
    assert list(found.runs["wear_um"].notna()) == [True, False, False, False]
    # A blank is no lost figure; the runs wait for it.
    assert "lost" not in set(found.findings["rule"])
    assert [row[1] for row in findings(found) if row[3:5] == ("wear_um", "no value")] == ["R02", "R03", "R04"]


def test_the_same_files_in_another_order_give_the_same_runs():
    first, again = read(everything()), read(everything()[::-1])
    pd.testing.assert_frame_equal(
        first.runs, again.runs.sort_values("run_id", ignore_index=True), check_exact=True, check_dtype=True
    )


def test_units_commas_and_words_are_read_and_what_was_converted_is_told():
    found = read(
        [sheet("R01", run_time_h="99,5 h", sump_temp_degC="212 °F", torque_Nm="Not measured", downtime_h="90 min")]
    )
    run = found.runs.set_index("run_id").loc["R01"]
    assert (run["run_time_h"], run["sump_temp_degC"], run["downtime_h"]) == (99.5, 100.0, 1.5)
    assert pd.isna(run["torque_Nm"])
    told = {row[3:] for row in findings(found) if row[1] == "R01" and row[4] in ("converted", "lost", "unit typed")}
    keeps = "converted; the file keeps what was typed"
    assert told == {
        ("sump_temp_degC", "converted", "1 figure in °F (R01.xlsx R01!C24)", "figures in °C", keeps),
        ("downtime_h", "converted", "1 figure in min (R01.xlsx R01!C25)", "figures in h", keeps),
        ("run_time_h", "unit typed", "1 figure with h typed behind it (R01.xlsx R01!C29)", "figures alone, in h",
         "the figure was taken: the unit is the column's own"),
        ("torque_Nm", "lost", "lost", "a number (N·m)", "enter the figure if it is found; it is never taken as nought"),
    }  # fmt: skip


def test_a_tick_that_says_no_is_told():
    book = openpyxl.load_workbook(io.BytesIO(sheet("R01").content))
    line = next(row for row in book.active.iter_rows() if row[0].value == "Site's own start checks done")
    line[2].value = "no"
    found = read([ReceivedFile("R01.xlsx", came_back.saved(book), "run sheet")])
    told = [row for row in findings(found) if row[4] == "not done"]
    assert told == [
        ("note", "R01", None, None, "not done", "Site's own start checks done: no (R01.xlsx R01!C19)", "yes",
         "judge whether the run can count"),
    ]  # fmt: skip


def test_a_sheet_that_a_spreadsheet_program_saved_is_read():
    """The sheet of a run, filled in and saved by LibreOffice 7.4: shared texts, its own styles, a computed formula."""
    file = ReceivedFile("R01.xlsx", SAVED.read_bytes(), "run sheet")
    assert identify("R01.xlsx", file.content, issued().brief) == ("run sheet", "")
    marks = {row[1].value: row[2].value for row in openpyxl.load_workbook(SAVED).active.iter_rows()}
    plan = issued().plan.copy()
    # Its row is good whatever the plan of these tests has become.
    plan.loc[plan["run_id"] == "R01", ["row_checksum", "seals"]] = [marks["row_checksum"], marks["seal"]]
    found = read([file], plan=plan)
    run = found.runs.set_index("run_id").loc["R01"]
    assert (run["run_time_h"], run["sump_temp_degC"], run["downtime_h"]) == (99.5, 100.5, 1.5)
    assert run["reason"] == '=1+1 "x", ä€ <b> _x0041_ \n2nd line  '
    assert found.as_built.set_index("run_id").loc["R01", "serial"] == "00123"
    told = [row for row in findings(found) if row[4] == "formula"]
    assert told == [
        ("note", "R01", None, "sump_temp_degC", "formula", "1 figure made by a formula (R01.xlsx R01!C24)",
         "figures that were typed", "what the spreadsheet computed last was taken; look whether it is right"),
    ]  # fmt: skip


TYPED = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=60)


@given(TYPED, TYPED)
@settings(max_examples=40)
@example("=1+1", "@SUM(A1)")
@example("'=1+1", "+1")
@example("_x0041_", "_x005F_x0041_")
@example("a\r\nb\tc", "  two  ")
@example("#N/A", "NaN")
@example("NA", "null")
@example("1,500", "31.03.2026")
@example("lost", "<script>alert(1)</script>")
@example("\u202eabc", "e\u0301")
def test_any_text_survives_run_sheet_and_table_and_is_never_a_formula(reason, drum):
    content = came_back.filled("R01.xlsx", came_back.good("R01", reason=reason, oil_drum=drum))
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert all(b"<f>" not in archive.read(name) for name in archive.namelist() if "worksheets/" in name)
    found = read([ReceivedFile("R01.xlsx", content, "run sheet")])
    assert found.runs.set_index("run_id").loc["R01", "reason"] == (cells.in_words(reason) if reason.strip() else "")
    assert found.as_built.set_index("run_id").loc["R01", "oil_drum"] == drum.strip()


@given(TYPED)
@settings(max_examples=20)
@example("=HYPERLINK(1)")
@example("-")
def test_any_remark_survives_a_blank_table(text):
    def remark(page, head):
        came_back.put(page.cell(2, head["remark"]), text)

    file = ReceivedFile("lab-request.xlsx", came_back.measured("lab-request.xlsx", remark), "oil")
    found = read([file]).oil
    assert list(found["note"])[:1] == [cells.in_words(text)] if text.strip() else "note" not in found


def test_twelve_sheets_and_their_tables_are_read_in_well_under_two_seconds():
    sheets = [replace(item, name=f"{at}-{item.name}") for at in range(3) for item in everything()[:4]]
    read(everything())
    began = time.process_time()
    read([*sheets, *everything()[4:]])
    assert time.process_time() - began < 2.0


def test_files_read_from_a_folder_stand_beside_hand_kept_tables(tmp_path):
    made = issued()
    (tmp_path / "raw").mkdir()
    found = records.read(
        tmp_path,
        made.brief,
        made.plan,
        received=everything(),
        registers=made.registers,
        changed=[("raw/runs.csv", "line 3 is not there any more")],
    )
    pd.testing.assert_frame_equal(found.runs, read(everything()).runs)
    assert findings(found) == [
        ("note", None, None, None, "changed since taken in", "raw/runs.csv: line 3 is not there any more",
         "the table as it was taken in",
         "take it in again with `wearbook intake`; the table as it is now is read"),
    ]  # fmt: skip
    assert not list((tmp_path / "raw").iterdir())


def test_formulas_in_tables_are_counted_once_a_column():
    def computed(page, head):
        for row in (10, 11):
            came_back.put(page.cell(row, head["wear_um"]), Formula("10+2"))

    content = came_back.measured("measure-after.xlsx", computed)
    with pytest.raises(IntakeError) as caught:
        read([ReceivedFile("measure-after.xlsx", content, "stations")])
    assert str(caught.value).count("a formula without a stored value") == 2
