"""Nothing is read or written outside the campaign folder, whatever its files, links and log say."""

from __future__ import annotations

import json
import re
import shutil

import pytest

from tests.security.test_names import armed
from tests.unit.brief.test_hostile_names import PAYLOADS
from toolkit import shipped, stamp
from toolkit.campaign import folder, log, manifest, sheets, steps, storage
from toolkit.cli import main
from toolkit.errors import BriefError, StorageError

SECRET = "campaign_id,response,scale,per_run,stratum,sd,df,rig_state\nSECRET,x,log,mean,run,0.1,3,as now\n"
# 'OUT' is the path of a table that lies outside.
FORMS = (
    "OUT", "../secret.csv", "raw/../../secret.csv", "./../secret.csv", "~/secret.csv", "..\\secret.csv",
    "C:\\secret.csv", "raw/\x00secret.csv", "file://OUT", "//OUT", "link.csv", "linked/secret.csv", "",
)  # fmt: skip


@pytest.fixture
def root(tmp_path):
    """The bundled campaign with a table, a link to it and a link to its folder that lead out."""
    made = shutil.copytree(shipped.folder("data") / "chain-soot", tmp_path / "c")
    (tmp_path / "secret.csv").write_text(SECRET)
    (made / "link.csv").symlink_to(tmp_path / "secret.csv")
    (made / "linked").symlink_to(tmp_path)
    return made


@pytest.mark.parametrize("form", FORMS)
def test_a_path_of_the_brief_that_leads_out_is_refused_with_its_key(root, tmp_path, capsys, form):
    text = (root / "campaign.toml").read_text(encoding="utf-8")
    path = form.replace("OUT", str(tmp_path / "secret.csv"))
    brief = text.replace('history = "raw/rig-history.csv"', f"history = {json.dumps(path)}")
    assert brief != text
    (root / "campaign.toml").write_text(brief, encoding="utf-8")
    with pytest.raises(BriefError) as told:
        folder.open_campaign(root)
    (line,) = str(told.value).split("\n")[1:]
    assert ": [scatter] history: " in line
    assert line.isprintable()
    assert main(["check", str(root)]) == 1
    said = capsys.readouterr()
    assert "SECRET" not in said.out + said.err


def test_a_folder_that_is_a_link_out_is_not_written_to(root, tmp_path, capsys):
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "analysis.json").write_text("mine")
    (root / "derived").symlink_to(outside)
    assert main(["analyse", str(root)]) == 4
    # What a recording gave is written first, under a checksum of its bytes and of the rules.
    assert re.sub("recordings/[0-9a-f]{64}", "recordings/CHECKSUM", capsys.readouterr().err) == (
        f"wearbook analyse: {root}/derived/recordings/CHECKSUM.json: leads out of the campaign folder; nothing was "
        f"written there. Take the link away.\n"
    )
    assert [path.read_text() for path in outside.iterdir()] == ["mine"]


def test_a_campaign_folder_that_is_reached_by_a_link_works(root, tmp_path):
    (tmp_path / "way").symlink_to(root)
    steps.plan(folder.open_campaign(tmp_path / "way"), phase="pilot")
    assert (root / "plan" / "0-pilot" / "plan.json").exists()


@pytest.mark.parametrize("name", [".wearbook.lock", ".wearbook.holder", "log.csv"])
def test_files_of_the_lock_and_the_log_that_are_links_do_not_touch_what_they_lead_to(root, tmp_path, name):
    victim = tmp_path / "victim"
    victim.write_bytes(b"")
    (root / name).symlink_to(victim)
    code = main(["plan", str(root), "--phase", "pilot"])
    assert code == (4 if name == ".wearbook.lock" else 0 if name == ".wearbook.holder" else 5)
    assert victim.read_bytes() == b""


@pytest.mark.parametrize("at", range(0, len(PAYLOADS), 3))
def test_the_copy_of_a_received_file_lies_in_its_folder_whatever_its_name(tmp_path, at):
    for name in (armed(PAYLOADS[at]), "../../x.csv", ".hidden", "-rf", "a" * 300 + ".csv", "CON", "..", "x/y.csv", ""):
        item = manifest.entry(b"x", kind="oil", given_as=name)
        folder_of, _, plain = item.file.rpartition("/")
        assert folder_of == "raw/received"
        assert len(plain) <= 95
        assert plain == plain.strip(". ") and set(plain) <= set(
            "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_."
        )


def test_a_log_made_by_somebody_else_moves_and_removes_nothing_outside(root, tmp_path):
    # A folder that came from elsewhere, its log chained in order, that says a file outside was issued.
    victim = tmp_path / "victim"
    victim.write_text("mine")
    steps.plan(folder.open_campaign(root), phase="pilot")
    checksum = stamp.checksum_bytes(b"mine")
    log.append(
        root, kind=sheets.ISSUED, phase="pilot", subject="x", what=stamp.canonical({"files": {"../victim": checksum}})
    )
    told = {
        "file": "../victim",
        "sha256": checksum,
        "size": 4,
        "kind": "oil",
        "mapping": "",
        "given_as": "x",
        "replaces": "",
    }
    main(["sheets", str(root), "--phase", "pilot"])
    log.append(root, kind=log.TAKEN, subject=checksum, what=stamp.canonical(told))
    for verb in ("check", "verify", "status", "sheets", "intake", "analyse"):
        main([verb, str(root)])
    assert main(["verify", str(root)]) == 5
    with storage.locked(root), pytest.raises(StorageError) as refused:
        storage.take_away(root / "../victim")
    assert str(refused.value) == (
        f"{root}/../victim: leads out of the campaign folder; nothing was written there. Take the link away."
    )
    assert victim.read_text() == "mine"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["c", "secret.csv", "victim"]
