"""An INVENTED campaign with a coating a cylinder, oil and liner a run, through its folder from check to report."""

from __future__ import annotations

import json

import pytest

from tests.unit import rings
from toolkit.campaign import amend, folder, planning, sheets, status, steps, verify
from toolkit.errors import WearbookError
from toolkit.intake import judged_rows
from toolkit.report import steps as report_steps


@pytest.fixture(scope="module")
def campaign(tmp_path_factory: pytest.TempPathFactory) -> folder.Campaign:
    """A folder with its main phase sealed, its sheets issued, its runs made, one of them with a wrong ring."""
    place = tmp_path_factory.mktemp("rings")
    (place / "campaign.toml").write_text(rings.TEXT, encoding="utf-8")
    made = folder.open_campaign(place)
    planning.plan(made, phase="main")
    sheets.issue(made)
    raw = rings.tables(made.brief, made.order("main"), seed=4)
    # A ring of another coating was fitted to a cylinder of the third run, and one run was lost.
    was = raw["runs"].loc[2, "ring@cyl 1"]
    raw["runs"].loc[2, "ring@cyl 1"] = "R3" if was != "R3" else "R2"
    # Of another combination: a coating that never ran with an oil and a liner has no answer to be averaged.
    whole = raw["runs"]["oil"] + raw["runs"]["liner"]
    lost = next(at for at in range(7, -1, -1) if whole[at] != whole[2])
    raw["runs"].loc[lost, ["verdict", "reason", "role"]] = ["invalid", "oil pump failed", "test engineer"]
    (place / "raw").mkdir(exist_ok=True)
    for name, table in raw.items():
        table.to_csv(place / "raw" / f"{name}.csv", index=False)
    return made


def test_the_sealed_run_list_has_a_column_a_position(campaign: folder.Campaign) -> None:
    """plan.json holds the strata; the same brief seals the same plan again."""
    head = (campaign.folder / "plan/1-main/runs.csv").read_text(encoding="utf-8").splitlines()[0]
    assert head == (
        "run_id,phase,build_id,planned_order,replicate,oil,liner,ring@cyl 1,ring@cyl 2,ring@cyl 3,ring@cyl 4"
    )
    plan = campaign.plan("main")
    assert [(row["stratum"], row["units"]) for row in plan["strata"]][:2] == [("run", 8), ("position", 32)]
    assert planning.plan(campaign, phase="main").plan["seal"] == plan["seal"]
    blank = (campaign.folder / "plan/1-main/blank/runs.csv").read_text(encoding="utf-8").splitlines()[0]
    assert "oil,liner,ring@cyl 1,ring@cyl 2,ring@cyl 3,ring@cyl 4,run_time_h" in blank


def test_sheets_say_which_part_goes_to_which_position(campaign: folder.Campaign) -> None:
    """A line to build, a box for the coating and one for the code, for each cylinder in order."""
    found = sheets.issue(campaign)
    sheet, parts = found.sheets[0], found.register.parts
    mine = parts[parts["run_id"] == sheet.run_id].set_index("position")
    planned = campaign.order("main").iloc[0]
    told = [pair for pair in sheet.instruction if pair[0].startswith("cyl")]
    assert [name for name, _ in told] == ["cyl 1", "cyl 2", "cyl 3", "cyl 4"]
    for name, text in told:
        level = planned[f"ring@{name}"]
        label = campaign.brief.factor("ring").label_of(level)
        assert text == f"ring {level} ({label}), part {mine.loc[name, 'part_id']}"
    lines = {line.column: line for _, held in sheet.parts for line in held if line.column}
    assert lines["ring@cyl 2"].rule == f"planned: {planned['ring@cyl 2']}"
    assert lines["part_id@cyl 2"].rule == f"planned: {mine.loc['cyl 2', 'part_id']}"
    assert "part_id" not in lines


def test_it_is_checked_and_its_state_is_told(campaign: folder.Campaign) -> None:
    """check, status and verify say nothing wrong."""
    assert any(
        line == "main: full factorial, 2 replicates, 4 levels of ring over 4 positions of each run, 8 runs"
        for line in steps.check(campaign).lines
    )
    assert status.status(campaign).phases[0].verdicts == {"valid": 7, "invalid": 1}
    assert verify.verify(campaign).lines


def test_a_lost_run_is_not_made_again_by_an_amendment(campaign: folder.Campaign) -> None:
    """Refused in plain words, with what can be done instead."""
    with pytest.raises(WearbookError, match="the positions of a run hold parts of their own"):
        amend.amend(campaign, lost="repeat", reason="oil pump failed", role="test engineer")


def test_the_analysis_uses_what_was_run_in_both_strata(campaign: folder.Campaign) -> None:
    """Seven runs, one with a wrong ring: Kenward and Roger; iron answers the oil alone; the report is written."""
    found = steps.analysis_of(campaign)
    mine = found.responses["ring_loss_mg"]
    assert mine.fit is not None and len(mine.fit.y) == 28
    assert mine.fit.mixed is not None and mine.fit.mixed.units == ("run", "position")
    rows = mine.fit.runs.set_index("run_id")
    third = campaign.order("main")["run_id"].iloc[2]
    assert rows.loc[f"{third}/cyl 1", "ring"] == found.records.runs.set_index("run_id").loc[third, "ring@cyl 1"]
    strata = mine.comparisons.set_index("comparison")["error_stratum"].to_dict()
    assert strata["coating one"] == "position"
    assert "new oil" in strata
    assert [row for row in mine.anova["term"] if row.startswith("error")] == ["error (position)"]
    iron = found.responses["fe_ppm"]
    told = iron.verdicts.set_index("comparison")
    assert told.loc["coating one", "verdict"] == "not estimable"
    assert told.loc["coating one", "sentence"] == (
        "coating one: not told by fe_ppm: the oil gathers the metal of all positions, and every run holds all levels "
        "of ring side by side, so that nothing of it can be attributed to one of them; readings at stations in the "
        "positions tell it"
    )
    assert iron.comparisons.set_index("comparison").loc["new oil", "error_stratum"] == "run"
    assert list(iron.comparisons["comparison"]) == [item.name for item in campaign.brief.comparisons]
    differs = found.as_run.table.set_index("run_id")["differs"]
    assert differs[third].startswith("ring@cyl 1 ")
    assert json.loads(json.dumps(found.to_json()))["as_run"] is not None
    assert len(judged_rows.judged_by(found.records, "ring_loss_mg").runs) == 32


def test_the_report_says_what_is_judged_by_what(campaign: folder.Campaign) -> None:
    """In the sentences on the method, and in the runs as made."""
    page = report_steps.report(campaign).path.read_text(encoding="utf-8")
    assert "Positions are the units of the factors whose levels run side by side, by Latin squares over" in page
    assert "ring@cyl 1" in page
