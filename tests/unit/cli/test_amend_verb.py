"""The verb that amends a sealed plan: streams, JSON, exit codes."""

from __future__ import annotations

import json

import pytest

from tests.unit.campaign import shop
from toolkit.cli import main


@pytest.fixture
def campaign(tmp_path):
    """Six of twelve runs made, the fifth lost."""
    made = shop.planned(tmp_path / "c")
    shop.ran(made, "R01", "R02", "R03", "R04", "R06", lost=("R05",))
    return made


def run(capsys, *words):
    code = main([str(word) for word in words])
    told = capsys.readouterr()
    return code, told.out, told.err


def test_the_ways_on_are_a_table_and_nothing_is_written(capsys, campaign):
    code, out, err = run(capsys, "amend", campaign.folder, "--options")
    assert code == 0
    lines = out.splitlines()
    assert lines[0] == "lost runs of the main phase: R05"
    head = "way on runs that count made again hours cost (EUR) coating % new oil %"
    assert " ".join(lines[2].split()) == head
    assert [line.split()[0] for line in lines[3:6]] == ["repeat", "replace", "without"]
    assert lines[3].split()[1:5] == ["12", "1", "0", "1,000"]
    assert lines[-1] == (
        "  note: wear_mg: no pilot, history or finished campaign tells it: the scatter is a guess (CV 8 to 12 %)."
    )
    assert err == (f"wrote nothing\nnext: wearbook amend {campaign.folder} --lost WAY --reason TEXT --role ROLE\n")
    code, out, _ = run(capsys, "amend", campaign.folder, "--options", "--json")
    assert [item["option"] for item in json.loads(out)["options"]] == ["repeat", "replace", "without"]


def test_an_amendment_tells_what_was_drawn_anew(capsys, campaign):
    code, out, err = run(
        capsys, "amend", campaign.folder, "--lost", "replace", "--run", "R05", "--reason", "hose", "--role", "engineer"
    )
    assert code == 0
    lines = out.splitlines()
    assert lines[:5] == [
        "amendment 1 of the main phase: hose (engineer)",
        "added: R13",
        "drawn anew (seed 7, 1, 1, 1): R13, R08, R07",
        "in another place, because of runs before them: R09, R10, R11, R12",
        "rows left as they are (made or set up): R01, R02, R03, R04, R05, R06",
    ]
    assert any(line.split()[:2] == ["R05", "B2"] and line.endswith("lost; made again as R13") for line in lines)
    assert err == (
        "wrote plan/1-main/runs.csv, plan.json, plan.html; the plan before it is kept in plan/1-main/amended-1\n"
        f"next: wearbook sheets {campaign.folder} --phase main (sheets of unchanged rows stay good)\n"
    )


def test_without_says_that_nothing_was_drawn_anew(capsys, campaign):
    code, out, _ = run(capsys, "amend", campaign.folder, "--lost", "without", "--reason", "hose", "--role", "engineer")
    assert code == 0
    assert "nothing was drawn anew" in out.splitlines()
    assert "lost; not made again" in out


def test_an_amendment_as_json_is_one_document(capsys, campaign):
    code, out, _ = run(
        capsys, "amend", campaign.folder, "--lost", "replace", "--reason", "hose", "--role", "engineer", "--json"
    )
    found = json.loads(out)
    assert code == 0
    assert list(found) == [
        *("phase", "design", "amendment", "seal", "replaces", "reason", "role", "changed", "lost", "stayed"),
        *("added", "dropped", "drawn_anew", "moved", "amendment_seed", "runs", "order", "strata", "notes"),
    ]
    assert (found["amendment"], found["runs"], found["added"]) == (1, 13, ["R13"])
    assert found["lost"] == [{"run_id": "R05", "choice": "replace", "instead": "R13", "amendment": 1}]


def test_a_refusal_ends_with_1_and_changes_nothing(capsys, campaign):
    before = (campaign.folder / "log.csv").read_bytes()
    code, out, err = run(capsys, "amend", campaign.folder, "--lost", "repeat", "--run", "R01", "--role", "engineer")
    assert (code, out) == (1, "")
    assert err == (
        "wearbook amend: The plan cannot be amended so; nothing was written.\n  --reason: blank; expected why.\n"
        'More: wearbook explain amend; the guide: 06-questions-after-the-runs, section "A run stopped early. Keep '
        'it?"\n'
    )
    assert (campaign.folder / "log.csv").read_bytes() == before


def test_sheets_tell_what_an_amendment_withdrew(capsys, campaign):
    run(capsys, "sheets", campaign.folder)
    old = campaign.plan("main")["seal"][:12]
    run(capsys, "amend", campaign.folder, "--lost", "replace", "--reason", "hose", "--role", "engineer")
    code, out, _ = run(capsys, "sheets", campaign.folder)
    assert code == 0
    lines = out.splitlines()
    assert "Withdrawn by the amendment (take the old run sheets back from the test cell):" in lines
    assert f"  withdrawn: runsheets/1-main/R12.xlsx, now runsheets/1-main/withdrawn/{old}/R12.xlsx" in lines
