"""Scatter of finished campaigns from their folders; everything in them is INVENTED."""

from __future__ import annotations

import numpy as np
import pytest

from tests.unit.campaign import shop
from toolkit.campaign import earlier, folder, sizing
from toolkit.campaign.folder import Campaign
from toolkit.numeric import memory

NAMED = 'declared_cv_pct = [8, 12]\ncampaigns = ["../one", "../two", "../three", "../four"]\n'


def finished(root, name: str, *changes: str, seed: int = 7) -> Campaign:
    """A campaign of 12 runs that are all made and valid."""
    text = shop.BRIEF.replace('id = "small"', f'id = "{name}"').replace("seed = 7", f"seed = {seed}")
    for old, new in zip(changes[::2], changes[1::2], strict=True):
        assert old in text
        text = text.replace(old, new)
    made = shop.planned(root / name, text)
    shop.ran(made, *(row["run_id"] for row in shop.run_list(made)))
    return made


def ours(root, named: str = NAMED, *, rig: str = "") -> Campaign:
    """The campaign that is sized."""
    place = root / "now"
    place.mkdir()
    text = shop.BRIEF.replace("declared_cv_pct = [8, 12]\n", named + (f'rig = "{rig}"\n' if rig else ""))
    (place / "campaign.toml").write_text(text, encoding="utf-8")
    return folder.open_campaign(place)


def by_hand(campaign: Campaign) -> tuple[float, int]:
    """Error SD of ln wear by least squares on dummy columns, and its df."""
    runs = campaign.records().runs
    pin, oil = (runs["pin"] == "P1").to_numpy(float), (runs["oil"] == "O1").to_numpy(float)
    builds = np.array([[float(one == build) for build in sorted(set(runs["build_id"]))] for one in runs["build_id"]])
    x = np.column_stack([builds, pin, oil, pin * oil])
    left = np.linalg.lstsq(x, np.log(runs["wear_mg"].to_numpy(float)), rcond=None)[1][0]
    return float(np.sqrt(left / 6)), 6


def test_three_finished_campaigns_are_one_memory(tmp_path):
    """Their error SDs by least squares by hand; the blend that of the formulas on these."""
    past = [finished(tmp_path, name, seed=at) for at, name in enumerate(("one", "two", "three"))]
    now = ours(tmp_path, NAMED.replace(', "../four"', ""))
    found = earlier.with_campaigns(now, None)
    told = [by_hand(item) for item in past]
    assert found["campaign_id"].tolist() == ["one", "two", "three"]
    assert found["sd"].tolist() == pytest.approx([sd for sd, _ in told])
    assert found["df"].tolist() == [6, 6, 6]
    assert found["refused"].tolist() == ["", "", ""]
    scatters, unknown = sizing.known(now, now.records())
    assert unknown == {}
    prior = memory.prior_scatter([sd for sd, _ in told], [6, 6, 6])
    assert (scatters[0].basis, scatters[0].run.value, scatters[0].run.df) == (
        "history",
        pytest.approx(prior.mean_square),
        pytest.approx(prior.df),
    )


def test_campaigns_that_do_not_count_are_listed_with_the_reason(tmp_path):
    """Another scale, another rig, not finished, no campaign at all: each a line; fewer than three leave no memory."""
    linear = ('name = "wear_mg"', 'name = "wear_mg"\nscale = "linear"')
    finished(tmp_path, "one", *linear, "worthwhile_change_pct = 20", "worthwhile_change = 2")
    finished(tmp_path, "two", "declared_cv_pct", 'rig = "stand 3, before May"\ndeclared_cv_pct')
    late = finished(tmp_path, "three")
    shop.ran(late, *(row["run_id"] for row in shop.run_list(late)[:10]), late=(shop.run_list(late)[10]["run_id"],))
    now = ours(tmp_path, rig="stand 3, as rebuilt in May")
    scatters, _ = sizing.known(now, now.records())
    assert scatters[0].basis == "declared"
    assert scatters[0].notes[:-1] == (
        "wear_mg: campaign 'one' of the rig's history is not used: scale is not 'log'.",
        "wear_mg: campaign 'two' of the rig's history is not used: its rig is 'stand 3, before May', and this "
        "campaign's is 'stand 3, as rebuilt in May'.",
        "wear_mg: campaign 'three' of the rig's history is not used: it is not finished: 2 runs are not made or not "
        "judged.",
        "wear_mg: campaign '../four' of the rig's history is not used: there is no campaign in that folder (no "
        "campaign.toml).",
        "wear_mg: the rig's history holds 0 usable campaigns; at least three are needed, so it is not used.",
    )


def test_other_averages_other_layers_and_itself(tmp_path):
    """Stations there and none here; runs over all builds there and within a build here; the campaign itself."""
    randomised = ('[blocks]\nby = "build"\n\n', "", "builds = 3", "replicates = 3")
    finished(tmp_path, "two", *randomised)
    finished(tmp_path, "three")
    unplanned = tmp_path / "four"
    unplanned.mkdir()
    (unplanned / "campaign.toml").write_text(shop.BRIEF.replace('"small"', '"four"'), encoding="utf-8")
    now = ours(tmp_path, NAMED.replace("../one", "../now"))
    found = earlier.with_campaigns(now, None).set_index("campaign_id")["refused"].to_dict()
    assert found["../now"] == "it is this campaign"
    assert found["four"] == "its main phase was never planned and sealed"
    # All its runs were made in one build, so that its scatter is that within a build too.
    assert found["two"] == ""
    shop.rewritten(now, 'name = "wear_mg"', 'name = "mass_mg"')
    again = earlier.with_campaigns(folder.open_campaign(now.folder), None).set_index("campaign_id")
    assert again.loc["two", "refused"] == "it has no response 'mass_mg'"
    now = shop.rewritten(now, *randomised, 'name = "mass_mg"', 'name = "wear_mg"')
    layers = earlier.with_campaigns(now, None).set_index("campaign_id")["refused"]
    assert layers["three"] == "its scatter is that of runs within a build, and here it is that over all runs"
