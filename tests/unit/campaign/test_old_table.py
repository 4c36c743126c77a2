"""A campaign begun from an old table: what is recognised, the draft, its questions, and the whole walk; INVENTED."""

from __future__ import annotations

import json
import re
import shutil
from datetime import date
from pathlib import Path

import pytest

from tests.broken.old_tables import book
from toolkit.brief import reading
from toolkit.campaign import log, manifest, old_columns, old_draft, old_table, start, storage
from toolkit.campaign.folder import open_campaign
from toolkit.campaign.old_names import Names, level_names, plain, suffix_for, unit_in
from toolkit.cli import main
from toolkit.errors import BriefError, CampaignError, DesignError, IntakeError, StorageError
from toolkit.shipped import folder as shipped

LEGACY = shipped("data") / "legacy-chain" / "old-runs.csv"
DRAFT = Path(__file__).with_name("old_draft.toml")

ANSWERS = {
    'question = "?"': 'question = "Is the coated pin worth a campaign of its own?"',
    'new_each_run = "?"': 'new_each_run = ["part", "fill"]',
    'name = "pin"\nundo = "?"': 'name = "pin"\nundo = "part"',
    'name = "oil"\nundo = "?"': 'name = "oil"\nundo = "fill"',
    'name = "chain_elongation_pct"\nrole = "?"': 'name = "chain_elongation_pct"\nrole = "primary"',
    'role = "?"': 'role = "secondary"',
    'better = "?"': 'better = "smaller"',
    'scale = "?"': 'scale = "log"',
    'worthwhile_change_pct = "?"': "worthwhile_change_pct = 20",
    'order = "?"': 'order = "Date"',
    'verdict = "?"': 'verdict = "valid"',
}


def answered(text, **more):
    """A draft with every question answered."""
    for asked, told in (*more.items(), *ANSWERS.items()):
        text = text.replace(asked, told)
    return text


def seen(content, name="old.csv"):
    """What is recognised in a table."""
    return old_columns.recognise(old_table.of_bytes(name, content if isinstance(content, bytes) else content.encode()))


def drafted(content, name="old.csv"):
    """The draft of a table."""
    return old_draft.draft(seen(content, name), campaign_id="old", received="raw/received/x-old.csv")


def questions(text):
    """The faults of a draft, a line each."""
    with pytest.raises(BriefError) as caught:
        reading.parse(text)
    return str(caught.value).split("\n")


def test_the_draft_of_the_bundled_table_whole():
    found = old_columns.recognise(old_table.read(LEGACY))
    made = old_draft.draft(found, campaign_id="legacy", received="raw/received/0123456789ab-old-runs.csv")
    assert made == DRAFT.read_text(encoding="utf-8")


