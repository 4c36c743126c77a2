"""The fit of a response: mean squares of the strata, and what is found before fitting."""

import numpy as np
import pandas as pd
import pytest

from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of, simple
from tests.unit.numeric import mixed_by_rows as by_rows
from toolkit.brief.model import Comparison
from toolkit.errors import DesignError
from toolkit.model._estimates import of_row
from toolkit.model.anova import table
from toolkit.model.comparisons import comparisons, effects, means
from toolkit.model.comparisons import means as means_of
from toolkit.model.diagnostics import checks
from toolkit.model.fit import fit
from toolkit.model.levels import simple_tests
from toolkit.model.presented import presented
from toolkit.model.randomisation import exact_p
from toolkit.model.settling import settle

Y = "elongation_pct"
DATA = pin_by_oil(INVENTED)


def built(seed=5, builds=6, within=2):
    """Builds of one pin each, both oils ``within`` times in each; INVENTED."""
    draw = np.random.default_rng(seed)
    lines = [
        (f"B{at + 1}", f"P{at % 2}", oil, level + draw.normal())
        for at in range(builds)
        for level in (draw.normal(10.0, 2.0),)
        for oil in ("O0", "O1") * within
    ]
    return pd.DataFrame(lines, columns=["build", "pin", "oil", "y"])


def test_whole_plots_agree_with_least_squares_on_build_means_and_within_builds():
    data = built()
    made = fit(brief_of(data, ["pin", "oil"], "y", build_level=["pin"]),
               runs_of(data, ["pin", "oil"], "y", build="build"), "y")
    # Between builds: two-sample variance of the six build means, on the scale of one of four runs.
    average = data.groupby("build")["y"].mean()
    pin = data.groupby("build")["pin"].first()
    between = sum(((average[pin == level] - average[pin == level].mean()) ** 2).sum() for level in ("P0", "P1"))
    assert made.mean_squares["build"] == (pytest.approx(4 * between / 4, rel=1e-12), 4)
    # Within builds: what builds, oil and pin by oil leave, by numpy's own least squares.
    marks = pd.get_dummies(data["build"]).to_numpy(dtype=float)
    oil = np.where(data["oil"] == "O0", 1.0, -1.0)
    columns = np.column_stack([marks, oil, oil * np.where(data["pin"] == "P0", 1.0, -1.0)])
    rest = data["y"].to_numpy() - columns @ np.linalg.lstsq(columns, data["y"].to_numpy(), rcond=None)[0]
    assert made.mean_squares["run"] == (pytest.approx(rest @ rest / 16, rel=1e-12), 16)
    np.testing.assert_allclose(made.residuals, rest, atol=1e-12)


