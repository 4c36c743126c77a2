"""A campaign whose builds lost a run goes the whole way: brief, plan, records, answers, by Kenward and Roger.

The numbers: restricted likelihood, generalised least squares and the formulas of Kenward and Roger on the covariance
matrix of all runs (tests/unit/numeric/mixed_by_rows.py), from the CSV file alone.
"""

from __future__ import annotations

import csv
import json
import math
import shutil

import numpy as np
import pytest
from scipy import optimize, stats

from tests.unit.numeric import mixed_by_rows as by_rows
from toolkit import shipped
from toolkit.campaign import folder, steps

LOST = "R12"


@pytest.fixture(scope="module")
def broken(tmp_path_factory):
    """The bundled campaign with one run void and without values, planned and analysed; and the lines that count."""
    root = tmp_path_factory.mktemp("c") / "sprocket-build"
    shutil.copytree(shipped.folder("data") / "sprocket-build", root)
    path = root / "raw" / "runs.csv"
    with path.open(newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        if row["run_id"] == LOST:
            row.update(elongation_um="", drag_torque_Nm="", verdict="invalid", reason="the chain broke")
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    campaign = folder.open_campaign(root)
    steps.plan(campaign, phase="main")
    used = [row for row in rows if row["phase"] == "main" and row["verdict"] == "valid"]
    return steps.analyse(campaign), used


def by_hand(used):
    """Coefficients, their matrix, sources and REML variances of ln elongation, on rows by rows matrices."""
    y = np.array([math.log(float(row["elongation_um"])) for row in used])
    sprocket = np.array([1.0 if row["sprocket"] == "S0" else -1.0 for row in used])
    oil = np.array([1.0 if row["oil"] == "A0" else -1.0 for row in used])
    x = np.column_stack([np.ones(len(y)), sprocket, oil, sprocket * oil])
    parts = by_rows.sources([[row["build_id"] for row in used]])
    found = optimize.minimize(
        lambda logs: by_rows.criterion(y, x, parts, np.exp(logs)),
        np.log([0.005, 0.01]),
        method="Nelder-Mead",
        options={"xatol": 1e-10, "fatol": 1e-13, "maxiter": 5000, "maxfev": 5000},
    )
    variances = np.exp(found.x)
    weights = np.linalg.inv(sum(v * part for v, part in zip(variances, parts, strict=True)))
    return np.linalg.solve(x.T @ weights @ x, x.T @ weights @ y), x, parts, variances


def test_answers_are_those_of_the_formulas_on_all_runs(broken):
    found, used = broken
    beta, x, parts, variances = by_hand(used)
    assert len(used) == 15
    rows = {
        "ground sprocket": [0.0, -2.0, 0.0, 0.0],
        "friction-modified oil": [0.0, 0.0, -2.0, 0.0],
        "ground sprocket and friction-modified oil": [0.0, -2.0, -2.0, 0.0],
    }
    table = found.responses["elongation_um"].comparisons.set_index("comparison")
    strata = {"ground sprocket": "build", "friction-modified oil": "run"}
    for name, given in rows.items():
        row = np.array([given])
        cov, df, _ = by_rows.kenward_roger(x, parts, variances, row)
        value, error = float(row[0] @ beta), float(np.sqrt(row[0] @ cov @ row[0]))
        half = stats.t.ppf(0.975, df) * error
        line = table.loc[name]
        assert [line["estimate"], line["conf_low"], line["conf_high"]] == pytest.approx(
            [math.exp(value), math.exp(value - half), math.exp(value + half)], rel=1e-5
        )
        assert (line["std_error"], line["df"]) == (pytest.approx(error, rel=1e-5), pytest.approx(df, rel=1e-4))
        assert line["p_value"] == pytest.approx(2 * stats.t.sf(abs(value) / error, df), rel=1e-4)
        assert line["error_stratum"] == strata.get(name, "build and run")
        assert line["note"] == f"df by Kenward and Roger ({df:.1f})"
    line = found.responses["elongation_um"].anova.set_index("term").loc["sprocket × oil"]
    row = np.array([[0.0, 0.0, 0.0, 1.0]])
    cov, df, _ = by_rows.kenward_roger(x, parts, variances, row)
    assert line["f"] == pytest.approx(beta[3] ** 2 / (row[0] @ cov @ row[0]), rel=1e-5)
    assert (line["df"], line["error_df"]) == (1, pytest.approx(df, rel=1e-4))
    assert (line["sum_sq"], line["mean_sq"], line["error_stratum"]) == (None, None, "run")
    parts_of = found.to_json()["responses"]["elongation_um"]["variance_components"]
    between = next(line for line in parts_of if line["source"] == "build")
    assert between["sd"] == pytest.approx(math.sqrt(variances[0]), rel=1e-4)
    assert 0.0 <= between["conf_low"] < between["sd"] < between["conf_high"]
    assert between["note"] == "between builds of the same level, by likelihood profile"


def test_what_stands_beside_has_an_answer_or_a_sentence(broken):
    found, _ = broken
    json.dumps(found.to_json(), allow_nan=False)
    item = found.responses["elongation_um"]
    assert not item.stopped
    uneven = "build B6 does not hold the same combinations as the other builds"
    told = found.to_json()["responses"]["elongation_um"]
    assert (
        f"{uneven}: scatter between builds and between runs by restricted maximum likelihood, standard errors and df "
        "by Kenward and Roger in place of exact mean squares"
    ) in told["notes"]
    beside = told["beside"]
    assert {row["note"] for row in beside["fragility"]} == {
        f"{uneven}: not told for single runs, since scatter by likelihood moves with each value; left out is told"
    }
    assert all(row["verdict_without"] for row in beside["fragility"])
    assert beside["exact"][0]["sentence"] == f"ground sprocket: {uneven}: no exact test"
    assert beside["settling"][0]["sentence"] == (
        f"ground sprocket: {uneven}: how many more runs would settle it is not worked out"
    )
    # The sprocket of the last build is S1: only its runs can still be made there.
    places = [(row["where"], row["what"]) for row in beside["next_runs"]["candidates"]]
    assert sorted(places) == [
        ("B8", "S1 A0"),
        ("B8", "S1 A0; S1 A1"),
        ("B8", "S1 A1"),
        ("new builds", "every combination once (4 runs)"),
    ]
    assert all(0.0 < row["variance_taken"] < 1.0 for row in beside["next_runs"]["candidates"])
    assert told["model"]["equation"] == (
        "ln(elongation) = mean + sprocket + error (build) + oil + sprocket × oil + error (run)"
    )
    run = found.to_json()["as_run"]["strata"]
    planned = {row["stratum"]: row["error_df_planned"] for row in run if row["response"] == "elongation_um"}
    as_made = {row["stratum"]: row["error_df_as_run"] for row in run if row["response"] == "elongation_um"}
    assert planned == {"build": 6, "run": 6}
    assert as_made == {"build": None, "run": None}
