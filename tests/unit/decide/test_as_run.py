"""As run beside as planned: awkward campaigns with answers counted by hand, from X'X, or from the textbook.

Variance of a difference after one lost run of complete blocks, s2 (2/r + t / (r (r-1) (t-1))), for the treatment that
lost it against another: F. Yates, Empire Journal of Experimental Agriculture 1 (1933) 129-142; Cochran and Cox,
Experimental Designs, missing-value section (from memory). Variance of an equally weighted mean over unequal numbers of
runs, s2 sum(1/n) / cells^2: any textbook.
"""

import dataclasses
import json
import math

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, stats

from tests.reference.loader import load
from tests.unit import briefs
from tests.unit.decide.made import BRIEF, as_made, noted
from tests.unit.model.made import brief_of, runs_of
from tests.unit.size.test_promise import scatter
from toolkit.brief.model import Comparison, Pilot, PlanChoice
from toolkit.decide import as_run, states
from toolkit.design import factorial, orders
from toolkit.intake import records
from toolkit.size import promise

CELLS = {("P0", "O0"): 0, ("P0", "O1"): 1, ("P1", "O0"): 2, ("P1", "O1"): 3}
ROWS = {"coating": (-0.5, -0.5, 0.5, 0.5), "new oil": (-0.5, 0.5, -0.5, 0.5), "both together": (-1, 0, 0, 1),
        "coating needs the new oil": (1, -1, -1, 1)}  # fmt: skip


def found(brief=BRIEF, scatters=(), **how):
    """What is told of an awkward campaign."""
    planned, told = as_made(brief, **how)
    return as_run.as_run(brief, planned, told, scatters=scatters)


def line(table, **where):
    """The one row of a table with these values."""
    chosen = table
    for name, value in where.items():
        chosen = chosen[chosen[name] == value]
    assert len(chosen) == 1
    return chosen.iloc[0]


def by_hand(runs, name):
    """Error df and standard error in error SDs, from dummy columns of builds and combinations and a plain inverse."""
    builds = pd.get_dummies(runs["build"]).to_numpy(float)
    cells = np.zeros((len(runs), 4))
    for at, key in enumerate(zip(runs["pin"], runs["oil"], strict=True)):
        cells[at, CELLS[key]] = 1.0
    x = np.hstack([builds, cells[:, 1:]])
    row = np.concatenate([np.zeros(builds.shape[1]), ROWS[name][1:]])
    return len(x) - x.shape[1], math.sqrt(row @ np.linalg.inv(x.T @ x) @ row)


def runs_as_run(told):
    """Build and combination of the valid runs of the table, as run."""
    valid = told.table[told.table["verdict"] == "valid"]
    return pd.DataFrame({"build": valid["build_id_as_run"], "pin": valid["pin_as_run"], "oil": valid["oil_as_run"]})


def error_df(told, side):
    """The error df between runs of the first response."""
    return line(told.strata, response="wear_um", stratum="run")[f"error_df_{side}"]


def test_a_campaign_as_planned_is_told_alike_on_both_sides():
    told = found()
    assert told.sentence == "Of 12 planned runs: 12 as planned."
    assert set(told.table["differs"]) == {"as planned"}
    assert told.aliases.empty and "error_df_expected" not in told.power
    # Complete blocks: (3 - 1)(4 - 1) df; a main effect over 12 runs has variance 4/12, corner against corner 2/3.
    for name, square in (("coating", 1 / 3), ("both together", 2 / 3), ("coating needs the new oil", 4 / 3)):
        row = line(told.power, response="wear_um", comparison=name)
        for side in ("planned", "as_run"):
            assert row[f"error_df_{side}"] == 6
            assert row[f"std_error_factor_{side}"] == pytest.approx(math.sqrt(square))
        assert row["with_run_order_planned"] == pytest.approx(row["with_run_order_as_run"])
    build = line(told.strata, response="wear_um", stratum="build")
    assert (build["units_planned"], build["units_as_run"], build["error_df_as_run"]) == (3, 3, None)


