"""Campaigns of designs that run a part of the combinations, from campaign.toml to the report; everything INVENTED."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import pytest

from toolkit.campaign import folder, steps

FACTORS = {
    "pin": ("part", '{ P0 = "bare", P1 = "coated" }'),
    "oil": ("fill", '{ O0 = "fresh", O1 = "with soot" }'),
    "link": ("part", '{ L0 = "stamped", L1 = "fine-blanked" }'),
    "speed_rpm": ("setting", "[2000, 4000]"),
    "load_N": ("setting", "[500, 900]"),
    "temp_degC": ("setting", "[90, 120]"),
    "guide": ("part", '{ G0 = "plain", G1 = "filled" }'),
}
HEAD = """[campaign]
id = "seven"
question = "INVENTED: which of seven things change wear?"
seed = 11
new_each_run = ["part", "fill"]

[[response]]
name = "wear_um"
per_run = "value"
worthwhile_change_pct = 20

[[comparison]]
name = "coating"
of = { pin = "P1" }
against = { pin = "P0" }

[scatter]
declared_cv_pct = [8, 15]
"""


def campaign_of(root: Path, plan: str, more: str = "") -> Path:
    """A folder with the brief of seven factors."""
    factors = "".join(
        f'\n[[factor]]\nname = "{name}"\nundo = "{undo}"\nlevels = {levels}\n'
        for name, (undo, levels) in FACTORS.items()
    )
    root.mkdir()
    (root / "campaign.toml").write_text(f"{HEAD}{factors}{more}\n[plan]\n{plan}\n", encoding="utf-8")
    return root


def run_all(root: Path, wear: object) -> None:
    """Fill in the blank table: every run made in order, its wear by a rule."""
    with (root / "plan/1-main/blank/runs.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for at, row in enumerate(rows):
        row |= {"actual_order": str(at + 1), "verdict": "valid", "wear_um": f"{wear(row):.6f}", "run_time_h": "100"}
    (root / "raw").mkdir(exist_ok=True)
    with (root / "raw/runs.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)


def wear(row: dict[str, str]) -> float:
    """Wear by pin and oil, and a trace of the other factors that no repeat would tell."""
    trace = sum((at + 1) * 0.002 * (row[name][-1] in "1") for at, name in enumerate(("link", "guide")))
    return 20.0 * math.exp(-0.4 * (row["pin"] == "P1") + 0.5 * (row["oil"] == "O1") + trace)


def analysed(root: Path) -> dict[str, object]:
    """What analysis.json holds of the response."""
    steps.analyse(folder.open_campaign(root))
    return json.loads((root / "derived/analysis.json").read_text(encoding="utf-8"))["responses"]["wear_um"]


def test_a_saturated_fraction_is_planned_and_judged_by_its_own_effects(tmp_path, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
    root = campaign_of(tmp_path / "c", 'design = "two-level fraction"\nruns = 8\nreplicates = 1')
    campaign = folder.open_campaign(root)
    told = steps.check(campaign).lines
    assert "main: two-level fraction 2^(7-4), resolution III, 8 runs a set, 1 set, 8 runs" in told
    none = "no effect stands clear of every interaction of two factors; what each could also be: plan.html"
    assert f"main: {none}" in told
    planned = steps.plan(campaign)
    assert len(planned.table) == 8
    held = json.loads((root / "plan/1-main/plan.json").read_text(encoding="utf-8"))
    chains = {line["term"]: line for line in held["aliases"]}
    assert chains["pin"]["sentence"] == (
        "What is told as pin is pin plus oil × speed_rpm plus link × load_N plus temp_degC × guide: these runs cannot "
        "tell them apart."
    )
    assert not any(line["clear"] for line in chains.values())
    assert ["pin", "oil", "speed_rpm"] in held["defining_words"]
    page = (root / "plan/1-main/plan.html").read_text(encoding="utf-8")
    assert "What an effect could also be" in page
    assert "Nothing is repeated in this plan" in page
    run_all(root, wear)
    found = analysed(root)
    effects = {row["term"]: row for row in found["unreplicated"]["effects"]}
    assert effects["pin"]["effect"] == pytest.approx(-0.4, abs=1e-6)
    assert effects["oil"]["effect"] == pytest.approx(0.5, abs=1e-6)
    assert effects["pin"]["stands_out"] == effects["oil"]["stands_out"] == "beyond the margin of all effects"
    assert found["comparisons"][0]["note"].endswith(
        "stands for pin + oil × speed_rpm + link × load_N + temp_degC × guide: these runs cannot tell them apart"
    )


def test_sixteen_runs_over_builds_are_judged_within_them(tmp_path, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
    plan = 'design = "two-level fraction"\nruns = 16\nbuilds = 4\nsplit_over = 2\nkeep_clear = []'
    root = campaign_of(tmp_path / "c", plan, '\n[blocks]\nby = "build"\nmost_runs = 8\n')
    lines = steps.check(folder.open_campaign(root)).lines
    assert (
        "main: clear of every other main effect and every interaction of two factors: every main effect; "
        "what the others "
        "could also be: plan.html"
    ) in lines
    steps.plan(folder.open_campaign(root))
    held = json.loads((root / "plan/1-main/plan.json").read_text(encoding="utf-8"))
    assert [line["term"] for line in held["aliases"] if line["clear"]][:7] == list(FACTORS)

    def by_build(row: dict[str, str]) -> float:
        """Wear with an offset for each build and a little scatter."""
        number = int(row["run_id"][1:])
        return wear(row) * math.exp(0.3 * int(row["build_id"][1:]) + 0.03 * math.sin(37.0 * number))

    run_all(root, by_build)
    found = analysed(root)
    coating = found["comparisons"][0]
    assert coating["df"] == 32 - 1 - 3 - 14
    assert coating["estimate"] == pytest.approx(math.exp(-0.4), rel=0.05)
    assert coating["conf_low"] < math.exp(-0.4) < coating["conf_high"]
    assert coating["note"] in (None, "")


def test_a_screening_plan_says_what_its_effects_take_in(tmp_path, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
    root = campaign_of(tmp_path / "c", 'design = "Plackett-Burman"\nreplicates = 1')
    sized = steps.size(folder.open_campaign(root))
    assert [option.design.runs for option in sized.options][:2] == [12, 24]
    steps.plan(folder.open_campaign(root))
    run_all(root, wear)
    found = analysed(root)
    coating = found["comparisons"][0]
    assert coating["estimate"] == pytest.approx(math.exp(-0.4), rel=1e-6)
    assert coating["df"] == 4
    assert "pin takes in a part of 15 interactions of two factors, 0.33 of one at most" in coating["note"]