def test_every_question_of_the_draft_is_asked_in_words_and_nothing_else():
    assert questions(DRAFT.read_text(encoding="utf-8")) == [
        "campaign.toml is not in order (14 faults):",
        "  campaign.toml line 9: [campaign] question: '?', not answered yet; expected a sentence. Which change, by how "
        "much, for which decision?",
        "  campaign.toml line 11: [campaign] new_each_run: '?', not answered yet; expected a list such as [\"part\", "
        "\"fill\"], or []. What was new in every run anyway: build, part, fill, setting?",
        "  campaign.toml line 19: factor 'pin', undo: '?', not answered yet; expected 'build', 'part', 'fill', "
        "'setting' or 'position'. What had to be undone to change pin?",
        "  campaign.toml line 26: factor 'oil', undo: '?', not answered yet; expected 'build', 'part', 'fill', "
        "'setting' or 'position'. What had to be undone to change oil?",
        "  campaign.toml line 35: response 'chain_elongation_pct', role: '?', not answered yet; expected 'primary' "
        "(one response) or 'secondary'. Does the decision rest on chain elongation?",
        "  campaign.toml line 36: response 'chain_elongation_pct', better: '?', not answered yet; expected 'smaller' "
        "or 'larger'. Which is better: less chain elongation, or more?",
        "  campaign.toml line 37: response 'chain_elongation_pct', scale: '?', not answered yet; expected 'log' or "
        "'linear'. Is chain elongation compared by ratios (log: per cent, the usual choice for wear) or by differences "
        "(linear)?",
        "  campaign.toml line 38: response 'chain_elongation_pct', worthwhile_change_pct: '?', not answered yet; "
        "expected a number above 0 and below 100. What is the smallest change of chain elongation, in per cent, that "
        "matters to the decision? On the linear scale write worthwhile_change, in its own unit.",
        "  campaign.toml line 44: response 'fe_ppm', role: '?', not answered yet; expected 'primary' (one response) or "
        "'secondary'. Does the decision rest on Fe?",
        "  campaign.toml line 45: response 'fe_ppm', better: '?', not answered yet; expected 'smaller' or 'larger'. "
        "Which is better: less Fe, or more?",
        "  campaign.toml line 46: response 'fe_ppm', scale: '?', not answered yet; expected 'log' or 'linear'. Is Fe "
        "compared by ratios (log: per cent, the usual choice for wear) or by differences (linear)?",
        "  campaign.toml line 47: response 'fe_ppm', worthwhile_change_pct: '?', not answered yet; expected a number "
        "above 0 and below 100. What is the smallest change of Fe, in per cent, that matters to the decision? On the "
        "linear scale write worthwhile_change, in its own unit.",
        "  campaign.toml line 68: [old_data] order: '?', not answered yet; expected 'unknown', 'as listed' or the "
        "heading of the column that tells it. In which order were these runs made?",
        "  campaign.toml line 90: received 'old table', always.verdict: '?', not answered yet; expected 'valid', or "
        "'pending' to judge them one by one with `wearbook note`. Did the runs of all lines go to their end by the "
        "rules of the rig?",
    ]


def test_the_answered_draft_is_the_brief_that_was_meant():
    brief = reading.parse(answered(DRAFT.read_text(encoding="utf-8")))
    assert brief.factor_names == ("pin", "oil")
    assert brief.factor("oil").names == ("mineral 15W-40", "part-synthetic", "synthetic 5W-30")
    assert [(item.name, item.role, item.source) for item in brief.responses] == [
        ("chain_elongation_pct", "primary", "runs"),
        ("fe_ppm", "secondary", "runs"),
    ]
    assert [item.name for item in brief.comparisons] == [
        "pin coated against bare",
        "oil part-synthetic against mineral 15W-40",
        "oil synthetic 5W-30 against mineral 15W-40",
    ]
    assert (brief.old_data.order, brief.old_data.repeats) == ("Date", "none")
    (table,) = brief.received
    assert dict(table.columns) == {
        "run_id": "Run",
        "actual_order": "Date",
        "pin": "Pin",
        "oil": "Oil",
        "chain_elongation_pct": "Chain elongation (%)",
        "fe_ppm": "Fe (ppm)",
        "note": "Remark",
    }
    assert dict(table.always) == {"phase": "main", "build_id": "old", "verdict": "valid"}
    assert {name: dict(words) for name, words in table.levels.items()} == {
        "oil": {"part-synthetic": "part-synthetic 10W-40"}
    }


