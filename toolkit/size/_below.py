"""Simulated campaigns in which some run values lie below the limit of detection (rank 5).

They are analysed as ``model.below_limit`` does it, by a likelihood that takes 'below' for what it says. Such an
analysis does not move with a true change, since the change decides how many values are seen at all: every question is
simulated with its change, and once more without.
"""

from __future__ import annotations

import numpy as np
from scipy import special

from toolkit.brief import model as brief_model
from toolkit.errors import ModelError
from toolkit.model import _random_units as random_units
from toolkit.model import below_limit
from toolkit.numeric import censored, contrasts
from toolkit.numeric._bases import Floats
from toolkit.numeric.many import MeanSquares
from toolkit.size._drawing import Drawn
from toolkit.size._share import Seen, Share


def seen(share: Share, drawn: Drawn, known: Floats, exact: Seen) -> tuple[Seen, Seen]:
    """What is seen at the true change of each question, and at none.

    Parameters
    ----------
    share : Share
    drawn : Drawn
        Without effects and without lost runs.
    known : ndarray, shape (campaigns, units)
        Variances of the units; the limit is set by that between runs.
    exact : Seen
        What is seen of the contrasts themselves without a limit and without effects: kept where no value lies below.
    """
    sign = brief_model.gain_sign(share.response)
    limit = special.ndtri(share.conditions.below_share) * np.sqrt(known[:, -1])
    judge, able = share.judging.whole
    weights = np.zeros((len(share.gains), drawn.values.shape[1]))
    if isinstance(judge, MeanSquares):
        weights[able] = judge.weights
    size = (weights**2).sum(axis=1)
    at_change, at_none = [], []
    for at, gain in enumerate(share.gains):
        # The smallest change of the runs that makes this change of the question and none beside its direction.
        shift = sign * gain * weights[at] / max(size[at], 1e-300)
        ends = np.sort(sign * np.column_stack([exact.low[:, at], exact.high[:, at]]), axis=1)
        still = Seen(sign * exact.estimate[:, at], ends[:, 0], ends[:, 1], exact.able[:, at])
        moved = Seen(still.estimate + gain, still.low + gain, still.high + gain, still.able)
        at_change.append(_question(share, drawn.values + shift, limit, at, moved, sign))
        at_none.append(_question(share, drawn.values, limit, at, still, sign))
    return _side_by_side(at_change), _side_by_side(at_none)


def _side_by_side(parts: list[Seen]) -> Seen:
    """Questions next to each other."""
    names = ("estimate", "low", "high", "able")
    return Seen(*(np.column_stack([getattr(part, name) for part in parts]) for name in names))


def _question(share: Share, values: Floats, limit: Floats, at: int, exact: Seen, sign: int) -> Seen:
    """One question in every campaign; as without a limit where nothing lies below it."""
    estimate, low, high, able = (part.copy() for part in (exact.estimate, exact.low, exact.high, exact.able))
    columns = share.judging.laid.full_columns
    rank = contrasts.rank(columns)
    basis = columns[:, random_units.independent(columns)]
    row = np.linalg.lstsq(np.linalg.lstsq(basis, columns, rcond=None)[0].T, share.judging.padded[at], rcond=None)[0]
    for number, (y, cut) in enumerate(zip(values, limit, strict=True)):
        under = y < cut
        if not under.any():
            continue
        able[number] = under.mean() <= below_limit.MOST_BELOW and (~under).sum() > rank and exact.able[number]
        if not able[number]:
            continue
        try:
            found = censored.limits(
                basis, np.where(under, cut, y), under, row, level=float(share.levels[at]), df=len(y) - rank
            )
        except ModelError:
            able[number] = False
            continue
        ends = (-np.inf if found.low is None else found.low, np.inf if found.high is None else found.high)
        low[number], high[number] = sorted(sign * end for end in ends)
        middle = 0.5 * (low[number] + high[number]) if np.isfinite(low[number] + high[number]) else 0.0
        estimate[number] = middle if found.estimate is None else sign * found.estimate
    return Seen(estimate, low, high, able)
