"""Comparisons at equal covariates against least squares, and what may not be a covariate."""

from __future__ import annotations

import functools
import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from tests.unit import briefs
from tests.unit.numeric import mixed_by_rows as by_rows
from toolkit.brief.model import Held, Response
from toolkit.design import factorial, orders, questions, strata
from toolkit.errors import ModelError
from toolkit.model.at_equal import at_equal, value_words
from toolkit.model.comparisons import comparisons
from toolkit.model.covariates import adjusted
from toolkit.model.fit import of_strata
from toolkit.model.randomisation import exact_p


@functools.cache
def planned():
    """The brief of a 2x2 in three builds with soot as a held variable, and its plan, the same for all draws."""
    brief = briefs.blocked(
        held=(Held("soot_pct", 3.0, (2.7, 3.3)),),
        responses=(Response("elongation_pct", worthwhile_change_pct=20.0), Response("fe_ppm", role="secondary")),
    )
    return brief, orders.randomise(factorial.full(brief), seed=1).table


def campaign(seed=5, slope=0.0, moved=0.0):
    """Its runs and what was measured, INVENTED."""
    brief, table = planned()
    runs = table.copy()
    draw = np.random.default_rng(seed)
    runs["actual_order"] = runs["planned_order"]
    runs["soot_pct"] = 3.0 + draw.normal(0.0, 0.1, 12) + moved * (runs["pin"] == "P1")
    runs["fe_ppm"] = draw.uniform(50, 90, 12)
    y = -2.0 - 0.3 * (runs["pin"] == "P1") + slope * (runs["soot_pct"] - 3.0) + draw.normal(0.0, 0.05, 12)
    runs["elongation_pct"] = np.exp(y)
    return of_strata(brief, brief.responses[0], strata.of_runs(brief, runs), y.to_numpy())


def test_in_blocks_the_adjusted_comparison_is_that_of_least_squares():
    fitted = campaign(slope=1.5)
    made = adjusted(fitted, ["soot_pct", "order_in_build"])
    runs = fitted.strata.runs
    place = runs.groupby("build_id")["actual_order"].rank()
    columns = np.column_stack([
        np.ones(12),
        runs["pin"] == "P1",
        runs["oil"] == "O1",
        (runs["pin"] == "P1") & (runs["oil"] == "O1"),
        pd.get_dummies(runs["build_id"]).to_numpy()[:, 1:],
        runs["soot_pct"],
        place,
    ]).astype(float)
    outside = sm.OLS(fitted.y, columns).fit()
    row = made.comparisons.set_index("comparison").loc["coating"]
    change = np.zeros(columns.shape[1])
    change[[1, 3]] = 1.0, 0.5
    told = outside.t_test(change)
    assert np.log(row["estimate"]) == pytest.approx(float(told.effect[0]), rel=1e-9)
    assert row["std_error"] == pytest.approx(float(told.sd[0, 0]), rel=1e-9)
    assert row["df"] == outside.df_resid == 4
    slope = made.slopes.set_index("covariate").loc["soot_pct"]
    assert (slope["at"], slope["slope"]) == (3.0, pytest.approx(outside.params[6], rel=1e-9))
    assert slope["change_pct_per_unit"] == pytest.approx(100 * np.expm1(outside.params[6]))


def test_a_fit_at_equal_covariates_is_the_same_for_every_table():
    fitted = campaign(slope=1.5)
    made = at_equal(fitted, ["soot_pct"], at={"soot_pct": 3.1})
    assert dict(made.strata.covariates) == {"soot_pct": 3.1}
    assert made.notes[-1] == "told at equal covariates: soot 3.1 %"
    assert value_words("soot_pct", 3.10004) == "3.1 %"
    assert set(exact_p(made)["sentence"]) == {
        f"{name}: told at equal covariates: no exact test" for name in ("coating", "both", "together")
    }
    own = comparisons(made).set_index("comparison")["estimate"]
    assert list(own) == pytest.approx(list(adjusted(fitted, ["soot_pct"]).comparisons["estimate"]), rel=1e-12)