def test_whole_plots_that_are_not_balanced_are_judged_by_kenward_and_roger():
    data = built()
    runs = runs_of(data, ["pin", "oil"], "y", build="build").iloc[1:].reset_index(drop=True)
    brief = brief_of(data, ["pin", "oil"], "y", build_level=["pin"])
    made = fit(brief, runs, "y")
    assert made.notes[1:3] == (
        "a factor changed with the build is judged by the scatter between builds",
        "build B1 does not hold the same combinations as the other builds: scatter between builds and between runs by "
        "restricted maximum likelihood, standard errors and df by Kenward and Roger in place of exact mean squares",
    )
    # An independent route: likelihood, generalised least squares and Kenward and Roger's formulas on all runs.
    y = runs["y"].to_numpy()
    parts = by_rows.sources([runs["build_id"].tolist()])
    pin, oil = (np.where(runs[name] == low, 1.0, -1.0) for name, low in (("pin", "P0"), ("oil", "O0")))
    x = np.column_stack([np.ones(len(y)), pin, oil, pin * oil])
    variances = made.mixed.fit.variances
    assert by_rows.is_best(y, x, parts, variances, step=0.02)
    beta = by_rows.coefficients(y, x, parts, variances)
    np.testing.assert_allclose(made.beta, beta, rtol=1e-8)
    for name, at in (("pin", 1), ("oil", 2), ("pin × oil", 3)):
        row = np.zeros(4)
        row[at] = 1.0
        cov, df, _ = by_rows.kenward_roger(x, parts, variances, row[None, :])
        found = of_row(made, -2.0 * row)
        assert found.value == pytest.approx(-2.0 * beta[at], rel=1e-8)
        assert found.std_error == pytest.approx(2.0 * np.sqrt(row @ cov @ row), rel=1e-8)
        assert found.df == pytest.approx(df, rel=1e-7)
        if at == 3:
            line = table(made).set_index("term").loc[name]
            assert line["f"] == pytest.approx(beta[at] ** 2 / (row @ cov @ row), rel=1e-7)
            assert line["error_df"] == pytest.approx(df, rel=1e-7)
            assert line["sum_sq"] is None
            assert line["note"] == "no sum of squares of its own: F and error df by Kenward and Roger"
    # What differs within builds, by least squares with a column for each build.
    full = np.hstack([pd.get_dummies(runs["build_id"]).to_numpy(dtype=float), x])
    rest = y - full @ np.linalg.lstsq(full, y, rcond=None)[0]
    df = len(y) - np.linalg.matrix_rank(full)
    assert made.mean_squares == {"run": (pytest.approx(rest @ rest / df, rel=1e-10), df)}
    np.testing.assert_allclose(made.residuals, rest, atol=1e-10)


def test_a_combination_that_no_build_holds_is_judged_by_kenward_and_roger():
    data = built()
    uneven = runs_of(data, ["pin", "oil"], "y", build="build")
    uneven = uneven.drop([at for at in range(len(uneven)) if at % 4 == 3]).reset_index(drop=True)
    made = fit(brief_of(data, ["pin", "oil"], "y", build_level=["pin"]), uneven, "y")
    assert made.mixed is not None
    assert made.strata.unbalanced == (
        "in each build not every combination of what changes there is run equally often"
    )


def test_where_builds_cannot_be_judged_what_is_compared_within_them_still_is():
    """One build of each pin, a run lost: oil by least squares with a column for each build; pin without an error."""
    data = built(builds=2, within=3)
    runs = runs_of(data, ["pin", "oil"], "y", build="build").drop(index=[0]).reset_index(drop=True)
    asked = (
        Comparison("pin", of={"pin": "P1"}, against={"pin": "P0"}),
        Comparison("oil", of={"oil": "O1"}, against={"oil": "O0"}),
        Comparison("both", interaction=("pin", "oil")),
    )
    made = fit(brief_of(data, ["pin", "oil"], "y", build_level=["pin"], comparisons=asked), runs, "y")
    assert made.within and made.mixed is None
    assert made.notes[2] == (
        "build B1 does not hold the same combinations as the other builds, and the terms tell the 2 builds apart "
        "completely, so nothing is left to judge what changes with the build. Add a build of a level that has one, or "
        "declare an interaction nil. What is compared within builds is answered from the differences there"
    )
    marks = pd.get_dummies(runs["build_id"]).to_numpy(dtype=float)
    pin, oil = (np.where(runs[name] == low, 1.0, -1.0) for name, low in (("pin", "P0"), ("oil", "O0")))
    x = np.column_stack([marks, oil, pin * oil])
    y = runs["y"].to_numpy()
    beta = np.linalg.lstsq(x, y, rcond=None)[0]
    rest = y - x @ beta
    square = rest @ rest / 7
    inverse = np.linalg.inv(x.T @ x)
    assert made.mean_squares == {"build": (None, 0), "run": (pytest.approx(square, rel=1e-10), 7)}
    table_of = comparisons(made).set_index("comparison")
    for name, at, times in (("oil", 2, -2.0), ("both", 3, 4.0)):
        line = table_of.loc[name]
        assert line["estimate"] == pytest.approx(times * beta[at], rel=1e-9)
        assert line["std_error"] == pytest.approx(abs(times) * np.sqrt(square * inverse[at, at]), rel=1e-9)
        assert (line["df"], line["error_stratum"]) == (7, "run")
    line = table_of.loc["pin"]
    assert line["conf_low"] is None and line["std_error"] is None
    assert line["note"].startswith("no error estimate, so no interval and no test: add builds:")
    # The pins without an error: from the build means, the oils' part of them taken out.
    means = [y[marks[:, at] == 1.0].mean() - (x[:, 2:] @ beta[2:])[marks[:, at] == 1.0].mean() for at in (0, 1)]
    assert line["estimate"] == pytest.approx(means[1] - means[0], rel=1e-9)
    lines = table(made).set_index("term")
    assert list(lines.index) == ["pin", "oil", "pin × oil", "error (run)"]
    assert (lines.loc["pin", "f"], lines.loc["pin", "error_df"]) == (None, 0)
    assert lines.loc["pin × oil", "f"] == pytest.approx(beta[3] ** 2 / (square * inverse[3, 3]), rel=1e-9)
    tested = simple_tests(made, "oil", ["pin"])
    row = np.array([0.0, 0.0, -2.0, -2.0])
    assert tested["f"].iloc[0] == pytest.approx((row @ beta) ** 2 / (square * row @ inverse @ row), rel=1e-9)
    assert tested["note"].tolist() == ["", ""]
    assert [row["f"] for row in simple_tests(made, "pin", ["oil"]).to_dict("records")] == [None, None]
    # Everything beside the answers says what it cannot tell.
    assert {line for line in presented(made)["note"]} >= {
        "neither side has a mean of its own that these runs can tell"
    }
    assert settle(made)["sentence"].tolist()[1].startswith("oil: build B1 does not hold the same combinations")
    assert exact_p(made)["sentence"].tolist()[1].endswith("no exact test")
    assert checks(made).table["result"].tolist()[0] != "not testable"
    assert len(effects(made)) == 3 and len(means_of(made)) == 8


