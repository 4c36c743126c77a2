"""Which runs are analysed, and what is said of the others and of values that cannot be analysed."""

import math

import pandas as pd
import pytest

from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of
from toolkit.brief.model import Extension, Pilot
from toolkit.errors import ModelError
from toolkit.model.fit import analysed, fit

Y = "elongation_pct"
DATA = pin_by_oil(INVENTED)
RUNS = runs_of(DATA, ["pin", "oil"], Y, build="build")


def brief(**more):
    """The brief of the invented 2x2, on the log scale in builds unless told otherwise."""
    return brief_of(DATA, ["pin", "oil"], Y, **{"scale": "log", "block": "build", **more})


def changed(**columns):
    """The run values with these columns, each a dict from row to value."""
    made = RUNS.assign(phase="main", verdict="valid", reason="")
    for name, places in columns.items():
        made[name] = made[name].astype(object) if name in made.columns else None
        for at, value in places.items():
            made.loc[at, name] = value
    return made


def test_every_run_left_out_stands_in_the_findings_with_its_reason():
    runs = changed(
        verdict={1: "invalid", 2: "pending", 3: "not interpretable"},
        reason={1: "coolant lost", 3: "gauge dropped"},
        **{Y: {5: math.nan}},
    )
    made = analysed(runs, Y, brief())
    assert list(made.runs["run_id"]) == [f"R{at:03d}" for at in (1, 5, 7, 8, 9, 10, 11, 12)]
    left_out = "left out of the analysis; repeat the run if its combination is needed"
    assert made.findings.to_dict("records") == [
        {"severity": severity, "run_id": run, "part_id": None, "column": column, "rule": rule, "found": found,
         "expected": expected, "action": action}
        for severity, run, column, rule, found, expected, action in [
            ("exclude", "R002", "verdict", "run verdict", "invalid: coolant lost", "valid", left_out),
            ("note", "R003", "verdict", "run verdict", "pending", "valid", "judge the run once its records are in"),
            ("exclude", "R004", "verdict", "run verdict", "not interpretable: gauge dropped", "valid", left_out),
            ("exclude", "R006", Y, "value missing", "no value", f"a run value of {Y}",
             "left out of the analysis of this response; enter the measurement, or judge the run"),
        ]]


def test_values_at_or_below_zero_stop_the_log_scale_with_every_run_named():
    runs = changed(**{Y: {1: -0.012, 4: 0.0}})
    with pytest.raises(ModelError) as stopped:
        fit(brief(), runs, Y)
    assert str(stopped.value) == (
        "elongation_pct: on the log scale every run value must be above 0, and none is dropped or set to a small "
        'number. Ways out: (1) analyse differences instead of ratios: scale = "linear" for this response; (2) judge '
        "the run, with a verdict and a reason, if its log shows that it is void; (3) lift the value out of the "
        "gauge's noise: measure again, with more stations or readings or a finer gauge, or run longer.\n"
        "  run R002: elongation_pct = -0.012; expected a value above 0.\n"
        "  run R005: elongation_pct = 0; expected a value above 0.")
    assert len(fit(brief(scale="linear"), runs, Y).y) == 12
    void = runs.assign(verdict=["valid" if at not in (1, 4) else "invalid" for at in range(12)])
    assert len(fit(brief(), void, Y).y) == 10


def test_values_below_the_detection_limit_stop_on_either_scale():
    runs = changed(**{Y: {2: math.nan}}, **{f"{Y}_below_limit": {2: True}})
    for scale in ("log", "linear"):
        with pytest.raises(ModelError) as stopped:
            fit(brief(scale=scale), runs, Y)
        assert str(stopped.value) == (
            "elongation_pct: values below the detection limit cannot be analysed with these methods, and none is set "
            "to 0, to the limit or to half of it. Ways out: (1) ask the laboratory for the number behind the '<' or a "
            "repeat with a lower limit; (2) judge the run, with a verdict and a reason, if its log shows that it is "
            "void; (3) leave this response out and answer from the others.\n"
            "  run R003: elongation_pct is below the detection limit; expected a measured number.")


def test_all_faults_of_the_rows_are_told_at_once():
    runs = changed(pin={0: "p1"}, verdict={1: "ok"}, phase={2: "later"}, build_id={3: " "},
                   **{Y: {4: math.inf, 5: "0.1"}}, run_id={7: "R007"})
    with pytest.raises(ModelError) as stopped:
        fit(brief(), runs, Y)
    assert str(stopped.value) == (
        "elongation_pct: the run values are not in order.\n"
        "  run R007: two rows or more; expected one row a run. Give each run its own run_id.\n"
        "  run R001, pin: 'p1'; expected one of 'P0' or 'P1'. Did you mean 'P1'?\n"
        "  run R002, verdict: 'ok'; expected one of 'valid', 'invalid', 'not interpretable' or 'pending'. Did you mean "
        "'valid'?\n"
        "  run R003, phase: 'later'; expected one of 'pilot', 'main' or 'extension'.\n"
        "  run R004, build_id: no build; expected the build it was run in.\n"
        "  run R005, elongation_pct: 'inf'; expected a finite number or nothing.\n"
        "  run R006, elongation_pct: '0.1'; expected a finite number or nothing.")


