"""Comparisons, effects and means: ratios and per cent, interactions, mixed strata, with and without flagged runs."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.reference.test_anova_cases import BARS
from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of, simple
from toolkit import stamp
from toolkit.brief.model import Comparison, Extension
from toolkit.errors import ModelError
from toolkit.model.comparisons import comparisons, effects, means, sensitivity
from toolkit.model.fit import fit

Y = "elongation_pct"
DATA = pin_by_oil(INVENTED)
RUNS = runs_of(DATA, ["pin", "oil"], Y, build="build")
ASKED = [simple("coating", "pin", "P1", "P0"), simple("new oil", "oil", "O1", "O0"),
         Comparison("both", of={"pin": "P1", "oil": "O1"}, against={"pin": "P0", "oil": "O0"}),
         Comparison("needs", interaction=("pin", "oil"))]
SCHEMA = ["response", "comparison", "term", "contrast", "estimate", "measured_in", "std_error", "df", "conf_low",
          "conf_high", "conf_level", "p_value", "error_stratum", "planned", "note", "change_pct", "change_low_pct",
          "change_high_pct"]


def made_on(scale):
    """The fit of the invented 2x2 in three builds."""
    return fit(brief_of(DATA, ["pin", "oil"], Y, block="build", scale=scale, comparisons=ASKED), RUNS, Y)


def test_ratios_and_per_cent_by_hand_on_the_log_scale():
    ln = np.log(np.array(INVENTED)).reshape(3, 4)
    rest = ln - ln.mean(axis=0) - ln.mean(axis=1, keepdims=True) + ln.mean()
    error = (rest**2).sum() / 6
    weights = {"coating": (-0.5, -0.5, 0.5, 0.5), "new oil": (-0.5, 0.5, -0.5, 0.5), "both": (-1, 0, 0, 1),
               "needs": (1, -1, -1, 1)}
    found = comparisons(made_on("log"))
    assert list(found.columns) == [*SCHEMA, "family", "adjust"]
    for row in found.to_dict("records"):
        weight = np.array(weights[row["comparison"]])
        value, std_error = ln.mean(axis=0) @ weight, math.sqrt(error * (weight**2).sum() / 3)
        half = stats.t.ppf(0.975, 6) * std_error
        for name, expected in (("estimate", math.exp(value)), ("conf_low", math.exp(value - half)),
                               ("conf_high", math.exp(value + half)), ("std_error", std_error),
                               ("p_value", 2 * stats.t.sf(abs(value) / std_error, 6)),
                               ("change_pct", 100 * math.expm1(value)),
                               ("change_low_pct", 100 * math.expm1(value - half)),
                               ("change_high_pct", 100 * math.expm1(value + half))):
            assert row[name] == pytest.approx(expected, rel=1e-9), name
        assert (row["measured_in"], row["df"], row["conf_level"], row["error_stratum"]) == ("ratio", 6.0, 0.95, "run")
        assert (row["planned"], row["term"], row["family"], row["adjust"]) == (True, None, None, "none")
    assert list(found["note"]) == ["", "", "", "a ratio of ratios"]
    assert list(found["contrast"]) == [
        "pin P1 against pin P0, mean over oil", "oil O1 against oil O0, mean over pin",
        "pin P1, oil O1 against pin P0, oil O0", "change pin P1 against P0 at oil O1, against the same change at oil "
        "O0"]


def test_differences_on_the_linear_scale_have_the_unit_of_the_response():
    found = comparisons(made_on("linear")).set_index("comparison")
    square = np.array(INVENTED).reshape(3, 4).mean(axis=0)
    assert found.loc["needs", "estimate"] == pytest.approx(square[0] - square[1] - square[2] + square[3], rel=1e-9)
    assert (found.loc["needs", "measured_in"], found.loc["needs", "note"]) == ("%", "a difference of differences")
    assert [found.loc["coating", name] for name in SCHEMA[-3:]] == [None, None, None]


def test_json_has_null_where_a_number_is_missing():
    data = DATA.iloc[:3]
    made = fit(brief_of(data, ["pin", "oil"], Y, comparisons=ASKED, levels={"oil": ["O0", "O1"]}),
               runs_of(data, ["pin", "oil"], Y), Y)
    text = stamp.canonical([stamp.records(of(made)) for of in (comparisons, effects, means)])
    assert "NaN" not in text
    assert '"conf_low":null' in text and '"estimate":null' in text


def test_medians_carry_the_unit_and_the_number_of_runs():
    found = means(made_on("log")).set_index("contrast")
    row = found.loc["pin P1, oil O0"]
    assert row["estimate"] == pytest.approx(stats.gmean([0.079, 0.083, 0.088]), rel=1e-12)
    assert (row["measured_in"], row["note"], row["runs"], row["levels"]) == (
        "%", "median (geometric mean)", 3, {"pin": "P1", "oil": "O0"})
    assert [row[name] for name in ("p_value", "change_pct", "comparison")] == [None, None, None]
    assert (found.loc["pin P1", "term"], found.loc["pin P1", "runs"], row["term"]) == ("pin", 6, "pin × oil")
    assert found.loc["pin P1", "estimate"] == pytest.approx(stats.gmean(INVENTED[2:4] + INVENTED[6:8] + INVENTED[10:]))


def test_effects_name_their_term_and_are_not_planned():
    found = effects(made_on("log"))
    assert list(found.columns) == SCHEMA
    assert list(found["term"]) == ["pin", "oil", "pin × oil"]
    assert set(found["planned"]) == {False} and set(found["comparison"]) == {None}
    assert list(found["estimate"]) == [comparisons(made_on("log"))["estimate"][at] for at in (0, 1, 3)]


def bars(asked):
    """The comparisons of the coated bars: temperature by heat, coat by bar."""
    data = pd.DataFrame([(heat, temp, f"C{at + 1}", value) for (heat, temp), values in BARS.items()
                         for at, value in enumerate(values)], columns=["heat", "temp", "coat", "resistance"])
    made = fit(brief_of(data, ["temp", "coat"], "resistance", build_level=["temp"], comparisons=asked),
               runs_of(data, ["temp", "coat"], "resistance", build="heat"), "resistance")
    return comparisons(made).set_index("comparison")


def test_a_contrast_of_two_strata_has_the_textbook_error_and_satterthwaites_df():
    # Two whole plots at the same subplot level: 2 ((b - 1) Eb + Ea) / (r b), b bars a heat, r heats a temperature
    # (W. G. Cochran and G. M. Cox, Experimental Designs, 2nd ed. 1957, section 7.15; from memory).
    asked = [Comparison("at C1", of={"temp": "380", "coat": "C1"}, against={"temp": "370", "coat": "C1"}),
             simple("temp", "temp", "380", "370"), simple("coat", "coat", "C2", "C1"),
             Comparison("within", of={"temp": "380", "coat": "C2"}, against={"temp": "380", "coat": "C1"})]
    found = bars(asked)
    heats, rest, per_heat, heats_each = 14439.625 / 3, 1120.875 / 9, 4, 2
    row = found.loc["at C1"]
    assert row["estimate"] == pytest.approx((155 + 108) / 2 - (65 + 140) / 2, rel=1e-12)
    variance = 2 * ((per_heat - 1) * rest + heats) / (heats_each * per_heat)
    assert row["std_error"] == pytest.approx(math.sqrt(variance), rel=1e-10)
    df = (3 * rest + heats) ** 2 / ((3 * rest) ** 2 / 9 + heats**2 / 3)
    assert row["df"] == pytest.approx(df, rel=1e-10)
    assert row["error_stratum"] == "build and run"
    assert row["note"] == f"mixes the build and run strata: df by Satterthwaite's approximation ({df:.1f})"
    assert row["conf_high"] - row["estimate"] == pytest.approx(
        stats.t.ppf(0.975, df) * row["std_error"], rel=1e-9)
    # One stratum each: 2 Ea / (r b), 2 Eb / (r a) and 2 Eb / r.
    for name, error, stratum, freedom in (("temp", 2 * heats / 8, "build", 3), ("coat", 2 * rest / 6, "run", 9),
                                          ("within", 2 * rest / 2, "run", 9)):
        line = found.loc[name]
        assert line["std_error"] == pytest.approx(math.sqrt(error), rel=1e-10)
        assert (line["error_stratum"], line["df"], line["note"]) == (stratum, freedom, "")


def test_with_and_without_flagged_and_void_runs():
    runs = RUNS.assign(phase="main", verdict=["invalid" if at == 3 else "valid" for at in range(12)])
    brief = brief_of(DATA, ["pin", "oil"], Y, block="build", scale="log", comparisons=ASKED[:2])
    found = sensitivity(brief, runs, Y, {"R006"})
    assert list(found["runs"]) == [name for name in (
        "as judged", "without flagged", "with void runs that have a value") for _ in range(2)]
    without = runs[runs["run_id"] != "R006"]
    for at, rows in ((0, runs), (2, without), (4, RUNS)):
        expected = comparisons(fit(brief, rows, Y))
        for name in ("estimate", "conf_low", "conf_high", "df", "p_value"):
            assert list(found[name])[at:at + 2] == list(expected[name])
    assert list(found["df"])[::2] == [5.0, 4.0, 6.0]


def test_void_runs_of_every_phase_that_counts_are_tried_and_those_of_others_are_not():
    later = RUNS.iloc[:4].assign(run_id=["E1", "E2", "E3", "E4"], phase="extension", build="X1", build_id="X1")
    runs = pd.concat([RUNS.assign(phase="main"), later], ignore_index=True)
    runs["verdict"] = ["invalid" if name == "E2" else "valid" for name in runs["run_id"]]
    for later, tables in ((Extension(builds=1), 2), (None, 1)):
        brief = brief_of(DATA, ["pin", "oil"], Y, block="build", scale="log", comparisons=ASKED[:1], extension=later)
        assert len(sensitivity(brief, runs, Y, set())) == tables


def test_nothing_to_leave_out_gives_one_table_and_an_unknown_run_is_an_error():
    brief = brief_of(DATA, ["pin", "oil"], Y, scale="log", comparisons=ASKED[:1])
    assert list(sensitivity(brief, RUNS, Y, set())["runs"]) == ["as judged"]
    with pytest.raises(ModelError) as stopped:
        sensitivity(brief, RUNS, Y, {"R099", "R098"})
    assert str(stopped.value) == "flagged runs R098, R099: no such run in the records. Name runs that are there."


def test_without_the_flagged_run_builds_that_are_units_are_judged_by_kenward_and_roger():
    draw = np.random.default_rng(3)
    lines = [(f"B{at}", f"P{at % 2}", oil) for at in range(4) for oil in ("O0", "O1")]
    data = pd.DataFrame(lines, columns=["build", "pin", "oil"]).assign(y=draw.normal(size=8))
    brief = brief_of(data, ["pin", "oil"], "y", build_level=["pin"], comparisons=ASKED[:1])
    found = sensitivity(brief, runs_of(data, ["pin", "oil"], "y", build="build"), "y", {"R001"})
    assert list(found["runs"]) == ["as judged", "without flagged"]
    assert found["df"][0] == 2.0 and found["note"][0] == ""
    assert 1.0 < found["df"][1] < 3.0
    assert found["note"][1] == (
        f"df by Kenward and Roger ({found['df'][1]:.1f}): fewer than 3, so that the interval is wide and its level is "
        f"held less well"
    )


def test_an_analysis_that_cannot_be_made_without_the_flagged_run_says_why():
    lines = [(f"B{at}", f"P{at % 2}", oil) for at in range(3) for oil in ("O0", "O1")]
    data = pd.DataFrame(lines, columns=["build", "pin", "oil"]).assign(y=np.random.default_rng(3).normal(size=6))
    brief = brief_of(data, ["pin", "oil"], "y", build_level=["pin"], comparisons=ASKED[:1])
    found = sensitivity(brief, runs_of(data, ["pin", "oil"], "y", build="build"), "y", {"R001"})
    assert found["estimate"][1] is None and found["conf_low"][1] is None
    assert found["note"][1] == (
        "y: build B0 does not hold the same combinations as the other builds, and 5 runs leave nothing to judge "
        "differences within builds by. Repeat runs, or declare an interaction nil."
    )


def test_a_void_run_that_cannot_be_put_in_says_why():
    runs = RUNS.assign(phase="main", verdict=["invalid" if at == 3 else "valid" for at in range(12)])
    runs.loc[3, Y] = -0.01
    brief = brief_of(DATA, ["pin", "oil"], Y, block="build", scale="log", comparisons=ASKED[:1])
    found = sensitivity(brief, runs, Y, set())
    assert list(found["runs"]) == ["as judged", "with void runs that have a value"]
    assert found["note"][1].endswith("run R004: elongation_pct = -0.01; expected a value above 0.")
