"""Spoiled files that come back from test cell, metrology, laboratory, and old tables: refused in words, or read.

As test_malformed.py, with the same options. What the cells of a spoiled workbook are taken for is compared there with
a second reader; here they go through recognising, mappings, units and the checks against plan and registers.
"""

from __future__ import annotations

import functools
import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest

from tests.robust import spoiling, spoiling_books
from tests.robust.test_malformed import SECONDS, Hung, at_most
from tests.unit.intake import came_back
from toolkit.campaign import old_columns, old_draft, old_table
from toolkit.errors import WearbookError
from toolkit.intake.received import ReceivedFile, identify

OLD = """\
No;Pin;Oil;Wear (um);Torque [Nm];Remark
1;bare;current;80,5;120,1;
2;DLC;current;61,2;119,8;hot day
3;bare;new;75,25;121;
4;DLC;new;58,0;120,4;"said ""fine"" twice"
"""
HEADLINES = re.compile(
    r"The (records are not in order; nothing was read|file was not taken in|old table cannot be read)\.( .*)?"
    r"|  \.\.\. and \d+ more\.|The old table .*\."
)


@dataclass(frozen=True)
class Returned:
    """A kind of file: its name, how it comes back whole, how it is spoiled, and how it is read."""

    name: str
    content: Callable[[], bytes]
    ways: dict[str, spoiling.Way]
    read: Callable[[str, bytes], Any]


def taken_in(name: str, content: bytes, as_name: str = "") -> Any:
    """What the records hold with this file alone, but for the checksum of its bytes."""
    kind, mapping = identify(name, content, came_back.issued().brief, as_name)
    found = came_back.read([ReceivedFile(name, content, kind, mapping)]).to_json()
    return {key: item for key, item in found.items() if key != "inputs"}


def drafted(name: str, content: bytes) -> str:
    """The brief that is drafted from an old table."""
    found = old_columns.recognise(old_table.of_bytes(name, content))
    return old_draft.draft(found, campaign_id="old", received="raw/received/old")


def laboratory() -> bytes:
    """A laboratory's table with headings of its own and decimal commas."""
    samples = [came_back.issued().sample(f"R0{number}", at) for number in (1, 2, 3) for at in ("0", "100")]
    lines = [f'{sample};{number},5;"Bem, {number}"' for number, sample in enumerate(samples, start=2)]
    return "\n".join(["Probe;Eisen;Bemerkung", *lines, ""]).encode()


def bench() -> bytes:
    """A table of runs with headings and words of its own."""
    runs = [came_back.issued().row(f"R0{number}") for number in (1, 2, 3, 4)]
    word = {"P0": "bare", "P1": "DLC"}
    rows = [[run["run_id"], word[run["pin"]], 120.5 + at, f"2026-03-0{at} 08:00"] for at, run in enumerate(runs, 1)]
    return came_back.table([["Run", "Pin", "Torque", "Start"], *rows])


def old_book() -> bytes:
    """The old table as a workbook."""
    head, *rows = [line.split(";") for line in OLD.split("\n")[:-2]]
    plain = [[cell.replace(",", ".") for cell in row] for row in rows]
    return came_back.table(
        [head, *([float(cell) if cell[:1].isdigit() else cell or None for cell in row] for row in plain)]
    )


TEXT = {name: way for name, way in spoiling.TABLE.items() if name != "comma"}
BOOK = spoiling_books.WAYS
KINDS = {
    "run sheet": Returned("R01.xlsx", lambda: came_back.sheet("R01").content, BOOK, taken_in),
    "readings": Returned("measure-after.xlsx", lambda: came_back.measured("measure-after.xlsx"), BOOK, taken_in),
    "laboratory": Returned("lab.csv", laboratory, TEXT, functools.partial(taken_in, as_name="lab")),
    "bench": Returned("bench.xlsx", bench, BOOK, functools.partial(taken_in, as_name="bench")),
    "old table as text": Returned("old.csv", OLD.encode, TEXT, drafted),
    "old table as workbook": Returned("old.xlsx", old_book, BOOK, drafted),
}  # fmt: skip


@functools.cache
def whole(kind: str) -> Any:
    """What the clean file comes to."""
    return KINDS[kind].read(KINDS[kind].name, KINDS[kind].content())


def speaks(message: str, name: str) -> bool:
    """Whether every line of a refusal names the file and says what was expected, in printable characters."""
    told = [line for line in message.split("\n") if not HEADLINES.fullmatch(line)]
    return bool(told) and all(
        line.strip().startswith(name) and "; expected " in line and line.isprintable() for line in told
    )


def wrong_with(kind: str, content: bytes, harmless: bool) -> str:
    """What is wrong with how a spoiled file is read; empty when nothing is."""
    returned = KINDS[kind]
    try:
        with at_most(SECONDS):
            found = returned.read(returned.name, content)
    except WearbookError as problem:
        if harmless:
            return f"refused though nothing is wrong: {problem}"
        return "" if speaks(str(problem), returned.name) else f"does not say file, place, what was expected: {problem}"
    except Hung:
        return "took too long"
    except Exception as problem:
        return f"{type(problem).__name__}: {problem}"
    return "another result though nothing is changed" if harmless and found != whole(kind) else ""


@pytest.mark.parametrize("kind", KINDS)
def test_a_spoiled_file_is_refused_in_words_or_read(tmp_path, numbers, kind):
    returned, (count, seed) = KINDS[kind], numbers
    good = returned.content()
    assert whole(kind)
    failed, ends = [], Counter()
    for number in range(count):
        way, draw = spoiling.drawn(returned.ways, number, seed, kind)
        content = returned.ways[way](draw, good)
        wrong = wrong_with(kind, content, way in spoiling.HARMLESS)
        ends[way] += 1
        if wrong:
            kept = tmp_path / f"failed-{number}-{returned.name}"
            kept.write_bytes(content)
            failed.append(f"{way}, number {number}: {wrong} [{kept}]")
    print(f"seed {seed}, {kind}: {count} inputs, {dict(ends)}")
    assert not failed, "\n".join(failed)
