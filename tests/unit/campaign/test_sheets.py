"""Issuing from a sealed plan: which files, the same bytes twice, and nothing that people filled in is overwritten."""

from __future__ import annotations

import csv
import io
import shutil

import pytest

from toolkit import shipped, stamp
from toolkit.campaign import folder, log, sheets, steps, verify
from toolkit.errors import CampaignError

FILES = (
    "plan/0-pilot/parts.csv",
    "plan/0-pilot/samples.csv",
    "runsheets/0-pilot/P01.xlsx",
    "runsheets/0-pilot/P02.xlsx",
    "runsheets/0-pilot/P03.xlsx",
    "runsheets/0-pilot/P04.xlsx",
    "runsheets/0-pilot/all.html",
    "runsheets/0-pilot/blind/measure-before.xlsx",
    "runsheets/0-pilot/blind/measure-after.xlsx",
    "runsheets/0-pilot/blind/lab-request.xlsx",
)


@pytest.fixture
def chain(tmp_path, monkeypatch):
    """A copy of the bundled campaign with its pilot sealed."""
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
    shutil.copytree(shipped.folder("data") / "chain-soot", tmp_path / "chain")
    campaign = folder.open_campaign(tmp_path / "chain")
    steps.plan(campaign, phase="pilot")
    return campaign


def contents(campaign):
    return {name: (campaign.folder / name).read_bytes() for name in FILES if (campaign.folder / name).exists()}


def test_all_is_issued_once_logged_once_and_the_same_the_second_time(chain, monkeypatch):
    made = sheets.issue(chain)
    assert made.files == made.written == FILES
    first = contents(chain)
    monkeypatch.setenv("WEARBOOK_NOW", "2027-01-01T00:00:00+00:00")
    again = sheets.issue(chain)
    assert (again.files, again.written) == (FILES, ())
    assert contents(chain) == first
    rows = [row for row in log.read(chain.folder) if row["kind"] == sheets.ISSUED]
    assert [(row["phase"], log.told(row)["issued"]) for row in rows] == [
        ("pilot", "4 run sheets, 6 parts, 8 oil samples")
    ]
    assert tuple(log.told(rows[0])["files"]) == tuple(sorted(FILES))
    content = first["runsheets/0-pilot/P01.xlsx"]
    assert log.told(rows[0])["files"]["runsheets/0-pilot/P01.xlsx"] == stamp.checksum_bytes(content)
    verify.verify(chain)


def test_what_is_missing_is_written_again_with_the_same_bytes(chain):
    sheets.issue(chain)
    first = contents(chain)
    (chain.folder / FILES[3]).unlink()
    assert sheets.issue(chain).written == (FILES[3],)
    assert contents(chain) == first


def test_two_folders_of_one_brief_get_the_same_bytes(chain, tmp_path):
    shutil.copytree(chain.folder, tmp_path / "other")
    other = folder.open_campaign(tmp_path / "other")
    sheets.issue(chain)
    sheets.issue(other)
    assert contents(chain) == contents(other)


def test_pages_that_look_otherwise_in_another_version_are_left_as_they_were_issued(chain, monkeypatch):
    sheets.issue(chain)
    filled = chain.folder / "runsheets/0-pilot/P01.xlsx"
    filled.write_bytes(filled.read_bytes() + b" ")
    first, logged, real = contents(chain), log.read(chain.folder), sheets.printed.printed
    monkeypatch.setattr(sheets.printed, "printed", lambda found: real(found) + "<!-- another look -->")
    # The same version makes the same bytes: something else was changed, and is told.
    with pytest.raises(CampaignError, match="runsheets/0-pilot/all.html: is there already and not as issued"):
        sheets.issue(chain)
    monkeypatch.setattr(sheets, "_version", lambda: "9.9")
    again = sheets.issue(chain)
    assert (again.written, again.filled) == ((), ("runsheets/0-pilot/P01.xlsx",))
    assert contents(chain) == first and log.read(chain.folder) == logged
    # What is gone is made by the new one, and the log knows which bytes lie there.
    (chain.folder / FILES[3]).unlink()
    assert sheets.issue(chain).written == (FILES[3],)
    told = log.told(log.read(chain.folder)[-1])
    assert told["version"] == "9.9"
    assert told["files"]["runsheets/0-pilot/all.html"] == stamp.checksum_bytes(first["runsheets/0-pilot/all.html"])
    monkeypatch.setattr(sheets, "_version", lambda: "10.0")
    # Registers say what the sheets are for: with other hours the pages are of other work.
    with pytest.raises(CampaignError, match="plan/0-pilot/samples.csv, runsheets/"):
        sheets.issue(chain, hours=[0, 50, 100])
    (chain.folder / "plan/0-pilot/samples.csv").unlink()
    with pytest.raises(CampaignError, match="runsheets/0-pilot/P01.xlsx, .*all.html"):
        sheets.issue(chain, hours=[0, 50, 100])


