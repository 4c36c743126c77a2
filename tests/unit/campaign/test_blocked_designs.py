"""Incomplete blocks and Latin squares from campaign.toml to the report; everything INVENTED."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import numpy as np
import pytest

from tests.unit.campaign.test_designs import analysed
from toolkit.campaign import amend, folder, further, seal, sheets, status, steps, ways_on
from toolkit.errors import CampaignError
from toolkit.report import steps as report_steps
from toolkit.size import candidates

HEAD = """[campaign]
id = "many"
question = "INVENTED: which coating of the chain pin wears least in soot-laden oil?"
seed = 11
new_each_run = ["part", "fill"]

[[factor]]
name = "coating"
undo = "part"
levels = {{ {levels} }}

[[response]]
name = "wear_um"
per_run = "value"
worthwhile_change_pct = 20

[blocks]
by = "build"
most_runs = {most}

[[comparison]]
name = "first coating"
of = {{ coating = "C1" }}
against = {{ coating = "C0" }}

[[comparison]]
name = "second against third"
of = {{ coating = "C2" }}
against = {{ coating = "C3" }}

[scatter]
declared_cv_pct = [8, 15]

[plan]
{plan}
"""


def campaign_of(root: Path, count: int, most: int, plan: str) -> Path:
    """A folder with the brief of so many coatings."""
    levels = ", ".join(f'C{at} = "coating {at}"' for at in range(count))
    root.mkdir()
    (root / "campaign.toml").write_text(HEAD.format(levels=levels, most=most, plan=plan), encoding="utf-8")
    return root


def run_all(root: Path, lost: tuple[str, ...] = ()) -> list[dict[str, str]]:
    """Records of every run in order: builds differ much, the first coating wears a quarter less, places drift."""
    with (root / "plan/1-main/blank/runs.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    held: dict[str, int] = {}
    for at, row in enumerate(rows):
        place = held[row["build_id"]] = held.get(row["build_id"], 0) + 1
        build = int(row["build_id"][1:])
        own = 0.2 * (build % 3) + 0.05 * place + 0.004 * ((7 * at) % 5) - 0.3 * (row["coating"] == "C1")
        row |= {"actual_order": str(at + 1), "run_time_h": "100", "wear_um": f"{20.0 * math.exp(own):.6f}"}
        row |= {"verdict": "valid"}
        if row["run_id"] in lost:
            row |= {"verdict": "invalid", "reason": "hose burst", "role": "test engineer", "wear_um": ""}
    (root / "raw").mkdir(exist_ok=True)
    with (root / "raw/runs.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    return rows


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")


def test_incomplete_blocks_go_the_whole_way(tmp_path):
    root = campaign_of(tmp_path / "c", 7, 3, 'design = "balanced incomplete blocks"\nbuilds = 7')
    campaign = folder.open_campaign(root)
    sentence = (
        "Every build holds 3 of 7 levels, every two together in 1 of 7 builds: within builds a difference is told as "
        "by 7/9 (0.78) of the runs in builds that hold all, at the same scatter."
    )
    lines = steps.check(campaign).lines
    assert lines[0] == "brief 'many': 1 factor, 1 response, 2 comparisons; balanced incomplete blocks"
    assert lines[1] == "main: balanced incomplete blocks, 7 builds of 3 runs, efficiency 7/9, 21 runs"
    assert lines[2] == f"main: {sentence}"
    sized = steps.size(campaign)
    assert [option.name for option in sized.options] == [
        f"balanced incomplete blocks, {builds} builds of 3 runs, efficiency 7/9" for builds in (7, 14)
    ]
    assert sentence in sized.notes
    # 8 error df and 2 / 3 over 7/9 of the error in the variance of a difference.
    claim = sized.options[0].claims[0]
    assert claim.error_df == 8
    steps.plan(campaign)
    plan = json.loads((root / "plan/1-main/plan.json").read_text(encoding="utf-8"))
    assert plan["incomplete_blocks"] == {
        "treatments": 7, "builds": 7, "runs_in_build": 3, "replications": 3, "together": 1,
        "made": "a few blocks moved round (7)", "efficiency": {"every two": {"exact": "7/9", "value": 7 / 9}},
        "sentence": sentence,
    }  # fmt: skip
    assert sentence in (root / "plan/1-main/plan.html").read_text(encoding="utf-8")
    assert plan["brief"]["plan"] == {
        "design": "balanced incomplete blocks", "builds": 7, "replicates": 0, "centre_points": 0,
        "nil_interactions": [],
    }  # fmt: skip
    assert len(sheets.issue(campaign).table) == 21
    run_all(root)
    found = analysed(root)
    lines = {row["term"]: row for row in found["anova"]}
    assert [lines[name]["df"] for name in ("build", "coating", "error (run)")] == [6, 6, 8]
    told = {row["comparison"]: row for row in found["comparisons"]}
    assert told["first coating"]["estimate"] == pytest.approx(math.exp(-0.3), rel=0.06)
    assert told["first coating"]["df"] == 8
    beside = {row["basis"] for row in found["otherwise"]["verdicts"]}
    assert "with differences between builds counted (inter-block recovery)" in beside
    report_steps.report(folder.open_campaign(root))
    (page,) = [path.read_text(encoding="utf-8") for path in root.rglob("many.html")]
    assert sentence in page and "Builds are incomplete blocks" in page
    assert "with differences between builds counted (inter-block recovery)" in page


def test_a_latin_square_goes_the_whole_way_with_a_run_lost(tmp_path):
    root = campaign_of(tmp_path / "c", 4, 4, 'design = "Latin square"\nbuilds = 4')
    campaign = folder.open_campaign(root)
    assert steps.check(campaign).lines[1] == "main: Latin square, 1 square, 4 builds of 4 runs, 16 runs"
    steps.plan(campaign)
    plan = json.loads((root / "plan/1-main/plan.json").read_text(encoding="utf-8"))
    assert plan["strata"][1]["error_df"] == 6
    assert plan["latin_square"]["followed_equally"] is False
    run_all(root)
    found = analysed(root)
    lines = {row["term"]: row for row in found["anova"]}
    assert [lines[name]["df"] for name in ("build", "place in build", "coating", "error (run)")] == [3, 3, 3, 6]
    assert all(lines[name]["planned"] for name in ("build", "place in build", "coating"))
    # The drift over places is taken out: 0.05 a place over four places in each of four builds.
    assert lines["place in build"]["sum_sq"] == pytest.approx(4 * 0.05**2 * 5.0, rel=0.15)
    assert found["model"]["equation"] == "ln(wear) = mean + build + place in build + coating + error (run)"
    assert [row["sentence"] for row in found["beside"]["exact"]][0] == (
        "first coating: drawn by Latin squares: no exact test"
    )
    again = campaign_of(tmp_path / "d", 4, 4, 'design = "Latin square"\nbuilds = 4')
    campaign = folder.open_campaign(again)
    steps.plan(campaign)
    rows = run_all(again, lost=("R06",))
    left = analysed(again)
    assert {row["term"]: row["df"] for row in left["anova"]}["error (run)"] == 5
    # Places after the lost run stay what they were: estimates are those of the rows with dummies for build and place.
    import numpy as np

    kept = [(at, row) for at, row in enumerate(rows) if row["verdict"] == "valid"]
    model = np.array(
        [
            [
                *(float(row["coating"] == f"C{level}") for level in range(4)),
                *(float(at // 4 == build) for build in range(4)),
                *(float(at % 4 == place) for place in range(4)),
            ]
            for at, row in kept
        ]
    )
    beta = np.linalg.lstsq(model, np.log([float(row["wear_um"]) for _, row in kept]), rcond=None)[0]
    told = {row["comparison"]: row for row in left["comparisons"]}
    assert told["first coating"]["estimate"] == pytest.approx(math.exp(beta[1] - beta[0]), rel=1e-9)


def test_what_is_refused_of_a_square_says_what_can_be_done(tmp_path):
    root = campaign_of(tmp_path / "c", 4, 4, 'design = "Latin square"\nbuilds = 4')
    steps.plan(folder.open_campaign(root))
    run_all(root, lost=("R06",))
    campaign = folder.open_campaign(root)
    ways = {way.option: way for way in ways_on.options(campaign).options}
    why = (
        "a Latin square: a run that is made again has a place in its build that no other level shares, and tells "
        "nothing. Go on without it: the analysis takes squares with gaps; or plan a further square as an extension "
        "([extension] builds = 4)"
    )
    assert ways["repeat"].refused == ways["replace"].refused == why
    assert ways["without"].runs == 15 and not ways["without"].refused
    with pytest.raises(CampaignError, match="a Latin square: a run that is made again"):
        amend.amend(campaign, lost="repeat", reason="hose burst", role="test engineer")
    amend.amend(campaign, lost="without", reason="hose burst", role="test engineer")
    assert seal.kept(root, "main")["lost"][0]["run_id"] == "R06"
    assert status.status(folder.open_campaign(root)).lost == (
        ("R06", "invalid: hose burst; gone on without (amendment 1)"),
    )
    open_ones = further.next_runs(folder.open_campaign(root))
    assert len(open_ones.table) == 0
    assert "settled" in open_ones.sentence or "[extension] builds = 4" in open_ones.sentence


def test_an_odd_number_of_builds_is_refused_with_the_reason(tmp_path):
    root = campaign_of(tmp_path / "c", 7, 3, 'design = "balanced incomplete blocks"\nbuilds = 9')
    with pytest.raises(CampaignError.__mro__[1], match="takes 7 builds or a multiple of that; choose 7 or 14"):
        steps.plan(folder.open_campaign(root))


def test_blocks_that_are_not_balanced_go_the_whole_way_and_are_never_called_so(tmp_path):
    """Nine coatings in six builds of three: a simple square lattice, (k + 1) / (k + 3) on average as Yates has it."""
    root = campaign_of(tmp_path / "c", 9, 3, 'design = "incomplete blocks"\nbuilds = 6')
    campaign = folder.open_campaign(root)
    lines = steps.check(campaign).lines
    assert lines[0] == "brief 'many': 1 factor, 1 response, 2 comparisons; incomplete blocks"
    assert lines[1] == "main: incomplete blocks, 6 builds of 3 runs, efficiency 0.667 of 0.750 at most, 18 runs"
    sentence = (
        "Every build holds 3 of 9 levels, two together in 0 or 1 of 6 builds, the most efficient that a search found: "
        "within builds a difference is told on average as by 0.667 of the runs in builds that hold all (0.600 to "
        "0.750, depending on which two are compared), at the same scatter; no plan in builds of 3 is above 0.750 on "
        "average."
    )
    assert lines[2] == f"main: {sentence}"
    proposed = candidates.of_brief(campaign.brief)
    # Whatever the number of builds, from the fewest that join all nine and leave an error.
    assert [design.builds for design in proposed] == [5, 6, 7, 9, 11, 13, 15, 17, 19]
    assert all(design.name.startswith("incomplete blocks, ") for design in proposed)
    steps.plan(campaign)
    plan = json.loads((root / "plan/1-main/plan.json").read_text(encoding="utf-8"))
    held = plan["incomplete_blocks"]
    assert held["together"] == [0, 1] and held["sentence"] == sentence
    assert held["efficiency"]["on average"]["value"] == pytest.approx(2 / 3)
    assert held["efficiency"]["bound"]["value"] == pytest.approx(3 / 4)
    rows = run_all(root)
    found = analysed(root)
    lines = {row["term"]: row for row in found["anova"]}
    assert [lines[name]["df"] for name in ("build", "coating", "error (run)")] == [5, 8, 4]
    # Intra-block: least squares with builds in the model.
    y = np.log([float(row["wear_um"]) for row in rows])
    builds = np.array([[float(row["build_id"] == f"B{at}") for at in range(1, 7)] for row in rows])
    levels = np.array([[float(row["coating"] == f"C{at}") for at in range(9)] for row in rows])
    beta = np.linalg.pinv(np.hstack([builds, levels])) @ y
    told = {row["comparison"]: row for row in found["comparisons"]}
    assert math.log(told["first coating"]["estimate"]) == pytest.approx(beta[7] - beta[6], abs=1e-9)
    assert math.log(told["second against third"]["estimate"]) == pytest.approx(beta[8] - beta[9], abs=1e-9)
    beside = {row["basis"] for row in found["otherwise"]["verdicts"]}
    assert "with differences between builds counted (inter-block recovery)" in beside
    page = (root / "plan/1-main/plan.html").read_text(encoding="utf-8")
    assert sentence in page and "balanced incomplete" not in page
    text = (root / "campaign.toml").read_text(encoding="utf-8")
    (root / "campaign.toml").write_text(text.replace("builds = 6", "builds = 7"), encoding="utf-8")
    with pytest.raises(CampaignError, match="Plan the further builds as an extension"):
        amend.amend(folder.open_campaign(root), reason="more money", role="test engineer")
    (root / "campaign.toml").write_text(text + "\n[extension]\nbuilds = 6\n", encoding="utf-8")
    more = steps.plan(folder.open_campaign(root), phase="extension")
    # With them every two have met as often as in a balanced square lattice.
    assert more.order.design.name == (
        "extension, incomplete blocks, 6 builds of 3 runs, with the main phase efficiency 0.750 of 0.750 at most"
    )


def test_a_square_balanced_for_carry_over_tells_of_it_beside(tmp_path):
    root = campaign_of(tmp_path / "c", 4, 4, 'design = "Latin square"\nbuilds = 4\nbalance_carry_over = true')
    steps.plan(folder.open_campaign(root))
    run_all(root)
    found = analysed(root)["otherwise"]
    # 16 runs less the mean, 3 builds, 3 places, 3 coatings and 3 that ran before.
    assert (found["carried_over"]["df"], found["carried_over"]["error_df"]) == (3, 3)
    assert found["carried_over"]["sentence"] in found["sentences"]
    assert "with what the run before left behind taken out" in {row["basis"] for row in found["verdicts"]}