@pytest.mark.parametrize(
    ("heading", "found"),
    [
        ("wear (um)", ("wear", "um", "")),
        ("wear [µm]", ("wear", "um", "")),
        ("Verschleiß (\u03bcm)", ("Verschleiß", "um", "")),
        ("wear_um", ("wear", "um", "")),
        ("Fe ppm", ("Fe", "ppm", "")),
        ("Fe mg/kg", ("Fe", "ppm", "")),
        ("mass loss mg", ("mass loss", "mg", "")),
        ("mass loss in mg", ("mass loss", "mg", "")),
        ("elongation, %", ("elongation", "pct", "")),
        ("elongation / %", ("elongation", "pct", "")),
        ("viscosity_mm2_s", ("viscosity", "mm2_s", "")),
        ("oil pressure (psi)", ("oil pressure", "MPa", "psi")),
        ("scar (inch)", ("scar", "um", "inch")),
        ("run time (hrs)", ("run time", "h", "")),
        ("wear (old gauge)", ("wear (old gauge)", "", "")),
        ("wear", ("wear", "", "")),
        ("mg", ("mg", "", "")),
    ],
)
def test_what_a_heading_says_it_is_measured_in(heading, found):
    assert unit_in(heading, ["12", "13"]) == found


def test_a_unit_typed_in_every_cell_is_the_columns_own():
    assert unit_in("wear", ["12 µm", "13.5 µm"]) == ("wear", "um", "")
    assert unit_in("wear", ["12 µm", "13.5"]) == ("wear", "", "")
    assert unit_in("wear", ["12 µm", "13.5 mg"]) == ("wear", "", "")
    assert suffix_for("furlong") == ("", "")


def test_names_and_levels_are_legal_and_unique():
    assert plain("Öl & Additiv 3") == "ol_additiv_3"
    assert plain("2nd µ-value") == "x_2nd_u_value"
    assert plain("!!") == ""
    assert level_names(["bare", "DLC, 2 µm", "NA", "#1", "#1!", "x" * 40, "Centre"]) == [
        "bare",
        "DLC 2 µm",
        "level 3",
        "1",
        "level 5",
        "level 6",
        "level 7",
    ]
    lines = [f"{at},{'ab'[at % 2]},{'cd'[at // 2 % 2]},{'ef'[at % 2]},{at}" for at in range(1, 5)]
    found = seen("\n".join(["no,Oil!,Oil?,run,wear (um)", *lines]))
    assert [item.name for item in found.treatments] == ["oil", "oil_2", "run_2"]


def test_a_workbook_with_a_title_dates_and_numbers():
    rows = (
        ("Chain rig, INVENTED", None, None, None, None),
        ("Date", "Pin", "Load (Nm)", "Wear (mm)", "Loss mg"),
        ("2020-01-07", "bare", 80, 0.0123, -1.5),
        ("2020-02-11", "coated", 80, 0.0101, 2.25),
        ("2020-03-03", "bare", 120, 0.0187, 4.0),
        ("2020-04-21", "coated", 120, 0.0142, 3.0),
    )
    found = seen(book(("Runs 2020", rows)), "runs.xlsx")
    assert [(item.name, item.numeric, item.levels) for item in found.treatments] == [
        ("pin", False, (("bare", "bare"), ("coated", "coated"))),
        ("load_Nm", True, (("80", "80"), ("120", "120"))),
    ]
    assert [(item.name, item.above_zero) for item in found.responses] == [("wear_mm", True), ("loss_mg", False)]
    assert (found.order, found.run_id) == ("Date", "")
    text = old_draft.draft(found, campaign_id="x", received="raw/received/x.xlsx")
    assert "# Above the headings, not read: 'Chain rig, INVENTED'." in text
    assert "levels = [80, 120]" in text
    assert 'name = "loss_mg"\nrole = "?"' in text and 'scale = "linear"' in text
    assert "# No column names the runs: they are numbered by their lines, L01, L02 ..." in text
    brief = reading.parse(answered(text, **{
        'name = "pin"\nundo = "?"': 'name = "pin"\nundo = "part"',
        'name = "load_Nm"\nundo = "?"': 'name = "load_Nm"\nundo = "setting"',
        'name = "wear_mm"\nrole = "?"': 'name = "wear_mm"\nrole = "primary"',
        'role = "?"': 'role = "secondary"',
        'worthwhile_change = "?"': "worthwhile_change = 0.5",
    }))  # fmt: skip
    assert brief.factor("load_Nm").names == ("80", "120")


