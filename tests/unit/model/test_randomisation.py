"""The exact p from the order set, against published counts, counts by hand and scipy's permutation test."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.reference.loader import load
from tests.unit import briefs
from tests.unit.model.made import brief_of
from toolkit.brief.model import Comparison, Factor, Level
from toolkit.design import factorial, orders, strata
from toolkit.design.swaps import DRAWN
from toolkit.model.fit import fit, of_strata
from toolkit.model.randomisation import exact_p


def made(brief, seed=3, effects=None, scatter=0.1):
    """A fit of the brief's main phase, INVENTED values."""
    runs = orders.randomise(factorial.full(brief), seed=brief.seed).table
    draw = np.random.default_rng(seed)
    y = draw.normal(-2.0, scatter, len(runs))
    for level, change in (effects or {}).items():
        y += change * (runs[list(brief.factor_names)] == level).any(axis=1).to_numpy()
    return of_strata(brief, brief.responses[0], strata.of_runs(brief, runs), y)


@pytest.mark.parametrize(("builds", "smallest"), [(2, 0.125), (3, 0.03125), (4, 0.0078125), (5, 0.001953125)])
def test_the_smallest_p_of_a_two_by_two_in_blocks_is_two_over_four_to_the_blocks(builds, smallest):
    brief = briefs.blocked(plan=briefs.PlanChoice(builds=builds))
    table = exact_p(made(brief, effects={"P1": -9.0})).set_index("comparison")
    row = table.loc["coating"]
    assert (row["p_value"], row["smallest_p"], row["orders"], row["exact"]) == (smallest, smallest, 4**builds, True)
    assert row["sentence"] == (
        f"coating: 2 of {4**builds:,} orders differ as much (p = {smallest:.3g}; the smallest here is {smallest:.2g})"
    )


def test_every_order_is_gone_through_as_by_hand():
    fitted = made(briefs.blocked(), seed=8, effects={"P1": -0.1, "O1": -0.2})
    runs, y = fitted.strata.runs, fitted.y
    pairs = [
        (part.index[part["pin"] == "P0"][0], part.index[part["pin"] == "P1"][0])
        for _, part in runs.groupby(["build_id", "oil"])
    ]
    assert len(pairs) == 6
    columns = np.hstack([
        pd.get_dummies(runs["pin"] + runs["oil"]).to_numpy(float),
        pd.get_dummies(runs["build_id"]).to_numpy(float)[:, 1:],
    ])
    way = np.where(runs["pin"] == "P1", 1.0, -1.0)

    def size(values):
        rest = values - columns @ np.linalg.lstsq(columns, values, rcond=None)[0]
        return abs(way @ values) / np.sqrt(rest @ rest)

    sizes = []
    for code in range(2**6):
        values = y.copy()
        for place, (one, other) in enumerate(pairs):
            if code >> place & 1:
                values[[one, other]] = y[[other, one]]
        sizes.append(size(values))
    by_hand = float(np.mean(np.array(sizes) >= size(y) * (1 - 1e-9)))
    row = exact_p(fitted).set_index("comparison").loc["coating"]
    assert row["p_value"] == by_hand
    assert 0.03 < by_hand < 1.0


def test_paired_shoes_have_the_published_count_of_sign_changes():
    # Boys' shoes: 7 of 1,024 sign changes give a mean difference as large one-sided, 14 two-sided (Box, Hunter and
    # Hunter, Statistics for Experimenters; the count from memory, recomputed here by scipy).
    data = load("k03-paired-shoe-wear").data
    wide = data.pivot(index="boy", columns="material", values="wear")
    outside = stats.permutation_test(
        (wide["B"], wide["A"]),
        lambda one, other: np.mean(one - other),
        permutation_type="samples",
        n_resamples=np.inf,
    )
    data = data.rename(columns={"wear": "wear_um"})
    brief = brief_of(data, ["material"], "wear_um", block="boy", scale="linear")
    brief = briefs.replace(brief, comparisons=(Comparison("B", of={"material": "B"}, against={"material": "A"}),))
    runs = data.assign(run_id=[f"R{at}" for at in range(len(data))], build_id=data["boy"].astype(str))
    row = exact_p(fit(brief, runs, "wear_um")).iloc[0]
    assert row["p_value"] == pytest.approx(outside.pvalue, abs=1e-12)
    assert (row["p_value"], row["orders"]) == (14 / 1024, 1024)


