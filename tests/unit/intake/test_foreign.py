"""Tables with headings of their own: by header, units converted, words and decimal marks as declared."""

from __future__ import annotations

from dataclasses import replace

import openpyxl
import pytest

from tests.unit.intake import came_back
from tests.unit.intake.came_back import Formula, everything, issued, read, table
from toolkit.brief.model import KnownScatter, ReceivedTable
from toolkit.errors import IntakeError
from toolkit.intake.received import ReceivedFile, identify

KEEPS = "converted; the file keeps what was typed"


def findings(found, *rules):
    """Findings of these rules as tuples."""
    return [tuple(row) for row in found.findings.itertuples(index=False) if row.rule in rules]


def room(content, name="cmm-1.xlsx", **changes):
    """The records with a table of the metrology room, and the mapping changed."""
    brief = issued().brief
    own = replace(brief.received[0], **changes)
    return read([ReceivedFile(name, content, "stations", own.name)], brief=replace(brief, received=(own,)))


def stretch(part, after=0.0121):
    """Readings of one part in mm, under a title and with columns that nobody asked for."""
    return [
        ["Coordinate measuring", None, None, None],
        [None],
        ["Rep", "Operator", " part ", "STRETCH", "Pos"],
        *[[rep, "x", part, after + 0.0001 * rep, f"SEG0{pos}"] for pos in (1, 2) for rep in (1, 2)],
        ["", "", "", "", ""],
    ]


def test_columns_are_found_by_heading_and_units_converted():
    part = issued().part("R01")
    found = room(table(stretch(part)))
    assert found.readings.to_numpy().tolist() == [
        ["R01", part, f"SEG0{pos}", rep, "after", pytest.approx(12.1 + 0.1 * rep, abs=1e-9)]
        for pos in (1, 2)
        for rep in (1, 2)
    ]
    # 12.2 µm and nothing beside it: decimal arithmetic.
    assert found.readings["wear_um"].iloc[0] == 12.2
    assert findings(found, "converted", "not read") == [
        ("note", None, None, "wear_um", "converted", "4 figures in mm (cmm-1.xlsx Results!D4 and on)", "figures in µm",
         KEEPS),
    ]  # fmt: skip


def test_a_table_of_text_with_semicolons_and_commas():
    part = issued().part("R01")
    text = f"Part;Pos;Rep;Stretch\r\n{part};SEG01;1;0,0121\r\n{part};SEG01;2;lost\r\n;;;\r\n".encode("utf-8-sig")
    found = room(text, "cmm-1.csv")
    assert found.readings["wear_um"].fillna(-1).tolist() == [12.1, -1]
    # Some other cell has a decimal comma, so 1.500 can be read in two ways.
    with pytest.raises(IntakeError) as caught:
        room(f"Part;Pos;Rep;Stretch\n{part};SEG01;1;0,0121\n{part};SEG01;2;1.500\n".encode(), "cmm-1.csv")
    assert str(caught.value).split("\n")[1:] == [
        "  cmm-1.csv line 3, column wear_um: '1.500'; expected a number that can be read in one way only. Its point "
        "can be read in two ways: write 1500 or 1.5, whichever is meant."
    ]
    text = f"Part;Pos;Rep;Stretch\n{part};SEG01;1;0,0121\n{part};SEG01;2;1.500\n"
    found = room(text.encode(), "cmm-1.csv", decimal="comma")
    assert found.readings["wear_um"].tolist() == [12.1, 1500000.0]


def test_the_sheet_is_named_or_the_only_one():
    part = issued().part("R01")
    book = openpyxl.Workbook()
    book.active.title = "Log"
    book.active["A1"] = "made by hand"
    page = book.create_sheet("Results")
    for row in stretch(part)[2:]:
        page.append(row)
    content = came_back.saved(book)
    with pytest.raises(IntakeError) as caught:
        room(content)
    assert str(caught.value).split("\n")[1:] == [
        "  cmm-1.xlsx, [[received]] 'metrology room': 2 filled-in sheets ('Log' or 'Results'); expected one. Name it: "
        'sheet = "...".'
    ]
    assert len(room(content, sheet="Results").readings) == 4
    with pytest.raises(IntakeError) as caught:
        room(content, sheet="Result")
    assert str(caught.value).split("\n")[1:] == [
        "  cmm-1.xlsx, [[received]] 'metrology room': filled-in sheets 'Log' or 'Results'; expected the sheet "
        "'Result'. Did you mean 'Results'?"
    ]


def test_addresses_quote_the_names_of_sheets():
    part = issued().part("R01")
    with pytest.raises(IntakeError) as caught:
        room(table([["Part", "Pos", "Rep", "Stretch"], [part, "SEG01", 1, "x"]], sheet="Mike's data"))
    assert str(caught.value).split("\n")[1:] == [
        "  cmm-1.xlsx 'Mike''s data'!D2, column wear_um: 'x'; expected a number (µm), or 'lost'. Leave the cell blank "
        "while it is not known yet."
    ]