def test_dates_that_a_workbook_holds_as_dates_tell_the_order():
    import io

    import openpyxl

    made = openpyxl.Workbook()
    for row in (("When run, date", "Pin", "Wear (um)"), (date(2020, 3, 1), "a", 1.5), (date(2020, 1, 1), "b", 2.5),
                (date(2020, 2, 1), "a", 3.5)):  # fmt: skip
        made.active.append(row)
    buffer = io.BytesIO()
    made.save(buffer)
    assert seen(buffer.getvalue(), "x.xlsx").order == "When run, date"


def test_commas_semicolons_and_tabs_are_told_by_the_headings():
    rows = [("Pin", "Wear (um)"), ("a", "1.5"), ("b", "2.5"), ("a", "3.25")]
    found = [seen("\n".join(sign.join(row) for row in rows)) for sign in ",;\t"]
    assert {tuple(item.levels for item in one.treatments) for one in found} == {((("a", "a"), ("b", "b")),)}
    assert {one.responses[0].seen for one in found} == {"3 different in 3 lines: '1.5', '2.5', '3.25'"}


@pytest.mark.parametrize(
    ("figures", "decimal"),
    [
        (("1.5", "2.25", "3.0"), ""),
        (("1,5", "2,25", "3,0"), ""),
        (("1,500", "2,25", "3,0"), "comma"),
        (("1,500", "2.25", "3.0"), "point"),
        (("1,500", "2,250", "3,125"), "?"),
    ],
)
def test_a_figure_that_can_be_read_in_two_ways(figures, decimal):
    content = "Pin;Wear (um)\n" + "".join(f"{pin};{one}\n" for pin, one in zip("aba", figures, strict=True))
    assert seen(content).decimal == decimal
    assert (f'decimal = "{decimal}"' in drafted(content)) == bool(decimal)
    if decimal == "?":
        line = drafted(content).split("\n").index(
            'decimal = "?"                         # comma | point: some figures can be read in two ways'
        )
        assert (
            f"  campaign.toml line {line + 1}: received 'old table', decimal: '?', not answered yet; expected 'comma' "
            "or 'point'. Some figures can be read in two ways, as 1,500: what is the mark between units and tenths?"
        ) in questions(drafted(content))


def test_a_unit_that_is_not_known_is_asked_and_told_once():
    text = drafted("Pin;Wear\na;12\nb;13\na;14\n")
    assert 'name = "wear_?"' in text and '"wear_?" = "Wear"' in text
    told = [line for line in questions(text) if "wear_?" in line and "name" in line]
    assert len(told) == 1 and told[0].endswith(
        "response 'wear_?', name: 'wear_?', its unit not answered yet; expected its unit in place of the ?, as wear_um "
        "or loss_mg. What is wear measured in? Write it here and in [[received]]."
    )
    more = {'order = "?"': 'order = "unknown"', 'repeats = "?"': 'repeats = "readings"'}
    more['name = "pin"\nundo = "?"'] = 'name = "pin"\nundo = "part"'
    brief = reading.parse(answered(text.replace("wear_?", "wear_um"), **more))
    assert brief.responses[0].name == "wear_um" and brief.received[0].columns["wear_um"] == "Wear"


