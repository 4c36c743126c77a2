"""Comparisons at equal covariates against R's recorded analysis of covariance."""

from __future__ import annotations

import pytest

from tests.reference.loader import load
from tests.unit.model.made import brief_of
from toolkit.brief.model import Comparison
from toolkit.model.covariates import adjusted
from toolkit.model.fit import fit

CASE = load("k11-ancova-anorexia")
EXPECTED = {key: float(value) for key, value in CASE.values.items()}


def anorexia():
    """The published data as runs of one factor, and their fit."""
    data = CASE.data.rename(columns={"Prewt": "before_lb", "Postwt": "after_mg", "Treat": "therapy"})
    data["therapy"] = data["therapy"].astype(str)
    pairs = [("CBT", "Cont"), ("CBT", "FT"), ("Cont", "FT")]
    brief = brief_of(
        data,
        ["therapy"],
        "after_mg",
        levels={"therapy": ["CBT", "Cont", "FT"]},
        comparisons=[Comparison(f"{a} - {b}", of={"therapy": a}, against={"therapy": b}) for a, b in pairs],
    )
    runs = data.assign(run_id=[f"R{at:03d}" for at in range(len(data))], before_lb=data["before_lb"].astype(float))
    return fit(brief, runs, "after_mg")


def test_slope_means_and_differences_are_those_of_r():
    # MASS::anorexia by R 4.2.2 lm and emmeans: common slope, means at the mean covariate, differences.
    made = adjusted(anorexia(), ["before_lb"])
    slope = made.slopes.iloc[0]
    assert slope["at"] == pytest.approx(EXPECTED["covariate_mean"], rel=1e-12)
    assert slope["slope"] == pytest.approx(EXPECTED["slope.estimate"], rel=1e-8)
    assert slope["std_error"] == pytest.approx(EXPECTED["slope.se"], rel=1e-8)
    # The Type II line of the covariate is the square of its t.
    assert (slope["slope"] / slope["std_error"]) ** 2 == pytest.approx(EXPECTED["type2.Prewt.F"], rel=1e-8)
    assert slope["p_value"] == pytest.approx(EXPECTED["type2.Prewt.p"], rel=1e-8)
    for _, row in made.means.iterrows():
        key = f"adjusted_means.{row['levels']['therapy']}"
        assert row["estimate"] == pytest.approx(EXPECTED[f"{key}.mean"], rel=1e-8)
        assert row["std_error"] == pytest.approx(EXPECTED[f"{key}.se"], rel=1e-8)
        assert row["conf_low"] == pytest.approx(EXPECTED[f"{key}.ci95.0"], rel=1e-8)
    for _, row in made.comparisons.iterrows():
        key = f"differences.{row['comparison']}"
        for name, column in (("estimate", "estimate"), ("se", "std_error"), ("p", "p_value")):
            assert row[column] == pytest.approx(EXPECTED[f"{key}.{name}"], rel=1e-8)
        assert row["df"] == 68


def test_equal_slopes_are_tested_as_r_does():
    check = adjusted(anorexia(), ["before_lb"]).checks.set_index("check").loc["equal slopes"]
    assert check["f"] == pytest.approx(EXPECTED["equal_slopes.F"], rel=1e-8)
    assert (check["df"], check["error_df"]) == (2, 66)
    assert check["p_value"] == pytest.approx(EXPECTED["equal_slopes.p"], rel=1e-8)
    assert check["sentence"] == (
        "before_lb: the slope differs between combinations: an adjusted comparison holds only at the reference value "
        "(p = 0.0067)"
    )
