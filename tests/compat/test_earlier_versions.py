"""A campaign that version 0.2 planned, sealed and issued is carried on to its answers by this version.

The folder was made by version 0.2 from the bundled campaign (INVENTED), both phases sealed, nothing run yet.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from toolkit import shipped
from toolkit.campaign import folder, sheets, status, steps, verify

HERE = Path(__file__).parent / "sealed-by-0.2"


@pytest.fixture
def sealed(tmp_path, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-20T08:00:00+00:00")
    shutil.copytree(HERE, tmp_path / "chain")
    return tmp_path / "chain"


def test_seals_and_issued_files_are_still_whole(sealed):
    lines = verify.verify(folder.open_campaign(sealed)).lines
    assert "pilot: 8 of 8 issued files are as issued" in lines
    assert "main: 16 of 16 issued files are as issued" in lines
    assert sum("fits its files and campaign.toml" in line for line in lines) == 2
    assert sheets.issue(folder.open_campaign(sealed), phase="main").written == ()


def test_it_is_carried_on_to_the_same_answers_as_a_new_one(sealed, tmp_path):
    raw = shipped.folder("data") / "chain-soot" / "raw"
    for name in ("runs.csv", "stations.csv", "oil.csv"):
        shutil.copy(raw / name, sealed / "raw" / name)
    campaign = folder.open_campaign(sealed)
    assert status.status(campaign).faults == ""
    found = steps.analyse(campaign).responses["elongation_pct"]
    shutil.copytree(shipped.folder("data") / "chain-soot", tmp_path / "new")
    fresh = steps.analyse(folder.open_campaign(tmp_path / "new")).responses["elongation_pct"]
    assert found.verdicts["sentence"].tolist() == fresh.verdicts["sentence"].tolist()
    assert found.comparisons["estimate"].tolist() == fresh.comparisons["estimate"].tolist()


# 0.3: a fill kept over runs with a choice of the best, a fraction over builds with a covariate. 0.4: positions of one
# engine, balanced incomplete blocks, a Latin square that is balanced for what the run before leaves behind.
@pytest.mark.parametrize(
    "name",
    [
        "sealed-by-0.3/kept-fill",
        "sealed-by-0.3/fraction",
        "sealed-by-0.4/positions",
        "sealed-by-0.4/incomplete-blocks",
        "sealed-by-0.4/latin-square",
    ],
)
def test_plans_sealed_by_earlier_versions_are_whole_and_drawn_alike_again(name, tmp_path, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-11-25T08:00:00+00:00")
    shutil.copytree(HERE.parent / name, tmp_path / "kept")
    lines = verify.verify(folder.open_campaign(tmp_path / "kept")).lines
    assert sum("fits its files and campaign.toml" in line for line in lines) == 1
    (tmp_path / "new").mkdir()
    shutil.copy(tmp_path / "kept" / "campaign.toml", tmp_path / "new")
    steps.plan(folder.open_campaign(tmp_path / "new"))
    for file in ("runs.csv", "blank/runs.csv"):
        kept, new = (tmp_path / at / "plan" / "1-main" / file for at in ("kept", "new"))
        assert new.read_bytes() == kept.read_bytes()
