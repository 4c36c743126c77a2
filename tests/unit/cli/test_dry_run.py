"""--dry-run: it says and refuses what the verb itself would, and nothing at all is written."""

from __future__ import annotations

import argparse
import fcntl
import json
import shutil
from types import SimpleNamespace as Made

import pytest

from tests.unit.campaign import shop
from toolkit.campaign.folder import open_campaign
from toolkit.cli import closing, main
from toolkit.cli.arguments import WRITING, parser
from toolkit.cli.closing import LOOKS

BOOKING = '\n[booking]\nstart = "2026-03-02"\nhours_a_day = 24\ndays_a_week = 7\n'
JUDGED = ("--reason", "the hose burst", "--role", "test engineer")


@pytest.fixture(autouse=True)
def clock(monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-09T08:00:00+00:00")


@pytest.fixture
def small(tmp_path):
    """A brief alone."""
    (tmp_path / "small trial").mkdir()
    (tmp_path / "small trial" / "campaign.toml").write_text(shop.BRIEF + BOOKING, encoding="utf-8")
    return tmp_path / "small trial"


def run(capsys, *words):
    code = main([str(word) for word in words])
    told = capsys.readouterr()
    return code, told.out, told.err


def state(place):
    """Every file and folder below a place, hidden ones too: its bytes and its times."""
    return {
        path: (path.read_bytes() if path.is_file() else None, path.lstat().st_mtime_ns)
        for path in sorted(place.rglob("*"))
    }


def contents(folder):
    """The files of a campaign by their path in it, without those of the lock."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and not path.name.startswith(".")
    }


def tried_and_done(capsys, place, folder, *words):
    """Try a verb out, see that nothing moved, carry it out, and compare what was said with what happened."""
    before, old = state(place), contents(folder)
    code, out, err = run(capsys, *words, "--dry-run")
    assert state(place) == before
    real_code, real_out, _ = run(capsys, *words)
    assert (code, real_code) == (0, 0), err
    new = contents(folder)
    lines = [f"  new: {name}" for name in new.keys() - old.keys()]
    lines += [f"  changed: {name}" for name in new.keys() & old.keys() if new[name] != old[name]]
    lines += [f"  taken away: {name}" for name in old.keys() - new.keys()]
    shown, _, listed = out.rpartition("would write:\n")
    assert sorted(listed.splitlines()) == sorted(lines)
    # Results are shown as they would be, but for wear: each look at it has to be on record.
    assert shown == ("" if words[0] in LOOKS else real_out + "\n")
    assert err == "wrote nothing (--dry-run)\nnext: the same command without --dry-run\n"


def test_what_a_verb_would_write_is_what_it_writes(capsys, small, tmp_path):
    tried_and_done(capsys, tmp_path, tmp_path / "begun", "new", tmp_path / "begun", "--yes")
    tried_and_done(capsys, tmp_path, small, "plan", small)
    tried_and_done(capsys, tmp_path, small, "sheets", small)
    tried_and_done(capsys, tmp_path, small, "book", small)
    campaign = open_campaign(small)
    shop.ran(campaign, "R01", "R02", "R03", "R04", "R06", lost=("R05",))
    tried_and_done(capsys, tmp_path, small, "intake", small, small / "raw" / "runs.csv")
    tried_and_done(capsys, tmp_path, small, "note", small, "R06", *JUDGED)
    tried_and_done(capsys, tmp_path, small, "amend", small, "--lost", "without", "--run", "R05", *JUDGED)
    tried_and_done(capsys, tmp_path, small, "report", small)
    assert (small / "report" / "small.html").is_file()


def test_json_tells_what_would_be_written(capsys, small):
    code, out, _ = run(capsys, "plan", small, "--dry-run", "--json")
    told = json.loads(out)
    assert (code, told["runs"]) == (0, 12)
    assert told["dry_run"]["changed"] == told["dry_run"]["taken_away"] == []
    assert told["dry_run"]["new"][:3] == ["log.csv", "plan/1-main/runs.csv", "plan/1-main/plan.json"]


@pytest.mark.parametrize(("verb", "shown"), [("analyse", {}), ("next", {}), ("report", {}), ("size", {"wear": 7})])
def test_json_of_a_look_shows_no_wear(capsys, verb, shown):
    tried = Made(changes=lambda: {"new": ["log.csv"]}, as_named=lambda text: text)
    given = argparse.Namespace(verb=verb, json=True, tried_out=tried)
    closing.out(given, Made(to_json=lambda: {"wear": 7}), str)
    assert json.loads(capsys.readouterr().out) == {**shown, "dry_run": {"new": ["log.csv"]}}


def test_refusals_are_those_of_the_verb_itself(capsys, small, tmp_path):
    for words in (
        ("sheets", small),
        ("analyse", small),
        ("note", small, "R01", *JUDGED),
        ("intake", small, tmp_path / "gone.xlsx"),
        ("new", small, "--yes"),
        ("new", small / "campaign.toml", "--yes"),
        ("plan", tmp_path / "nowhere"),
        ("plan", small, "--phase", "extension"),
    ):
        before = state(tmp_path)
        tried = run(capsys, *words, "--dry-run")
        assert state(tmp_path) == before
        assert tried == run(capsys, *words), words
        assert tried[0] == 1
    code, out, err = run(capsys, "sheets", small, "--dry-run", "--json")
    assert json.loads(out)["dry_run"] == {"new": [], "changed": [], "taken_away": []}
    assert json.loads(out)["refused"]["message"] + "\n" == err.partition("More:")[0]


def test_a_folder_that_another_command_holds_is_told_with_4(capsys, small, monkeypatch):
    monkeypatch.setattr("toolkit.campaign.storage._PATIENCE_S", 0.1)
    with open(small / ".wearbook.lock", "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        code, out, err = run(capsys, "plan", small, "--dry-run")
    assert (code, out) == (4, "")
    assert err == (
        f"wearbook plan: {small}: another command holds this campaign folder; waited 0.1 s. Let it finish, then "
        f"repeat.\n"
    )


def test_a_notebook_is_not_tried_out(capsys, small):
    code, out, err = run(capsys, "size", small, "--dry-run", "--notebook")
    assert (code, out) == (2, "")
    assert "--dry-run and --notebook: a notebook writes as it runs. Leave one of them out.\n" in err


def test_a_link_that_leads_out_is_refused_and_one_within_is_followed(capsys, small, tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (small / "plan").symlink_to(tmp_path / "elsewhere")
    before = state(tmp_path)
    tried = run(capsys, "plan", small, "--dry-run")
    assert state(tmp_path) == before
    assert tried == run(capsys, "plan", small)
    assert tried[0] == 4 and "leads out of the campaign folder" in tried[2]
    (small / "plan").unlink()
    (small / "log.csv").unlink()
    (small / "kept").mkdir()
    (small / "plan").symlink_to("kept")
    assert run(capsys, "plan", small, "--dry-run")[0] == 0
    assert list((small / "kept").iterdir()) == []


def test_a_campaign_beside_it_is_read_where_it_lies(capsys, small, tmp_path):
    shutil.copytree(small, tmp_path / "earlier")
    brief = small / "campaign.toml"
    named = 'campaigns = ["../earlier"]\ndeclared_cv_pct'
    brief.write_text(brief.read_text(encoding="utf-8").replace("declared_cv_pct", named), encoding="utf-8")
    code, out, _ = run(capsys, "size", small, "--dry-run")
    assert code == 0
    assert "its main phase was never planned and sealed" in out


def test_every_verb_that_writes_takes_it():
    verbs = next(item.choices for item in parser()._actions if item.dest == "verb")
    assert [name for name, verb in verbs.items() if "--dry-run" in verb._option_string_actions] == list(WRITING)
    assert set(verbs) - set(WRITING) == {
        # These write nothing.
        "check", "status", "verify", "rerun", "explain",
        # What they run is a person's own, or a folder to try things in.
        "lab", "notebooks", "demo",
    }  # fmt: skip
