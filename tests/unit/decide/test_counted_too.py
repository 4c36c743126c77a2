"""Comparisons of corrected and adjusted run values against calculations by hand; INVENTED."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from tests.unit import briefs
from toolkit.brief.model import Comparison, Response, Stations
from toolkit.decide import counted_too
from toolkit.errors import ModelError
from toolkit.model import comparisons as plain
from toolkit.model.fit import fit

BRIEF = briefs.randomised(
    responses=(Response("wear_um", scale="linear", stations=Stations("link", 1), worthwhile_change=1.0),),
    comparisons=(Comparison("honing", of={"finish": "honed"}, against={"finish": "turned"}),),
)
VALUES = {"turned": [10.0, 12.0, 11.0], "honed": [7.0, 8.0, 9.0], "lapped": [5.0, 6.0, 7.0]}


def runs():
    rows = [(f"R{3 * at + place + 1}", name, value) for at, (name, values) in enumerate(VALUES.items())
            for place, value in enumerate(values)]  # fmt: skip
    table = pd.DataFrame(rows, columns=["run_id", "finish", "wear_um"])
    return table.assign(
        phase="main", build_id="B1", verdict="valid", planned_order=range(1, 10), actual_order=range(1, 10)
    )


def test_without_anything_more_they_are_those_of_the_analysis():
    found = counted_too.comparisons(BRIEF, runs(), "wear_um").iloc[0]
    usual = plain.comparisons(fit(BRIEF, runs(), "wear_um")).iloc[0]
    for name in ("estimate", "std_error", "conf_low", "conf_high", "df"):
        assert found[name] == pytest.approx(usual[name], rel=1e-9), name


def test_a_known_covariance_comes_on_top():
    # Runs R1 to R3 share an error of variance 0.5: the mean of the turned ones too, by hand 1/3 * (1 + 1) + 0.5.
    added = pd.DataFrame(0.5, index=["R1", "R2", "R3"], columns=["R1", "R2", "R3"])
    found = counted_too.comparisons(BRIEF, runs(), "wear_um", added=added).iloc[0]
    assert found["estimate"] == pytest.approx(-3.0)
    assert found["std_error"] == pytest.approx(math.sqrt(2.0 / 3.0 + 0.5), rel=1e-12)
    # t at 6 df, 0.975: 2.446912 (any table).
    assert found["conf_high"] - found["estimate"] == pytest.approx(2.446912 * found["std_error"], rel=1e-6)


def test_adjusted_values_have_the_covariance_of_what_they_share():
    # Each honed run less the mean of all turned ones: variance 1 + 1/3, and 1/3 between two of them.
    names = [f"R{at}" for at in range(1, 7)]
    moved = np.eye(6)
    moved[3:, :3] = -1.0 / 3.0
    shape = pd.DataFrame(moved @ moved.T, index=names, columns=names)
    turned = float(np.mean(VALUES["turned"]))
    adjusted = pd.Series([value - turned for value in VALUES["honed"]], index=names[3:])
    found = counted_too.comparisons(BRIEF, runs(), "wear_um", adjusted=adjusted, shape=shape).iloc[0]
    # What runs share lies in no residual: 6 over trace 6, so that s is 1. Honed less twice turned: 1/3 + 4/3.
    assert found["estimate"] == pytest.approx(8.0 - 2.0 * 11.0)
    assert found["std_error"] == pytest.approx(math.sqrt(5.0 / 3.0), rel=1e-12)


def test_a_covariance_on_the_log_scale_is_relative():
    values = pd.Series([2.0, 4.0], index=["R1", "R2"])
    given = pd.DataFrame([[0.04, 0.02], [0.02, 0.16]], index=values.index, columns=values.index)
    scaled = counted_too.on_scale(given, values, True)
    assert scaled.to_numpy() == pytest.approx(np.array([[0.01, 0.0025], [0.0025, 0.01]]))
    assert counted_too.on_scale(given, values, False) is given


def test_what_has_units_of_several_runs_is_not_answered_so():
    brief = briefs.whole_plots()
    made = pd.DataFrame(
        [(f"R{at + 1}", f"B{at // 2 + 1}", ("S0", "S1")[at // 2 % 2], ("O0", "O1")[at % 2], 0.1 + 0.01 * at)
         for at in range(16)], columns=["run_id", "build_id", "sprocket", "oil", "elongation_pct"],
    )  # fmt: skip
    made = made.assign(phase="main", verdict="valid", planned_order=range(1, 17), actual_order=range(1, 17))
    with pytest.raises(ModelError) as caught:
        counted_too.comparisons(brief, made, "elongation_pct")
    assert str(caught.value) == (
        "elongation_pct: some factor is changed with a unit of several runs; it is not answered so."
    )