def test_what_is_neither_treatment_nor_response_is_told():
    content = (
        "Test no;Engine;Pin;Duration (min);Sump temp (degC);Cell;Wear (inch);Status;Observer\n"
        "7;E1;a;6000;99.8;2;0.001;valid;first of all\n"
        "8;E1;b;6010;100.4;2;0.002;valid;then this\n"
        "9;E2;a;5990;100.1;2;0.003;invalid;and a third\n"
        "10;E2;b;6001;99.9;2;0.004;valid;x\n"
        "11;E3;a;6002;99.7;2;0.0035;valid;y\n"
        "12;E3;b;6003;99.6;2;0.0045;valid;z\n"
        "13;E4;a;6004;99.5;2;0.0055;valid;w\n"
    )
    found = seen(content)
    assert (found.run_id, found.build, found.hours, found.hours_unit) == ("Test no", "Engine", "Duration (min)", "min")
    assert (found.verdict, found.note) == ("Status", "Observer")
    assert [(item.name, item.their_unit) for item in found.responses] == [("wear_um", "inch")]
    assert [heading for heading, _ in found.left] == ["Sump temp (degC)", "Cell"]
    text = drafted(content)
    assert (
        "# Column 'Sump temp (degC)' is not read: figures of a condition (7 different in 7 lines: '99.8', '100.4', "
        "'100.1', '99.9' and 3 more); to have it checked, write it into [held] and into columns.\n"
        "# Column 'Cell' is not read: the same in every line: 2.\n"
    ) in text
    assert '[received.measured_in]\nwear_um = "inch"\nrun_time_h = "min"\n' in text
    assert 'by = "?"' in text and 'verdict = "Status"' in text
    assert "[blocks] by: '?', not answered yet; expected 'build', or no section [blocks]." in "\n".join(questions(text))


def test_grades_of_oil_are_words_and_no_figures():
    found = seen("Oil,Wear (um)\n5W-30,12\n10W-40,13\n5W-30,14\n0W-20,15\n")
    assert [item.levels for item in found.treatments] == [tuple((name, name) for name in ("5W-30", "10W-40", "0W-20"))]


def test_ids_that_come_back_name_runs_only_where_the_combination_is_the_same():
    readings = seen("Run,Pin,Wear (um)\n1,a,12\n1,a,13\n2,b,14\n2,b,15\n")
    assert (readings.run_id, readings.left) == ("Run", ())
    other = seen("Run,Pin,Wear (um)\n1,a,12\n1,b,13\n2,a,14\n2,b,15\n")
    assert (other.run_id, other.left) == (
        "",
        (("Run", "'1' stands on lines of several combinations, so it names no run"),),
    )


def test_hours_that_are_none_are_not_read():
    found = seen("Pin;Run time (min);Wear (um)\na;6000;12\nb;6000;13\na;5 mg;14\nb;5990;15\n")
    assert (found.hours, found.left) == (
        "",
        (
            (
                "Run time (min)",
                "not every cell is a number of hours (3 different in 4 lines: '6000' (2 times), '5 mg', '5990')",
            ),
        ),
    )


def test_names_of_columns_do_not_meet_whatever_unit_they_get():
    names = Names()
    assert [names.of("wear", "um", factor=False), names.of("Wear", "?", factor=False)] == ["wear_um", "wear_2_?"]
    assert [names.of("loss", "?", factor=False), names.of("loss", "mg", factor=False)] == ["loss_?", "loss_2_mg"]
    assert names.of("note", "", factor=True) == "note_2"
    assert names.of("x" * 60, "?", factor=False) == f"{'x' * 34}_?"
    assert names.of("C", "", factor=True) == "c_2"


def test_lines_of_the_same_combination_are_asked_about():
    text = drafted("Pin;Oil;Wear (um)\na;x;12\nb;x;13\na;x;14\na;y;15\na;x;16\n")
    assert (
        'repeats = "?"                         # lines of one combination: runs | readings | none | unknown\n'
        "# The same combination: line 2 and line 4 and line 6.\n"
    ) in text
    assert (
        "[old_data] repeats: '?', not answered yet; expected 'runs', 'readings', 'none' or 'unknown'. What are lines "
        "of the same combination: runs of their own (new parts, a new fill), or readings of one run?"
    ) in "\n".join(questions(text))


