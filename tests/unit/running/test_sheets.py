"""Run sheets: what stands on them and what must not, as a workbook and printed; one A4 page a run."""

from __future__ import annotations

import hashlib
import io
import json
import re
import shutil
import subprocess
from dataclasses import replace

import openpyxl
import pytest

from tests.unit.report.page import Page
from tests.unit.running.material import AT, HOURS, VERDICTS, chain, issued, runs_of
from toolkit import cautions, sheetfile, shipped
from toolkit.brief import reading
from toolkit.brief.model import Factor, Held, Level
from toolkit.errors import DesignError
from toolkit.running import printed, workbook
from toolkit.running.register import register
from toolkit.running.sheets import run_sheets


def line(sheet, column):
    return next(item for _, lines in sheet.parts for item in lines if item.column == column)


def test_windows_limits_and_rules_stand_beside_their_boxes():
    _, _, sheets = issued(chain())
    sheet = sheets[0]
    assert [title for title, _ in sheet.parts] == ["before", "during", "after", "verdict"]
    assert line(sheet, "sump_temp_degC").rule == "98.5 to 101.5; void outside 94 to 106"
    assert line(sheet, "sump_temp_degC").unit == "°C"
    assert line(sheet, "sump_temp_degC").between == (98.5, 101.5)
    assert line(sheet, "soot_pct").rule == "2.7 to 3.3"
    assert line(sheet, "run_time_h").rule == "99 to 101"
    assert line(sheet, "downtime_h").rule == "void above 24"
    assert line(sheet, "verdict").choices == VERDICTS
    assert sheet.void == (
        "Downtime above 24 h",
        "Channel gap above 1 h",
        "Carry over above 2 %",
        "Si above 20 mg/kg",
        "Sump temp outside 94 to 106 °C",
    )


def test_the_instruction_says_what_to_build_and_when_a_build_is_new():
    runs, made, sheets = issued(chain())
    parts = made.parts.set_index("run_id")["part_id"]
    labels = {"P0": "ground steel", "P1": "nitride-coated", "O0": "current", "O1": "new additive system, same grade"}
    news = []
    for row, sheet in zip(runs.to_dict("records"), sheets, strict=True):
        told = dict(sheet.instruction)
        assert sheet.run_id == row["run_id"]
        assert told["pin"] == f"{row['pin']} ({labels[row['pin']]})"
        assert told["oil"] == f"{row['oil']} ({labels[row['oil']]})"
        assert told["part"] == parts[row["run_id"]]
        news.append(told["build"].endswith(": a new build starts with this run"))
    assert news == [at % 4 == 0 for at in range(12)]


