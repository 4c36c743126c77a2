"""Taking in: all or nothing, every fault at once, the files themselves untouched, the same bytes once."""

from __future__ import annotations

import shutil
from dataclasses import asdict

import openpyxl
import pytest

from tests.replay import shop
from tests.unit.campaign import shop as small
from toolkit import shipped, stamp
from toolkit.campaign import after_look, folder, log, manifest, notes, sheets, status, steps, storage, taking, verify
from toolkit.cli import main, progress
from toolkit.errors import CampaignError, IntakeError, IntegrityError
from toolkit.report import history

PILOT = "0-pilot"
LABORATORY = """
[[received]]
name = "oil laboratory"
table = "oil"
files = "lab-*.csv"
columns = { sample_id = "Probe", fe_ppm = "Eisen [mg/kg]", note = "Bemerkung" }
decimal = "comma"
"""


@pytest.fixture(scope="module")
def shopped(tmp_path_factory):
    """A campaign whose pilot is sealed and issued, and what the shop hands in for it."""
    home = tmp_path_factory.mktemp("shop")
    root, tray = home / "chain", home / "tray"
    source = shipped.folder("data") / "chain-soot"
    (root / "raw").mkdir(parents=True)
    tray.mkdir()
    (root / "campaign.toml").write_text((source / "campaign.toml").read_text(encoding="utf-8") + LABORATORY)
    shutil.copy(source / "raw" / "rig-history.csv", root / "raw")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
        campaign = folder.open_campaign(root)
        steps.plan(campaign, phase="pilot")
        sheets.issue(campaign)
    built = [shop.as_planned(root, PILOT, f"P0{place}") for place in range(1, 5)]
    for place, item in enumerate(built, start=1):
        shop.run_sheet(root, PILOT, item, tray / f"{item.run_id} back.xlsx", order=place)
    for state in ("before", "after"):
        shop.measured(root, PILOT, state, built, tray / f"pilot {state}.xlsx")
    shop.laboratory(root, PILOT, built, tray / "lab-1.csv")
    return home


@pytest.fixture
def bench(shopped, tmp_path, monkeypatch):
    """A copy of both: the campaign and the tray."""
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-09T08:00:00+00:00")
    shutil.copytree(shopped / "chain", tmp_path / "chain")
    shutil.copytree(shopped / "tray", tmp_path / "tray")
    return folder.open_campaign(tmp_path / "chain"), tmp_path / "tray"


def every(tray):
    """What came back, in one order."""
    return sorted(tray.iterdir())


def contents(root):
    return {
        path.relative_to(root).as_posix(): path.read_bytes()
        for path in sorted(root.rglob("*"))
        if path.is_file() and path.name != storage.LOCK_NAME
    }


def test_all_is_taken_in_once_and_the_files_stay_as_they_are(bench):
    campaign, tray = bench
    before = {path.name: (path.read_bytes(), path.stat().st_mtime_ns) for path in tray.iterdir()}
    made = taking.take(campaign, every(tray))
    assert [(item.given_as, item.kind, item.mapping) for item in made.new] == [
        ("P01 back.xlsx", "run sheet", ""),
        ("P02 back.xlsx", "run sheet", ""),
        ("P03 back.xlsx", "run sheet", ""),
        ("P04 back.xlsx", "run sheet", ""),
        ("lab-1.csv", "oil", "oil laboratory"),
        ("pilot after.xlsx", "stations", ""),
        ("pilot before.xlsx", "stations", ""),
    ]
    assert made.runs[made.new[0].file] == ("P01",)
    assert made.already == ()
    assert {path.name: (path.read_bytes(), path.stat().st_mtime_ns) for path in tray.iterdir()} == before
    for item in made.new:
        assert (campaign.folder / item.file).read_bytes() == before[item.given_as][0]
    rows = [row for row in log.read(campaign.folder) if row["kind"] == log.TAKEN]
    assert [row["subject"] for row in rows] == [item.sha256 for item in made.new]
    mapping = campaign.brief.received[0]
    assert log.told(rows[4])["mapping_sha256"] == stamp.checksum(asdict(mapping))
    runs = campaign.records().runs.set_index("run_id")
    assert list(runs["verdict"]) == ["valid"] * 4
    assert runs[["elongation_pct", "fe_ppm"]].notna().all().all()
    whole = contents(campaign.folder)
    again = taking.take(campaign, every(tray))
    assert (again.new, again.already) == ((), made.new)
    assert contents(campaign.folder) == whole
    verify.verify(campaign)


