"""Entries of the log: each says when, what, of which run, from what to what, why and in whose role; none is changed.

The fields are those that a laboratory's record of a change holds (ISO/IEC 17025:2017, 7.5.2; 21 CFR 11.10(e)).
"""

from __future__ import annotations

import re
import shutil
import time
from pathlib import Path

import pytest

from toolkit import shipped, stamp
from toolkit.campaign import folder, log, notes, sheets, status, steps, taking, verify

CLOCK = "2026-03-02T08:00:00+00:00"
UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")
SHA = re.compile("[0-9a-f]{64}")
NOTE_KEYS = {"column", "old", "new", "measured_in", "source", "after_look"}
TAKEN_KEYS = {"file", "sha256", "size", "kind", "mapping", "mapping_sha256", "given_as", "replaces"}


@pytest.fixture(scope="module")
def begun(tmp_path_factory) -> Path:
    """The bundled campaign with its pilot sealed and issued."""
    root = tmp_path_factory.mktemp("records") / "c"
    shutil.copytree(shipped.folder("data") / "chain-soot", root)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WEARBOOK_NOW", CLOCK)
        steps.plan(folder.open_campaign(root), phase="pilot")
        sheets.issue(folder.open_campaign(root), phase="pilot")
    return root


@pytest.fixture
def root(begun, tmp_path, monkeypatch) -> Path:
    """A copy of it."""
    monkeypatch.setenv("WEARBOOK_NOW", CLOCK)
    return shutil.copytree(begun, tmp_path / "c")


def note(root: Path, **given):
    """A note on a run of the pilot."""
    return notes.note(
        folder.open_campaign(root), "P02", **{"reason": "misread gauge", "role": "test engineer", **given}
    )


def raw(root: Path) -> dict[str, tuple[bytes, int]]:
    """Bytes and time of change of what lies in raw/ when a campaign begins."""
    found = [path for path in (root / "raw").glob("*.csv") if path.name != "manifest.csv"]
    return {path.name: (path.read_bytes(), path.stat().st_mtime_ns) for path in found}


def test_every_entry_says_when_what_and_of_what(root):
    taking.take(folder.open_campaign(root))
    note(root, column="soot_pct", value="2.98")
    note(root, verdict="pending")
    rows = log.read(root)
    assert {row["kind"] for row in rows} == {"sealing", "sealed", "issued", "taken in", "note"}
    for row in rows:
        assert UTC.fullmatch(row["at"])
        assert SHA.fullmatch(row["chain"])
        assert [name for name in ("kind", "subject", "what") if not row[name]] == []
        assert row["phase"] in ("pilot", "" if row["kind"] == "taken in" else "pilot")
    for row in rows:
        told = log.told(row)
        if row["kind"] == "note":
            assert set(told) == NOTE_KEYS
            assert (row["subject"], row["reason"], row["role"]) == ("P02", "misread gauge", "test engineer")
        if row["kind"] == "taken in":
            assert set(told) == TAKEN_KEYS
            assert told["sha256"] == row["subject"] == stamp.checksum_bytes((root / told["file"]).read_bytes())


def test_a_correction_holds_old_new_unit_and_the_file_the_old_value_came_from(root):
    taking.take(folder.open_campaign(root))
    runs = stamp.checksum_bytes((root / "raw" / "runs.csv").read_bytes())
    note(root, column="soot_pct", value="2.98")
    note(root, column="soot_pct", value="2.99", reason="read again")
    first, second = (log.told(row) for row in log.read(root) if row["kind"] == "note")
    assert first == {
        "column": "soot_pct", "old": "2.94", "new": "2.98", "measured_in": "%", "source": runs, "after_look": False,
    }  # fmt: skip
    # The second takes up where the first left: what counted came from a note, from no file.
    assert second == {**first, "old": "2.98", "new": "2.99", "source": ""}
    found = folder.open_campaign(root).records()
    assert found.runs.set_index("run_id").at["P02", "soot_pct"] == 2.99
    assert list(found.corrections["old"]) == ["2.94", "2.98"]


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"reason": ""}, "  --reason: blank; expected why."),
        ({"role": " "}, "  --role: blank; expected the role of who says so, no name."),
        *(
            (
                {"reason": reason},
                "  --reason: line ends, signs that do not print, or more than 1000 characters; expected "
                "one line of text.",
            )
            for reason in ("a\nb", "a \u202eb")
        ),
        ({"column": "soot_pct"}, "  --value: left out; expected what stands in soot_pct from now on."),
        ({"column": "soot_pct", "value": "2.94"}, "  run P02, soot_pct: is '2.94' already; expected another value."),
    ],
)
def test_no_entry_lacks_its_reason_role_or_value(root, given, told):
    before = (root / "log.csv").read_bytes()
    with pytest.raises(Exception) as problem:
        note(root, **given)
    assert str(problem.value) == f"The note cannot be taken; nothing was written.\n{told}"
    assert (root / "log.csv").read_bytes() == before


def test_an_entry_is_added_and_none_is_changed_and_no_raw_file_is_touched(root):
    before, lines = raw(root), (root / "log.csv").read_bytes()
    time.sleep(0.01)
    campaign = folder.open_campaign(root)
    for step in (
        lambda: taking.take(campaign),
        lambda: note(root, column="soot_pct", value="2.98"),
        lambda: note(root, verdict="pending"),
        lambda: steps.check(campaign),
        lambda: status.status(campaign),
        lambda: steps.analyse(campaign),
        lambda: verify.verify(campaign),
        lambda: verify.verify(campaign, quick=True),
    ):
        step()
        now = (root / "log.csv").read_bytes()
        assert now.startswith(lines)
        lines = now
        assert raw(root) == before
    assert len(before) == 4
    copies = {path.name.partition("-")[2]: path.read_bytes() for path in (root / "raw" / "received").iterdir()}
    assert copies == {name: content for name, (content, _) in before.items()}


def test_a_clock_that_goes_back_is_told_and_the_order_stays_that_of_the_chain(root, monkeypatch):
    # An hour back (summer time ends), another zone of the same moment, and two years back (an empty battery).
    for at in (
        "2026-10-25T03:30:00+02:00",
        "2026-10-25T02:30:00+01:00",
        "2026-10-25T07:00:00+05:30",
        "2024-01-01T00:00",
    ):
        monkeypatch.setenv("WEARBOOK_NOW", at)
        note(root, reason=f"at {at}")
    rows = log.read(root)
    assert [(row["at"], row["reason"]) for row in rows[-4:]] == [
        ("2026-10-25T01:30:00Z", "at 2026-10-25T03:30:00+02:00"),
        ("2026-10-25T01:30:00Z", "at 2026-10-25T02:30:00+01:00"),
        ("2026-10-25T01:30:00Z", "at 2026-10-25T07:00:00+05:30"),
        ("2024-01-01T00:00:00Z", "at 2024-01-01T00:00"),
    ]
    told = [line for line in verify.verify(folder.open_campaign(root)).lines if "clock" in line]
    assert told == [
        f"log.csv line {len(rows) + 1}: 2024-01-01T00:00:00Z is before a row above it (2026-10-25T01:30:00Z): a clock "
        f"was wrong or set back; the order of the rows is that of their chain"
    ]
