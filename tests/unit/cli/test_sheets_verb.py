"""The verb that issues sheets: streams, JSON, exit codes."""

from __future__ import annotations

import json
import shutil

import pytest

from toolkit import cautions, shipped
from toolkit.cli import main

MORE = (
    'More: wearbook explain sheets; the guide: 04-one-run-from-its-files-to-its-row, section "The files of the run"\n'
)


@pytest.fixture
def chain(tmp_path, capsys):
    """A copy of the bundled campaign with its pilot sealed."""
    shutil.copytree(shipped.folder("data") / "chain-soot", tmp_path / "chain")
    assert main(["plan", str(tmp_path / "chain"), "--phase", "pilot"]) == 0
    capsys.readouterr()
    return tmp_path / "chain"


def run(capsys, *words):
    code = main([str(word) for word in words])
    told = capsys.readouterr()
    return code, told.out, told.err


def test_sheets_tells_runs_parts_files_and_cautions(capsys, chain):
    code, out, err = run(capsys, "sheets", chain)
    assert code == 0
    lines = out.splitlines()
    assert lines[0] == "4 run sheets of the pilot phase; parts allotted to runs at random; 2 spares"
    assert [line.split()[0] for line in lines[3:7]] == ["P01", "P02", "P03", "P04"]
    assert "Oil is sampled at 0, 100 h: 8 samples." in lines
    assert "  runsheets/0-pilot/blind/lab-request.xlsx" in lines
    assert cautions.HEADER in lines
    assert err == (
        "wrote 10 files\nnext: print all.html or hand out the workbooks; hand over blind/ alone to metrology and "
        f"laboratory\nnext: the answers: wearbook analyse {chain}\n"
    )
    code, _, err = run(capsys, "sheets", chain)
    assert code == 0
    assert err.startswith("wrote nothing: all was issued already\n")


def test_sheets_as_json_is_one_document(capsys, chain):
    code, out, _ = run(capsys, "sheets", chain, "--json", "--oil-at", "0,50,100")
    assert code == 0
    found = json.loads(out)
    assert list(found) == ["phase", "seal", "sheets", "parts", "samples", "files", "written", "withdrawn", "filled"]
    assert found["phase"] == "pilot"
    assert [row["at_h"] for row in found["samples"][:3]] == ["0", "50", "100"]
    assert [row["run_id"] for row in found["sheets"]] == ["P01", "P02", "P03", "P04"]


def test_wrong_hours_are_told(capsys, chain):
    with pytest.raises(SystemExit) as ended:
        main(["sheets", str(chain), "--oil-at", "0,x"])
    assert ended.value.code == 2
    assert capsys.readouterr().err.endswith(
        "argument --oil-at: '0,x' are no hours; expected numbers with commas between, as 0,20,40\n"
    )
    code, _, err = run(capsys, "sheets", chain, "--oil-at", "0,500")
    assert code == 1
    assert err == f"wearbook sheets: The oil samples are asked for at 0, 500 h; expected hours from 0 to 101.\n{MORE}"


def test_a_phase_that_is_not_sealed_exits_1(capsys, chain):
    code, out, err = run(capsys, "sheets", chain, "--phase", "main")
    assert (code, out) == (1, "")
    assert err == f"wearbook sheets: main: there is no sealed plan yet. Run `wearbook plan` first.\n{MORE}"
