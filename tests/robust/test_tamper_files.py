"""What was changed by hand in anything that must stay as it was is found and named: 200 flipped bytes, and by kind.

``python -m pytest tests/robust/test_tamper_files.py --flips 200`` flips 200 bytes of each file instead of 200 in all.
"""

from __future__ import annotations

import json
import random
import shutil

import pytest

from tests.robust import folders
from toolkit import stamp
from toolkit.campaign import log, manifest, verify
from toolkit.cli import main
from toolkit.errors import IntegrityError

IN_ALL = 200
BACKUP = "Restore it from your backup."
GROWN = "R13,main,,,,,,,,,,,,,,,,\n"
OIL = "raw/received/e4d6c67d5e93-oil-of-laboratory.csv"


@pytest.fixture(scope="module")
def whole(made, tmp_path_factory):
    """A folder with everything in it: sealed, issued, amended, issued again, taken in, noted."""
    root = made.copy_of("amended", tmp_path_factory.mktemp("whole") / "c")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WEARBOOK_NOW", folders.CLOCK)
        for verb in ("sheets of an amended plan", "intake", "intake of a file", "note"):
            folders.VERBS[verb].run(root)
    assert len(verify.verify(folders.open_at(root)).lines) == 12
    return root


@pytest.fixture
def root(whole, tmp_path):
    """A copy of it."""
    return shutil.copytree(whole, tmp_path / "c")


def refusal(root) -> str:
    """What `verify` says; empty when it finds nothing."""
    try:
        verify.verify(folders.open_at(root))
    except IntegrityError as problem:
        return str(problem)
    return ""


def guarded(root) -> list[str]:
    """The files no byte of which may change."""
    names = [path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file()]
    plans = [name for name in names if name.startswith("plan/") and name.endswith(("plan.json", "/runs.csv"))]
    plans = [name for name in plans if "/blank/" not in name]
    registers = ["plan/1-main/parts.csv", "plan/1-main/samples.csv"]
    received = [name for name in names if name.startswith("raw/")]
    return sorted(["log.csv", *plans, *registers, *received])


def test_a_byte_flipped_anywhere_is_found_and_the_file_is_named(root, request):
    draw = random.Random(request.config.getoption("seed"))
    names = guarded(root)
    # 17 of them are the recordings.
    assert len(names) == 34
    flips = request.config.getoption("flips")
    chosen = (
        [name for name in names for _ in range(flips)] if flips else names + draw.choices(names, k=IN_ALL - len(names))
    )
    missed = []
    for name in chosen:
        path = root / name
        good = path.read_bytes()
        at, by = draw.randrange(len(good)), draw.randrange(1, 256)
        path.write_bytes(good[:at] + bytes([good[at] ^ by]) + good[at + 1 :])
        said = refusal(root)
        # Of a plan the folder is named, with both its files.
        if name not in said and not (name.startswith("plan/") and f"{name.rpartition('/')[0]}: " in said):
            missed.append((name, at, by, said))
        path.write_bytes(good)
    print(f"{len(chosen)} flips in {len(names)} files, {len(missed)} missed")
    assert missed == []
    assert refusal(root) == ""


def lines_of(path) -> list[str]:
    """The lines of a file, with their ends."""
    return path.read_text(encoding="utf-8").splitlines(keepends=True)


def write(path, lines) -> None:
    """Put lines in place of a file's."""
    path.write_text("".join(lines), encoding="utf-8")


@pytest.mark.parametrize("way", ["edit", "delete", "insert", "swap", "cut", "head"])
@pytest.mark.parametrize("name", ["raw/manifest.csv", "raw/runs.csv", "plan/1-main/parts.csv", "raw/received/"])
def test_a_table_with_a_line_edited_deleted_inserted_swapped_or_cut_is_found(root, request, name, way):
    draw = random.Random(f"{request.config.getoption('seed')} {name} {way}")
    path = root / name if not name.endswith("/") else next((root / name).glob("*-runs.csv"))
    good = lines_of(path)
    named = path.relative_to(root).as_posix()
    for _ in range(request.config.getoption("flips") or 2):
        one, other = draw.sample(range(1, len(good)), 2)
        head, *_ = good
        changed = {
            "edit": [line.replace(",", ",x", 1) if at == one else line for at, line in enumerate(good)],
            "delete": [line for at, line in enumerate(good) if at != one],
            "insert": [*good[:one], good[other], *good[one:]],
            "swap": [good[{one: other, other: one}.get(at, at)] for at in range(len(good))],
            "cut": good[:one],
            "head": [head.replace(",", ",x", 1), *good[1:]],
        }[way]
        write(path, changed)
        # A table kept by hand may grow, anywhere.
        grew = (name, way) == ("raw/runs.csv", "insert")
        assert (named in refusal(root)) == (not grew), (one, other)
    write(path, good)
    assert refusal(root) == ""


