"""Recordings of a campaign from their files to the table of runs: taken in, kept, told, never touched."""

from __future__ import annotations

import gzip
import json
import re
import shutil

import pandas as pd
import pytest

from tests.unit.campaign import recorded, shop
from toolkit import stamp
from toolkit.campaign import folder, log, notes, status, storage, taken_back, taking, verify
from toolkit.cli import main, progress
from toolkit.errors import CampaignError, IntakeError, IntegrityError
from toolkit.intake import dyno_runs
from toolkit.report import view_steps


@pytest.fixture
def planned(tmp_path):
    """A sealed campaign with recordings of its first four runs: clean, packed, hot for an hour, broken off."""
    campaign = shop.planned(tmp_path / "c", recorded.BRIEF)
    place = campaign.folder / "raw" / "dyno"
    place.mkdir(parents=True)
    (place / "R01.csv").write_text(recorded.text(recorded.table(seed=1)))
    (place / "R02.csv.gz").write_bytes(gzip.compress(recorded.text(recorded.table(seed=2)).encode()))
    (place / "R03.csv").write_text(recorded.text(recorded.table(seed=3, hot=3.5)))
    (place / "R04.csv").write_text(recorded.text(recorded.table(seed=4, hours=1.0)))
    return campaign


def again(campaign):
    return folder.open_campaign(campaign.folder)


def test_recordings_are_taken_in_where_they_lie_and_what_they_say_is_kept(planned):
    before = {path.name: path.read_bytes() for path in (planned.folder / "raw" / "dyno").iterdir()}
    made = taking.take(planned)
    assert [(item.file, item.kind, item.size) for item in made.new] == [
        (f"raw/dyno/{name}", "recording", len(before[name])) for name in ("R01.csv", "R02.csv.gz", "R03.csv", "R04.csv")
    ]
    assert made.runs["raw/dyno/R02.csv.gz"] == ("R02",)
    assert not list((planned.folder / "raw" / "received").glob("*"))
    assert {path.name: path.read_bytes() for path in (planned.folder / "raw" / "dyno").iterdir()} == before
    assert made.proposals[["run_id", "proposed", "rules", "judged_by"]].to_numpy().tolist() == [
        ["R01", "valid", "", "test engineer"],
        ["R02", "valid", "", "test engineer"],
        ["R03", "review", "quality index, per cent deviation", "test engineer"],
        ["R04", "review", "window", "test engineer"],
    ]
    assert "raw/manifest.csv: 4 taken in, every checksum fits" in verify.verify(again(planned)).lines
    assert len(list((planned.folder / "derived" / "recordings").glob("*.json"))) == 4
    # Read from what was kept, and worked out anew: the same.
    found = again(planned).records()
    for path in (planned.folder / "derived" / "recordings").iterdir():
        path.write_text("{}")
    fresh = again(planned).records()
    pd.testing.assert_frame_equal(found.runs, fresh.runs, check_exact=True)
    assert found.to_json() == fresh.to_json()
    known = taking.take(again(planned), [planned.folder / "raw" / "dyno" / "R01.csv"])
    assert ([item.file for item in known.already], known.new) == (["raw/dyno/R01.csv"], ())


def test_recordings_alone_taken_in_again_are_told_to_be_there_and_nothing_is_written(planned, capsys):
    # Before anything is taken in a notebook takes them too, though no table is there.
    names = ("R01.csv", "R02.csv.gz", "R03.csv", "R04.csv")
    assert len(view_steps.take(planned, "").new) == 4
    before = log.read(planned.folder)
    assert main(["intake", str(planned.folder)]) == 0
    out, err = capsys.readouterr()
    assert out.splitlines() == [
        f"raw/dyno/{name}: taken in already as raw/dyno/{name}; nothing was done" for name in names
    ]
    assert err.splitlines()[0] == "wrote nothing: all was taken in already"
    assert log.read(planned.folder) == before
    # Beside others that are new only these are told.
    (planned.folder / "raw" / "dyno" / "R05.csv").write_text(recorded.text(recorded.table(seed=5)))
    made = taking.take(again(planned))
    assert ([item.file for item in made.new], made.already) == (["raw/dyno/R05.csv"], ())
    # What was taken back lies there still, and is nothing that came back.
    for name in (*names, "R05.csv"):
        taken_back.take_back(again(planned), name, reason="of another rig", role="test engineer")
    with pytest.raises(CampaignError) as told:
        taking.take(again(planned))
    assert str(told.value) == (
        "Nothing was taken in. None of raw/runs.csv, raw/stations.csv, raw/oil.csv is there. Name the files that came "
        "back: wearbook intake CAMPAIGN FILE."
    )