def test_a_build_level_factor_that_changes_within_a_build_is_refused():
    data = built()
    runs = runs_of(data, ["pin", "oil"], "y", build="build")
    runs.loc[0, "pin"] = "P1"
    with pytest.raises(DesignError, match=r"^build 'B1': factor 'pin' changes within the build \(P1 and P0\)"):
        fit(brief_of(data, ["pin", "oil"], "y", build_level=["pin"]), runs, "y")


def test_the_log_scale_is_ln_of_the_run_values():
    made = fit(brief_of(DATA, ["pin", "oil"], Y, block="build", scale="log"),
               runs_of(DATA, ["pin", "oil"], Y, build="build"), Y)
    np.testing.assert_allclose(made.y, np.log(INVENTED), rtol=1e-15)
    # By hand: the two-way layout of four combinations in three builds.
    square = np.log(np.array(INVENTED)).reshape(3, 4)
    rest = square - square.mean(axis=0) - square.mean(axis=1, keepdims=True) + square.mean()
    assert made.mean_squares == {"run": (pytest.approx((rest**2).sum() / 6, rel=1e-12), 6)}
    assert made.notes == (
        "ln of the run values; estimates are ratios of medians (geometric means)",
        "builds are fixed blocks: levels are compared within builds")


def test_a_saturated_plan_gives_estimates_without_intervals_and_says_what_to_do():
    data = DATA.iloc[:4]
    asked = [simple("coating", "pin", "P1", "P0")]
    made = fit(brief_of(data, ["pin", "oil"], Y, comparisons=asked), runs_of(data, ["pin", "oil"], Y), Y)
    assert made.mean_squares == {"run": (None, 0)}
    text = ("no error estimate, so no interval and no test: repeat runs: each of the 4 combinations that is run again "
            "gives 1 df of error; or declare an interaction nil in [plan] nil_interactions (such as pin × oil) if the "
            "trade knows that it is; or report the estimates alone")
    found = made.findings.to_dict("records")
    assert [(row["rule"], row["found"], row["action"]) for row in found] == [
        ("no error estimate", "0 df of error between runs", text)]
    row = comparisons(made).iloc[0]
    assert row["estimate"] == pytest.approx((0.079 + 0.066 - 0.101 - 0.094) / 2, rel=1e-12)
    assert [row[name] for name in ("std_error", "df", "conf_low", "conf_high", "p_value")] == [None] * 5
    assert row["note"] == text
    error = table(made).set_index("term").loc["error (run)"]
    assert (error["df"], error["sum_sq"], error["note"]) == (0, None, "no error estimate: no df left")
    assert table(made).set_index("term").loc["pin", "f"] is None


