"""An amendment that is stopped between any two writes: the old plan counts or the new one, and repeating completes it.

The order of the writes: the log is told, the old page, run list and plan.json are copied, then runs.csv, plan.json,
plan.html and blank tables of added runs are written, then the log is told that it is done.
"""

from __future__ import annotations

import json
import os
import shutil

import pytest

from tests.robust.test_kill import Stopped, stop_at
from tests.unit.campaign import shop
from toolkit.campaign import amend, folder, log, seal, sheets, verify
from toolkit.errors import CampaignError

FIVE = ("R01", "R02", "R03", "R04", "R06")
WRITES = [
    "log.csv",
    *(f"plan/1-main/amended-1/{name}" for name in ("plan.html", "runs.csv", "plan.json")),
    *(f"plan/1-main/{name}" for name in ("runs.csv", "plan.json", "plan.html", "blank/runs-amended-1.csv")),
    "log.csv",
]
# From here on the new plan counts.
BINDS = WRITES.index("plan/1-main/plan.json") + 1


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A campaign with a lost run, and what an undisturbed amendment leaves."""
    root = tmp_path_factory.mktemp("amend")
    made = shop.planned(root / "before")
    shop.ran(made, *FIVE, lost=("R05",))
    return made, root


@pytest.fixture(scope="module")
def undisturbed(whole):
    """What an undisturbed amendment leaves."""
    campaign = copied(whole, "undisturbed")
    amend.amend(campaign, lost="replace", **shop.ROLE)
    return contents(campaign)


@pytest.fixture(scope="module")
def issued(whole):
    """A campaign whose sheets were issued, a serial written in, and amended; and what issuing again leaves."""
    campaign = copied(whole, "issued")
    sheets.issue(campaign)
    parts = campaign.folder / "plan/1-main/parts.csv"
    parts.write_text(parts.read_text().replace(",no,,\n", ",no,,S-77\n", 1))
    amend.amend(campaign, lost="replace", **shop.ROLE)
    other = copied((campaign, whole[1]), "issued-again")
    sheets.issue(other)
    return (campaign, whole[1]), contents(other)


def copied(whole, name):
    """A copy of the campaign before the amendment."""
    made, root = whole
    shutil.copytree(made.folder, root / name)
    return folder.open_campaign(root / name)


def contents(campaign):
    """The bytes of every file but the log and the lock."""
    return {
        path.relative_to(campaign.folder).as_posix(): path.read_bytes()
        for path in sorted(campaign.folder.rglob("*"))
        if path.is_file() and path.name[0] != "." and path.name != "log.csv"
    }


def stopped(campaign, number, *, after, **asked):
    """Amend, and stop at a write."""
    with pytest.MonkeyPatch.context() as patch:
        stop_at(patch, number, after=after)
        with pytest.raises(Stopped):
            amend.amend(campaign, **{"lost": "replace", **shop.ROLE, **asked})


def test_the_writes_come_in_this_order(whole, monkeypatch):
    campaign = copied(whole, "order")
    seen, real = [], os.replace

    def rename(old, new):
        """The real one, its target kept."""
        seen.append(os.path.relpath(new, campaign.folder))
        real(old, new)

    monkeypatch.setattr(os, "replace", rename)
    amend.amend(campaign, lost="replace", **shop.ROLE)
    assert seen == WRITES


@pytest.mark.parametrize("after", [False, True])
@pytest.mark.parametrize("number", range(1, len(WRITES) + 1))
def test_stopped_between_any_two_writes_and_repeated(whole, undisturbed, number, after):
    done = number - 1 + after
    campaign = copied(whole, f"stopped-{number}-{after}")
    old = seal.read(campaign.folder, campaign.brief, "main")
    runs = shop.run_list(campaign)
    stopped(campaign, number, after=after)
    held = seal.read(campaign.folder, campaign.brief, "main")
    begun = 0 < done < len(WRITES)
    assert seal.amending(campaign.folder, "main") == int(begun)
    assert (held == old) == (done < BINDS)
    order = campaign.order("main")
    assert list(order["run_id"]) == [row["run_id"] for row in runs] or done >= BINDS
    assert len(order) == (12 if done < BINDS else 13)
    lines = verify.verify(campaign).lines
    assert any("stopped while it amended" in line for line in lines) == begun
    campaign.records()
    # Once it is through, the very same command is another amendment, which finds nothing left to do.
    if done == len(WRITES):
        with pytest.raises(CampaignError):
            amend.amend(campaign, lost="replace", **shop.ROLE)
    else:
        made = amend.amend(campaign, lost="replace", **shop.ROLE)
        assert made.plan["amendment"] == 1
    found = contents(campaign)
    for name, content in undisturbed.items():
        if name.endswith("1-main/plan.json"):
            mine, other = json.loads(found[name]), json.loads(content)
            stamped = ("records_head_before", "plan_sha256", "log_row")
            assert {key: mine[key] for key in mine if key not in stamped} == {
                key: other[key] for key in other if key not in stamped
            }
        elif not name.endswith("plan.html"):
            assert found[name] == content, name
    assert set(found) == set(undisturbed)
    assert len(seal.versions(campaign.folder, "main")) == 2
    kinds = [row["kind"] for row in log.read(campaign.folder)][2:]
    assert kinds == [log.AMENDING] * (2 if 0 < done < BINDS else 1) + [log.AMENDED]
    assert seal.amending(campaign.folder, "main") == 0
    assert not any("stopped" in line for line in verify.verify(campaign).lines)


@pytest.mark.parametrize("done", [1, 4, 5])
def test_what_was_stopped_before_its_plan_lay_there_binds_nobody(whole, done):
    campaign = copied(whole, f"free-{done}")
    stopped(campaign, done, after=True)
    made = amend.amend(campaign, lost="without", **shop.ROLE)
    assert made.plan["amendment"] == 1
    assert len(shop.run_list(campaign)) == 12
    first, second = seal.versions(campaign.folder, "main")
    assert second["replaces"] == first["seal"]
    assert [item["choice"] for item in second["lost"]] == ["without"]
    # Both attempts stay on record.
    assert [row["kind"] for row in log.read(campaign.folder)][2:] == [log.AMENDING, log.AMENDING, log.AMENDED]
    verify.verify(campaign)


def test_a_plan_that_lies_there_counts_and_another_amendment_comes_after_it(whole):
    campaign = copied(whole, "binds")
    stopped(campaign, BINDS, after=True)
    shop.ran(campaign, *FIVE, lost=("R05", "R13"))
    made = amend.amend(campaign, lost="without", **shop.ROLE)
    assert made.plan["amendment"] == 2
    assert [row["kind"] for row in log.read(campaign.folder)][2:] == [
        log.AMENDING,
        log.AMENDED,
        log.AMENDING,
        log.AMENDED,
    ]
    assert len(seal.versions(campaign.folder, "main")) == 3
    verify.verify(campaign)


@pytest.mark.parametrize("number", [1, 2, 4, 8, 10, 11, 13, 16])
def test_sheets_stopped_after_an_amendment_are_completed_and_nothing_written_in_is_lost(issued, number):
    before, wanted = issued
    campaign = copied(before, f"sheets-{number}")
    with pytest.MonkeyPatch.context() as patch:
        stop_at(patch, number, after=True)
        with pytest.raises(Stopped):
            sheets.issue(campaign)
    again = sheets.issue(campaign)
    assert (campaign.folder / "plan/1-main/parts.csv").read_text().count("S-77") == 1
    assert again.filled == ()
    third = sheets.issue(campaign)
    assert (third.written, dict(third.withdrawn)) == ((), {})
    assert contents(campaign) == wanted
    assert len([row for row in log.read(campaign.folder) if row["kind"] == sheets.ISSUED]) == 2
