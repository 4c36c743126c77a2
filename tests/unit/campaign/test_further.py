"""Advice on further runs: logged as a look, refused while runs are pending."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from toolkit.campaign import folder, further, log
from toolkit.errors import CampaignError

DATA = Path(__file__).resolve().parents[3] / "data"


def opened(tmp_path, name):
    """A bundled campaign in a folder of its own."""
    shutil.copytree(DATA / name, tmp_path / name)
    return folder.open_campaign(tmp_path / name)


def test_the_advice_is_that_of_the_analysis_and_counts_as_a_look(tmp_path):
    campaign = opened(tmp_path, "chain-soot")
    made = further.next_runs(campaign)
    assert made.sentence.startswith(
        "elongation_pct: most for its price is every combination once (4 runs) in a new build (62,906 EUR): it "
        "takes 29 % off the variance of what is open, and makes the intervals about 24 % narrower."
    )
    row = log.read(campaign.folder)[-1]
    assert row["kind"] == log.LOOK
    assert log.told(row)["seen"]["R08"] == "invalid"


def test_pending_runs_come_first(tmp_path):
    campaign = opened(tmp_path, "tappet-finish")
    with pytest.raises(CampaignError) as stopped:
        further.next_runs(campaign)
    assert str(stopped.value) == (
        "mass_loss_mg: 14 of 15 runs: the planned runs come first. Make them, or say with `wearbook amend` that they "
        "are not made."
    )
    assert log.read(campaign.folder) == []
