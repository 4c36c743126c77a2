"""The cautions: a reminder and never a procedure, short, and complete."""

import pytest

from toolkit import cautions


def test_the_header_says_what_it_is_and_who_decides():
    assert cautions.HEADER == (
        "A reminder, not a procedure. Local codes and law, the site's own risk assessment, the makers' instructions "
        "and licensed or competent persons come first and decide. Do not start a run from this sheet alone."
    )
    assert cautions.lines() == (cautions.HEADER, *cautions.LINES)


@pytest.mark.parametrize(
    "hazard",
    ["shaft", "guards", "Hot oil", "coolant", "Exhaust", "carbon monoxide", "vapour", "fire", "Noise", "injection",
     "Emergency stop", "alone", "Lifting", "tensioner", "battery", "Used engine oil", "skin cancer", "Soot",
     "respirator", "solvents", "Compressed air", "Radioactive", "licence", "registered disposal", "unattended"],
)  # fmt: skip
def test_every_hazard_of_the_bench_is_named(hazard):
    assert any(hazard in line for line in cautions.LINES)


def test_each_is_one_or_two_sentences_that_fit_a_run_sheet():
    assert len(cautions.LINES) <= 12
    assert all(20 <= len(line) <= 180 and line.endswith(".") for line in cautions.LINES)
