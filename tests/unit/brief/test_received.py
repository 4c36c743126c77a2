"""[[received]] in campaign.toml: every fault with its line; no seal covers it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from toolkit.brief import reading
from toolkit.brief.checks import check
from toolkit.brief.received_table import ReceivedTable
from toolkit.campaign import seal
from toolkit.errors import BriefError

EXAMPLE = (Path(__file__).parent / "example.toml").read_text(encoding="utf-8")
LINES = EXAMPLE.rstrip("\n").count("\n") + 1
GOOD = """\
[[received]]
name = "room"
table = "stations"
files = "cmm-*.xlsx"
sheet = "Results"
columns = { part_id = "Part", station_id = "Pos", reading = "Rep", elongation_pct = "Stretch" }
measured_in = { elongation_pct = "mm/m" }
always = { state = "before" }
decimal = "comma"
"""
BENCH = """\
[[received]]
name = "bench"
table = "runs"
columns = { run_id = "Run", pin = "Pin" }
levels = { pin = { P0 = "bare", P1 = "DLC" } }
"""


def parsed(text):
    """The example with these tables at its end."""
    return reading.parse(f"{EXAMPLE.rstrip()}\n{text}")


def told(text):
    """The faults, each as (line of the text, rest)."""
    with pytest.raises(BriefError) as caught:
        parsed(text)
    made = []
    for fault in str(caught.value).split("\n")[1:]:
        start, _, rest = fault.strip().removeprefix("campaign.toml line ").partition(": ")
        made.append((int(start) - LINES, rest))
    return made


def test_tables_are_read_as_written():
    room, bench = parsed(GOOD + BENCH).received
    assert room == ReceivedTable(
        "room",
        "stations",
        {"part_id": "Part", "station_id": "Pos", "reading": "Rep", "elongation_pct": "Stretch"},
        "cmm-*.xlsx",
        "Results",
        {"elongation_pct": "mm/m"},
        {"state": "before"},
        {},
        "comma",
    )
    assert (bench.levels, bench.sheet, bench.decimal) == ({"pin": {"P0": "bare", "P1": "DLC"}}, None, "")
    assert parsed("").received == ()


def test_the_plain_form_gives_the_same_brief_back():
    brief = parsed(GOOD + BENCH)
    assert [table["name"] for table in reading.canonical(brief)["received"]] == ["room", "bench"]
    assert check(brief) == []


@pytest.mark.parametrize("phase", ["pilot", "main"])
def test_no_seal_covers_them(phase):
    with_tables, without = parsed(GOOD), parsed("")
    assert seal.covered(with_tables, phase) == seal.covered(without, phase)
    assert "received" not in seal.covered(with_tables, phase)


CASES = [
    ('name = "room"', 'name = ""', 2, "received 1, name: empty text; expected text of 1 to 60 characters on one line."),
    ('"stations"', '"station"', 3, "received 'room', table: 'station'; expected 'runs', 'stations' or 'oil'. Did you "
     "mean 'stations'?"),
    ('"cmm-*.xlsx"', '"raw/cmm-*.xlsx"', 4, "received 'room', files: 'raw/cmm-*.xlsx'; expected a pattern of file "
     "names, without folders."),
    ('"comma"', '"dot"', 9, "received 'room', decimal: 'dot'; expected 'comma' or 'point'."),
    ("part_id =", "part =", 6, "received 'room', columns.part: unknown column 'part'; expected run_id, part_id, "
     "station_id, reading, state, elongation_pct, note. Did you mean 'part_id'?"),
    ('station_id = "Pos", ', "", 6, "received 'room', columns: no station_id; expected the column 'station_id' of "
     "stations. Name their heading in columns, or say in always what it is throughout."),
    ('always = { state = "before" }', "", 6, "received 'room', columns: no state; expected the column 'state' of "
     "stations. Name their heading in columns, or say in always what it is throughout."),
    ('"Pos"', '"part"', 6, "received 'room', columns.station_id: the heading 'part' is also that of part_id; expected "
     "each heading once."),
    ('{ state = "before" }', '{ state = "before", reading = "1" }', 8, "received 'room', always.reading: 'reading' "
     "also stands in columns; expected a column once. Delete one of them."),
    ('"mm/m"', '"kg"', 7, "received 'room', measured_in.elongation_pct: 'kg'; expected a unit that converts to %. It "
     "does not measure the same as %."),
    ('{ elongation_pct = "mm/m" }', '{ state = "mm" }', 7, "received 'room', measured_in.state: 'state' is not among "
     "columns; expected a column that is read."),
    ('{ elongation_pct = "mm/m" }', '{ reading = "mm" }', 7, "received 'room', measured_in.reading: 'reading' is "
     "measured in nothing; expected a column whose name ends in its unit."),
    ('"Pos"', "7", 6, "received 'room', columns.station_id: the number 7; expected text in quotes. Write \"7\"."),
    ("files =", "file =", 4, "received 'room', file: unknown key; expected 'name', 'table', 'columns', 'files', "
     "'sheet', 'measured_in', 'always', 'levels' or 'decimal'. Did you mean 'files'?"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "line", "expected"), CASES, ids=[case[3][:60] for case in CASES])
def test_one_fault_is_told_with_its_line(old, new, line, expected):
    assert GOOD.count(old) == 1
    found = told(GOOD.replace(old, new))
    assert (line, expected) in found
    # An unknown column takes the one that is needed with it.
    assert len(found) == 1 or (len(found) == 2 and "no part_id" in found[1][1])


BENCH_CASES = [
    ("pin = {", "pim = {", 5, "received 'bench', levels.pim: there is no factor 'pim'; expected 'pin' or 'oil'. Did "
     "you mean 'pin'?"),
    ("P1 =", "P2 =", 5, "received 'bench', levels.pin: factor 'pin' has no level 'P2'; expected 'P0' or 'P1'."),
    ('"DLC"', '"Bare"', 5, "received 'bench', levels.pin: the word 'bare' for two levels; expected a word of its own "
     "for each level."),
    (', pin = "Pin"', "", 5, "received 'bench', levels.pin: words for 'pin', which is not among columns; expected a "
     "column that is read."),
    ('run_id = "Run", ', "", 4, "received 'bench', columns: no run_id; expected the column 'run_id' of runs. Name "
     "their heading in columns, or say in always what it is throughout."),
    ('name = "bench"', 'name = "bench"\n[[received]]\nname = "Bench"\ntable = "oil"\ncolumns = { sample_id = "x" }\n',
     4, "received 'Bench', name: received table 'Bench' and 'bench' differ only in how they are written; expected each "
     "received table once. Rename or delete one of them."),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "line", "expected"), BENCH_CASES, ids=[case[3][:60] for case in BENCH_CASES])
def test_words_and_keys_of_tables_of_runs(old, new, line, expected):
    assert (line, expected) in told(BENCH.replace(old, new))


def test_single_brackets_are_told():
    assert told(GOOD.replace("[[received]]", "[received]")) == [
        (1, "[[received]]: [received] in single brackets; expected [[received]]. Write [[received]] in double "
         "brackets, once for each received."),
    ]  # fmt: skip


def test_old_tables_may_name_no_runs():
    old = BENCH.replace('run_id = "Run", ', "") + '[old_data]\norder = "unknown"\nrepeats = "runs"\n'
    assert parsed(old).received[0].columns == {"pin": "Pin"}


def test_a_brief_made_in_python_passes_the_same_checks():
    brief = parsed("")
    wrong = replace(brief, received=(ReceivedTable("x", "oil", {"fe_ppm": "Fe"}, measured_in={"fe_ppm": "mg/L"}),))
    assert [str(fault) for fault in check(wrong)] == [
        "received 'x', columns: no sample_id; expected the column 'sample_id' of oil. Name their heading in columns, "
        "or say in always what it is throughout.",
        "received 'x', measured_in.fe_ppm: 'mg/L'; expected a unit that converts to mg/kg. It does not measure the "
        "same as mg/kg.",
    ]
