"""Issued files, registers and the clock: what a person may do is told, what nobody may do is a fault."""

from __future__ import annotations

import csv
import io
import json
import shutil

import pytest

from toolkit import shipped
from toolkit.campaign import folder, log, sheets, steps, unchanged, verify
from toolkit.errors import CampaignError, IntegrityError

PARTS, SAMPLES = "plan/0-pilot/parts.csv", "plan/0-pilot/samples.csv"
OPEN = "serial, batch, oil_drum"


@pytest.fixture(scope="module")
def issued(tmp_path_factory):
    """The bundled campaign with its pilot sealed and its sheets issued."""
    root = tmp_path_factory.mktemp("issued") / "chain"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
        shutil.copytree(shipped.folder("data") / "chain-soot", root)
        campaign = folder.open_campaign(root)
        steps.plan(campaign, phase="pilot")
        sheets.issue(campaign)
    return root


@pytest.fixture
def chain(issued, tmp_path):
    shutil.copytree(issued, tmp_path / "chain")
    return folder.open_campaign(tmp_path / "chain")


def refusal(campaign) -> str:
    with pytest.raises(IntegrityError) as told:
        verify.verify(campaign)
    return str(told.value)


def rewritten(path, change):
    """A CSV file with its rows changed, as a spreadsheet leaves it."""
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))
    change(rows)
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    path.write_bytes(out.getvalue().encode())


def test_registers_may_be_filled_in_and_sheets_filled_in_place(chain):
    rewritten(
        chain.folder / PARTS, lambda rows: [row.update(serial=f"S{at}", batch="B7") for at, row in enumerate(rows)]
    )
    rewritten(chain.folder / SAMPLES, lambda rows: [row.update(oil_drum="D1") for row in rows])
    for name in ("P01.xlsx", "blind/measure-after.xlsx"):
        with open(chain.folder / "runsheets/0-pilot" / name, "ab") as handle:
            handle.write(b"filled in")
    (chain.folder / "runsheets/0-pilot/P02.xlsx").unlink()
    lines = verify.verify(chain).lines
    at = lines.index(f"{PARTS}: as issued, but for what was written into {OPEN}")
    assert lines[at : at + 6] == (
        f"{PARTS}: as issued, but for what was written into {OPEN}",
        f"{SAMPLES}: as issued, but for what was written into {OPEN}",
        "pilot: 5 of 8 issued files are as issued",
        "  runsheets/0-pilot/P01.xlsx: filled in or edited: not an original",
        "  runsheets/0-pilot/blind/measure-after.xlsx: filled in or edited: not an original",
        "  runsheets/0-pilot/P02.xlsx: is not there; `wearbook sheets --phase pilot` issues it again",
    )
    assert "pilot: 7 of 8 issued files are there" in verify.verify(chain, quick=True).lines


@pytest.mark.parametrize(
    ("name", "change"),
    [
        (PARTS, lambda rows: rows[0].update(pin="P1" if rows[0]["pin"] == "P0" else "P0")),
        (PARTS, lambda rows: rows[0].update(run_id=rows[1]["run_id"])),
        (PARTS, lambda rows: rows.pop()),
        (PARTS, lambda rows: rows.reverse()),
        (PARTS, lambda rows: [row.update(remark="") for row in rows]),
        (SAMPLES, lambda rows: rows[0].update(at_h="10")),
        (SAMPLES, lambda rows: rows.append({**rows[0], "sample_id": "XX2222"})),
    ],
)
def test_a_register_changed_in_more_than_that_is_found(chain, name, change):
    rewritten(chain.folder / name, change)
    assert refusal(chain) == f"{name}: was changed in more than {OPEN}. Restore it from your backup."


def test_a_register_that_is_gone_or_no_table_any_more_is_found(chain):
    (chain.folder / PARTS).unlink()
    (chain.folder / SAMPLES).write_bytes(b"sample_id;run_id\n\xe4;b\n")
    assert refusal(chain) == (
        "2 things are not what they were:\n"
        f"  {PARTS}: was issued and is gone. Restore it from your backup.\n"
        f"  {SAMPLES}: was changed in more than {OPEN}. Restore it from your backup."
    )


def test_issuing_stopped_on_the_way_is_no_tampering(chain):
    shutil.rmtree(chain.folder / "runsheets")
    (chain.folder / SAMPLES).unlink()
    lines = verify.verify(chain).lines
    at = lines.index(f"{PARTS}: as issued, but for what was written into {OPEN}")
    assert lines[at + 1 : at + 3] == (
        f"{SAMPLES}: not there yet: a command was stopped; `wearbook sheets --phase pilot` completes it",
        "pilot: 0 of 8 issued files are as issued",
    )
    (chain.folder / PARTS).unlink()
    assert (
        "pilot: nothing of what was issued is there: a command was stopped, or all was taken away; `wearbook sheets "
        "--phase pilot` issues it again"
    ) in verify.verify(chain).lines
    sheets.issue(chain)
    assert "pilot: 8 of 8 issued files are as issued" in verify.verify(chain).lines


