"""The truth behind the bundled campaigns as changes, and how often stations taken as replicates cry wolf."""

import math

import numpy as np
import pandas as pd
import pytest

from tests.demo.make_data import brief_of
from toolkit.demo import lessons


def test_the_true_changes_of_the_chain_follow_from_the_stated_medians():
    # Stated: ln changes -0.25 (pin), -0.16 (oil), -0.10 (both); averaged over the other factor -0.30 and -0.21.
    found = lessons.truths(brief_of("chain-soot"))
    assert found["comparison"].tolist() == ["coating", "new oil", "both together", "coating needs the new oil"]
    assert set(found["response"]) == {"elongation_pct"}
    stated = [100 * math.expm1(change) for change in (-0.30, -0.21, -0.51, -0.10)]
    assert found["true_change_pct"].tolist() == pytest.approx(stated, rel=1e-12)


def test_the_true_changes_of_the_other_campaigns():
    # Stated in their truth.csv: ln changes -0.12 and -0.45 of the finishes; -0.28 and -0.18 of sprocket and oil.
    tappets = lessons.truths(brief_of("tappet-finish"))["true_change_pct"]
    assert tappets.tolist() == pytest.approx([100 * math.expm1(-0.12), 100 * math.expm1(-0.45)])
    sprockets = lessons.truths(brief_of("sprocket-build"))
    assert set(sprockets["response"]) == {"elongation_um"}  # the torque is on the linear scale
    stated = [100 * math.expm1(change) for change in (-0.28, -0.18, -0.46)]
    assert sprockets["true_change_pct"].tolist() == pytest.approx(stated)


def test_the_iron_of_other_parts_waters_every_change_of_wear_down():
    # By hand: medians of wear as stated, 81.64 mg of steel for 0.1 % (130 pitches of 8 mm, 10 mm2, 7.85 mg/mm3), and
    # 110 mg of other parts beside it in every combination.
    found = lessons.iron(brief_of("chain-soot")).set_index("comparison")
    plain, oil, pin, both = (81.64 * 1.15 * math.exp(change) + 110.0 for change in (0.0, -0.16, -0.25, -0.51))
    assert found["wear_pct"].tolist() == lessons.truths(brief_of("chain-soot"))["true_change_pct"].tolist()
    assert found["iron_pct"].tolist() == pytest.approx(
        [100 * (ratio - 1) for ratio in (math.sqrt(pin * both / plain / oil), math.sqrt(oil * both / plain / pin),
                                         both / plain, both * plain / pin / oil)]
    )  # fmt: skip


def test_luck_is_told_by_the_quantiles_over_the_campaigns():
    # 101 campaigns that find -50 %, -49 % ... +50 %: the quantiles can be read off.
    brief = brief_of("chain-soot")
    names = [item.name for item in brief.comparisons]
    by_seed = pd.DataFrame(
        [(seed, name, float(seed - 51)) for name in names for seed in range(1, 102)],
        columns=["seed", "comparison", "change_pct"],
    )
    found = lessons.luck(brief, by_seed, seed=11)
    assert found["comparison"].tolist() == names
    quantiles = found[["low_5_pct", "low_25_pct", "high_75_pct", "high_95_pct"]].drop_duplicates()
    assert quantiles.to_numpy().tolist() == [[-45.0, -25.0, 25.0, 45.0]]
    assert set(found["campaigns"]) == {101} and set(found["seed"]) == {11} and set(found["this_pct"]) == {-40.0}
    assert found["true_pct"].tolist() == lessons.truths(brief)["true_change_pct"].tolist()


def test_one_run_of_each_combination_finds_the_truth_on_average_and_scatters_by_its_runs():
    # By hand from the stated truth (ln): a run scatters by 0.12 and each of its ten segments by 0.15, and each place in
    # the order, drawn anew, adds 0.015 and 0.004; the variance of four places is 5/3.
    brief = brief_of("chain-soot")
    found = lessons.one_each(brief, campaigns=3000, seed=4)
    assert found["seed"].max() == 3000 and len(found) == 4 * 3000
    run = 0.12**2 + 0.15**2 / 10 + (0.015 + 0.004) ** 2 * 5 / 3
    for name, weights, change in (("coating", 1.0, -0.30), ("new oil", 1.0, -0.21), ("both together", 2.0, -0.51),
                                  ("coating needs the new oil", 4.0, -0.10)):  # fmt: skip
        logs = np.log1p(found.loc[found["comparison"] == name, "change_pct"] / 100)
        sd = math.sqrt(weights * run)
        # 3.3 standard errors of a mean and of an SD; readings and the mean of segments on the wear scale add a little.
        assert abs(logs.mean() - change) <= 3.3 * sd / math.sqrt(3000), name
        assert sd * (1 - 3.3 / math.sqrt(6000)) <= logs.std() <= sd * 1.1, name


def test_stations_as_replicates_reject_39_per_cent_and_run_values_5():
    # The scenario's stored oracle: 4,000 simulations, segments as replicates 39 %; run values 5 % by theory.
    # 3.3 binomial standard errors, for the 39 % of both simulations, and half a unit of its last digit.
    found = lessons.false_alarms(brief_of("chain-soot"), campaigns=4000, seed=3)
    assert found["campaigns"].tolist() == [4000] * 4
    allowed = 100 * 3.3 * math.sqrt(0.39 * 0.61 * 2 / 4000) + 0.5
    assert (found["stations_as_replicates_pct"] - 39).abs().max() <= allowed
    assert (found["run_values_pct"] - 5).abs().max() <= 100 * 3.3 * math.sqrt(0.05 * 0.95 / 4000)


def test_the_same_seed_gives_the_same_shares():
    one, same, other = (lessons.false_alarms(brief_of("chain-soot"), campaigns=300, seed=s) for s in (5, 5, 6))
    assert one.equals(same)
    assert not one.equals(other)
