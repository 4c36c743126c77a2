"""A campaign whose run order keeps limits: told, sealed, drawn anew after a lost run, and used by the exact test."""

from __future__ import annotations

import dataclasses
import json
from types import SimpleNamespace

import pandas as pd
import pytest

from tests.unit.campaign import shop
from toolkit.campaign import amend, folder, order_words, redrawing, seal, steps
from toolkit.campaign.sealed_brief import covered
from toolkit.errors import CampaignError, DesignError

LIMITS = shop.BRIEF + "\n[order]\nmost_linear = 0.3\n"
LATE = ("R01", "R02", "R03", "R04", "R06")


def worst(order):
    """The largest correlation of a comparison with the run order."""
    return order.drift[["with_run_order", "within_builds"]].astype(float).abs().max(axis=None)


@pytest.fixture
def campaign(tmp_path):
    """Sealed, nothing run."""
    return shop.planned(tmp_path / "c", LIMITS)


def test_the_orders_are_told_before_sealing_and_sealed_with_the_plan(campaign):
    held = campaign.plan("main")
    found = held["order_set"]
    assert (found["most_linear"], found["of"], found["counted"]) == (0.3, 13_824, True)
    assert f"main: {found['sentence']}" in steps.check(campaign).lines
    assert held["brief"]["order"] == {"most_linear": 0.3, "most_quadratic": None}
    assert "order" not in covered(campaign.brief, "pilot")
    made = steps.plan(campaign, phase="main")
    assert worst(made.order) <= 0.3 + 1e-9
    assert made.plan["seal"] == held["seal"]
    page = (campaign.folder / "plan" / "1-main" / "plan.html").read_text(encoding="utf-8")
    for row in found["exact"]:
        floor = f"no p below {row['smallest_p']:.2g} can come out"
        assert f"{row['comparison']}: the exact test goes through {row['orders']:,} orders, {floor}" in page
    assert "They do not help against a step, a bad day, or anything that comes with a level itself." in page


def test_a_brief_without_limits_is_sealed_as_before(tmp_path):
    held = shop.planned(tmp_path / "c").plan("main")
    assert "order" not in held["brief"] and "order_set" not in held


def test_the_look_lies_under_derived_and_is_made_again_alike(campaign):
    path = campaign.folder / "derived" / "design-main.json"
    first = path.read_bytes()
    found = json.loads(first)
    assert found["properties"]["efficiencies"]["d"] == pytest.approx(100.0)
    widths = {row["comparison"]: row for row in found["half_widths"]}
    assert widths["coating"]["told_in"] == "ratio" and widths["coating"]["dearest_run"] == ""
    assert widths["coating"]["every_run"] < widths["coating"]["one_lost"] < widths["coating"]["two_lost"]
    assert [row["comparison"] for row in found["correlation_with_order"]] == ["coating", "new oil"]
    path.unlink()
    assert steps.plan(campaign, phase="main").written[-1] == path
    assert path.read_bytes() == first


def test_after_a_lost_run_made_runs_stay_and_the_others_keep_the_limits(campaign):
    before = {row["run_id"]: row for row in shop.run_list(campaign)}
    shop.ran(campaign, *LATE, lost=("R05",))
    made = amend.amend(folder.open_campaign(campaign.folder), lost="replace", **shop.ROLE)
    after = {row["run_id"]: row for row in shop.run_list(campaign)}
    assert all(after[run] == before[run] for run in (*LATE, "R05"))
    assert worst(made.order) <= 0.3 + 1e-9 or "nearest of them is taken" in " ".join(made.notes)
    again = seal.kept(campaign.folder, "main")
    assert again["amendment_seed"][:4] == [7, 1, 1, 1]


def test_limits_that_the_runs_made_rule_out_are_told_with_the_nearest_order(campaign, monkeypatch):
    shop.ran(campaign, *LATE, lost=("R05",))
    monkeypatch.setattr(redrawing, "MOST_TRIED", 5)
    monkeypatch.setattr(redrawing, "_beyond", lambda *given: 0.25)
    made = amend.amend(folder.open_campaign(campaign.folder), lost="replace", **shop.ROLE)
    assert made.notes[-1] == (
        "none of 5 orders drawn for the remaining runs keeps the limits of [order], since the runs made already stay "
        "where they are: the nearest of them is taken, 0.25 beyond"
    )


def test_the_limits_are_no_matter_of_an_amendment(campaign):
    other = shop.rewritten(campaign, "most_linear = 0.3", "most_linear = 0.5")
    with pytest.raises(CampaignError) as stopped:
        amend.amend(other, **shop.ROLE)
    told = "campaign.toml: order.most_linear: changed since the seal; expected as it was sealed. No amendment takes"
    assert told in str(stopped.value)


def test_limits_that_no_order_keeps_are_told_by_check(tmp_path):
    # All three effects of a 2 x 2 in an odd number of builds cannot be free of a steady drift at once.
    text = LIMITS.replace("most_linear = 0.3", "most_linear = 0.1")
    text += '[[comparison]]\nname = "both"\ninteraction = ["pin", "oil"]\n'
    (tmp_path / "campaign.toml").write_text(text, encoding="utf-8")
    with pytest.raises(DesignError) as stopped:
        steps.check(folder.open_campaign(tmp_path))
    assert "the nearest found keeps most_linear = 0.15. Write that" in str(stopped.value)


def test_the_exact_test_goes_through_the_sealed_orders(campaign):
    shop.ran(campaign, *(row["run_id"] for row in shop.run_list(campaign)))
    answered = steps.analyse(folder.open_campaign(campaign.folder)).responses["wear_mg"]
    found = answered.beside.exact.set_index("comparison")
    told = {row["comparison"]: row for row in campaign.plan("main")["order_set"]["exact"]}
    for name in ("coating", "new oil"):
        assert found.loc[name, "orders"] == told[name]["orders"] < 64
        assert found.loc[name, "smallest_p"] == told[name]["smallest_p"]
        assert "orders within the limits of [order] differ as much" in found.loc[name, "sentence"]


@pytest.mark.parametrize(
    ("found", "told"),
    [
        ([0.19, -0.19], ""),
        ([None, -0.43], "new oil (−0.43) goes along with the run order: a steady drift would move it. "),
        ([0.25, -0.43], "coating (+0.25) and new oil (−0.43) go along with the run order: a steady drift would move "
                        "them. "),
    ],
)  # fmt: skip
def test_where_a_comparison_goes_along_with_the_order_the_limits_are_pointed_to(campaign, found, told):
    drift = pd.DataFrame({"comparison": ["coating", "new oil"], "with_run_order": found})
    free = dataclasses.replace(campaign.brief, order=None)
    order = SimpleNamespace(design=SimpleNamespace(brief=free, phase="main"), drift=drift)
    where = (
        "Section [order] of campaign.toml, with most_linear, lets only orders be drawn that keep every comparison "
        "below a limit; it counts for a plan that is sealed with it."
    )
    assert order_words.pointer(order) == (told + where if told else "")
    order.design.brief = campaign.brief
    assert order_words.pointer(order) == ""