def test_a_lost_run_has_the_textbook_variance():
    # R06 is P1 with O1, one of the two corners.
    told = found(lost=["R06"])
    assert error_df(told, "planned") == 6 and error_df(told, "as_run") == 5
    row = line(told.power, response="wear_um", comparison="both together")
    assert row["std_error_factor_as_run"] ** 2 == pytest.approx(2 / 3 + 4 / (3 * 2 * 3))
    assert row["std_error_factor_planned"] ** 2 == pytest.approx(2 / 3)
    assert told.sentence == "Of 12 planned runs: 11 as planned, 1 void (R06)."
    assert line(told.table, run_id="R06")["differs"] == (
        "invalid: coolant leak, aborted at 40 h; 40 h, window 99 to 101 h"
    )


AWKWARD = {
    "wrong treatment": {"R05_pin": "P1"},
    "two runs exchanged": {"R05_pin": "P1", "R06_pin": "P0"},
    "wrong build": {"R06_build_id": "B1"},
    "a run more": {"added": [{"run_id": "R13", "planned_order": 13, "actual_order": 13, "build_id": "B3"}]},
    "all at once": {
        "lost": ["R08"], "R05_pin": "P1", "R06_build_id": "B1",
        "added": [{"run_id": "R13", "planned_order": 13, "actual_order": 13, "build_id": "B3"}],
    },
}  # fmt: skip


@pytest.mark.parametrize("how", AWKWARD)
def test_errors_as_run_are_those_of_the_runs_as_made(how):
    told = found(**AWKWARD[how])
    for name in ROWS:
        df, factor = by_hand(runs_as_run(told), name)
        row = line(told.power, response="wear_um", comparison=name)
        assert (row["error_df_as_run"], row["error_df_planned"]) == (df, 6)
        assert row["std_error_factor_as_run"] == pytest.approx(factor)


def test_what_differs_is_told_run_by_run():
    told = found(**AWKWARD["all at once"], R04_run_time_h=98.0, pending=["R11"])
    assert dict(zip(told.table["run_id"], told.table["differs"], strict=True)) == {
        **{f"R{at:02d}": "as planned" for at in (1, 2, 3, 7, 9, 10, 12)},
        "R04": "98 h, window 99 to 101 h",
        "R05": "pin P1, planned P0",
        "R06": "build B1, planned B2",
        "R08": "invalid: coolant leak, aborted at 40 h; 40 h, window 99 to 101 h",
        "R11": "pending",
        "R13": "not in the plan",
    }
    assert told.sentence == (
        "Of 12 planned runs: 7 as planned, 3 otherwise (R04, R05, R06), 1 void (R08), 1 pending (R11). Not in the "
        "plan: R13."
    )
    assert list(told.table["run_id"]) == [f"R{at:02d}" for at in range(1, 14)]
    row = line(told.table, run_id="R05")
    assert (row["pin_planned"], row["pin_as_run"], row["build_id_planned"], row["build_id_as_run"]) == (
        "P0", "P1", "B2", "B2")  # fmt: skip
    assert line(told.table, run_id="R11")["pin_as_run"] is None
    assert line(told.table, run_id="R13")["pin_planned"] is None


def test_what_was_noted_after_a_look_is_marked():
    notes = [
        noted("R02", "run_time_h", "100", "100.2"),
        noted("R03", "run_time_h", "100", "100.4", late=True),
        noted("R06", "verdict", "valid", "invalid", late=True),
    ]
    told = found(corrections=notes)
    assert {name: line(told.table, run_id=name)["differs"] for name in ("R02", "R03", "R06")} == {
        "R02": "as planned",
        "R03": "run time noted after a look",
        "R06": "invalid: slip of the pen; verdict noted after a look",
    }
    assert line(told.table, run_id="R03")["run_time_h_as_run"] == 100.4
    assert error_df(told, "as_run") == 5


