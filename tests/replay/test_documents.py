"""The commands of README.md's seven steps and of DEVELOPERS.md's way to a sized plan, run as they stand there.

They are taken out of the text, so that one that is added, changed or moved there and not here fails. Between them the
test does what the shop does: it writes a brief, runs, measures and sends files back. Every figure is INVENTED.
"""

from __future__ import annotations

import glob
import math
import random
import re
import shlex
import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import openpyxl
import pytest

from tests.house.tree import ROOT
from tests.replay import shop
from tests.replay.test_awkward_campaign import LABORATORY, MAIN, PILOT
from tests.unit.report.undrawn import undrawn
from toolkit.cli import main
from toolkit.report import programs

DATA = ROOT / "data"
TRIAL, PINS = Path("chain-trial"), Path("pins")


def section(document: str, heading: str) -> str:
    """What stands below a heading of the second rank."""
    text = (ROOT / document).read_text(encoding="utf-8")
    return re.split(rf"^## {heading}$", text, flags=re.M)[1].partition("\n## ")[0]


def commands(text: str) -> list[str]:
    """The commands of a text in their order: `wearbook VERB ...` between backticks, and lines of shell."""
    found = re.findall(r"```sh\n(.*?)```|`([^`]+)`", text, re.S)
    lines = [line for block, span in found for line in (block.splitlines() if block else [" ".join(span.split())])]
    lines = [line.removeprefix(".venv/bin/") for line in lines]
    return [line for line in lines if line.startswith("wearbook ")]