def test_more_orders_than_are_gone_through_are_drawn_from_the_seed():
    brief = briefs.randomised(plan=briefs.PlanChoice(replicates=12))
    fitted = made(brief, seed=2, effects={"honed": -0.05})
    row = exact_p(fitted).set_index("comparison").loc["honing"]
    assert (row["exact"], row["orders"]) == (False, DRAWN)
    asked = fitted.strata.runs["finish"]
    outside = stats.ttest_ind(fitted.y[asked == "honed"], fitted.y[asked == "turned"]).pvalue
    assert row["p_value"] == pytest.approx(outside, abs=0.03)
    assert row["p_value"] == exact_p(fitted).set_index("comparison").loc["honing", "p_value"]


def test_what_the_order_set_has_no_test_for_says_so():
    table = exact_p(made(briefs.blocked())).set_index("comparison")
    assert table.loc["together", "sentence"] == "together: an interaction has no exact test"
    table = exact_p(made(briefs.whole_plots())).set_index("comparison")
    assert table.loc["both", "sentence"] == "both: judged in two strata: no exact test"
    # Eight builds, four of each sprocket: 70 ways to allot them.
    assert table.loc["sprocket", "orders"] == 70
    assert table.loc["sprocket", "smallest_p"] == 2 / 70


def test_a_lost_run_breaks_the_mirror_so_that_one_order_alone_can_be_the_clearest():
    brief = briefs.blocked()
    whole = made(brief, seed=5, effects={"P1": -3.0})
    runs = whole.strata.runs.drop(index=5).reset_index(drop=True)
    fitted = of_strata(brief, brief.responses[0], strata.of_runs(brief, runs), np.delete(whole.y, 5))
    row = exact_p(fitted).set_index("comparison").loc["coating"]
    assert (row["orders"], row["p_value"], row["smallest_p"]) == (32, 1 / 32, 1 / 32)


def test_false_alarms_stay_below_what_is_promised():
    # Exact by construction: at most alpha in the long run; 400 campaigns, the bound from the binomial (3.24 SE).
    brief = briefs.blocked(comparisons=(Comparison("coating", of={"pin": "P1"}, against={"pin": "P0"}),))
    # Nothing acts on the values, so that all campaigns may have the runs and strata of one.
    whole, alarms = made(brief), 0
    for at in range(400):
        y = np.random.default_rng(100 + at).normal(-2.0, 0.1, len(whole.y))
        fitted = of_strata(brief, brief.responses[0], whole.strata, y)
        alarms += exact_p(fitted).loc[0, "p_value"] <= 0.125
    assert alarms / 400 <= 0.125 + 3.24 * np.sqrt(0.125 * 0.875 / 400)
    assert alarms / 400 >= 0.125 - 3.24 * np.sqrt(0.125 * 0.875 / 400)


def test_two_levels_that_never_met_have_no_test():
    runs = pd.DataFrame({
        "run_id": [f"R{at}" for at in range(8)],
        "build_id": "B1",
        "pin": ["P0", "P0", "P0", "P1", "P1", "P1", "P0", "P1"],
        "oil": ["O0", "O0", "O0", "O1", "O1", "O1", "O0", "O1"],
    })
    brief = briefs.blocked(
        block_by=None,
        comparisons=(Comparison("x", of={"pin": "P1"}, against={"pin": "P0"}),),
        factors=(briefs.factor("pin", "P0", "P1"), Factor("oil", "fill", (Level("O0"), Level("O1")))),
    )
    table = exact_p(of_strata(brief, brief.responses[0], strata.of_runs(brief, runs), np.arange(8.0) % 3))
    assert table.loc[0, "sentence"] == "x: not estimable from these runs"


