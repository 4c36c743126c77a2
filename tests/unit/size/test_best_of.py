"""Picking the best level by a design: against campaigns that are drawn, averaged by hand and ranked."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from tests.unit import briefs
from toolkit.brief.model import BestOf, Response
from toolkit.design import factorial
from toolkit.size import best_of, promise
from toolkit.size.scatter import MeanSquare, Scatter

COUNT = 100_000


def scatter_of(brief, run=(0.13**2, 8.0), build=None, each=1.0, declared=None):
    table = pd.DataFrame([{"response": brief.responses[0].name, "source": "pilot", "stratum": "run"}])
    between = None if build is None else MeanSquare(*build)
    basis = "pilot" if declared is None else "declared"
    return Scatter(brief.responses[0], basis, MeanSquare(*run), between, each, declared, (), table)


def picked(design, scatter):
    return best_of.picks(promise.as_judged([design], None), scatter)[0]


def coatings(**changes):
    stated = {
        "factors": (briefs.factor("coating", "C0", "C1", "C2", "C3"),),
        "comparisons": (),
        "best_of": (BestOf("coating", gap_pct=20.0),),
    }
    return briefs.randomised(**{**stated, **changes})


def within(share):
    return 3.24 * math.sqrt(share * (1 - share) / COUNT)


def test_four_coatings_three_runs_each():
    brief = coatings()
    found = picked(factorial.full(brief, replicates=3), scatter_of(brief))[0]
    draw, gap = np.random.default_rng(1), -math.log(0.8)
    sd = 0.13 * np.sqrt(8.0 / draw.chisquare(8.0, COUNT))
    runs = draw.standard_normal((COUNT, 4, 3)) * sd[:, None, None]
    runs[:, 2] -= gap
    share = (runs.mean(axis=2).argmin(axis=1) == 2).mean()
    assert found.chance == pytest.approx(share, abs=within(share))
    assert (found.name, found.levels, found.gap_pct, found.reached) == ("best of 4 coating", 4, pytest.approx(20), True)
    assert (found.error_stratum, found.note) == ("run", "")
    # Picking is far cheaper than proving: a pair alone is shown in under half of the campaigns.
    error = runs - runs.mean(axis=2, keepdims=True)
    own = np.sqrt((error**2).sum(axis=(1, 2)) / 8 * 2 / 3)
    shown = (np.abs(runs[:, 0].mean(axis=1) - runs[:, 2].mean(axis=1)) > 2.306004 * own).mean()
    assert found.proof == pytest.approx(shown, abs=within(shown) + 5e-4)


def test_the_winner_of_equal_levels_flatters_itself():
    brief = coatings()
    found = picked(factorial.full(brief, replicates=3), scatter_of(brief))[0]
    means = np.random.default_rng(2).standard_normal((COUNT, 4)) * 0.13 / math.sqrt(3)
    assert found.overstated_pct == pytest.approx(100 * -math.expm1(means.min(axis=1).mean()), abs=0.1)
    assert 0 < found.overstated_at_gap_pct < found.overstated_pct
    assert found.overstated is None


def test_builds_as_units_take_the_scatter_between_builds():
    brief = briefs.whole_plots(best_of=(BestOf("sprocket", gap_pct=25.0), BestOf("oil", gap_pct=25.0)))
    scatter = scatter_of(brief, run=(0.0169, 6.0), build=(0.04, 5.0), each=2.0)
    sprocket, oil = picked(factorial.full(brief, builds=8), scatter)
    draw, gap = np.random.default_rng(3), -math.log(0.75)
    inner = 0.0169 * 6.0 / draw.chisquare(6.0, COUNT)
    outer = np.maximum(0.04 * 5.0 / draw.chisquare(5.0, COUNT), inner)
    # Four builds of two runs a level: a mean has the mean square between builds over 8, of the oil that of runs over 8.
    for found, square in ((sprocket, outer), (oil, inner)):
        share = (draw.standard_normal(COUNT) * np.sqrt(2 * square / 8) < gap).mean()
        assert found.chance == pytest.approx(share, abs=within(share) + 5e-4)
    assert (sprocket.error_stratum, oil.error_stratum) == ("build", "run")
    assert sprocket.chance < oil.chance


def test_a_proof_where_units_are_not_balanced_is_the_chance_of_the_comparison():
    """Four builds of two runs, one lost: the chance of the same comparison, as simulated campaigns show it."""
    brief = briefs.whole_plots(best_of=(BestOf("sprocket", gap_pct=20.0),))
    scatter = scatter_of(brief, run=(0.0036, 8.0), build=(0.0068, 3.0), each=2.0)
    runs = factorial.full(brief, builds=4).table.assign(phase="main").drop(index=1)
    laid = promise.phases.strata_together(brief, runs)
    found = best_of.picks([laid], scatter)[0][0]
    claims = {item.comparison: item for item in promise.of_strata(scatter, [laid], [None])[0]}
    assert found.proof == pytest.approx(claims["sprocket"].assurance, abs=1e-12)
    assert found.error_stratum == "build and run"


def test_a_guess_is_averaged_over_its_range():
    brief = coatings()
    found = picked(factorial.full(brief, replicates=3), scatter_of(brief, run=(0.15**2, math.inf), declared=(0.1, 0.2)))
    draw, gap = np.random.default_rng(4), -math.log(0.8)
    means = draw.standard_normal((COUNT, 4)) * draw.uniform(0.1, 0.2, COUNT)[:, None] / math.sqrt(3)
    means[:, 0] -= gap
    share = (means.argmin(axis=1) == 0).mean()
    assert found[0].chance == pytest.approx(share, abs=within(share))


def test_levels_that_are_not_equally_well_known_are_told_at_the_worst_pair():
    brief = coatings()
    design = factorial.full(brief, replicates=3)
    runs = design.table.assign(phase="main", verdict="valid").drop(index=0)
    laid = promise.phases.strata_together(brief, runs)
    found = best_of.picks([laid], scatter_of(brief))[0][0]
    assert found.note == "the levels are not equally well known: told at the worst pair"
    whole = picked(design, scatter_of(brief))[0]
    two_each = picked(factorial.full(brief, replicates=2), scatter_of(brief))[0]
    assert two_each.chance < found.chance < whole.chance


def test_what_cannot_be_told_says_why():
    response = Response("wear_um", scale="linear")
    brief = coatings(responses=(response,), best_of=(BestOf("coating"),))
    found = picked(factorial.full(brief, replicates=3), scatter_of(brief))[0]
    assert (found.chance, found.reached) == (None, False)
    assert found.note == "no gap and no worthwhile change is stated for wear_um"
    linear = coatings(responses=(response,), best_of=(BestOf("coating", gap=0.3),))
    told = picked(factorial.full(linear, replicates=3), scatter_of(linear))[0]
    assert (told.gap_pct, told.gap, told.overstated_pct) == (None, 0.3, None)
    assert told.overstated == pytest.approx(1.0294 * 0.13 / math.sqrt(3), abs=1e-4)
    built = briefs.whole_plots(best_of=(BestOf("sprocket"),))
    told = picked(factorial.full(built, builds=8), scatter_of(built))[0]
    assert told.note == "the scatter between builds is not known"
