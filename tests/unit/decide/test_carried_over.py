"""What the run before left behind, in Latin squares balanced for it: against least squares written out.

Efficiencies: H. D. Patterson and H. L. Lucas, Change-over Designs (1962), from memory: of four levels in four places a
difference adjusted for carry-over has 90.91 % of the information it has without, of three levels in two squares 80 %.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit.design.test_latin import brief_of
from toolkit.brief.model import Comparison, Response
from toolkit.decide.carried_over import BASIS, carried_over
from toolkit.decide.otherwise import otherwise
from toolkit.decide.verdict import verdicts
from toolkit.design import chosen, orders
from toolkit.model.comparisons import comparisons
from toolkit.model.fit import fit

LEFT = 0.4


def made(count, builds, *, lost=()):
    """The plan's brief, its runs with wear of which the run before leaves a share, and what ran before each."""
    brief = brief_of(count, builds, balance_carry_over=True)
    asked = Comparison("second", of={"finish": "F1"}, against={"finish": "F0"})
    response = Response("wear_um", scale="linear", worthwhile_change=0.5)
    brief = replace(brief, responses=(response,), comparisons=(asked,))
    runs = orders.randomise(chosen.main(brief), seed=brief.seed).table
    name = brief.factor_names[0]
    at = {level: place for place, level in enumerate(brief.factors[0].names)}
    own = runs[name].map(at).to_numpy(dtype=float)
    first = ~runs["build_id"].duplicated()
    before = np.where(first, np.nan, np.concatenate([[np.nan], own[:-1]]))
    draw = np.random.default_rng(5)
    builds_at = pd.factorize(runs["build_id"])[0]
    y = 10.0 + own + builds_at + LEFT * np.nan_to_num(before) + 0.2 * draw.normal(size=len(runs))
    runs = runs.assign(actual_order=runs["planned_order"], verdict="valid", **{brief.responses[0].name: y})
    runs.loc[runs["run_id"].isin(lost), "verdict"] = "invalid"
    runs.loc[runs["run_id"].isin(lost), brief.responses[0].name] = np.nan
    return brief, runs, before


def by_hand(brief, runs, before):
    """F of carry-over, its df and the error's, and the difference of the second level from the first, adjusted."""
    kept = (runs["verdict"] == "valid").to_numpy()
    name, count = brief.factor_names[0], len(brief.factors[0].names)
    own = runs[name].map({level: at for at, level in enumerate(brief.factors[0].names)}).to_numpy()
    place = runs.groupby("build_id").cumcount().to_numpy()
    blocks = np.eye(runs["build_id"].nunique())[pd.factorize(runs["build_id"])[0]]
    base = np.hstack([blocks, np.eye(count)[place], np.eye(count)[own]])
    after = np.vstack([np.eye(count), np.zeros(count)])[np.where(np.isnan(before), count, before).astype(int)]
    y = runs[brief.responses[0].name].to_numpy(dtype=float)[kept]
    rests, ranks = [], []
    for columns in (base[kept], np.hstack([base, after])[kept]):
        beta = np.linalg.pinv(columns) @ y
        rests.append(float(((y - columns @ beta) ** 2).sum()))
        ranks.append(np.linalg.matrix_rank(columns))
    df, error = ranks[1] - ranks[0], kept.sum() - ranks[1]
    first = blocks.shape[1] + count
    return (rests[0] - rests[1]) / df / (rests[1] / error), df, error, beta[first + 1] - beta[first]


@pytest.mark.parametrize(("count", "builds", "lost"), [(4, 8, ()), (3, 6, ()), (4, 8, ("R06", "R21"))])
def test_what_is_carried_over_is_least_squares(count, builds, lost):
    brief, runs, before = made(count, builds, lost=lost)
    name = brief.responses[0].name
    judged = fit(brief, runs, name)
    found = carried_over(brief, runs, judged)
    f, df, error, apart = by_hand(brief, runs, before)
    assert (found.df, found.error_df) == (df, error) and df == count - 1
    assert found.f == pytest.approx(f, rel=1e-9)
    assert found.p_value == pytest.approx(float(stats.f.sf(f, df, error)), rel=1e-9)
    assert found.comparisons["comparison"].tolist() == ["second"]
    assert found.comparisons["estimate"].iloc[0] == pytest.approx(apart, rel=1e-9)
    assert found.sentence.startswith("What a run leaves to the next one of its build shows: F = ")


@pytest.mark.parametrize(("count", "builds", "share"), [(4, 4, 10 / 11), (3, 6, 4 / 5), (4, 8, 10 / 11)])
def test_a_difference_keeps_the_published_share_of_its_information(count, builds, share):
    brief, runs, _ = made(count, builds)
    judged = fit(brief, runs, brief.responses[0].name)
    found = carried_over(brief, runs, judged)
    before, after = comparisons(judged), found.comparisons
    plain = before["std_error"].iloc[0] ** 2 / judged.mean_squares["run"][0]
    squares = judged.mean_squares["run"][0] * judged.mean_squares["run"][1]
    left = squares / (1.0 + found.f * found.df / found.error_df) / found.error_df
    assert plain / (after["std_error"].iloc[0] ** 2 / left) == pytest.approx(share, rel=1e-9)


def test_where_the_order_of_one_run_is_not_known_all_stand_as_planned():
    brief, runs, _ = made(4, 4)
    name = brief.responses[0].name
    whole = carried_over(brief, runs, fit(brief, runs, name))
    gap = runs.assign(actual_order=runs["actual_order"].astype(float).where(runs.index != 5))
    assert carried_over(brief, gap, fit(brief, gap, name)).f == pytest.approx(whole.f, rel=1e-12)


def test_it_stands_beside_and_plans_that_are_not_balanced_have_none():
    brief, runs, _ = made(4, 8)
    judged = fit(brief, runs, brief.responses[0].name)
    told = verdicts(comparisons(judged), brief)
    beside = otherwise(brief, judged.response.name, told, carried_over=carried_over(brief, runs, judged))
    assert [basis for basis, _ in beside.tables] == [BASIS]
    held = beside.to_json()["carried_over"]
    assert held["sentence"] in beside.sentences and held["sentence"].endswith(
        "This was looked for beside the sealed model and changes no verdict; beside them stand answers with it taken "
        "out."
    )
    plain = replace(brief, plan=replace(brief.plan, balance_carry_over=False))
    assert carried_over(plain, runs, fit(plain, runs, judged.response.name)) is None
    few = runs[runs["build_id"].isin(["B1", "B2"])]
    alone = carried_over(brief, few, fit(brief, few, judged.response.name))
    assert alone.f is None and alone.comparisons.empty
    assert alone.sentence == "What a run leaves to the next: these runs leave no degrees of freedom for it."
