"""Text that a spreadsheet would run stays text, in workbooks and in CSV, and comes back as it was written."""

from __future__ import annotations

import csv
import io
import re
import shutil
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from toolkit import sheetfile, shipped
from toolkit.campaign import folder, log, manifest, taking
from toolkit.campaign.written import csv_text
from toolkit.cli import main
from toolkit.intake import cells
from toolkit.intake import csv_text as reader
from toolkit.intake.gathered import Gathered

# The signs that OWASP (CSV Injection) lists, each with a text that would do something.
TRIGGERS = (
    "=1+1", "=HYPERLINK(\"file:///x\",\"see\")", "+cmd|' /C calc'!A0", "-2+3+cmd|' /C calc'!A0", "@SUM(1+1)",
    "\t=1+1", "\r=1+1", "'=1+1", "-inf", "＝1+1", "--1", "+", "-",
)  # fmt: skip
NUMBERS = ("-5", "+1.5", "-.5e-3", "0", "12")
LIVE = re.compile(r"[=+\-@\t\r\n＝＋－＠]")


def live(text: str) -> bool:
    """Whether a spreadsheet may run a cell of CSV: it begins with a sign, and is no number (the rule, written anew)."""
    try:
        number = bool(re.fullmatch("[-+.0-9eE]+", text)) and float(text) is not None
    except ValueError:
        number = False
    return bool(LIVE.match(text)) and not number


@pytest.mark.parametrize("text", TRIGGERS)
def test_a_cell_of_csv_is_not_live_and_comes_back(text, tmp_path):
    written = csv_text(pd.DataFrame({"a": ["b"], text: [text]}))
    rows = list(csv.reader(io.StringIO(written, newline="")))
    assert rows == [["a", rows[1][1]], ["b", rows[1][1]]]
    assert not live(rows[1][1])
    assert sheetfile.unguarded(rows[1][1]) == text
    if "\r" not in text:
        # Through the reader of raw tables, blanks around a cell are no part of it.
        (tmp_path / "t.csv").write_text(written, encoding="utf-8", newline="")
        told = Gathered()
        raw, _ = reader.read(tmp_path, "t.csv", told)
        assert (len(told), raw.header[1], cells.clean(raw.rows[0][1][1])) == (0, text, text)


@pytest.mark.parametrize("text", NUMBERS)
def test_a_number_is_left_alone(text):
    assert csv_text(pd.DataFrame({"a": [text]})) == f"a\n{text}\n"


@given(st.text(st.sampled_from("=+-@\t\r\n'＝ 1e.a\"")) | st.text())
@example("''=1")
@example("'-5")
def test_any_text_comes_back_from_csv_and_is_not_live(text):
    kept = sheetfile.guarded(text)
    assert sheetfile.unguarded(kept) == text
    assert not live(kept)


@pytest.mark.parametrize("text", TRIGGERS)
def test_a_cell_of_a_workbook_is_text_and_comes_back(text):
    book = sheetfile.write(
        [sheetfile.Sheet("A", ((sheetfile.Cell(text, "input"),),), (20.0,))], title="t", at="2026-03-02"
    )
    (cell,) = sheetfile.read(book, where="x.xlsx")[0].cells
    assert (cell.kind, cell.value) == ("text", text)
    there = openpyxl.load_workbook(io.BytesIO(book)).active["A1"]
    assert there.data_type == "s"
    assert there.quotePrefix == (text[0] in "=+-@\t\r")


def cells_of(path: Path) -> list[str]:
    """The text cells of a table or workbook that we wrote."""
    if path.suffix == ".csv":
        return [cell for row in csv.reader(io.StringIO(path.read_bytes().decode(), newline="")) for cell in row]
    found = sheetfile.read(path.read_bytes(), where=path.name)
    assert {cell.kind for sheet in found for cell in sheet.cells} <= {"text", "number", "yes or no"}
    return []


def test_nothing_in_a_whole_folder_is_live(tmp_path, capsys):
    root = tmp_path / "c"
    shutil.copytree(shipped.folder("data") / "chain-soot", root)
    brief = (root / "campaign.toml").read_text(encoding="utf-8")
    for old, new in (("ground steel", "=1+1"), ("coating", "@coat"), ("new oil", "+oil"), ("may we switch", "-why")):
        brief = brief.replace(f'"{old}"', f'"{new}"')
    (root / "campaign.toml").write_text(brief, encoding="utf-8")
    for name, old, new in (
        ("runs", "test engineer", "=2+2"), ("runs", "PB1", "-PB1"), ("stations", "INV-101", "+INV"),
        ("oil", "INV-P01-000h", "@O"),
    ):  # fmt: skip
        path = root / "raw" / f"{name}.csv"
        path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    by_hand = {path for path in root.rglob("*.csv")}
    # Quoted in the live table too, as a spreadsheet would keep it; the quote is no part of it.
    assert main(["plan", str(root), "--phase", "pilot"]) == 0
    assert main(["sheets", str(root)]) == 0
    assert main(["note", str(root), "P01", "--reason", "=3+3", "--role", "@role"]) == 0
    odd = tmp_path / "=cmd.csv"
    shutil.copy(root / "raw" / "oil.csv", odd)
    (root / "raw" / "oil.csv").unlink()
    assert main(["intake", str(root), str(odd)]) == 0, capsys.readouterr().err
    assert main(["analyse", str(root)]) == 0
    written = [path for path in root.rglob("*") if path.suffix in (".csv", ".xlsx") and path not in by_hand]
    written = [path for path in written if "received" not in path.parts]
    assert {"log.csv", "manifest.csv", "parts.csv", "comparisons.csv", "P01.xlsx"} <= {path.name for path in written}
    assert [(path.name, cell) for path in written for cell in cells_of(path) if live(cell)] == []
    rows = log.read(root)
    (note,) = [row for row in rows if row["kind"] == log.NOTE]
    assert (note["reason"], note["role"]) == ("=3+3", "@role")
    (entry,) = manifest.listed(root)
    assert entry.given_as == "=cmd.csv"
    assert entry.file.startswith("raw/received/")
    assert taking.take(folder.open_campaign(root), [odd]).new == ()


@given(st.lists(st.text(st.sampled_from("=-'\"\r\n\t, a")), min_size=2, max_size=2))
def test_rows_of_any_text_come_back(row):
    text = sheetfile.csv_lines([row, ["x", "y"]])
    back = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert [[sheetfile.unguarded(cell) for cell in line] for line in back] == [row, ["x", "y"]]


def test_a_log_holds_any_reason(tmp_path):
    told = ["=1+1", "a\rb", "a\r\nb", "a\nb", '"', "'=1", "-5", "\tx", "", "\u2028", "é\x00"]
    for reason in told:
        log.append(tmp_path, kind=log.NOTE, reason=reason, role=reason)
    assert [(row["reason"], row["role"]) for row in log.read(tmp_path)] == [(text, text) for text in told]
