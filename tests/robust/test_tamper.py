"""What was changed by hand in a sealed plan or in the log is found, and the file is named.

What cannot be found inside the folder is tested too, so that nobody believes more than holds: rows after the last
seal can be cut or rewritten without a trace there (a chain of checksums shows no cut; the head kept elsewhere does).

``python -m pytest tests/robust/test_tamper.py --flips 200`` flips 200 bytes of each file.
"""

from __future__ import annotations

import csv
import io
import json
import random
import shutil

import pytest

from tests.robust import folders
from toolkit import stamp
from toolkit.campaign import folder, log, seal, verify
from toolkit.cli import main
from toolkit.errors import IntegrityError

FEW = 20
RESTORE = "Restore the log from your backup."


@pytest.fixture
def root(states, tmp_path):
    """A folder with both phases sealed and three looks at the records after that."""
    root = states.copy("analyse", tmp_path / "c")
    for number in range(3):
        log.append(root, kind=log.LOOK, phase="main", subject=f"{number}", what="analysed 11 of 12 runs valid")
    return root


@pytest.fixture
def flips_and_seed(request):
    """How many bytes of each file are flipped, and the seed that says which."""
    return request.config.getoption("flips") or FEW, request.config.getoption("seed")


def refusal(root) -> str:
    """What `verify` says."""
    with pytest.raises(IntegrityError) as told:
        verify.verify(folder.open_campaign(root))
    return str(told.value)


def together(said: list[str]) -> str:
    """How several things are told at once."""
    return "\n".join([f"{len(said)} things are not what they were:", *(f"  {item}" for item in said)])


@pytest.mark.parametrize(
    "name",
    ["log.csv", "plan/0-pilot/plan.json", "plan/0-pilot/runs.csv", "plan/1-main/plan.json", "plan/1-main/runs.csv"],
)
def test_one_changed_byte_anywhere_is_found(root, name, flips_and_seed):
    flips, seed = flips_and_seed
    draw = random.Random(f"{seed} {name}")
    path = root / name
    good = path.read_bytes()
    missed = []
    for _ in range(flips):
        at, by = draw.randrange(len(good)), draw.randrange(1, 256)
        path.write_bytes(good[:at] + bytes([good[at] ^ by]) + good[at + 1 :])
        said = refusal(root)
        # Of a plan the folder is named with both its files, of the log the file.
        if not said.startswith(name if name == "log.csv" else name.rpartition("/")[0]) and name not in said:
            missed.append((at, by, said))
    path.write_bytes(good)
    assert missed == []
    assert verify.verify(folder.open_campaign(root)).lines[0] == "log.csv: 7 rows, chain unbroken"


def test_the_command_ends_with_5(root, capsys):
    path = root / "plan" / "1-main" / "plan.json"
    path.write_bytes(path.read_bytes().replace(b'"scatter"', b'"skatter"', 1))
    assert main(["verify", str(root)]) == 5
    seal_of = json.loads(path.read_bytes())["seal"]
    assert capsys.readouterr().err == (
        f"wearbook verify: plan/1-main: plan.json or runs.csv was changed after sealing (seal {seal_of[:12]}). "
        f"Restore both from your backup.\n"
        'More: wearbook explain seal; the guide: 01-the-bundled-campaign, section "The plan and its order"\n'
    )


def edited(root, key, value):
    """plan.json of the main phase with one key changed and its own checksum made to fit."""
    path = root / "plan" / "1-main" / "plan.json"
    plan = json.loads(path.read_bytes())
    plan[key] = value
    rest = {name: item for name, item in plan.items() if name not in ("plan_sha256", "log_row")}
    plan["plan_sha256"] = stamp.checksum(rest)
    path.write_text(json.dumps(plan, indent=1, ensure_ascii=False, sort_keys=True) + "\n", encoding="utf-8")
    return plan["seal"][:12]


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("sizing", None),
        ("versions", {}),
        ("strata", []),
        ("drawn", "by hand"),
        ("sealed_after_records", False),
        ("records_head_before", "0" * 64),
        ("seed", 1),
        ("design", "another"),
    ],
)
def test_a_plan_rewritten_with_its_checksum_does_not_fit_the_log(root, key, value):
    short = edited(root, key, value)
    assert refusal(root) == (
        f"log.csv and plan/1-main/plan.json do not fit each other: the log up to the seal {short} of the main phase "
        f"is not the one that the plan was sealed with, or the plan is another one. Restore both from your backup."
    )


@pytest.mark.parametrize("key", ["seal", "earlier_seals", "phase", "brief", "runs_sha256", "plan_sha256", "log_row"])
def test_a_plan_without_one_of_its_keys_is_refused(root, key):
    path = root / "plan" / "1-main" / "plan.json"
    plan = json.loads(path.read_bytes())
    del plan[key]
    path.write_text(json.dumps(plan, indent=1, ensure_ascii=False, sort_keys=True) + "\n", encoding="utf-8")
    assert refusal(root) == (
        f"plan/1-main: the sealed plan cannot be read: plan.json or runs.csv was damaged or taken away ('{key}'). "
        f"Restore both from your backup."
    )


def rewritten(rows, start="0" * 64):
    """The log as a forger makes it: every row chained anew."""
    out, before = io.StringIO(newline=""), start
    writer = csv.DictWriter(out, log.COLUMNS, lineterminator="\n")
    writer.writeheader()
    for row in rows:
        before = stamp.checksum([before, *(row[name] for name in log.COLUMNS[:-1])])
        writer.writerow({**row, "chain": before})
    return out.getvalue()


