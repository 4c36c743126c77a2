"""The command: exit codes, streams, JSON, and what each verb says comes next."""

from __future__ import annotations

import json
import shutil

import pytest

from tests.unit.report.undrawn import undrawn
from toolkit import shipped
from toolkit.cli import main
from toolkit.errors import CampaignError


@pytest.fixture
def chain(tmp_path):
    shutil.copytree(shipped.folder("data") / "chain-soot", tmp_path / "chain")
    return tmp_path / "chain"


def run(capsys, *words):
    code = main([str(word) for word in words])
    told = capsys.readouterr()
    return code, told.out, told.err


def test_json_is_one_document_on_stdout_and_nothing_else(capsys, chain):
    for verb, keys in (
        ("check", {"in_order", "findings"}),
        ("size", {"scatter", "options"}),
        ("plan", {"runs", "order", "seal"}),
        ("analyse", {"responses"}),
        ("report", {"report", "answers"}),
        ("verify", {"log_head"}),
    ):
        with undrawn():
            code, out, err = run(capsys, verb, chain, "--json")
        assert code == 0, err
        assert keys <= set(json.loads(out)), verb
        assert "next: " in err


def test_plan_tells_runs_order_and_seal_with_the_cautions(capsys, chain):
    code, out, _ = run(capsys, "plan", chain, "--phase", "main")
    assert code == 0
    assert out.startswith(
        "full factorial, 3 builds of 4 runs: 12 runs in 3 builds; randomised: the runs within each build at "
        "random (seed 20417)"
    )
    assert "A reminder, not a procedure." in out
    assert "seal " in out
    code, out, _ = run(capsys, "plan", chain, "--phase", "main", "--json")
    found = json.loads(out)
    assert found["runs"] == 12 == len(found["order"])
    assert [row["planned_order"] for row in found["order"]] == list(range(1, 13))
    assert [row["run_id"] for row in found["order"]] == [f"R{n:02d}" for n in range(1, 13)]


def test_exit_codes(capsys, chain, tmp_path, monkeypatch):
    assert run(capsys, "check", chain)[0] == 0
    assert run(capsys, "check", tmp_path)[0] == 1
    with pytest.raises(SystemExit) as ended:
        main(["plan", str(chain), "--phase", "other"])
    assert ended.value.code == 2
    capsys.readouterr()
    assert run(capsys)[0] == 2
    run(capsys, "plan", chain, "--phase", "main")
    path = chain / "plan" / "1-main" / "runs.csv"
    path.write_text(path.read_text().replace("P0", "P1", 1))
    code, out, err = run(capsys, "analyse", chain)
    assert (code, out) == (5, "")
    assert err.startswith("wearbook analyse: plan/1-main: plan.json or runs.csv was changed after sealing")

    def interrupted(_):
        raise KeyboardInterrupt

    monkeypatch.setattr("toolkit.campaign.steps.check", interrupted)
    assert run(capsys, "check", chain)[0] == 130


def test_a_read_only_disk_is_told_without_a_traceback(capsys, chain, monkeypatch):
    import os

    def refused(*_):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(os, "replace", refused)
    code, _, err = run(capsys, "size", chain)
    assert code == 4
    assert "could not be written (Read-only file system)" in err
    assert "Traceback" not in err


def test_the_way_through_the_program_is_shown_when_it_is_asked_for(capsys, tmp_path):
    code, out, err = run(capsys, "check", tmp_path)
    assert (code, out) == (1, "")
    assert err.startswith(f"wearbook check: {tmp_path}: ") and "Traceback" not in err
    with pytest.raises(CampaignError):
        main(["check", str(tmp_path), "--debug"])


def test_a_changed_brief_names_keys_and_exits_1(capsys, chain):
    run(capsys, "plan", chain, "--phase", "main")
    path = chain / "campaign.toml"
    path.write_text(path.read_text().replace("worthwhile_change_pct = 20", "worthwhile_change_pct = 15"))
    code, _, err = run(capsys, "analyse", chain)
    assert code == 1
    assert "response[1].worthwhile_change_pct" in err
    assert "amend" in err


