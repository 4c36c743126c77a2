"""Verdicts on intervals open on one side: what is said, by hand, at both sides of every edge."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from tests.unit import briefs
from toolkit.brief.model import Comparison, Response
from toolkit.decide import verdict


def row(low, high, estimate=None, comparison="coating", **response):
    """The verdict on one comparison of iron with a worthwhile change of 20 %."""
    asked = {"worthwhile_change_pct": 20.0, "per_run": "end", **response}
    brief = briefs.blocked(
        responses=(Response("fe_ppm", **asked),),
        comparisons=(
            Comparison("coating", of={"pin": "P1"}, against={"pin": "P0"}, direction="smaller"),
            Comparison("together", interaction=("pin", "oil")),
        ),
    )
    line = {
        "response": "fe_ppm",
        "comparison": comparison,
        "estimate": estimate,
        "conf_low": low,
        "conf_high": high,
        "std_error": None,
        "df": 6.0,
        "note": "likelihood with values below their limit",
    }
    return verdict.verdicts(pd.DataFrame([line], dtype=object), brief).iloc[0]


@pytest.mark.parametrize(
    ("low", "high", "name", "told"),
    [
        (None, 0.38, "worthwhile gain", "at least 62 % less Fe (95 % interval, open on the other side); a gain is "
         "shown, and that it goes beyond 20 %"),
        (None, 0.9, "gain, size not settled", "at least 10 % less Fe (95 % interval, open on the other side); a gain "
         "is shown, but not that it reaches 20 %"),
        (None, 1.12, "not known yet", "at most 12 % more Fe (95 % interval, open on the other side); neither a change "
         "nor its absence is shown"),
        (1.5, None, "worthwhile loss", "at least 50 % more Fe (95 % interval, open on the other side); a loss is "
         "shown, and that it goes beyond 25 %"),
        (1.1, None, "loss, size not settled", "at least 10 % more Fe (95 % interval, open on the other side); a loss "
         "is shown, but not that it reaches 25 %"),
        (0.7, None, "not known yet", "at most 30 % less Fe (95 % interval, open on the other side); neither a change "
         "nor its absence is shown"),
    ],
)  # fmt: skip
def test_one_end_decides_as_far_as_it_can(low, high, name, told):
    found = row(low, high)
    assert (found["verdict"], found["sentence"]) == (name, f"coating: {told}.")
    assert found["gain"] is None
    known = found["gain_low"] if high is not None else found["gain_high"]
    assert known == pytest.approx(-math.log(high if high is not None else low))
    assert (found["gain_high"] if high is not None else found["gain_low"]) is None


def test_an_estimate_is_told_with_its_open_interval():
    found = row(None, 0.6, estimate=0.3)
    assert found["sentence"] == (
        "coating: 70 % less Fe (95 % interval: at least 40 % less); a gain is shown, and that it goes beyond 20 %."
    )
    assert found["gain"] == pytest.approx(-math.log(0.3))


def test_where_larger_is_better_the_sides_are_turned():
    assert row(None, 0.38, better="larger")["verdict"] == "worthwhile loss"
    found = row(1.5, None, better="larger")
    assert found["sentence"].startswith("coating: at least 50 % more Fe (95 % interval, open on the other side); ")
    assert found["verdict"] == "worthwhile gain"


def test_an_interaction_and_a_difference():
    assert row(None, 0.38, comparison="together")["sentence"].startswith(
        "together: a ratio of ratios of at most 0.38 (95 % interval, open on the other side); "
    )
    linear = {"scale": "linear", "worthwhile_change_pct": None, "worthwhile_change": 2.0}
    assert row(None, -3.0, **linear)["sentence"].startswith("coating: at least 3.0 mg/kg less Fe (95 % interval")
    assert row(None, -3.0, comparison="together", **linear)["sentence"].startswith(
        "together: a difference of differences of at most -3.0 mg/kg ("
    )


def test_two_known_ends_and_none_are_left_to_the_others():
    assert row(0.5, 0.7, estimate=0.6)["sentence"].startswith("coating: 40 % less Fe (95 % interval: 30 to 50 %")
    assert row(None, None)["verdict"] == verdict.NOT_ESTIMABLE