def test_a_covariate_that_the_treatment_moves_is_flagged():
    checks = adjusted(campaign(moved=0.6), ["soot_pct"]).checks.set_index("check")
    row = checks.loc["moved by the treatment"]
    assert row["result"] == "look at it"
    assert row["sentence"].startswith(
        "soot_pct: it differs between the treatments: where they cause that, adjusting takes part of their effect away "
        "(p = "
    )
    calm = adjusted(campaign(), ["soot_pct"]).checks.set_index("check")
    assert calm.loc["moved by the treatment", "result"] == "nothing seen"


def test_false_alarms_of_both_checks_are_five_per_cent():
    # 120 campaigns without effect on the covariate; bound: 3.24 binomial standard errors.
    found = [adjusted(campaign(seed=at), ["soot_pct"]).checks["p_value"].astype(float) < 0.05 for at in range(120)]
    shares = np.mean(np.array(found), axis=0)
    assert np.all(np.abs(shares - 0.05) <= 3.24 * np.sqrt(0.05 * 0.95 / 120))


def test_what_may_not_be_a_covariate_is_refused_all_at_once():
    fitted = campaign()
    fitted.strata.runs["constant_h"] = 4.0
    fitted.strata.runs["gap_h"] = [1.0] * 11 + [np.nan]
    with pytest.raises(ModelError) as stopped:
        adjusted(fitted, ["fe_ppm", "sot_pct", "constant_h", "gap_h", "pin", "elongation_pct"])
    assert str(stopped.value) == (
        "elongation_pct: the covariates cannot be used.\n"
        "  covariate 'fe_ppm': metal in the oil; expected something that the treatment does not act on. It is worn "
        "metal: taking it out would take out the treatment's own effect. Analyse it as a response beside the wear.\n"
        "  covariate 'sot_pct': no such column of numbers; expected one of planned, actual. Did you mean 'soot_pct'?\n"
        .replace("planned, actual", "actual_order, soot_pct, constant_h, gap_h, run_order, order_in_build")
        + "  covariate 'constant_h': the same within every build; expected some spread to draw a slope from. Leave it "
        "out.\n"
        f"  covariate 'gap_h': no figure for {fitted.strata.runs['run_id'].iloc[11]}; expected a figure for every run "
        "analysed. Enter it.\n"
        "  covariate 'pin': a factor; expected something that is neither asked about nor its result. Leave it out.\n"
        "  covariate 'elongation_pct': a response; expected something that is neither asked about nor its result. "
        "Leave it out."
    )


def test_too_many_covariates_and_whole_plots_are_refused():
    fitted = campaign()
    draw = np.random.default_rng(1)
    for at in range(6):
        fitted.strata.runs[f"x{at}_h"] = draw.normal(size=12)
    with pytest.raises(ModelError) as stopped:
        adjusted(fitted, [f"x{at}_h" for at in range(6)])
    assert str(stopped.value) == (
        "elongation_pct: 6 covariates leave no degrees of freedom for the error (12 runs). Take fewer, or more runs."
    )
    fitted.strata.runs["twice_h"] = 2.0 * fitted.strata.runs["soot_pct"]
    with pytest.raises(ModelError) as stopped:
        adjusted(fitted, ["soot_pct", "twice_h"])
    assert str(stopped.value) == (
        "elongation_pct: soot_pct, twice_h cannot be told from builds, terms or each other in these runs. Take fewer "
        "covariates."
    )


def test_units_of_the_covariate_change_nothing_but_the_slope():
    fitted = campaign(slope=1.0)
    fitted.strata.runs["soot_ppm10"] = fitted.strata.runs["soot_pct"] * 1000.0
    one = adjusted(fitted, ["soot_pct"], at={"soot_pct": 3.1})
    other = adjusted(fitted, ["soot_ppm10"], at={"soot_ppm10": 3100.0})
    for name in ("estimate", "conf_low", "conf_high", "p_value"):
        assert list(one.comparisons[name]) == pytest.approx(list(other.comparisons[name]), rel=1e-9)
        assert list(one.means[name].dropna()) == pytest.approx(list(other.means[name].dropna()), rel=1e-9)
    assert one.slopes["slope"].iloc[0] == pytest.approx(1000 * other.slopes["slope"].iloc[0], rel=1e-9)


