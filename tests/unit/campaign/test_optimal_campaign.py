"""Campaigns of optimal designs, from campaign.toml to the analysis; everything INVENTED."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from tests.unit.campaign.test_designs import analysed, run_all
from toolkit.campaign import folder, steps
from toolkit.errors import CampaignError
from toolkit.size import chosen_lines

FACTORS = """
[[factor]]
name = "pin"
undo = "part"
levels = { P0 = "bare", P1 = "coated", P2 = "nitrided", P3 = "chromed" }

[[factor]]
name = "oil"
undo = "fill"
levels = { O0 = "fresh", O1 = "with soot" }

[[factor]]
name = "load_N"
undo = "setting"
levels = [500, 700, 900]
"""
HEAD = """[campaign]
id = "mixed"
question = "INVENTED: what do coating, soot and load do to wear?"
seed = 11
new_each_run = NEW

[[response]]
name = "wear_um"
per_run = "value"
worthwhile_change_pct = 20

[[comparison]]
name = "coating"
of = { pin = "P1" }
against = { pin = "P0" }

[[comparison]]
name = "soot"
of = { oil = "O1" }
against = { oil = "O0" }

[scatter]
declared_cv_pct = [8, 15]
"""


def campaign_of(root: Path, plan: str, new: str = '["part", "fill"]') -> Path:
    """A folder with the brief of three factors of four, two and three levels."""
    root.mkdir()
    (root / "campaign.toml").write_text(
        f'{HEAD.replace("NEW", new)}{FACTORS}\n[plan]\ndesign = "optimal"\n{plan}\n', encoding="utf-8"
    )
    return root


def wear(row: dict[str, str]) -> float:
    """Wear by coating, soot and load, with an offset for each set of parts and a scatter that repeats itself."""
    number = int(row["run_id"][1:])
    kept = 0.2 * math.sin(5.0 * int(row.get("part_set_id", 0)))
    effects = -0.4 * (row["pin"] == "P1") + 0.5 * (row["oil"] == "O1") + 0.001 * float(row["load_N"])
    return 20.0 * math.exp(effects + kept + 0.02 * math.sin(37.0 * number))


def test_mixed_levels_with_restrictions_from_brief_to_answer(tmp_path, monkeypatch):
    """Checked, sized, sealed twice the same, made, analysed, told; repeats leave degrees of freedom of their own."""
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
    plan = 'runs = 16\nreplicates = 1\nrepeat_points = 3\nforbidden = [ { pin = "P3", load_N = 900 } ]'
    root = campaign_of(tmp_path / "c", plan)
    told = steps.check(folder.open_campaign(root)).lines
    assert "main: optimal (D), main effects, 16 runs a set, 1 set, 16 runs" in told
    sentence = next(line for line in told if line.startswith("main: A set of 16 runs was searched for among 24"))
    assert "3 runs repeat another" in sentence and "A full factorial takes 24 runs for each replicate." in sentence
    sized = steps.size(folder.open_campaign(root))
    assert [option.design.runs for option in sized.options] == [16, 32, 48]
    # Runs of a set that repeat each other are no further sets.
    assert [chosen_lines.keys(sized, option) for option in sized.options] == [{"replicates": n} for n in (1, 2, 3)]
    assert sentence.removeprefix("main: ") in sized.notes
    planned = steps.plan(folder.open_campaign(root))
    assert planned.plan["seal"] == steps.plan(folder.open_campaign(root)).plan["seal"]
    runs = planned.table
    assert not ((runs["pin"] == "P3") & (runs["load_N"] == "900")).any()
    assert runs[["pin", "oil", "load_N"]].duplicated().sum() >= 3
    held = json.loads((root / "plan/1-main/plan.json").read_text(encoding="utf-8"))
    assert (held["optimal"]["terms"], held["optimal"]["combinations"]) == (["pin", "oil", "load_N"], 24)
    assert held["brief"]["plan"]["forbidden"] == [{"pin": "P3", "load_N": "900"}]
    assert "criterion" not in held["brief"]["plan"]
    page = (root / "plan/1-main/plan.html").read_text(encoding="utf-8")
    assert held["optimal"]["sentence"] in page and "What an effect could also be" in page
    run_all(root, wear)
    found = analysed(root)
    coating = found["comparisons"][0]
    assert coating["estimate"] == pytest.approx(math.exp(-0.4), rel=0.05) and coating["df"] == 16 - 7
    assert coating["conf_low"] < math.exp(-0.4) < coating["conf_high"]
    # What is not in the stated model has no line of its own, and is named beside what takes it in.
    assert [row["term"] for row in found["anova"] if row["df"]][:3] == ["pin", "oil", "load_N"]
    assert not any("×" in str(row["term"]) for row in found["anova"])
    assert coating["note"].startswith("pin takes in a part of") or "stands for pin" in coating["note"]


def test_kept_parts_are_judged_between_sets_of_parts(tmp_path, monkeypatch):
    """Eight sets of three runs: the coating by Kenward and Roger between sets, the soot within."""
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
    root = campaign_of(tmp_path / "c", "runs = 24\nreplicates = 1\nplots = { part = 8 }", '["fill"]')
    told = steps.check(folder.open_campaign(root)).lines
    assert "main: optimal (D), main effects, 24 runs a set in 8 sets of parts, 1 set, 24 runs" in told
    steps.plan(folder.open_campaign(root))
    run_all(root, wear)
    found = analysed(root)
    coating, soot = found["comparisons"]
    # Four levels between eight sets leave 4 df; soot is told by 24 - 8 - 3 runs, and a little between the sets.
    assert coating["error_stratum"] == "part" and coating["df"] == pytest.approx(4.0, abs=0.5)
    assert soot["df"] > 10.0
    assert (coating["conf_high"] / coating["conf_low"]) > (soot["conf_high"] / soot["conf_low"])
    assert soot["estimate"] == pytest.approx(math.exp(0.5), rel=0.05)


def test_a_sealed_model_is_not_changed_by_an_amendment(tmp_path, monkeypatch):
    """Another criterion is another plan: refused in words."""
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
    root = campaign_of(tmp_path / "c", "runs = 12\nreplicates = 1")
    steps.plan(folder.open_campaign(root))
    file = root / "campaign.toml"
    file.write_text(file.read_text(encoding="utf-8") + 'criterion = "A"\n', encoding="utf-8")
    with pytest.raises(CampaignError) as told:
        steps.plan(folder.open_campaign(root))
    assert "plan.criterion" in str(told.value)
