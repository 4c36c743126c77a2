"""An extension: sized beside the main phase, sealed by itself, counted in the analysis, and noted when it came late."""

from __future__ import annotations

import json

import pytest

from tests.unit.campaign import shop
from toolkit.campaign import amend, folder, log, planning, seal, sheets, sizing, steps, verify, ways_on
from toolkit.cli import main
from toolkit.errors import CampaignError, DesignError
from toolkit.report import view_decide

EXTENSION = "[extension]\nbuilds = 2\n\n[held]"
ALL = tuple(f"R{at:02d}" for at in range(1, 13))
NOTE = (
    "the extension was sealed after results of the main phase had been looked at (first on 2026-03-02): intervals and "
    "p-values are at their nominal level only if it was planned before that look"
)


@pytest.fixture
def campaign(tmp_path, monkeypatch):
    """A main phase of which eleven runs are valid."""
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
    made = shop.planned(tmp_path / "c")
    shop.ran(made, *(run for run in ALL if run != "R05"), lost=("R05",))
    return made


def extended(campaign, section=EXTENSION):
    """The campaign with an extension in its brief."""
    return shop.rewritten(campaign, "[held]", section)


def both(campaign):
    """raw/runs.csv with the main phase and the extension below it."""
    main = (campaign.folder / "raw/runs.csv").read_text()
    shop.ran(campaign, *(row["run_id"] for row in shop.run_list(campaign, "2-extension")), phase="2-extension")
    rows = (campaign.folder / "raw/runs.csv").read_text().splitlines(keepends=True)
    (campaign.folder / "raw/runs.csv").write_text(main + "".join(rows[1:]))


def test_an_extension_is_sealed_by_itself_and_leaves_the_seal_of_the_main_phase(campaign):
    main = campaign.plan("main")["seal"]
    later = extended(campaign)
    assert planning.next_phase(later) == "extension"
    made = steps.plan(later)
    assert made.order.design.phase == "extension"
    assert [row["run_id"] for row in shop.run_list(later, "2-extension")] == [f"E{at:02d}" for at in range(1, 9)]
    assert [row["build_id"] for row in shop.run_list(later, "2-extension")] == ["X1"] * 4 + ["X2"] * 4
    held = later.plan("extension")
    assert held["earlier_seals"] == {"main": main}
    assert held["brief"]["extension"] == {"builds": 2, "replicates": 0, "combinations": []}
    assert later.plan("main")["seal"] == main
    # Judged with the main phase: 20 runs as planned less 5 builds less 3 effects.
    assert [item["error_df"] for item in held["strata"]] == [None, 12]
    assert held["sizing"]["option"]["name"] == "extension, 2 builds of 4 runs"
    verify.verify(later)
    bigger = shop.rewritten(later, "builds = 2", "builds = 1")
    with pytest.raises(CampaignError) as told:
        bigger.plan("extension")
    assert "extension.builds" in str(told.value)
    assert bigger.plan("main")["seal"] == main


def test_its_order_is_a_draw_of_its_own(campaign):
    later = extended(campaign, "[extension]\nbuilds = 3\n\n[held]")
    steps.plan(later)
    levels = [[(row["pin"], row["oil"]) for row in shop.run_list(later, at)] for at in ("1-main", "2-extension")]
    assert levels[0] != levels[1]


def test_it_counts_in_the_analysis_and_a_look_before_it_is_told(campaign):
    steps.analyse(campaign)
    later = extended(campaign)
    steps.plan(later)
    both(later)
    found = steps.analysis_of(later)
    answer = found.responses["wear_mg"]
    # 11 and 8 valid runs in five builds, three effects.
    assert answer.fit.mean_squares["run"][1] == 19 - 5 - 3
    assert list(dict.fromkeys(answer.fit.runs["build_id"])) == ["B1", "B2", "B3", "X1", "X2"]
    assert "8 runs of the extension count, each build of the extension as a block of its own" in answer.fit.notes
    assert NOTE in found.notes
    assert found.interim is False
    assert later.plan("extension")["looks_before"] == 1
    page = (later.folder / "plan/2-extension/plan.html").read_text()
    assert "Sealed after results of the main phase had been looked at." in page


def test_without_a_look_before_it_there_is_no_note(campaign):
    later = extended(campaign)
    steps.plan(later)
    both(later)
    steps.analyse(later)
    assert not [note for note in steps.analysis_of(later).notes if "extension was sealed" in note]
    assert "had been looked at" not in (later.folder / "plan/2-extension/plan.html").read_text()


def test_runs_of_it_that_are_not_made_yet_make_the_analysis_interim(campaign):
    later = extended(campaign)
    steps.plan(later)
    assert steps.analysis_of(later).interim is True


