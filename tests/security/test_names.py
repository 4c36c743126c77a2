"""Text that is code to somebody, at every place where people write: nothing of it is ever run.

As the name of a factor or a level most of it is refused (tests/unit/brief/test_hostile_names.py). Here it goes further
in all the same: into a brief built in Python, its fit, report, plan and sheets; and into a folder, wherever the brief
and the tables take free text, through every verb and a notebook. What would be run makes a file, the canary.
"""

from __future__ import annotations

import csv
import dataclasses
import functools
import io
import json
import shutil
from pathlib import Path

import pytest

from tests.unit.brief.test_hostile_names import PAYLOADS
from tests.unit.report import example
from tests.unit.running import material
from toolkit import sheetfile, shipped
from toolkit.brief.model import Comparison, Cost, Factor, Family, Level
from toolkit.campaign import sizing
from toolkit.cli import main
from toolkit.running import printed, workbook

SHORT = [text for text in PAYLOADS if text.isprintable()]


@pytest.fixture
def empty(tmp_path, monkeypatch) -> Path:
    """The working folder, in which nothing may appear."""
    monkeypatch.chdir(tmp_path)
    yield tmp_path
    assert not (tmp_path / "canary").exists(), "something was run"


def armed(text: str) -> str:
    """A payload with its canary in the working folder, short enough for a name."""
    return text.replace("CANARY", "canary")


def hostile(base, text: str, other: str, levels: tuple[str, ...] = ()):
    """A brief in which factors, levels (unless they are given), labels, comparisons and families are code."""
    names = levels or (f"{other} 0", f"{text} 1", f"{text} 2", f"{other} 3")
    pin = Factor(text, "part", (Level(names[0], text), Level(names[1], other)))
    oil = Factor(other, "fill", (Level(names[2], other), Level(names[3], text)))
    asked = (
        Comparison(text, of={pin.name: pin.names[1]}, against={pin.name: pin.names[0]}, family=other),
        Comparison(other, of={oil.name: oil.names[1]}, against={oil.name: oil.names[0]}, family=other),
        Comparison(f"{text} 3", interaction=(pin.name, oil.name)),
    )
    return dataclasses.replace(
        base,
        question=text,
        factors=(pin, oil),
        comparisons=asked,
        families=(Family(other),),
        responses=base.responses[:1],
        pilot=None,
        cost=Cost(),
    )


def analysed(text: str, other: str):
    """The runs of that brief analysed, with code in the reason and role of a run too."""
    return example.analysed(hostile(example.brief(), text, other), R05_reason=text, R05_role=other)


@functools.cache
def estimates() -> list[float]:
    """What the comparisons come to where all names are harmless."""
    return list(analysed("a", "b").responses["wear_um"].comparisons["estimate"])


@pytest.mark.parametrize("at", range(0, len(PAYLOADS), 2))
def test_names_that_are_code_are_fitted_and_put_on_sheets_as_text(empty, at):
    text, other = armed(PAYLOADS[at]), armed(PAYLOADS[at + 1])
    found = analysed(text, other)
    assert list(found.responses["wear_um"].comparisons["estimate"]) == estimates()
    # A list of choices takes no comma and no quote, and a brief no level that has one.
    _, _, sheets = material.issued(hostile(material.chain(), text, other, ("P0", "P1", "O0", "O1")))
    (book,) = sheetfile.read(workbook.workbook(sheets[0], at=material.AT), where="x.xlsx")
    assert {cell.kind for cell in book.cells} <= {"text", "number"}
    assert any(text in str(cell.value) for cell in book.cells)
    assert "<script" not in printed.printed(sheets[:1])


def put(folder: Path, draw) -> None:
    """Payloads wherever the brief and the tables of a folder take free text, each drawn in its turn."""
    brief = folder / "campaign.toml"
    text = brief.read_text(encoding="utf-8")
    for old in (
        '"ground steel"', '"nitride-coated"', '"current"', '"new additive system, same grade"', '"coating"',
        '"new oil"', '"both together"', '"may we switch"', '"chain swap"', '"test cell"',
    ):  # fmt: skip
        text = text.replace(old, json.dumps(draw(), ensure_ascii=False))
    lines = text.split("\n")
    at = next(number for number, line in enumerate(lines) if line.startswith("question"))
    lines[at] = f"question = {json.dumps(draw(), ensure_ascii=False)}"
    brief.write_text("\n".join(lines), encoding="utf-8")
    for name, columns in {
        "runs": ("build_id", "reason", "role"),
        "stations": ("part_id",),
        "oil": ("sample_id",),
    }.items():
        path = folder / "raw" / f"{name}.csv"
        rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"))))
        told: dict[str, str] = {}
        for row in rows[1:]:
            for column in columns:
                cell = rows[0].index(column)
                if row[cell]:
                    row[cell] = told.setdefault(f"{column} {row[cell]}", f"{draw()} {len(told)}")[-100:]
        out = io.StringIO()
        csv.writer(out, lineterminator="\n").writerows(rows)
        path.write_text(out.getvalue(), encoding="utf-8")


def test_a_folder_full_of_code_goes_through_every_verb_and_a_notebook(empty, capsys, monkeypatch):
    # Sizing takes long and prints what the report prints too.
    monkeypatch.setattr(sizing, "claims_of", lambda *_, **__: None)
    taken = []

    def draw() -> str:
        """The next payload."""
        taken.append(armed(SHORT[len(taken) % len(SHORT)]))
        return taken[-1]

    folder = empty / "c'); __import__('os').system('touch canary'); ('$(touch canary)`touch canary`"
    shutil.copytree(shipped.folder("data") / "chain-soot", folder)
    put(folder, draw)
    assert len(set(taken)) == len(SHORT) >= 25
    # A file that came back, and a note: its name, the reason, the role and the serial are code.
    came = empty / "$(touch canary)`touch canary`; touch canary; '){{ 7*7 }}.csv"
    shutil.move(folder / "raw" / "oil.csv", came)
    verbs = [
        ("check",), ("plan", "--phase", "pilot"), ("plan", "--phase", "main"), ("sheets", "--phase", "pilot"),
        ("intake", f"./{came.name}"),
        ("note", "P01", "--column", "serial", "--value", SHORT[3], "--reason", SHORT[0], "--role", SHORT[10]),
        ("status",), ("report",), ("verify",), ("plan", "--phase", "main", "--notebook"),
    ]  # fmt: skip
    for verb, *more in verbs:
        code = main([verb, f"./{folder.name}", *more])
        assert (code, verb) == (0, verb), capsys.readouterr().err
    assert sorted(empty.iterdir()) == sorted([folder, came])
    assert [path for path in folder.rglob("*") if path.name == "canary"] == []
    assert "<script" not in (folder / "report" / "chain-soot.html").read_text(encoding="utf-8")
