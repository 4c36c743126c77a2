"""The steps on a folder: what they write, that the same inputs give the same bytes, and what they refuse."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pandas as pd
import pytest

from toolkit import shipped
from toolkit.campaign import folder, log, notes, recordings, start, steps, verify
from toolkit.demo import bundled
from toolkit.errors import CampaignError, IntegrityError


def copy_of(name: str, to: Path) -> Path:
    shutil.copytree(shipped.folder("data") / name, to)
    return to


@pytest.fixture
def chain(tmp_path, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
    return copy_of("chain-soot", tmp_path / "chain")


@pytest.fixture(scope="module")
def sealed_once(tmp_path_factory):
    """The bundled campaign with its main phase sealed."""
    root = copy_of("chain-soot", tmp_path_factory.mktemp("sealed") / "chain")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
        steps.plan(folder.open_campaign(root), phase="main")
    return root


@pytest.fixture
def sealed(sealed_once, tmp_path, monkeypatch):
    """A copy of it."""
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
    return shutil.copytree(sealed_once, tmp_path / "chain")


def contents(root: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(root)): path.read_bytes()
        for path in sorted(root.rglob("*"))
        if path.is_file() and path.name != ".wearbook.lock"
    }


def go_the_whole_way(root: Path, *, times: int) -> dict[str, bytes]:
    """Check, plan and size so many times, then analyse; all that lies there then."""
    for _ in range(times):
        campaign = folder.open_campaign(root)
        steps.check(campaign)
        steps.plan(campaign, phase="pilot")
        steps.plan(campaign, phase="main")
        steps.size(campaign)
    steps.analyse(folder.open_campaign(root))
    return contents(root)


@pytest.fixture(scope="module")
def whole_way(tmp_path_factory):
    """What lies in the folder of the bundled campaign before the whole way, and after it."""
    root = copy_of("chain-soot", tmp_path_factory.mktemp("whole") / "chain")
    before = contents(root)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
        # Nothing of the recordings is known from another test.
        patch.setattr(recordings, "_AT_HAND", {})
        return before, go_the_whole_way(root, times=1)


def test_the_whole_way_writes_the_same_bytes_twice(whole_way, chain, monkeypatch):
    # What this process knows of recordings is worked out anew.
    monkeypatch.setattr(recordings, "_AT_HAND", {})
    # Repeated in one folder and not in the other: what is written is the same after all of it.
    assert go_the_whole_way(chain, times=2) == whole_way[1]
    assert sorted(path.name for path in (chain / "derived").iterdir()) == [
        "agreement.csv",
        "analysis.json",
        "anova.csv",
        "as_run.csv",
        "before_deciding.csv",
        "chances.csv",
        "chosen-plan.toml",
        "comparisons.csv",
        "components.csv",
        "design-main.json",
        "design-pilot.json",
        "effects.csv",
        "equivalence.csv",
        "findings.csv",
        "means.csv",
        "model_terms.csv",
        "pending.csv",
        "proposals.csv",
        "recorded_channels.csv",
        "recorded_outside.csv",
        "recorded_runs.csv",
        "recorded_sweeps.csv",
        "recordings",
        "run_values.csv",
        "sensitivity.csv",
        "settling.csv",
        "simple_effects.csv",
        "simple_tests.csv",
        "sizing.json",
        "verdicts.csv",
        "worst_cases.csv",
    ]


def test_raw_files_and_brief_are_never_touched(whole_way):
    before, after = whole_way
    kept = {key: value for key, value in before.items() if key.startswith("raw/") or key == "campaign.toml"}
    assert len(kept) > 10
    assert {key: after[key] for key in kept} == kept


def test_the_analysis_as_json_holds_what_was_agreed(sealed):
    found = steps.analyse(folder.open_campaign(sealed)).to_json()
    assert json.loads(json.dumps(found, allow_nan=False)) == found
    assert list(found["responses"]) == ["elongation_pct", "fe_ppm"]
    one = found["responses"]["elongation_pct"]
    assert {"anova", "comparisons", "effects", "means", "variance_components", "findings"} <= set(one)
    assert set(one["comparisons"][0]) >= {
        "response",
        "comparison",
        "term",
        "contrast",
        "estimate",
        "measured_in",
        "std_error",
        "df",
        "conf_low",
        "conf_high",
        "conf_level",
        "p_value",
        "error_stratum",
        "planned",
    }
    assert list(one["anova"][0])[:8] == ["term", "df", "sum_sq", "mean_sq", "f", "p_value", "error_stratum", "error_df"]
    assert one["comparisons"][0]["measured_in"] == "ratio"
    assert found["counted"] == "11 of 12 runs valid, 1 invalid"
    assert one["run_ids"] == [f"R{n:02d}" for n in range(1, 13) if n != 8]


def test_an_analysis_without_a_plan_says_so(chain):
    found = steps.analyse(folder.open_campaign(chain))
    assert found.notes == (
        "no sealed plan of the main phase: order, treatments and builds are taken as recorded, and nothing "
        "shows that they were fixed before the data",
    )


def test_planning_after_the_records_is_marked(chain):
    campaign = folder.open_campaign(chain)
    made = steps.plan(campaign, phase="main")
    assert made.to_json()["sealed_after_records"] is True
    assert steps.analyse(campaign).notes == ("the plan was sealed after records of the main phase existed",)
    for name in ("runs", "stations", "oil"):
        (chain / "raw" / f"{name}.csv").unlink()
    assert steps.plan(folder.open_campaign(chain), phase="pilot").plan["sealed_after_records"] is False


def test_pending_runs_make_it_interim(sealed):
    path = sealed / "raw" / "runs.csv"
    lines = path.read_text().splitlines(keepends=True)
    path.write_text("".join(line.replace(",valid,", ",pending,") if line.startswith("R12") else line for line in lines))
    found = steps.analyse(folder.open_campaign(sealed))
    assert found.interim
    assert set(found.responses["elongation_pct"].verdicts["verdict"]) == {"interim, no claim"}
    assert (
        found.headline
        == "INTERIM, 11 of 12 runs: campaign 'chain-soot', 10 of 12 runs valid, 1 invalid, 1 pending (R12)"
    )


def test_a_run_without_a_verdict_can_be_judged_after_a_look_because_its_wear_stays_hidden(chain):
    path = chain / "raw" / "runs.csv"
    lines = path.read_text().splitlines(keepends=True)
    path.write_text("".join(line.replace(",valid,", ",pending,") if line.startswith("R12") else line for line in lines))
    campaign = folder.open_campaign(chain)
    whole = campaign.records().runs.set_index("run_id")
    assert whole.at["R12", "elongation_pct"] > 0 and whole.at["R12", "fe_ppm"] > 0
    found = steps.analyse(campaign)
    shown = found.records.runs.set_index("run_id")
    assert shown.loc["R12", ["elongation_pct", "fe_ppm"]].isna().all()
    assert shown.at["R11", "elongation_pct"] == whole.at["R11", "elongation_pct"]
    for frame in (found.records.stations, found.records.readings, found.records.oil):
        assert "R12" not in set(frame["run_id"]) and "R11" in set(frame["run_id"])
    everything = "".join(item.read_text() for item in (chain / "derived").rglob("*.*"))
    assert f"{whole.at['R12', 'elongation_pct']:.6g}"[:7] not in everything
    assert "R12" not in log.seen(log.read(chain)) and "R11" in log.seen(log.read(chain))
    made = notes.note(campaign, "R12", verdict="valid", reason="in its windows", role="test engineer")
    assert (made.written, made.note.after_look) == (True, False)


def test_nothing_to_analyse_is_said(chain):
    for name in ("runs", "stations", "oil"):
        (chain / "raw" / f"{name}.csv").unlink()
    with pytest.raises(CampaignError) as told:
        steps.analyse(folder.open_campaign(chain))
    assert str(told.value) == (
        "there is no valid run of the main phase on record yet, so there is nothing to analyse. "
        "Take in the runs, or enter them into raw/runs.csv, and judge them (verdict), then repeat."
    )


def test_with_a_pilot_alone_the_way_to_the_main_phase_is_said(tmp_path):
    pilot = bundled.bring("chain-soot", tmp_path / "chain", phases=("pilot",))
    with pytest.raises(CampaignError) as told:
        steps.analyse(pilot)
    assert str(told.value) == (
        "there is no valid run of the main phase on record yet, so there is nothing to analyse. Only the pilot is: run "
        "`wearbook size`, then `wearbook plan --phase main`."
    )


def test_a_value_below_zero_stops_its_response_and_no_other(chain):
    path = chain / "raw" / "stations.csv"
    table = pd.read_csv(path, dtype=str)
    mine = (table["run_id"] == "R03") & (table["state"] == "after")
    table.loc[mine, "elongation_pct"] = "0.001"
    path.write_text(table.to_csv(index=False))
    found = steps.analyse(folder.open_campaign(chain))
    assert found.responses["elongation_pct"].stopped.startswith(
        "elongation_pct: on the log scale every run value must be above 0, and none is dropped or set to a small "
        "number. Ways out: (1) "
    )
    assert "run R03: elongation_pct = -0.0" in found.responses["elongation_pct"].stopped
    assert found.responses["fe_ppm"].stopped == ""


def test_verify_recomputes_and_names_what_was_changed(sealed):
    found = verify.verify(folder.open_campaign(sealed))
    assert found.lines[0] == "log.csv: 2 rows, chain unbroken"
    assert found.log_head == log.read(sealed)[-1]["chain"]
    shutil.rmtree(sealed / "plan")
    with pytest.raises(IntegrityError) as told:
        verify.verify(folder.open_campaign(sealed))
    assert str(told.value) == (
        "plan of the main phase: the log says it was sealed, but its files are gone. Restore them from your backup."
    )


def test_a_folder_that_is_none_is_said(tmp_path):
    with pytest.raises(CampaignError) as told:
        folder.open_campaign(tmp_path / "nothing")
    assert str(told.value) == (
        f"{tmp_path / 'nothing'}: there is no such folder. Name a campaign folder, or start one with "
        f"`wearbook new {tmp_path / 'nothing'}`."
    )
    with pytest.raises(CampaignError) as told:
        folder.open_campaign(tmp_path)
    assert str(told.value) == (
        f"{tmp_path}: holds no campaign.toml. Name a campaign folder, or start one with `wearbook new {tmp_path.name}`."
    )


def test_a_campaign_near_by_is_named_and_where_one_stands_may_lie_within_it(tmp_path, monkeypatch):
    start.new(tmp_path / "a")
    start.new(tmp_path / "b")
    inside = tmp_path / "a" / "notebooks"
    inside.mkdir(exist_ok=True)
    said = []
    for place in (tmp_path, inside, tmp_path / "a" / "P01.xlsx"):
        (tmp_path / "a" / "P01.xlsx").touch()
        with pytest.raises(CampaignError) as told:
            folder.open_campaign(place)
        said.append(str(told.value))
    assert said == [
        f"{tmp_path}: holds no campaign.toml. Campaigns in it are '{tmp_path / 'a'}' or '{tmp_path / 'b'}'. Name one "
        f"of them.",
        f"{inside}: holds no campaign.toml. It lies in the campaign {tmp_path / 'a'}. Name that folder.",
        f"{tmp_path / 'a' / 'P01.xlsx'}: is a file; expected the folder of a campaign first, and files after it. Name "
        f"both, as in `wearbook intake FOLDER P01.xlsx`.",
    ]
    monkeypatch.chdir(inside)
    for here in ("", "."):
        assert repr(folder.open_campaign(here)) == f"campaign 'a' in {tmp_path / 'a'}"


@pytest.mark.parametrize(
    ("name", "layout", "phase"),
    [("tappet-finish", "completely randomised", "main"), ("sprocket-build", "whole plots", "main")],
)
def test_other_campaigns_go_the_whole_way(tmp_path, name, layout, phase):
    root = copy_of(name, tmp_path / name)
    campaign = folder.open_campaign(root)
    assert steps.check(campaign).lines[0].endswith(layout)
    assert steps.size(campaign).to_json()["options"]
    steps.plan(campaign, phase=phase)
    found = steps.analyse(campaign)
    assert all(not item.stopped for item in found.responses.values())
    assert all(row["verdict"] for item in found.responses.values() for row in item.verdicts.to_dict("records"))


def test_a_blank_table_that_was_filled_in_is_left_alone(sealed):
    path = sealed / "plan" / "1-main" / "blank" / "runs.csv"
    path.write_text("filled in\n")
    steps.plan(folder.open_campaign(sealed), phase="main")
    assert path.read_text() == "filled in\n"
