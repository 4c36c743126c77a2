"""What the log tells: looks once a state, old values struck through, amendments and replaced files with reasons."""

from dataclasses import asdict

import pytest
from markupsafe import Markup

from toolkit import stamp
from toolkit.campaign import log, manifest
from toolkit.report import history


def row(kind, subject="", what="", *, at="2026-03-20T08:00:00Z", phase="main", reason="", role=""):
    """A row of a log; what it says may be a mapping."""
    told = what if isinstance(what, str) else stamp.canonical(what)
    return {"at": at, "kind": kind, "phase": phase, "subject": subject, "what": told, "reason": reason, "role": role,
            "chain": "c"}  # fmt: skip


def look(subject, counted, seen, at):
    """A row of a look."""
    return row(log.LOOK, subject, {"counted": counted, "seen": seen}, at=at)


def note(run_id, column="", old="", new="", *, unit="", late=False, reason="a slip", role="test engineer"):
    """A row of a note."""
    told = {"column": column, "old": old, "new": new, "measured_in": unit, "source": "", "after_look": late}
    return row(log.NOTE, run_id, told, reason=reason, role=role)


def test_the_same_records_looked_at_again_are_one_look():
    seven = {f"R{at:02d}": "valid" for at in range(1, 8)}
    rows = [
        look("a" * 64, "7 of 12 runs valid", seven, "2026-03-20T08:00:00Z"),
        look("a" * 64, "7 of 12 runs valid", seven, "2026-03-21T08:00:00Z"),
        note("R08"),
        look("b" * 64, "8 of 12 runs valid", {**seven, "R08": "valid"}, "2026-03-22T09:30:00Z"),
    ]
    table = history.looks(rows)
    assert table.rows == (
        ("1", "2026-03-20 08:00", "7 of 12 runs valid", "7", "R01, R02, R03, R04, R05, R06, R07"),
        ("2", "2026-03-22 09:30", "8 of 12 runs valid", "8", "R08"),
    )


def test_a_look_from_before_runs_were_listed_is_told_all_the_same():
    rows = [row(log.LOOK, "a" * 64, "analysed 11 of 12 runs valid")]
    assert history.looks(rows).rows == (("1", "2026-03-20 08:00", "11 of 12 runs valid", "–", "–"),)


def test_the_old_value_is_struck_through_and_a_late_note_marked():
    table = history.notes([
        note("R02", "run_time_h", "99.2", "100.2", unit="h"),
        note("R06", "verdict", "valid", "invalid", late=True, reason="found at teardown", role="lab manager"),
        note("R04", reason="smell of fuel"),
        note("R05", "serial", "", "S-17"),
    ])  # fmt: skip
    assert [cells[:4] for cells in table.rows] == [
        ("R02", "run time", "<s>99.2 h</s> → 100.2 h", "a slip"),
        ("R06", "verdict", "<s>valid</s> → invalid", "found at teardown"),
        ("R04", "remark", "–", "smell of fuel"),
        ("R05", "serial", "<s>blank</s> → S-17", "a slip"),
    ]
    assert [cells[-1] for cells in table.rows] == ["no", "<strong>yes: noted after a look</strong>", "no", "no"]
    page = str(table.__html__())
    assert "<td><s>99.2 h</s> → 100.2 h</td>" in page and "<strong>yes: noted after a look</strong>" in page


def test_what_people_wrote_is_escaped_beside_the_marks():
    table = history.notes([note("<R>", "serial", "<b>1</b>", "\"2\" & 3", reason="<script>", role="<i>")])
    assert table.rows[0][2] == "<s>&lt;b&gt;1&lt;/b&gt;</s> → &#34;2&#34; &amp; 3"
    page = str(table.__html__())
    assert "<script>" not in page and "<b>" not in page and "<i>" not in page
    assert "&lt;script&gt;" in page


AMENDED = {
    "amendment": 2, "replaces": "a" * 64, "changed": ["plan.builds"],
    "lost": [{"run_id": "R02", "choice": "replace", "instead": "R13", "amendment": 1},
             {"run_id": "R08", "choice": "repeat", "instead": "R14", "amendment": 2},
             {"run_id": "R09", "choice": "without", "instead": "", "amendment": 2}],
    "added": ["R14"], "dropped": [], "redrawn": ["R10", "R11"], "amendment_seed": [20417, 1, 2], "plan_sha256": "x",
}  # fmt: skip


def test_amendments_tell_what_changed_and_both_seals():
    rows = [
        row(log.AMENDING, "b" * 64, AMENDED, reason="cell lost for a week", role="project leader"),
        row(log.AMENDED, "b" * 64, "done"),
    ]
    table = history.amendments(rows)
    assert table.rows == ((
        "main 2",
        "campaign.toml: plan.builds; lost: R08 (repeat, as R14), R09 (without); added: R14; order drawn again: R10, "
        "R11",
        "cell lost for a week",
        "project leader",
        "2026-03-20 08:00",
        f"<s>{'a' * 12}</s> → {'b' * 12}",
    ),)  # fmt: skip
    # A command that was stopped half-way amended nothing yet.
    assert history.amendments(rows[:1]) is None


def test_a_file_that_replaced_another_stands_beside_it():
    first = manifest.entry(b"one", kind="stations", given_as="cmm before.xlsx")
    second = manifest.entry(b"two", kind="stations", given_as="cmm before 2.xlsx", replaces=first.file)
    live = manifest.entry(b"three", kind="runs", given_as="raw/runs.csv")
    rows = [
        row(log.TAKEN, first.sha256, asdict(first)),
        row(log.TAKEN, second.sha256, asdict(second), reason="wrong probe", role="metrology"),
        row(log.TAKEN, live.sha256, asdict(live), reason="line of R02 put right", role="test engineer"),
    ]
    table = history.replaced(rows)
    assert [cells[:4] for cells in table.rows] == [
        ("<s>cmm before.xlsx</s> → cmm before 2.xlsx", "stations", "wrong probe", "metrology"),
        ("raw/runs.csv", "runs", "line of R02 put right", "test engineer"),
    ]
    assert isinstance(table.rows[0][0], Markup)


def test_a_file_taken_back_is_struck_through_and_marked_where_wear_was_seen():
    item = manifest.entry(b"one", kind="oil", given_as="lab <1>.csv")
    told = {"file": item.file, "given_as": item.given_as, "runs": ["R01"], "after_look": False}
    rows = [
        row(log.TAKEN, item.sha256, asdict(item)),
        row(log.BACK, item.sha256, told, reason="another engine's", role="laboratory"),
        row(log.BACK, item.sha256, told | {"after_look": True}, reason="another engine's", role="laboratory"),
    ]
    table = history.replaced(rows)
    assert table.caption == (
        "Files that replaced others, files taken back, and tables that changed after they were taken in"
    )
    plain = "<s>lab &lt;1&gt;.csv</s> taken back"
    assert table.rows == (
        (plain, "oil", "another engine's", "laboratory", "2026-03-20 08:00"),
        (f"{plain} <strong>after wear of its runs had been seen</strong>", *table.rows[0][1:]),
    )


@pytest.mark.parametrize("told", [history.looks, history.notes, history.amendments, history.replaced])
def test_a_log_that_tells_nothing_of_it_makes_no_table(told):
    assert told([row("sealing", "a" * 64, "plan.json"), row("sealed", "a" * 64, "12 runs")]) is None
