"""Campaigns that are extended by other runs than those of the main phase, through every step; everything INVENTED."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from toolkit.campaign import amend, folder, further, further_plan, planning, seal, sheets, steps, verify
from toolkit.design import chosen, phases
from toolkit.errors import BriefError, CampaignError, DesignError
from toolkit.model import comparisons
from toolkit.model.fit import of_strata
from toolkit.size import simulate
from toolkit.size.scatter import MeanSquare, Scatter

HEAD = """[campaign]
id = "four"
question = "INVENTED: which of four things change wear?"
seed = 11
new_each_run = ["part", "fill"]

[[response]]
name = "wear_um"
per_run = "value"
worthwhile_change_pct = 20

[scatter]
declared_cv_pct = [8, 15]

[cost]
currency = "EUR"
items = [ { per = "run", what = "cell", amount = 1000 } ]
"""
FOUR = {
    "pin": ("part", '{ P0 = "bare", P1 = "coated" }'),
    "oil": ("fill", '{ O0 = "fresh", O1 = "with soot" }'),
    "link": ("part", '{ L0 = "stamped", L1 = "fine-blanked" }'),
    "speed_rpm": ("setting", "[2000, 4000]"),
}
NUMBERS = {"speed_rpm": ("setting", "[2000, 4000]"), "load_N": ("setting", "[500, 900]")}
TOGETHER = '\n[[comparison]]\nname = "together"\ninteraction = ["oil", "link"]\n'
SPEED = '\n[[comparison]]\nname = "speed"\nof = { speed_rpm = "4000" }\nagainst = { speed_rpm = "2000" }\n'
FRACTION = 'design = "two-level fraction"\nruns = 8\nreplicates = 2'


def written(root: Path, factors: dict[str, tuple[str, str]], plan: str, more: str = "") -> folder.Campaign:
    """A folder with a brief."""
    told = "".join(
        f'\n[[factor]]\nname = "{name}"\nundo = "{undo}"\nlevels = {levels}\n'
        for name, (undo, levels) in factors.items()
    )
    root.mkdir(exist_ok=True)
    (root / "campaign.toml").write_text(f"{HEAD}{told}{more}\n[plan]\n{plan}\n", encoding="utf-8")
    return folder.open_campaign(root)


def extended(campaign: folder.Campaign, lines: str) -> folder.Campaign:
    """The same with an extension."""
    path = campaign.folder / "campaign.toml"
    path.write_text(path.read_text(encoding="utf-8") + "\n" + lines + "\n", encoding="utf-8")
    return folder.open_campaign(campaign.folder)


def run_all(campaign: folder.Campaign, phase: str, wear: object, *, lost: tuple[str, ...] = (), seed: int = 1) -> None:
    """Every run of a phase made in order, behind those that are in."""
    with (campaign.folder / "plan" / phase / "blank/runs.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    draw = np.random.default_rng(seed)
    for at, row in enumerate(rows):
        void = row["run_id"] in lost
        value = f"{wear(row) * math.exp(draw.normal(0.0, 0.08)):.6f}"
        row |= {"actual_order": str(at + 1), "wear_um": "" if void else value, "run_time_h": "100"}
        row |= {"verdict": "invalid" if void else "valid", "reason": "hose burst" if void else "", "role": "engineer"}
    path = campaign.folder / "raw/runs.csv"
    path.parent.mkdir(exist_ok=True)
    first = not path.exists()
    with path.open("a", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        if first:
            writer.writeheader()
        writer.writerows(rows)


def by_oil_and_link(row: dict[str, str]) -> float:
    """Wear by the pin, and by oil and link together."""
    alike = (row["oil"] == "O1") == (row["link"] == "L1")
    return 20.0 * math.exp(-0.4 * (row["pin"] == "P1") + (0.3 if alike else -0.3))


def hill(row: dict[str, str]) -> float:
    """Wear that is highest at 3474 r/min and 774 N: where -0.5 a + 0.1 b = -0.2 and 0.1 a - 0.4 b = -0.1."""
    a, b = (
        0.0 if row[name] == "centre" else (float(row[name]) - middle) / half
        for name, middle, half in (("speed_rpm", 3000.0, 1000.0), ("load_N", 700.0, 200.0))
    )
    return 20.0 * math.exp(0.2 * a + 0.1 * b - 0.25 * a * a - 0.2 * b * b + 0.1 * a * b)


@pytest.fixture(autouse=True)
def clock(monkeypatch):
    """One time for all."""
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")


def test_what_is_advised_is_planned_run_and_frees_the_interaction_asked_for(tmp_path):
    campaign = written(tmp_path / "c", FOUR, FRACTION, TOGETHER)
    steps.plan(campaign)
    run_all(campaign, "1-main", by_oil_and_link)
    advice = further.advice(campaign)
    assert advice.runs.rests == {"together": "as far as pin × speed_rpm is nil"}
    first = advice.to_json()["extensions"]["ways"][0]
    assert first["frees"] == ["together"]
    later = extended(campaign, first["lines"])
    # The main phase is as it was: neither its seal nor what it tells by itself moves.
    assert later.plan("main")["seal"] == campaign.plan("main")["seal"]
    before = steps.analysis_of(later).responses["wear_um"]
    assert [" × ".join(term) for term in before.fit.strata.terms][4:] == ["pin × oil", "pin × link", "oil × link"]
    made = steps.plan(later)
    held = later.plan("extension")
    assert held["design"] == "semifold by pin, the half with speed_rpm 4000, 2 sets"
    assert held["brief"]["extension"] == {
        "builds": 0, "combinations": [], "replicates": 0,
        "design": "semifold", "half": {"speed_rpm": "4000"}, "swap": ["pin"],
    }  # fmt: skip
    told = held[further_plan.KEY]
    assert told["sentences"][0] == "Judged together: 16 runs and 8 further in 2 blocks."
    assert "oil × link" in told["clear"]
    both = {line["term"]: line for line in held["aliases"]}
    assert both["oil × link"]["clear"] is True
    assert both["pin × speed_rpm"]["clear"] is True
    assert [row["comparison"] for row in told["comparisons"]] == ["together"]
    assert told["comparisons"][0]["error_df_before"] == 16 - 8
    # 24 runs, two blocks, ten effects of one and two factors and what else both tell.
    assert held["strata"][1]["error_df"] == told["comparisons"][0]["error_df_after"]
    assert "With the phases before" in (later.folder / "plan/2-extension/plan.html").read_text(encoding="utf-8")
    assert {path.name for path in made.written} >= {"runs.csv", "plan.json", "plan.html"}
    assert sheets.issue(later, phase="extension").table["run_id"].tolist() == [f"E{at:02d}" for at in range(1, 9)]
    run_all(later, "2-extension", by_oil_and_link, seed=2)
    found = steps.analysis_of(later).responses["wear_um"]
    assert "8 runs of the extension count, as one block" in found.fit.notes
    row = found.comparisons.set_index("comparison").loc["together"]
    assert row["note"] == "a ratio of ratios"
    assert (row["estimate"], row["std_error"], row["df"]) == pytest.approx(by_numpy(found.fit), rel=1e-9)
    verify.verify(later)
    assert further.advice(later).ways.sentences == (
        "An extension is in already; further runs are a campaign of their own, sized from this one's scatter.",
    )


def by_numpy(fit):
    """The interaction of oil and link over both phases with a block for each, by numpy alone: ratio, error, df."""
    runs = fit.runs
    sign = {"P0": -1, "P1": 1, "O0": -1, "O1": 1, "L0": -1, "L1": 1, "2000": -1, "4000": 1}
    levels = np.array([[sign[level] for level in row] for row in runs[list(FOUR)].to_numpy()], dtype=float)
    columns = [np.ones(len(runs)), (runs["phase"] == "extension").to_numpy(dtype=float)]
    columns += [levels[:, [list(FOUR).index(name) for name in term]].prod(axis=1) for term in fit.strata.terms]
    full = np.column_stack(columns)
    y = np.log(runs["wear_um"].to_numpy(dtype=float))
    beta, _, rank, _ = np.linalg.lstsq(full, y, rcond=None)
    assert rank == full.shape[1]
    at = 2 + fit.strata.terms.index(("oil", "link"))
    square = ((y - full @ beta) ** 2).sum() / (len(y) - rank)
    # A ratio of ratios is four coefficients.
    return math.exp(4.0 * beta[at]), 4.0 * math.sqrt(square * np.linalg.inv(full.T @ full)[at, at]), len(y) - rank


def test_false_alarms_of_both_phases_together(tmp_path):
    campaign = written(tmp_path / "c", FOUR, FRACTION, TOGETHER)
    brief = extended(campaign, '[extension]\ndesign = "fold-over"\nswap = ["oil"]\nreplicates = 1').brief
    tables = [chosen.main(brief).table.assign(phase="main"), chosen.extension(brief).table.assign(phase="extension")]
    laid = phases.strata_together(brief, pd.concat(tables, ignore_index=True))
    table = pd.DataFrame([{"response": "wear_um", "source": "pilot", "stratum": "run", "sd": 0.1}])
    known = Scatter(brief.responses[0], "pilot", MeanSquare(0.01, 8.0), None, 1.0, None, (), table)
    found = simulate.simulated(brief, laid, known, plan="p", campaigns=2_000, seed=3, engine="serial")
    # 5 % and 3.24 standard errors of a binomial share of 2,000.
    assert found.answers[0].false_alarms.share == pytest.approx(0.05, abs=3.24 * math.sqrt(0.05 * 0.95 / 2_000))
    # Whatever one phase has more than the other is taken out.
    later = (laid.runs["phase"] == "extension").to_numpy()
    y = np.random.default_rng(8).normal(3.0, 0.1, len(later))
    told = [
        comparisons.comparisons(of_strata(brief, brief.responses[0], laid, y + shift * later))["p_value"].iloc[0]
        for shift in (0.0, 0.7)
    ]
    assert told[0] == pytest.approx(told[1], rel=1e-9)


def test_axial_points_are_run_and_the_surface_is_told(tmp_path):
    campaign = written(tmp_path / "c", NUMBERS, "replicates = 2\ncentre_points = 3", SPEED)
    steps.plan(campaign)
    run_all(campaign, "1-main", hill)
    later = extended(campaign, '[extension]\ndesign = "axial points"\naxial = "rotatable"\ncentre_points = 3')
    checked = steps.check(later)
    # Eight two-level runs: 8^(1/4) = 1.682.
    assert "extension: axial points, rotatable (1.682), 1 set, 7 runs" in checked.lines
    # By itself the main phase goes on telling curvature.
    assert ("curvature",) in steps.analysis_of(later).responses["wear_um"].fit.strata.terms
    steps.plan(later)
    runs = pd.read_csv(later.folder / "plan/2-extension/runs.csv", dtype=str)
    assert set(runs["speed_rpm"]) == {"1318.21", "4681.79", "centre"}
    assert set(runs["load_N"]) == {"363.641", "1036.36", "centre"}
    sheet = sheets.issue(later, phase="extension")
    text = (later.folder / "runsheets/2-extension/all.html").read_text(encoding="utf-8")
    assert "4681.79 r/min" in text
    assert "centre (700 N)" in text
    assert len(sheet.table) == 7
    run_all(later, "2-extension", hill, seed=2)
    found = steps.analysis_of(later).responses["wear_um"]
    settings = found.surface.table.set_index("factor")
    assert settings.loc["speed_rpm", "stationary"] == pytest.approx(3474.0, abs=150.0)
    assert settings.loc["load_N", "stationary"] == pytest.approx(774.0, abs=40.0)
    assert found.surface.stationary.nature == "maximum"
    # 11 and 7 runs, two blocks, five coefficients of the second order.
    assert found.fit.mean_squares["run"][1] == 18 - 2 - 5


def test_lost_runs_are_made_up_as_advised_and_idle_runs_are_refused(tmp_path):
    plan = "replicates = 2"
    three = {name: FOUR[name] for name in ("pin", "oil")}
    asked = '\n[[comparison]]\nname = "both"\nof = { pin = "P1", oil = "O1" }\nagainst = { pin = "P0", oil = "O0" }\n'
    campaign = written(tmp_path / "c", three, plan, asked)
    steps.plan(campaign)
    order = campaign.order("main")
    lost = tuple(order.loc[(order["pin"] == "P1") & (order["oil"] == "O1"), "run_id"])
    run_all(campaign, "1-main", lambda row: 20.0 if row["pin"] == "P0" else 14.0, lost=lost)
    best = further.advice(campaign).ways.table.iloc[0]
    assert best["way"] == "make-up runs of 2 combinations, 1 set"
    assert best["tells"] == ("both",)
    idle = extended(
        campaign, '[extension]\ndesign = "make-up runs"\ncombinations = [ { pin = "P1", oil = "O1" } ]'
    )
    with pytest.raises(DesignError) as told:
        steps.plan(idle)
    listed = best["lines"].split("combinations = ")[1]
    assert str(told.value) == (
        "[extension] combinations: these runs tell nothing of what the runs before them leave untold (pin, oil and "
        "pin × oil); in a block of its own a single run is compared with nothing, and one that was run already is "
        f"needed beside those that were not. Write combinations = {listed}."
    )
    assert not (campaign.folder / "plan/2-extension").exists()
    path = campaign.folder / "campaign.toml"
    text = path.read_text(encoding="utf-8").split("\n[extension]")[0]
    path.write_text(text, encoding="utf-8")
    later = extended(folder.open_campaign(campaign.folder), best["lines"])
    steps.plan(later)
    assert "pin × oil" in later.plan("extension")[further_plan.KEY]["told"] + later.plan("extension")[
        further_plan.KEY
    ]["clear"]
    run_all(later, "2-extension", lambda row: 20.0 if row["pin"] == "P0" else 14.0, seed=2)
    answer = steps.analysis_of(later).responses["wear_um"].comparisons.set_index("comparison").loc["both"]
    assert answer["estimate"] == pytest.approx(0.7, abs=0.2)


def test_finished_runs_stay_as_they_are_where_a_lost_run_of_a_fold_over_is_made_again(tmp_path):
    campaign = written(tmp_path / "c", FOUR, FRACTION, TOGETHER)
    steps.plan(campaign)
    run_all(campaign, "1-main", by_oil_and_link)
    later = extended(campaign, '[extension]\ndesign = "fold-over"\nswap = ["oil"]\nreplicates = 1')
    steps.plan(later)
    again = steps.plan(later)
    assert again.plan["seal"] == later.plan("extension")["seal"]
    before = later.order("extension").set_index("run_id")
    run_all(later, "2-extension", by_oil_and_link, lost=("E03",), seed=2)
    amend.amend(later, phase="extension", lost="repeat", reason="the hose burst", role="test engineer")
    after = later.order("extension").set_index("run_id")
    assert [name for name in after.index if name not in before.index] == ["E09"]
    pd.testing.assert_frame_equal(after.loc[before.index, list(FOUR)], before[list(FOUR)])
    assert after.loc["E09", list(FOUR)].tolist() == before.loc["E03", list(FOUR)].tolist()
    held = json.loads((seal.folder_of(later.folder, "extension") / "plan.json").read_text(encoding="utf-8"))
    assert held["amendment"] == 1
    assert held[further_plan.KEY]["sentences"][0] == "Judged together: 16 runs and 8 further in 2 blocks."
    with pytest.raises(CampaignError) as told:
        planning.plan(extended_again(later), phase="extension")
    assert "extension.swap" in str(told.value)


def extended_again(campaign: folder.Campaign) -> folder.Campaign:
    """The brief with another factor swapped."""
    path = campaign.folder / "campaign.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('swap = ["oil"]', 'swap = ["pin"]'), encoding="utf-8")
    return folder.open_campaign(campaign.folder)


def test_what_cannot_be_is_told_with_its_line(tmp_path):
    campaign = written(tmp_path / "c", FOUR, FRACTION, TOGETHER)
    with pytest.raises(BriefError) as told:
        extended(campaign, '[extension]\ndesign = "fold-over"')
    assert "[extension] swap: every factor swapped gives the combinations that the main phase ran already" in str(
        told.value
    )
    later = written(tmp_path / "d", NUMBERS, "centre_points = 3", SPEED)
    later = extended(later, '[extension]\ndesign = "axial points"\naxial = "rotatable"')
    assert "extension: its runs follow from the main phase, whose size is not chosen yet" in steps.check(later).lines