def test_saturated_builds_say_to_add_builds():
    data = built(builds=2)
    made = fit(brief_of(data, ["pin", "oil"], "y", build_level=["pin"], comparisons=[simple("c", "pin", "P1", "P0")]),
               runs_of(data, ["pin", "oil"], "y", build="build"), "y")
    assert made.mean_squares["build"] == (None, 0)
    assert made.mean_squares["run"][1] == 4
    assert comparisons(made).iloc[0]["note"].startswith(
        "no error estimate, so no interval and no test: add builds: at least one level of the build-level factors must "
        "be built twice (each build more gives 1 df of error)")


def test_a_comparison_confounded_with_builds_is_found_and_the_run_that_helps_named():
    data = DATA.assign(build=["B1" if pin == "P0" else "B2" for pin in DATA["pin"]])
    asked = [simple("coating", "pin", "P1", "P0"), simple("new oil", "oil", "O1", "O0")]
    made = fit(brief_of(data, ["pin", "oil"], Y, block="build", comparisons=asked),
               runs_of(data, ["pin", "oil"], Y, build="build"), Y)
    way_out = "Run both levels within the same build: one run of pin P1, oil O0 in build B1 would do."
    found = made.findings.to_dict("records")
    assert [(row["rule"], row["found"], row["action"]) for row in found] == [
        ("confounded with builds", "coating: its levels were not run in the same builds", way_out)]
    row = comparisons(made).set_index("comparison")
    assert row.loc["coating", "estimate"] is None
    assert row.loc["coating", "note"] == (
        "not estimable: the levels compared were not run in the same builds, so the change cannot be told from that "
        f"between builds. {way_out}")
    assert row.loc["new oil", "estimate"] == pytest.approx(
        DATA[Y][DATA["oil"] == "O1"].mean() - DATA[Y][DATA["oil"] == "O0"].mean(), rel=1e-12)
    # The run named does help.
    line = pd.DataFrame([{"build": "B1", "pin": "P1", "oil": "O0", Y: 0.08}])
    more = pd.concat([data, line], ignore_index=True)
    again = fit(made.brief, runs_of(more, ["pin", "oil"], Y, build="build"), Y)
    assert comparisons(again).iloc[0]["estimate"] is not None


def test_a_missing_combination_is_a_finding_and_what_needs_it_is_marked():
    data = DATA[(DATA["pin"] == "P0") | (DATA["oil"] == "O0")]
    asked = [simple("coating", "pin", "P1", "P0"), Comparison("needs", interaction=("pin", "oil"))]
    made = fit(brief_of(data, ["pin", "oil"], Y, block="build", comparisons=asked),
               runs_of(data, ["pin", "oil"], Y, build="build"), Y)
    found = made.findings.to_dict("records")
    assert [(row["severity"], row["rule"], row["found"], row["expected"], row["action"]) for row in found] == [(
        "note", "missing combination", "no run of pin P1, oil O1", "at least one valid run of every combination",
        "what needs it is marked not estimable. Run it; or declare the interaction nil in [plan] nil_interactions if "
        "the trade knows that it is; or compare only combinations that were run")]
    for row in comparisons(made).to_dict("records"):
        assert row["estimate"] is None
        assert row["note"] == (
            "not estimable: no run of pin P1, oil O1. One run of pin P1, oil O1 would make it estimable.")
    combination = means(made).set_index("contrast").loc["pin P1, oil O1"]
    assert (combination["estimate"], combination["runs"]) == (None, 0)


