"""What a plan still shows when runs are lost: campaigns drawn, runs lost, the rest analysed; the symmetry of plans."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit import briefs
from tests.unit.size.test_promise import ONE, scatter
from tests.unit.size.test_promise_of_runs import built
from toolkit.design import factorial
from toolkit.size import losing_runs, promise


def told(brief, design, known, name):
    found = losing_runs.after_losses([design], known, promise.claims([design], known))
    return next(item for item in found[0] if item.comparison == name)


@pytest.mark.parametrize("lost", [1, 2])
def test_against_campaigns_drawn_and_analysed_without_their_lost_runs(lost):
    """20,000 campaigns of 12 runs, the scatter of a 4-df pilot, any one run or two lost at random; 3.3 SE."""
    sims, rng = 20_000, np.random.default_rng(51)
    design = factorial.full(ONE, builds=3)
    claim = told(ONE, design, scatter(ONE, df=4.0), "coating")
    table = design.table
    pin, oil = (table["pin"] == "P1").to_numpy(float), (table["oil"] == "O1").to_numpy(float)
    x = np.column_stack([pd.get_dummies(table["build_id"]).to_numpy(float), pin, oil, pin * oil])
    row = np.array([0, 0, 0, 1, 0, 0.5])
    sigma = 0.13 * np.sqrt(4 / rng.chisquare(4, sims))
    y = -0.25 * pin + sigma[:, None] * rng.normal(size=(sims, 12))
    gone = np.array([rng.choice(12, lost, replace=False) for _ in range(sims)])
    shown = 0
    for way in {tuple(sorted(one)) for one in gone.tolist()}:
        at = np.flatnonzero((np.sort(gone, axis=1) == way).all(axis=1))
        left = np.delete(np.arange(12), way)
        df = len(left) - np.linalg.matrix_rank(x[left])
        inverse = np.linalg.pinv(x[left].T @ x[left])
        beta = y[at][:, left] @ x[left] @ inverse
        error = ((y[at][:, left] - beta @ x[left].T) ** 2).sum(axis=1) / df
        half = stats.t.isf(0.025, df) * np.sqrt(row @ inverse @ row * error)
        shown += int((np.abs(beta @ row) > half).sum())
    found = claim.after_one_lost if lost == 1 else claim.after_two_lost
    assert abs(shown / sims - found) < 3.3 * math.sqrt(0.25 / sims)


def test_the_worst_run_is_named():
    """Of a pilot that counts as a block only the plan's own runs are lost; all runs of a 2x2 do the same harm."""
    claim = told(ONE, factorial.full(ONE, builds=3), scatter(ONE, df=4.0), "coating")
    assert claim.after_worst_lost == pytest.approx(claim.after_one_lost, abs=1e-9)
    assert claim.note == f"one lost run, whichever it is, leaves a chance of {100 * claim.after_one_lost:.0f} %"
    assert claim.assurance > claim.after_one_lost > claim.after_two_lost
    brief = briefs.randomised()
    known = scatter(brief, df=6.0)
    lapping = told(brief, factorial.full(brief, replicates=4), known, "lapping")
    assert lapping.after_worst_lost < lapping.after_one_lost
    assert lapping.note == (
        f"one lost run leaves a chance of {100 * lapping.after_one_lost:.0f} % on average, and of "
        f"{100 * lapping.after_worst_lost:.0f} % where it is the one of finish turned"
    )


def test_two_runs_leave_one_of_each():
    """2x2 in two blocks of which one run is lost, then two: where the comparison cannot be told the chance is 0."""
    claim = told(ONE, factorial.full(ONE, builds=2), scatter(ONE, df=math.inf), "coating")
    assert claim.after_two_lost < 0.5 * claim.after_one_lost


def test_whole_plots_by_kenward_roger():
    """After one lost run the chance is a little lower, and near that of the runs left by themselves."""
    brief, known = briefs.whole_plots(), built(briefs.whole_plots(), df=(3.0, 8.0))
    design = factorial.full(brief, builds=8)
    claim = told(brief, design, known, "oil")
    alone = promise.claims_of_runs(brief, design.table.assign(phase="main").drop(index=3), known)
    by_name = {item.comparison: item for item in alone if item.comparison}
    assert claim.after_one_lost == pytest.approx(by_name["oil"].assurance, abs=3e-3)
    assert claim.assurance > claim.after_one_lost > claim.after_two_lost > 0.5
