"""Old tables that cannot be used: one whole message, every fault in it, and nothing written."""

from __future__ import annotations

import pytest

from tests.broken import old_tables
from toolkit.campaign import old_columns, old_draft, old_table, start
from toolkit.cli import main
from toolkit.errors import IntakeError


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
    )


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
