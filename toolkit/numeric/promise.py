"""What a plan can promise when its scatter is known only from a pilot: assurance, and the six outcomes.

May import numpy, scipy.special and the error classes. The doubt of the pilot and the luck of the campaign are
averaged by quadrature; nothing is drawn at random, so no seed is needed.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from toolkit.numeric._asked import asked_of
from toolkit.numeric._quadrature import Floats, Pair, lucks

OUTCOMES = (
    "worthwhile gain",
    "gain, size not settled",
    "smaller than worthwhile",
    "not known yet",
    "worthwhile loss",
    "loss, size not settled",
)


def assurance(
    delta: ArrayLike,
    parts: Sequence[Pair],
    pilot: Sequence[Pair],
    *,
    alpha: float = 0.05,
    link: ArrayLike | None = None,
    widening: ArrayLike = 1.0,
) -> Floats:
    """Give back the chance that a campaign shows a difference, averaged over what its pilot leaves in doubt.

    Use it to choose the number of runs when the scatter was estimated from a pilot, alone or blended with the
    history of the rig. It is not a power: power takes the scatter as the truth and promises too much.

    Parameters
    ----------
    delta : array_like
        True gain assumed [ln ratio, or unit of the response], any sign.
    parts : sequence of one to three (unit_variance, error_df)
        The mean squares that make up the error of the comparison in the plan, outermost (builds) first. The
        error variance is the sum of unit_variance times mean square; each number may be an array over
        plan sizes. ``error_df`` below 1 means that no interval can be stated.
    pilot : sequence of one to three (mean_square, df)
        Mean squares known beforehand [squared unit of ``delta``], outermost first, with their degrees of
        freedom; infinity means known exactly. Numbers, not arrays.
    alpha : float
        1 minus the confidence level of the interval, between 0 and 1.
    link : array_like, shape (parts, pilot) or (plans, parts, pilot), optional
        Mean square k of the plan is the sum over j of ``link[k, j]`` times mean square j of the pilot.
        None: the plan has the pilot's mean squares. For builds of r runs in the plan and p in the pilot,
        with q = r / p: ``[[q, 1 - q], [0, 1]]``.
    widening : array_like
        What the half-width is multiplied with: above 1 where standard errors carry the doubt of the variances (Kenward
        and Roger) beside the scatter of the estimate itself.

    Returns
    -------
    ndarray, broadcast shape of ``delta`` and the entries of ``parts``
        Chance between 0 and 1, never NaN; 0 where no interval can be stated.

    Raises
    ------
    SizingError
        When an argument is out of range or of the wrong shape; all faults are told at once.

    Notes
    -----
    The pilot's mean squares s^2 on nu df leave the true ones at s^2 nu / chi2_nu, independent of each
    other; an outer one below the inner one (a negative component) counts as equal to it. Given the truth,
    the estimate is normal, the campaign's own mean squares are chi-square over df, and the half-width is t
    times their weighted root, on Satterthwaite's df as realised when there are two (each t by its share where one has
    fewer than 3 df: ``weighted_t``). Quadrature: of
    the pilot 48 nodes for a mean square that stands alone, 20 x 20 for two, 8 x 8 x 8 for three, of the campaign
    24, 14 x 14 and 6 x 6 x 6 (as many as of the pilot where that is known exactly); the error is below 0.0005
    (0.003 with three). Idea: A. O'Hagan, J. W. Stevens and M. J. Campbell, Pharmaceutical Statistics 4 (2005) 187-201
    (reference from memory).

    On one core all sizes from 2 to 60 take about 6 ms (six outcomes 15 ms) with one mean square.

    Checked against: independent simulation, and R 4.2.2 power.t.test when the scatter is known (k09-power-t);
    tests/unit/numeric/test_promise.py.
    """
    asked = asked_of(delta, 1.0, parts, pilot, alpha, link, widening)
    chance = np.empty(asked.delta.shape)
    for luck in lucks(asked.parts, asked.df, pilot, asked.link, alpha, asked.widening):
        gain = asked.delta[luck.plans, None, None]
        inside = special.ndtr((gain - luck.half_width) / luck.std_error)
        inside += special.ndtr((-gain - luck.half_width) / luck.std_error)
        chance[luck.plans] = np.einsum("npc,pc->n", inside, luck.weight)
    return np.where(asked.testable, np.clip(chance, 0.0, 1.0), 0.0).reshape(asked.shape)


def outcome_shares(
    delta: ArrayLike,
    margin: ArrayLike,
    parts: Sequence[Pair],
    pilot: Sequence[Pair],
    *,
    alpha: float = 0.05,
    link: ArrayLike | None = None,
    widening: ArrayLike = 1.0,
) -> Floats:
    """Give back how likely each of the six verdicts is, averaged over what the pilot leaves in doubt.

    Parameters
    ----------
    delta : array_like
        True gain assumed [ln ratio, or unit of the response], any sign.
    margin : array_like
        Worthwhile change [same unit], above 0: a reduction of 20 % is -ln(0.80) = 0.223 on the log scale.
    parts, pilot, alpha, link, widening
        As for ``assurance``.

    Returns
    -------
    ndarray, shape (broadcast shape of ``delta``, ``margin`` and the entries of ``parts``, 6)
        Shares in the order of ``OUTCOMES``; never NaN, none negative, their sum is 1. Where no interval can
        be stated the verdict is 'not known yet' for certain.

    Raises
    ------
    SizingError
        When an argument is out of range or of the wrong shape; all faults are told at once.

    Notes
    -----
    With limits lo and hi of the gain and m the margin, the first that holds counts: lo > m worthwhile gain;
    hi < -m worthwhile loss; -m < lo and hi < m smaller than worthwhile; lo > 0 gain, size not settled; hi < 0
    loss, size not settled; otherwise not known yet. For a half-width h these are bands of the estimate x,
    cut at +-max(m - h, 0), +-max(h, m - h) and +-(m + h). Quadrature as in ``assurance``.

    Checked against: independent simulation that applies the rules to drawn intervals,
    tests/unit/numeric/test_promise.py; k09-tost-equivalence for 'smaller than worthwhile'.
    """
    asked = asked_of(delta, margin, parts, pilot, alpha, link, widening)
    shares = np.empty((*asked.delta.shape, len(OUTCOMES)))
    for luck in lucks(asked.parts, asked.df, pilot, asked.link, alpha, asked.widening):
        gain, edge = asked.delta[luck.plans, None, None], asked.margin[luck.plans, None, None]
        inner = np.maximum(edge - luck.half_width, 0.0)
        middle = np.maximum(luck.half_width, edge - luck.half_width)
        outer = edge + luck.half_width
        above = [special.ndtr((gain - cut) / luck.std_error) for cut in (inner, middle, outer)]
        below = [special.ndtr((-gain - cut) / luck.std_error) for cut in (inner, middle, outer)]
        areas = (
            above[2],
            above[1] - above[2],
            1.0 - above[0] - below[0],
            (above[0] - above[1]) + (below[0] - below[1]),
            below[2],
            below[1] - below[2],
        )
        for verdict, area in enumerate(areas):
            shares[luck.plans, verdict] = np.einsum("npc,pc->n", area, luck.weight)
    shares[~asked.testable] = [float(name == "not known yet") for name in OUTCOMES]
    return np.maximum(shares, 0.0).reshape(*asked.shape, len(OUTCOMES))