def test_a_part_that_is_not_the_allotted_one_is_told():
    planned, told = as_made(corrections=[noted("R04", "part_id", "", "KM372"), noted("R05", "part_id", "", "PT468")])
    allotted = planned.assign(part_id=[f"HG42{at}" for at in range(12)])
    allotted.loc[allotted["run_id"] == "R05", "part_id"] = "PT468"
    found = as_run.as_run(BRIEF, allotted, told)
    row = line(found.table, run_id="R04")
    assert (row["part_id_planned"], row["part_id_as_run"], row["differs"]) == (
        "HG423", "KM372", "part KM372, planned HG423")  # fmt: skip
    assert line(found.table, run_id="R05")["differs"] == "as planned"
    assert line(found.table, run_id="R06")["part_id_as_run"] is None


def test_an_exchanged_pair_is_balanced_again_and_says_so():
    # R05 and R06 lie in one build and have the same oil: exchanging their pins only exchanges the runs.
    told = found(**AWKWARD["two runs exchanged"])
    assert [line(told.table, run_id=name)["differs"] for name in ("R05", "R06")] == [
        "pin P1, planned P0", "pin P0, planned P1"]  # fmt: skip
    row = line(told.power, response="wear_um", comparison="coating")
    assert row["std_error_factor_as_run"] == pytest.approx(math.sqrt(1 / 3))


def test_another_order_changes_what_drift_could_do_and_nothing_else():
    # The last run of the first build is made first; of the order only the run that was moved is named.
    told = found(R04_actual_order=1, R01_actual_order=2, R02_actual_order=3, R03_actual_order=4)
    assert line(told.table, run_id="R04")["differs"] == "place 1, planned 4"
    assert set(told.table.loc[told.table["run_id"] != "R04", "differs"]) == {"as planned"}
    row = line(told.power, response="wear_um", comparison="coating")
    assert row["std_error_factor_as_run"] == row["std_error_factor_planned"]
    # Balanced: the weights of the comparison are +1 and -1 by the pin, so the correlation is that with the pin.
    for side, order in (("planned", "planned_order"), ("as_run", "actual_order")):
        pin = np.where(told.table["pin_as_run"] == "P1", 1.0, -1.0)
        assert row[f"with_run_order_{side}"] == pytest.approx(np.corrcoef(pin, told.table[order].astype(float))[0, 1])
    assert row["with_run_order_planned"] != pytest.approx(row["with_run_order_as_run"], abs=0.05)


def test_a_combination_that_was_never_run_is_an_alias_as_run_and_not_as_planned():
    # Every P1 with O1 was built with P0: the hand algebra stands in test_aliases.
    told = found(R04_pin="P0", R06_pin="P0", R10_pin="P0")
    asked = told.aliases[told.aliases["response"] == "wear_um"]
    said = {row["comparison"] or row["term"]: (row["planned"], row["as_run"]) for row in asked.to_dict("records")}
    assert said == {
        "coating": ("", "confounded with pin × oil (or with oil)"),
        "new oil": ("", "confounded with pin × oil (or with pin)"),
        "both together": ("", "confounded with pin × oil"),
        "coating needs the new oil": ("", "confounded with pin (or with oil)"),
        "pin": ("", "confounded with pin × oil (or with oil)"),
        "oil": ("", "confounded with pin × oil (or with pin)"),
        "pin × oil": ("", "confounded with pin (or with oil)"),
    }
    assert set(asked["helps"]) == {
        "not estimable: no run of pin P1, oil O1. One run of pin P1, oil O1 would make it estimable."
    }
    row = line(told.power, response="wear_um", comparison="coating")
    assert (row["error_df_as_run"], row["std_error_factor_as_run"], row["error_df_planned"]) == (None, None, 6)
    # 12 runs, 3 builds, 3 combinations.
    assert error_df(told, "as_run") == 12 - 3 - 2


def test_pending_runs_are_expected_as_planned():
    told = found(pending=["R11", "R12"], lost=["R06"])
    row = line(told.strata, response="wear_um", stratum="run")
    assert [row[f"units_{side}"] for side in ("planned", "as_run", "expected")] == [12, 9, 11]
    assert [row[f"error_df_{side}"] for side in ("planned", "as_run", "expected")] == [6, 3, 5]
    expected = line(told.power, response="wear_um", comparison="both together")["std_error_factor_expected"]
    assert expected**2 == pytest.approx(2 / 3 + 4 / 18)