def test_an_order_by_a_column_that_is_not_read_is_a_fault():
    text = answered(DRAFT.read_text(encoding="utf-8"), **{'order = "?"': 'order = "Day"'})
    assert questions(text.replace('actual_order = "Date"\n', "")) == [
        "campaign.toml is not in order (1 fault):",
        "  campaign.toml line 68: [old_data] order: 'Day'; expected 'unknown' or 'as listed', or the heading that "
        "[[received]] has for actual_order. A column is named by actual_order = 'Day' in [received.columns].",
    ]


def test_the_copy_has_the_very_bytes_and_its_rows(tmp_path):
    made = start.new(tmp_path / "old runs!", table=LEGACY)
    folder = tmp_path / "old runs!"
    (copy,) = (folder / "raw" / "received").iterdir()
    assert copy.read_bytes() == LEGACY.read_bytes()
    assert copy.name == f"{manifest.entry(LEGACY.read_bytes(), kind='runs', given_as='x').sha256[:12]}-old-runs.csv"
    (entry,) = manifest.listed(folder)
    assert (entry.kind, entry.mapping, entry.given_as, entry.replaces) == ("runs", "old table", "old-runs.csv", "")
    (row,) = log.read(folder)
    assert (row["kind"], row["subject"]) == ("taken in", entry.sha256)
    assert json.loads(row["what"])["file"] == f"raw/received/{copy.name}"
    assert manifest.faults(folder, manifest.entries(log.read(folder))) == []
    assert made.written[:3] == (folder / "campaign.toml", copy, folder / "raw" / "manifest.csv")
    assert 'id = "old-runs"' in (folder / "campaign.toml").read_text(encoding="utf-8")


def test_a_start_that_was_stopped_on_the_way_is_completed(tmp_path):
    start.new(tmp_path / "a", table=LEGACY)
    start.new(tmp_path / "b", table=LEGACY)
    (tmp_path / "b" / "campaign.toml").unlink()
    start.new(tmp_path / "b", table=LEGACY)
    assert len(log.read(tmp_path / "b")) == len(manifest.listed(tmp_path / "b")) == 1
    one, other = ((tmp_path / name / "campaign.toml").read_text(encoding="utf-8") for name in "ab")
    assert other == one.replace('id = "a"', 'id = "b"')


def test_a_full_disk_leaves_no_draft_without_its_table(tmp_path, monkeypatch):
    whole = storage.write_bytes

    def full(path, content):
        """Fail where the copy should be written."""
        if "received" in str(path):
            raise StorageError(f"{path}: could not be written (No space left on device).")
        whole(path, content)

    monkeypatch.setattr(storage, "write_bytes", full)
    with pytest.raises(StorageError):
        start.new(tmp_path / "a", table=LEGACY)
    assert not (tmp_path / "a" / "campaign.toml").exists() and not (tmp_path / "a" / "log.csv").exists()


def test_a_campaign_that_is_there_is_not_touched(tmp_path):
    start.new(tmp_path / "a")
    before = (tmp_path / "a" / "campaign.toml").read_bytes()
    with pytest.raises(CampaignError):
        start.new(tmp_path / "a", table=LEGACY)
    assert (tmp_path / "a" / "campaign.toml").read_bytes() == before
    assert not (tmp_path / "a" / "raw").exists()


READINGS = """Pin,Oil,"Mass loss, mg",Test hours
bare,A,12.1,100
bare,A,12.5,100
coated,A,9.3,100
coated,A,9.9,100
bare,B,-0.2,62
"""


def judged(folder, repeats):
    """A campaign of the table of readings, answered."""
    (folder / "old.csv").write_text(READINGS, encoding="utf-8")
    start.new(folder / "campaign", table=folder / "old.csv")
    path = folder / "campaign" / "campaign.toml"
    more = {'worthwhile_change = "?"': "worthwhile_change = 2"}
    more |= {'order = "?"': 'order = "unknown"', 'repeats = "?"': f'repeats = "{repeats}"'}
    path.write_text(answered(path.read_text(encoding="utf-8"), **more), encoding="utf-8")
    return open_campaign(folder / "campaign")