def test_a_register_that_was_edited_is_named_and_nothing_is_written(chain):
    sheets.issue(chain)
    head = log.log_head(log.read(chain.folder))
    path = chain.folder / FILES[0]
    path.write_text(path.read_text().replace(",no,", ",yes,", 1), newline="")
    (chain.folder / FILES[3]).unlink()
    before = contents(chain)
    with pytest.raises(CampaignError) as told:
        sheets.issue(chain)
    assert str(told.value) == (
        "plan/0-pilot/parts.csv: is there already and not as issued: filled in, edited, or issued for another plan or "
        "other sampling hours. Nothing was written. To issue anew, move it to another folder first."
    )
    assert contents(chain) == before
    assert log.log_head(log.read(chain.folder)) == head


def test_a_sheet_that_was_filled_in_where_it_lies_is_left_as_it_is(chain):
    sheets.issue(chain)
    with open(chain.folder / FILES[2], "ab") as handle:
        handle.write(b"x")
    (chain.folder / FILES[3]).unlink()
    before = contents(chain)
    made = sheets.issue(chain)
    assert (made.written, made.filled) == ((FILES[3],), (FILES[2],))
    assert {name: content for name, content in contents(chain).items() if name != FILES[3]} == before


def test_the_hours_of_the_oil_samples_stay_as_issued_and_others_are_refused(chain):
    sheets.issue(chain, hours=[0, 40, 100])
    before = contents(chain)
    again = sheets.issue(chain)
    assert again.written == again.filled == ()
    assert list(dict.fromkeys(again.register.samples["at_h"])) == ["0", "40", "100"]
    with pytest.raises(CampaignError) as told:
        sheets.issue(chain, hours=[0, 50, 100])
    assert str(told.value).startswith("plan/0-pilot/samples.csv, runsheets/0-pilot/P01.xlsx, ")
    assert contents(chain) == before


def test_a_register_with_serials_batches_and_drums_written_in_is_left_as_it_is(chain):
    sheets.issue(chain)
    for name, columns in (("parts", ("serial", "batch")), ("samples", ("oil_drum",))):
        path = chain.folder / f"plan/0-pilot/{name}.csv"
        rows = list(csv.DictReader(io.StringIO(path.read_text())))
        for at, row in enumerate(rows):
            row.update({column: f"{column} {at}, shelf 2" for column in columns})
        out = io.StringIO(newline="")
        writer = csv.DictWriter(out, list(rows[0]), quoting=csv.QUOTE_ALL)
        writer.writeheader()
        writer.writerows(rows)
        # As a spreadsheet saves it: with a mark at the start, quotes everywhere and other line ends.
        path.write_bytes(b"\xef\xbb\xbf" + out.getvalue().encode())
    before = contents(chain)
    assert sheets.issue(chain).written == ()
    assert contents(chain) == before
    path = chain.folder / FILES[0]
    path.write_text(path.read_text().replace('"no"', '"yes"', 1), newline="")
    with pytest.raises(CampaignError) as told:
        sheets.issue(chain)
    assert str(told.value).startswith("plan/0-pilot/parts.csv: is there already and not as issued: ")


def test_registers_fit_the_plan_and_each_sheet_its_row(chain):
    made = sheets.issue(chain)
    runs = list(csv.DictReader(io.StringIO((chain.folder / "plan/0-pilot/runs.csv").read_text())))
    parts = list(csv.DictReader(io.StringIO((chain.folder / FILES[0]).read_text())))
    samples = list(csv.DictReader(io.StringIO((chain.folder / FILES[1]).read_text())))
    fitted = {row["run_id"]: row["pin"] for row in parts if row["spare"] == "no"}
    assert fitted == {row["run_id"]: row["pin"] for row in runs}
    assert [(row["run_id"], row["at_h"]) for row in samples] == [
        (row["run_id"], hour) for row in runs for hour in ("0", "100")
    ]
    assert [sheet.row for sheet in made.sheets] == [stamp.checksum(row) for row in runs]
    assert {sheet.seal for sheet in made.sheets} == {chain.plan("pilot")["seal"]}


def test_without_a_sealed_plan_nothing_is_issued(tmp_path):
    shutil.copytree(shipped.folder("data") / "chain-soot", tmp_path / "chain")
    campaign = folder.open_campaign(tmp_path / "chain")
    with pytest.raises(CampaignError) as told:
        sheets.issue(campaign)
    assert str(told.value) == (
        "No phase is sealed yet, so there are no runs to issue sheets for. Run `wearbook plan` first."
    )
    with pytest.raises(CampaignError) as told:
        sheets.issue(campaign, phase="main")
    assert str(told.value) == "main: there is no sealed plan yet. Run `wearbook plan` first."
    assert not (campaign.folder / "runsheets").exists()
