"""Scatter of levels and comparisons without a common scatter, against scipy and by simulation."""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from tests.unit import briefs
from toolkit.brief.model import PlanChoice, Response
from toolkit.design import factorial, orders, strata
from toolkit.model import group_spread
from toolkit.model.fit import of_strata

LINEAR = (Response("wear_um", scale="linear", worthwhile_change=2.0),)


def one_factor(y, replicates=4):
    """Three finishes, completely randomised, with these values in the order of the design."""
    brief = briefs.randomised(responses=LINEAR, plan=PlanChoice(replicates=replicates))
    table = factorial.full(brief).table.sort_values("finish", kind="stable", ignore_index=True)
    return of_strata(brief, LINEAR[0], strata.of_runs(brief, table), np.asarray(y, dtype=float))


def blocked(seed, spread=1.0):
    """A 2x2 in three builds; the second level of pin scatters ``spread`` times as much. INVENTED."""
    brief, held = _blocks()
    sd = np.where(held.runs["pin"] == "P1", spread, 1.0)
    y = 20.0 + np.random.default_rng(seed).normal(0.0, 1.0, 12) * sd
    return of_strata(brief, LINEAR[0], held, y)


@functools.cache
def _blocks():
    """The brief of the 2x2 in three builds, and the strata of its runs, which are the same for all draws."""
    brief = briefs.blocked(responses=LINEAR)
    return brief, strata.of_runs(brief, orders.randomise(factorial.full(brief), seed=1).table)


VALUES = [9.1, 8.7, 9.4, 9.0, 7.2, 12.9, 3.8, 10.1, 8.9, 8.4, 8.6, 8.5]


def test_with_one_factor_the_statistic_is_that_of_levene_and_levels_are_sds():
    fitted = one_factor(VALUES)
    groups = [fitted.y[(fitted.strata.runs["finish"] == name).to_numpy()] for name in ("turned", "honed", "lapped")]
    row = group_spread.spread_tests(fitted).iloc[0]
    assert row["statistic"] == pytest.approx(stats.levene(*groups, center="mean").statistic, rel=1e-9)
    for name, values in zip(("turned", "honed", "lapped"), groups, strict=True):
        assert row["levels"][name] == pytest.approx(values.std(ddof=1), rel=1e-9)
    assert row["result"] == "look at it" and row["p_value"] < 0.05
    sds = {name: values.std(ddof=1) for name, values in zip(("turned", "honed", "lapped"), groups, strict=True)}
    worst, least = max(sds, key=sds.get), min(sds, key=sds.get)
    told = ", ".join(f"{name} {sd:.2g} µm" for name, sd in sds.items())
    assert row["sentence"] == (
        f"scatter by finish: SD {told} (p = {row['p_value']:.2g}): {worst} scatters {sds[worst] / sds[least]:.1f} "
        f"times as much as {least}: see the answers without a common scatter beside the verdicts"
    )


def test_without_builds_a_pair_is_judged_as_by_welch():
    fitted = one_factor(VALUES)
    made = group_spread.group_spread(fitted)
    assert made.flagged
    runs = fitted.strata.runs
    for name, of in (("honing", "honed"), ("lapping", "lapped")):
        row = made.comparisons.set_index("comparison").loc[name]
        pair = [fitted.y[(runs["finish"] == level).to_numpy()] for level in (of, "turned")]
        outside = stats.ttest_ind(*pair, equal_var=False)
        low, high = outside.confidence_interval(0.95)
        assert row["estimate"] == pytest.approx(pair[0].mean() - pair[1].mean(), rel=1e-9)
        assert (row["df"], row["p_value"]) == pytest.approx((outside.df, outside.pvalue), rel=1e-8)
        assert (row["conf_low"], row["conf_high"]) == pytest.approx((low, high), rel=1e-8)
    assert made.notes == (
        "without a common scatter: every combination has a variance of its own; degrees of freedom by Welch; each "
        "judged alone",
    )


def test_in_builds_a_comparison_is_the_paired_t_of_its_builds():
    fitted = next(made for made in (blocked(at, 12.0) for at in range(40)) if group_spread.group_spread(made).flagged)
    made = group_spread.group_spread(fitted)
    runs = fitted.strata.runs.assign(y=fitted.y)
    table = runs.pivot_table(index="build_id", columns=["pin", "oil"], values="y")
    own = (table["P1"].mean(axis=1) - table["P0"].mean(axis=1)).to_numpy()
    outside = stats.ttest_1samp(own, 0.0)
    row = made.comparisons.set_index("comparison").loc["coating"]
    assert (row["estimate"], row["p_value"], row["df"]) == pytest.approx((own.mean(), outside.pvalue, 2.0), rel=1e-8)
    cross = (table["P1"]["O1"] - table["P1"]["O0"] - table["P0"]["O1"] + table["P0"]["O0"]).to_numpy()
    row = made.comparisons.set_index("comparison").loc["together"]
    assert row["estimate"] == pytest.approx(cross.mean(), rel=1e-8)
    assert made.to_json()["tests"][0]["result"] == "look at it"


def test_false_alarms_are_five_per_cent_and_a_large_ratio_is_seen_more_often():
    # 200 campaigns with one scatter; two factors and the builds at 1.7 % each; bound: 3.24 binomial standard errors.
    alarms = np.mean([(group_spread.spread_tests(blocked(at))["result"] == "look at it").any() for at in range(200)])
    assert abs(alarms - 0.05) <= 3.24 * np.sqrt(0.05 * 0.95 / 200)
    # Twelve runs in builds see little: five times the scatter is found in one campaign of ten.
    found = np.mean([group_spread.spread_tests(blocked(at, 5.0)).iloc[0]["result"] == "look at it" for at in range(60)])
    assert found > alarms


def test_pairs_leave_both_levels_the_same_scatter_and_are_not_tested():
    brief = replace(briefs.blocked(responses=LINEAR), comparisons=(), families=())
    brief = replace(brief, factors=brief.factors[:1], plan=replace(brief.plan, builds=8))
    runs = factorial.full(brief).table
    # The second of each pair scatters ten times as much, and nothing in the differences of pairs can tell.
    y = np.random.default_rng(4).normal(0.0, 1.0, 16) * np.where(runs["pin"] == "P1", 10.0, 1.0)
    row = group_spread.spread_tests(of_strata(brief, LINEAR[0], strata.of_runs(brief, runs), y)).iloc[0]
    assert (row["result"], row["p_value"]) == ("not testable", None)
    assert row["sentence"] == (
        "scatter by pin: not testable, because the model leaves every level the same scatter"
    )


def test_what_cannot_be_tested_says_why():
    fitted = one_factor(VALUES[:6], replicates=2)
    assert list(group_spread.spread_tests(fitted)["sentence"]) == [
        "scatter by finish: not testable with fewer than 3 runs of each"
    ]
    fitted = one_factor([9.0] * 12)
    assert list(group_spread.spread_tests(fitted)["sentence"]) == [
        "scatter by finish: not testable with repeats that agree to the last digit"
    ]
    made = blocked(1)
    lone = replace(briefs.blocked(responses=LINEAR), plan=PlanChoice(builds=1))
    table = factorial.full(lone).table
    fitted = of_strata(lone, LINEAR[0], strata.of_runs(lone, table), made.y[:4])
    assert list(group_spread.spread_tests(fitted)["sentence"]) == [
        f"scatter by {name}: not testable with 0 df of error" for name in ("pin", "oil")
    ]