def test_their_words_are_our_levels_and_what_is_told_joins_the_sheets():
    rows = [["Run", "Pin", "Torque", "Start"], ["R01", "dlc", 121.5, None], ["R02", "P0", None, None]]
    bench = ReceivedFile("bench.xlsx", table(rows), "runs", "bench")
    found = read([*everything()[:1], bench])
    runs = found.runs.set_index("run_id")
    assert (runs.loc["R01", "pin"], runs.loc["R01", "torque_Nm"]) == ("P1", 121.5)
    # Nothing was filled in for R02 but what the plan says anyway.
    assert list(runs["verdict"]) == ["valid", "pending", "pending", "pending"]
    assert findings(found, "not in plan") == []


def test_a_whole_table_of_runs_of_ours_is_read_like_sheets():
    made = issued()
    names = ["run_id", "phase", "build_id", "planned_order", "actual_order", "pin", "load_Nm", "run_time_h",
             "sump_temp_degC", "torque_Nm", "verdict", "reason", "role", "serial", "colour"]  # fmt: skip
    rows = []
    for run in ("R01", "R02"):
        values = {**came_back.good(run), **made.row(run), "phase": "main", "reason": None, "colour": "blue"}
        rows.append([values[name] for name in names])
    content = table([names, *rows], sheet="runs")
    assert identify("runs.xlsx", content, made.brief) == ("runs", "")
    found = read([ReceivedFile("runs.xlsx", content, "runs")])
    assert list(found.runs["verdict"]) == ["valid", "valid", "pending", "pending"]
    assert found.as_built["serial"].tolist() == ["S1", "S2", "", ""]
    assert findings(found, "not read") == [
        ("note", None, None, None, "not read", "runs.xlsx: sheet 'runs', column 'colour'",
         "the headings of our table of runs", "none; declare the table in [[received]] to have more of it read"),
    ]  # fmt: skip


def test_a_run_that_was_not_planned_is_told_by_its_phase():
    made = issued()
    names = ["run_id", "phase", "build_id", "planned_order", "actual_order", "pin", "load_Nm", "verdict"]
    content = table([names, ["R09", "main", "B1", 9, 9, "P0", 80, "pending"]])
    found = read([ReceivedFile("runs.xlsx", content, "runs")])
    assert "R09" in set(found.runs["run_id"])
    assert [row[1] for row in findings(found, "not in plan")] == ["R09"]
    assert made.plan["run_id"].tolist() == ["R01", "R02", "R03", "R04"]


def test_what_a_lab_measured_beside_is_read_by_its_element():
    made = issued()
    rows = [["sample_id", "fe_ppm", "fe_ppm measured in", "cu_ppm", "remark"]]
    rows += [[made.sample("R01", "0"), "<500", "ppb", 1, None]]
    rows += [[made.sample("R01", "100"), 30, "mg/kg", "lost", "dirty"]]
    found = read([ReceivedFile("lab.xlsx", table(rows), "oil")])
    assert found.oil[["fe_ppm", "fe_ppm_below_limit", "cu_ppm", "note"]].fillna(-1).to_numpy().tolist() == [
        [0.5, True, 1.0, ""],
        [30.0, False, -1.0, "dirty"],
    ]
    assert findings(found, "converted") == [
        ("note", None, None, "fe_ppm", "converted", "1 figure in ppb (lab.xlsx Results!B2)", "figures in mg/kg", KEEPS),
    ]  # fmt: skip


def test_a_history_may_come_as_a_workbook():
    brief = replace(issued().brief, scatter=KnownScatter())
    names = ["campaign_id", "response", "scale", "per_run", "stratum", "sd", "df", "rig_state"]
    content = table([names, ["C1", "wear_um", "log", "mean", "run", "0,12", 6, "as now"]])
    assert identify("history.xlsx", content, brief) == ("history", "")
    found = read([ReceivedFile("history.xlsx", content, "history")], brief=brief)
    assert found.history.iloc[0][["campaign_id", "sd", "df"]].tolist() == ["C1", 0.12, 6.0]


def test_a_formula_with_a_value_is_taken_and_told(monkeypatch):
    part = issued().part("R01")
    content = table([["Part", "Pos", "Rep", "Stretch"], [part, "SEG01", 1, Formula("0.0121")]])
    # What a spreadsheet program stores beside the formula when it saves.
    content = came_back.computed(content, "D2", "0.0121")
    found = room(content)
    assert found.readings["wear_um"].tolist() == [12.1]
    assert [row[5] for row in findings(found, "formula")] == ["1 figure made by a formula (cmm-1.xlsx Results!D2)"]


