"""Sheets after an amendment: unchanged rows keep theirs, others are withdrawn, nothing that people wrote is lost."""

from __future__ import annotations

import csv

import pytest

from tests.unit.campaign import shop
from toolkit import stamp
from toolkit.campaign import amend, log, sheets, verify
from toolkit.errors import CampaignError
from toolkit.running.sheets import row_checksum

FIVE = ("R01", "R02", "R03", "R04", "R06")
AT = "runsheets/1-main"


@pytest.fixture
def campaign(tmp_path, monkeypatch):
    """Sheets issued; six of twelve runs made, the fifth lost."""
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
    made = shop.planned(tmp_path / "c")
    sheets.issue(made)
    shop.ran(made, *FIVE, lost=("R05",))
    monkeypatch.setenv("WEARBOOK_NOW", "2026-04-02T08:00:00+00:00")
    return made


def content(campaign, name):
    """The bytes of a file."""
    return (campaign.folder / name).read_bytes()


def register(campaign):
    """The register of parts, by run."""
    text = (campaign.folder / "plan/1-main/parts.csv").read_text()
    return {row["run_id"]: row for row in csv.DictReader(text.splitlines()) if row["run_id"]}


def test_unchanged_rows_keep_their_sheets_and_the_others_are_withdrawn(campaign):
    old_seal = campaign.plan("main")["seal"]
    before = {run: content(campaign, f"{AT}/{run}.xlsx") for run in register(campaign)}
    parts = register(campaign)
    old_page = content(campaign, f"{AT}/all.html")
    plan = amend.amend(campaign, lost="replace", **shop.ROLE).plan
    made = sheets.issue(campaign)
    rows = {row["run_id"]: row for row in shop.run_list(campaign)}
    places = {
        row["run_id"]: row
        for row in csv.DictReader((campaign.folder / "plan/1-main/amended-1/runs.csv").read_text().splitlines())
    }
    unchanged = {run for run, row in places.items() if rows[run] == row}
    assert set(FIVE) | {"R05"} <= unchanged
    for sheet in made.sheets:
        assert sheet.row == row_checksum(rows[sheet.run_id])
        assert (sheet.seal == old_seal) == (sheet.run_id in unchanged), sheet.run_id
    assert {run for run in before if content(campaign, f"{AT}/{run}.xlsx") == before[run]} == unchanged
    for run in set(before) - unchanged:
        assert content(campaign, f"{AT}/withdrawn/{old_seal[:12]}/{run}.xlsx") == before[run]
    assert content(campaign, f"{AT}/withdrawn/{old_seal[:12]}/all.html") == old_page
    # Codes stay with their runs; the new run has one of its own.
    after = register(campaign)
    assert {run: after[run]["part_id"] for run in parts} == {run: row["part_id"] for run, row in parts.items()}
    assert set(after) - set(parts) == {"R13"}
    assert after["R13"]["part_id"] not in {row["part_id"] for row in parts.values()}
    assert after["R13"]["pin"] == rows["R05"]["pin"]
    assert set(made.written) == {
        "plan/1-main/parts.csv",
        f"{AT}/all.html",
        f"{AT}/R13.xlsx",
        *(f"{AT}/{run}.xlsx" for run in set(before) - unchanged),
    }
    page = content(campaign, f"{AT}/all.html").decode()
    assert page.count("<section>") == 13
    assert old_seal in page and str(plan["seal"]) in page


def test_the_same_is_issued_again_and_told_in_the_log(campaign):
    amend.amend(campaign, lost="replace", **shop.ROLE)
    first = sheets.issue(campaign)
    again = sheets.issue(campaign)
    assert (again.written, dict(again.withdrawn), again.files) == ((), {}, first.files)
    rows = [row for row in log.read(campaign.folder) if row["kind"] == sheets.ISSUED]
    assert len(rows) == 2
    told = log.told(rows[1])
    assert told["withdrawn"] == dict(first.withdrawn)
    assert told["issued"] == "13 run sheets, 15 parts, 0 oil samples"
    assert told["files"][f"{AT}/R13.xlsx"] == stamp.checksum_bytes(content(campaign, f"{AT}/R13.xlsx"))
    lines = verify.verify(campaign).lines
    assert f"main: {len(first.files) - 1} of {len(first.files) - 1} issued files are as issued" in lines


