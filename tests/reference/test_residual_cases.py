"""Odd values, normal plots and powers of the values against Grubbs, Rosner, Shapiro and Wilk, and Box and Cox."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.reference.loader import load
from toolkit.numeric.normality import shapiro_wilk, straightness
from toolkit.numeric.odd_one import odd_one
from toolkit.numeric.power_scale import log_likelihood, power_of

GRUBBS, ROSNER = load("k11-grubbs-nist"), load("k11-esd-rosner")
SHAPIRO, POISONS = load("k11-shapiro-wilk"), load("k11-boxcox-poisons")


def g_of(t: float, n: int) -> float:
    """Grubbs's statistic of a sample from its externally studentised residual (algebra)."""
    return math.sqrt((n - 1) ** 2 * t**2 / (n * (n - 2 + t**2)))


def t_of(g: float, n: int) -> float:
    """The other way round."""
    return math.sqrt(n * (n - 2) * g**2 / ((n - 1) ** 2 - n * g**2))


def of_sample(values: np.ndarray):
    """The odd one of a plain sample: residuals from its mean, every value with a share of 1 / n in it."""
    return odd_one(values - values.mean(), np.full(len(values), 1.0 / len(values)), len(values) - 1)


def test_the_odd_one_of_eight_is_that_of_grubbs() -> None:
    """The statistic as printed by NIST, the place, and both critical values as the p values that they stand for."""
    y = GRUBBS.data["y"].to_numpy(dtype=float)
    found = of_sample(y)
    assert (found.place, found.tested, found.df) == (int(GRUBBS.text("index_zero_based")), 8, 6)
    g = g_of(abs(found.studentised[7]), 8)
    assert g == pytest.approx(GRUBBS.expected("G"), rel=GRUBBS.tolerance["rel"])
    assert g == pytest.approx(GRUBBS.published("G"), abs=GRUBBS.published_abs("G"))
    # A sample whose largest statistic is the critical value has p of 5 %, or 10 % where one side alone counts.
    for key, p_value in (("critical_two_sided_5", 0.05), ("critical_one_sided_5", 0.10)):
        assert with_largest(GRUBBS.expected(key), 8) == pytest.approx(p_value, rel=1e-8)
    assert with_largest(GRUBBS.published("critical_one_sided_5"), 8) == pytest.approx(0.10, rel=5e-3)


def with_largest(g: float, n: int) -> float:
    """The p value of a sample of n made so that its largest statistic of Grubbs is g."""
    # One value at g SDs, the rest as far apart as leaves the SD at 1: residuals with sum 0 and squares n - 1.
    rest = np.resize([1.0, -1.0], n - 1) if n % 2 else np.append(np.resize([1.0, -1.0], n - 2), 0.0)
    size = math.sqrt((n - 1 - g**2 - g**2 / (n - 1)) / (rest @ rest))
    made = np.append(rest * size - g / (n - 1), g)
    assert (made.sum(), made @ made) == (pytest.approx(0.0, abs=1e-12), pytest.approx(n - 1))
    found = odd_one(made, np.full(n, 1.0 / n), n - 1)
    assert found.place == n - 1
    return float(found.p_value)


def test_each_step_of_rosner_is_that_of_the_odd_one() -> None:
    """Statistics, what is taken away at each step, critical values and how many are odd, as Rosner prints them."""
    y = ROSNER.data["y"].to_numpy(dtype=float)
    beyond = 0
    for step in range(10):
        n = len(y)
        found = of_sample(y)
        assert y[found.place] == ROSNER.expected(f"removed.{step}")
        g = g_of(abs(found.studentised[found.place]), n)
        assert g == pytest.approx(ROSNER.expected(f"R.{step}"), rel=ROSNER.tolerance["rel"])
        assert g == pytest.approx(ROSNER.published(f"R.{step}"), abs=ROSNER.published_abs(f"R.{step}"))
        critical = ROSNER.expected(f"critical.{step}")
        assert critical == pytest.approx(ROSNER.published(f"critical.{step}"), abs=ROSNER.published_abs(f"R.{step}"))
        assert with_largest(critical, n) == pytest.approx(0.05, rel=1e-8)
        assert (found.p_value < 0.05) == (g > critical)
        beyond = step + 1 if g > critical else beyond
        y = np.delete(y, found.place)
    assert beyond == int(ROSNER.text("n_outliers")) == ROSNER.published("n_outliers")


