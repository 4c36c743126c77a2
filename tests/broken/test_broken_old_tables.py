"""Old tables that cannot be used: one whole message, every fault in it, and nothing written."""

from __future__ import annotations

import random

import pytest

from tests.broken import old_tables
from toolkit.brief import reading
from toolkit.campaign import old_columns, old_draft, old_table, start
from toolkit.cli import main
from toolkit.errors import BriefError, IntakeError
from toolkit.intake import records
from toolkit.intake.received import ReceivedFile
from toolkit.shipped import folder as shipped

LEGACY = shipped("data") / "legacy-chain" / "old-runs.csv"


def test_the_good_table_is_in_order():
    found = old_columns.recognise(old_table.of_bytes("old.csv", old_tables.GOOD.encode()))
    assert [item.name for item in found.treatments] == ["pin", "oil"]
    assert [item.name for item in found.responses] == ["wear_um", "fe_ppm"]


def test_there_are_enough_and_no_name_twice():
    assert len({way.name for way in old_tables.EVERY}) == len(old_tables.EVERY) >= 20


@pytest.mark.parametrize("way", old_tables.EVERY, ids=lambda way: way.name)
def test_a_broken_old_table_gives_one_whole_message_and_writes_nothing(tmp_path, way):
    path = tmp_path / way.file
    path.write_bytes(way.content)
    with pytest.raises(IntakeError) as caught:
        start.new(tmp_path / "campaign", table=path)
    assert str(caught.value).split("\n") == [old_table.HEADLINE, *(f"  {line}" for line in way.messages)]
    assert caught.value.exit_code == 1
    assert sorted(item.name for item in tmp_path.iterdir()) == [way.file]
    assert path.read_bytes() == way.content


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("gone.csv", "there is no such file; expected the old table. Look at the path."),
        ("", "is a folder; expected a table as CSV or xlsx. Name the file in it."),
        ("a\0b", "cannot be read (embedded null byte); expected the old table. Look at its name and permissions."),
        (
            "x" * 300,
            "cannot be read (File name too long); expected the old table. Look at its name and permissions.",
        ),
    ],
)
def test_a_file_that_cannot_be_had(tmp_path, name, told):
    path = tmp_path / name
    with pytest.raises(IntakeError) as caught:
        start.new(tmp_path / "campaign", table=path)
    assert str(caught.value) == f"{path}: {told}"
    assert list(tmp_path.iterdir()) == []


