"""Any, each, all: the joint t law, the single chances, and drawn campaigns."""

import math

import numpy as np
import pytest
from scipy import stats

from toolkit.errors import SizingError
from toolkit.numeric import joint_promise, promise

# Two treatments against one baseline, four runs each, and both against each other is not asked: correlation one half.
MANY_TO_ONE = np.array([[[0.5, 0.25], [0.25, 0.5]]])


def test_nothing_there_is_the_joint_law_of_t() -> None:
    """Without any effect, any of two is beyond t in as many campaigns as scipy's multivariate t says."""
    critical = stats.t.isf(0.025, 9)
    found = joint_promise.together([0, 0], MANY_TO_ONE, [9], [(0.02, math.inf)], [critical] * 2)
    law = stats.multivariate_t([0, 0], [[1, 0.5], [0.5, 1]], df=9)
    inside = float(law.cdf([critical] * 2, lower_limit=[-critical] * 2))
    assert found.any == pytest.approx(1 - inside, abs=0.002)
    assert found.each == pytest.approx([0.05, 0.05], abs=0.002)


def test_each_is_the_assurance() -> None:
    """Whatever the others do: the assurance of each by quadrature, over a pilot of 4 df."""
    pilot, critical = [(0.02, 4)], [stats.t.isf(0.025, 9)] * 2
    found = joint_promise.together([0.2, -0.35], MANY_TO_ONE, [9], pilot, critical)
    alone = [float(promise.assurance(gain, [(0.5, 9)], pilot)) for gain in (0.2, -0.35)]
    assert found.each == pytest.approx(alone, abs=0.002)
    assert max(found.each) <= found.any <= sum(found.each)
    assert found.all <= min(found.each)


@pytest.mark.parametrize("case", ["one stratum, one the sum of two", "builds and runs"])
def test_drawn_campaigns(case: str) -> None:
    """200,000 drawn campaigns each: 4 binomial standard errors and 0.002."""
    rng, draws = np.random.default_rng(61), 200_000
    if case == "builds and runs":
        spread = 0.25 * np.array([[[1, 0, 1], [0, 0, 0], [1, 0, 1]], [[0, 0, 0], [0, 1, 1], [0, 1, 1]]])
        df, pilot, link = [6, 6], [(0.03, 3), (0.015, 6)], [[1.0, 0.0], [0.0, 1.0]]
        gains, critical = np.array([0.25, 0.2, 0.45]), np.array([2.45, 2.45, 2.3])
    else:
        spread = np.array([[[0.25, 0, 0.25], [0, 0.25, 0.25], [0.25, 0.25, 0.5]]])
        df, pilot, link = [9], [(0.02, 4)], [[1.0]]
        gains, critical = np.array([0.2, 0.1, 0.3]), np.full(3, 2.9)
    truth = [square * nu / rng.chisquare(nu, draws) for square, nu in pilot]
    if len(truth) == 2:
        truth[0] = np.maximum(truth[0], truth[1])
    estimate, variance = np.tile(gains, (draws, 1)), np.zeros((draws, 3))
    for at, one in enumerate(spread):
        errors = rng.multivariate_normal(np.zeros(3), one, draws, method="eigh")
        estimate = estimate + np.sqrt(truth[at])[:, None] * errors
        variance += np.diag(one) * (truth[at] * rng.chisquare(df[at], draws) / df[at])[:, None]
    shown = np.abs(estimate) > critical * np.sqrt(variance)
    found = joint_promise.together(gains, spread, df, pilot, critical, link=link)
    for told, drawn in (
        (found.any, shown.any(axis=1).mean()),
        (found.all, shown.all(axis=1).mean()),
        *zip(found.each, shown.mean(axis=0), strict=True),
    ):
        assert abs(told - drawn) < 4 * math.sqrt(0.25 / draws) + 0.002


def test_faults() -> None:
    """All faults at once."""
    with pytest.raises(SizingError) as told:
        joint_promise.together([0.1, 0.2], np.eye(2)[None], [0.5], [(0.0, 3)], [2.0])
    assert str(told.value) == (
        "What is promised of several comparisons together cannot be worked out.\n"
        "  mean square of the pilot: 0 was given; expected a number above 0.\n"
        "  covariances and critical values: shapes (1, 2, 2) and (1,); expected (1, 2, 2) and (2,).\n"
        "  df of the plan: 0.5 was given; expected 1 or more."
    )