def test_runs_without_a_value_count_for_the_other_responses():
    told = found(R03_torque_Nm=None)
    runs = told.strata[told.strata["stratum"] == "run"].set_index("response")
    assert runs["error_df_as_run"].to_dict() == {"wear_um": 6, "torque_Nm": 5}


def test_unequal_numbers_of_a_published_factorial():
    # k04-warpbreaks-unequal-n: 41 looms, residual df 35 (R); runs by combination as R counted them.
    case = load("k04-warpbreaks-unequal-n")
    names = ["wool", "tension"]
    asked = (Comparison("wool", of={"wool": "B"}, against={"wool": "A"}),)
    brief = brief_of(case.data, names, "breaks", levels={"wool": ["A", "B"], "tension": ["L", "M", "H"]},
                     comparisons=asked)  # fmt: skip
    runs = runs_of(case.data, names, "breaks").assign(phase="main", actual_order=range(1, len(case.data) + 1))
    laid = states.state(brief, "as_run", runs, "actual_order")
    assert states.strata_rows("breaks", [laid])[0]["error_df_as_run"] == case.expected("type1.Residuals.df") == 35
    counts = [case.expected(f"n.{wool}:{tension}") for wool in "AB" for tension in "LMH"]
    row = states.power_rows(brief, "breaks", [laid], None)[0]
    assert row["std_error_factor_as_run"] == pytest.approx(math.sqrt(sum(1 / n for n in counts)) / 3)


def whole_plots(drop=0):
    """A factor changed with the build, with the first runs void."""
    brief = briefs.whole_plots()
    brief = dataclasses.replace(
        brief, responses=(dataclasses.replace(brief.responses[0], stations=None, per_run="value"),)
    )
    planned = orders.randomise(factorial.full(brief), seed=1).table
    runs = planned.assign(actual_order=planned["planned_order"], run_time_h=100.0, verdict="valid", reason="", role="e",
                          elongation_pct=0.1).drop(columns="replicate")  # fmt: skip
    runs.loc[runs.index < drop, ["verdict", "reason"]] = ["invalid", "lost"]
    return brief, planned, records.from_tables(brief, runs=runs, plan=planned)


def test_whole_plots_have_both_errors():
    told = as_run.as_run(*whole_plots())
    # 8 builds, 2 levels: 6 df between builds, 6 between runs of a build; the mixed comparison has no single factor.
    assert [line(told.strata, stratum=name)["error_df_as_run"] for name in ("build", "run")] == [6, 6]
    row = line(told.power, comparison="sprocket")
    assert (row["stratum"], row["error_df_as_run"], row["std_error_factor_as_run"]) == ("build", 6, 0.5)
    both = line(told.power, comparison="both")
    assert (both["stratum"], both["std_error_factor_as_run"]) == ("build and run", None)


def test_unbalanced_whole_plots_have_no_whole_error_df():
    told = as_run.as_run(*whole_plots(drop=1))
    assert told.not_covered == ("elongation_pct: its scatter before the runs is not known, so no chances are told",)
    assert [line(told.strata, stratum=name)["error_df_as_run"] for name in ("build", "run")] == [None, None]
    assert [line(told.strata, stratum=name)["error_df_planned"] for name in ("build", "run")] == [6, 6]
    row = line(told.power, comparison="oil")
    assert (row["error_df_planned"], row["error_df_as_run"], row["chance_shown_as_run"]) == (6, None, None)


def test_a_build_level_factor_that_changed_within_a_build_is_not_covered():
    brief, planned, told = whole_plots()
    runs = told.runs
    runs.loc[0, "sprocket"] = "S1" if runs.loc[0, "sprocket"] == "S0" else "S0"
    again = records.from_tables(brief, runs=runs, plan=planned)
    found = as_run.as_run(brief, planned, again)
    assert found.not_covered[0].startswith("as run: build 'B1': factor 'sprocket' changes within the build (")


