"""A covariate on its way from campaign.toml through seal, sheets and records to the verdict; INVENTED."""

from __future__ import annotations

import json

import pandas as pd
import pytest

from tests.unit.campaign import shop
from toolkit.campaign import amend, seal, sheets, steps
from toolkit.errors import CampaignError, IntakeError

HARD = '\n[[covariate]]\nname = "hardness_HV"\nbefore_run = true\n'
RUNS = tuple(f"R{at:02d}" for at in range(1, 13))


def with_hardness(campaign):
    """Add the hardness of every blank to raw/runs.csv."""
    path = campaign.folder / "raw" / "runs.csv"
    table = pd.read_csv(path, dtype=str, keep_default_na=False)
    table["hardness_HV"] = [f"{200 + (7 * at) % 12}" for at in range(len(table))]
    path.write_text(table.to_csv(index=False, lineterminator="\n"), encoding="utf-8")


def test_sealed_before_the_runs_it_carries_the_verdict(tmp_path):
    campaign = shop.planned(tmp_path, shop.BRIEF + HARD)
    assert seal.kept(campaign.folder, "main")["brief"]["covariate"] == [
        {"at": None, "before_run": True, "name": "hardness_HV"}
    ]
    shop.ran(campaign, *RUNS)
    with_hardness(campaign)
    item = steps.analyse(campaign).responses["wear_mg"]
    assert item.otherwise.equal.judged == ("hardness_HV",)
    told = json.loads((tmp_path / "derived" / "analysis.json").read_text(encoding="utf-8"))["responses"]["wear_mg"]
    assert told["otherwise"]["covariates"]["in_verdict"] == ["hardness_HV"]
    assert told["otherwise"]["covariates"]["basis"] == "unadjusted"
    assert "slope × hardness" in told["model"]["equation"]
    table = pd.read_csv(tmp_path / "derived" / "otherwise.csv")
    assert list(table["basis"]) == ["unadjusted", "unadjusted"]
    assert list(table["verdict"]) == list(item.verdicts["verdict"])


def test_put_in_by_an_amendment_it_stands_beside(tmp_path):
    campaign = shop.planned(tmp_path)
    shop.ran(campaign, *RUNS[:4])
    path = tmp_path / "campaign.toml"
    path.write_text(path.read_text(encoding="utf-8") + HARD, encoding="utf-8")
    campaign = shop.rewritten(campaign)
    with pytest.raises(CampaignError) as stopped:
        campaign.plan("main")
    assert "campaign.toml changed since the main phase was sealed" in str(stopped.value)
    assert "covariate" in str(stopped.value)
    amend.amend(campaign, **shop.ROLE)
    shop.ran(campaign, *RUNS)
    with_hardness(campaign)
    equal = steps.analyse(campaign).responses["wear_mg"].otherwise.equal
    assert (equal.judged, equal.basis) == ((), "at equal covariates")
    assert equal.sentences[0] == (
        "hardness: the verdicts are not adjusted for it, because it was not sealed with the plan before the first run; "
        "the adjusted answers stand beside."
    )


def test_sheets_and_blank_tables_ask_for_it(tmp_path):
    campaign = shop.planned(tmp_path, shop.BRIEF + HARD)
    sheets.issue(campaign, phase="main")
    blank = next(path for path in tmp_path.rglob("runs*.csv") if "hardness_HV" in path.read_text(encoding="utf-8"))
    assert blank.read_text(encoding="utf-8").split("\n")[0].count("hardness_HV") == 1


def test_a_column_that_is_no_covariate_is_still_refused(tmp_path):
    campaign = shop.planned(tmp_path)
    shop.ran(campaign, *RUNS)
    with_hardness(campaign)
    with pytest.raises(IntakeError) as stopped:
        steps.analyse(campaign)
    assert "hardness_HV" in str(stopped.value)
