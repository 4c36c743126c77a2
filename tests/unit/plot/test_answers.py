"""The numbers of a result row as text: figures, tables and sentences read them here."""

import math

import pandas as pd
import pytest

from tests.unit.plot import example
from toolkit.decide import verdict
from toolkit.plot import answers


def one(estimate, low, high, *, error=0.1, scale="log", name="elongation_pct"):
    """A single answer with these numbers."""
    brief = example.brief(count=1, scale=scale, name=name)
    frame = example.comparisons(brief)
    frame[["estimate", "conf_low", "conf_high", "std_error"]] = [[estimate, low, high, error]]
    return answers.of(frame, example.verdicts(brief), brief)[0]


def test_a_ratio_is_told_as_a_change_in_per_cent():
    found = one(0.74, 0.65, 0.843, error=0.053)
    assert found.change == "−26 %"
    assert found.interval == "−35 to −16 %"
    assert found.interval_name == "95 % interval"
    assert found.band == pytest.approx((0.8, 1.25))
    assert found.band_text == "−20 to +25 %"


def test_a_difference_is_told_in_its_unit():
    found = one(-5.11, -7.07, -3.18, error=0.8, scale="linear", name="elongation_um")
    assert (found.change, found.interval) == ("−5.1 µm", "−7.1 to −3.2 µm")
    assert found.band_text == "−2 to +2 µm"


def test_far_ratios_are_told_as_multiples():
    found = one(0.4, 0.02, 8.0, error=1.2)
    assert found.change == "−60 %"
    assert found.interval == "−98.0 % to × 8.00"


@pytest.mark.parametrize(
    ("high", "shown"),
    [(0.9996, "−0.04"), (1.0004, "+0.04"), (0.7997, "−20.03"), (0.8003, "−19.97"), (1.2504, "+25.04")],
)
def test_no_number_is_rounded_onto_no_change_or_over_the_band(high, shown):
    found = one(0.75, 0.6, high, error=0.1)
    assert found.interval.endswith(f"to {shown} %")


def test_what_is_missing_is_said():
    found = one(None, None, None, error=None)
    assert not found.estimable
    assert (found.change, found.interval) == ("not estimable", "no interval")
    bare = one(0.74, None, None, error=None)
    assert (bare.change, bare.interval) == ("−26 %", "no interval")


def test_numbers_that_are_not_there_become_none():
    brief = example.brief(count=1)
    frame = example.comparisons(brief).assign(conf_low=math.nan, note=math.nan, conf_level=None)
    found = answers.of(frame, None, brief)[0]
    assert (found.low, found.note, found.level, found.verdict) == (None, "", 0.95, "")


def test_verdicts_are_matched_by_response_and_comparison():
    brief = example.brief(count=4)
    shuffled = example.verdicts(brief).iloc[::-1]
    other = pd.concat([shuffled.assign(response="fe_ppm", verdict="worthwhile loss"), shuffled])
    found = answers.of(example.comparisons(brief), other, brief)
    assert [row.verdict for row in found] == list(example.VERDICT_OF[:4])
    assert [row.interaction for row in found] == [False, False, False, True]


def test_the_verdicts_are_those_of_decide_in_order():
    assert answers.VERDICTS == (*verdict.NAMES, "interim, no claim", "not estimable", "no error estimate")