def between_builds(soot, seed=3):
    """Eight builds of two runs, the sprocket changed with the build; wear with a slope on soot."""
    brief = replace(briefs.whole_plots(), held=(Held("soot_pct", 3.0, (2.7, 3.3)),))
    runs = orders.randomise(factorial.full(brief), seed=1).table
    runs["soot_pct"] = soot(runs, np.random.default_rng(seed))
    rng = np.random.default_rng(seed + 1)
    builds = pd.factorize(runs["build_id"])[0]
    y = 2.0 * runs["soot_pct"].to_numpy() + rng.normal(size=builds.max() + 1)[builds] + 0.5 * rng.normal(size=len(runs))
    return of_strata(brief, brief.responses[0], strata.of_runs(brief, runs), y)


def test_where_builds_are_units_one_slope_is_judged_by_kenward_and_roger():
    fitted = between_builds(lambda runs, rng: 3.0 + 0.2 * rng.normal(size=len(runs)))
    found = adjusted(fitted, ["soot_pct"], at={"soot_pct": 3.1})
    refitted = at_equal(fitted, ["soot_pct"], at={"soot_pct": 3.1})
    laid = refitted.strata
    # By the covariance matrix of all runs, at the variances found.
    x = np.column_stack([laid.columns, laid.runs["soot_pct"].to_numpy(dtype=float) - 3.1])
    parts = by_rows.sources([laid.runs["build_id"].tolist()])
    beta = by_rows.coefficients(fitted.y, x, parts, refitted.mixed.fit.variances)
    asked = [(questions.of_comparison(laid.brief, item, laid.terms).row, item.name) for item in laid.brief.comparisons]
    table = found.comparisons.set_index("comparison")
    for row, name in asked:
        padded = np.append(row, 0.0)
        widened, df, _ = by_rows.kenward_roger(x, parts, refitted.mixed.fit.variances, padded[None, :])
        line = table.loc[name]
        assert math.log(line["estimate"]) == pytest.approx(padded @ beta, rel=1e-6)
        assert line["std_error"] == pytest.approx(math.sqrt(padded @ widened @ padded), rel=1e-6)
        assert line["df"] == pytest.approx(df, rel=1e-5)
    own = np.eye(x.shape[1])[-1]
    widened, df, _ = by_rows.kenward_roger(x, parts, refitted.mixed.fit.variances, own[None, :])
    slope = found.slopes.iloc[0]
    assert (slope["slope"], slope["std_error"], slope["df"]) == pytest.approx(
        (beta[-1], math.sqrt(widened[-1, -1]), df), rel=1e-5
    )
    # Within builds every run has one scatter: plain least squares with a mark for each build.
    marks = pd.get_dummies(laid.runs["build_id"]).to_numpy(dtype=float)
    small = np.column_stack([marks, x[:, 2:]])
    large = np.column_stack([small, x[:, -1:] * laid.columns[:, 1:]])
    outside = sm.OLS(fitted.y, large).fit().compare_f_test(sm.OLS(fitted.y, small).fit())
    line = found.checks.iloc[0]
    assert (line["f"], line["p_value"], line["df"]) == pytest.approx(outside, rel=1e-6)
    assert found.checks["result"].iloc[1] == "nothing seen"
    assert refitted.strata.unbalanced == "soot_pct taken out"


def test_a_covariate_that_goes_with_what_changes_between_builds_is_flagged():
    fitted = between_builds(lambda runs, rng: 3.0 + 0.5 * (runs["sprocket"] == "S1") + 0.1 * rng.normal(size=len(runs)))
    checks = adjusted(fitted, ["soot_pct"]).checks.set_index("check")
    moved = checks.loc["moved by the treatment"]
    assert moved["result"] == "look at it"
    assert moved["sentence"].startswith(
        "soot_pct: it differs between the treatments: where they cause that, adjusting takes part of their effect away "
    )

