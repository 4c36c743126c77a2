"""What a part gave into the oil: a metal's account over samples, top-ups and consumption, with both bounds.

May import numpy and the error classes. Concentrations in mg/kg, masses of oil in kg, metal in mg.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._bases import Floats

# Oil that leaves takes its metal with it (leaks, oil burnt at the rings), or leaves it behind (vapour).
VAPOUR, LIQUID = 0.0, 1.0


@dataclass(frozen=True, eq=False)
class OilBalance:
    """A metal's account over the samples of one fill.

    Attributes
    ----------
    at_h : ndarray, shape (samples,)
        Hours into the run; the first is the zero-hour sample.
    sump_kg : ndarray, shape (samples,)
        Oil in the sump just before each sample; the fill at the first.
    plain_mg : ndarray, shape (samples,)
        Concentration less the first times the fill: what an account without corrections says.
    vapour_mg, liquid_mg : ndarray, shape (samples,)
        Metal given into the oil since the start, if consumed oil leaves its metal behind, and if it takes it along.
        Figures below their limit count as the middle of what they can be.
    low_mg, high_mg : ndarray, shape (samples,)
        Bounds over both kinds of consumption and over every figure that is known to lie within limits only.
    weights : ndarray, shape (2, samples)
        mg of the account at its end per mg/kg of each sample, for vapour and for liquid.
    """

    at_h: Floats
    sump_kg: Floats
    plain_mg: Floats
    vapour_mg: Floats
    liquid_mg: Floats
    low_mg: Floats
    high_mg: Floats
    weights: Floats

    @property
    def rate_mg_h(self) -> tuple[float, float]:
        """Both bounds of the metal given in an hour, over the whole account."""
        hours = float(self.at_h[-1] - self.at_h[0])
        return float(self.low_mg[-1]) / hours, float(self.high_mg[-1]) / hours

    def at_share(self, liquid_share: float) -> float:
        """Metal given into the oil [mg] if this share of what is consumed takes its metal along (0 to 1)."""
        raise_all(ModelError, "The account cannot be told.", _share(liquid_share))
        return float((1.0 - liquid_share) * self.vapour_mg[-1] + liquid_share * self.liquid_mg[-1])

    def standard_error(self, sd_ppm: ArrayLike, liquid_share: float) -> float:
        """SD of the account [mg] by the laboratory's scatter alone, from the SD of each sample's figure [mg/kg]."""
        faults = [*_share(liquid_share), *guards.not_negative("SD of a figure", sd_ppm)]
        raise_all(ModelError, "The account cannot be told.", faults)
        weight = (1.0 - liquid_share) * self.weights[0] + liquid_share * self.weights[1]
        return float(np.sqrt(np.sum((weight * np.asarray(sd_ppm, dtype=float)) ** 2)))


def account(
    at_h: ArrayLike,
    low_ppm: ArrayLike,
    high_ppm: ArrayLike,
    *,
    fill_kg: float,
    sampled_kg: ArrayLike,
    topped_up_kg: ArrayLike,
    consumed_kg: ArrayLike,
    new_oil_ppm: tuple[float, float],
) -> OilBalance:
    """Give back the metal given into the oil, with what samples, top-ups and consumption took and brought.

    Parameters
    ----------
    at_h : array_like, shape (samples,)
        Hours, rising from 0; two samples at least.
    low_ppm, high_ppm : array_like, shape (samples,)
        Concentration of each sample [mg/kg]: equal where it is known; 0 and the limit where it is below its limit.
    fill_kg : float
        Oil in the sump at the start, once the zero-hour sample is drawn; above 0.
    sampled_kg, topped_up_kg : array_like, shape (samples,)
        Drawn with each sample, and new oil put in after it [kg]; those of the zero-hour sample are in ``fill_kg`` and
        must be 0.
    consumed_kg : array_like, shape (samples,)
        Oil consumed since the sample before [kg]; 0 at the first.
    new_oil_ppm : (float, float)
        The metal in the oil that is topped up, lowest and highest [mg/kg].

    Returns
    -------
    OilBalance

    Raises
    ------
    ModelError
        When a figure is missing or out of range, or more oil left than there was; all faults at once.

    Notes
    -----
    With m oil before sample i of concentration C, drawn s, topped up t (C_new), consumed u since the sample before, and
    phi the share of u that takes its metal along: given_i = C_i m_i - C'_(i-1) m'_(i-1) + phi u_i (C_i + C'_(i-1)) / 2;
    after sample and top-up C'_i = (C_i (m_i - s_i) + C_new t_i) / (m_i - s_i + t_i). What was drawn stays in the
    account. phi is not known, so both ends are told. The account is linear in the concentrations, so its bounds are
    exact. A mass balance worked out for this toolkit; the trapezium in phi's term is its only approximation.

    Checked against: an account of five samples worked by hand, a sump integrated in small steps, conservation of
    metal, tests/unit/numeric/test_oil_balance.py.
    """
    hours, low, high, sampled, topped, consumed = (
        np.atleast_1d(np.asarray(given, dtype=float))
        for given in (at_h, low_ppm, high_ppm, sampled_kg, topped_up_kg, consumed_kg)
    )
    faults = [
        *guards.not_negative("hours of a sample", hours),
        *guards.not_negative("concentration", low),
        *guards.not_negative("concentration", high),
        *guards.positive("fill", fill_kg),
        *guards.not_negative("oil drawn", sampled),
        *guards.not_negative("oil topped up", topped),
        *guards.not_negative("oil consumed", consumed),
        *guards.not_negative("metal in the new oil", new_oil_ppm),
    ]
    raise_all(ModelError, _HEADLINE, faults)
    sizes = {len(given) for given in (hours, low, high, sampled, topped, consumed)}
    if sizes != {len(hours)}:
        unequal = Fault("samples", f"lists of {sorted(sizes)} figures", "as many of each as there are samples")
        raise_all(ModelError, _HEADLINE, [unequal])
    crossed = bool((low > high).any()) or new_oil_ppm[0] > new_oil_ppm[1]
    moved = sampled[0] + topped[0] + consumed[0] != 0.0
    wrong = [
        (len(hours) < 2, "samples", f"{len(hours)}", "the zero-hour sample and one more at least"),
        (hours[0] != 0.0, "first sample", f"{hours[0]:g} h", "0 h"),
        (bool((np.diff(hours) <= 0.0).any()), "hours of the samples", "hours that do not rise", "each above the last"),
        (crossed, "bounds of a figure", "a lowest above its highest", "the lowest first"),
        (moved, "zero-hour sample", "oil drawn, topped up or consumed", "0: it is in the fill"),
    ]
    raise_all(ModelError, _HEADLINE, [Fault(*parts) for told, *parts in wrong if told])
    sump, after = _masses(float(fill_kg), sampled, topped, consumed)
    if bool((sump - sampled <= 0.0).any()):
        at = int(np.flatnonzero(sump - sampled <= 0.0)[0])
        left = Fault(f"sump at {hours[at]:g} h", f"{sump[at] - sampled[at]:g} kg left", "some oil", _CHECK)
        raise_all(ModelError, _HEADLINE, [left])
    ends = [_weights(sump, after, sampled, topped, consumed, share) for share in (VAPOUR, LIQUID)]
    lows, highs = np.append(low, new_oil_ppm[0]), np.append(high, new_oil_ppm[1])
    middles = 0.5 * (lows + highs)
    least = [np.where(weight > 0.0, weight * lows, weight * highs).sum(axis=1) for weight in ends]
    most = [np.where(weight > 0.0, weight * highs, weight * lows).sum(axis=1) for weight in ends]
    return OilBalance(
        hours,
        sump,
        (middles[:-1] - middles[0]) * fill_kg,
        ends[0] @ middles,
        ends[1] @ middles,
        np.minimum(*least),
        np.maximum(*most),
        np.stack([weight[-1, :-1] for weight in ends]),
    )


def carry_over(marker_zero: float, marker_new: float, marker_previous: float) -> float | None:
    """Give back the share of the previous fill left in this one, or None where the marker does not tell.

    Parameters
    ----------
    marker_zero : float
        The marker in the zero-hour sample [mg/kg].
    marker_new, marker_previous : float
        The marker in this fill's new oil, and at the end of the fill before [mg/kg].

    Returns
    -------
    float or None
        (zero - new) / (previous - new), signed: below 0 by the laboratory's scatter. None where previous and new are
        the same.

    Raises
    ------
    ModelError
        When a figure is missing or below 0.

    Notes
    -----
    Two oils mixed by mass; common practice. A check, never a second subtraction: the zero-hour sample already holds the
    metal carried over.

    Checked against: a mixture by hand, tests/unit/numeric/test_oil_balance.py.
    """
    faults = guards.not_negative("marker", [marker_zero, marker_new, marker_previous])
    raise_all(ModelError, "The carry-over cannot be told.", faults)
    if marker_previous == marker_new:
        return None
    return (marker_zero - marker_new) / (marker_previous - marker_new)


_HEADLINE = "The account of the metal cannot be made."
_CHECK = "Check fill, samples and consumption."


def _share(share: float) -> list[Fault]:
    """A fault unless a share lies between 0 and 1, both included."""
    return [] if 0.0 <= share <= 1.0 else [Fault("share of the metal", f"{share:g}", "a number from 0 to 1")]


def _masses(fill: float, sampled: Floats, topped: Floats, consumed: Floats) -> tuple[Floats, Floats]:
    """Oil in the sump before each sample, and after sample and top-up [kg]."""
    before, after, now = [], [], fill
    for drawn, put, used in zip(sampled, topped, consumed, strict=True):
        before.append(now - used)
        now = before[-1] - drawn + put
        after.append(now)
    return np.array(before), np.array(after)


def _weights(sump: Floats, after: Floats, sampled: Floats, topped: Floats, consumed: Floats, share: float) -> Floats:
    """mg given since the start, at each sample, per mg/kg of every sample and of the new oil (last column)."""
    count = len(sump)
    own = np.eye(count + 1)
    made = np.zeros((count, count + 1))
    left = own[0]
    for at in range(1, count):
        leaving = share * consumed[at] * 0.5 * (own[at] + left)
        made[at] = made[at - 1] + own[at] * sump[at] - left * after[at - 1] + leaving
        left = (own[at] * (sump[at] - sampled[at]) + own[count] * topped[at]) / after[at]
    return made
