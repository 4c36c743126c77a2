"""What a plan is like: the figures R gives for known designs, correlations and sentences by hand.

Efficiencies and inflation: k13-optimality-known-designs (R 4.2.2, from the definitions).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.reference.loader import load
from tests.unit import briefs
from tests.unit.design.test_base import numbers, two_level
from toolkit.brief.model import PlanChoice
from toolkit.design import chosen, factorial, strata
from toolkit.design.properties import properties

REACH = 10 * 2**0.5
COMPOSITE = {"design": "central composite", "replicates": 1}
KNOWN = {
    "full_2x3_int": replace(two_level(3), plan=PlanChoice(replicates=1, interactions_up_to=2)),
    "half_2_4_1_main": two_level(4, design="two-level fraction", runs=8, replicates=1, interactions_up_to=1),
    "pb12_main": replace(
        two_level(8, design="Plackett-Burman", runs=12, replicates=1),
        factors=tuple(briefs.factor(name, "0", "1") for name in ("pin", *"abcdefghij")),
    ),
    "ccd_k2_rotatable_5centres_quad": numbers(
        2, (20 - REACH, 10, 20, 30, 20 + REACH), axial="rotatable", centre_points=5, **COMPOSITE
    ),
    "face_centred_k3_3centres_quad": numbers(3, (10, 20, 30), axial="face-centred", centre_points=3, **COMPOSITE),
}


@pytest.mark.parametrize("name", KNOWN)
def test_efficiencies_leverage_and_inflation_are_those_of_r(name):
    every = load("k13-optimality-known-designs").values.items()
    values = {key.removeprefix(f"{name}."): float(value) for key, value in every if key.startswith(f"{name}.")}
    found = properties(chosen.main(KNOWN[name]).strata)
    told = {
        "n": found.efficiencies["runs"],
        "p": found.efficiencies["parameters"],
        "d_efficiency_pct": found.efficiencies["d"],
        "a_efficiency_pct": found.efficiencies["a"],
        "g_efficiency_pct": found.efficiencies["g"],
        "max_pred_var_candidates": found.efficiencies["largest_variance"],
        "max_leverage": found.leverage["leverage"].max(),
    }
    assert told == pytest.approx({key: values[key] for key in told}, rel=1e-9)
    largest = max(value for key, value in values.items() if key.startswith("vif"))
    assert found.inflation["inflation"].max() == pytest.approx(largest, rel=1e-9)


def test_the_mean_variance_over_a_square_is_the_integral():
    # Two numbers at two levels, 4 runs, with interaction: (1 + x^2)(1 + y^2) / 4, whose mean is (4/3)^2 / 4.
    found = properties(factorial.full(replace(numbers(2, (10, 30)), plan=PlanChoice(replicates=1))).strata)
    assert found.efficiencies["mean_variance"] == pytest.approx((4 / 3) ** 2 / 4, rel=1e-12)
    assert found.efficiencies["largest_variance"] == pytest.approx(1.0)
    assert found.efficiencies["i"] == pytest.approx(100 * 4 / (4 * (4 / 3) ** 2 / 4))
    assert found.short[2] == (
        "I is the mean variance of a prediction against that of as many runs spread evenly over the same space, so "
        "that it can be above 100 %"
    )
    share = found.prediction.set_index("share")["variance"]
    # The median of (1 + x^2)(1 + y^2) / 4 from ten million points drawn beforehand: 0.4257.
    assert share.loc[0.5] == pytest.approx(0.4257, abs=0.01)
    assert found.space == "between the lowest and the highest level of each numeric factor"


def test_a_half_fraction_says_what_cannot_be_told_from_what():
    brief = two_level(3, design="two-level fraction", runs=4, replicates=2)
    found = properties(chosen.main(brief).strata)
    assert found.sentences == (
        "pin cannot be told from oil × link",
        "oil cannot be told from pin × link",
        "link cannot be told from pin × oil",
    )
    assert sorted(found.correlations["correlation"].tolist()) == [0.0] * 12 + [1.0] * 3


def test_screening_runs_mix_main_effects_with_thirds_of_interactions():
    found = properties(chosen.main(two_level(4, design="Plackett-Burman", runs=12, replicates=1)).strata)
    size = found.correlations["correlation"].abs().round(9)
    assert set(size) == {0.0, round(1 / 3, 9)}
    assert found.sentences[0].startswith(f"{int((size > 0).sum())} of 45 pairs go along in part, ")


def test_builds_that_hold_other_combinations_cost_and_are_named():
    brief = briefs.blocked(plan=PlanChoice(builds=2))
    whole = factorial.full(brief).strata
    # Without two runs of P1 in the second build, builds and pin go along with each other.
    runs = whole.runs[~((whole.runs["build_id"] == "B2") & (whole.runs["pin"] == "P1"))].reset_index(drop=True)
    found = properties(strata.of_runs(brief, runs))
    pair = found.correlations.set_index(["term", "other"])["correlation"]
    own = np.where(runs["pin"] == "P1", 1.0, -1.0)
    assert abs(pair["builds", "pin"]) == pytest.approx(abs(np.corrcoef(own, runs["build_id"] == "B2")[0, 1]))
    assert properties(whole).efficiencies["d"] == pytest.approx(100.0)
    assert found.efficiencies["d"] < 99.0
    assert found.leverage["leverage"].sum() == pytest.approx(5.0)


def test_levels_stand_in_natural_and_coded_units():
    found = properties(chosen.main(KNOWN["face_centred_k3_3centres_quad"]).strata).coded
    assert set(zip(found["speed_rpm"], found["speed_rpm_coded"], strict=True)) == {
        ("10 r/min", -1.0),
        ("20 r/min", 0.0),
        ("30 r/min", 1.0),
    }
    names = properties(factorial.full(briefs.randomised()).strata).coded
    assert names["finish_coded"].isna().all()


def test_runs_that_cannot_tell_the_model_say_so():
    brief = two_level(3, design="two-level fraction", runs=4, replicates=1)
    runs = chosen.main(brief).strata.runs.iloc[:2]
    found = properties(strata.of_runs(brief, runs))
    assert found.efficiencies == {} and found.to_json()["prediction"] == []
    assert found.notes[-1] == "these runs cannot tell the whole model, so that no efficiencies are told"
    plots = properties(factorial.full(briefs.whole_plots()).strata)
    assert plots.notes == (
        "efficiencies and variances of prediction take runs as independent; the scatter between builds is in the "
        "half-widths",
    )
    few = factorial.full(briefs.whole_plots()).strata.runs.iloc[:2]
    # What efficiencies leave out is not told where there are none.
    assert properties(strata.of_runs(briefs.whole_plots(), few)).notes == found.notes[-1:]
