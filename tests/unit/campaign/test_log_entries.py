"""Every entry that changes something says when, who, which run, which field, from what to what, in which unit, why, and
from which file; times carry their offset."""

from __future__ import annotations

import json
import re
import shutil

import pytest

from toolkit import shipped, stamp
from toolkit.campaign import folder, log, manifest, notes, steps, storage, taking

TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")
SHA = re.compile(r"[0-9a-f]{64}")


@pytest.fixture(scope="module")
def entries(tmp_path_factory):
    """The log of a campaign in which something of each kind happened, and its folder."""
    root = tmp_path_factory.mktemp("log") / "chain"
    with pytest.MonkeyPatch.context() as patch:
        # A machine somewhere east: what is written is UTC all the same.
        patch.setenv("WEARBOOK_NOW", "2026-03-02T17:00:00+09:00")
        shutil.copytree(shipped.folder("data") / "chain-soot", root)
        campaign = folder.open_campaign(root)
        steps.plan(campaign, phase="pilot")
        taking.take(campaign)
        who = {"reason": "clock misread", "role": "test engineer"}
        notes.note(campaign, "R08", column="run_time_h", value="41.4", **who)
        notes.note(campaign, "R08", verdict="not-interpretable", **who)
        with storage.locked(root):
            log.look(root, phase="main", subject="a" * 64, counted="11 of 12 runs valid", seen={"R01": "valid"})
        notes.note(campaign, "R01", verdict="invalid", after_look=True, **who)
        table = root / "raw" / "runs.csv"
        table.write_bytes(
            table.read_bytes().replace(b"P04,pilot,PB1,4,4,P0,O0,100.0", b"P04,pilot,PB1,4,4,P0,O0,100.1")
        )
        taking.take(campaign, reason="typing slip", role="test cell")
    return log.read(root), root


def test_every_entry_says_when_with_its_offset_and_what_it_is_about(entries):
    rows, _ = entries
    assert [row["kind"] for row in rows] == [
        *("sealing", "sealed"),
        *(["taken in"] * 21),
        *("note", "note", "look", "note", "taken in"),
    ]
    for row in rows:
        assert TIME.fullmatch(row["at"])
        assert row["subject"] and row["what"]
        assert row["at"] == "2026-03-02T08:00:00Z"


def test_every_change_says_run_field_old_new_unit_reason_role_and_source(entries):
    rows, root = entries
    told = [(row, json.loads(row["what"])) for row in rows if row["kind"] == log.NOTE]
    source = manifest.entries(rows)[0].sha256
    assert [(row["subject"], row["phase"], what) for row, what in told] == [
        (
            "R08",
            "main",
            {
                "after_look": False,
                "column": "run_time_h",
                "measured_in": "h",
                "new": "41.4",
                "old": "41.3",
                "source": source,
            },
        ),
        (
            "R08",
            "main",
            {
                "after_look": False,
                "column": "verdict",
                "measured_in": "",
                "new": "not interpretable",
                "old": "invalid",
                "source": source,
            },
        ),
        (
            "R01",
            "main",
            {
                "after_look": True,
                "column": "verdict",
                "measured_in": "",
                "new": "invalid",
                "old": "valid",
                "source": source,
            },
        ),
    ]
    for row, what in told:
        assert (row["reason"], row["role"]) == ("clock misread", "test engineer")
        assert row["what"] == stamp.canonical(what)


def test_every_file_taken_in_has_its_checksum_and_a_changed_table_its_reason(entries):
    rows, root = entries
    taken = [row for row in rows if row["kind"] == log.TAKEN]
    for row in taken:
        what = json.loads(row["what"])
        assert set(what) == {*manifest.COLUMNS, "mapping_sha256"}
        assert SHA.fullmatch(row["subject"])
        assert row["subject"] == what["sha256"] == stamp.checksum_bytes((root / what["file"]).read_bytes())
        assert what["size"] == (root / what["file"]).stat().st_size
    assert [(row["reason"], row["role"]) for row in taken] == [("", "")] * 21 + [("typing slip", "test cell")]


def test_a_change_of_a_table_without_a_reason_is_not_logged(entries, tmp_path):
    rows, root = entries
    shutil.copytree(root, tmp_path / "c")
    campaign = folder.open_campaign(tmp_path / "c")
    table = campaign.folder / "raw" / "runs.csv"
    table.write_bytes(table.read_bytes().replace(b"R12,main", b"R12,pilot"))
    for given in ({}, {"reason": "x"}, {"role": "x"}, {"reason": " ", "role": "x"}):
        with pytest.raises(Exception, match="say why they changed: --reason TEXT --role ROLE"):
            taking.take(campaign, **given)
    assert log.read(campaign.folder) == rows
