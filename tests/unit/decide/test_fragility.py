"""The smallest change of one run that changes a verdict, against bisection on the whole analysis."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from tests.unit import briefs
from toolkit.brief.model import Comparison
from toolkit.decide import verdict
from toolkit.decide.fragility import COLUMNS, fragility
from toolkit.design import factorial, orders, strata
from toolkit.model import comparisons
from toolkit.model.fit import of_strata


def fitted(brief, seed, effects):
    """A campaign of the brief's main phase with these effects on the log scale, INVENTED."""
    runs = orders.randomise(factorial.full(brief), seed=brief.seed).table
    draw = np.random.default_rng(seed)
    builds = {name: draw.normal(0.0, 0.05) for name in runs["build_id"].unique()}
    y = [
        -2.0
        + sum(effects.get(level, 0.0) for level in line[list(brief.factor_names)])
        + builds[line["build_id"]]
        + draw.normal(0.0, 0.10)
        for _, line in runs.iterrows()
    ]
    return of_strata(brief, brief.responses[0], strata.of_runs(brief, runs), np.array(y))


def verdict_at(fit, comparison, at, shift):
    """The verdict of the whole analysis with one run's value shifted."""
    moved = fit.y.copy()
    moved[at] += shift
    again = of_strata(fit.brief, fit.response, fit.strata, moved)
    table = verdict.verdicts(comparisons.comparisons(again), fit.brief)
    return table.set_index("comparison").loc[comparison, "verdict"]


def bisected(fit, comparison, at, far=3.0, steps=1500):
    """The smallest shift that changes the verdict: a fine scan outwards both ways, then bisection."""
    now = verdict_at(fit, comparison, at, 0.0)
    found = []
    for way in (1.0, -1.0):
        before = 0.0
        for shift in way * np.linspace(far / steps, far, steps):
            if verdict_at(fit, comparison, at, shift) != now:
                low, high = before, shift
                for _ in range(60):
                    middle = (low + high) / 2.0
                    low, high = (middle, high) if verdict_at(fit, comparison, at, middle) == now else (low, middle)
                found.append(high)
                break
            before = shift
    return min(found, key=abs) if found else None


@pytest.mark.parametrize(
    ("brief", "effects", "comparison", "run"),
    [
        (briefs.blocked(), {"P1": -0.45, "O1": -0.1}, "coating", 0),
        (briefs.blocked(), {"P1": -0.10}, "coating", 7),
        (briefs.whole_plots(), {"S1": -0.4, "A1": -0.1}, "sprocket", 5),
        (briefs.whole_plots(), {"O1": -0.15}, "oil", 3),
        (briefs.randomised(), {"lapped": -0.5}, "lapping", 2),
    ],
)
def test_the_smallest_shift_is_the_one_that_bisection_on_the_whole_analysis_finds(brief, effects, comparison, run):
    fit = fitted(brief, 11, effects)
    name = fit.strata.runs["run_id"].iloc[run]
    table = fragility(fit).set_index(["comparison", "run_id"])
    row = table.loc[(comparison, name)]
    outside = bisected(fit, comparison, run, steps=100)
    assert outside is not None
    assert row["shift"] == pytest.approx(outside, rel=1e-5)
    assert row["value_needed"] == pytest.approx(np.exp(fit.y[run] + outside), rel=1e-5)
    assert row["verdict"] == verdict_at(fit, comparison, run, 0.0)
    assert row["verdict_then"] == verdict_at(fit, comparison, run, outside * (1.0 + 1e-6))
    assert row["verdict_then"] != row["verdict"]


def test_the_touchiest_run_comes_first_and_the_shift_is_told_in_error_sds():
    fit = fitted(briefs.blocked(), 3, {"P1": -0.6})
    table = fragility(fit)
    assert tuple(table.columns) == COLUMNS
    assert len(table) == 3 * 12
    mine = table[table["comparison"] == "coating"]
    sizes = mine["shift"].abs().astype(float)
    assert sizes.is_monotonic_increasing
    square, _ = fit.mean_squares["run"]
    assert mine["shift_in_sd"].iloc[0] == pytest.approx(mine["shift"].iloc[0] / np.sqrt(square))


def test_the_verdict_without_a_run_is_that_of_the_analysis_without_it():
    fit = fitted(briefs.blocked(), 4, {"P1": -0.3})
    table = fragility(fit).set_index(["comparison", "run_id"])
    for at, name in enumerate(fit.strata.runs["run_id"]):
        kept = np.arange(12) != at
        laid = strata.of_runs(fit.brief, fit.strata.runs[kept])
        again = of_strata(fit.brief, fit.response, laid, fit.y[kept])
        told = verdict.verdicts(comparisons.comparisons(again), fit.brief).set_index("comparison")["verdict"]
        assert table.loc[("coating", name), "verdict_without"] == told["coating"]


def test_what_cannot_be_told_keeps_its_rows_and_says_why():
    brief = briefs.whole_plots()
    fit = fitted(brief, 5, {"S1": -0.3})
    both = fragility(fit)
    both = both[both["comparison"] == "both"]
    assert set(both["note"]) == {"judged in two strata: not told for single runs"}
    assert both["shift"].isna().all()
    runs = pd.DataFrame({
        "run_id": ["R1", "R2", "R3"],
        "build_id": "B1",
        "pin": ["P0", "P1", "P0"],
        "oil": ["O0", "O0", "O1"],
    })
    few = briefs.blocked(
        block_by=None, comparisons=(Comparison("coating", of={"pin": "P1"}, against={"pin": "P0"}),)
    )
    made = fragility(of_strata(few, few.responses[0], strata.of_runs(few, runs), np.array([-2.0, -2.2, -2.1])))
    assert set(made["note"]) == {"not estimable from these runs"}
    assert set(made["verdict"]) == {"not estimable"}


def test_an_edge_that_no_value_reaches_is_no_change(monkeypatch):
    # Rounding leaves edges a thousand logarithms away, where no number is: the run cannot change the verdict.
    fit = fitted(briefs.blocked(), 3, {level: -1.5 for level in ("C1", "P1", "O1")})
    assert "worthwhile gain" in set(fragility(fit)["verdict"])
    monkeypatch.setattr("toolkit.decide.fragility._roots", lambda a, b, c: [2000.0, -2000.0])
    table = fragility(fit)
    assert set(table["note"]) == {"no change of this one run would change the verdict"}
    assert table["shift"].isna().all() and table["value_needed"].isna().all()