def test_readings_of_one_run_are_never_replicates(tmp_path):
    found = judged(tmp_path, "readings")
    runs = found.records().runs
    assert list(runs["run_id"]) == ["L01", "L03", "L05"]
    assert list(runs["mass_loss_mg"]) == pytest.approx([12.3, 9.6, -0.2])
    assert list(runs["run_time_h"]) == [100.0, 100.0, 62.0]
    assert list(found.records().findings["rule"]) == ["averaged", "averaged"]


def test_runs_of_their_own_are(tmp_path):
    runs = judged(tmp_path, "runs").records().runs
    assert list(runs["run_id"]) == ["L01", "L02", "L03", "L04", "L05"]
    assert list(runs["mass_loss_mg"]) == [12.1, 12.5, 9.3, 9.9, -0.2]


def test_lines_alike_that_are_said_to_be_none_are_refused(tmp_path):
    with pytest.raises(IntakeError) as caught:
        judged(tmp_path, "none").records()
    (name,) = (path.name for path in (tmp_path / "campaign" / "raw" / "received").iterdir())
    assert str(caught.value).split("\n")[1:] == [
        f"  raw/received/{name} line {two}: the same combination as line {one}, though repeats is 'none' in [old_data]"
        "; expected 'runs', 'readings' or 'unknown' there. Say what the lines are: runs of their own, or readings of "
        "one run."
        for one, two in ((2, 3), (4, 5))
    ]


@pytest.fixture(scope="module")
def walked(tmp_path_factory):
    """The bundled table carried from `new --from-table` to the report, every answer given."""
    folder = tmp_path_factory.mktemp("walk") / "legacy"
    assert main(["new", str(folder), "--from-table", str(LEGACY)]) == 0
    assert main(["check", str(folder)]) == 1
    path = folder / "campaign.toml"
    text = answered(path.read_text(encoding="utf-8"))
    path.write_text(text.replace("# declared_cv_pct = [10, 20]", "declared_cv_pct = [10, 20]"), encoding="utf-8")
    for verb in ("check", "analyse", "report", "status", "verify"):
        assert main([verb, str(folder)]) == 0
    return folder


def test_the_walk_reads_the_runs_in_the_order_of_their_dates(walked):
    runs = open_campaign(walked).records().runs
    assert list(runs["run_id"]) == [f"INV-{at}" for at in range(1, 6)]
    assert list(runs["actual_order"]) == [1, 2, 3, 4, 5] and runs["planned_order"].isna().all()
    assert list(runs["oil"]) == ["mineral 15W-40"] * 2 + ["part-synthetic"] * 2 + ["synthetic 5W-30"]
    assert list(runs["chain_elongation_pct"]) == [0.121, 0.088, 0.094, 0.103, 0.112]
    assert list(runs["fe_ppm"]) == [36.0, 31.0, 29.0, 33.0, 34.5]
    assert runs["run_time_h"].isna().all() and set(runs["verdict"]) == {"valid"}


def test_the_walk_ends_in_an_analysis_that_says_what_it_cannot_say(walked):
    told = json.loads((walked / "derived" / "analysis.json").read_text(encoding="utf-8"))
    assert told["notes"][0] == (
        "old data: not planned, order by the column 'Date'; treatments and builds are taken as recorded, and nothing "
        "shows that they were fixed before the data"
    )
    old = told["habit"]["chain_elongation_pct"]
    assert old["missing"] == [{"pin": "coated", "oil": "synthetic 5W-30"}]
    assert old["next_runs"][0]["combination"] == "pin coated, oil synthetic 5W-30"
    assert old["sentences"][0] == (
        "5 runs of 5 of the 6 combinations, one factor at a time, one run each; never run: pin coated, oil synthetic "
        "5W-30."
    )
    verdicts = [row["verdict"] for row in told["responses"]["chain_elongation_pct"]["verdicts"]]
    assert verdicts == ["not estimable", "no error estimate", "not estimable"]
    assert {path.name for path in (walked / "derived").glob("habit_*")} == {
        "habit_comparisons.csv",
        "habit_differences.csv",
        "habit_intervals.csv",
        "habit_next_runs.csv",
        "habit_orders.csv",
    }


