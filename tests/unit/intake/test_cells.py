"""One cell as typed: what is taken, and what is refused with which advice."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolkit.brief.model import Factor, Level
from toolkit.intake import cells
from toolkit.intake.cells import Amount, Problem

PIN = Factor("pin", "part", (Level("P0"), Level("P1")))
LOAD = Factor("load_Nm", "setting", (Level("0.50", value=0.5), Level("3", value=3.0)))


def said(problem: object) -> str:
    """A problem as one sentence, as in a message."""
    assert isinstance(problem, Problem), problem
    remedy = problem.remedy() if callable(problem.remedy) else problem.remedy
    return f"{problem.found}; expected {problem.expected}. {remedy}".strip()


@pytest.mark.parametrize(
    ("text", "value"),
    [("0", 0.0), ("-0.3", -0.3), ("+2", 2.0), ("3.", 3.0), (".5", 0.5), ("1.2e-3", 0.0012), ("007", 7.0)],
)
def test_plain_numbers_are_taken(text, value):
    assert cells.number(text, "depth_um") == value


@given(st.floats(allow_nan=False, allow_infinity=False, allow_subnormal=False))
def test_every_number_is_read_back_to_the_last_digit(value):
    assert cells.number(repr(value), "depth_um") == value


@given(st.text(max_size=20))
def test_any_text_is_a_finite_number_or_a_problem(text):
    made = cells.number(cells.clean(text), "depth_um")
    assert isinstance(made, Problem) or math.isfinite(made)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("92,5", "'92,5'; expected a number with a decimal point. Write 92.5."),
        ("0,115", "'0,115'; expected a number with a decimal point. Write 0.115."),
        (",5", "',5'; expected a number with a decimal point. Write 0.5."),
        (
            "1,500",
            "'1,500'; expected a number with a decimal point. A comma can be read in two ways: write 1500 or 1.500.",
        ),
        ("1.234,5", "'1.234,5'; expected a number with a decimal point and no other sign between its digits."),
        ("1 500", "'1 500'; expected a number with a decimal point and no other sign between its digits."),
        ("1_500", "'1_500'; expected a number with a decimal point and no other sign between its digits."),
        ("12.3 um", "'12.3 um'; expected a number alone (the column is in µm). Write 12.3."),
        ("12.3µm", "'12.3µm'; expected a number alone (the column is in µm). Write 12.3."),
        ("12.3 \u03bcm", "'12.3 \u03bcm'; expected a number alone (the column is in µm). Write 12.3."),
        ("12,3 um", "'12,3 um'; expected a number alone (the column is in µm). Write the number alone."),
        (
            "0.01 mm",
            "'0.01 mm'; expected a number alone (the column is in µm). Convert it to µm and write the number alone.",
        ),
        ("nan", "'nan'; expected a finite number."),
        ("-Infinity", "'-Infinity'; expected a finite number."),
        ("1e400", "'1e400'; expected a finite number."),
        ("1e-400", "'1e-400'; expected nought, or a number that is not smaller than 1e-300."),
        ("\u22120.3", "'\u22120.3'; expected the minus sign of the keyboard. Write -0.3."),
        ("<5", "'<5'; expected a number alone (the column is in µm). Only concentrations in oil take '<'."),
        ("broken off", "'broken off'; expected a number alone (the column is in µm)."),
        ("\u0661\u0662", "'\u0661\u0662'; expected a number alone (the column is in µm)."),
        ("lost", "'lost'; expected a number alone (the column is in µm)."),
        ("1\x1b[31m", "'1\\x1b[31m'; expected a number alone (the column is in µm)."),
    ],
)
def test_what_is_no_plain_number_is_refused_with_advice(text, message):
    assert said(cells.number(text, "depth_um")) == message


def test_without_a_unit_the_message_names_none():
    assert said(cells.number("3 apples", "rank")) == "'3 apples'; expected a number alone. Write the number alone."


def test_lost_and_blank_are_no_figure_and_never_nought():
    assert [cells.measurement(text, "depth_um") for text in ("", "lost", "LOST")] == [None, None, None]
    assert said(cells.measurement("missing", "depth_um")) == (
        "'missing'; expected a number alone (the column is in µm). Write 'lost' where there is no figure."
    )


@pytest.mark.parametrize(
    ("text", "made"),
    [
        ("0.5", Amount(0.5, False)),
        ("<0.5", Amount(0.5, True)),
        ("< 0.5", Amount(0.5, True)),
        ("0", Amount(0.0, False)),
        ("", None),
        ("lost", None),
    ],
)
def test_amounts_keep_that_they_are_below_a_limit(text, made):
    assert cells.amount(text, "fe_ppm") == made


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("<", "'<'; expected a limit after '<'. Write '<0.5' or the like."),
        ("<lost", "'<lost'; expected a limit after '<'. Write '<0.5' or the like."),
        (
            "<0",
            "'<0'; expected a concentration not below 0. Below the limit of the laboratory write '<' and the limit.",
        ),
        (
            "-2",
            "'-2'; expected a concentration not below 0. Below the limit of the laboratory write '<' and the limit.",
        ),
        ("<0,5", "'0,5'; expected a number with a decimal point. Write 0.5."),
    ],
)
def test_amounts_that_cannot_be(text, message):
    assert said(cells.amount(text, "fe_ppm")) == message


@pytest.mark.parametrize(("text", "level"), [("0.5", "0.50"), (".50", "0.50"), ("5e-1", "0.50"), ("3.0", "3")])
def test_numeric_levels_are_found_by_value(text, level):
    assert cells.level(text, LOAD) == level


def test_the_centre_is_a_level_only_where_planned():
    assert cells.level("centre", LOAD, centre=True) == "centre"
    assert cells.level("1.75", LOAD, centre=True) == "centre"
    assert cells.level("3", LOAD, centre=True) == "3"
    assert said(cells.level("centre", LOAD)) == "'centre'; expected a level of load_Nm: '0.50' or '3'."
    assert said(cells.level("centre", PIN, centre=True)) == "'centre'; expected a level of pin: 'P0' or 'P1'."


def test_unknown_levels_name_all_and_the_nearest():
    assert said(cells.level("p1", PIN)) == "'p1'; expected a level of pin: 'P0' or 'P1'. Did you mean 'P1'?"
    assert said(cells.level("lost", LOAD)) == "'lost'; expected a level of load_Nm: '0.50' or '3'."
    assert said(cells.level("0,5", LOAD)) == "'0,5'; expected a number with a decimal point. Write 0.5."


def test_words_do_not_mind_capitals():
    assert cells.word("Valid", ("valid", "invalid")) == "valid"
    assert [cells.yes_no(text) for text in ("Yes", "TRUE", "1", "no", "False", "0")] == [True] * 3 + [False] * 3


@pytest.mark.parametrize(("text", "value"), [("3", 3), ("3.0", 3), ("+4", 4)])
def test_whole_numbers(text, value):
    made = cells.whole(text)
    assert made == value and isinstance(made, int)


@pytest.mark.parametrize("text", ["0", "-1", "1.5", "1e99", "two", "inf", "1,0"])
def test_what_is_no_whole_number(text):
    assert said(cells.whole(text)) == f"'{text}'; expected a whole number from 1."


@pytest.mark.parametrize(
    ("typed", "cleaned"),
    [("'-0.3", "-0.3"), ("'=A1", "=A1"), ("'+1", "+1"), ("'@x", "@x"), ("'s Hertog", "'s Hertog"), (" P0\xa0", "P0")],
)
def test_the_quote_that_guards_against_formulas_is_taken_off(typed, cleaned):
    assert cells.clean(typed) == cleaned


@pytest.mark.parametrize(
    ("typed", "remedy"),
    [
        ("RO1", "Did you mean 'R01'?"),
        ("r1", "Did you mean 'R01'?"),
        ("R-01", "Did you mean 'R01'?"),
        ("Rl2", "Did you mean 'R12'?"),
        ("R02", ""),
        ("R001 b", ""),
    ],
)
def test_slips_in_a_name_are_guessed_but_other_names_are_not(typed, remedy):
    assert cells.same_name(typed, {"R01", "R12"}) == remedy


def test_long_and_unprintable_cells_are_shown_safely():
    assert cells.shown("x" * 41) == f"'{'x' * 40}…'"
    assert cells.shown("a\u202eb\n") == "'a\\x202eb\\x0a'"


def test_what_is_written_freely_cannot_turn_the_words_around_it_about():
    kept = "Öl 漢字 😀, a\tb\nc, \u0645\u06cc\u200c\u062e\u0648\u0627\u0647\u0645, co\u00adoperate, 'quoted'"
    assert cells.in_words(kept) == kept
    # U+202E turns what follows about, U+200F and U+2066 move it, ESC speaks to a terminal, U+FEFF is not seen.
    assert cells.in_words("hose \u202etsrub\u200f \u2066x\x1b[31m\ufeff") == (
        "hose \\u202etsrub\\u200f \\u2066x\\x1b[31m\\ufeff"
    )
