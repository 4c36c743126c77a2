"""Declared covariates through the analysis: which carry the verdict, which stand beside it, and why."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from tests.reference.loader import load
from tests.unit.model.made import brief_of
from tests.unit.report import example
from toolkit.brief.model import Comparison, Covariate, Held, PlanChoice
from toolkit.decide import analysis
from toolkit.intake import records

ASKED = example.brief(("coating", "new oil"))
CASE = load("k11-ancova-anorexia")
EXPECTED = {key: float(value) for key, value in CASE.values.items()}


def analysed(*covariates, sealed=(), slope=0.6, moved=0.0, drop=(), seed=3):
    """A 2x2 in three builds whose wear follows the hardness of the blank, INVENTED."""
    asked = replace(ASKED, covariates=covariates)
    runs = example.raw_runs(asked, void="none")
    draw = np.random.default_rng(seed)
    hard = 0.1 * draw.standard_normal(12) + moved * (runs["pin"] == "P1")
    runs["wear_um"] = runs["wear_um"] * np.exp(slope * hard)
    for item in covariates:
        if item.name.endswith("_HV"):
            runs[item.name] = 200.0 + 100.0 * hard
    for run in drop:
        runs.loc[runs["run_id"] == run, "hardness_HV"] = np.nan
    read = records.from_tables(asked, runs=runs)
    return analysis.analyse(asked, read, planned=example.order(asked), sealed_covariates=sealed), read.runs


def by_least_squares(runs):
    """The change by the coating at equal hardness, by least squares with dummies."""
    columns = np.column_stack([
        np.ones(12),
        runs["pin"] == "P1",
        runs["oil"] == "O1",
        (runs["pin"] == "P1") & (runs["oil"] == "O1"),
        pd.get_dummies(runs["build_id"]).to_numpy()[:, 1:],
        runs["hardness_HV"] - 205.0,
    ]).astype(float)
    change = np.zeros(columns.shape[1])
    change[[1, 3]] = 1.0, 0.5
    return sm.OLS(np.log(runs["wear_um"].to_numpy()), columns).fit(), change


def test_a_sealed_covariate_fixed_before_the_run_carries_the_verdict():
    found, runs = analysed(Covariate("hardness_HV", 205.0, True), sealed=("hardness_HV",))
    item = found.responses["wear_um"]
    outside, change = by_least_squares(runs)
    told = outside.t_test(change)
    row = item.comparisons.set_index("comparison").loc["coating"]
    assert math.log(row["estimate"]) == pytest.approx(float(told.effect[0]), rel=1e-8)
    assert (row["df"], row["p_value"]) == pytest.approx((5.0, float(told.pvalue)), rel=1e-8)
    assert item.fit.notes[-1] == "told at equal covariates: hardness 205 HV"
    equal = item.otherwise.equal
    assert (equal.judged, equal.basis) == (("hardness_HV",), "unadjusted")
    assert equal.sentences[0] == (
        "The verdicts are told at equal hardness (205 HV): sealed before any run, and fixed before the treatment can "
        "act on it."
    )
    beside = equal.beside.set_index("comparison").loc["coating"]
    assert beside["df"] == 6.0
    # Every table is at equal covariates, and the covariate has its line.
    lines = item.anova.set_index("term")
    assert lines.loc["hardness_HV", "f"] == pytest.approx(outside.tvalues[-1] ** 2, rel=1e-8)
    assert lines.loc["error (run)", "df"] == 5
    assert item.sensitivity[item.sensitivity["runs"] == "as judged"]["estimate"].iloc[0] == row["estimate"]
    assert set(item.beside.fragility["verdict"]) <= set(item.verdicts["verdict"])
    assert item.to_json()["otherwise"]["covariates"]["in_verdict"] == ["hardness_HV"]


def test_what_was_not_sealed_before_the_runs_or_may_be_moved_stands_beside():
    late, _ = analysed(Covariate("hardness_HV", None, True))
    item = late.responses["wear_um"]
    assert item.comparisons["df"].iloc[0] == 6.0
    equal = item.otherwise.equal
    assert (equal.judged, equal.basis) == ((), "at equal covariates")
    assert equal.sentences[0] == (
        "hardness: the verdicts are not adjusted for it, because it was not sealed with the plan before the first run; "
        "the adjusted answers stand beside."
    )
    moved, _ = analysed(Covariate("hardness_HV"), sealed=("hardness_HV",), moved=0.5)
    equal = moved.responses["wear_um"].otherwise.equal
    assert equal.judged == ()
    assert equal.sentences[0] == (
        "hardness: the verdicts are not adjusted for it, because the treatment may act on it (before_run is not true); "
        "the adjusted answers stand beside."
    )
    assert any(
        line.startswith("hardness: it differs between the treatments: where they cause that, adjusting takes part")
        for line in equal.sentences
    )
    chance, _ = analysed(Covariate("hardness_HV", None, True), sealed=("hardness_HV",), moved=0.5)
    assert any(
        "though it was fixed before the run: that is the draw, which adjusting takes out, or before_run is not true"
        in line
        for line in chance.responses["wear_um"].otherwise.equal.sentences
    )


def test_run_order_is_a_covariate_that_no_treatment_moves():
    found, runs = analysed(Covariate("run_order"), sealed=("run_order",))
    item = found.responses["wear_um"]
    assert item.otherwise.equal.judged == ("run_order",)
    assert item.fit.strata.covariates["run_order"] == pytest.approx(runs["actual_order"].mean())
    assert any(line.startswith("run order: ") and " for a run further on (" in line for line in
               item.otherwise.equal.sentences)  # fmt: skip


def test_missing_figures_leave_the_verdict_without_it_and_say_so():
    found, _ = analysed(Covariate("hardness_HV", None, True), sealed=("hardness_HV",), drop=("R04",))
    item = found.responses["wear_um"]
    assert item.comparisons["df"].iloc[0] == 6.0
    equal = item.otherwise.equal
    assert equal.sentences == (
        "Covariates: wear_um: the covariates cannot be used.\n  covariate 'hardness_HV': no figure for R04; expected a "
        "figure for every run analysed. Enter it. The verdicts stand without them.",
    )
    assert equal.to_json()["refused"].startswith("wear_um: the covariates cannot be used.")
    assert (found.records.findings["column"] == "hardness_HV").sum() == 1


def test_the_published_analysis_of_covariance_through_the_brief():
    # MASS::anorexia by R 4.2.2 lm and emmeans.
    data = CASE.data.rename(columns={"Prewt": "before_lb", "Postwt": "after_mg", "Treat": "therapy"})
    data["therapy"] = data["therapy"].astype(str)
    pairs = [("CBT", "Cont"), ("CBT", "FT"), ("Cont", "FT")]
    asked = brief_of(
        data,
        ["therapy"],
        "after_mg",
        levels={"therapy": ["CBT", "Cont", "FT"]},
        comparisons=[Comparison(f"{a} - {b}", of={"therapy": a}, against={"therapy": b}) for a, b in pairs],
        worthwhile=5.0,
    )
    asked = replace(
        asked,
        covariates=(Covariate("before_kg", None, True),),
        plan=PlanChoice(replicates=24),
        held=(Held("sump_temp_degC", 100.0, (98.0, 102.0)),),
    )
    rows = [
        {"run_id": f"R{at:03d}", "phase": "main", "build_id": "B1", "planned_order": at, "actual_order": at,
         "therapy": row["therapy"], "run_time_h": 1.0, "sump_temp_degC": 100.0, "before_kg": float(row["before_lb"]),
         "after_mg": float(row["after_mg"]), "verdict": "valid", "reason": "", "role": ""}
        for at, row in enumerate(data.to_dict("records"), start=1)
    ]  # fmt: skip
    read = records.from_tables(asked, runs=pd.DataFrame(rows))
    item = analysis.analyse(asked, read, sealed_covariates=("before_kg",)).responses["after_mg"]
    for _, row in item.comparisons.iterrows():
        key = f"differences.{row['comparison']}"
        for name, column in (("estimate", "estimate"), ("se", "std_error"), ("p", "p_value")):
            assert row[column] == pytest.approx(EXPECTED[f"{key}.{name}"], rel=1e-8)
    lines = item.anova.set_index("term")
    assert lines.loc["before_kg", "f"] == pytest.approx(EXPECTED["type2.Prewt.F"], rel=1e-8)
    for _, row in item.means.iterrows():
        key = f"adjusted_means.{row['levels']['therapy']}"
        assert (row["estimate"], row["std_error"]) == pytest.approx(
            (EXPECTED[f"{key}.mean"], EXPECTED[f"{key}.se"]), rel=1e-8
        )