def test_a_row_edited_deleted_inserted_or_swapped_breaks_the_chain(root, flips_and_seed):
    flips, seed = flips_and_seed
    path = root / "log.csv"
    good = path.read_text()
    head, *lines = good.splitlines(keepends=True)
    draw = random.Random(seed)
    for _ in range(flips):
        at = draw.randrange(len(lines) - 1)
        ways = {
            "edit": [*lines[:at], lines[at].replace("20", "21", 1), *lines[at + 1 :]],
            "delete": lines[:at] + lines[at + 1 :],
            "insert": lines[:at] + [draw.choice(lines)] + lines[at:],
            "swap": [*lines[:at], lines[at + 1], lines[at], *lines[at + 2 :]],
        }
        for way, text in ways.items():
            # A row put in front of itself makes the same file with the row twice.
            path.write_text(head + "".join(text))
            said = refusal(root)
            assert said.startswith("log.csv line "), way
            assert said.endswith(RESTORE), way
    path.write_text(good)
    assert verify.verify(folder.open_campaign(root)).log_head == log.read(root)[-1]["chain"]


def test_a_cut_through_a_seal_is_found_and_one_behind_the_last_seal_is_not(root):
    path = root / "log.csv"
    rows = log.read(root)
    assert [row["kind"] for row in rows] == ["sealing", "sealed", "sealing", "sealed", "look", "look", "look"]
    lines = path.read_text().splitlines(keepends=True)
    whole = verify.verify(folder.open_campaign(root)).log_head
    for kept in (0, 1, 2):
        path.write_text("".join(lines[: kept + 1]))
        # With the first row both seals are gone from the log, and both are told.
        gone = [("pilot", 0), ("main", 2)][1 if kept else 0 :]
        said = [
            f"log.csv: the line that records the seal {rows[at]['subject'][:12]} of the {name} phase is gone. {RESTORE}"
            for name, at in gone
        ]
        assert refusal(root) == (said[0] if kept else together(said))
    path.write_bytes(b"")
    assert refusal(root).startswith("log.csv: its rows fit their chain, but its heading")
    path.unlink()
    assert refusal(root).startswith("2 things are not what they were:\n  log.csv: the line that records the seal ")
    # The row that ends the sealing tells no more than the plan itself: it is as if the command had been stopped.
    path.write_text("".join(lines[:4]))
    assert verify.verify(folder.open_campaign(root)).lines[-2] == (
        "main: a command was stopped while it sealed this phase; nothing is lost, `wearbook plan --phase main` "
        "completes it"
    )
    for kept in (4, 5, 6):
        path.write_text("".join(lines[: kept + 1]))
        assert verify.verify(folder.open_campaign(root)).log_head != whole


@pytest.mark.parametrize("at", range(7))
@pytest.mark.parametrize("column", ["at", "role"])
def test_a_log_rewritten_up_to_a_seal_is_found_and_behind_the_last_one_it_is_not(root, at, column):
    path = root / "log.csv"
    rows = log.read(root)
    whole = verify.verify(folder.open_campaign(root)).log_head
    rows[at] = {**rows[at], column: "2020-01-01T00:00:00Z" if column == "at" else "someone else"}
    path.write_text(rewritten(rows))
    assert len(log.read(root)) == 7
    if at <= 2:
        phase, number = ("pilot", 0) if at == 0 else ("main", 2)
        short = rows[number]["subject"][:12]
        assert refusal(root).splitlines()[-2 if at == 0 else 0].strip() == (
            f"log.csv and plan/{number // 2}-{phase}/plan.json do not fit each other: the log up to the seal {short} "
            f"of the {phase} phase is not the one that the plan was sealed with, or the plan is another one. Restore "
            f"both from your backup."
        )
    else:
        assert verify.verify(folder.open_campaign(root)).log_head != whole


@pytest.mark.parametrize("gone", ["plan/1-main", "plan/1-main/plan.json", "plan/1-main/runs.csv", "plan"])
def test_a_plan_that_was_taken_away_is_named_by_every_verb_that_needs_it(root, gone, monkeypatch):
    # Nothing computed before is given again.
    monkeypatch.undo()
    path = root / gone
    shutil.rmtree(path) if path.is_dir() else path.unlink()
    said = refusal(root).splitlines()[-1].strip()
    assert said.startswith("plan of the " if gone != "plan/1-main/runs.csv" else "plan/1-main: the sealed plan cannot")
    for verb in ("plan", "analyse", "report"):
        assert folders.attempt(verb, root).startswith("IntegrityError: plan")


def test_a_log_of_ten_thousand_rows_is_read_whole(tmp_path):
    row = dict.fromkeys(log.COLUMNS, "x")
    (tmp_path / "log.csv").write_text(rewritten([row] * 10_000))
    assert len(log.read(tmp_path)) == 10_000


def test_the_plan_holds_its_row_of_the_log_and_the_row_the_checksum_of_the_plan(root):
    plan = seal.read(root, folder.open_campaign(root).brief, "main")
    row = log.read(root)[2]
    assert plan["log_row"] == row["chain"]
    assert row["what"] == f"plan.json {plan['plan_sha256']}"
    assert plan["records_head_before"] == log.read(root)[1]["chain"]