def test_one_file_after_the_other_gives_the_same_records(bench, shopped, tmp_path):
    campaign, tray = bench
    taking.take(campaign, every(tray))
    shutil.copytree(shopped / "chain", tmp_path / "other")
    other = folder.open_campaign(tmp_path / "other")
    for path in reversed(every(tray)):
        taking.take(other, [path])
    mine, his = (item.records().runs.set_index("run_id").sort_index() for item in (campaign, other))
    assert (
        mine.astype(object).where(mine.notna(), None).equals(his.astype(object).where(his.notna(), None)[mine.columns])
    )


def test_faults_of_all_files_are_told_at_once_and_nothing_is_written(bench):
    campaign, tray = bench
    item = shop.as_planned(campaign.folder, PILOT, "P02")
    shop.run_sheet(campaign.folder, PILOT, item, tray / "P02 back.xlsx", order=2, run_time_h="about 100")
    text = (tray / "lab-1.csv").read_text(encoding="utf-8").splitlines()
    text[1] = f"{text[1].split(';')[0]};1.234,5x;"
    (tray / "lab-1.csv").write_text("\r\n".join(text) + "\r\n", encoding="utf-8", newline="")
    (tray / "readme.txt").write_text("no table\n")
    before = contents(campaign.folder)
    with pytest.raises(IntakeError) as told:
        taking.take(campaign, every(tray))
    said = str(told.value)
    assert "readme.txt" in said
    assert "P02 back.xlsx P02!C" in said
    assert "'about 100'" in said
    assert "lab-1.csv line 2" in said
    assert contents(campaign.folder) == before


def test_what_cannot_be_taken_is_told_together(bench):
    campaign, tray = bench
    before = contents(campaign.folder)
    with pytest.raises(CampaignError) as told:
        taking.take(campaign, [tray / "gone.xlsx", tray / "P01 bak.xlsx", tray], replace="lab-9.csv")
    assert str(told.value) == "\n".join(
        [
            "Nothing was taken in.",
            f"  {tray}/gone.xlsx: there is no such file; expected a file that came back. It was looked for in "
            f"{tray.resolve()}.",
            f"  {tray}/P01 bak.xlsx: there is no such file; expected a file that came back. It was looked for in "
            f"{tray.resolve()}. Did you mean 'P01 back.xlsx'?",
            f"  {tray}: a folder; expected a file. Name the files in it: {tray}/*",
            "  --replace: 0 files; expected the one file that replaces it.",
            "  --replace: 'lab-9.csv' was not taken in, or was replaced already; expected a file that was taken in.",
            "  --replace: without --reason and --role; expected why it is replaced, and who says so.",
        ]
    )
    with pytest.raises(CampaignError) as told:
        taking.take(campaign, as_name="oil laboratory")
    assert str(told.value) == (
        "Nothing was taken in.\n  --as: 'oil laboratory' without a file; expected the file that is read by it."
    )
    assert contents(campaign.folder) == before


def test_other_values_of_the_same_sample_need_a_replacement_with_a_reason(bench):
    campaign, tray = bench
    taking.take(campaign, every(tray))
    old = next(item for item in manifest.entries(log.read(campaign.folder)) if item.given_as == "lab-1.csv")
    was = campaign.records().runs.set_index("run_id")["fe_ppm"]
    sample = next(
        line for line in shop.samples(campaign.folder, PILOT) if (line["run_id"], line["at_h"]) == ("P02", "100")
    )
    built = [shop.as_planned(campaign.folder, PILOT, f"P0{place}") for place in range(1, 5)]
    path = shop.laboratory(campaign.folder, PILOT, built, tray / "lab-2.csv", more={sample["sample_id"]: "88,8"})
    before = contents(campaign.folder)
    with pytest.raises(IntakeError) as told:
        taking.take(campaign, [path])
    assert "lab-2.csv line" in str(told.value)
    assert f"take it in with --replace {old.file.rpartition('/')[2]}, --reason and --role." in str(told.value)
    assert contents(campaign.folder) == before
    made = taking.take(campaign, [path], replace="lab-1.csv", reason="one sample repeated", role="laboratory")
    assert made.new[0].replaces == old.file
    row = log.read(campaign.folder)[-1]
    assert (row["reason"], row["role"]) == ("one sample repeated", "laboratory")
    now = campaign.records().runs.set_index("run_id")["fe_ppm"]
    assert now["P02"] == pytest.approx(88.8 - 4.0)
    assert now.drop("P02").equals(was.drop("P02"))
    assert (campaign.folder / old.file).is_file()
    # The old bytes again change nothing; to bring them back takes a replacement too.
    assert taking.take(campaign, [tray / "lab-1.csv"]).already == (old,)
    back = taking.take(campaign, [tray / "lab-1.csv"], replace=made.new[0].file, reason="mixed up", role="laboratory")
    assert back.new[0].replaces == made.new[0].file
    assert back.new[0].file == old.file.replace("lab-1.csv", "lab-1-2.csv")
    assert campaign.records().runs.set_index("run_id")["fe_ppm"].equals(was)
    verify.verify(campaign)