def one_comparison():
    """The campaign with one comparison of one response, a true change of 0.25 in ln assumed."""
    asked = Comparison("coating", of={"pin": "P1"}, against={"pin": "P0"}, assumed_change_pct=100 * -math.expm1(-0.25))
    return dataclasses.replace(BRIEF, responses=BRIEF.responses[:1], comparisons=(asked,), families=())


def power(factor, df, sd=0.13, change=0.25):
    """Power of a two-sided t test at 5 %, by integrating over the law of the error estimate."""
    half = stats.t.isf(0.025, df)

    def at(chi):
        reach = half * factor * sd * math.sqrt(chi / df)
        within = stats.norm.cdf((reach - change) / (factor * sd)) - stats.norm.cdf((-reach - change) / (factor * sd))
        return (1.0 - within) * stats.chi2.pdf(chi, df)

    return integrate.quad(at, 0, 60 * df, limit=200)[0]


def test_chances_as_run_follow_from_the_runs_as_made():
    brief = one_comparison()
    # The scatter taken as known, so that the chance is plain power, by numerical integration.
    told = found(brief, scatters=[scatter(brief, df=math.inf)], lost=["R06"], R05_pin="P1", with_plan=False)
    row = line(told.power, comparison="coating")
    assert row["assumed_change"] == pytest.approx(100 * -math.expm1(-0.25))
    assert row["chance_shown_planned"] == pytest.approx(power(math.sqrt(1 / 3), 6), abs=1e-5)
    df, factor = by_hand(runs_as_run(told), "coating")
    assert row["chance_shown_as_run"] == pytest.approx(power(factor, df), abs=1e-5)
    assert row["chance_shown_as_run"] < row["chance_shown_planned"] - 0.05


def test_the_chance_as_planned_is_that_of_the_sizing():
    brief = one_comparison()
    known = scatter(brief)
    told = found(brief, scatters=[known])
    claim = promise.claims([factorial.full(brief)], known)[0][0]
    assert line(told.power, comparison="coating")["chance_shown_planned"] == pytest.approx(claim.assurance, rel=1e-12)
    assert told.not_covered == ()
    assert found(brief).not_covered == (
        "wear_um: its scatter before the runs is not known, so no chances are told",
    )


def test_a_pilot_that_counts_is_one_more_block_on_both_sides():
    combinations = ({"pin": "P0", "oil": "O0"}, {"pin": "P1", "oil": "O0"})
    brief = dataclasses.replace(one_comparison(), pilot=Pilot(combinations, replicates=2, builds=1, use="block"))
    planned, told = as_made(brief)
    rows = told.runs.drop(columns=["part_id"], errors="ignore")
    pilot = pd.DataFrame([
        {**rows.iloc[0].to_dict(), "run_id": f"P{at:02d}", "phase": "pilot", "build_id": "PB1", "planned_order": at,
         "actual_order": at, "pin": f"P{at % 2}", "oil": "O0"} for at in range(1, 5)
    ])  # fmt: skip
    both = records.from_tables(brief, runs=pd.concat([pilot, rows], ignore_index=True))
    found = as_run.as_run(brief, planned, both)
    row = line(found.strata, response="wear_um", stratum="run")
    # 16 runs less four builds less three df of the combinations.
    assert [row[f"{name}_{side}"] for name in ("units", "error_df") for side in ("planned", "as_run")] == [16, 16, 9, 9]


def test_a_pending_run_of_unknown_treatment_is_not_expected_anywhere():
    _, told = as_made(with_plan=False, pending=["R12"], R12_pin=None)
    found = as_run.as_run(BRIEF, None, told)
    assert found.not_covered[0] == "once pending runs are in: the treatment or build of R12 is not known"
    assert error_df(found, "expected") is None and error_df(found, "as_run") == 5