def test_new_starts_a_valid_campaign_and_overwrites_nothing(capsys, tmp_path):
    target = tmp_path / "mine"
    code, out, err = run(capsys, "new", target)
    assert code == 0
    assert sorted(path.name for path in (target / "notebooks").iterdir()) == [
        "analyse.ipynb",
        "decide.ipynb",
        "intake.ipynb",
        "plan.ipynb",
        "question.ipynb",
        "report.ipynb",
        "sheets.ipynb",
        "size.ipynb",
    ]
    assert err == (
        f"wrote 9 files\nnext: edit {target}/campaign.toml, or open it with wearbook lab {target}\n"
        f"next: then wearbook check {target}\n"
    )
    assert 'id = "mine" ' in (target / "campaign.toml").read_text(encoding="utf-8")
    assert run(capsys, "check", target)[0] == 0
    before = (target / "campaign.toml").read_bytes()
    code, _, err = run(capsys, "new", target)
    assert code == 1
    assert err == (
        f"wearbook new: {target}: holds a campaign.toml already; nothing was written. Choose another folder.\n"
        'More: wearbook explain new; the guide: 01-the-bundled-campaign, section "The question"\n'
    )
    assert (target / "campaign.toml").read_bytes() == before


def test_a_size_not_chosen_refuses_plan_and_allows_size(capsys, chain):
    path = chain / "campaign.toml"
    path.write_text(path.read_text().replace("builds = 3 ", "builds = 0 "))
    assert run(capsys, "size", chain)[0] == 0
    code, _, err = run(capsys, "plan", chain, "--phase", "main")
    assert code == 1
    assert err == (
        "wearbook plan: [plan] builds = 0: the size of the main phase is not chosen yet. Run `wearbook size`, decide, "
        "and write your choice into campaign.toml.\n"
        'More: wearbook explain plan.builds; the guide: 05-questions-before-the-runs, section "How many replicates '
        'do I need?"\n'
    )
    assert not (chain / "plan").exists()


def test_the_notebook_of_a_verb_gets_its_options_and_stands_in_for_the_verb(capsys, chain):
    code, out, err = run(capsys, "plan", chain, "--phase", "main", "--notebook", "--json")
    assert code == 0, err
    made = json.loads(out)["notebook"]
    assert made.endswith("plan.ipynb")
    assert sorted(path.name for path in (chain / "plan").iterdir()) == ["1-main"]
    rows = (chain / "log.csv").read_text().splitlines()
    assert sum(",sealed,main," in row for row in rows) == 1


def test_a_primary_response_without_an_answer_leaves_with_1_and_writes_what_could_be_told(capsys, chain):
    path = chain / "raw" / "stations.csv"
    lines = path.read_text().splitlines()
    changed = [
        ",".join([*line.split(",")[:-1], "0.0001"]) if line.startswith("R03,") and ",after," in line else line
        for line in lines
    ]
    path.write_text("\n".join(changed) + "\n")
    code, out, err = run(capsys, "analyse", chain)
    assert code == 1
    assert "not analysed: elongation_pct: on the log scale every run value must be above 0" in out
    assert "the primary response was not analysed: elongation_pct" in err
    assert (chain / "derived" / "analysis.json").exists()


def test_size_prints_the_lines_that_choose_the_plan(capsys, chain):
    code, out, _ = run(capsys, "size", chain)
    assert code == 0
    assert "To choose it, write into [plan] of campaign.toml: builds = 3\n" in out


def test_a_printed_report_of_before_is_named_where_the_page_is_written_anew(capsys, chain):
    with undrawn():
        code, _, err = run(capsys, "report", chain)
    assert (code, "is of an earlier report" in err) == (0, False)
    (chain / "report" / "chain-soot.pdf").write_bytes(b"%PDF of before")
    with undrawn():
        code, _, err = run(capsys, "report", chain)
    assert err.splitlines()[1:3] == [
        "next: open it in a browser; print it from there, or --pdf",
        f"next: report/chain-soot.pdf is of an earlier report; print it anew: wearbook report {chain} --pdf",
    ]
    assert (chain / "report" / "chain-soot.pdf").read_bytes() == b"%PDF of before"
