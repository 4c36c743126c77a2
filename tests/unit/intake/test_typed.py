"""Cells of received files: what can be read in one way is read, what can be read in two is refused with both."""

from __future__ import annotations

from datetime import date, datetime, time

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from toolkit.intake import typed
from toolkit.intake.cells import Problem
from toolkit.intake.typed import Column, Typed
from toolkit.sheetfile import Found

WEAR = Column("wear_um", "number")
ONE_WAY = "a number that can be read in one way only"
NO_MARKS = "a number without marks or blanks between its digits"


def cell(kind, value, computed=""):
    return Found("C7", 7, 3, kind, value, computed)


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("92,5", "92.5"),
        (" 92.5 ", "92.5"),
        ("0,125", "0.125"),
        ("1234,567", "1234.567"),
        (",5", "0.5"),
        (".5", ".5"),
        ("-0,3", "-0.3"),
        ("−0.3", "-0.3"),
        ("+1.5e-3", "+1.5e-3"),
        ("1.500", "1.500"),
        ("lost", "lost"),
        ("Not Measured", "lost"),
        ("", ""),
        ("  ", ""),
    ],
)
def test_what_can_be_read_in_one_way(text, number):
    assert typed.of_text(text, WEAR) == Typed(number)


@pytest.mark.parametrize(
    ("text", "one", "other", "what"),
    [
        ("1,500", "1500", "1.5", "comma"),
        ("12,345", "12345", "12.3450", "comma"),
        ("-1,500", "-1500", "-1.5", "comma"),
        ("1.500,2", "1500.2", "1.5002", "marks"),
        ("1,500.2", "1500.2", "1.5002", "marks"),
        ("1.234.567,8", "1234567.8", "1.2345678", "marks"),
    ],
)
def test_what_can_be_read_in_two_ways_is_refused_with_both(text, one, other, what):
    told = f"Its {what} can be read in two ways: write {one} or {other}, whichever is meant."
    assert typed.of_text(text, WEAR) == Problem("two ways", f"'{text}'", ONE_WAY, told)
    # What is proposed can be read in one way, also where the file has decimal commas.
    for proposed in (one, other):
        assert typed.of_text(proposed, Column("wear_um", "number", commas=True)) == Typed(proposed)


def test_a_point_can_be_read_in_two_ways_where_the_file_has_decimal_commas():
    told = "Its point can be read in two ways: write 1500 or 1.5, whichever is meant."
    assert typed.of_text("1.500", Column("wear_um", "number", commas=True)) == Problem(
        "two ways", "'1.500'", ONE_WAY, told
    )
    assert typed.decimal_comma("92,5") and typed.decimal_comma("< 0,5 mg/kg")
    assert not typed.decimal_comma("1,500") and not typed.decimal_comma("92.5") and not typed.decimal_comma("a,b")


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("1 500", "If they part thousands, write 1500."),
        ("1'500.5", "If they part thousands, write 1500.5."),
        ("1,234,567", "If they part thousands, write 1234567."),
        ("1 500,5", "If they part thousands, write 1500.5."),
        ("1.2.3", ""),
        ("5,", ""),
        ("1 00", ""),
    ],
)
def test_marks_between_digits_are_refused(text, remedy):
    assert typed.of_text(text, WEAR) == Problem("grouped", f"'{text}'", NO_MARKS, remedy)


@pytest.mark.parametrize(
    ("decimal", "text", "number"),
    [
        ("comma", "92,5", "92.5"),
        ("comma", "1.500", "1500"),
        ("comma", "1.500,2", "1500.2"),
        ("comma", "1 500,25", "1500.25"),
        ("comma", "1,500", "1.500"),
        ("comma", ",5", "0.5"),
        ("point", "92.5", "92.5"),
        ("point", "1,500", "1500"),
        ("point", "1,500.2", "1500.2"),
        ("point", "100", "100"),
    ],
)
def test_a_declared_decimal_mark_says_which_way(decimal, text, number):
    assert typed.of_text(text, Column("wear_um", "number", decimal=decimal)) == Typed(number)


@pytest.mark.parametrize(
    ("decimal", "text"), [("comma", "92.5"), ("comma", "1.50"), ("point", "92,5"), ("point", "1,5")]
)
def test_the_other_mark_is_refused_where_one_is_declared(decimal, text):
    expected = f"a number with a decimal {decimal}, as declared for this table"
    assert typed.of_text(text, Column("wear_um", "number", decimal=decimal)) == Problem(
        "decimal mark", f"'{text}'", expected
    )


@pytest.mark.parametrize(
    ("text", "column", "number", "unit"),
    [
        ("12.345 mm", "wear_um", "12345", "mm"),
        ("12,3mm", "wear_um", "12300", "mm"),
        ("3,0 %", "soot_pct", "3.0", ""),
        ("90 °C", "sump_temp_degC", "90", ""),
        ("212 °F", "sump_temp_degC", "100", "°F"),
        ("5 μm", "wear_um", "5", ""),
        ("1e2 µm", "wear_um", "1e2", ""),
    ],
)
def test_a_unit_in_the_cell_is_checked_and_converted(text, column, number, unit):
    assert typed.of_text(text, Column(column, "number")) == Typed(number, unit)


