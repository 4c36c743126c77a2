"""Taking back a file that was taken in by mistake: it counts nowhere, its trace stays, a look closes the book.

A look closes it for a file that is replaced too.
"""

from __future__ import annotations

import json
import shutil
from dataclasses import asdict

import pytest

from toolkit import shipped
from toolkit.campaign import folder, log, manifest, storage, taken_back, taking, verify
from toolkit.cli import main, progress
from toolkit.errors import CampaignError, IntakeError
from toolkit.report import history

WHY = {"reason": "table of another engine", "role": "test engineer"}
HEAD = "The file was not taken back; nothing was written."


def table(path, runs, last):
    """A table of the laboratory: both ends of these runs."""
    lines = [f"{run},{run}-{hour},{hour},{2 if hour == 0 else last + at}" for at, run in enumerate(runs)
             for hour in (0, 100)]  # fmt: skip
    path.write_text("\n".join(["run_id,sample_id,at_h,fe_ppm", *lines]) + "\n", encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def shopped(tmp_path_factory):
    """The runs of the bundled pilot, and tables of the laboratory, two of which were taken in."""
    home = tmp_path_factory.mktemp("back")
    root, tray = home / "chain", home / "tray"
    source = shipped.folder("data") / "chain-soot"
    (root / "raw").mkdir(parents=True)
    tray.mkdir()
    shutil.copy(source / "campaign.toml", root)
    shutil.copy(source / "raw" / "rig-history.csv", root / "raw")
    lines = (source / "raw" / "runs.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    kept = [lines[0], *(line for line in lines if line.startswith("P0"))]
    (root / "raw" / "runs.csv").write_text("".join(kept), encoding="utf-8")
    table(tray / "lab-0.csv", ("P01",), 30)
    table(tray / "lab-1.csv", ("P02", "P03", "P04"), 30)
    table(tray / "lab-2.csv", ("P02", "P03", "P04"), 60)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
        taking.take(folder.open_campaign(root), [tray / "lab-0.csv", tray / "lab-1.csv"])
    return home


@pytest.fixture
def bench(shopped, tmp_path, monkeypatch):
    """A copy of the campaign, and the tray."""
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-09T08:00:00+00:00")
    shutil.copytree(shopped / "chain", tmp_path / "chain")
    return folder.open_campaign(tmp_path / "chain"), shopped / "tray"


def iron(campaign):
    """Iron of the runs of lab-1.csv; that of P01 comes from another file and stays."""
    found = campaign.records().runs.set_index("run_id")["fe_ppm"]
    assert found["P01"] == 28.0
    return found.drop("P01")


def look(campaign, seen):
    with storage.locked(campaign.folder):
        log.look(campaign.folder, phase="pilot", subject="x", counted="4 of 4 runs valid", seen=seen)


def test_a_file_taken_back_counts_nowhere_and_its_trace_stays(bench):
    campaign, tray = bench
    (item,) = [one for one in manifest.entries(log.read(campaign.folder)) if one.given_as == "lab-1.csv"]
    listed = (campaign.folder / manifest.NAME).read_bytes()
    assert iron(campaign).notna().all()
    made = taken_back.take_back(campaign, "lab-1.csv", **WHY)
    assert (made.entry, made.counts_again, made.seen) == (item, None, ())
    assert made.runs == ("P02", "P03", "P04")
    assert iron(campaign).isna().all()
    # Nothing is deleted: the copy and its row are where they were, and one row of the log says why.
    assert (campaign.folder / item.file).is_file() and (campaign.folder / manifest.NAME).read_bytes() == listed
    row = log.read(campaign.folder)[-1]
    assert (row["kind"], row["subject"], row["reason"], row["role"]) == (
        "taken back", item.sha256, "table of another engine", "test engineer",
    )  # fmt: skip
    assert log.told(row) == {"file": item.file, "given_as": "lab-1.csv", "runs": ["P02", "P03", "P04"],
                             "after_look": False}  # fmt: skip
    verify.verify(campaign)
    told = campaign.records().findings
    assert told[told["rule"] == "taken back"].to_dict("records") == [
        {
            "severity": "note", "run_id": None, "part_id": None, "column": None, "rule": "taken back",
            "found": "lab-1.csv (of P02, P03, P04) on 2026-03-09T08:00:00Z: table of another engine (test "
            "engineer)",
            "expected": "files that are taken in to count",
            "action": f"none: nothing in it counts; {item.file} stays where it is",
        }
    ]  # fmt: skip
    assert item.file not in campaign.records().inputs
    # The right table is taken in as if the other had never come; so are the same bytes, under a name of their own.
    assert [one.given_as for one in taking.take(campaign, [tray / "lab-2.csv"]).new] == ["lab-2.csv"]
    assert iron(campaign).notna().all()
    taken_back.take_back(campaign, "lab-2.csv", reason="the first was right", role="laboratory")
    (again,) = taking.take(campaign, [tray / "lab-1.csv"]).new
    assert again.file == item.file.replace("lab-1.csv", "lab-1-2.csv") and iron(campaign).notna().all()
    verify.verify(campaign)


def test_what_a_file_taken_back_had_replaced_counts_again(bench):
    campaign, tray = bench
    was = iron(campaign)
    taking.take(campaign, [tray / "lab-2.csv"], replace="lab-1.csv", reason="repeated", role="laboratory")
    assert (iron(campaign) - was).round(6).unique().tolist() == [30.0]
    with pytest.raises(CampaignError) as told:
        taken_back.take_back(campaign, "lab-1.csv", **WHY)
    (later,) = [one for one in manifest.entries(log.read(campaign.folder)) if one.given_as == "lab-2.csv"]
    assert str(told.value) == (
        f"{HEAD}\n  --take-back lab-1.csv: was replaced already by {later.file}; expected 'lab-0.csv' or 'lab-2.csv'. "
        f"It counts nowhere; what counts in its place is lab-2.csv."
    )
    made = taken_back.take_back(campaign, later.sha256[:8], **WHY)
    assert made.counts_again is not None and made.counts_again.given_as == "lab-1.csv"
    assert iron(campaign).equals(was)
    # And that one may be taken back after it.
    taken_back.take_back(campaign, "lab-1.csv", **WHY)
    assert iron(campaign).isna().all()
    verify.verify(campaign)


def test_after_a_look_it_is_refused_unless_it_is_said_and_then_marked(bench):
    campaign, _ = bench
    look(campaign, {"P02": "valid"})
    before = log.read(campaign.folder)
    with pytest.raises(CampaignError) as told:
        taken_back.take_back(campaign, "lab-1.csv", **WHY)
    assert str(told.value) == (
        f"{HEAD}\n  --take-back lab-1.csv: wear of P02 was seen on 2026-03-09T08:00:00Z; expected files taken back "
        f"before wear of their runs is looked at. With --after-look it is taken back all the same, and marked as such "
        f"wherever it is told."
    )
    assert log.read(campaign.folder) == before
    # A file of other runs alone is not held up by it.
    assert taken_back.take_back(campaign, "lab-0.csv", **WHY).seen == ()
    made = taken_back.take_back(campaign, "lab-1.csv", **WHY, after_look=True)
    assert made.seen == ("P02",)
    assert log.told(log.read(campaign.folder)[-1])["after_look"] is True
    found = campaign.records().findings
    first, second = found[found["rule"] == "taken back"]["found"].tolist()
    assert first.startswith("lab-0.csv (of P01) on 2026-03-09T08:00:00Z: ")
    assert second.startswith("lab-1.csv (of P02, P03, P04) on 2026-03-09T08:00:00Z, AFTER wear of its runs had been ")


def test_a_file_is_replaced_after_a_look_by_the_same_rule_and_marked_the_same(bench):
    campaign, tray = bench
    # Before any look nothing is held up and nothing is marked.
    why = {"reason": "repeated", "role": "laboratory"}
    assert taking.take(campaign, [tray / "lab-2.csv"], replace="lab-1.csv", **why).seen == ()
    first, second = (one for one in manifest.entries(log.read(campaign.folder)) if one.given_as != "lab-0.csv")
    assert log.told(log.read(campaign.folder)[-1]) == asdict(second) | {"mapping_sha256": ""}
    look(campaign, {"P02": "valid", "P04": "valid"})
    before, was = log.read(campaign.folder), iron(campaign)
    with pytest.raises(CampaignError) as told:
        taking.take(campaign, [tray / "lab-1.csv"], replace="lab-2.csv")
    assert str(told.value).splitlines() == [
        "Nothing was taken in.",
        "  --replace: without --reason and --role; expected why it is replaced, and who says so.",
        "  --replace lab-2.csv: wear of P02, P04 was seen on 2026-03-09T08:00:00Z; expected files replaced before wear "
        "of their runs is looked at. With --after-look it is replaced all the same, and marked as such wherever it is "
        "told.",
    ]
    assert log.read(campaign.folder) == before and iron(campaign).equals(was)
    # A file of other runs alone is not held up, nor are the bytes that count already.
    other = table(campaign.folder.parent / "lab-0-again.csv", ("P01",), 30)
    other.write_text(other.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    assert taking.take(campaign, [other], replace="lab-0.csv", **why).seen == ()
    assert taking.take(campaign, [tray / "lab-2.csv"], replace="lab-2.csv", **why).already == (second,)
    made = taking.take(campaign, [tray / "lab-1.csv"], replace="lab-2.csv", **why, after_look=True)
    assert (made.seen, made.to_json()["after_look"]) == (("P02", "P04"), ["P02", "P04"])
    assert (was - iron(campaign)).round(6).unique().tolist() == [30.0]
    (item,) = made.new
    rows = log.read(campaign.folder)
    assert log.told(rows[-1]) == asdict(item) | {
        "mapping_sha256": "", "runs": ["P02", "P03", "P04"], "after_look": True,
    }  # fmt: skip
    told = campaign.records().findings
    assert told[told["rule"] == "replaced after a look"].to_dict("records") == [
        {
            "severity": "note", "run_id": None, "part_id": None, "column": None, "rule": "replaced after a look",
            "found": "lab-2.csv (of P02, P03, P04) by lab-1.csv on 2026-03-09T08:00:00Z, AFTER wear of its runs had "
            "been seen: repeated (laboratory)",
            "expected": "files replaced before wear of their runs is looked at",
            "action": f"none: {second.file} stays where it is",
        }
    ]  # fmt: skip
    assert progress.taken(made).splitlines()[:2] == [
        f"lab-1.csv: oil, kept as {item.file}",
        f"  in place of {second.file}, which stays where it is, AFTER wear of P02, P04 had been seen",
    ]
    assert [cells[0] for cells in history.replaced(rows).rows] == [
        "<s>lab-1.csv</s> → lab-2.csv",
        "<s>lab-0.csv</s> → lab-0-again.csv",
        "<s>lab-2.csv</s> → lab-1.csv <strong>after wear of its runs had been seen</strong>",
    ]
    assert first.file != item.file
    verify.verify(campaign)


def test_the_command_replaces_after_a_look_when_it_is_said(bench, capsys):
    campaign, tray = bench
    look(campaign, {"P03": "valid"})
    asked = ["intake", str(campaign.folder), str(tray / "lab-2.csv"), "--replace", "lab-1.csv"]
    asked += ["--reason", "repeated", "--role", "laboratory"]
    assert main(asked) == 1
    assert "  --replace lab-1.csv: wear of P03 was seen on 2026-03-09T08:00:00Z; " in capsys.readouterr().err
    assert main([*asked, "--after-look", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["after_look"] == ["P03"]


def test_every_fault_is_told_and_nothing_written(bench):
    campaign, tray = bench
    before = log.read(campaign.folder)
    with pytest.raises(CampaignError) as told:
        taken_back.take_back(campaign, "lab-2.csv", reason=" ", role="a\nb")
    assert str(told.value).splitlines() == [
        HEAD,
        "  --reason: blank; expected why.",
        "  --role: line ends, signs that do not print, or more than 1000 characters; expected one line of text.",
        "  --take-back lab-2.csv: was not taken in; expected 'lab-0.csv' or 'lab-1.csv'. Did you mean 'lab-1.csv'?",
    ]
    (item,) = [one for one in manifest.entries(before) if one.given_as == "lab-1.csv"]
    with pytest.raises(CampaignError) as told:
        taken_back.take_back(campaign, item.sha256[:5], **WHY)
    assert str(told.value).splitlines() == [
        HEAD, f"  --take-back {item.sha256[:5]}: was not taken in; expected 'lab-0.csv' or 'lab-1.csv'.",
    ]  # fmt: skip
    assert log.read(campaign.folder) == before
    assert taken_back.take_back(campaign, item.sha256[:6], **WHY).entry == item
    with pytest.raises(CampaignError, match="--take-back lab-1.csv: was taken back already on 2026-03-09T08:00:00Z"):
        taken_back.take_back(campaign, "lab-1.csv", **WHY)
    taking.take(campaign)
    with pytest.raises(CampaignError) as told:
        taken_back.take_back(campaign, "raw/rig-history.csv", **WHY)
    assert str(told.value).endswith(
        "raw/rig-history.csv: a table that is kept by hand; expected 'lab-0.csv'. Put its lines right in the table, "
        "and take it in again with --reason and --role."
    )


def test_records_that_would_not_be_in_order_without_it_keep_it(bench, monkeypatch):
    campaign, _ = bench
    before, real = log.read(campaign.folder), folder.Campaign.records

    def records(self, *, back=(), **given):
        """Out of order without the file."""
        if back:
            raise IntakeError("The records are not in order; nothing was read.\n  raw/runs.csv: this and that.")
        return real(self, **given)

    monkeypatch.setattr(folder.Campaign, "records", records)
    with pytest.raises(IntakeError) as told:
        taken_back.take_back(campaign, "lab-0.csv", **WHY)
    assert str(told.value) == f"{HEAD}\n  raw/runs.csv: this and that."
    assert log.read(campaign.folder) == before


def test_a_row_that_names_no_file_is_told(bench):
    campaign, _ = bench
    with storage.locked(campaign.folder):
        log.append(campaign.folder, kind=log.BACK, what='{"given_as": "x"}')
    with pytest.raises(taken_back.manifest.IntegrityError, match="a row 'taken back' names no file. Restore it"):
        campaign.records()


def test_the_command_takes_back_and_tells_what_follows(bench, capsys):
    campaign, tray = bench
    place, words = str(campaign.folder), ("--reason", "another engine's", "--role", "laboratory")
    (item,) = [one for one in manifest.entries(log.read(campaign.folder)) if one.given_as == "lab-1.csv"]
    assert main(["intake", place, "--take-back", "lab-1.csv", *words]) == 0
    out, err = capsys.readouterr()
    assert out.splitlines()[:2] == [
        "lab-1.csv: taken back (another engine's; laboratory)",
        f"  it told of P02, P03, P04; nothing in it counts any more; {item.file} stays where it is",
    ]
    assert err.startswith("wrote a row of log.csv\nnext: ")
    look(campaign, {"P01": "valid"})
    assert main(["intake", place, "--take-back", "lab-0.csv", *words, "--after-look", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["taken_back"]["given_as"], told["counts_again"], told["after_look"]) == ("lab-0.csv", None, ["P01"])
    assert set(told) == {"taken_back", "counts_again", "runs", "after_look", "reason", "role", "findings"}
    assert main(["intake", place, str(tray / "lab-2.csv"), "--take-back", "lab-0.csv", *words]) == 1
    assert "  FILE and --take-back: both; expected one of them. Do one after the other.\n" in capsys.readouterr().err
    assert main(["intake", place, "--after-look"]) == 1
    assert (
        "Nothing was taken in.\n  --after-look: without --replace or --take-back; expected the file that is replaced "
        "or taken back, or a table that changed.\n"
    ) in capsys.readouterr().err