def test_what_pending_runs_will_put_right_is_said():
    # So far no run of P1 with O1 is in; R04, R06 and R10 are to come.
    told = found(pending=["R04", "R06", "R10"])
    row = line(told.aliases, response="wear_um", comparison="coating")
    assert (row["planned"], row["as_run"], row["expected"], row["helps"]) == (
        "", "confounded with pin × oil (or with oil)", "", "the pending runs, as planned")  # fmt: skip


def test_a_lost_run_that_an_amendment_made_again_is_planned_once():
    again = {"run_id": "R13", "planned_order": 13, "actual_order": 13, "build_id": "B2", "pin": "P1", "oil": "O0"}
    planned, told = as_made(lost=["R08"], added=[again], with_plan=False)
    more = pd.DataFrame([{**again, "phase": "main"}]).drop(columns="actual_order")
    amended = pd.concat([planned, more], ignore_index=True)
    amended["given_up"] = ["made again as R13" if name == "R08" else "" for name in amended["run_id"]]
    found = as_run.as_run(BRIEF, amended, told)
    assert line(found.table, run_id="R08")["differs"] == (
        "invalid: coolant leak, aborted at 40 h; made again as R13; 40 h, window 99 to 101 h"
    )
    assert line(found.table, run_id="R13")["differs"] == "as planned"
    row = line(found.strata, response="wear_um", stratum="run")
    # Whole again: twelve runs in three builds on both sides.
    assert [row[f"{name}_{side}"] for name in ("units", "error_df") for side in ("planned", "as_run")] == [12, 12, 6, 6]


def test_without_a_plan_there_is_one_side_only():
    _, told = as_made(with_plan=False)
    found = as_run.as_run(BRIEF, None, told)
    assert found.sentence == "There is no sealed plan to set the runs against."
    assert set(found.table["differs"]) == {""}
    assert "error_df_planned" not in found.power and error_df(found, "as_run") == 6


def test_nothing_run_yet_is_told_without_numbers():
    told = found(pending=[f"R{at:02d}" for at in range(1, 13)])
    assert told.not_covered[0] == "as run: no run yet"
    assert (error_df(told, "planned"), error_df(told, "expected")) == (6, 6)
    assert error_df(told, "as_run") is None
    assert told.sentence.startswith("Of 12 planned runs: 0 as planned, 12 pending (R01, R02, ")


def test_interactions_declared_nil_are_carried_once_runs_differ():
    brief = dataclasses.replace(
        BRIEF, comparisons=BRIEF.comparisons[:1], plan=PlanChoice(builds=3, nil_interactions=(("pin", "oil"),))
    )
    told = found(brief, R05_pin="P1")
    row = line(told.aliases, response="wear_um", comparison="coating")
    # Least squares by hand of the share: w'z over 4, w from dummy columns without the interaction.
    runs = runs_as_run(told)
    x = np.hstack([pd.get_dummies(runs["build"]).to_numpy(float), (runs[["pin"]] == "P1").to_numpy(float),
                   (runs[["oil"]] == "O1").to_numpy(float)])  # fmt: skip
    z = np.where(runs["pin"] == "P1", 1.0, -1.0) * np.where(runs["oil"] == "O1", 1.0, -1.0)
    share = (np.linalg.inv(x.T @ x) @ x.T @ z)[3] / 4
    assert share == pytest.approx(-1 / 16, rel=1e-12)
    assert row["planned"] == ""
    # A tie goes to the even digit, on whichever side of it the last bit puts it.
    assert row["as_run"] == "carries −0.062 of pin × oil, declared nil"


def test_json_holds_nulls_and_no_nan():
    told = found(pending=["R11"], lost=["R06"], R04_pin="P0", R10_pin="P0").to_json()
    assert json.loads(json.dumps(told, allow_nan=False)) == told
    assert list(told) == ["sentence", "runs", "strata", "aliases", "power", "not_covered", "planned_terms"]
    assert told["planned_terms"] == ["build", "pin", "oil", "pin × oil"]
    assert told["runs"][10]["pin_as_run"] is None