@pytest.mark.parametrize("old", ["pilot before.xlsx", "pilot after.xlsx", "P04 back.xlsx", "lab-1.csv"])
def test_a_file_of_any_kind_is_held_up_by_a_look_at_a_run_it_tells_of(bench, old):
    campaign, tray = bench
    taking.take(campaign, every(tray))
    with storage.locked(campaign.folder):
        log.look(campaign.folder, phase="pilot", subject="x", counted="4 of 4 runs valid", seen={"P04": "valid"})
    new = tray / old.replace(".", "-again.")
    if old.endswith(".xlsx"):
        book = openpyxl.load_workbook(tray / old)
        book.properties.title = "once more"
        book.save(new)
    else:
        new.write_bytes((tray / old).read_bytes() + b"\n")
    before = contents(campaign.folder)
    why = {"replace": old, "reason": "sent once more", "role": "metrology"}
    with pytest.raises(CampaignError) as told:
        taking.take(campaign, [new], **why)
    assert str(told.value) == (
        f"Nothing was taken in.\n  --replace {old}: wear of P04 was seen on 2026-03-09T08:00:00Z; expected files "
        f"replaced before wear of their runs is looked at. With --after-look it is replaced all the same, and marked "
        f"as such wherever it is told."
    )
    assert contents(campaign.folder) == before
    assert taking.take(campaign, [new], **why, after_look=True).seen == ("P04",)