def test_the_unit_of_a_column_holds_for_cells_without_one():
    column = Column("wear_um", "number", unit="mm")
    assert typed.of_text("0,012", column) == Typed("12", "mm")
    assert typed.taken(cell("number", 0.012), column) == Typed("12", "mm")
    assert typed.of_text("12 µm", column) == Typed("12")
    assert typed.of_text("lost", column) == Typed("lost")
    assert typed.of_text("12", Column("wear_um", "number", unit="kg")) == Problem(
        "unit",
        "'12' in 'kg'",
        "a number in µm, or in a unit that converts to it",
        "It does not measure the same as µm.",
    )


@pytest.mark.parametrize(
    ("text", "taken"),
    [("<0.5", "<0.5"), ("< 0,5", "<0.5"), ("<0,5 mg/kg", "<0.5"), ("30", "30"), ("lost", "lost"), ("<500 ppb", "<0.5")],
)
def test_concentrations_may_lie_below_a_limit(text, taken):
    assert typed.of_text(text, Column("fe_ppm", "amount")).text == taken


def test_no_other_number_takes_a_limit():
    expected = "a number (µm), or 'lost'"
    remedy = "Leave the cell blank while it is not known yet."
    assert typed.of_text("<0.5", WEAR) == Problem("not a number", "'<0.5'", expected, remedy)
    expected = "a number (mg/kg), '<' and the limit, or 'lost'"
    assert typed.of_text(">5", Column("fe_ppm", "amount")) == Problem("not a number", "'>5'", expected, remedy)


@pytest.mark.parametrize("text", ["P1", "0 ", "centre", "hard, coated"])
def test_levels_that_are_words_pass(text):
    assert typed.of_text(text, Column("load_Nm", "text")) == Typed(text.strip())
    assert typed.of_text("centre", Column("load_Nm", "level")) == Typed("centre")
    assert typed.of_text("120,5 Nm", Column("load_Nm", "level")) == Typed("120.5")


@pytest.mark.parametrize(
    ("text", "when"),
    [
        ("2026-03-31 14:05", "2026-03-31 14:05"),
        ("2026-03-31T14:05:30", "2026-03-31 14:05:30"),
        ("2026-03-31 8:05", "2026-03-31 08:05"),
        ("2026-03-31", "2026-03-31"),
        ("lost", "lost"),
        # Read in one way only: there is no 31st month, and both ways of the last are one day.
        ("31.12.2026", "2026-12-31"),
        ("31.03.2026 14:05", "2026-03-31 14:05"),
        ("31. 3. 2026, 14h05", "2026-03-31 14:05"),
        ("2026/3/1", "2026-03-01"),
        ("3/31/2026 8:05", "2026-03-31 08:05"),
        ("04.04.2026", "2026-04-04"),
    ],
)
def test_dates_that_can_be_read_in_one_way_are_taken(text, when):
    assert typed.of_text(text, Column("started_at", "when")) == Typed(when)


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("03/04/2026", "Write 2026-04-03 or 2026-03-04, whichever is meant."),
        ("03.04.2026 8:00", "Write 2026-04-03 08:00 or 2026-03-04 08:00, whichever is meant."),
        ("13.04.2026 2:05 p.m.", "Write 2026-04-13 14:05."),
        ("13.04.2026 12:05 am", "Write 2026-04-13 00:05."),
        ("13.04.2026 2:05 h", "Write 2026-04-13 02:05."),
        # Two figures may be the year or the day.
        ("04.04.26", "Write 2026-04-04."),
        ("31.03.2026 14:05 h or so", "Write 2026-03-31 14:05."),
        ("yesterday", ""),
        ("1.2.3", ""),
        ("31.31.2026", ""),
        ("29.02.2026", ""),
    ],
)
def test_other_dates_are_refused_and_their_iso_forms_shown(text, remedy):
    expected = "date and time as 2026-03-31 14:05"
    assert typed.of_text(text, Column("started_at", "when")) == Problem("date", f"'{text}'", expected, remedy)


def test_an_hour_that_there_is_not_is_refused():
    expected = "date and time as 2026-03-31 14:05"
    for text in ("31.03.2026 25:00", "2026-03-31 25:00"):
        made = typed.of_text(text, Column("started_at", "when"))
        assert made == Problem("no such date", f"'{text}'", expected)


@pytest.mark.parametrize(
    ("texts", "first"),
    [
        (["03.04.2026", "31.03.2026"], True),
        (["03.04.2026", "04.04.2026"], False),
        (["03/04/2026", "3/31/2026"], False),
        # One column, two hands: neither way is that of all.
        (["31.03.2026", "03/31/2026", "03.04.2026"], False),
        (["2026-03-31", "", "lost"], False),
    ],
)
def test_the_other_dates_of_a_column_tell_whether_the_day_comes_first(texts, first):
    assert typed.day_first(texts) is first
    column = Column("started_at", "when", day_first=first)
    assert isinstance(typed.of_text("03.04.2026", column), Typed) is first
    if first:
        assert typed.of_text("03.04.2026", column) == Typed("2026-04-03")
        assert typed.of_text("3/31/2026", column) == Typed("2026-03-31")


