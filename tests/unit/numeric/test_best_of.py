"""Picking the best of several: against Student's t, scipy's multivariate t, recorded R, and drawn campaigns."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from tests.reference.loader import load
from toolkit.errors import SizingError
from toolkit.model import families
from toolkit.numeric import best_of


def even(others):
    """The loadings of differences to one mean, all means equally well known."""
    return [math.sqrt(0.5)] * others


def race_limit(loadings, df, alpha=0.05):
    """How far a mean may trail and stay in the race, as the race takes it from its correlations."""
    correlation = np.outer(loadings, loadings)
    np.fill_diagonal(correlation, 1.0)
    return families.joint_critical(correlation, df, alpha, sides=1)


def drawn(lead, means, count, seed):
    """Errors of means of standard error 1, the first mean leading by ``lead``."""
    found = np.random.default_rng(seed).standard_normal((count, means))
    found[:, 0] += lead
    return found


@pytest.mark.parametrize(
    ("chance", "leads"),
    [
        (0.90, (1.8124, 2.2302, 2.4516, 2.5997, 2.7100)),
        (0.95, (2.3262, 2.7101, 2.9162, 3.0552, 3.1591)),
    ],
)
def test_leads_asked_for_two_to_six_means(chance, leads):
    # R. E. Bechhofer, Annals of Mathematical Statistics 25 (1954), table I, from memory [SE of one mean].
    for means, lead in zip(range(2, 7), leads, strict=True):
        # Two ten-thousandths less or more of a lead lie on either side of the chance.
        low, high = best_of.chance_of_best(np.array([lead - 2e-4, lead + 2e-4]), math.sqrt(2), means)
        assert low < chance < high
    exact = math.sqrt(2) * stats.norm.ppf(chance)
    assert float(best_of.chance_of_best(exact, math.sqrt(2), 2)) == pytest.approx(chance, abs=1e-9)


@pytest.mark.parametrize(
    ("others", "df", "limit"), [(3, 5, 2.684), (3, 8, 2.414), (3, 10, 2.337), (3, 20, 2.191)]
)
def test_limit_of_the_race_against_recorded_values(others, df, limit):
    # R 4.2.2, mvtnorm 1.1-3, qmvt(.95, tail = "lower.tail", corr .5): quasi-Monte-Carlo, recorded.
    assert race_limit(even(others), df) == pytest.approx(limit, abs=5e-3)


@pytest.mark.parametrize(("others", "df"), [(2, 5), (3, 10), (4, 20)])
def test_limit_of_the_race_against_the_multivariate_t_of_scipy(others, df):
    limit = race_limit(even(others), df)
    shape = 0.5 * (np.eye(others) + np.ones((others, others)))
    law = stats.multivariate_t(shape=shape, df=df, seed=3)
    assert law.cdf(np.full(others, limit), maxpts=200_000 * others) == pytest.approx(0.95, abs=1e-3)


def test_limit_against_one_other_is_student_t():
    for df in (1, 3, 12.5):
        assert race_limit(even(1), df, alpha=0.10) == pytest.approx(stats.t.isf(0.10, df), abs=1e-6)


def test_limit_with_unequal_runs_is_that_of_the_blood_counts():
    # Control of six animals, groups of four and five: the published one-sided comparison with the control.
    limit = race_limit([math.sqrt(n / (n + 6)) for n in (4, 5)], 12)
    case = load("k10-dunnett-1955")
    assert limit == pytest.approx(abs(case.expected("greater.critical_t")), abs=case.tolerance["critical_abs"])


def test_chance_to_pick_the_best_of_four_from_twelve_runs():
    told = float(best_of.chance_of_best(1.5, math.sqrt(2 / 3), 4))
    assert told == pytest.approx(0.919, abs=0.002)
    errors = drawn(1.5 * math.sqrt(3), 4, 200_000, 11)
    share = (errors.argmax(axis=1) == 0).mean()
    assert told == pytest.approx(share, abs=3.24 * math.sqrt(0.919 * 0.081 / 200_000))


def test_two_means_are_one_normal_difference():
    for gap, se in ((0.0, 1.0), (0.3, 0.5), (2.0, 0.7)):
        assert float(best_of.chance_of_best(gap, se, 2)) == pytest.approx(stats.norm.cdf(gap / se), abs=1e-10)


def test_chance_averaged_over_the_doubt_of_a_pilot():
    told = best_of.chance_in_doubt(1.5, 4, [2.0 / np.arange(2, 7)], [(1.0, 4.0)])
    assert told == pytest.approx([0.787, 0.852, 0.891, 0.916, 0.934], abs=6e-4)
    # The same by drawing the true scatter and then the campaign.
    draw, count = np.random.default_rng(8), 200_000
    truth = np.sqrt(4.0 / draw.chisquare(4.0, count))
    means = draw.standard_normal((count, 4)) * truth[:, None] / math.sqrt(3)
    means[:, 0] += 1.5
    share = (means.argmax(axis=1) == 0).mean()
    assert told[1] == pytest.approx(share, abs=3.24 * math.sqrt(share * (1 - share) / count))


def test_chance_with_two_layers_of_scatter():
    # Builds of two runs: the difference of two means has 0.5 of the mean square between builds, less 0.1 of the runs'.
    told = float(best_of.chance_in_doubt(1.0, 3, [0.5, -0.1], [(0.8, 4.0), (0.3, 6.0)]))
    draw, count = np.random.default_rng(9), 400_000
    inner = 0.3 * 6.0 / draw.chisquare(6.0, count)
    outer = np.maximum(0.8 * 4.0 / draw.chisquare(4.0, count), inner)
    means = draw.standard_normal((count, 3)) * np.sqrt((0.5 * outer - 0.1 * inner) / 2.0)[:, None]
    means[:, 0] += 1.0
    share = (means.argmax(axis=1) == 0).mean()
    assert told == pytest.approx(share, abs=3.24 * math.sqrt(share * (1 - share) / count) + 5e-4)


def test_a_third_layer_without_weight_changes_nothing():
    three = best_of.chance_in_doubt(1.0, 3, [0.0, 0.5, -0.1], [(2.0, 3.0), (0.8, 4.0), (0.3, 6.0)])
    two = best_of.chance_in_doubt(1.0, 3, [0.5, -0.1], [(0.8, 4.0), (0.3, 6.0)])
    assert float(three) == pytest.approx(float(two), abs=5e-4)


def test_a_known_scatter_is_the_end_of_less_and_less_doubt():
    known = float(best_of.chance_of_best(1.0, 0.8, 5))
    assert float(best_of.chance_in_doubt(1.0, 5, [0.64], [(1.0, math.inf)])) == pytest.approx(known, abs=1e-6)
    assert float(best_of.chance_in_doubt(1.0, 5, [0.64], [(1.0, 1e6)])) == pytest.approx(known, abs=1e-4)
    # Guessing is what no gap gives; a huge gap is certain.
    assert float(best_of.chance_in_doubt(0.0, 5, [0.64], [(1.0, 3.0)])) == pytest.approx(0.2, abs=1e-9)
    assert float(best_of.chance_in_doubt(1e6, 5, [0.64], [(1.0, 2.0)])) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize(("means", "df"), [(3, 6), (4, 9), (5, 20)])
def test_the_best_stays_in_the_race_as_often_as_promised_when_all_are_equal(means, df):
    draw, count = np.random.default_rng(means), 100_000
    found = draw.standard_normal((count, means))
    scatter = np.sqrt(draw.chisquare(df, count) / df)
    limit = race_limit(even(means - 1), df, alpha=0.10)
    kept = found[:, 0] >= found.max(axis=1) - limit * scatter * math.sqrt(2)
    assert kept.mean() == pytest.approx(0.90, abs=0.005)


def test_the_winner_is_overstated_by_what_drawn_campaigns_show():
    told = best_of.overstated(np.array([0.0, math.sqrt(3)]), 4)
    # In run SDs with three runs each: .59 and .34.
    assert told / math.sqrt(3) == pytest.approx([0.594, 0.340], abs=1e-3)
    # The largest of four normals: 1.0294 (E. S. Pearson and H. O. Hartley, Biometrika Tables, from memory).
    assert told[0] == pytest.approx(1.0294, abs=1e-4)
    truth = np.array([math.sqrt(3), 0.0, 0.0, 0.0])
    errors = drawn(0.0, 4, 200_000, 12)
    best = (errors + truth).argmax(axis=1)
    own = errors[np.arange(len(errors)), best]
    assert told[1] == pytest.approx(own.mean(), abs=4 * own.std() / math.sqrt(len(own)))


def test_bad_arguments_are_told_all_at_once():
    with pytest.raises(SizingError) as told:
        best_of.chance_of_best(-1.0, 0.0, 1)
    assert str(told.value) == (
        "The best of several cannot be judged.\n"
        "  gap: -1 was given; expected 0 or a number above 0.\n"
        "  standard error: 0 was given; expected a number above 0.\n"
        "  means: 1 were given; expected two or more."
    )
    with pytest.raises(SizingError, match="mean squares: 1 and 2 were given; expected one to three of each.$"):
        best_of.chance_in_doubt(1.0, 3, [1.0], [(1.0, 2.0), (1.0, 3.0)])