KINDS = {
    "received file gone": (
        lambda root: (root / OIL).unlink(),
        f"{OIL}: was taken in as oil-of-laboratory.csv, and cannot be read now (No such file or directory). {BACKUP}",
    ),
    "received file replaced": (
        lambda root: (root / OIL).write_text("run_id,sample_id,at_h,fe_ppm\n"),
        f"{OIL}: was changed since it was taken in as oil-of-laboratory.csv. {BACKUP}",
    ),
    "received file added": (
        lambda root: (root / "raw/received/more.csv").write_text("a\n"),
        "raw/received/more.csv: was put there by hand: the log does not hold it. Take it away.",
    ),
    "manifest gone": (
        lambda root: (root / manifest.NAME).unlink(),
        f"raw/manifest.csv: is gone, and the log says that 21 files were taken in. {BACKUP}",
    ),
    "manifest saved by a spreadsheet": (
        lambda root: (root / manifest.NAME).write_bytes((root / manifest.NAME).read_bytes().replace(b"\n", b"\r\n")),
        f"raw/manifest.csv: its quotes, blanks or line ends are not as they were written. {BACKUP}",
    ),
    "table kept by hand gone": (
        lambda root: (root / "raw/stations.csv").unlink(),
        "raw/stations.csv: was taken in and is gone. Restore it from raw/received/STATIONS-stations.csv.",
    ),
    "register gone": (
        lambda root: (root / "plan/1-main/parts.csv").unlink(),
        f"plan/1-main/parts.csv: was issued and is gone. {BACKUP}",
    ),
    "plan before the amendment gone": (
        lambda root: shutil.rmtree(root / "plan/1-main/amended-1"),
        "plan/1-main/amended-1: the sealed plan cannot be read: plan.json or runs.csv was damaged or taken away "
        "([Errno 2] No such file or directory: 'ROOT/plan/1-main/amended-1/plan.json'). Restore both from your backup.",
    ),
    "plan before the amendment put in force": (
        lambda root: shutil.copytree(root / "plan/1-main/amended-1", root / "plan/1-main", dirs_exist_ok=True),
        "plan/1-main/plan.json: is the plan with the seal BEFORE, and the log says that the one with the seal AFTER is "
        "in force. Restore it and runs.csv from your backup.",
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_what_was_taken_away_or_put_there_is_told_in_words(root, kind, capsys):
    tamper, expected = KINDS[kind]
    stations = next((root / "raw/received").glob("*-stations.csv")).name.partition("-")[0]
    before, after = (row["subject"][:12] for row in log.read(root) if row["kind"] in ("sealed", "amended") and
                     row["phase"] == "main")  # fmt: skip
    for word, meant in (("STATIONS", stations), ("BEFORE", before), ("AFTER", after), ("ROOT", str(root))):
        expected = expected.replace(word, meant)
    tamper(root)
    said = refusal(root)
    assert said == expected
    assert main(["verify", str(root)]) == 5
    assert capsys.readouterr().err == (
        f"wearbook verify: {said}\n"
        'More: wearbook explain seal; the guide: 01-the-bundled-campaign, section "The plan and its order"\n'
    )


def test_all_that_was_changed_is_told_at_once(root):
    for name in ("log.csv", "plan/0-pilot/runs.csv", "plan/1-main/plan.json"):
        path = root / name
        path.write_bytes(path.read_bytes().replace(b"P1", b"P0", 1) if name != "log.csv" else path.read_bytes() + b"x")
    said = refusal(root).split("\n")
    assert said[0] == f"{len(said) - 1} things are not what they were:"
    for name in ("log.csv", "plan/0-pilot", "plan/1-main"):
        assert any(line.startswith(f"  {name}") for line in said), name


def test_a_received_file_and_its_row_forged_together_do_not_fit_the_log(root):
    forged = (root / OIL).read_bytes().replace(b",1.3,", b",1.9,", 1)
    (root / OIL).write_bytes(forged)
    (item,) = [entry for entry in manifest.listed(root) if entry.file == OIL]
    text = (root / manifest.NAME).read_text(encoding="utf-8")
    (root / manifest.NAME).write_text(text.replace(item.sha256, stamp.checksum_bytes(forged)), encoding="utf-8")
    said = refusal(root)
    assert f"raw/manifest.csv line 22: was edited: the log holds another row of {OIL}. {BACKUP}" in said
    assert f"{OIL}: was changed since it was taken in as oil-of-laboratory.csv. {BACKUP}" in said


def test_what_people_may_do_is_no_fault(root):
    parts = root / "plan" / "1-main" / "parts.csv"
    lines = lines_of(parts)
    head = lines[0].rstrip("\n").split(",")
    cells = lines[1].rstrip("\n").split(",")
    cells[head.index("serial")], cells[head.index("batch")] = "S-1", "B-7"
    write(parts, [lines[0], ",".join(cells) + "\n", *lines[2:]])
    runs = root / "raw" / "runs.csv"
    write(runs, [*lines_of(runs), GROWN])
    (root / "runsheets" / "1-main" / "R01.xlsx").write_bytes(b"filled in")
    (root / "derived").mkdir(exist_ok=True)
    found = verify.verify(folders.open_at(root))
    assert "raw/runs.csv: grew since it was taken in; `wearbook intake` takes it in again" in found.lines
    assert "  runsheets/1-main/R01.xlsx: filled in or edited: not an original" in found.lines


def test_quick_looks_at_structure_and_not_at_what_stands_in_files(root):
    good = (root / OIL).read_bytes()
    (root / OIL).write_bytes(good + b"x")
    assert verify.verify(folders.open_at(root), quick=True).lines[1] == "raw/manifest.csv: 21 taken in, all there"
    (root / OIL).unlink()
    assert main(["verify", "--quick", str(root)]) == 5
    (root / OIL).write_bytes(good)
    rows = log.read(root)
    assert json.loads(rows[-1]["what"])["new"] == "3.11"
