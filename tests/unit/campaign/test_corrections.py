"""Notes are read from the log as they were written; a verdict moved after a look without a note is a finding."""

from __future__ import annotations

import pandas as pd
import pytest

from toolkit import stamp
from toolkit.campaign import corrections, log
from toolkit.errors import IntegrityError

LOOKED = "2026-03-02T08:00:00Z"


def noted(folder, run_id, column, old, new, after_look=False):
    """Append a note as the verb does."""
    what = {"column": column, "old": old, "new": new, "measured_in": "", "source": "", "after_look": after_look}
    log.append(
        folder,
        kind=log.NOTE,
        phase="main",
        subject=run_id,
        what=stamp.canonical(what),
        reason="hose burst",
        role="test engineer",
    )


def test_notes_come_back_in_their_order_and_remarks_correct_nothing(tmp_path, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", LOOKED)
    noted(tmp_path, "R08", "verdict", "valid", "invalid", True)
    noted(tmp_path, "R08", "", "", "")
    noted(tmp_path, "R09", "run_time_h", "100.1", "100.4")
    found = corrections.notes(log.read(tmp_path))
    assert found[0] == corrections.Note(
        at=LOOKED,
        run_id="R08",
        phase="main",
        column="verdict",
        old="valid",
        new="invalid",
        measured_in="",
        source="",
        after_look=True,
        reason="hose burst",
        role="test engineer",
    )
    assert [(item.run_id, item.column, item.new, item.after_look) for item in corrections.corrections(found)] == [
        ("R08", "verdict", "invalid", True),
        ("R09", "run_time_h", "100.4", False),
    ]


def test_a_note_that_does_not_say_what_was_noted_is_refused(tmp_path, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", LOOKED)
    log.append(tmp_path, kind=log.NOTE, subject="R08", what='{"column": "verdict"}')
    with pytest.raises(IntegrityError) as told:
        corrections.notes(log.read(tmp_path))
    assert str(told.value) == (
        f"log.csv: the note of {LOOKED} on R08 does not hold after_look, measured_in, new, old, source. "
        f"Restore the log from your backup."
    )


def test_a_verdict_moved_after_a_look_without_a_note_is_a_finding(tmp_path, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", LOOKED)
    runs = pd.DataFrame(
        {
            "run_id": ["R01", "R02", "R03", "R04", "R05"],
            "verdict": ["valid", "valid", "invalid", "invalid", "valid"],
        }
    )
    assert corrections.moved_verdicts(log.read(tmp_path), runs) == []
    seen = {"R01": "valid", "R02": "invalid", "R03": "valid", "R04": "valid", "R09": "valid"}
    log.look(tmp_path, phase="main", subject="a", counted="3 of 5 runs valid", seen=seen)
    noted(tmp_path, "R04", "verdict", "valid", "invalid", True)
    # R05 was not seen then; what it is at a later look is what counts for it.
    log.look(tmp_path, phase="main", subject="b", counted="2 of 5 runs valid", seen={"R02": "valid", "R05": "valid"})
    found = corrections.moved_verdicts(log.read(tmp_path), runs)
    assert [(row["severity"], row["run_id"], row["found"], row["expected"]) for row in found] == [
        ("exclude", "R02", "valid, without a note", f"invalid, as when its wear was first seen ({LOOKED})"),
        ("note", "R03", "invalid, without a note", f"valid, as when its wear was first seen ({LOOKED})"),
    ]
    assert found[0]["action"] == (
        "put the verdict back, or say why it changed with `wearbook note`, marked --after-look"
    )
