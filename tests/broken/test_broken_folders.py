"""Broken campaign folders through the command: exit code 1, every fault told, nothing written, nothing lost."""

from __future__ import annotations

import random
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from toolkit import shipped
from toolkit.cli import main

VERBS = ("check", "size", "plan", "analyse", "report")


@dataclass(frozen=True)
class Way:
    """One way to break the bundled folder: a file, what to put for what, and what must be told."""

    name: str
    path: str
    old: str
    new: str
    told: str

    def __call__(self, folder: Path) -> None:
        """Break it."""
        path = folder / self.path
        text = path.read_text(encoding="utf-8")
        assert self.old in text, self.name
        path.write_text(text.replace(self.old, self.new, 1), encoding="utf-8")


BRIEF, RUNS, STATIONS, OIL = "campaign.toml", "raw/runs.csv", "raw/stations.csv", "raw/oil.csv"
WAYS = (
    Way("unknown key", BRIEF, 'role = "primary"', 'rolle = "primary"', "Did you mean 'role'?"),
    Way("level of no factor", BRIEF, 'of = { oil = "O1" }', 'of = { oil = "O7" }', "'O7'"),
    Way(
        "no change worth having",
        BRIEF,
        "worthwhile_change_pct = 20 ",
        "worthwhile_change_pct = 0 ",
        "worthwhile_change_pct",
    ),
    Way("window without target", BRIEF, "window = [2.7, 3.3]", "window = [3.1, 3.3]", "soot_pct"),
    Way("unit unknown", BRIEF, 'name = "fe_ppm"', 'name = "fe_pmm"', "fe_pmm"),
    Way("reserved name", BRIEF, 'name = "pin"', 'name = "station"', "station"),
    Way("alpha in per cent", BRIEF, "alpha    = 0.05", "alpha    = 5", "alpha"),
    Way("undo misspelt", BRIEF, 'undo = "fill"', 'undo = "fil"', "Did you mean 'fill'?"),
    Way("budget below zero", BRIEF, "budget = 240_000", "budget = -1", "budget"),
    Way("path out of the folder", BRIEF, "raw/rig-history.csv", "../../history.csv", "history"),
    Way("run twice", RUNS, "R02,", "R01,", "R01"),
    Way("level misspelt", RUNS, ",P1,O0,", ",P1,0O,", "'0O'"),
    Way("decimal comma", RUNS, ",99.7,", ',"99,7",', "99,7"),
    Way("verdict misspelt", RUNS, ",invalid,", ",invalide,", "Did you mean 'invalid'?"),
    Way("column misspelt", RUNS, "soot_pct", "sot_pct", "soot_pct"),
    Way("hours not a number", RUNS, ",100.2,", ",a hundred,", "a hundred"),
    Way("run of no plan", STATIONS, "P01,INV-101,SEG01,1,before", "Q01,INV-101,SEG01,1,before", "Q01"),
    Way("reading twice", STATIONS, "SEG01,2,before", "SEG01,1,before", "SEG01"),
    Way("unit typed in the cell", STATIONS, ",0.0248", ",0.0248 %", "0.0248 %"),
    Way("state misspelt", STATIONS, ",after,", ",aftr,", "Did you mean 'after'?"),
    Way("sample twice", OIL, "INV-P01-020h", "INV-P01-000h", "INV-P01-000h"),
    Way("hour missing", OIL, "INV-P01-040h,40,", "INV-P01-040h,,", "at_h"),
    Way("column missing", OIL, "run_id,sample_id", "run,sample_id", "run_id"),
    Way("metal not a number", OIL, "h,0,1.3,", "h,0,1.3ppm,", "1.3ppm"),
)


@pytest.fixture(scope="module")
def bundled() -> Path:
    return shipped.folder("data") / "chain-soot"


def broken(bundled: Path, to: Path, *ways: Callable[[Path], None]) -> Path:
    """A copy of the bundled campaign, broken in these ways."""
    shutil.copytree(bundled, to)
    for way in ways:
        way(to)
    return to


def contents(folder: Path) -> dict[str, bytes]:
    """Every file but the lock, and what was worked out of recordings: that holds whatever the tables say."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name != ".wearbook.lock" and path.parent != folder / "derived" / "recordings"
    }


def refused(capsys, verb: str, folder: Path) -> str:
    """What the command says when it refuses: exit code 1, nothing on stdout, nothing written."""
    before = contents(folder)
    code = main([verb, str(folder)])
    told = capsys.readouterr()
    assert (code, told.out) == (1, "")
    assert "Traceback" not in told.err
    assert contents(folder) == before
    return told.err


@pytest.mark.parametrize("way", WAYS, ids=lambda way: way.name)
def test_one_fault_is_told_by_the_command_and_nothing_is_written(capsys, bundled, tmp_path, way):
    folder = broken(bundled, tmp_path / "c", way)
    told = refused(capsys, VERBS[WAYS.index(way) % len(VERBS)], folder)
    assert way.told in told
    assert Path(way.path).name in told
    assert " line " in told or "column" in told


def pairs() -> list[tuple[Way, Way]]:
    """Random pairs; a brief that cannot be read hides the tables, so both are of the brief or both of the tables."""
    draw = random.Random(20)
    made = []
    while len(made) < 20:
        one, other = draw.sample(WAYS, 2)
        hides = {one.name, other.name} & {"column misspelt", "column missing"} and one.path == other.path
        if (one.path == BRIEF) == (other.path == BRIEF) and not hides:
            made.append((one, other))
    return made


@pytest.mark.parametrize("ways", pairs(), ids=lambda pair: f"{pair[0].name} and {pair[1].name}")
def test_both_faults_of_a_pair_are_told(capsys, bundled, tmp_path, ways):
    told = refused(capsys, "check", broken(bundled, tmp_path / "c", *ways))
    assert [way.name for way in ways if way.told not in told] == []


def test_a_folder_without_a_brief_or_none_at_all(capsys, tmp_path):
    for verb in VERBS:
        assert main([verb, str(tmp_path / "nothing")]) == 1
        assert main([verb, str(tmp_path)]) == 1
    told = capsys.readouterr()
    assert told.out == ""
    assert "there is no such folder" in told.err
    assert "holds no campaign.toml" in told.err
    assert list(tmp_path.iterdir()) == []