def test_tables_kept_by_hand_are_copied_and_may_grow(tmp_path, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-09T08:00:00+00:00")
    shutil.copytree(shipped.folder("data") / "chain-soot", tmp_path / "c")
    campaign = folder.open_campaign(tmp_path / "c")
    table, oil = campaign.folder / "raw" / "runs.csv", campaign.folder / "raw" / "oil.csv"
    whole, samples = table.read_bytes(), oil.read_bytes()
    oil.write_bytes(b"".join(samples.splitlines(keepends=True)[:-1]))
    recorded = sorted(path.name for path in (campaign.folder / "raw" / "dyno").iterdir())
    made = taking.take(campaign)
    assert [(item.given_as, item.kind) for item in made.new] == [
        ("raw/runs.csv", "runs"),
        ("raw/stations.csv", "stations"),
        ("raw/oil.csv", "oil"),
        ("raw/rig-history.csv", "history"),
        *((f"raw/dyno/{name}", "recording") for name in recorded),
    ]
    assert len(recorded) == 17
    assert taking.take(campaign).new == ()
    oil.write_bytes(samples)
    grew = campaign.records().findings
    assert list(grew.loc[grew["rule"] == "changed since taken in", "found"]) == [
        "raw/oil.csv: grew since it was taken in; `wearbook intake` takes it in again"
    ]
    # Named by its path it is the same table.
    assert [item.given_as for item in taking.take(campaign, [oil]).new] == ["raw/oil.csv"]
    first = made.new[0]
    table.write_bytes(whole.replace(b"R03,main,B1,3,3,P1", b"R03,main,B1,3,3,P0"))
    with pytest.raises(IntegrityError):
        verify.verify(campaign)
    with pytest.raises(CampaignError) as told:
        taking.take(campaign, reason="typing slip")
    assert str(told.value) == (
        f"Nothing was taken in.\n  raw/runs.csv: line 8 of {first.file} is not there any more; expected every "
        f"line that was taken in, unchanged and in order. Put them back, or say why they changed: --reason TEXT --role "
        f"ROLE."
    )
    taking.take(campaign, reason="typing slip", role="test engineer")
    row = log.read(campaign.folder)[-1]
    assert (row["kind"], row["reason"], row["role"]) == ("taken in", "typing slip", "test engineer")
    verify.verify(campaign)
    # Back to the table as it was: another copy of the same bytes, with a reason again.
    table.write_bytes(whole)
    back = taking.take(campaign, reason="it was right before", role="test engineer")
    assert [item.file for item in back.new] == [first.file]
    assert taking.take(campaign).new == ()
    verify.verify(campaign)


def test_figures_of_tables_kept_by_hand_that_changed_after_a_look_need_the_word_and_are_marked(tmp_path, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-09T08:00:00+00:00")
    campaign = small.planned(tmp_path / "c")
    first, other, third, *_ = (row["run_id"] for row in small.run_list(campaign))
    small.ran(campaign, first, other)
    table = campaign.folder / "raw" / "runs.csv"
    taking.take(campaign)
    whole = table.read_text(encoding="utf-8")
    line = next(item for item in whole.splitlines() if item.startswith(f"{first},"))
    why = {"reason": "typing slip", "role": "test engineer"}
    # Before any look a reason does; back again.
    for text in (whole.replace(line, line.replace(",100,100,", ",100,101,")), whole):
        table.write_text(text, encoding="utf-8")
        assert taking.take(campaign, **why).seen == ()
    with storage.locked(campaign.folder):
        log.look(campaign.folder, phase="main", subject="x", counted="1 of 12 runs valid", seen={first: "valid"})
    # A run more, lines in another order, a run that nobody saw: no word is needed.
    small.ran(campaign, first, other, third)
    grew = table.read_text(encoding="utf-8")
    assert taking.take(campaign).seen == ()
    head, one, two, more = grew.splitlines()
    moved = "\n".join([head, two, one, more.replace(",100,100,", ",100,101,")]) + "\n"
    table.write_text(moved, encoding="utf-8")
    assert taking.take(campaign, **why).seen == ()
    table.write_text(moved.replace(line, line.replace(",100,100,", ",100,101,")), encoding="utf-8")
    before = contents(campaign.folder)
    with pytest.raises(CampaignError) as told:
        taking.take(campaign, **why)
    assert str(told.value) == (
        f"Nothing was taken in.\n  raw/runs.csv: wear of {first} was seen on 2026-03-09T08:00:00Z; expected files "
        f"changed before wear of their runs is looked at. With --after-look it is changed all the same, and marked as "
        f"such wherever it is told."
    )
    assert contents(campaign.folder) == before
    made = taking.take(campaign, **why, after_look=True)
    assert made.seen == (first,) and made.to_json()["after_look"] == [first]
    row = log.told(log.read(campaign.folder)[-1])
    assert (row["after_look"], row["runs"]) == (True, [first])
    found = campaign.records().findings
    assert found.loc[found["rule"] == "changed after a look", "found"].tolist() == [
        f"raw/runs.csv (of {first}) on 2026-03-09T08:00:00Z, AFTER wear of its runs had been seen: typing slip (test "
        f"engineer)"
    ]
    marks = [str(cells[0]) for cells in history.replaced(log.read(campaign.folder)).rows]
    assert marks == ["raw/runs.csv"] * 3 + ["raw/runs.csv <strong>after wear of its runs had been seen</strong>"]
    verify.verify(campaign)


def test_lines_with_codes_alone_lead_to_their_run(bench):
    campaign, tray = bench
    taking.take(campaign, every(tray))
    with storage.locked(campaign.folder):
        log.look(campaign.folder, phase="pilot", subject="x", counted="4 of 4", seen={"P01": "valid", "P04": "valid"})
    rows = log.read(campaign.folder)
    codes = campaign.records().readings.set_index("run_id")["part_id"]
    head = "run_id,part_id,station_id,reading,state,elongation_pct\n"

    def told(code: str, new: str = "0.2", table: str = "raw/stations.csv") -> tuple[str, ...]:
        line = f",{code},SEG01,1,before,"
        old = f"{head}{line}0.1\n".encode()
        return after_look.altered_of(campaign, rows, table, old, f"{head}{line}{new}\n".encode())

    assert told(codes["P04"].iloc[0]) == ("P04",)
    assert told(codes["P02"].iloc[0]) == () and told(codes["P04"].iloc[0], new="0.1") == ()
    # What leads nowhere may be of any run that was seen; earlier campaigns tell nothing of runs.
    assert told("no such code") == ("P01", "P04") and told("no such code", table="raw/rig-history.csv") == ()


def test_nothing_to_take_in_is_said(bench):
    campaign, _ = bench
    (campaign.folder / "raw" / "rig-history.csv").unlink()
    with pytest.raises(CampaignError) as told:
        taking.take(campaign)
    assert str(told.value) == (
        "Nothing was taken in. None of raw/runs.csv, raw/stations.csv, raw/oil.csv, raw/rig-history.csv is there. Name "
        "the files that came back: wearbook intake CAMPAIGN FILE."
    )


def test_a_mapping_changed_since_is_a_finding(bench):
    campaign, tray = bench
    taking.take(campaign, every(tray))
    path = campaign.folder / "campaign.toml"
    path.write_text(path.read_text(encoding="utf-8").replace(', note = "Bemerkung"', ""))
    found = folder.open_campaign(campaign.folder).records().findings
    oil = next(item for item in manifest.entries(log.read(campaign.folder)) if item.kind == "oil")
    assert list(found.loc[found["rule"] == "changed since taken in", "found"]) == [
        f"{oil.file}: it was read by [[received]] 'oil laboratory', which has changed since"
    ]


def test_a_manifest_that_was_edited_takes_nothing_in_and_reads_nothing(bench):
    campaign, tray = bench
    taking.take(campaign, every(tray)[:1])
    path = campaign.folder / "raw" / "manifest.csv"
    path.write_text(path.read_text().replace("run sheet", "run shoot"))
    for call in (lambda: taking.take(campaign, every(tray)), campaign.records):
        with pytest.raises(IntegrityError) as told:
            call()
        assert "raw/manifest.csv line 2: was edited" in str(told.value)


class Stopped(BaseException):
    """The command ends here."""


@pytest.mark.parametrize("number", [0, 1, 2, 3, 4])
def test_stopped_after_any_write_the_same_command_completes_it(bench, number):
    campaign, tray = bench
    files = [tray / "lab-1.csv", tray / "P01 back.xlsx"]
    with pytest.MonkeyPatch.context() as patch:
        written, real = [], storage.write_bytes

        def write(path, content):
            """Write until it is time to stop."""
            if len(written) == number:
                raise Stopped
            written.append(path)
            real(path, content)

        patch.setattr(storage, "write_bytes", write)
        with pytest.raises(Stopped):
            taking.take(campaign, files)
    verify.verify(campaign)
    counted = manifest.counting(manifest.entries(log.read(campaign.folder)))
    assert len(counted) == {4: 1}.get(number, 0)
    # What does not count yet is not read either.
    assert set(campaign.records().inputs) == {"raw/rig-history.csv", *(item.file for item in counted)}
    taking.take(campaign, files)
    assert [item.given_as for item in manifest.entries(log.read(campaign.folder))] == ["lab-1.csv", "P01 back.xlsx"]
    assert not any("stopped" in line for line in verify.verify(campaign).lines)


def test_a_cell_left_blank_on_a_sheet_is_told_as_missing_and_noted_as_planned(bench, capsys):
    campaign, tray = bench
    sheet = tray / "P03 back.xlsx"
    book = openpyxl.load_workbook(sheet)
    cells = {row[1].value: row[2] for row in book.active.iter_rows(max_col=3)}
    for column in ("build_id", "verdict", "reason", "role"):
        cells[column].value = None
    book.save(sheet)
    taking.take(campaign, every(tray))
    stood = status.status(campaign).table.set_index("run_id")
    assert stood.loc["P03", "missing"] == "build_id as run; verdict"
    assert main(["status", str(campaign.folder)]) == 0
    printed = capsys.readouterr().out
    assert f"    to record it: wearbook note {campaign.folder} P03 --verdict valid --reason TEXT --role" in printed
    why = {"reason": "every rule was kept", "role": "test engineer"}
    with pytest.raises(IntakeError) as told:
        notes.note(campaign, "P03", verdict="valid", **why)
    assert str(told.value).split("column ", 1)[1] == (
        "build_id: the cell is blank; expected the id of the build. Write the planned one, if that is what ran; of a "
        "file taken in before, note it: wearbook note CAMPAIGN P03 --column build_id --value WHAT --reason TEXT "
        "--role ROLE."
    )
    noted = notes.note(campaign, "P03", column="build_id", value="PB1", **why)
    assert (noted.written, progress.noted(noted)) == (
        True,
        "P03: build_id PB1, as before (every rule was kept; test engineer)",
    )
    notes.note(campaign, "P03", verdict="valid", **why)
    assert campaign.records().runs.set_index("run_id").loc["P03", ["build_id", "verdict"]].tolist() == ["PB1", "valid"]
    assert not (campaign.records().findings["rule"] == "noted on another value").any()
    with pytest.raises(CampaignError) as told:
        notes.note(campaign, "P03", column="build_id", value="PB1", reason="once more", role="test engineer")
    assert str(told.value).endswith("run P03, build_id: is 'PB1' already; expected another value.")
