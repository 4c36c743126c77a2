"""The correlation of two responses within treatments, against statsmodels and scipy, and its coverage."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats

from tests.unit import briefs, rings
from toolkit.brief import by_position
from toolkit.brief.model import Response
from toolkit.design import chosen, factorial, orders, positions, strata
from toolkit.model.agreement import agreement
from toolkit.model.fit import of_strata

BRIEF = briefs.blocked(
    responses=(
        Response("elongation_pct", worthwhile_change_pct=20.0),
        Response("fe_ppm", role="secondary", worthwhile_change_pct=25.0),
    )
)


def fits(seed=1, rho=0.0, runs=slice(None)):
    """Two responses with this correlation of their scatter and a common effect, INVENTED."""
    table = factorial.full(BRIEF).table
    table["run_id"] = [f"R{at:02d}" for at in range(12)]
    noise = np.random.default_rng(seed).multivariate_normal([0, 0], [[1, rho], [rho, 1]], 12) * 0.1
    effect = -0.9 * (table["pin"] == "P1").to_numpy()
    one = of_strata(BRIEF, BRIEF.responses[0], strata.of_runs(BRIEF, table), effect + noise[:, 0])
    part = table.iloc[runs]
    other = of_strata(BRIEF, BRIEF.responses[1], strata.of_runs(BRIEF, part), (effect + noise[:, 1])[runs])
    return one, other


def test_the_correlation_is_that_of_the_residuals():
    one, other = fits(rho=0.7)
    runs = one.strata.runs
    columns = np.hstack([
        pd.get_dummies(runs["pin"] + runs["oil"]).to_numpy(float),
        pd.get_dummies(runs["build_id"]).to_numpy(float)[:, 1:],
    ])
    rest = [sm.OLS(fit.y, columns).fit().resid for fit in (one, other)]
    row = agreement([one, other]).iloc[0]
    r = stats.pearsonr(*rest).statistic
    assert row["correlation"] == pytest.approx(r, rel=1e-9)
    # Fisher's z with 6 df of the residuals: SE 1 / sqrt(6 - 2).
    assert row["conf_low"] == pytest.approx(np.tanh(np.arctanh(r) - 1.959963984540054 / 2), rel=1e-9)
    assert (row["runs"], row["df"]) == (12, 6)


def test_the_effect_of_the_treatments_is_no_agreement():
    # Both fall by 60 % with the coating; run by run they have nothing to do with each other.
    one, other = fits(seed=4, rho=0.0)
    assert np.corrcoef(one.y, other.y)[0, 1] > 0.9
    row = agreement([one, other]).iloc[0]
    assert abs(row["correlation"]) < 0.6
    assert row["sentence"].endswith("whether they go together run by run is not known from these runs")


def test_the_interval_covers():
    # 2,000 campaigns at rho = .6; 95 % with 3.24 binomial SE, and 1 % for Fisher's approximation at 6 df.
    table = factorial.full(BRIEF).table
    laid = strata.of_runs(BRIEF, table.assign(run_id=[str(at) for at in range(12)]))
    keep = np.eye(12) - laid.full_columns @ np.linalg.pinv(laid.full_columns)
    draw = np.random.default_rng(9).multivariate_normal([0, 0], [[1, 0.6], [0.6, 1]], (2000, 12)) @ np.eye(2)
    rest = np.einsum("ij,bjk->bik", keep, draw)
    r = (rest[..., 0] * rest[..., 1]).sum(1) / np.sqrt((rest[..., 0] ** 2).sum(1) * (rest[..., 1] ** 2).sum(1))
    covered = np.abs(np.arctanh(r) - np.arctanh(0.6)) <= 1.959963984540054 / 2
    assert abs(covered.mean() - 0.95) <= 0.01 + 3.24 * np.sqrt(0.05 * 0.95 / 2000)


def test_only_runs_that_have_both_count_and_too_few_are_told():
    row = agreement(fits(runs=slice(0, 11))).iloc[0]
    assert (row["runs"], row["df"]) == (11, 5)
    row = agreement(fits(runs=slice(0, 8))).iloc[0]
    assert row["correlation"] is None
    told = "whether they go together run by run is not told with 3 degrees of freedom"
    assert row["sentence"] == f"elongation_pct and fe_ppm: {told}"


def test_a_response_of_positions_goes_with_its_mean_over_the_run():
    # Rings: wear in every cylinder beside iron once a run; the correlation of what oil and liner leave of both.
    asked = rings.brief()
    runs = orders.randomise(chosen.main(asked), seed=asked.seed).table
    rows = positions.rows_of(asked, runs)
    draw = np.random.default_rng(6)
    shared = draw.normal(size=len(runs))
    wear = shared[pd.factorize(rows["run"])[0]] - 0.4 * (rows["ring"] == "R1") + 0.3 * draw.normal(size=len(rows))
    iron = shared + 0.3 * draw.normal(size=len(runs))
    ring, liner, metal = asked.responses
    one = of_strata(asked, ring, strata.of_runs(asked, rows), wear.to_numpy())
    whole = by_position.judged(asked, metal)
    other = of_strata(whole, metal, strata.of_runs(whole, runs), iron)
    means = wear.groupby(rows["run"], sort=False).mean()[runs["run_id"]].to_numpy()
    columns = pd.get_dummies(runs["oil"] + runs["liner"]).to_numpy(float)
    rest = [sm.OLS(y, columns).fit().resid for y in (means, iron)]
    found = agreement([one, other])
    row = found.iloc[0]
    assert row["correlation"] == pytest.approx(stats.pearsonr(*rest).statistic, rel=1e-9)
    assert (row["runs"], row["df"]) == (8, 4)
    assert row["sentence"] == (
        f"ring_loss_mg and fe_ppm: within treatments r = {row['correlation']:.2f} (95 % interval "
        f"{row['conf_low']:.2f} to {row['conf_high']:.2f}, 8 runs); runs with more of the one have more of the other"
    )
    # A run whose second cylinder has no value has no mean to go by.
    lost = strata.of_runs(asked, rows.drop(index=1))
    short = agreement([of_strata(asked, ring, lost, wear.drop(index=1).to_numpy()), other]).iloc[0]
    told = "whether they go together run by run is not told with 3 degrees of freedom"
    assert (short["runs"], short["sentence"]) == (7, f"ring_loss_mg and fe_ppm: {told}")
    # Of two that are measured in the positions the rows are these.
    both = of_strata(asked, liner, strata.of_runs(asked, rows), draw.normal(size=len(rows)))
    assert agreement([one, both])["sentence"].iloc[0].split(", ")[1].startswith("32 positions);")