def test_the_checksum_of_a_row_is_that_of_its_values():
    runs, _, sheets = issued(chain())
    row = {name: str(value) for name, value in runs.iloc[4].to_dict().items()}
    text = json.dumps(row, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert sheets[4].row == hashlib.sha256(text.encode()).hexdigest()
    assert len({sheet.row for sheet in sheets}) == 12


def test_sheets_and_register_must_be_of_one_phase():
    brief = chain()
    made = register(brief, runs_of(brief, "pilot"), seed=1)
    with pytest.raises(DesignError) as told:
        run_sheets(brief, runs_of(brief), made, seal="", head="", verdicts=VERDICTS)
    assert str(told.value) == "The register is of the pilot phase, the runs are not. Make them from one plan."


def test_the_workbook_lets_people_fill_in_its_boxes_and_nothing_else():
    _, _, sheets = issued(chain())
    content = workbook.workbook(sheets[0], at=AT)
    assert workbook.workbook(sheets[0], at=AT) == content
    page = openpyxl.load_workbook(io.BytesIO(content)).active
    rows = {page.cell(row, 2).value: row for row in range(1, page.max_row + 1)}
    assert [page.cell(3, at).value for at in range(1, 7)] == list(workbook.HEADINGS)
    assert page.cell(rows["run_id"], 3).value == "R01" == page["A1"].value
    assert page.cell(rows["seal"], 3).value == sheets[0].seal
    assert page.cell(rows["row_checksum"], 3).value == sheets[0].row
    boxes = [cell for cells in page.iter_rows() for cell in cells if not cell.protection.locked]
    assert {cell.column for cell in boxes} == {3, 6}
    assert all(cell.value is None for cell in boxes)
    assert len(boxes) == 2 * sum(len(lines) for _, lines in sheets[0].parts)
    assert page.cell(rows["sump_temp_degC"], 4).value == "°C"
    assert page.protection.sheet and not page.protection.password
    merged = {where for area in page.merged_cells.ranges for where in area.cells}
    assert not merged & {(cell.row, cell.column) for cell in boxes}
    rules = {str(rule.sqref): rule for rule in page.data_validations.dataValidation}
    assert rules[f"C{rows['verdict']}"].formula1 == '"valid,invalid,not interpretable,pending"'
    assert rules[f"C{rows['sump_temp_degC']}"].errorStyle == "warning"
    assert rules[f"C{rows['sump_temp_degC']}"].error == (
        "Outside 98.5 to 101.5 the run goes to review. Keep the true figure."
    )
    assert (page.page_setup.paperSize, page.page_setup.orientation) == ("9", "portrait") or (
        page.page_setup.paperSize,
        page.page_setup.orientation,
    ) == (9, "portrait")
    assert (page.page_setup.fitToWidth, page.page_setup.fitToHeight) == (1, 1)
    assert {cell.kind for cell in sheetfile.read(content, where="x")[0].cells} == {"text"}


def test_nothing_expected_stands_on_a_sheet():
    brief = chain()
    _, _, sheets = issued(brief)
    words = Page(printed.printed(sheets)).text()
    cells = sheetfile.read(workbook.workbook(sheets[0], at=AT), where="x")[0].cells
    words += " ".join(str(cell.value) for cell in cells)
    assert "elongation" not in words and "fe_ppm" not in words
    assert [item.name for item in brief.comparisons if item.name in words] == []
    assert "20 %" not in words and brief.question not in words


def test_levels_have_tick_boxes_as_far_as_they_fit_the_box():
    def oil(first, second):
        """The box of the oil as built, printed, where its levels are called so."""
        text = (shipped.folder("data") / "chain-soot" / "campaign.toml").read_text(encoding="utf-8")
        sheets = issued(reading.parse(text.replace("O0", first).replace("O1", second)))[2]
        return printed.printed(sheets[:1]).partition("oil as built</td>")[2].partition("</td>")[0]

    ticked = '<td class="box tick" style="font-size:{}pt"><i>{}</i><i>{}</i>'
    assert oil("O0", "O1") == ticked.format("11.0", "O0", "O1")
    assert oil("clean", "sooty") == ticked.format("9.4", "clean", "sooty")
    assert oil("FRESH", "SOOTY") == ticked.format("7.5", "FRESH", "SOOTY")
    assert oil("FRESHLY", "SOOTY") == "<td class=box>"


def test_every_printed_sheet_carries_id_seal_checksum_and_cautions():
    _, _, sheets = issued(chain())
    text = printed.printed(sheets)
    assert "<script" not in text and "http://" not in text and "https://" not in text
    pieces = text.split("<section>")[1:]
    assert len(pieces) == 12
    for sheet, piece in zip(sheets, pieces, strict=True):
        words = Page(piece).text()
        assert Page(piece).text("h1") == sheet.run_id
        assert sheet.seal in words and sheet.row in words and sheet.head in words
        assert cautions.HEADER in words
        assert all(short in words for short in cautions.SHORT)
        assert all(rule in words for rule in sheet.void)
        assert all(item.rule in words for _, lines in sheet.parts for item in lines if not item.tick)
        codes = [
            item.rule.removeprefix("label ") for _, lines in sheet.parts for item in lines if item.tick and item.rule
        ]
        assert len(codes) == len(HOURS) and all(code in words for code in codes)


def crowded():
    """The campaign with long names and many variables kept constant."""
    brief = chain()
    pin = Factor("pin", "part", (Level("P0", "<b>ground</b> & polished steel " * 3), Level("P1", "nitride " * 8)))
    held = [Held(f"a_rather_long_name_of_channel_{at}_degC", 100, (98.5, 101.5), (94, 106)) for at in range(6)]
    return replace(brief, factors=(pin, *brief.factors[1:]), held=(*brief.held, *held))


@pytest.mark.parametrize("make", [chain, crowded])
def test_a_run_prints_on_exactly_one_page_with_nothing_cut(make, tmp_path):
    _, _, sheets = issued(make())
    path = tmp_path / "all.html"
    # What runs over a section of 274 mm is hidden on paper; shown here, it would make a page more.
    text = printed.printed(sheets).replace("overflow:hidden;break-inside", "break-inside").replace("height:274mm;", "")
    assert text.count("margin:10mm}") == 1
    text = text.replace("margin:10mm}", "margin:10mm 10mm 13mm}")
    path.write_text(text, encoding="utf-8")
    browser = shutil.which("chromium")
    assert browser, "chromium is needed: .ci/run installs it"
    subprocess.run(
        [
            browser,
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            f"--user-data-dir={tmp_path / 'profile'}",
            "--no-pdf-header-footer",
            f"--print-to-pdf={tmp_path / 'all.pdf'}",
            path.as_uri(),
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    assert len(re.findall(rb"/Type\s*/Page\b", (tmp_path / "all.pdf").read_bytes())) == 12


def test_more_lines_than_a_page_holds_are_refused():
    brief = chain()
    held = tuple(Held(f"channel_{at}_degC", 100, (98.5, 101.5)) for at in range(40))
    _, _, sheets = issued(replace(brief, held=held))
    with pytest.raises(DesignError) as told:
        printed.printed(sheets)
    assert str(told.value) == (
        "A run sheet of 63 lines does not fit one A4 page. Hold or bound fewer variables in campaign.toml, or draw "
        "fewer oil samples."
    )


def test_text_of_the_brief_is_never_markup():
    _, _, sheets = issued(crowded())
    assert "<b>ground" not in printed.printed(sheets)
    assert "&lt;b&gt;ground" in printed.printed(sheets)


def test_places_go_up_to_the_last_one_where_some_are_empty():
    brief = chain()
    runs = runs_of(brief).drop(index=[9]).reset_index(drop=True)
    made = run_sheets(brief, runs, register(brief, runs, seed=1), seal="s", head="h", verdicts=("valid",))
    assert [sheet.place for sheet in made][-2:] == ["11 of 12", "12 of 12"]
