"""Broken recordings, singly and in pairs: each with one clear fault or finding, told by its file, and nothing else."""

from __future__ import annotations

import csv
import html
import random
from dataclasses import replace

import pytest

from tests.broken.broken_recordings import EVERY, Broken, good
from tests.unit.campaign import recorded
from toolkit.brief import reading
from toolkit.campaign import written
from toolkit.errors import IntakeError
from toolkit.intake import dyno_runs, gathered, records
from toolkit.report import record_tables

PAIRS = 15
HEAD = "run_id,phase,build_id,planned_order,actual_order,pin,oil,run_time_h,sump_temp_degC,wear_mg,verdict,reason,role"


@pytest.fixture(scope="module")
def brief():
    return reading.parse(recorded.BRIEF)


def put(folder, brief, cases) -> records.Records:
    """The records of a folder with these recordings of runs R01, R02 ..., and a clean one of R09."""
    place = folder / dyno_runs.FOLDER
    place.mkdir(parents=True)
    (place / "R09.csv").write_text(good(9))
    runs = [f"R0{at + 1}" for at in range(len(cases))]
    for at, (run, case) in enumerate(zip(runs, cases, strict=True)):
        made = case.content(at + 1)
        (place / f"{run}{case.ending}").write_bytes(made.encode() if isinstance(made, str) else made)
    lines = [HEAD]
    lines += [f"{run},main,B1,{at + 1},{at + 1},P0,O0,,,,pending,," for at, run in enumerate([*runs, "R09"])]
    (folder / "raw" / "runs.csv").write_text("\n".join(lines) + "\n")
    return records.read(folder, brief)


def named(text: str, run: str, case: Broken) -> list[str]:
    """What is told of a case, with the names of its run and file."""
    return [line.replace("NAME", f"{run}{case.ending}").replace("RUN", run) for line in text.split("|") if line]


def look(folder, brief, cases) -> tuple[list[object], list[object]]:
    """What is told of some recordings, and what belongs to each of them."""
    runs = [f"R0{at + 1}" for at in range(len(cases))]
    faults = [line for run, case in zip(runs, cases, strict=True) for line in named(case.fault, run, case)]
    if faults:
        with pytest.raises(IntakeError) as told:
            put(folder, brief, cases)
        return str(told.value).split("\n"), [gathered.HEADLINE, *(f"  {line}" for line in faults)]
    found = put(folder, brief, cases)
    assert found.runs["sump_temp_degC"].notna().all()
    mine = found.findings[found.findings["rule"].isin(["recording", "sweeps", "quality index", "silent channel"])]
    expected = [[run, line] for run, case in zip(runs, cases, strict=True) for line in named(case.note, run, case)]
    return mine[["run_id", "found"]].to_numpy().tolist(), expected


def test_there_are_enough_cases():
    assert len({case.name for case in EVERY}) == len(EVERY) >= 37
    assert all(bool(case.fault) != bool(case.note) for case in EVERY)


@pytest.mark.parametrize("case", EVERY, ids=lambda case: case.name)
def test_one_thing_is_told(case, brief, tmp_path):
    told, expected = look(tmp_path, brief, [case])
    assert told == expected


def pairs() -> list[tuple[Broken, Broken]]:
    """Pairs drawn at random from a fixed seed."""
    draw = random.Random(20417)
    return [tuple(draw.sample(EVERY, 2)) for _ in range(PAIRS)]


@pytest.mark.parametrize("cases", pairs(), ids=lambda cases: " and ".join(case.name for case in cases))
def test_both_of_a_pair_are_told_and_nothing_else(cases, brief, tmp_path):
    told, expected = look(tmp_path, brief, cases)
    assert told == expected


