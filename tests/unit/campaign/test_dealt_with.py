"""What the finding of a void run says once an amendment has dealt with it."""

import pytest

from tests.unit.campaign import shop
from toolkit.campaign import amend, folder, steps

FIVE = ("R01", "R02", "R03", "R04", "R06")


def actions(campaign):
    """Run to the action of the finding on its verdict."""
    found = steps.analysis_of(folder.open_campaign(campaign.folder)).responses["wear_mg"].findings
    return {row["run_id"]: row["action"] for row in found.to_dict("records") if row["rule"] == "run verdict"}


@pytest.mark.parametrize(
    ("choice", "made", "told"),
    [
        ("", (), "left out of the analysis; repeat the run if its combination is needed"),
        ("repeat", (), "left out of the analysis; it is to be repeated by R13 (amendment 1), of which nothing valid is "
                       "on record yet"),
        ("repeat", ("R13",), "left out of the analysis; it was repeated by R13 (amendment 1)"),
        ("replace", ("R13",), "left out of the analysis; it was replaced by R13 (amendment 1)"),
        ("without", (), "left out of the analysis; the plan goes on without it (amendment 1)"),
    ],
)  # fmt: skip
def test_a_void_run_says_what_was_done_about_it(tmp_path, choice, made, told):
    campaign = shop.planned(tmp_path / "c")
    shop.ran(campaign, *FIVE, lost=("R05",))
    if choice:
        amend.amend(campaign, lost=choice, **shop.ROLE)
    shop.ran(campaign, *FIVE, *made, lost=("R05",))
    assert actions(campaign)["R05"] == told
