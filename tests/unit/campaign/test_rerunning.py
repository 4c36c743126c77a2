"""Campaigns worked out again: nothing moves, a changed figure is found, one that is broken does not hide another."""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from tests.house.tree import ROOT
from tests.unit.campaign import shop
from toolkit.campaign import amend, folder, log, rerunning, steps
from toolkit.cli import main
from toolkit.errors import CampaignError, IntegrityError


@pytest.fixture(scope="module")
def stored(tmp_path_factory) -> Path:
    """A small campaign, analysed."""
    campaign = shop.planned(tmp_path_factory.mktemp("rerun") / "small")
    shop.ran(campaign, *(f"R{at:02d}" for at in range(1, 13)))
    steps.analyse(campaign)
    return campaign.folder


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {str(path): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_nothing_moves_and_nothing_is_written(stored):
    before = bytes_of(stored)
    (found,) = rerunning.rerun([str(stored)], engine="serial").found
    assert (found.campaign, found.moved, found.faults, found.broken) == ("small", (), (), False)
    assert {"plan/1-main/runs.csv", "derived/analysis.json", "derived/comparisons.csv"} <= set(found.results)
    counted = f"{found.values:,} values of {len(found.results)} results compared"
    assert found.sentence == f"{stored}: {counted}, nothing moved"
    assert found.values > 500
    assert bytes_of(stored) == before


def test_interrupted_it_leaves_every_byte_as_it_was(stored, tmp_path, capsys, monkeypatch):
    other = Path(shutil.copytree(stored, tmp_path / "other"))
    before = [bytes_of(one) for one in (stored, other)]
    seen = []

    def stopped(campaign, read):
        """Ctrl-C after everything of the second campaign was worked out."""
        seen.append(campaign.folder)
        if len(seen) == 2:
            raise KeyboardInterrupt
        return {}

    monkeypatch.setattr(rerunning, "_booked", stopped)
    assert main(["rerun", str(stored), str(other), "--processes", "1"]) == 130
    said = capsys.readouterr()
    assert (said.out, said.err) == ("", "wearbook: interrupted; nothing is half-written.\n")
    assert seen == [stored, other]
    assert [bytes_of(one) for one in (stored, other)] == before


def test_what_moved_is_named_and_one_broken_campaign_does_not_hide_it(stored, tmp_path, capsys):
    moved, broken, empty = (tmp_path / name for name in ("moved", "broken", "empty"))
    for copy in (moved, broken):
        shutil.copytree(stored, copy)
    told = json.loads((moved / "derived" / "analysis.json").read_text(encoding="utf-8"))
    row = told["responses"]["wear_mg"]["comparisons"][0]
    now = row["estimate"]
    row["estimate"] = 1.5
    (moved / "derived" / "analysis.json").write_text(json.dumps(told), encoding="utf-8")
    runs = broken / "plan" / "1-main" / "runs.csv"
    runs.write_text(runs.read_text(encoding="utf-8").replace("P0", "P1", 1), encoding="utf-8")
    before = log.read(moved)

    assert main(["rerun", str(moved), str(broken), str(empty), "--json", "--processes", "1"]) == 5
    said = capsys.readouterr()
    found = json.loads(said.out)
    assert found["in_order"] is False
    one, two, three = found["campaigns"]
    assert one["moved"] == [
        {"result": "derived/analysis.json", "at": "responses.wear_mg.comparisons[1].estimate", "kind": "estimate",
         "stored": "1.5", "now": f"{now:.12g}"}
    ]  # fmt: skip
    assert one["faults"] == [] and two["moved"] == []
    assert two["faults"][0].startswith("plan/1-main: plan.json or runs.csv was changed after sealing")
    assert three["faults"] == [
        f"{empty}: there is no such folder. Name a campaign folder, or start one with `wearbook new {empty}`."
    ]
    assert said.err.splitlines()[:4] == [
        "wrote nothing",
        "next: what moved is stored anew by wearbook analyse or size of that campaign",
        "next: put right what is told of each campaign that is not in order, then the same command again",
        "wearbook rerun: 3 of 3 campaigns are not as stored:",
    ]
    assert log.read(moved) == before


def test_a_moved_figure_leaves_with_1_and_prints_a_table(stored, tmp_path, capsys):
    copy = tmp_path / "copy"
    shutil.copytree(stored, copy)
    path = copy / "derived" / "comparisons.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text("".join(lines[:-1]), encoding="utf-8")
    assert main(["rerun", str(copy)]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].endswith("results compared, 1 moved")
    assert [line.split() for line in lines[2:]] == [
        ["folder", "result", "at", "kind", "stored", "now"],
        [str(copy), "derived/comparisons.csv", "rows", "1", "rows", "2", "rows"],
    ]


def test_dates_that_moved_are_stored_anew_by_the_verb_that_makes_them(stored, tmp_path, capsys):
    copy = tmp_path / "copy"
    shutil.copytree(stored, copy)
    brief = copy / "campaign.toml"
    dates = '\n[booking]\nstart = "2026-05-04"\nhours_a_day = 24\ndays_a_week = 5\n'
    brief.write_text(brief.read_text(encoding="utf-8") + dates, encoding="utf-8")
    assert main(["book", str(copy)]) == 0
    path = copy / "derived" / "booking-main.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text("".join(lines[:-1]), encoding="utf-8")
    capsys.readouterr()
    assert main(["rerun", str(copy)]) == 1
    said = capsys.readouterr()
    assert "derived/booking-main.csv" in said.out
    assert "next: what moved is stored anew by wearbook book --phase main of that campaign" in said.err.splitlines()


def test_a_look_at_a_plan_that_moved_is_named_with_the_verb_that_stores_it(stored, at_once, tmp_path, capsys):
    copy = Path(shutil.copytree(stored, tmp_path / "copy"))
    path = copy / "derived" / "design-main.json"
    told = json.loads(path.read_text(encoding="utf-8"))
    row = next(item for item in told["half_widths"] if item["comparison"] == "coating")
    now = row["every_run"]
    # Within what is allowed, and beyond it.
    row["every_run"] *= 1 + 3e-9
    path.write_text(json.dumps(told), encoding="utf-8")
    assert rerunning.one(str(copy)).moved == ()
    row["every_run"] = now * 1.01
    path.write_text(json.dumps(told), encoding="utf-8")
    assert main(["rerun", str(copy)]) == 1
    said = capsys.readouterr()
    assert [line.split()[1:] for line in said.out.splitlines()[3:]] == [
        ["derived/design-main.json", "half_widths[1].every_run", "estimate", f"{now * 1.01:.12g}", f"{now:.12g}"]
    ]
    assert "next: what moved is stored anew by wearbook plan --phase main of that campaign" in said.err.splitlines()
    assert main(["plan", str(copy), "--phase", "main"]) == 0
    assert rerunning.one(str(copy)).moved == ()


def test_a_look_that_is_gone_is_missed_where_the_plan_left_one(stored, at_once, tmp_path):
    copy = Path(shutil.copytree(stored, tmp_path / "copy"))
    (copy / "derived" / "design-main.json").unlink()
    found = rerunning.one(str(copy))
    assert [(result, one.stored, one.now) for result, one in found.moved] == [
        ("derived/design-main.json", "no such file", "a look at the plan")
    ]
    # With all of derived/ gone nothing was stored that could be compared.
    shutil.rmtree(copy / "derived")
    assert rerunning.one(str(copy)).moved == ()
    assert rerunning.one(str(copy)).faults[0].startswith("no result is stored in derived/")
    told = [rerunning._leaves_a_look({"versions": {"wearbook": name}}) for name in ("0.2.0", "0.3.9", "0.4.0", "1.0")]
    assert (told, rerunning._leaves_a_look({"versions": {}})) == ([False, False, True, True], False)


def test_a_look_is_held_against_the_plan_that_it_was_taken_of(tmp_path):
    copy = shop.planned(tmp_path / "amended")
    shop.ran(copy, "R01", "R02", "R03", "R04", "R06", lost=("R05",))
    steps.size(copy)
    amend.amend(copy, lost="without", **shop.ROLE)
    path = copy.folder / "derived" / "design-main.json"
    before = path.read_bytes()
    assert copy.plan("main")["design"] != json.loads(before)["design"]
    found = rerunning.one(str(copy.folder))
    assert ("derived/design-main.json" in found.results, found.moved, found.faults) == (True, (), ())
    # Of the plan as amended: taken anew by planning again.
    steps.plan(folder.open_campaign(copy.folder), phase="main")
    assert json.loads(path.read_bytes())["design"] == "full factorial, 3 builds of 4 runs; amendment 1"
    assert (path.read_bytes() != before, rerunning.one(str(copy.folder)).moved) == (True, ())
    # A plan that was never sealed: held against that in force.
    path.write_bytes(before.replace(b"3 builds of 4 runs", b"9 builds of 4 runs"))
    found = rerunning.one(str(copy.folder)).moved
    assert (found[0][1].at, found[0][1].stored) == ("design", "full factorial, 9 builds of 4 runs")


def test_an_extension_moves_no_look_at_the_phases_before_it(stored, at_once, tmp_path):
    copy = folder.open_campaign(shutil.copytree(stored, tmp_path / "copy"))
    later = shop.rewritten(copy, "[held]", "[extension]\nbuilds = 2\n\n[held]")
    steps.plan(later)
    found = rerunning.one(str(later.folder))
    assert {"derived/design-main.json", "derived/design-extension.json"} <= set(found.results)
    assert [result for result, _ in found.moved] == []


def test_the_lines_to_paste_are_compared_sign_by_sign(stored, at_once, tmp_path, capsys):
    copy = Path(shutil.copytree(stored, tmp_path / "copy"))
    steps.size(folder.open_campaign(copy))
    path = copy / "derived" / "chosen-plan.toml"
    whole = path.read_text(encoding="utf-8")
    found = rerunning.one(str(copy))
    assert ("derived/chosen-plan.toml" in found.results, found.moved) == (True, ())
    builds = re.search(r"^builds = \d+$", whole, re.M)[0]
    at = whole.splitlines().index(builds) + 1
    path.write_text(whole.replace(f"\n{builds}\n", "\nbuilds = 9\n"), encoding="utf-8")
    assert main(["rerun", str(copy)]) == 1
    said = capsys.readouterr()
    assert said.out.splitlines()[-1].split(maxsplit=1)[1] == (
        f"derived/chosen-plan.toml  line {at}  words  builds = 9  {builds}"
    )
    assert "next: what moved is stored anew by wearbook size of that campaign" in said.err.splitlines()
    # Version control need not keep it; by itself it is no result.
    path.unlink()
    assert rerunning.one(str(copy)).moved == ()
    path.write_text(whole, encoding="utf-8")
    (copy / "derived" / "sizing.json").unlink()
    assert rerunning.one(str(copy)).faults == (
        "derived/chosen-plan.toml is stored without derived/sizing.json. Write both anew: `wearbook size`.",
    )


def test_a_calendar_is_compared_by_its_days_and_not_by_its_edition(stored, at_once, tmp_path, capsys):
    copy = Path(shutil.copytree(stored, tmp_path / "copy"))
    brief = copy / "campaign.toml"
    dates = '\n[booking]\nstart = "2026-05-04"\nhours_a_day = 24\ndays_a_week = 5\n'
    brief.write_text(brief.read_text(encoding="utf-8") + dates, encoding="utf-8")
    assert main(["book", str(copy)]) == 0
    path = copy / "derived" / "booking-main.ics"
    days = path.read_bytes()
    # Made later, and in a later edition, it says the same.
    other = re.sub(rb"SEQUENCE:\d+", b"SEQUENCE:4", re.sub(rb"DTSTAMP:\w+", b"DTSTAMP:20270101T000000Z", days))
    path.write_bytes(other)
    found = rerunning.one(str(copy))
    assert (other != days, "derived/booking-main.ics" in found.results, found.moved) == (True, True, ())
    begins = re.search(rb"DTSTART;VALUE=DATE:(\d+)", days)
    path.write_bytes(days.replace(begins[0], b"DTSTART;VALUE=DATE:20260401", 1))
    ((result, one),) = rerunning.one(str(copy)).moved
    assert (result, one.kind, one.stored) == ("derived/booking-main.ics", "words", "DTSTART;VALUE=DATE:20260401")
    assert one.now == begins[0].decode()
    path.write_bytes(days.replace(b"TRANSP:OPAQUE\r\n", b"", 1))
    assert [(one.stored, one.now) for _, one in rerunning.one(str(copy)).moved] == [("no such line", "TRANSP:OPAQUE")]
    # The calendar by itself is compared too; without it the table is.
    path.write_bytes(days)
    (copy / "derived" / "booking-main.csv").unlink()
    assert "derived/booking-main.ics" in rerunning.one(str(copy)).results
    path.unlink()
    assert not [name for name in rerunning.one(str(copy)).results if "booking" in name]


def test_without_a_stored_result_there_is_nothing_to_compare(tmp_path, capsys):
    campaign = shop.planned(tmp_path / "small")
    assert main(["rerun", str(campaign.folder)]) == 1
    assert [line for line in capsys.readouterr().err.splitlines() if line.startswith("next: ")] == [
        "next: put right what is told of each campaign that is not in order, then the same command again"
    ]
    found = rerunning.rerun([str(campaign.folder)])
    assert found.found[0].faults == (
        "no result is stored in derived/, so there is nothing to compare. Run `wearbook analyse` first.",
    )
    with pytest.raises(CampaignError) as error:
        found.require()
    assert str(error.value) == (
        f"1 of 1 campaigns are not as stored:\n  {campaign.folder}: not in order: no result is stored in derived/, so "
        f"there is nothing to compare. Run `wearbook analyse` first."
    )
    assert not isinstance(error.value, IntegrityError)


def test_a_stored_result_that_is_no_result(stored, tmp_path):
    copy = tmp_path / "copy"
    shutil.copytree(stored, copy)
    (copy / "derived" / "sizing.json").write_text("{", encoding="utf-8")
    (found,) = rerunning.rerun([str(copy)]).found
    assert [fault.partition(" (")[0] for fault in found.faults] == ["derived/sizing.json cannot be read as JSON"]
    # The analysis is compared all the same.
    assert "derived/analysis.json" in found.results and found.moved == ()


@pytest.fixture(scope="module")
def analysed(stored):
    """The analysis of the campaign, worked out once for the tests below."""
    return steps.analysis_of(folder.open_campaign(stored))


@pytest.fixture
def at_once(analysed, monkeypatch):
    """Every copy is analysed at no cost."""
    monkeypatch.setattr(steps, "analysis_of", lambda campaign, found: analysed)


def test_a_table_that_is_gone_hides_nothing_of_what_moved(stored, at_once, tmp_path):
    copy = tmp_path / "copy"
    shutil.copytree(stored, copy)
    path = copy / "derived" / "analysis.json"
    told = json.loads(path.read_text(encoding="utf-8"))
    row = told["responses"]["wear_mg"]["comparisons"][0]
    # Just beyond, and well within, what is allowed for numbers that are added up in another order.
    row["estimate"], row["conf_low"] = row["estimate"] * (1 + 3e-8), row["conf_low"] * (1 + 3e-9)
    row["conf_high"] = 10**400
    path.write_text(json.dumps(told), encoding="utf-8")
    (copy / "derived" / "means.csv").unlink()
    (copy / "derived" / "sizing.json").write_text("{", encoding="utf-8")
    found = rerunning.one(str(copy))
    assert [(result, one.at.rpartition(".")[2], one.kind) for result, one in found.moved] == [
        ("derived/analysis.json", "estimate", "estimate"),
        ("derived/analysis.json", "conf_high", "estimate"),
        ("derived/means.csv", "", "rows"),
    ]
    assert (found.moved[2][1].stored, found.moved[2][1].now) == ("no such file", "8 rows")
    assert found.sentence.startswith(f"{copy}: 3 moved; not in order: derived/sizing.json cannot be read as JSON")


def test_stored_files_that_hold_nothing_are_not_in_order(stored, at_once, tmp_path):
    copy = tmp_path / "copy"
    shutil.copytree(stored, copy)
    derived = copy / "derived"
    (derived / "sizing.json").write_text("{}", encoding="utf-8")
    (derived / "simulated.json").write_text('{"campaigns": "many"}', encoding="utf-8")
    (derived / "anova.csv").write_text('"' + "x" * 200_000, encoding="utf-8")
    assert rerunning.one(str(copy)).faults == (
        "derived/sizing.json does not hold a result. Write it anew with its verb.",
        "derived/simulated.json does not say how many campaigns were simulated. Write it anew with its verb.",
        "derived/anova.csv cannot be read as a table (field larger than field limit (131072)). Write it anew with its "
        "verb.",
    )
    (derived / "analysis.json").unlink()
    assert rerunning.one(str(copy)).faults[2] == (
        "derived/verdicts.csv is stored without derived/analysis.json. Write both anew: `wearbook analyse`."
    )


def test_a_file_that_may_not_be_read_does_not_stop_the_other_campaigns(stored, at_once, monkeypatch):
    def denied(campaign, read):
        raise PermissionError(13, "Permission denied", "/rig/raw/runs.csv")

    monkeypatch.setattr(rerunning, "_sized", denied)
    (first, second) = rerunning.rerun([str(stored), "nowhere"], engine="serial").found
    assert first.faults == ("/rig/raw/runs.csv: Permission denied. Mend its permissions.",)
    assert "derived/analysis.json" in first.results and second.faults[0].startswith("nowhere: there is no such folder")


def test_numbers_stand_before_sentences_that_are_put_in_other_words(stored, at_once, tmp_path):
    reworded, moved = tmp_path / "a", tmp_path / "b"
    for copy in (reworded, moved):
        shutil.copytree(stored, copy)
        path = copy / "derived" / "analysis.json"
        told = json.loads(path.read_text(encoding="utf-8"))
        row = told["responses"]["wear_mg"]["verdicts"][0]
        now = row["sentence"]
        row["sentence"] = now + " As it was said before."
        if copy == moved:
            told["responses"]["wear_mg"]["comparisons"][0]["conf_low"] = None
        path.write_text(json.dumps(told), encoding="utf-8")
    found = rerunning.rerun([str(reworded), str(moved)], engine="serial")
    assert found.found[0].sentence.endswith(" results compared, 1 moved, words alone")
    assert found.found[1].sentence.endswith(" results compared, 2 moved")
    table = found.table
    assert list(table["at"]) == [
        "responses.wear_mg.comparisons[1].conf_low",
        *2 * ["responses.wear_mg.verdicts[1].sentence"],
    ]
    assert list(table["folder"]) == [str(moved), str(reworded), str(moved)]
    # Of two long sentences the place where they part is shown.
    assert (table["stored"].iloc[1], table["now"].iloc[1]) == (
        f"...{now[-20:]} As it was said before.", f"...{now[-20:]}"
    )  # fmt: skip


def test_what_the_readme_puts_under_version_control_is_enough(stored, tmp_path):
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    named = re.search(r"Campaign folders under version control \(([^)]*)\)", readme)[1]
    patterns = re.findall(r"`([^`]+)`", named)
    assert patterns[:4] == ["campaign.toml", "plan/", "raw/", "log.csv"]
    clone = tmp_path / "clone"
    for pattern in patterns:
        for found in stored.glob(f"{pattern}**/*" if pattern.endswith("/") else pattern):
            if found.is_file():
                target = clone / found.relative_to(stored)
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_bytes(found.read_bytes())
    assert rerunning.one(str(clone)) == replace(rerunning.one(str(stored)), folder=str(clone))