def test_sizing_shows_plans_of_the_extension_once_the_main_phase_is_sealed(campaign):
    later = extended(campaign, "[extension]\n\n[held]")
    with pytest.raises(DesignError) as told:
        steps.plan(later)
    assert str(told.value).startswith("[extension] builds = 0: the size of the extension is not chosen yet.")
    found = steps.size(later)
    assert found.phase == "extension"
    assert found.scatters[0].basis == "declared"
    assert found.options[0].name == "extension, 1 build of 4 runs"
    start = "without an extension, from 11 runs: coating (true change -20 %, chance "
    alone = [note for note in found.notes if note.startswith(start)]
    assert len(alone) == 1
    assert json.loads((later.folder / "derived/sizing.json").read_text())["phase"] == "extension"
    # Once results were looked at, the main phase's own scatter is used.
    steps.analyse(later)
    again = steps.size(later)
    assert again.scatters[0].basis == "main"
    assert again.scatters[0].run.df == 5
    assert [row for row in log.read(later.folder) if row["kind"] == log.LOOK][1:] == []


def test_before_the_main_phase_is_sealed_the_main_phase_is_sized_and_nothing_is_extended(tmp_path):
    (tmp_path / "c").mkdir()
    (tmp_path / "c" / "campaign.toml").write_text(shop.BRIEF.replace("[held]", EXTENSION))
    campaign = folder.open_campaign(tmp_path / "c")
    assert sizing.phase_of(campaign) == "main"
    assert planning.next_phase(campaign) == "main"
    with pytest.raises(CampaignError) as told:
        steps.plan(campaign, phase="extension")
    assert str(told.value) == (
        "extension: the main phase is not sealed, so there is nothing to extend. Plan it first with `wearbook plan "
        "--phase main`."
    )
    assert steps.check(campaign).lines[2] == "extension: extension, 2 builds of 4 runs, 8 runs"
    assert not seal.exists(campaign.folder, "extension")


def test_a_randomised_extension_of_some_combinations(tmp_path):
    made = shop.planned(tmp_path / "c", shop.RANDOMISED)
    shop.ran(made, *ALL)
    later = shop.rewritten(
        made, "[held]", '[extension]\nreplicates = 3\ncombinations = [ { pin = "P1", oil = "O1" } ]\n\n[held]'
    )
    steps.plan(later)
    rows = shop.run_list(later, "2-extension")
    assert [(row["run_id"], row["build_id"], row["pin"], row["oil"]) for row in rows] == [
        (f"E0{at}", "X1", "P1", "O1") for at in (1, 2, 3)
    ]
    both(later)
    answer = steps.analysis_of(later).responses["wear_mg"]
    assert answer.fit.mean_squares["run"][1] == 15 - 2 - 3


def test_sheets_are_issued_for_it(campaign):
    later = extended(campaign)
    steps.plan(later)
    made = sheets.issue(later)
    assert made.register.phase == "extension"
    assert (later.folder / "runsheets/2-extension/E08.xlsx").exists()
    assert (later.folder / "plan/2-extension/parts.csv").exists()
    main = sheets.issue(later, phase="main")
    assert not set(main.register.parts["part_id"]) & set(made.register.parts["part_id"])


def test_a_lost_run_of_it_is_amended_like_any(campaign):
    later = extended(campaign)
    steps.plan(later)
    both(later)
    path = later.folder / "raw/runs.csv"
    lines = [line for line in path.read_text().splitlines(keepends=True) if line[:3] not in ("E06", "E07", "E08")]
    lines = [line.replace(",valid,,", ",invalid,hose,") if line.startswith("E05") else line for line in lines]
    path.write_text("".join(lines))
    found = ways_on.options(later)
    assert found.phase == "extension"
    # 11 of the main phase and 8 of the extension, less 5 builds less 3 effects.
    assert found.options[1].claims[0].error_df == 11
    assert (found.options[1].runs, found.options[2].runs) == (8, 7)
    plan = amend.amend(later, lost="replace", **shop.ROLE).plan
    assert plan["added"] == ["E09"]
    assert plan["amendment_seed"] == [7, 2, 1, 1]
    assert [item["error_df"] for item in plan["strata"]] == [None, 11]
    assert sorted(plan["redrawn"]) == ["E06", "E07", "E08", "E09"]
    notes = steps.analysis_of(later).notes
    assert "amendment 1 of the extension phase (test engineer): the hose burst" in notes
    verify.verify(later)


def test_a_run_of_the_main_phase_that_is_still_lost_is_shown_once_the_extension_is_sealed(campaign, capsys):
    later = extended(campaign)
    steps.plan(later)
    both(later)
    assert later.sealed("extension")
    found = ways_on.options(later)
    assert (found.phase, found.options[0].lost) == ("main", ("R05",))
    assert main(["amend", str(later.folder), "--options"]) == 0
    said = capsys.readouterr()
    assert said.out.startswith("lost runs of the main phase: R05\n")
    assert said.err.splitlines()[-1] == (
        f"next: wearbook amend {later.folder} --phase main --lost WAY --reason TEXT --role ROLE"
    )
    # That command, with a way: nothing is left to deal with then.
    assert main(["amend", str(later.folder), *"--phase main --lost without --reason hose --role engineer".split()]) == 0
    told = repr(view_decide.lost_runs(folder.open_campaign(later.folder)))
    assert told == "Every lost run is dealt with, so that there is nothing to amend."
