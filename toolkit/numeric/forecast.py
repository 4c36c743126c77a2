"""All that a plan promises of one comparison, in one pass over the pilot's doubt and the campaign's luck.

May import numpy, scipy.special and its neighbours. The parts are those of ``promise``, ``half_width`` and
``exaggeration``; together they cost little more than one of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from toolkit.numeric._asked import asked_of
from toolkit.numeric._quadrature import Floats, Luck, Pair, lucks
from toolkit.numeric.promise import OUTCOMES

_ROOT = np.sqrt(2.0 * np.pi)


@dataclass(frozen=True, eq=False)
class Forecast:
    """What plans promise of one comparison, averaged over doubt and luck.

    Attributes
    ----------
    assurance : ndarray, shape (...)
        As ``promise.assurance``.
    outcomes : ndarray, shape (..., 6)
        As ``promise.outcome_shares``.
    half_width : ndarray, shape (...)
        As ``half_width.expected_half_width``; infinite where no interval can be stated.
    shown_size : ndarray, shape (...)
        Mean of the estimate's size over the true change where a difference is shown, and 0 elsewhere: over
        ``assurance`` it is ``exaggeration.exaggeration``.
    """

    assurance: Floats
    outcomes: Floats
    half_width: Floats
    shown_size: Floats


def forecast(
    delta: ArrayLike,
    margin: ArrayLike,
    parts: Sequence[Pair],
    pilot: Sequence[Pair],
    *,
    alpha: float = 0.05,
    link: ArrayLike | None = None,
    widening: ArrayLike = 1.0,
) -> Forecast:
    """Give back the chances, the width and the overstatement of plans together.

    Parameters
    ----------
    delta, margin, parts, pilot, alpha, link, widening
        As for ``promise.outcome_shares``; ``delta`` above 0.

    Returns
    -------
    Forecast

    Raises
    ------
    SizingError
        When an argument is out of range or of the wrong shape; all faults are told at once.

    Notes
    -----
    Formulas and quadrature as in the functions named; the width with 1 df or less of the pilot is infinite.

    Checked against: those functions, each checked by simulation, tests/unit/numeric/test_forecast.py.
    """
    asked = asked_of(delta, margin, parts, pilot, alpha, link, widening)
    count = asked.delta.size
    chance, width, size = np.empty(count), np.empty(count), np.empty(count)
    shares = np.empty((count, len(OUTCOMES)))
    for luck in lucks(asked.parts, asked.df, pilot, asked.link, alpha, asked.widening):
        gain, edge = asked.delta[luck.plans, None, None], asked.margin[luck.plans, None, None]
        right, wrong = (gain - luck.half_width) / luck.std_error, (-gain - luck.half_width) / luck.std_error
        above, below = special.ndtr(right), special.ndtr(wrong)
        chance[luck.plans] = _mean(above + below, luck)
        density = (np.exp(-0.5 * right**2) + np.exp(-0.5 * wrong**2)) / _ROOT
        size[luck.plans] = _mean(above - below + luck.std_error / gain * density, luck)
        width[luck.plans] = _mean(luck.half_width, luck)
        shares[luck.plans] = _outcomes(gain, edge, above, below, luck)
    untestable = ~asked.testable
    shares[untestable] = [float(name == "not known yet") for name in OUTCOMES]
    chance, size = (np.where(untestable, 0.0, item) for item in (np.clip(chance, 0.0, 1.0), size))
    endless = untestable | (min(float(np.asarray(df)) for _, df in pilot) <= 1.0)
    shape = asked.shape
    return Forecast(
        chance.reshape(shape),
        np.maximum(shares, 0.0).reshape(*shape, len(OUTCOMES)),
        np.where(endless, np.inf, width).reshape(shape),
        size.reshape(shape),
    )


def _outcomes(gain: Floats, edge: Floats, above: Floats, below: Floats, luck: Luck) -> Floats:
    """Shares of the six verdicts; the cut at the half-width itself is known already where it is the middle one."""
    inner = np.maximum(edge - luck.half_width, 0.0)
    wide = luck.half_width >= edge - luck.half_width
    cut = np.where(wide, luck.half_width, edge - luck.half_width)
    some = not bool(wide.all())
    middle = special.ndtr((gain - cut) / luck.std_error) if some else above
    middle_below = special.ndtr((-gain - cut) / luck.std_error) if some else below
    outer = edge + luck.half_width
    far, far_below = (special.ndtr((sign * gain - outer) / luck.std_error) for sign in (1.0, -1.0))
    near, near_below = (special.ndtr((sign * gain - inner) / luck.std_error) for sign in (1.0, -1.0))
    areas = (
        far,
        middle - far,
        1.0 - near - near_below,
        (near - middle) + (near_below - middle_below),
        far_below,
        middle_below - far_below,
    )
    return np.stack([_mean(area, luck) for area in areas], axis=1)


def _mean(values: Floats, luck: Luck) -> Floats:
    """The mean over all states, one a plan."""
    # Not as a product of matrices: that adds up in another order when more plans are worked out together.
    return np.einsum("ng,g->n", values.reshape(len(values), -1), luck.weight.ravel())
