"""The account of a metal in oil, against hand calculations and against a sump filled and emptied in small steps."""

from __future__ import annotations

import math

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric import oil_balance

HOURS = [0, 20, 40, 60, 80, 100]
IRON = [2.0, 9.0, 14.5, 19.8, 24.6, 29.9]
OIL = {
    "fill_kg": 4.30,
    "sampled_kg": [0, 0.05, 0.05, 0.05, 0.05, 0.05],
    "topped_up_kg": [0, 0.10, 0.10, 0.10, 0.10, 0],
    "consumed_kg": [0, 0.12, 0.10, 0.15, 0.11, 0.13],
    "new_oil_ppm": (1.0, 1.0),
}


def made(low=IRON, high=None, **other):
    return oil_balance.account(HOURS, low, low if high is None else high, **{**OIL, **other})


def test_an_account_of_five_samples_worked_by_hand():
    found = made()
    # Worked by hand from the definition (a fill of 4.30 kg, 2.0 mg/kg at the start, 1.0 mg/kg in the new oil).
    assert found.liquid_mg[-1] == pytest.approx(121.00, abs=0.005)
    assert found.vapour_mg[-1] == pytest.approx(110.71, abs=0.005)
    assert found.plain_mg[-1] == pytest.approx(119.97, abs=1e-9)
    assert found.low_mg[-1] == found.vapour_mg[-1] and found.high_mg[-1] == found.liquid_mg[-1]
    assert found.rate_mg_h == pytest.approx((1.10706, 1.2100082), abs=1e-6)
    assert found.at_share(0.5) == pytest.approx(0.5 * (found.vapour_mg[-1] + found.liquid_mg[-1]), rel=1e-12)
    assert found.sump_kg.tolist() == pytest.approx([4.30, 4.18, 4.13, 4.03, 3.97, 3.89])


def test_nothing_drawn_topped_up_or_consumed_is_the_increase_times_the_fill():
    none = [0.0] * 6
    found = made(sampled_kg=none, topped_up_kg=none, consumed_kg=none)
    assert found.liquid_mg[-1] == pytest.approx((29.9 - 2.0) * 4.30, rel=1e-12)
    assert found.vapour_mg[-1] == pytest.approx(found.plain_mg[-1], rel=1e-12)


@pytest.mark.parametrize("share", [0.0, 0.3, 1.0])
def test_a_sump_in_small_steps_gives_back_the_metal_put_into_it(share):
    # Independent: metal and oil followed in 20,000 steps an interval; the true sum is known.
    oil, metal, given, steps = 4.0, 4.0 * 2.0, 0.0, 20_000
    figures = [2.0]
    for at, (rate, used) in enumerate(zip([30.0, 18.0, 22.0], [0.20, 0.05, 0.30], strict=True)):
        for _ in range(steps):
            metal += rate / steps
            metal -= share * metal / oil * used / steps
            oil -= used / steps
        given += rate
        figures.append(metal / oil)
        metal -= 0.06 * metal / oil
        oil -= 0.06
        put = [0.2, 0.0, 0.0][at]
        oil, metal = oil + put, metal + 1.5 * put
    found = oil_balance.account(
        [0, 10, 20, 30], figures, figures, fill_kg=4.0, sampled_kg=[0, 0.06, 0.06, 0.06],
        topped_up_kg=[0, 0.2, 0, 0], consumed_kg=[0, 0.20, 0.05, 0.30], new_oil_ppm=(1.5, 1.5),
    )  # fmt: skip
    # The trapezium is the only approximation: 0.1 % of the metal here.
    assert found.at_share(share) == pytest.approx(given, rel=1e-3)


def test_figures_below_their_limit_keep_both_bounds():
    low, high = list(IRON), list(IRON)
    low[0], high[0] = 0.0, 2.0
    found, ends = made(low, high), [made([zero, *IRON[1:]]) for zero in (0.0, 2.0)]
    assert found.low_mg[-1] == pytest.approx(ends[1].vapour_mg[-1], rel=1e-12)
    # More at the start is less given: the most is told by nought at the start.
    assert found.high_mg[-1] == pytest.approx(ends[0].liquid_mg[-1], rel=1e-12)
    assert found.vapour_mg[-1] == pytest.approx(0.5 * (ends[0].vapour_mg[-1] + ends[1].vapour_mg[-1]), rel=1e-12)


