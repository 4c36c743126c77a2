"""Positions of one engine against published and recorded analyses, and against least squares with runs as columns."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from tests.reference.loader import load
from tests.unit import rings
from tests.unit.numeric import mixed_by_rows as by_rows
from toolkit.brief.model import Brief, Comparison, Factor, Level, PlanChoice, Positions, Response, Stations
from toolkit.design import chosen, orders, positions, questions
from toolkit.model.anova import table
from toolkit.model.comparisons import comparisons
from toolkit.model.fit import fit

ADDITIVES = ("1", "2", "3", "4")


def test_the_latin_square_of_additives_is_the_published_one() -> None:
    """Drivers as runs, cars as positions: sums of squares as printed, F, p and SE of R 4.2.2 to 1e-8.

    G. E. P. Box, W. G. Hunter and J. S. Hunter, Statistics for Experimenters (1978), pp. 247-250.
    """
    case = load("k03-latin-emissions")
    asked = [
        Comparison(f"{one}-{other}", of={"additive": one}, against={"additive": other})
        for at, one in enumerate(ADDITIVES)
        for other in ADDITIVES[:at]
    ]
    brief = Brief(
        id="latin",
        question="?",
        seed=1,
        factors=(Factor("additive", "position", tuple(map(Level, ADDITIVES))),),
        responses=(Response("reduction_g", scale="linear", better="larger", stations=Stations("tail", 4)),),
        comparisons=tuple(asked),
        positions=Positions(("1", "2", "3", "4")),
    )
    data = case.data.astype({"additive": str, "car": str, "driver": str})
    rows = pd.DataFrame(
        {
            "run_id": data["driver"] + "/" + data["car"],
            "run": data["driver"],
            "position": data["car"],
            "build_id": "B1",
            "additive": data["additive"],
            "reduction_g": data["reduction"].astype(float),
        }
    )
    made = fit(brief, rows, "reduction_g")
    assert made.mixed is None and made.strata.units == ("run", "position")
    lines = table(made).set_index("term")
    for term, key in (
        ("position", "car"),
        ("error (run)", "driver"),
        ("additive", "additive"),
        ("error (position)", "Residuals"),
    ):
        assert lines.loc[term, "df"] == case.expected(f"anova.{key}.df")
        assert lines.loc[term, "sum_sq"] == pytest.approx(case.expected(f"anova.{key}.ss"), rel=1e-8)
    assert lines.loc["additive", "f"] == pytest.approx(case.expected("anova.additive.F"), rel=1e-8)
    assert lines.loc["additive", "p_value"] == pytest.approx(case.expected("anova.additive.p"), rel=1e-8)
    found = comparisons(made).set_index("comparison")
    for at, one in enumerate(ADDITIVES):
        for other in ADDITIVES[:at]:
            means = [case.expected(f"additive_means.{name}") for name in (one, other)]
            assert found.loc[f"{one}-{other}", "estimate"] == pytest.approx(means[0] - means[1], abs=1e-9)
            assert found.loc[f"{one}-{other}", "std_error"] == pytest.approx(case.expected("se_difference"), rel=1e-8)


def oats(rows: pd.DataFrame) -> tuple[Brief, pd.DataFrame]:
    """Yates' oats with a variety a run and nitrogen in the positions of the run, blocks as builds.

    Where in a plot a sub-plot lay is not on record: the nitrogen of the first block of a Latin square stands for it, so
    that positions are those that a square over the plots would have had.
    """
    brief = Brief(
        id="oats",
        question="?",
        seed=1,
        factors=(
            Factor("variety", "fill", tuple(map(Level, ("Golden Rain", "Marvellous", "Victory")))),
            Factor("nitro", "position", tuple(map(Level, ("0", "0.2", "0.4", "0.6")))),
        ),
        responses=(Response("yield_g", scale="linear", better="larger", stations=Stations("sub", 4)),),
        comparisons=(
            Comparison("variety", of={"variety": "Victory"}, against={"variety": "Golden Rain"}),
            Comparison("nitrogen", of={"nitro": "0.6"}, against={"nitro": "0"}),
        ),
        new_each_run=("fill",),
        block_by="build",
        positions=Positions(("I", "II", "III", "IV")),
        plan=PlanChoice(nil_interactions=()),
    )
    run = rows["block"].astype(str) + " " + rows["variety"].astype(str)
    plots = pd.factorize(run)[0]
    level = [("0", "0.2", "0.4", "0.6").index(f"{float(value):g}") for value in rows["nitro"]]
    place = [brief.positions.names[(at + plot) % 4] for at, plot in zip(level, plots, strict=True)]
    made = pd.DataFrame(
        {
            "run_id": run + "/" + pd.Series(place),
            "run": run,
            "position": place,
            "build_id": rows["block"].astype(str),
            "variety": rows["variety"].astype(str),
            "nitro": [f"{float(value):g}" for value in rows["nitro"]],
            "yield_g": rows["yield"].astype(float),
        }
    )
    return brief, made


def test_the_whole_plots_of_oats_are_those_of_r() -> None:
    """What lies between runs does not know of positions: mean squares, F and p of R's aov with Error(block / variety).

    Within runs the positions take 3 of R's 45 df: nitrogen is orthogonal to them, so that its sum of squares is R's,
    and positions and the error that is left add up to R's error.
    """
    case = load("k07-oats-splitplot")
    brief, rows = oats(case.data)
    made = fit(brief, rows, "yield_g")
    assert made.mixed is None
    assert made.strata.layout == "whole plots in complete blocks"
    lines = table(made).set_index("term")
    for term, key in (("variety", "variety.variety"), ("error (run)", "variety.Residuals")):
        at = f"strata.block:{key}"
        assert lines.loc[term, "df"] == case.expected(f"{at}.df")
        assert lines.loc[term, "sum_sq"] == pytest.approx(case.expected(f"{at}.ss"), rel=1e-9)
    assert lines.loc["variety", "p_value"] == pytest.approx(case.expected("strata.block:variety.variety.p"), rel=1e-9)
    assert lines.loc["nitro", "df"] == case.expected("strata.Within.nf.df")
    one = table(made, 1).set_index("term")
    parts = ["position", "nitro", "variety × nitro", "error (position)"]
    keys = ["nf", "variety:nf", "Residuals"]
    assert sum(one.loc[parts, "df"]) == sum(case.expected(f"strata.Within.{key}.df") for key in keys)
    total = sum(case.expected(f"strata.Within.{key}.ss") for key in keys)
    assert sum(one.loc[parts, "sum_sq"]) == pytest.approx(total, rel=1e-9)


def drawn(seed: int) -> tuple[Brief, pd.DataFrame]:
    """Rows of an INVENTED campaign, drawn."""
    asked = rings.brief()
    rows = positions.rows_of(asked, orders.randomise(chosen.main(asked), seed=asked.seed).table)
    draw = np.random.default_rng(seed)
    run = dict(zip(rows["run"].unique(), draw.normal(0.0, 0.1, rows["run"].nunique()), strict=True))
    rows["ring_loss_mg"] = 35.0 * np.exp(
        rows["run"].map(run) + rows["ring"].map(rings.RING) + rows["oil"].map(rings.OIL)
        + rows["position"].map(rings.PLACE) + draw.normal(0.0, 0.18, len(rows))
    )  # fmt: skip
    return asked, rows


def test_positions_are_judged_as_least_squares_with_a_column_a_run() -> None:
    """Within runs: numpy's least squares of runs, positions and coatings by every combination of oil and liner.

    Between runs: of the means of the runs on oil and liner.
    """
    asked, rows = drawn(1)
    made = fit(asked, rows, "ring_loss_mg")
    y = np.log(rows["ring_loss_mg"].to_numpy())
    marks = [pd.get_dummies(rows[name], dtype=float).to_numpy() for name in ("run", "position")]
    cell = rows["ring"] + rows["oil"] + rows["liner"]
    whole = np.hstack([*marks, pd.get_dummies(cell, dtype=float).to_numpy()])
    _, left, rank, _ = np.linalg.lstsq(whole, y, rcond=None)
    residual = y - whole @ np.linalg.lstsq(whole, y, rcond=None)[0]
    square, df = made.mean_squares["position"]
    assert df == len(y) - rank
    assert square == pytest.approx(float(residual @ residual) / (len(y) - rank), rel=1e-9)
    means = pd.DataFrame({"y": y, "run": rows["run"], "cell": rows["oil"] + rows["liner"]}).groupby("run").agg(
        {"y": "mean", "cell": "first"}
    )
    spread = means["y"] - means.groupby("cell")["y"].transform("mean")
    square, df = made.mean_squares["run"]
    assert df == 8 - 4
    assert square == pytest.approx(4.0 * float(spread @ spread) / 4.0, rel=1e-9)
    # Two oils, 16 rows each: the difference of their means, its error from the runs alone.
    found = comparisons(made).set_index("comparison")
    gap = means[means["cell"].str.startswith("O1")]["y"].mean() - means[means["cell"].str.startswith("O0")]["y"].mean()
    assert np.log(found.loc["new oil", "estimate"]) == pytest.approx(gap, rel=1e-9)
    assert found.loc["new oil", "std_error"] == pytest.approx(np.sqrt(square * 2.0 / 16.0), rel=1e-9)
    assert found.loc["coating one", "error_stratum"] == "position"


def test_a_lost_position_by_kenward_and_roger_on_all_rows() -> None:
    """The highest restricted likelihood, errors and df by formulas on all rows, positions among the fixed columns."""
    asked, rows = drawn(2)
    asked = replace(asked, plan=replace(asked.plan, interactions_up_to=1))
    rows = rows.drop(index=[6, 21]).reset_index(drop=True)
    made = fit(asked, rows, "ring_loss_mg")
    assert made.mixed is not None and made.mixed.units == ("run", "position")
    y = np.log(rows["ring_loss_mg"].to_numpy())
    names = ("ring", "oil", "liner", "position")
    marks = [pd.get_dummies(rows[name], dtype=float).to_numpy()[:, 1:] for name in names]
    x = np.hstack([np.ones((len(y), 1)), *marks])
    parts = by_rows.sources([rows["run"].tolist()])
    variances = made.mixed.fit.variances
    assert by_rows.is_best(y, x, parts, variances)
    beta = by_rows.coefficients(y, x, parts, variances)
    found = comparisons(made).set_index("comparison")
    for name, at in (("coating one", 1), ("new oil", 4)):
        row = np.zeros((1, x.shape[1]))
        row[0, at] = 1.0
        cov, df, _ = by_rows.kenward_roger(x, parts, variances, row)
        assert np.log(found.loc[name, "estimate"]) == pytest.approx(beta[at], rel=1e-6)
        assert found.loc[name, "std_error"] == pytest.approx(float(np.sqrt(cov[at, at])), rel=1e-6)
        assert found.loc[name, "df"] == pytest.approx(df, rel=1e-5)


def test_false_alarms_in_both_strata() -> None:
    """No effects, runs and positions scatter: 5 % within 3.24 binomial SE over 2,000 campaigns, by the fitted layers.

    Campaigns are drawn at once; the estimate and the error are those that the strata of the plan say.
    """
    asked = rings.brief()
    laid = orders.randomise(chosen.main(asked), seed=asked.seed).design.strata
    draw, campaigns = np.random.default_rng(9), 2_000
    run = draw.normal(0.0, 0.10, (campaigns, 8))[:, laid.members["run"]]
    place = np.array([rings.PLACE[name] for name in laid.runs["position"]])
    y = run + place + draw.normal(0.0, 0.18, (campaigns, 32))
    bound = 3.24 * np.sqrt(0.05 * 0.95 / campaigns)
    # Two-sided 5 % points of t on 4, 9 and 10 df (tables).
    critical = {4: 2.776, 9: 2.262, 10: 2.228}
    for name, stratum in (("coating one", "position"), ("new oil", "run"), ("coating one in the new oil", "position")):
        comparison = next(item for item in asked.comparisons if item.name == name)
        row = questions.of_comparison(asked, comparison, laid.terms).row
        (part,) = laid.parts(row)
        assert part.stratum == stratum
        chosen_columns = laid.columns_of()[stratum]
        beside = laid.beside(stratum)
        columns = laid.scaled(stratum, np.hstack([laid.columns[:, chosen_columns], beside]))
        seen = laid.scaled(stratum, y.T)
        weights = np.concatenate([row[chosen_columns], np.zeros(beside.shape[1])]) @ np.linalg.pinv(columns)
        left = seen - columns @ (np.linalg.pinv(columns) @ seen)
        square = (left**2).sum(axis=0) / part.error_df
        t = np.abs(weights @ seen) / np.sqrt(part.unit_variance * square)
        share = float((t > critical[part.error_df]).mean())
        assert abs(share - 0.05) < bound, (name, share)
