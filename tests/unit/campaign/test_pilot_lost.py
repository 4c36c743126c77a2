"""A pilot of which no run is valid: what comes next, and that it works."""

from __future__ import annotations

import pytest

from tests.unit.campaign import shop
from toolkit.campaign import amend, folder, status, steps
from toolkit.errors import SizingError

BRIEF = shop.BRIEF.replace(
    "[plan]", '[pilot]\ncombinations = [ { pin = "P0", oil = "O0" } ]\nreplicates = 2\n\n[plan]'
).replace("declared_cv_pct = [8, 12]\n", "")


def test_a_pilot_that_was_lost_whole_is_made_again_before_it_is_sized(tmp_path):
    (tmp_path / "campaign.toml").write_text(BRIEF, encoding="utf-8")
    campaign = folder.open_campaign(tmp_path)
    steps.plan(campaign, phase="pilot")
    shop.ran(campaign, "P01", lost=("P02",), phase="0-pilot")
    assert status.status(folder.open_campaign(tmp_path)).next[0] == "size the main phase: wearbook size CAMPAIGN"
    shop.ran(campaign, lost=("P01", "P02"), phase="0-pilot")
    campaign = folder.open_campaign(tmp_path)
    assert status.status(campaign).next == (
        "make the pilot again, of which no run is valid: wearbook amend CAMPAIGN --phase pilot --lost repeat --reason "
        "TEXT --role ROLE",
    )
    with pytest.raises(SizingError) as told:
        steps.size(campaign)
    assert str(told.value) == (
        "wear_mg: nothing is known of its scatter. Of the pilot P01 and P02 (invalid) are left out and no run is left: "
        "a lost one, where it was not repeated yet, is made again by `wearbook amend --phase pilot --lost repeat`. "
        "Once that is put right the pilot tells it; until then, name a history file or declare a range with "
        "declared_cv_pct in [scatter]."
    )
    assert amend.amend(campaign, phase="pilot", lost="repeat", **shop.ROLE).to_json()["added"] == ["P03", "P04"]
