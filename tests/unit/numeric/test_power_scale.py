"""Powers of the values: which one drawn runs speak for, false alarms of the drawn p, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric.power_scale import fits_as_well, log_likelihood, power_of

CELLS = np.kron(np.eye(6), np.ones((4, 1)))
LEVELS = np.repeat([1.0, 2.0, 3.0, 5.0, 8.0, 12.0], 4)


def test_the_power_that_the_runs_were_made_with_comes_back():
    noise = np.random.default_rng(2).normal(size=240)
    levels = np.repeat(LEVELS, 10)
    for power, made in (
        (0.0, levels * np.exp(0.1 * noise)),
        (1.0, levels + 0.2 * noise),
        (-1.0, 1.0 / (1.0 / levels + 0.01 * noise)),
    ):
        found = power_of(np.repeat(CELLS, 10, axis=0), made)
        assert found.best == pytest.approx(power, abs=0.15)
        assert found.high - found.low < 0.6


def test_the_likelihood_is_that_of_the_values_with_the_change_of_scale_counted():
    # By hand: normal log likelihood of y^p at its best, plus the log of the Jacobian, less n / 2 (1 + ln 2 pi).
    y = LEVELS * np.exp(0.1 * np.random.default_rng(2).normal(size=24))
    turned = np.sqrt(y)
    rest = turned - CELLS @ np.linalg.pinv(CELLS) @ turned
    by_hand = -12.0 * np.log(rest @ rest / 24.0) + np.log(0.5 * y**-0.5).sum()
    assert log_likelihood(CELLS, y, [0.5])[0] == pytest.approx(by_hand, rel=1e-10)


@pytest.mark.parametrize("power", [0, 1])
def test_the_scale_is_doubted_in_five_of_a_hundred_campaigns_that_lie_on_it(power):
    # 200 campaigns of 12 runs in four combinations; 3.24 binomial SE, and 1 % for the 200 drawn to each.
    cells, means = np.kron(np.eye(4), np.ones((3, 1))), np.repeat([1.0, 1.5, 2.5, 4.0], 3)
    draw = np.random.default_rng(7)
    count = 0
    for at in range(200):
        noise = draw.normal(size=12)
        values = means + 0.15 * noise if power else means * np.exp(0.15 * noise)
        count += fits_as_well(cells, values, power, seed=at, drawn=200) < 0.05
    assert abs(count / 200 - 0.05) < 3.24 * np.sqrt(0.05 * 0.95 / 200) + 0.01


def test_another_scale_is_seen_and_another_unit_says_nothing():
    values = 1.0 / (1.0 / LEVELS + 0.01 * np.random.default_rng(2).normal(size=24))
    assert fits_as_well(CELLS, values, 1, seed=1) < 0.002
    assert fits_as_well(CELLS, 2.54 * values, 1, seed=1) == fits_as_well(CELLS, values, 1, seed=1)
    assert power_of(CELLS, 2.54 * values).best == pytest.approx(power_of(CELLS, values).best, abs=1e-6)


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda: power_of(CELLS, LEVELS - 1.0), "values: 0 (and 3 more) was given; expected a number above 0."),
        (lambda: power_of(np.eye(24), LEVELS),
         "columns: 24 of 24 degrees of freedom taken out; expected one or more left."),
        (lambda: fits_as_well(CELLS, LEVELS, 2, seed=1), "power: 2; expected 0 (log) or 1 (as they are)."),
    ],
)  # fmt: skip
def test_what_cannot_be_told_says_why(call, told):
    with pytest.raises(ModelError) as stopped:
        call()
    assert str(stopped.value) == f"The power of the values cannot be told.\n  {told}"