def test_a_mapping_that_is_gone_is_told():
    made = issued()
    file = ReceivedFile("lab.csv", b"Probe;Eisen;Bemerkung\n", "oil", "lab")
    with pytest.raises(IntakeError) as caught:
        read([file], brief=replace(made.brief, received=()))
    assert str(caught.value).split("\n")[1:] == [
        "  lab.csv: it is read by [[received]] 'lab'; expected such a table of oil in campaign.toml. Put it back; its "
        "name stands in raw/manifest.csv."
    ]


def test_what_is_always_the_same_must_be_a_value_of_ours():
    part = issued().part("R01")
    with pytest.raises(IntakeError) as caught:
        room(table(stretch(part)[2:4]), always={"state": "later"})
    assert str(caught.value).split("\n")[1:] == [
        "  cmm-1.xlsx Results!2:2, column state: 'later'; expected 'before' or 'after'. Did you mean 'after'?"
    ]


@pytest.mark.parametrize(
    ("name", "content", "as_name", "kind"),
    [
        ("R01.xlsx", came_back.sheet("R01").content, "", ("run sheet", "")),
        ("x.xlsx", issued().files["measure-after.xlsx"], "", ("stations", "")),
        ("x.xlsx", issued().files["lab-request.xlsx"], "", ("oil", "")),
        ("cmm-7.xlsx", table([["anything"]]), "", ("stations", "metrology room")),
        ("sub/CMM-7.csv", b"a,b\n1,2\n", "", ("stations", "metrology room")),
        ("cmm-7.xlsx", came_back.sheet("R01").content, "", ("run sheet", "")),
        ("x.csv", b"Probe;Eisen\n", "lab", ("oil", "lab")),
        ("x.csv", b"Probe;Eisen\n", "Lab", ("oil", "lab")),
        ("runs.csv", b"run_id,torque_Nm\nR01,3\n", "", ("runs", "")),
        ("h.csv", b"campaign_id,response,scale,per_run,stratum,sd,df,rig_state\n", "", ("history", "")),
    ],
)
def test_what_a_file_is(name, content, as_name, kind):
    assert identify(name, content, issued().brief, as_name) == kind


def test_what_is_nothing_known_is_told_with_what_it_could_be():
    with pytest.raises(IntakeError) as caught:
        identify("x.csv", b"Messung,Wert\n1,2\n", issued().brief)
    assert str(caught.value) == (
        "The file was not taken in.\n  x.csv: a table headed 'Messung', 'Wert'; expected a run sheet, or a table with "
        "our headings (stations: part_id, station_id, reading; oil: sample_id; runs: run_id). Read it with --as and "
        "one of 'metrology room', 'lab' or 'bench', or describe it in [[received]]."
    )
    with pytest.raises(IntakeError) as caught:
        identify("x.csv", b"Messung,Wert\n1,2\n", issued().brief, as_name="labor")
    assert str(caught.value) == (
        "The file was not taken in.\n  x.csv: --as 'labor'; expected one of [[received]] in campaign.toml: 'metrology "
        "room', 'lab' or 'bench'. Did you mean 'lab'?"
    )
    with pytest.raises(IntakeError) as caught:
        identify("x.csv", b"a,b\n", replace(issued().brief, received=()), as_name="lab")
    assert str(caught.value) == (
        "The file was not taken in.\n  x.csv: --as 'lab'; expected a [[received]] table. Describe the table there "
        "first."
    )
    with pytest.raises(IntakeError) as caught:
        identify("x.pdf", b"%PDF-1.4", issued().brief)
    assert str(caught.value) == (
        "The file was not taken in.\n  x.pdf: a PDF file, whatever its name says; expected an xlsx file or a table as "
        "CSV. Ask for the table itself."
    )


def test_a_table_of_ours_without_a_figure_column_is_refused():
    with pytest.raises(IntakeError) as caught:
        read([ReceivedFile("x.csv", b"sample_id,at_h\nZZ1,0\n", "oil")])
    assert str(caught.value).split("\n")[1:] == [
        "  x.csv line 1: no column with figures; expected a column 'fe_ppm'."
    ]


def test_declared_tables_are_frozen():
    assert ReceivedTable("a", "oil", {"sample_id": "x"}) == ReceivedTable("a", "oil", {"sample_id": "x"})


@pytest.mark.parametrize(
    ("name", "fault"),
    [
        ("campaign.toml", "a brief; expected a run sheet as xlsx, or a table as xlsx or CSV."),
        ("sheets/All.HTML", "a web page; expected a run sheet as xlsx, or a table as xlsx or CSV."),
        (
            "~$P01.xlsx",
            "the mark of a spreadsheet program that a workbook is open; expected the workbook itself. Save and close "
            "it there, and name the workbook.",
        ),
    ],
)
def test_a_file_that_is_no_table_by_its_name_is_refused_as_what_it_is(name, fault):
    with pytest.raises(IntakeError) as refused:
        identify(name, b"a,b\n1\n", issued().brief)
    assert str(refused.value) == f"The file was not taken in.\n  {name}: {fault}"
