"""Notes: what they change, what is refused with every fault, and that a look closes the book unless it is said."""

from __future__ import annotations

import shutil

import pytest

from toolkit import shipped, stamp
from toolkit.campaign import folder, log, notes, status, steps, storage, verify
from toolkit.errors import CampaignError, IntakeError

NOW, LOOKED = "2026-03-09T08:00:00Z", "2026-03-10T08:00:00Z"
WHY = {"reason": "coolant hose burst", "role": "test engineer"}


@pytest.fixture(scope="module")
def sealed(tmp_path_factory):
    """The bundled campaign with its pilot sealed after the fact."""
    root = tmp_path_factory.mktemp("notes") / "chain"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
        shutil.copytree(shipped.folder("data") / "chain-soot", root)
        steps.plan(folder.open_campaign(root), phase="pilot")
    return root


@pytest.fixture
def chain(sealed, tmp_path, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-09T09:00:00+01:00")
    shutil.copytree(sealed, tmp_path / "chain")
    return folder.open_campaign(tmp_path / "chain")


def look(campaign, monkeypatch, seen):
    monkeypatch.setenv("WEARBOOK_NOW", LOOKED)
    with storage.locked(campaign.folder):
        log.look(campaign.folder, phase="main", subject="x", counted="11 of 12 runs valid", seen=seen)


def run(campaign, run_id):
    return campaign.records().runs.set_index("run_id").loc[run_id]


def test_a_verdict_counts_from_then_on_with_its_reason_and_role(chain):
    made = notes.note(chain, "R07", verdict="not-interpretable", **WHY)
    assert made.written
    assert (made.note.old, made.note.new, made.note.after_look) == ("valid", "not interpretable", False)
    now = run(chain, "R07")
    assert (now["verdict"], now["reason"], now["role"]) == ("not interpretable", "coolant hose burst", "test engineer")
    table = chain.records().corrections
    assert table.to_dict("records") == [
        {
            "run_id": "R07",
            "column": "verdict",
            "old": "valid",
            "new": "not interpretable",
            "reason": "coolant hose burst",
            "role": "test engineer",
            "at": NOW,
            "after_look": False,
        }
    ]
    # The table itself is not touched.
    source = shipped.folder("data") / "chain-soot" / "raw" / "runs.csv"
    assert (chain.folder / "raw" / "runs.csv").read_bytes() == source.read_bytes()
    assert not steps.analysis_of(chain).records.runs.set_index("run_id").loc["R07", "verdict"] == "valid"
    verify.verify(chain)


def test_notes_on_one_cell_follow_each_other_and_the_same_twice_is_one(chain):
    first = notes.note(chain, "R08", column="run_time_h", value="41.5", **WHY)
    again = notes.note(chain, "R08", column="run_time_h", value="41.5", **WHY)
    assert (first.written, again.written) == (True, False)
    assert again.note == first.note
    second = notes.note(
        chain, "R08", column="run_time_h", value="41.4", reason="clock read again", role="lead engineer"
    )
    assert [(item.note.old, item.note.new) for item in (first, second)] == [("41.3", "41.5"), ("41.5", "41.4")]
    assert run(chain, "R08")["run_time_h"] == 41.4
    assert first.note.source == stamp.checksum_bytes((chain.folder / "raw" / "runs.csv").read_bytes())
    # The value before came from a note, not from a file.
    assert second.note.source == ""
    assert first.note.measured_in == "h"
    assert first.rules == ("run_time_h 41.5 h (expected 99 to 101 h): none: the run is void",)
    assert len([row for row in log.read(chain.folder) if row["kind"] == log.NOTE]) == 2
    with pytest.raises(CampaignError) as told:
        notes.note(chain, "R08", column="run_time_h", value="41.4", reason="once more", role="lead engineer")
    assert str(told.value) == (
        "The note cannot be taken; nothing was written.\n  run R08, run_time_h: is '41.4' already; expected another "
        "value."
    )


def test_a_remark_and_a_verdict_confirmed_change_no_value(chain):
    before = chain.records()
    notes.note(chain, "R10", reason="chain photographed", role="metrology")
    assert not notes.note(chain, "R10", reason="chain photographed", role="metrology").written
    notes.note(chain, "R10", verdict="valid", reason="reviewed with the test cell", role="lead engineer")
    after = chain.records()
    assert after.runs.drop(columns=["reason", "role"]).equals(before.runs.drop(columns=["reason", "role"]))
    assert run(chain, "R10")["reason"] == "reviewed with the test cell"
    kinds = [(row["kind"], log.told(row)["column"]) for row in log.read(chain.folder) if row["kind"] == log.NOTE]
    assert kinds == [("note", ""), ("note", "verdict")]


def test_every_fault_of_a_note_is_told_and_nothing_written(chain):
    before = log.read(chain.folder)
    with pytest.raises(CampaignError) as told:
        notes.note(chain, "R99", reason=" ", role="a\nb", verdict="void", column="fe_ppm", value="3")
    assert str(told.value).splitlines() == [
        "The note cannot be taken; nothing was written.",
        "  run R99: no such run; expected a run of the plan or the records. Did you mean 'R09'?",
        "  --reason: blank; expected why.",
        "  --role: line ends, signs that do not print, or more than 1000 characters; expected one line of text.",
        "  --verdict: 'void'; expected 'valid', 'invalid', 'not interpretable' or 'pending'. Did you mean 'invalid'?",
        "  --verdict and --column: both; expected one change a note. Note them one after the other.",
        "  --column: 'fe_ppm'; expected 'build_id', 'actual_order', 'pin', 'oil', 'run_time_h', 'sump_temp_degC', "
        "'soot_pct', 'fuel_dilution_pct', 'downtime_h', 'channel_gap_h', 'carry_over_pct', 'si_ppm', 'part_id', "
        "'serial', 'oil_drum', 'started_at' or 'stopped_at'. Measurements are put right by a file: wearbook intake "
        "CAMPAIGN FILE --replace OLD.",
    ]
    for given, said in (
        ({"column": "pin"}, "--value: left out; expected what stands in pin from now on."),
        ({"value": "P1"}, "--column: left out; expected the column of the run that the value is of."),
        ({"column": "reason", "value": "x"}, "A verdict is noted with --verdict; its reason and role go with it."),
    ):
        with pytest.raises(CampaignError) as told:
            notes.note(chain, "R08", **WHY, **given)
        assert str(told.value).endswith(said)
    assert log.read(chain.folder) == before


@pytest.mark.parametrize(
    ("column", "value", "said"),
    [
        ("pin", "P7", "'P7'; expected a level of pin: 'P0' or 'P1'."),
        ("run_time_h", "41,5", "'41,5'; expected a number with a decimal point. Write 41.5."),
        ("actual_order", "7", "also stands"),
    ],
)
def test_a_value_that_no_table_could_hold_is_refused(chain, column, value, said):
    before = log.read(chain.folder)
    with pytest.raises(IntakeError) as told:
        notes.note(chain, "R08", column=column, value=value, **WHY)
    assert str(told.value).startswith("The note cannot be taken; nothing was written.\n")
    assert said in str(told.value)
    assert log.read(chain.folder) == before


def test_after_a_look_a_note_is_refused_unless_it_is_said_and_marked(chain, monkeypatch):
    look(chain, monkeypatch, {"R07": "valid", "R08": "invalid"})
    before = log.read(chain.folder)
    for given in ({"verdict": "invalid"}, {"column": "soot_pct", "value": "3.1"}, {}):
        with pytest.raises(CampaignError) as told:
            notes.note(chain, "R07", **WHY, **given)
        assert str(told.value) == (
            f"The note cannot be taken; nothing was written.\n  run R07: its wear was seen on {LOOKED}, when it was "
            f"valid; expected notes before wear is looked at. With --after-look it is noted all the same, and marked "
            f"as such wherever it counts."
        )
        assert told.value.exit_code == 1
    assert log.read(chain.folder) == before
    made = notes.note(chain, "R07", verdict="invalid", after_look=True, **WHY)
    assert made.note.after_look
    assert list(chain.records().corrections["after_look"]) == [True]
    assert f"R07: verdict was noted after its wear had been seen ({LOOKED})" in status.status(chain).lines
    # Of a run that nobody saw, it is not marked, whatever was asked for.
    assert not notes.note(chain, "R09", verdict="invalid", after_look=True, **WHY).note.after_look


def test_a_verdict_changed_in_the_table_after_a_look_is_a_finding_until_it_is_noted(chain, monkeypatch):
    verdicts = dict(zip(chain.records().runs["run_id"], chain.records().runs["verdict"], strict=True))
    look(chain, monkeypatch, verdicts)
    table = chain.folder / "raw" / "runs.csv"
    table.write_bytes(table.read_bytes().replace(b'invalid,"stopped', b'valid,"stopped'))
    found = chain.records().findings
    moved = found[found["rule"] == "verdict changed after a look"]
    assert moved[["severity", "run_id", "found"]].to_numpy().tolist() == [["exclude", "R08", "valid, without a note"]]
    notes.note(chain, "R08", verdict="invalid", after_look=True, **WHY)
    assert "verdict changed after a look" not in set(chain.records().findings["rule"])


def test_runs_are_judged_by_the_rules_that_were_sealed(chain):
    path = chain.folder / "campaign.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(
        text.replace(
            "run_time_h = { target = 100, window = [99, 101] }", "run_time_h = { target = 40, window = [39, 41] }"
        )
    )
    changed = folder.open_campaign(chain.folder)
    with pytest.raises(CampaignError) as told:
        notes.note(changed, "P01", **WHY)
    assert str(told.value).startswith("campaign.toml changed since the pilot phase was sealed (")
    # Whatever the brief says now, the pilot's runs go by its seal; the main phase has none yet.
    found = changed.records(as_sealed=True).findings
    outside = found[(found["rule"] == "window") & (found["column"] == "run_time_h")]
    assert list(outside["run_id"]) == [*(f"R{place:02d}" for place in range(1, 13))]
