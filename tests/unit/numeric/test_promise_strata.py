"""Assurance and outcomes when the error is made of two mean squares (builds and runs)."""

import numpy as np
import pytest
from scipy import stats

from toolkit.numeric import noncentral, promise

# The plan has half as many runs a build as the pilot: q = 1/2.
HALF = [[0.5, 0.5], [0.0, 1.0]]
CASES = {
    "builds and runs, smaller builds": (0.30, 0.20, [(0.10, 4), (0.20, 12)], [(0.05, 3), (0.02, 6)], HALF),
    "same layout as the pilot": (0.00, 0.30, [(0.30, 2), (0.20, 9)], [(0.02, 1), (0.02, 4)], None),
    "build factor in larger builds": (0.25, 0.22, [(0.25, 6)], [(0.03, 3), (0.02, 4)], [[2.0, -1.0]]),
    "one mean square, two in the plan": (0.40, 0.20, [(0.2, 3), (0.1, 8)], [(0.05, 4)], [[1.5], [1.0]]),
    "builds, parts and runs, judged between parts": (
        0.30,
        0.20,
        [(0.15, 7)],
        [(0.06, 3), (0.04, 5), (0.02, 9)],
        [[0.0, 0.5, 0.5]],
    ),
    "weightless second part": (0.30, 0.20, [(0.10, 4), (0.0, 0)], [(0.05, 3), (0.02, 6)], HALF),
}


def drawn(case: str, draws: int, seed: int) -> tuple[np.ndarray, float]:
    """Shares of the verdicts and of 'difference shown' from drawn pilots and drawn campaigns."""
    gain, margin, parts, pilot, link = CASES[case]
    rng = np.random.default_rng(seed)
    truth = [square * df / rng.chisquare(df, draws) for square, df in pilot]
    for outer in range(len(truth) - 2, -1, -1):
        # Components: what the outer mean square has beyond the inner one cannot be negative.
        truth[outer] = truth[outer + 1] + np.maximum(truth[outer] - truth[outer + 1], 0.0)
    table = np.eye(len(parts)) if link is None else np.array(link)
    planned = [sum(weight * one for weight, one in zip(row, truth, strict=True)) for row in table]
    terms, variance = [], np.zeros(draws)
    for (unit, df), square in zip(parts, planned, strict=True):
        if unit > 0:
            variance = variance + unit * square
            terms.append((unit * square * rng.chisquare(df, draws) / df, df))
    estimate = gain + np.sqrt(variance) * rng.normal(size=draws)
    total = sum(term for term, _ in terms)
    if len(terms) > 1 and min(freedom for _, freedom in terms) < 3:
        # Cochran and Cox: the t of each mean square by its share.
        reach = sum(stats.t.ppf(0.975, freedom) * term for term, freedom in terms) / total
    else:
        reach = stats.t.ppf(0.975, total**2 / sum(term**2 / freedom for term, freedom in terms))
    half = reach * np.sqrt(total)
    low, high = estimate - half, estimate + half
    rules = [low > margin, high < -margin, (-margin < low) & (high < margin), low > 0, high < 0]
    number = np.select(rules, [0, 4, 2, 1, 5], 3)
    return np.bincount(number, minlength=6) / draws, float(np.mean((low > 0) | (high < 0)))


@pytest.mark.parametrize("case", CASES)
def test_shares_equal_drawn_campaigns(case: str) -> None:
    """150,000 drawn pilots and campaigns; four binomial standard errors and 0.0005 of quadrature (0.002 with
    three mean squares)."""
    gain, margin, parts, pilot, link = CASES[case]
    draws = 150_000
    shares, shown = drawn(case, draws, 60)
    found = promise.outcome_shares(gain, margin, parts, pilot, link=link)
    assured = float(promise.assurance(gain, parts, pilot, link=link))
    bound = 4.0 * np.sqrt(np.maximum(found * (1.0 - found), 1e-5) / draws) + (2e-3 if len(pilot) == 3 else 5e-4)
    assert (np.abs(found - shares) < bound).all()
    assert abs(assured - shown) < 4.0 * np.sqrt(assured * (1.0 - assured) / draws) + (2e-3 if len(pilot) == 3 else 5e-4)


def test_a_weightless_part_changes_nothing() -> None:
    """A mean square with unit variance 0 leaves the single-part answer, to the accuracy of the rules."""
    two = promise.assurance(0.3, [(0.1, [2, 4, 9]), (0.0, 0)], [(0.05, np.inf), (0.02, np.inf)])
    one = promise.assurance(0.3, [(0.1, [2, 4, 9])], [(0.05, np.inf)])
    assert np.abs(two - one).max() < 2e-4


def test_known_equal_parts_pool_their_df() -> None:
    """Two known mean squares in equal shares: Satterthwaite's df near the sum, power near that of the sum."""
    found = promise.assurance(0.9, [(0.1, 30), (0.1, 30)], [(1.0, np.inf), (1.0, np.inf)])
    assert abs(float(found) - float(noncentral.power_t(0.9, np.sqrt(0.2), 60))) < 2e-3


def test_build_mean_square_of_the_same_layout_stands_alone() -> None:
    """A build factor with the pilot's runs per build needs the build mean square only: link [[1, 0]]."""
    alone = promise.assurance(0.5, [(0.2, [3, 6, 9])], [(0.05, 3)])
    linked = promise.assurance(0.5, [(0.2, [3, 6, 9])], [(0.05, 3), (1e-9, 5)], link=[[1.0, 0.0]])
    assert np.abs(alone - linked).max() < 2e-4


def test_a_table_per_plan_equals_one_table_at_a_time() -> None:
    """Plans with different runs per build: a link for each."""
    q = np.array([0.5, 1.0, 2.0])
    tables = np.array([[[one, 1.0 - one], [0.0, 1.0]] for one in q])
    parts, pilot = [([0.2, 0.1, 0.08], [2, 3, 4]), (0.1, [4, 8, 12])], [(0.05, 3), (0.02, 6)]
    together = promise.assurance(0.4, parts, pilot, link=tables)
    assert together.shape == (3,)
    for plan in range(3):
        own = [(parts[0][0][plan], parts[0][1][plan]), (0.1, parts[1][1][plan])]
        assert float(promise.assurance(0.4, own, pilot, link=tables[plan])) == pytest.approx(
            float(together[plan]), abs=1e-14
        )


def test_negative_component_counts_as_zero() -> None:
    """A pilot whose build mean square lies far below its run mean square plans on the run mean square."""
    floored = promise.assurance(0.3, [(0.25, 6)], [(1e-6, 50), (0.02, 8)], link=[[2.0, -1.0]])
    plain = promise.assurance(0.3, [(0.25, 6)], [(0.02, 8)])
    assert abs(float(floored) - float(plain)) < 2e-4


def test_outcomes_of_two_parts_are_shares() -> None:
    """Sum 1, none negative, no interval means not known; infinite df and one df among them."""
    df = np.array([0.0, 1.0, 2.0, 6.0, np.inf])
    shares = promise.outcome_shares(0.25, 0.2, [(0.1, df), (0.2, 4)], [(0.05, 2), (0.02, np.inf)], link=HALF)
    assert np.isfinite(shares).all()
    assert (shares >= 0).all()
    assert np.allclose(shares.sum(axis=1), 1.0, rtol=0, atol=1e-12)
    assert shares[0].tolist() == [0.0, 0.0, 0.0, 1.0, 0.0, 0.0]