class Walk:
    """The commands of a text, each run once as it stands there, in a folder of its own."""

    def __init__(self, text: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
        self.told = commands(text)
        self.run: list[str] = []
        self._capsys, self._patch, self._minutes = capsys, monkeypatch, 0

    def __call__(self, line: str, *more: str, own: bool = False) -> str:
        """Run a command as the text has it, with words that the text leaves to the reader; ``own``: it has it not."""
        assert own or line in self.told, f"not in the text: {line}"
        self.run += [] if own else [line]
        words = [name for word in shlex.split(line)[1:] for name in (sorted(glob.glob(word)) or [word])]
        # Each a minute later, so that the log stands in the order of the commands.
        self._minutes += 1
        self._patch.setenv(
            "WEARBOOK_NOW", f"2026-03-02T{8 + self._minutes // 60:02d}:{self._minutes % 60:02d}:00+00:00"
        )
        code = main([*words, *more])
        said = self._capsys.readouterr()
        # No command of the text is shown as one that is refused.
        assert code == 0, f"{line} ended with {code}\n{said.out}{said.err}"
        return said.out


@pytest.fixture
def walk(tmp_path, capsys, monkeypatch) -> Iterator[Callable[[str], Walk]]:
    """Begin a walk through a text in an empty folder."""
    monkeypatch.chdir(tmp_path)
    yield lambda text: Walk(text, capsys, monkeypatch)


def sent_back(phase: str, names: list[str]) -> list[shop.Built]:
    """The runs as built, their sheets in the folder under the names that they were issued with."""
    built = [shop.as_planned(TRIAL, phase, name) for name in names]
    for item in built:
        order = int(next(line for line in shop.planned(TRIAL, phase) if line["run_id"] == item.run_id)["planned_order"])
        shop.run_sheet(TRIAL, phase, item, Path(f"{item.run_id}.xlsx"), order=order)
    return built


def test_the_seven_steps_of_the_readme(walk, monkeypatch):
    text = section("README.md", "A campaign in seven steps")
    step = walk(text)
    opened = []
    monkeypatch.setattr(programs, "stay", lambda words, **_: opened.append(words) or 0)

    # 1. Ask. The folder is valid as it was made; then the person writes their own brief.
    step("wearbook new chain-trial")
    step("wearbook check chain-trial")
    step("wearbook lab chain-trial")
    assert opened[0][2] == "jupyterlab"
    executed = step("wearbook notebooks chain-trial").split()
    assert [Path(line).name for line in executed] == ["question.ipynb"]
    brief = (DATA / "chain-soot" / "campaign.toml").read_text(encoding="utf-8").replace("chain-soot", "chain-trial")
    # Eight runs and three segments: the same commands in less time.
    brief = brief.replace("builds = 3  ", "builds = 2  ").replace("count = 10,", "count = 3,")
    brief += LABORATORY.replace("lab-*", "lab*")
    unsized = brief.replace("builds = 2  ", "builds = 0  ")
    (TRIAL / "campaign.toml").write_text(unsized, encoding="utf-8")
    (TRIAL / "raw").mkdir(exist_ok=True)
    shutil.copy(DATA / "chain-soot" / "raw" / "rig-history.csv", TRIAL / "raw")
    step("wearbook check chain-trial", own=True)

    # 2. Pilot: run and taken in as in step 5.
    step("wearbook plan chain-trial --phase pilot")
    step("wearbook sheets chain-trial --phase pilot", own=True)
    pilot = sent_back(PILOT, ["P01", "P02", "P03", "P04"])
    back = [f"{item.run_id}.xlsx" for item in pilot]
    back += [
        str(shop.measured(TRIAL, PILOT, state, pilot, Path(f"pilot-{state}.xlsx"))) for state in ("before", "after")
    ]
    step(f"wearbook intake chain-trial {' '.join(back)}", own=True)

    # 3. and 4. Size, and the choice written into the brief.
    assert "Recommended: " in step("wearbook size chain-trial")
    assert "builds = 0  " in unsized and "\nbuilds = " in (TRIAL / "derived" / "chosen-plan.toml").read_text("utf-8")
    (TRIAL / "campaign.toml").write_text(brief, encoding="utf-8")
    step("wearbook plan chain-trial --phase main")
    assert (TRIAL / "plan" / MAIN / "plan.html").is_file()
    step("wearbook book chain-trial")
    assert (TRIAL / "derived" / "booking-main.ics").is_file()

    # 5. Run: the sheets of all runs but R05 are back; then R08 turns out to be void.
    step("wearbook sheets chain-trial --phase main")
    names = [f"R{place:02d}" for place in range(1, 9)]
    assert [line["run_id"] for line in shop.planned(TRIAL, MAIN)] == names
    every = sent_back(MAIN, names)
    shop.measured(TRIAL, MAIN, "before", every, Path("before.xlsx"))
    back = [f"{name}.xlsx" for name in names if name != "R05"]
    step(f"wearbook intake chain-trial before.xlsx {' '.join(back)}", own=True)
    shop.measured(TRIAL, MAIN, "after", every, Path("after.xlsx"))
    shop.laboratory(TRIAL, MAIN, every, Path("lab.csv"))
    step("wearbook intake chain-trial R05.xlsx after.xlsx lab.csv")
    assert "R08" in step("wearbook status chain-trial")
    step('wearbook note chain-trial R08 --verdict invalid --reason "hose burst" --role "test engineer"')
    assert "R08" in step("wearbook amend chain-trial --options")
    told = ("chain-trial", "--lost", "replace", "--run", "R08", "--reason", "hose burst", "--role", "test engineer")
    step("wearbook amend", *told)
    assert [line["run_id"] for line in shop.planned(TRIAL, MAIN)] == [*names, "R09"]
    # The run that takes its place, and its dates.
    step("wearbook sheets chain-trial --phase main", own=True)
    whole = [*every, *sent_back(MAIN, ["R09"])]
    for state in ("before", "after"):
        shop.measured(TRIAL, MAIN, state, whole, Path(f"{state}-9.xlsx"))
    shop.laboratory(TRIAL, MAIN, whole, Path("lab-9.csv"))
    step("wearbook intake chain-trial R09.xlsx before-9.xlsx after-9.xlsx lab-9.csv", own=True)
    step("wearbook book chain-trial", own=True)

    # 6. and 7. Analyse and report, every run accounted for.
    assert "8 of 9 runs valid" in step("wearbook analyse chain-trial")
    step("wearbook next chain-trial")
    with undrawn():
        page = Path(step("wearbook report chain-trial").strip())
    assert "hose burst" in page.read_text(encoding="utf-8")
    step("wearbook verify chain-trial")

    # In CI, from an old table, and what a word means.
    shutil.copytree(TRIAL, Path("campaigns") / TRIAL)
    assert "nothing moved" in step("wearbook rerun campaigns/*")
    shutil.copy(DATA / "legacy-chain" / "old-runs.csv", "old.csv")
    step("wearbook new old-trial --from-table old.csv")
    assert step("wearbook explain plan.builds").startswith("[plan] builds\n")

    assert sorted(step.run) == sorted(step.told)
    # What stands before the steps and behind them is said of any time; the steps follow each other.
    numbered = [line for line in commands(re.split(r"^\*\*In CI", text, flags=re.M)[0]) if line in step.run]
    numbered = numbered[numbered.index("wearbook new chain-trial") :]
    assert [line for line in step.run if line in numbered] == numbered


ANSWERS = (
    "INVENTED: which of two coatings and two oils wears the pins least, with fresh and with aged soot?",
    *("coating", "part", "C0 = as it is, C1 = nitrided"),
    *("oil", "fill", "O0 = as it is, O1 = new"),
    *("soot", "fill", "S0 = fresh, S1 = aged"),
    "",  # no more factors
    *("wear_um", "5", "20"),
)


def typed_in(run: dict[str, str], part: str, to: Path) -> Path:
    """The sheet of a run of the pins with what a person types into it."""
    book = openpyxl.load_workbook(PINS / "runsheets" / PILOT / f"{run['run_id']}.xlsx")
    sheet = book.active
    values = {
        "actual_order": int(run["planned_order"]),
        **{name: run[name] for name in ("build_id", "coating", "oil", "soot")},
        **{"part_id": part, "serial": f"S-{part}", "oil_drum": "D1"},
        **{"oil_temp_degC": 100.2, "downtime_h": 1.0, "run_time_h": 100.1},
        **{"started_at": "2026-03-09 08:00", "stopped_at": "2026-03-13 12:10"},
        **{"verdict": "valid", "role": "test engineer"},
    }
    for row in range(4, sheet.max_row + 1):
        asked = sheet.cell(row, 2).value
        if asked in values:
            sheet.cell(row, 3).value = values.pop(asked)
    assert values == {}
    book.save(to)
    return to


def read_off(state: str, to: Path) -> Path:
    """Metrology's table of the pins: 40 µm before, more after, by part, station and reading."""
    book = openpyxl.load_workbook(PINS / "runsheets" / PILOT / "blind" / f"measure-{state}.xlsx")
    (sheet,) = book
    for row in range(2, sheet.max_row + 1):
        part, station, reading = (str(sheet.cell(row, column).value) for column in (1, 2, 3))
        draw = random.Random(f"{part} {station} {reading}")
        worn = 9.0 * math.exp(random.Random(part).gauss(0.0, 0.12)) if state == "after" else 0.0
        sheet.cell(row, 5).value = round(40.0 + worn + draw.gauss(0.0, 0.1), 2)
    book.save(to)
    return to


def test_from_nothing_to_a_sized_plan(walk, monkeypatch):
    step = walk(section("DEVELOPERS.md", "From nothing to a sized plan"))
    typed = iter(ANSWERS)
    with monkeypatch.context() as terminal:
        for stream in (sys.stdin, sys.stderr):
            terminal.setattr(stream, "isatty", lambda: True)
        terminal.setattr("builtins.input", lambda *_: next(typed))
        step("wearbook new pins")
    assert list(typed) == []
    step("wearbook check pins")
    step("wearbook plan pins --phase pilot")
    step("wearbook sheets pins --phase pilot")
    parts = {line["run_id"]: line["part_id"] for line in shop.parts(PINS, PILOT)}
    for run in shop.planned(PINS, PILOT):
        typed_in(run, parts[run["run_id"]], Path(f"{run['run_id']}.xlsx"))
    for state in ("before", "after"):
        read_off(state, Path(f"{state}.xlsx"))
    step("wearbook intake pins before.xlsx P02.xlsx P03.xlsx P04.xlsx", own=True)
    step("wearbook intake pins P01.xlsx after.xlsx")
    assert "\nRecommended: full factorial, " in step("wearbook size pins")
    # The lines to paste, in the place of those of the same name.
    lines = (PINS / "derived" / "chosen-plan.toml").read_text(encoding="utf-8")
    (builds,) = re.findall(r"^builds = \d+$", lines, re.M)
    brief = (PINS / "campaign.toml").read_text(encoding="utf-8")
    section_of = brief.index("[plan]\n")
    (PINS / "campaign.toml").write_text(
        brief[:section_of] + brief[section_of:].replace("builds = 0", builds, 1), encoding="utf-8"
    )
    step("wearbook plan pins --phase main")
    assert len(shop.planned(PINS, MAIN)) == 8 * int(builds.rpartition(" ")[2])
    assert step.run == step.told


def test_what_is_a_command_of_a_text():
    text = (
        "Say `wearbook` or `wearbook new\nx`, `--json`:\n```sh\n.venv/bin/wearbook rerun a/*\n```\nand `wearbooks x`."
    )
    assert commands(text) == ["wearbook new x", "wearbook rerun a/*"]