def test_cells_of_other_kinds():
    start, note, code = Column("started_at", "when"), Column("reason", "free"), Column("part_id", "text")
    assert typed.taken(cell("date", datetime(2026, 3, 31, 14, 5)), start) == Typed("2026-03-31 14:05")
    assert typed.taken(cell("date", datetime(2026, 3, 31, 0, 0)), start) == Typed("2026-03-31")
    assert typed.taken(cell("date", date(2026, 3, 31)), start) == Typed("2026-03-31")
    assert typed.taken(cell("number", 92.5), WEAR) == Typed("92.5")
    assert typed.taken(cell("number", 0.1 + 0.2), WEAR) == Typed("0.30000000000000004")
    assert typed.taken(cell("number", 12.0), code) == Typed("12")
    assert typed.taken(cell("yes or no", True), note) == Typed("true")
    assert typed.taken(cell("per cent", 0.03), Column("soot_pct", "number")) == Typed("3")
    assert typed.taken(cell("formula", 92.5, "number"), WEAR) == Typed("92.5")
    assert typed.taken(cell("formula", "92,5", "text"), WEAR) == Typed("92.5")
    assert typed.taken(cell("number", 3), Column("reading", "whole")) == Typed("3")
    assert typed.taken(cell("number", 1.5), Column("reading", "whole")) == Typed("1.5")


@pytest.mark.parametrize(
    ("found", "column", "problem"),
    [
        (
            cell("formula", None),
            WEAR,
            Problem(
                "formula",
                "a formula without a stored value",
                "the value itself",
                "Open and save the file in a spreadsheet program, or type the value.",
            ),
        ),
        (
            cell("formula", "#REF!", "error"),
            WEAR,
            Problem("error value", "the error value '#REF!'", "a value", "Type the value, or clear it."),
        ),
        (
            cell("date", datetime(2026, 4, 3)),
            WEAR,
            Problem(
                "date",
                "the date 2026-04-03",
                "a number (µm), or 'lost'",
                "The spreadsheet took what was typed for a date: format the cell as a number and type it again.",
            ),
        ),
        (
            cell("date", time(1, 30)),
            Column("started_at", "when"),
            Problem("time of day", "the time 01:30:00", "date and time as 2026-03-31 14:05"),
        ),
        (cell("yes or no", False), WEAR, Problem("yes or no", "'FALSE'", "a number (µm), or 'lost'")),
        (
            cell("number", 1234567890123456),
            Column("serial", "text"),
            Problem(
                "long number",
                "'1234567890123456'",
                "text",
                "A spreadsheet drops figures after the 15th: format the cell as text and type it again.",
            ),
        ),
    ],
)
def test_cells_that_are_refused(found, column, problem):
    assert typed.taken(found, column) == problem


@given(st.text())
@example("1" * 500)
@example("9e9999 mm")
@example("１２")
@example("1e99999")
@example("." * 300)
@example("1," * 300)
def test_any_text_is_taken_or_refused(text):
    for kind in ("number", "amount", "level", "when", "whole", "text", "free"):
        made = typed.of_text(text, Column("wear_um", kind))
        assert isinstance(made, Typed | Problem)
        if kind == "free":
            assert made.text == (text if text.strip() else "")


@given(st.decimals(allow_nan=False, allow_infinity=False, places=3, min_value=-10**9, max_value=10**9))
def test_a_comma_never_changes_a_number_without_saying(value):
    text = f"{value:f}"
    made = typed.of_text(text.replace(".", ","), WEAR)
    # Either the very number, or refused because it can be read in two ways.
    assert made.text == text if isinstance(made, Typed) else made.kind == "two ways"


def test_a_unit_that_was_typed_is_kept_where_it_is_the_columns_own_and_refused_where_it_measures_something_else():
    load = Column("load_N", "number")
    assert [(typed.of_text(text, load).text, typed.of_text(text, load).own_unit) for text in ("1500 N", "1500")] == [
        ("1500", "N"), ("1500", "")
    ]  # fmt: skip
    made = typed.of_text("1.5 kN", load)
    assert (made.text, made.from_unit, made.own_unit) == ("1500", "kN", "")
    # A unit of the heading, or the format of a cell, is nothing that was typed.
    assert typed.of_text("1500", Column("load_N", "number", unit="N")).own_unit == ""
    assert typed.taken(cell("per cent", 0.03), Column("soot_pct", "number")).own_unit == ""
    assert typed.of_text("<3 ppm", Column("fe_ppm", "amount")).own_unit == "ppm"
    assert typed.of_text("1500 h", load) == Problem(
        "unit", "'1500 h'", "a number in N, or in a unit that converts to it", "It does not measure the same as N."
    )