def test_a_column_that_is_not_there_is_named():
    with pytest.raises(ModelError) as stopped:
        fit(brief(), RUNS.rename(columns={"oil": "oils"}).drop(columns="build_id"), Y)
    assert str(stopped.value) == (
        "elongation_pct: the run values are not in order.\n"
        "  run values: no column 'oil'; expected the columns run_id, pin, oil, elongation_pct, build_id. Did "
        "you mean 'oils'?\n"
        "  run values: no column 'build_id'; expected the columns run_id, pin, oil, elongation_pct, build_id.")


def test_no_valid_run_says_how_many_are_recorded():
    with pytest.raises(ModelError) as stopped:
        fit(brief(), changed(verdict=dict.fromkeys(range(12), "pending")), Y)
    assert str(stopped.value) == (
        "elongation_pct: no valid run of the main phase has a value yet (12 recorded). Enter the measurements, or "
        "judge the runs that are pending.")


def with_pilot(build):
    """The run values with four runs of a pilot in one build before them."""
    pilot = runs_of(pin_by_oil((0.10, 0.09, 0.08, 0.07), builds=(build,)), ["pin", "oil"], Y, build="build")
    pilot["run_id"] = ["P1", "P2", "P3", "P4"]
    return pd.concat([pilot.assign(phase="pilot"), RUNS.assign(phase="main")], ignore_index=True)


def test_a_pilot_that_lends_its_scatter_is_left_out_and_told():
    made = fit(brief(pilot=Pilot(use="scatter")), with_pilot("PB1"), Y)
    assert len(made.y) == 12
    assert "4 runs of the pilot only lend their scatter and are not in this analysis" in made.notes


@pytest.mark.parametrize("build, label", [("PB1", "PB1"), ("B1", "B1 (pilot)")])
def test_a_pilot_that_counts_is_a_block_of_its_own(build, label):
    made = fit(brief(pilot=Pilot(use="block")), with_pilot(build), Y)
    assert list(dict.fromkeys(made.runs["build_id"])) == [label, "B1", "B2", "B3"]
    assert made.mean_squares["run"][1] == 16 - 4 - 3
    assert "4 runs of the pilot count, each build of the pilot as a block of its own" in made.notes


def test_a_pilot_that_counts_beside_a_randomised_main_phase_is_its_second_block():
    made = fit(brief(block=None, pilot=Pilot(use="block")), with_pilot("PB1"), Y)
    assert list(dict.fromkeys(made.runs["build_id"])) == ["PB1", "main phase"]
    assert made.mean_squares["run"][1] == 16 - 4 - 1


def test_runs_of_an_extension_count_as_blocks_of_their_own():
    later = with_pilot("X1").assign(phase=lambda table: table["phase"].replace("pilot", "extension"))
    made = fit(brief(extension=Extension(builds=1)), later, Y)
    assert list(dict.fromkeys(made.runs["build_id"])) == ["X1", "B1", "B2", "B3"]
    assert made.mean_squares["run"][1] == 16 - 4 - 3
    assert "4 runs of the extension count, each build of the extension as a block of its own" in made.notes
    alone = fit(brief(), later, Y)
    assert len(alone.y) == 12
    assert "4 runs of an extension are not in this analysis, because the brief has no [extension]" in alone.notes


def test_an_extension_beside_a_randomised_main_phase_is_one_block_and_a_pilot_that_counts_another():
    three = pd.concat(
        [with_pilot("B1"), with_pilot("X1").iloc[:4].assign(phase="extension", run_id=["E1", "E2", "E3", "E4"])]
    )
    made = fit(brief(block=None, pilot=Pilot(use="block"), extension=Extension(replicates=1)), three, Y)
    assert list(dict.fromkeys(made.runs["build_id"])) == ["B1", "main phase", "extension"]
    assert made.mean_squares["run"][1] == 20 - 4 - 2
    assert "4 runs of the extension count, as one block" in made.notes
    # An extension that is written down and not run changes nothing.
    not_yet = fit(brief(block=None, extension=Extension(replicates=1)), RUNS, Y)
    assert not_yet.mean_squares["run"][1] == 12 - 4


def test_an_extension_cannot_count_where_builds_are_units():
    asked = brief_of(DATA, ["pin", "oil"], Y, build_level=["pin"], scale="log", extension=Extension(builds=1))
    with pytest.raises(ModelError) as stopped:
        fit(asked, RUNS, Y)
    assert str(stopped.value) == (
        "[extension]: not covered where builds are the units of a factor, because a build of the extension would count "
        "as one more unit of the main phase. Delete the section.")


def test_a_pilot_cannot_count_where_builds_are_units():
    asked = brief_of(DATA, ["pin", "oil"], Y, build_level=["pin"], scale="log", pilot=Pilot(use="block"))
    with pytest.raises(ModelError) as stopped:
        fit(asked, RUNS, Y)
    assert str(stopped.value) == (
        'pilot, use = "block": not covered where builds are the units of a factor, because a build of the pilot would '
        'count as one more unit of the main phase. Write use = "scatter".')


def test_an_unknown_phase_is_refused():
    with pytest.raises(ModelError) as stopped:
        fit(brief(), RUNS, Y, phase="later")
    assert str(stopped.value) == "phase = 'later': expected one of 'pilot', 'main' or 'extension'."