def test_what_a_process_worked_out_is_at_hand_in_a_copy_and_is_kept_there_too(planned, tmp_path, monkeypatch):
    found = again(planned).records()
    # Read without holding the folder, nothing is kept on the disk.
    assert not (planned.folder / "derived" / "recordings").exists()
    monkeypatch.setattr(dyno_runs, "_worked_out", lambda *given: pytest.fail("worked out again"))
    copy = folder.open_campaign(shutil.copytree(planned.folder, tmp_path / "copy"))
    with storage.locked(copy.folder):
        assert copy.records().to_json() == found.to_json()
    files = sorted((copy.folder / "derived" / "recordings").iterdir())
    assert len(files) == 4
    held = json.loads(files[0].read_bytes())
    assert held["sha256"] == stamp.checksum(held["summary"])
    # What lies on the disk damaged is not passed over for what is at hand.
    files[0].write_text("{}")
    with pytest.raises(pytest.fail.Exception, match="worked out again"):
        copy.records()


def test_figures_of_recordings_are_those_of_the_runs_and_two_different_ones_are_told(planned):
    shop.ran(planned, "R01", late=("R02", "R03", "R04"))
    found = again(planned).records()
    runs = found.runs.set_index("run_id")
    assert runs.loc["R01", "sump_temp_degC"] == pytest.approx(100.0, abs=0.03)
    assert runs.loc["R03", "sump_temp_degC"] == pytest.approx(100.0 + 3.5 / 2.0, abs=0.03)
    assert runs.loc["R04", "run_time_h"] == 1.0
    assert runs["channel_gap_h"].dropna().tolist() == [0.0] * 4
    told = found.findings[found.findings["rule"] == "two figures"]
    # shop.ran writes 100 h and 100 degrees for each; the sump of the hot run lies apart.
    assert told[["run_id", "column", "found"]].to_numpy().tolist() == [
        ["R01", "run_time_h", "100 h in the table of runs"],
        ["R02", "run_time_h", "100 h in the table of runs"],
        ["R03", "sump_temp_degC", "100 °C in the table of runs"],
        ["R03", "run_time_h", "100 h in the table of runs"],
        ["R04", "run_time_h", "100 h in the table of runs"],
    ]
    assert told.iloc[0]["expected"] == "2 h, as recorded"
    assert told.iloc[0]["action"] == "the recording counts; put the table right, or note the figure that is"
    # A note is a person's last word.
    notes.note(again(planned), "R04", column="run_time_h", value="1.99", reason="the recorder stopped", role="engineer")
    assert again(planned).records().runs.set_index("run_id").loc["R04", "run_time_h"] == 1.99


def test_proposals_are_printed_with_the_note_that_records_them_and_nothing_is_decided(planned):
    taking.take(planned)
    found = status.status(again(planned))
    assert found.proposals["run_id"].tolist() == ["R01", "R02", "R03", "R04"]
    assert set(found.table["verdict"]) == {"pending"}
    lines = progress.proposed(found.proposals)
    assert lines[:2] == [
        "  R01: valid: every rule was kept",
        "    to record it: wearbook note CAMPAIGN R01 --verdict valid --reason TEXT --role 'test engineer'",
    ]
    assert lines[4].startswith("  R03: review, for the test engineer to say: sump temp quality index -0.")
    assert lines[5] == "  R04: review, for the test engineer to say: run time 1 h (expected 1.98 to 2.02 h)"
    assert "runs without a verdict, by the sealed rules and without their wear:" in progress.stood(found)
    notes.note(again(planned), "R01", verdict="valid", reason="every rule was kept", role="test engineer")
    assert status.status(again(planned)).proposals["run_id"].tolist() == ["R02", "R03", "R04"]
    kept = again(planned).records().proposals.iloc[0]
    assert (kept["verdict"], kept["agrees"]) == ("valid", True)


def test_files_from_elsewhere_are_copied_and_several_are_one_run(planned, tmp_path):
    rows = recorded.table(seed=5)
    one, two = tmp_path / "R05_a.csv", tmp_path / "R05_b.csv"
    one.write_text(recorded.text(rows[:300]))
    two.write_text(recorded.text(rows[300:]))
    made = taking.take(planned, [one, two])
    assert [item.file for item in made.new] == ["raw/dyno/R05_a.csv", "raw/dyno/R05_b.csv"]
    assert (planned.folder / "raw" / "dyno" / "R05_b.csv").read_bytes() == two.read_bytes()
    whole = again(planned).records().recordings["R05"]
    assert (whole.hours, whole.gaps, whole.files) == (pytest.approx(2.0), 0, ("R05_a.csv", "R05_b.csv"))
    assert len(whole.sweeps) == 3