def test_the_standard_error_is_that_of_drawn_figures():
    found, sd = made(), 0.02 * np.array(IRON)
    draws = np.random.default_rng(3).normal(IRON, sd, (2000, 6))
    ends = [made(list(np.maximum(row, 0.0))).at_share(0.5) for row in draws]
    # 4 standard errors of an SD from 2,000 draws: 4 / sqrt(2 * 1999).
    assert found.standard_error(sd, 0.5) == pytest.approx(np.std(ends, ddof=1), rel=0.064)


@pytest.mark.parametrize("factor", [1e-3, 1e3])
def test_other_units_change_nothing_but_the_unit(factor):
    grams = {
        key: [factor * item for item in value] if isinstance(value, list) else factor * value
        for key, value in OIL.items()
        if key != "new_oil_ppm"
    }
    found = made(**grams)
    assert found.liquid_mg[-1] == pytest.approx(factor * made().liquid_mg[-1], rel=1e-12)
    scaled = made([factor * item for item in IRON], new_oil_ppm=(factor, factor))
    assert scaled.low_mg == pytest.approx(factor * made().low_mg, rel=1e-12)


def test_bounds_hold_every_account_within_them():
    rng = np.random.default_rng(9)
    for _ in range(200):
        count = int(rng.integers(2, 7))
        low = rng.uniform(0, 30, count)
        high = low + rng.choice([0.0, 1.0], count) * rng.uniform(0, 3, count)
        parts = {key: [0.0, *rng.uniform(0, 0.3, count - 1)] for key in ("sampled_kg", "topped_up_kg", "consumed_kg")}
        hours = np.arange(count)
        found = oil_balance.account(hours, low, high, fill_kg=6.0, new_oil_ppm=(0.5, 1.5), **parts)
        figures = rng.uniform(low, high)
        new = float(rng.uniform(0.5, 1.5))
        inside = oil_balance.account(hours, figures, figures, fill_kg=6.0, new_oil_ppm=(new, new), **parts)
        share = float(rng.uniform())
        assert found.low_mg[-1] - 1e-9 <= inside.at_share(share) <= found.high_mg[-1] + 1e-9
        assert inside.vapour_mg[-1] <= inside.liquid_mg[-1] + 1e-9


def test_carry_over_of_a_mixture():
    # 3 % of an oil with 180 mg/kg molybdenum in one with 20: 0.97 * 20 + 0.03 * 180 = 24.8.
    assert oil_balance.carry_over(24.8, 20.0, 180.0) == pytest.approx(0.03, rel=1e-12)
    assert oil_balance.carry_over(19.2, 20.0, 180.0) == pytest.approx(-0.005, rel=1e-12)
    assert oil_balance.carry_over(24.8, 20.0, 20.0) is None


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"fill_kg": 0.0}, "fill: 0 was given; expected a number above 0."),
        ({"sampled_kg": [0, 0.05]}, "samples: lists of [2, 6] figures; expected as many of each as there are samples."),
        ({"consumed_kg": [0.1, 0.1, 0.1, 0.1, 0.1, 0.1]},
         "zero-hour sample: oil drawn, topped up or consumed; expected 0: it is in the fill."),
        ({"consumed_kg": [0, 4.5, 0, 0, 0, 0]},
         "sump at 20 h: -0.25 kg left; expected some oil. Check fill, samples and consumption."),
        ({"topped_up_kg": [0, math.nan, 0, 0, 0, 0]},
         "oil topped up: a missing value was given; expected 0 or a number above 0."),
    ],
)  # fmt: skip
def test_what_cannot_be_is_told(wrong, told):
    with pytest.raises(ModelError) as caught:
        made(**wrong)
    assert str(caught.value) == f"The account of the metal cannot be made.\n  {told}"


def test_hours_must_rise_from_nought():
    with pytest.raises(ModelError, match=r"first sample: 5 h; expected 0 h\.\n  hours of the samples: hours that do"):
        oil_balance.account([5, 5], [1, 2], [1, 2], fill_kg=4, sampled_kg=[0, 0], topped_up_kg=[0, 0],
                            consumed_kg=[0, 0], new_oil_ppm=(0, 0))  # fmt: skip
    with pytest.raises(ModelError, match="bounds of a figure: a lowest above its highest; expected the lowest first."):
        made(IRON, [1.0] * 6)
    with pytest.raises(ModelError, match=r"samples: lists of \[5, 6\] figures"):
        made(IRON, IRON[1:])
    with pytest.raises(ModelError, match="share of the metal: 1.2; expected a number from 0 to 1"):
        made().at_share(1.2)