def test_names_that_lead_elsewhere_or_are_no_runs_come_to_nothing(brief, tmp_path):
    place = tmp_path / dyno_runs.FOLDER
    place.mkdir(parents=True)
    (tmp_path / "secret.csv").write_text(good())
    (place / "R02.csv").symlink_to(tmp_path / "secret.csv")
    (place / "R03.csv").mkdir()
    with pytest.raises(IntakeError) as told:
        put_more(tmp_path, brief)
    assert str(told.value).split("\n") == [
        gathered.HEADLINE,
        *(
            f"  raw/dyno/R0{at}.csv: no file of this folder; expected recordings themselves, no links and no folders."
            for at in (2, 3)
        ),
    ]
    (place / "R02.csv").unlink()
    (place / "R03.csv").rmdir()
    for name in ("=cmd|' !A1.csv", "R011.csv", "R01.txt", "..csv", "@SUM(1).csv.gz"):
        (place / name).write_text("x")
    found = put_more(tmp_path, brief).findings
    mine = found[found["rule"] == "recording"]
    assert mine["found"].tolist() == [
        "raw/dyno/=cmd|' !A1.csv: its name begins with no run_id of this campaign",
        "raw/dyno/@SUM(1).csv.gz: its name begins with no run_id of this campaign",
        "raw/dyno/R01.txt: its name ends in neither .csv nor .csv.gz",
        "raw/dyno/R011.csv: its name begins with no run_id of this campaign",
    ]
    assert mine["run_id"].isna().all()


NAMES = ("=HYPERLINK(1)", "../../etc/passwd", "@SUM(A1)", "<script>alert(1)</script>")


@pytest.mark.parametrize("at", range(1, 4))
def test_headings_that_are_formulas_paths_or_pages_stay_text(brief, tmp_path, at):
    rule = brief.dyno_log
    lines = [",".join(NAMES) + "\n", *good().splitlines(keepends=True)[1:]]
    cells = lines[51].rstrip().split(",")
    lines[51] = ",".join([*cells[:at], "=1+1", *cells[at + 1 :]]) + "\n"
    place = tmp_path / dyno_runs.FOLDER
    place.mkdir(parents=True)
    (place / "R01.csv").write_text("".join(lines))
    before = set(tmp_path.parent.rglob("*"))
    columns = dict(zip(rule.columns, NAMES[1:], strict=True))
    found = put_more(tmp_path, replace(brief, dyno_log=replace(rule, time=NAMES[0], columns=columns))).findings
    mine = found[found["rule"] == "recording"]
    told = "1 cell without a figure in it (R01.csv line 52)"
    assert mine[["column", "found"]].to_numpy().tolist() == [[NAMES[at], told]]
    assert set(tmp_path.parent.rglob("*")) - before == {tmp_path / "raw" / "runs.csv"}
    # In the table that is written, and on the page.
    [[_, *row]] = csv.reader(written.csv_text(mine[["severity", "column", "found"]]).splitlines()[1:])
    assert row == [f"'{NAMES[at]}" if NAMES[at][0] in "=@" else NAMES[at], told]
    page = record_tables.findings(mine).__html__()
    assert html.escape(NAMES[at]) in page and "<script" not in page


def put_more(folder, brief) -> records.Records:
    """The records of a folder with three runs that are recorded as they lie there."""

    lines = [HEAD, *(f"R0{at},main,B1,{at},{at},P0,O0,,,,pending,," for at in (1, 2, 3))]
    (folder / "raw" / "runs.csv").write_text("\n".join(lines) + "\n")
    return records.read(folder, brief)


def test_a_large_file_with_a_cut_last_line_loses_that_line_alone(brief, tmp_path):
    # Beyond one piece of the reader: the second one of 200,000 lines.
    line = "2000.0,80.00,100.00\n"
    text = "Time [s],N,M,T_OIL\n" + "".join(f"{at / 10:.1f},{line}" for at in range(200_002))
    (tmp_path / dyno_runs.FOLDER).mkdir(parents=True)
    (tmp_path / dyno_runs.FOLDER / "R01.csv").write_text(text + "20000.2,2000.0,80.")
    found = dyno_runs.read(tmp_path, brief, {"R01": "main"})
    assert found.faults == ()
    assert [row["found"] for row in found.runs["R01"].findings if row["rule"] == "recording"] == [
        "R01.csv: line 200004, the last one, breaks off"
    ]
    assert found.runs["R01"].channels.iloc[0]["readings"] == 200_002