def with_centre_points(seed, *, replicates=3, centre_points=1, bend=5.0):
    """A fill kept over the runs at two temperatures, some fills with a centre point beside them; INVENTED values."""
    brief = briefs.randomised(
        factors=(briefs.numeric("temp_degC", 90, 120), briefs.factor("oil", "O0", "O1", undo="fill")),
        new_each_run=("part",),
        comparisons=(
            Comparison("oil", of={"oil": "O1"}, against={"oil": "O0"}),
            Comparison("heat", of={"temp_degC": "120"}, against={"temp_degC": "90"}),
            Comparison("both", of={"oil": "O1", "temp_degC": "120"}, against={"oil": "O0", "temp_degC": "90"}),
        ),
        plan=briefs.PlanChoice(replicates=replicates, centre_points=centre_points),
    )
    runs = orders.randomise(factorial.full(brief), seed=brief.seed).table
    draw = np.random.default_rng(seed)
    fills = draw.normal(0.0, 0.3, runs["fill_id"].nunique())
    y = fills[runs["fill_id"].astype(int).to_numpy() - 1] + draw.normal(0.0, 0.1, len(runs))
    y = y + bend * (runs["temp_degC"] == "centre").to_numpy()
    return of_strata(brief, brief.responses[0], strata.of_runs(brief, runs), y)


def test_centre_points_in_kept_units_stay_and_whole_units_change_places_as_by_hand():
    fitted = with_centre_points(4)
    assert not fitted.strata.balanced
    runs = fitted.strata.runs.reset_index(drop=True)
    corner = (runs["temp_degC"] != "centre").to_numpy()
    held = runs.assign(y=fitted.y)[corner].groupby("fill_id")
    means, oil = held["y"].mean().to_numpy(), held["oil"].first().to_numpy()
    beside = runs.groupby("fill_id")["temp_degC"].apply(lambda levels: (levels == "centre").sum()).to_numpy()
    assert sorted(zip(beside, oil, strict=True)) == [(0, "O0")] * 2 + [(0, "O1")] * 2 + [(1, "O0"), (1, "O1")]

    def size(sides):
        """t of two samples of fill means."""
        return abs(stats.ttest_ind(means[sides], means[~sides]).statistic)

    own = oil == "O1"
    sizes = []
    for code in range(2**6):
        sides = np.array([bool(code >> at & 1) for at in range(6)])
        if all(sides[beside == many].sum() == own[beside == many].sum() for many in (0, 1)):
            sizes.append(size(sides))
    assert len(sizes) == 12
    as_far = int((np.array(sizes) >= size(own) * (1 - 1e-9)).sum())
    table = exact_p(fitted).set_index("comparison")
    row = table.loc["oil"]
    assert (row["p_value"], row["orders"], row["exact"], row["smallest_p"]) == (as_far / 12, 12, True, 2 / 12)
    assert row["sentence"] == (
        f"oil: {as_far} of 12 orders differ as much (p = {as_far / 12:.3g}; the smallest here is 0.17); centre points "
        f"stay in their places and are left out"
    )
    # The two temperatures change places within each of six fills: sign changes of the differences within oils.
    pairs = runs.assign(y=fitted.y)[corner].pivot(index="fill_id", columns="temp_degC", values="y")
    off = (pairs["120"] - pairs["90"]).to_numpy()

    def paired(values):
        """Mean over the root of what the means of the two oils leave."""
        rest = values - np.where(own, values[own].mean(), values[~own].mean())
        return abs(values.mean()) / np.sqrt(rest @ rest)

    signs = [np.array([1.0 if code >> at & 1 else -1.0 for at in range(6)]) for code in range(2**6)]
    share = np.mean([paired(sign * off) >= paired(off) * (1 - 1e-9) for sign in signs])
    assert (table.loc["heat", "p_value"], table.loc["heat", "orders"]) == (share, 64)
    assert table.loc["both", "sentence"] == "both: judged in two strata: no exact test"