def test_two_missing_combinations_of_which_one_is_enough():
    data = pd.DataFrame([(pin, oil, turn) for pin in ("P0", "P1") for oil in ("O0", "O1", "O2") for turn in (1, 2)],
                        columns=["pin", "oil", "y"])
    data["y"] = np.arange(12.0) ** 1.5
    data = data[~((data["pin"] == "P1") & (data["oil"] != "O0"))]
    asked = [Comparison("coating at O2", of={"pin": "P1", "oil": "O2"}, against={"pin": "P0", "oil": "O2"}),
             simple("coating", "pin", "P1", "P0")]
    made = fit(brief_of(data, ["pin", "oil"], "y", comparisons=asked), runs_of(data, ["pin", "oil"], "y"), "y")
    notes = list(comparisons(made)["note"])
    start = "not estimable: no run of pin P1, oil O1 or pin P1, oil O2. One run of "
    assert notes == [start + "pin P1, oil O2 would make it estimable.",
                     start + "each of them would make it estimable."]


def test_repeats_that_agree_to_the_last_digit_are_not_tested():
    data = pin_by_oil((0.10, 0.09, 0.08, 0.07) * 3)
    asked = [simple("coating", "pin", "P1", "P0")]
    for scale in ("linear", "log"):
        made = fit(brief_of(data, ["pin", "oil"], Y, scale=scale, comparisons=asked),
                   runs_of(data, ["pin", "oil"], Y), Y)
        assert made.mean_squares == {"run": (0.0, 8)}
        assert made.notes[-1] == (
            "the error mean square of the run stratum is exactly 0: the repeats agree to the last digit, so nothing "
            "can be tested; were values copied?")
        row = comparisons(made).iloc[0]
        assert (row["std_error"], row["conf_low"], row["p_value"]) == (None, None, None)
        assert row["note"] == "the repeats agree to the last digit: no interval can be stated"
        assert set(table(made)["p_value"]) == {None}


def test_a_nil_interaction_is_told():
    made = fit(brief_of(DATA, ["pin", "oil"], Y, block="build", nil=[("pin", "oil")]),
               runs_of(DATA, ["pin", "oil"], Y, build="build"), Y)
    assert made.mean_squares["run"][1] == 7
    assert "pin × oil is declared nil and not in the model; its scatter counts as error" in made.notes


HOSTILE = ("__import__('os').system('touch canary')", "Q('x') + I(1/0)", "pin × oil", "0", "y ~ x", "'; DROP", "a\nb")


@pytest.mark.parametrize("name", HOSTILE)
def test_names_of_factors_and_levels_are_looked_up_and_never_run(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    data = DATA.rename(columns={"pin": name}).assign(**{"oil": DATA["oil"].map({"O0": name, "O1": "O1"})})
    plain = fit(brief_of(DATA, ["pin", "oil"], Y), runs_of(DATA, ["pin", "oil"], Y), Y)
    made = fit(brief_of(data, [name, "oil"], Y), runs_of(data, [name, "oil"], Y), Y)
    assert list(effects(made)["estimate"]) == list(effects(plain)["estimate"])
    assert list(tmp_path.iterdir()) == []


def test_a_run_alone_in_its_build_is_told():
    from tests.unit import briefs
    from toolkit.design import factorial

    brief = briefs.blocked()
    table = factorial.full(brief).table.assign(run_id=[f"R{n:02d}" for n in range(1, 13)], phase="main")
    table["verdict"] = "valid"
    table["elongation_pct"] = np.exp(np.random.default_rng(1).normal(size=12))
    table.loc[11, "build_id"] = "B4"
    found = fit(brief, table, "elongation_pct").findings
    (row,) = found[found["rule"] == "alone in its build"].to_dict("records")
    assert (row["run_id"], row["found"]) == ("R12", "the only valid run of build B4")
    assert row["action"] == (
        "it tells nothing about the comparisons, which are made within builds: repeat a lost run in the build it "
        "belongs to, or run a whole build"
    )