def test_what_was_written_into_a_register_is_carried_over_and_kept(campaign):
    path = campaign.folder / "plan/1-main/parts.csv"
    serials = {run: f"S-{run}" for run in FIVE}
    lines = path.read_text().splitlines()
    lines = [line + serials.get(line.split(",")[1], "") for line in lines]
    path.write_text("\r\n".join(lines) + "\r\n")
    old = path.read_bytes()
    old_seal = campaign.plan("main")["seal"]
    amend.amend(campaign, lost="replace", **shop.ROLE)
    sheets.issue(campaign)
    found = register(campaign)
    assert {run: found[run]["serial"] for run in serials} == serials
    assert found["R13"]["serial"] == ""
    assert content(campaign, f"{AT}/withdrawn/{old_seal[:12]}/parts.csv") == old


def test_a_sheet_that_was_filled_in_where_it_lies_stays_while_it_is_good(campaign):
    with open(campaign.folder / AT / "R01.xlsx", "ab") as handle:
        handle.write(b"filled in")
    filled = content(campaign, f"{AT}/R01.xlsx")
    amend.amend(campaign, lost="replace", **shop.ROLE)
    made = sheets.issue(campaign)
    assert made.filled == (f"{AT}/R01.xlsx",)
    assert content(campaign, f"{AT}/R01.xlsx") == filled


def test_a_run_whose_sheet_was_filled_in_is_not_moved(campaign):
    with open(campaign.folder / AT / "R07.xlsx", "ab") as handle:
        handle.write(b"set up")
    with pytest.raises(CampaignError) as told:
        amend.amend(campaign, lost="replace", **shop.ROLE)
    assert str(told.value) == (
        "The plan cannot be amended so; nothing was written.\n"
        "  runsheets/1-main/R07.xlsx: was filled in or edited since it was issued; expected sheets of runs not set up. "
        "Name the run with --keep R07, take its sheet in first, or move a copy to another folder."
    )
    plan = amend.amend(campaign, lost="replace", keep=["R07"], **shop.ROLE).plan
    assert "R07" in plan["stayed"]
    assert sheets.issue(campaign).filled == (f"{AT}/R07.xlsx",)


def test_other_windows_need_other_sheets_but_for_runs_that_were_made(campaign):
    wider = shop.rewritten(campaign, "window = [98, 102]", "window = [97, 103]")
    plan = amend.amend(wider, **shop.ROLE).plan
    made = sheets.issue(wider)
    assert plan["redrawn"] == []
    new = {sheet.run_id for sheet in made.sheets if sheet.seal == plan["seal"]}
    assert new == {f"R{at:02d}" for at in range(7, 13)}
    page = content(wider, f"{AT}/all.html").decode()
    assert page.count("98 to 102") == 6 and page.count("97 to 103") == 6


def test_runs_no_longer_planned_lose_their_sheet_and_their_part_is_a_spare(campaign):
    old_seal = campaign.plan("main")["seal"]
    part = register(campaign)["R12"]["part_id"]
    amend.amend(campaign, lost="without", runs=["R12"], **shop.ROLE)
    made = sheets.issue(campaign)
    assert not (campaign.folder / AT / "R12.xlsx").exists()
    assert (campaign.folder / AT / "withdrawn" / old_seal[:12] / "R12.xlsx").exists()
    assert f"{AT}/R12.xlsx" in made.withdrawn
    line = next(line for line in content(campaign, "plan/1-main/parts.csv").decode().splitlines() if part in line)
    assert line.split(",")[1] == "" and ",yes," in line
    verify.verify(campaign)


def test_sheets_issued_first_after_two_amendments_carry_the_seal_in_force(tmp_path):
    made = shop.planned(tmp_path / "c")
    shop.ran(made, *FIVE, lost=("R05",))
    amend.amend(made, lost="replace", **shop.ROLE)
    more = shop.rewritten(made, "builds = 3", "builds = 4")
    plan = amend.amend(more, **shop.ROLE).plan
    issued = sheets.issue(more)
    assert {sheet.seal for sheet in issued.sheets} == {plan["seal"]}
    assert len(issued.sheets) == 17
    assert dict(issued.withdrawn) == {}
    # The next amendment leaves them as they are.
    shop.ran(more, *FIVE, "R07", lost=("R05",))
    wider = shop.rewritten(more, "[8, 12]", "[8, 14]")
    last = amend.amend(wider, **shop.ROLE).plan
    assert {sheet.seal for sheet in sheets.issue(wider).sheets} == {plan["seal"]}
    assert last["amendment"] == 3