def test_the_command_tells_it_and_leaves_with_exit_code_1(tmp_path, capsys):
    path = tmp_path / "old.csv"
    path.write_bytes(old_tables.EVERY[1].content)
    assert main(["new", str(tmp_path / "campaign"), "--from-table", str(path)]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == (
        "wearbook new: The old table is not in order; nothing was written.\n"
        "  old.csv: a line of headings and no other; expected a line for each run below the headings.\n"
        'More: wearbook explain new; the guide: 01-the-bundled-campaign, section "The question"\n'
    )


def spoiled(number):
    """The bundled table with a few of its bytes turned, put in, left out or moved, by the number."""
    draw = random.Random(9000 + number)
    made = bytearray(LEGACY.read_bytes())
    for _ in range(draw.randint(1, 6)):
        at, way = draw.randrange(len(made)), draw.randrange(4)
        if way == 0:
            made[at] ^= 1 << draw.randrange(8)
        elif way == 1:
            made[at:at] = draw.choice([b";", b",", b'"', b"\n", b"\xb5", b"=", b"<", b"?", b"\t", b"\\", b"]", b"-"])
        elif way == 2:
            del made[at : at + draw.randint(1, 12)]
        else:
            made[at:at] = made[:at][-draw.randint(1, 40) :]
    return bytes(made)


@pytest.mark.parametrize("number", range(100))
def test_a_spoiled_table_is_refused_or_drafted_and_never_breaks(number):
    import tomllib

    try:
        found = old_columns.recognise(old_table.of_bytes("old.csv", spoiled(number)))
    except IntakeError as refusal:
        assert str(refusal).split("\n")[0] == old_table.HEADLINE and "\n  old.csv" in str(refusal)
        return
    text = old_draft.draft(found, campaign_id="x", received="raw/received/x.csv")
    assert tomllib.loads(text)["received"][0]["name"] == "old table"
    with pytest.raises(BriefError) as caught:
        reading.parse(text)
    # Nothing but questions: what was recognised is in order.
    assert [line for line in str(caught.value).split("\n")[1:] if "not answered yet" not in line] == []


HEADINGS = (
    *("Pin", "Oil", "Öl", "2nd", "run", "Build", "centre", "C", "I", "role", "Load (Nm)", "load", "Temp degC", "wear"),
    *("Wear (um)", "Verschleiß [µm]", "Fe ppm", "loss in mg", "Scar / mm", "Elongation %", "hours", "Duration min"),
    *("Date", "Order", "No", "Remark", "Status", "note", "Soot %", "x" * 45, "wear um", "Wear (µm)", "Wear, um"),
)
WORDS = ("bare", "DLC, 2 µm", "#1", "NA", "centre", "0W-20", "yes/no", "x" * 30, "-", "A", "B", "'q'", "{z}", "1", "2")
ANSWERED = {
    'question = "?"': 'question = "Which?"',
    'new_each_run = "?"': 'new_each_run = ["part", "fill"]',
    'undo = "?"': 'undo = "part"',
    'better = "?"': 'better = "smaller"',
    'scale = "?"': 'scale = "linear"',
    'worthwhile_change_pct = "?"': "worthwhile_change = 1",
    'worthwhile_change = "?"': "worthwhile_change = 1",
    'order = "?"': 'order = "unknown"',
    'repeats = "?"': 'repeats = "readings"',
    'verdict = "?"': 'verdict = "valid"',
    'by = "?"': 'by = "build"',
    'decimal = "?"': 'decimal = "comma"',
    '_?"': '_um"',
}


def made_up(number):
    """A table of made-up columns under odd headings."""
    draw = random.Random(number)
    height, headings = draw.randint(2, 12), draw.sample(HEADINGS, draw.randint(2, 8))
    columns = []
    for _ in headings:
        kind = draw.random()
        if kind < 0.5:
            chosen = draw.sample(WORDS, draw.randint(1, 4))
            columns.append([draw.choice(chosen) for _ in range(height)])
        elif kind < 0.9:
            mark, places = draw.choice(".,"), draw.randint(0, 3)
            columns.append([f"{draw.uniform(1, 20):.{places}f}".replace(".", mark) for _ in range(height)])
        else:
            columns.append([f"2021-{at + 1:02d}-03" for at in range(height)])
    rows = [headings, *zip(*columns, strict=True)]
    return "\n".join(";".join(f'"{cell}"' for cell in row) for row in rows), height


def test_an_answered_draft_is_in_order_and_reads_its_table(tmp_path):
    outcomes = {"refused": 0, "read": 0}
    for number in range(250):
        text, height = made_up(number)
        try:
            found = old_columns.recognise(old_table.of_bytes("o.csv", text.encode()))
        except IntakeError:
            outcomes["refused"] += 1
            continue
        draft = old_draft.draft(found, campaign_id="x", received="raw/received/o.csv")
        draft = draft.replace('role = "?"', 'role = "primary"', 1).replace('role = "?"', 'role = "secondary"')
        for asked, told in ANSWERED.items():
            draft = draft.replace(asked, told)
        brief = reading.parse(draft)
        runs = records.read(tmp_path, brief, received=[ReceivedFile("o.csv", text.encode(), "runs", "old table")]).runs
        assert 1 <= len(runs) <= height, number
        outcomes["read"] += 1
    assert outcomes["read"] >= 50, outcomes


def test_a_wide_table_of_odd_words_makes_a_draft_that_can_be_read():
    """Every heading and word a person can type is escaped: the draft is TOML whatever stands in the table."""
    import tomllib

    odd = ['"', "\\", "'", "]]", "{a=1}", "# no", "=1+1", "é∑😀", "a\tb", "\\u0000", "\"\"\"", "[x]", "${y}", "<b>"]
    for one in odd:
        for other in odd:
            cell = other.replace('"', '""')
            heading = one.replace('"', '""')
            content = f'Run,"{heading} x","Wear (um)"\nT1,"{cell} p",12\nT2,"{cell} q",13\nT3,"{cell} p",14\n'
            try:
                table = old_table.of_bytes("o[d]*.csv", content.encode())
            except IntakeError as refusal:
                assert "\t" in one and "all of which print" in str(refusal)
                continue
            try:
                found = old_columns.recognise(table)
            except IntakeError as refusal:
                assert "\t" in other and "a word on one line" in str(refusal)
                continue
            made = tomllib.loads(old_draft.draft(found, campaign_id="x", received="raw/received/x.csv"))
            assert made["received"][0]["files"] == "o[[]d][*].csv"
            words = made["received"][0].get("levels", {})
            (factor,) = made["factor"]
            told = {words.get(factor["name"], {}).get(level, level) for level in factor["levels"]}
            # A leading quote before a sign is what keeps a spreadsheet from running the cell.
            assert told == {f"{other} p".strip(), f"{other} q".strip()}
