"""Checks of residuals against least squares with a run left out, statsmodels, and their own false alarms."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of
from toolkit.model.diagnostics import checks
from toolkit.model.fit import fit, of_strata

Y = "elongation_pct"
DATA = pin_by_oil(INVENTED)
ORDER = (3, 1, 4, 2, 8, 5, 7, 6, 10, 12, 9, 11)
RUNS = runs_of(DATA, ["pin", "oil"], Y, build="build").assign(actual_order=ORDER)


def fitted(values=INVENTED, **more):
    """The fit of a 2x2 in three builds on the log scale, in the order as run."""
    data = DATA.assign(**{Y: list(values)})
    brief = brief_of(data, ["pin", "oil"], Y, scale="log", **{"block": "build", **more})
    return fit(brief, RUNS.assign(**{Y: list(values)}), Y)


def columns(builds=True):
    """Combinations and builds as columns of noughts and ones."""
    made = pd.get_dummies(DATA["pin"] + DATA["oil"]).to_numpy(dtype=float)
    return np.hstack([made, pd.get_dummies(DATA["build"]).to_numpy(dtype=float)[:, 1:]]) if builds else made


@pytest.mark.parametrize("builds", [True, False])
def test_studentised_residuals_and_their_p_are_those_of_statsmodels(builds):
    made = checks(fitted(block="build" if builds else None))
    outside = sm.OLS(np.log(INVENTED), columns(builds)).fit().outlier_test()
    np.testing.assert_allclose(made.residuals["studentised"].astype(float), outside[:, 0], rtol=1e-9)
    row = made.table.set_index("check").loc["odd run"]
    largest = int(np.argmax(np.abs(outside[:, 0])))
    assert row["run_id"] == f"R{largest + 1:03d}"
    assert row["p_value"] == pytest.approx(min(1.0, 12 * outside[largest, 1]), rel=1e-9)


def test_an_odd_run_asks_for_a_look_and_stays_in():
    values = [value * (1.9 if at == 5 else 1.0) for at, value in enumerate(INVENTED)]
    made = checks(fitted(values))
    row = made.table.set_index("check").loc["odd run"]
    # By hand: with the run left out, its distance from what the others predict, in its standard error.
    keep = np.arange(12) != 5
    others = sm.OLS(np.log(np.array(values))[keep], columns()[keep]).fit()
    apart = np.log(values[5]) - columns()[5] @ others.params
    inverse = np.linalg.pinv(columns()[keep].T @ columns()[keep])
    error = np.sqrt(others.scale * (1 + columns()[5] @ inverse @ columns()[5]))
    assert row["statistic"] == pytest.approx(apart / error, rel=1e-9)
    assert (row["run_id"], row["df"], row["result"]) == ("R006", 5, "look at it")
    assert row["sentence"] == (
        f"odd run: R006 has the largest residual ({row['statistic']:.2f} standard errors without it; p = "
        f"{row['p_value']:.2g} over 12 runs): look at its log before anything else; it stays in unless its log shows "
        "it void")
    assert made.findings.to_dict("records") == [{
        "severity": "note", "run_id": "R006", "part_id": None, "column": Y, "rule": "odd residual",
        "found": row["sentence"], "expected": "residuals that only chance orders",
        "action": "look at the run's log, sheet and readings; see the answers with and without it"}]
    assert len(made.residuals) == 12


def test_the_trend_is_the_order_added_to_the_model():
    made = checks(fitted())
    outside = sm.OLS(np.log(INVENTED), np.column_stack([columns(), ORDER])).fit()
    row = made.table.set_index("check").loc["trend"]
    assert (row["statistic"], row["p_value"], row["df"]) == (
        pytest.approx(outside.tvalues[-1], rel=1e-9), pytest.approx(outside.pvalues[-1], rel=1e-9), 5)
    assert row["sentence"] == (
        f"trend with run order: {100 * np.expm1(outside.params[-1]):+.2g} % a run (p = {row['p_value']:.2g}): no more "
        "than chance allows")
    drifting = [value * 1.08**order for value, order in zip(INVENTED, ORDER, strict=True)]
    found = checks(fitted(drifting))
    assert found.table.set_index("check").loc["trend", "result"] == "look at it"
    assert list(found.findings["rule"]) == ["trend with order"]
    assert found.findings["action"][0] == "look for drift; see whether comparisons follow the order"


def test_an_order_that_follows_the_builds_alone_cannot_be_tested():
    runs = RUNS.assign(actual_order=[1] * 4 + [2] * 4 + [3] * 4)
    made = checks(fit(brief_of(DATA, ["pin", "oil"], Y, block="build"), runs, Y))
    assert made.table.set_index("check").loc["trend", "sentence"] == (
        "trend: not testable, the order of the runs follows the terms or the builds")
    nowhere = checks(fit(brief_of(DATA, ["pin", "oil"], Y), RUNS.drop(columns="actual_order"), Y))
    assert nowhere.table.set_index("check").loc["trend", "sentence"] == (
        "trend: not testable without the order of the runs")
    assert set(nowhere.residuals["order"]) == {None}


def test_below_three_df_nothing_is_tested():
    runs = RUNS.iloc[:6]
    made = checks(fit(brief_of(DATA, ["pin", "oil"], Y), runs, Y))
    assert list(made.table["sentence"]) == [
        "odd run: not testable with 2 df of error", "trend: not testable with 2 df of error",
        "scatter by pin, oil and build: not testable with 2 df of error"]
    assert set(made.table["result"]) == {"not testable"}
    assert len(made.findings) == 0 and set(made.residuals["studentised"]) == {None}


def test_residuals_and_fitted_values_add_to_ln_of_the_run_values():
    made = checks(fitted()).residuals
    np.testing.assert_allclose((made["fitted"] + made["residual"]).astype(float), np.log(INVENTED), rtol=1e-12)
    assert list(made.columns) == ["run_id", "fitted", "residual", "studentised", "order", "build", "combination"]
    assert (made["combination"][1], made["order"][1], made["build"][5]) == ("pin P0, oil O1", 1.0, "B2")


def test_in_whole_plots_builds_are_taken_out_of_the_residuals():
    draw = np.random.default_rng(11)
    lines = [(f"B{at}", f"P{at % 2}", oil) for at in range(6) for oil in ("O0", "O1", "O2")]
    data = pd.DataFrame(lines, columns=["build", "pin", "oil"]).assign(y=draw.normal(size=18))
    made = checks(fit(brief_of(data, ["pin", "oil"], "y", build_level=["pin"]),
                      runs_of(data, ["pin", "oil"], "y", build="build"), "y"))
    inside = np.hstack([pd.get_dummies(data["build"]).to_numpy(dtype=float),
                        pd.get_dummies(data["pin"] + data["oil"]).to_numpy(dtype=float)[:, [1, 2, 4, 5]]])
    outside = sm.OLS(data["y"].to_numpy(), inside).fit().outlier_test()
    np.testing.assert_allclose(made.residuals["studentised"].astype(float), outside[:, 0], rtol=1e-9)


def test_false_alarms_are_the_five_per_cent_that_are_told():
    made = fitted()
    draw = np.random.default_rng(12)
    odd = trend = 0
    for _ in range(600):
        found = checks(of_strata(made.brief, made.response, made.strata, draw.normal(size=12))).table
        odd += found["p_value"][0] < 0.05
        trend += found["p_value"][1] < 0.05
    # 3.24 binomial standard errors of 600 draws at 5 %; Bonferroni keeps the odd run at or just below 5 %.
    assert abs(trend / 600 - 0.05) < 3.24 * np.sqrt(0.05 * 0.95 / 600)
    assert abs(odd / 600 - 0.05) < 3.24 * np.sqrt(0.05 * 0.95 / 600)
