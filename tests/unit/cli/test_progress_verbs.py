"""The verbs intake, note, status, and verify --quick: streams, JSON, exit codes."""

from __future__ import annotations

import json
import shutil

import pytest

from toolkit import shipped
from toolkit.campaign import log, manifest
from toolkit.cli import main


@pytest.fixture
def chain(tmp_path, monkeypatch):
    """A copy of the bundled campaign, without a plan."""
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-09T08:00:00+00:00")
    shutil.copytree(shipped.folder("data") / "chain-soot", tmp_path / "chain")
    # Recordings are read, told and kept in tests of their own.
    shutil.rmtree(tmp_path / "chain" / "raw" / "dyno")
    return tmp_path / "chain"


def run(capsys, *words):
    code = main([str(word) for word in words])
    told = capsys.readouterr()
    return code, told.out, told.err


def test_intake_tells_what_it_kept_and_the_second_time_that_it_did_nothing(capsys, chain):
    code, out, err = run(capsys, "intake", chain)
    kept = {item.given_as: item.file for item in manifest.listed(chain)}
    assert code == 0
    assert out.splitlines() == [
        f"raw/runs.csv: runs, kept as {kept['raw/runs.csv']}",
        f"raw/stations.csv: stations, kept as {kept['raw/stations.csv']}",
        f"raw/oil.csv: oil, kept as {kept['raw/oil.csv']}",
        f"raw/rig-history.csv: history, kept as {kept['raw/rig-history.csv']}",
    ]
    assert err == (
        f"wrote 4 copies to raw/received/ and raw/manifest.csv\nnext: the answers: wearbook analyse {chain}\n"
    )
    code, out, err = run(capsys, "intake", chain, chain / "raw" / "oil.csv", "--json")
    assert code == 0
    assert json.loads(out)["new"] == []
    assert [item["given_as"] for item in json.loads(out)["already"]] == ["raw/oil.csv"]
    assert err.startswith("wrote nothing: all was taken in already\n")


def test_intake_is_refused_with_1_and_says_all(capsys, chain, tmp_path):
    (tmp_path / "letter.txt").write_text("Dear all\n")
    code, out, err = run(capsys, "intake", chain, tmp_path / "letter.txt", tmp_path / "gone.xlsx")
    assert (code, out) == (1, "")
    assert "gone.xlsx: there is no such file; expected a file that came back." in err
    assert log.read(chain) == []


def test_a_note_is_told_in_a_sentence(capsys, chain):
    words = ("note", chain, "R07", "--reason", "oil leak found", "--role", "test engineer")
    code, out, err = run(capsys, *words, "--verdict", "not-interpretable")
    assert code == 0
    assert out == "R07: verdict valid -> not interpretable (oil leak found; test engineer)\n"
    assert err == f"wrote a row of log.csv\nnext: the answers: wearbook analyse {chain}\n"
    code, out, err = run(capsys, *words, "--verdict", "not interpretable")
    assert code == 0
    assert out.splitlines()[1] == "noted already; nothing was written"
    assert err.startswith("wrote nothing\n")
    code, out, _ = run(capsys, *words, "--column", "soot_pct", "--value", "3.02", "--json")
    assert code == 0
    found = json.loads(out)
    assert (found["old"], found["new"], found["measured_in"], found["written"]) == ("2.98", "3.02", "%", True)
    with pytest.raises(SystemExit) as ended:
        main(["note", str(chain), "R07", "--role", "test engineer"])
    assert ended.value.code == 2


def test_a_note_after_a_look_is_refused_with_1_and_marked_when_it_is_said(capsys, chain):
    log.look(chain, phase="main", subject="x", counted="11 of 12 runs valid", seen={"R07": "valid"})
    words = ("note", chain, "R07", "--verdict", "invalid", "--reason", "odd", "--role", "test engineer")
    code, out, err = run(capsys, *words)
    assert (code, out) == (1, "")
    assert "With --after-look it is noted all the same" in err
    code, out, _ = run(capsys, *words, "--after-look")
    assert code == 0
    assert out == "R07: verdict valid -> invalid (odd; test engineer), noted AFTER its wear had been seen\n"


def test_status_reads_in_a_terminal(capsys, chain):
    code, out, err = run(capsys, "status", chain)
    assert code == 0
    lines = out.splitlines()
    assert lines[:4] == [
        "campaign 'chain-soot'",
        "",
        "pilot: 4 runs (4 valid); no sealed plan",
        "  order  run  build  stage   verdict  missing",
    ]
    assert "  8      R08  B2     judged  invalid" in lines
    assert "    R08: run_time_h: 41.3 h (expected 99 to 101 h)" in lines
    assert max(len(line) for line in lines) <= 120
    assert err == f"wrote nothing\nnext: the answers: wearbook analyse {chain}\n"
    code, out, _ = run(capsys, "status", chain, "--json")
    assert [row["run_id"] for row in json.loads(out)["runs"]][:5] == ["P01", "P02", "P03", "P04", "R01"]


def test_verify_quick_misses_changed_bytes_and_finds_missing_files(capsys, chain):
    run(capsys, "intake", chain)
    item = next(item for item in manifest.listed(chain) if item.given_as == "raw/oil.csv")
    path = chain / item.file
    whole = path.read_bytes()
    path.write_bytes(whole.replace(b"P01", b"P02", 1))
    code, out, _ = run(capsys, "verify", chain, "--quick")
    assert code == 0
    assert "raw/manifest.csv: 4 taken in, all there" in out.splitlines()
    code, _, err = run(capsys, "verify", chain)
    assert code == 5
    assert err == (
        f"wearbook verify: {item.file}: was changed since it was taken in as raw/oil.csv. Restore it from your "
        f"backup.\n"
        'More: wearbook explain seal; the guide: 01-the-bundled-campaign, section "The plan and its order"\n'
    )
    path.unlink()
    code, _, err = run(capsys, "verify", chain, "--quick")
    assert code == 5
    assert err.startswith(f"wearbook verify: {item.file}: was taken in as raw/oil.csv, and cannot be read now (")