def test_what_was_taken_in_may_not_change_and_may_be_replaced(planned, tmp_path):
    taking.take(planned)
    right = tmp_path / "R04_again.csv"
    right.write_text(recorded.text(recorded.table(seed=4)))
    why = {"reason": "the first export was cut", "role": "test engineer"}
    taking.take(again(planned), [right], replace="raw/dyno/R04.csv", **why)
    assert again(planned).records().runs.set_index("run_id").loc["R04", "run_time_h"] == 2.0
    # Once its wear was seen it is replaced only when that is said.
    with storage.locked(planned.folder):
        log.look(planned.folder, phase="main", subject="x", counted="4 of 4 runs valid", seen={"R04": "valid"})
    third = tmp_path / "R04_3.csv"
    third.write_text(recorded.text(recorded.table(seed=9)))
    with pytest.raises(CampaignError) as fault:
        taking.take(again(planned), [third], replace="raw/dyno/R04_again.csv", **why)
    assert re.sub("on [0-9TZ:-]+;", "on TIME;", str(fault.value)) == (
        "Nothing was taken in.\n  --replace raw/dyno/R04_again.csv: wear of R04 was seen on TIME; expected files "
        "replaced before wear of their runs is looked at. With --after-look it is replaced all the same, and marked "
        "as such wherever it is told."
    )
    assert not (planned.folder / "raw" / "dyno" / "R04_3.csv").exists()
    made = taking.take(again(planned), [third], replace="raw/dyno/R04_again.csv", **why, after_look=True)
    assert made.seen == ("R04",)
    path = planned.folder / "raw" / "dyno" / "R01.csv"
    path.write_text(path.read_text() + "7200,0,0,0\n")
    told = "raw/dyno/R01.csv: was changed since it was taken in. Restore it from your backup."
    with pytest.raises(IntegrityError) as fault:
        again(planned).records()
    assert str(fault.value) == told
    with pytest.raises(IntegrityError) as fault:
        verify.verify(again(planned))
    assert told in str(fault.value)
    path.unlink()
    with pytest.raises(IntegrityError) as fault:
        verify.verify(again(planned), quick=True)
    assert "raw/dyno/R01.csv: was taken in and is gone. Restore it from your backup." in str(fault.value)


def test_what_cannot_be_a_recording_is_refused_with_every_fault(planned, tmp_path):
    names = ("Q07.csv.gz", "R05;x.csv.gz", "R01.csv")
    for name in names:
        (tmp_path / name).write_text(recorded.text(recorded.table(seed=8)))
    with pytest.raises(CampaignError) as told:
        taking.take(planned, [tmp_path / name for name in names])
    assert str(told.value) == (
        "Nothing was taken in.\n"
        "  Q07.csv.gz: of no run that is planned or on record; expected <run_id>*.csv. Rename it so that it begins "
        "with the run_id of its run.\n"
        "  R05;x.csv.gz: a name that cannot be kept; expected <run_id>*.csv or <run_id>*.csv.gz, of letters, digits, "
        "dots and dashes. Rename it.\n"
        "  R01.csv: raw/dyno/R01.csv lies there already with other bytes; expected a name of its own. Rename it: "
        "R05_2.csv is of run R05 too."
    )
    bare = shop.planned(tmp_path / "bare")
    with pytest.raises(CampaignError) as told:
        taking.take(bare, [tmp_path / "Q07.csv.gz"])
    assert str(told.value) == (
        "Nothing was taken in.\n  Q07.csv.gz: no [dyno_log] says how it is read; expected the section in campaign.toml."
    )


def test_faults_of_recordings_stand_beside_those_of_tables_and_nothing_is_taken_in(planned):
    place = planned.folder / "raw"
    (place / "dyno" / "R02.csv.gz").write_bytes(b"no gzip at all")
    (place / "dyno" / "R05.csv").write_text("Time [s],N,M\n0,1,1\n")
    shop.ran(planned, "R01")
    text = (place / "runs.csv").read_text()
    (place / "runs.csv").write_text(text.replace(",valid,", ",vlaid,"))
    with pytest.raises(IntakeError) as told:
        taking.take(again(planned))
    lines = str(told.value).split("\n")
    assert "  raw/runs.csv line 2, column verdict: 'vlaid'; expected" in str(told.value)
    packed = "  R02.csv.gz: cannot be read (Not a gzipped file (b'no')); expected a CSV file, or one packed by gzip."
    assert packed in lines
    assert "  R05.csv line 1: no column 'T_OIL'; expected 'Time [s]', 'N' or 'M'." in lines
    assert not (place / "manifest.csv").exists()