def test_the_normal_plot_is_as_straight_as_r_says() -> None:
    """W of Shapiro and Wilk's eleven weights and of residuals of a two-way model; the drawn p where R has one."""
    weights = SHAPIRO.data["weight"].to_numpy(dtype=float)
    w = float(shapiro_wilk(weights))
    assert w == pytest.approx(SHAPIRO.expected("weights.W"), rel=SHAPIRO.tolerance["rel"])
    assert w == pytest.approx(SHAPIRO.published("weights.W"), abs=SHAPIRO.published_abs("weights.W"))
    found = straightness(np.ones((11, 1)), weights - weights.mean(), seed=1)
    assert found.w == pytest.approx(w, rel=1e-12)
    p = SHAPIRO.expected("weights.p")
    # 3.24 standard errors of 4,000 draws; R's p is itself an approximation good to a tenth of its size.
    assert found.p_value == pytest.approx(p, abs=3.24 * math.sqrt(p * (1 - p) / 4000) + 0.1 * p)
    data = load("k02-warpbreaks").data
    columns = pd.get_dummies(data["wool"].astype(str) + data["tension"].astype(str)).to_numpy(dtype=float)
    y = data["breaks"].to_numpy(dtype=float)
    left = y - columns @ np.linalg.lstsq(columns, y, rcond=None)[0]
    w = float(shapiro_wilk(left))
    assert w == pytest.approx(SHAPIRO.expected("warpbreaks_residuals.W"), rel=SHAPIRO.tolerance["rel"])
    # R takes 54 residuals on 48 df for a plain sample; drawn through the model p is near it.
    p = SHAPIRO.expected("warpbreaks_residuals.p")
    assert straightness(columns, left, seed=1).p_value == pytest.approx(p, abs=0.05)


@pytest.mark.parametrize("model", ["with_interaction", "additive"])
def test_the_power_of_the_survival_times_is_that_of_r(model: str) -> None:
    """Box and Cox's own example: likelihoods, the best power and its interval; near one over the time, as printed."""
    data = POISONS.data
    cells = [data["antidote"].astype(str), data["poison"].astype(str)]
    if model == "additive":
        columns = np.hstack([pd.get_dummies(item).to_numpy(dtype=float) for item in cells])
    else:
        columns = pd.get_dummies(cells[0] + cells[1]).to_numpy(dtype=float)
    values = data["survival"].to_numpy(dtype=float)
    rel, apart = POISONS.tolerance["rel"], POISONS.tolerance["lambda_abs"]
    keys = {"1": 1.0, "0": 0.0, "-1": -1.0, "0.5": 0.5}
    found = log_likelihood(columns, values, list(keys.values()))
    for key, one in zip(keys, found, strict=True):
        assert one == pytest.approx(POISONS.expected(f"{model}.loglik_at.{key}"), rel=rel)
    made = power_of(columns, values)
    assert made.best == pytest.approx(POISONS.expected(f"{model}.lambda_hat"), abs=apart)
    assert made.log_likelihood == pytest.approx(POISONS.expected(f"{model}.profile_loglik_at_hat"), rel=rel)
    assert (made.low, made.high) == (
        pytest.approx(POISONS.expected(f"{model}.ci95.0"), abs=apart),
        pytest.approx(POISONS.expected(f"{model}.ci95.1"), abs=apart),
    )
    # As Box and Cox conclude (from memory): one over the time lies within, the times as they are do not.
    assert made.low < -1.0 < made.high < 1.0


def test_w_is_scipys() -> None:
    """Of samples of every kind of size: 3, 4 and 5 have weights of their own."""
    draw = np.random.default_rng(5)
    for n in (3, 4, 5, 6, 11, 50):
        sample = np.exp(draw.normal(size=n))
        assert float(shapiro_wilk(sample)) == pytest.approx(stats.shapiro(sample).statistic, rel=1e-6)
