"""Gains and level names, from the algebra of ratios."""

import math

import pytest
from hypothesis import given, strategies

from tests.unit import briefs
from toolkit.brief.model import (
    Brief,
    Comparison,
    Factor,
    Level,
    Response,
    Stations,
    assumed,
    gain_sign,
    number_name,
    worthwhile,
)
from toolkit.errors import BriefError, listing

PIN = Factor("pin", "part", (Level("P0"), Level("P1")))


def brief_of(response, comparison):
    return Brief("a", "b?", 1, (PIN,), (response,), (comparison,))


def test_twenty_per_cent_is_a_ratio_of_four_fifths():
    # By hand: 1 - 20/100 = 4/5, and the other edge of the band is 5/4.
    response = Response("wear_um", worthwhile_change_pct=20)
    found = worthwhile(brief_of(response, Comparison("a")), Comparison("a"), response)
    assert math.exp(found) == pytest.approx(5 / 4, rel=1e-14)
    assert math.exp(-found) == pytest.approx(4 / 5, rel=1e-14)


def test_the_comparison_comes_before_the_response():
    response = Response("wear_um", worthwhile_change_pct=20)
    own = Comparison("a", worthwhile_change_pct=50, assumed_change_pct=75)
    brief = brief_of(response, own)
    assert worthwhile(brief, own, response) == pytest.approx(math.log(2), rel=1e-14)
    assert assumed(brief, own, response) == pytest.approx(math.log(4), rel=1e-14)
    assert assumed(brief, Comparison("b", worthwhile_change_pct=50), response) == pytest.approx(math.log(2))
    assert assumed(brief, None, response) == pytest.approx(math.log(5 / 4))


def test_on_the_linear_scale_a_change_is_a_difference():
    response = Response("wear_um", scale="linear", worthwhile_change=3.5)
    brief = brief_of(response, Comparison("a", assumed_change=5.0))
    assert worthwhile(brief, None, response) == 3.5
    assert assumed(brief, brief.comparisons[0], response) == 5.0
    assert worthwhile(brief, None, Response("wear_um", scale="linear")) is None


def test_the_sign_of_a_gain():
    assert gain_sign(Response("wear_um")) == -1
    assert gain_sign(Response("hardness_HV", better="larger")) == 1


def test_per_run_follows_the_source():
    stations = Stations("segment", 10)
    assert Response("elongation_pct", stations=stations).per_run == "mean"
    assert Response("fe_ppm").per_run == "increase"
    assert Response("mass_loss_mg").per_run == "value"
    assert Response("fe_ppm", per_run="end").per_run == "end"
    assert [item.source for item in (Response("a_um", stations=stations), Response("fe_ppm"), Response("a_mg"))] == [
        "stations",
        "oil",
        "runs",
    ]


def test_names_of_numeric_levels():
    given_and_named = {0.5: "0.5", 3.0: "3", -0.0: "0", 1250: "1250", 98.55: "98.55", -7.5: "-7.5"}
    assert {value: number_name(value) for value in given_and_named} == given_and_named


@given(strategies.floats(allow_nan=False, allow_infinity=False))
def test_a_level_name_reads_back_as_its_number(value):
    assert float(number_name(value)) == value


def test_a_name_that_the_brief_does_not_have_is_told_with_the_nearest():
    brief = briefs.blocked()
    with pytest.raises(BriefError) as caught:
        brief.factor("oils")
    assert str(caught.value) == (
        "The brief has no such factor.\n  factor 'oils': there is none of that name; expected 'pin' or 'oil'. Did you "
        "mean 'oil'?"
    )
    with pytest.raises(BriefError) as caught:
        brief.response("wear")
    (fault,) = caught.value.faults
    assert (fault.where, fault.expected) == ("response 'wear'", listing([item.name for item in brief.responses]))