def test_the_walk_ends_in_a_report_that_is_marked(walked):
    page = (walked / "report" / "legacy.html").read_text(encoding="utf-8")
    bare = re.sub(r'src="data:[^"]+"', "", page)
    assert "Old data: not planned, order by the column &#39;Date&#39;." in page
    assert "What these old data can and cannot support" in page
    assert "The one run that would help most: pin coated, oil synthetic 5W-30" in page
    assert not re.search(r"\bnan\b|>\s*None\s*<", bare)


def test_check_status_and_plan_know_old_data(walked, capsys):
    assert main(["check", str(walked)]) == 0
    said = capsys.readouterr()
    assert said.out == (
        "brief 'legacy': 2 factors, 2 responses, 3 comparisons; completely randomised\n"
        "main: old data: not planned, order by the column 'Date'\n"
        "records: 5 runs (5 valid), 0 findings\n"
    )
    assert said.err == (
        "wrote nothing\nnext: the report is written (report/legacy.html); which runs would tell more of what is open: "
        f"wearbook next {walked}\n"
    )
    assert main(["status", str(walked), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["lines"][0] == "old data: not planned, order by the column 'Date'"
    assert main(["plan", str(walked)]) == 1
    assert capsys.readouterr().err == (
        "wearbook plan: the runs of this campaign are old data ([old_data] in campaign.toml): they were made already, "
        "and a plan cannot come after them. Plan new runs in a folder of their own: wearbook new FOLDER.\n"
        'More: wearbook explain old_data; the guide: 06-questions-after-the-runs, section "Can I add last year\'s data?'
        '"\n'
    )


def test_without_an_order_nothing_is_told_of_it(walked, tmp_path):
    folder = tmp_path / "unknown"
    shutil.copytree(walked, folder)
    path = folder / "campaign.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('\norder = "Date"', '\norder = "unknown"'), encoding="utf-8")
    found = open_campaign(folder)
    assert found.records().runs["actual_order"].isna().all()
    assert main(["analyse", str(folder)]) == 0
    told = json.loads((folder / "derived" / "analysis.json").read_text(encoding="utf-8"))
    assert told["notes"][0].startswith("old data: not planned, order unknown;")
    assert told["habit"]["fe_ppm"]["orders"] == []


def test_the_line_of_a_new_run_is_taken_in_by_replacing_the_table(walked, tmp_path):
    folder = tmp_path / "more"
    shutil.copytree(walked, folder)
    longer = tmp_path / "old-runs.csv"
    longer.write_bytes(LEGACY.read_bytes() + b"INV-6;2026-11-20;coated;synthetic 5W-30;0,085;28;new run\n")
    reason = ("--reason", "the run that helps most was made", "--role", "rig engineer")
    (old,) = manifest.listed(folder)
    assert main(["intake", str(folder), str(longer), "--replace", old.file, *reason, "--after-look"]) == 0
    assert main(["analyse", str(folder)]) == 0
    told = json.loads((folder / "derived" / "analysis.json").read_text(encoding="utf-8"))
    assert told["habit"]["fe_ppm"]["missing"] == []
    assert {row["verdict"] for row in told["responses"]["fe_ppm"]["verdicts"]} == {"no error estimate"}


def test_planning_is_refused_in_the_library_too(walked):
    from toolkit.campaign import planning

    with pytest.raises((CampaignError, DesignError)) as caught:
        planning.plan(open_campaign(walked), phase="extension")
    assert str(caught.value).startswith("the runs of this campaign are old data")