def test_all_that_was_issued_taken_away_after_sheets_came_back_is_no_stopped_command(chain):
    shutil.rmtree(chain.folder / "runsheets")
    for name in (PARTS, SAMPLES):
        (chain.folder / name).unlink()
    told = {"file": "raw/received/x-P01.xlsx", "sha256": "0" * 64, "kind": "stations"}
    rows = [*log.read(chain.folder), {"kind": log.TAKEN, "phase": "", "what": json.dumps(told)}]
    assert unchanged.issued(chain.folder, rows, sheets.ISSUED, quick=False)[1] == []
    rows.append({"kind": log.TAKEN, "phase": "", "what": json.dumps(told | {"kind": "run sheet"})})
    assert unchanged.issued(chain.folder, rows, sheets.ISSUED, quick=True) == (
        [],
        [
            "pilot: run sheets that were issued came back, and nothing of what was issued is there any more. Restore "
            "the registers, with what was written into them, and the sheets from your backup; `wearbook sheets --phase "
            "pilot` issues them again with the same codes."
        ],
    )


def test_a_brief_changed_since_the_seal_is_told_with_what_else_is_wrong(chain):
    path = chain.folder / "campaign.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("window = [2.7, 3.3]", "window = [2.6, 3.3]"))
    campaign = folder.open_campaign(chain.folder)
    with pytest.raises(CampaignError) as told:
        verify.verify(campaign)
    assert str(told.value).startswith("campaign.toml changed since the pilot phase was sealed (")
    assert told.value.exit_code == 1
    (chain.folder / PARTS).unlink()
    said = refusal(campaign).splitlines()
    assert said[:2] == [
        "2 things are not what they were:",
        f"  {PARTS}: was issued and is gone. Restore it from your backup.",
    ]
    assert said[2].startswith("  campaign.toml changed since the pilot phase was sealed (")
    assert len(said) == 3


def test_a_broken_log_does_not_hide_a_broken_plan(chain):
    path = chain.folder / "log.csv"
    path.write_text(path.read_text().replace("sealed", "sealt", 1))
    (chain.folder / "plan/0-pilot/runs.csv").write_text("x\n")
    said = refusal(chain).splitlines()
    assert said[0] == "2 things are not what they were:"
    assert said[1].startswith("  log.csv line 3: does not fit the chain of checksums")
    assert said[2].startswith("  plan/0-pilot: plan.json or runs.csv was changed after sealing")


@pytest.mark.parametrize(
    ("times", "lines"),
    [
        # Two time zones, one after the other: the wall clock goes back, the time does not.
        (["2026-03-02T20:00:00+09:00", "2026-03-02T13:00:00+01:00", "2026-03-02T08:30:00-05:00"], ()),
        # Summer time ends: two o'clock comes twice.
        (["2026-10-25T02:50:00+02:00", "2026-10-25T02:10:00+01:00"], ()),
        # Summer time begins.
        (["2026-03-29T01:59:59+01:00", "2026-03-29T03:00:00+02:00"], ()),
        # A clock that was set back, and one that was a year ahead.
        (["2026-03-02T08:00:00+00:00", "2026-03-02T07:59:59+00:00", "2026-03-02T08:00:01+00:00"], (3,)),
        (["2027-03-02T08:00:00+00:00", "2026-03-02T08:00:00+00:00", "2026-03-02T08:00:01+00:00"], (3, 4)),
    ],
)
def test_rows_keep_the_order_of_their_chain_and_a_clock_set_back_is_told(tmp_path, monkeypatch, times, lines):
    shutil.copytree(shipped.folder("data") / "chain-soot", tmp_path / "c")
    for number, at in enumerate(times):
        monkeypatch.setenv("WEARBOOK_NOW", at)
        log.append(tmp_path / "c", kind=log.LOOK, subject=str(number))
    rows = log.read(tmp_path / "c")
    assert [row["subject"] for row in rows] == [str(number) for number in range(len(times))]
    assert all(row["at"].endswith("Z") for row in rows)
    told = [line for line in verify.verify(folder.open_campaign(tmp_path / "c")).lines if "clock" in line]
    latest = [max(row["at"] for row in rows[: line - 2]) for line in lines]
    assert told == [
        f"log.csv line {line}: {rows[line - 2]['at']} is before a row above it ({before}): a clock was wrong or set "
        f"back; the order of the rows is that of their chain"
        for line, before in zip(lines, latest, strict=True)
    ]
