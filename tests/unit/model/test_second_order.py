"""What a surface says in words, on made responses whose answer is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.unit.design.test_base import numbers
from toolkit.brief.model import Brief, Response
from toolkit.design import base, chosen
from toolkit.model import second_order
from toolkit.model.fit import Fit, fit

PLAN = {"design": "central composite", "axial": "face-centred", "centre_points": 4, "replicates": 1}


def brief_of(better: str = "smaller", **plan: object) -> Brief:
    """Two numeric factors, face-centred."""
    brief = numbers(2, (100.0, 200.0, 300.0), **{**PLAN, **plan})
    return replace(brief, responses=(Response("wear_um", scale="linear", better=better, per_run="value"),))


def fitted(brief: Brief, rule: object, *, noise: float = 0.05) -> Fit:
    """The fit of runs made from coded settings by a rule, with a little seeded scatter."""
    runs = chosen.main(brief).table
    runs.insert(0, "run_id", [f"R{at:02d}" for at in range(len(runs))])
    steps = base.steps(brief)
    coded = [np.array([steps[name][level] for level in runs[name]]) for name in brief.factor_names]
    runs["wear_um"] = rule(*coded) + noise * np.random.default_rng(3).standard_normal(len(runs))
    return fit(brief, runs, "wear_um")


def test_a_minimum_inside() -> None:
    """Where it is, its nature, its region, lack of fit and the best setting, in the units of the factors."""
    found = second_order.surface(fitted(brief_of(), lambda x, z: 5 + (x - 0.5) ** 2 + 2 * (z + 0.25) ** 2))
    first, best = found.sentences[0], found.sentences[-1]
    told = found.table.set_index("factor")
    assert told["stationary"].tolist() == pytest.approx([250.0, 175.0], abs=6.0)
    assert told["best"].tolist() == pytest.approx(told["stationary"].tolist())
    assert first.startswith("The mean wear is lowest and rises in every direction at speed_rpm 2")
    assert first.endswith(" µm).") and "(minimum, " in first
    assert found.sentences[1].startswith("Its 95 % region takes in speed_rpm 2")
    assert found.sentences[2].startswith("No lack of fit is shown (F ")
    assert best.startswith("Best within the levels of the brief: speed_rpm 2")
    assert "; one run there would give " in best
    assert told["region_at_limit"].tolist() == [False, False]
    held = found.to_json()
    assert held["nature"] == "minimum"
    assert held["best"]["run_low"] < held["best"]["mean_low"] < held["best"]["predicted"] < held["best"]["mean_high"]
    assert found.axes["told_from_nought"].tolist() == [True, True]


def test_larger_is_better_goes_to_the_other_end() -> None:
    """The same surface with larger better: the best setting is the corner furthest from the minimum."""
    found = second_order.surface(fitted(brief_of("larger"), lambda x, z: 5 + (x - 0.5) ** 2 + 2 * (z + 0.25) ** 2))
    assert found.table["best"].tolist() == [100.0, 300.0]
    assert "speed_rpm and load_N at a limit of the brief" in found.sentences[-1]


def test_a_ridge_and_a_surface_that_does_not_fit() -> None:
    """No curvature along one factor is said; a bend that no parabola follows is lack of fit."""
    ridge = second_order.surface(fitted(brief_of(), lambda x, z: 5 + 0.4 * x + 2 * z**2, noise=0.1))
    assert "Along speed_rpm its curvature is not told from nought: it may be a ridge." in ridge.sentences
    poor = second_order.surface(fitted(brief_of(), lambda x, z: 5 + x**2 * z + 2 * z**2))
    assert any(text.startswith("The surface does not fit: it misses the runs by more") for text in poor.sentences)


def test_a_point_outside_the_levels_is_not_relied_on() -> None:
    """The minimum lies beyond the largest setting."""
    found = second_order.surface(fitted(brief_of(), lambda x, z: 5 + (x - 2) ** 2 + (z - 0.2) ** 2))
    assert "That point lies outside the levels of speed_rpm: nothing was run there." in found.sentences
    assert found.table.set_index("factor").loc["speed_rpm", "best"] == 300.0


def test_on_the_log_scale_medians_are_told() -> None:
    """Numbers come back in the unit of the response."""
    brief = brief_of()
    brief = replace(brief, responses=(Response("wear_um", per_run="value", worthwhile_change_pct=20.0),))
    found = second_order.surface(fitted(brief, lambda x, z: np.exp(1 + x**2 + z**2), noise=0.0))
    assert found.to_json()["predicted"] == pytest.approx(np.e)
    assert found.sentences[0].startswith("The median wear is lowest")


def test_designs_without_a_surface() -> None:
    """A screening plan has none, nor has a surface of which a product was declared nil."""
    plain = numbers(3, (1.0, 2.0, 3.0), design="three-level screening", replicates=1)
    plain = replace(plain, responses=brief_of().responses)
    assert second_order.surface(fitted(plain, lambda x, y, z: 5 + x + y + z)) is None
    nil = brief_of(nil_interactions=(("speed_rpm", "load_N"),))
    assert second_order.surface(fitted(nil, lambda x, z: 5 + x**2 + z**2)) is None
