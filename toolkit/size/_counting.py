"""Simulated campaigns analysed and counted: how often a change is shown, covered, misjudged (rank 5).

A campaign is drawn without effects and analysed once. As every analysis here moves with a true change and nothing else
in it does, the same campaign tells what would have been found with the change and without it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from toolkit.errors import ModelError
from toolkit.numeric import many
from toolkit.numeric._bases import Floats
from toolkit.numeric.many import Judged, MeanSquares
from toolkit.numeric.promise import OUTCOMES
from toolkit.size import _below as below
from toolkit.size import _drawing as drawing
from toolkit.size._drawing import Drawn
from toolkit.size._judging import Judge
from toolkit.size._share import Seen, Share

# Where lost runs leave two kinds of units unbalanced, a layout takes some hundredths of a second: so many are drawn for
# each share of the campaigns, and used again.
_LAYOUTS = 20


@dataclass(frozen=True, eq=False)
class Counts:
    """What was counted, each of shape (questions,), verdicts (questions, six); and different layouts analysed."""

    judged: np.ndarray
    shown: np.ndarray
    alarms: np.ndarray
    covered: np.ndarray
    wrong_way: np.ndarray
    shown_wrong_way: np.ndarray
    verdicts: np.ndarray
    layouts: int

    def plus(self, other: Counts) -> Counts:
        """Both counts together."""
        return Counts(*(getattr(self, name) + getattr(other, name) for name in self.__dataclass_fields__))


def counted(share: Share, rng: np.random.Generator) -> Counts:
    """One share of the campaigns drawn, analysed and counted.

    Parameters
    ----------
    share : Share
    rng : numpy Generator
        Of this share alone.
    """
    laid = share.judging.laid
    made_of = drawing.multipliers(share.scatter, laid)
    known = drawing.variances(share.scatter, made_of, share.campaigns, rng, doubt=share.doubt)
    drawn = drawing.draw(laid, share.response, known, share.conditions, rng)
    lost = drawn.lost
    if lost.any() and len(laid.units) > 2:
        lost = lost[np.arange(len(lost)) % _LAYOUTS]
    error, half, able, layouts = analysed(share, drawn, lost)
    at_none = Seen(error, error - half, error + half, able)
    if share.conditions.below_share:
        return _counts(share, *below.seen(share, drawn, known, at_none), layouts)
    found = share.gains + error
    return _counts(share, Seen(found, found - half, found + half, able), at_none, layouts)


def analysed(share: Share, drawn: Drawn, lost: np.ndarray) -> tuple[Floats, Floats, np.ndarray, int]:
    """The error of each estimate, half the width of its interval, whether there is one; (campaigns, questions) each."""
    shape = (len(lost), len(share.gains))
    error, half, able = np.zeros(shape), np.full(shape, np.inf), np.zeros(shape, dtype=bool)
    patterns, which = np.unique(lost, axis=0, return_inverse=True)
    which = which.reshape(-1)
    for at, pattern in enumerate(patterns):
        judge, can = share.judging.without(pattern)
        sets = np.flatnonzero(which == at)
        if judge is None:
            continue
        beside = None if drawn.covariate is None else drawn.covariate[np.ix_(sets, ~pattern)]
        made, told = _judged(judge, drawn.values[np.ix_(sets, ~pattern)], beside)
        place = np.ix_(sets[told], np.flatnonzero(can))
        error[place] = made.estimate
        half[place] = made.half_width(share.levels[can])
        able[place] = np.isfinite(half[place])
    return error, half, able, len(patterns)


def _judged(judge: Judge, values: Floats, beside: Floats | None) -> tuple[Judged, np.ndarray]:
    """The answers of the campaigns that can be fitted, and which these are."""
    everyone = np.arange(len(values))
    if beside is not None and isinstance(judge, MeanSquares):
        return many.beside(judge, values, beside[:, None, :]), everyone
    try:
        return judge.judged(values), everyone
    except ModelError:
        # One of them has no highest likelihood that could be proved; the others have.
        told, parts = [], []
        for at in everyone:
            try:
                parts.append(judge.judged(values[at : at + 1]))
            except ModelError:
                continue
            told.append(at)
        names = ("estimate", "std_error", "df")
        empty = [np.zeros((0, 0))] * (not parts)
        joined = [np.concatenate([getattr(part, name) for part in parts] or empty) for name in names]
        return Judged(*joined), np.array(told, dtype=int)


def _counts(share: Share, at_change: Seen, at_none: Seen, layouts: int) -> Counts:
    """What intervals come to, at the true change and at none."""
    low, high, able = at_change.low, at_change.high, at_change.able
    shown = at_change.shown
    wrong = able & (at_change.estimate < 0.0)
    return Counts(
        able.sum(axis=0),
        shown.sum(axis=0),
        at_none.shown.sum(axis=0),
        (able & (low <= share.gains) & (share.gains <= high)).sum(axis=0),
        wrong.sum(axis=0),
        (shown & (high < 0.0)).sum(axis=0),
        np.array([(able & (verdicts(low, high, share.margins) == name)).sum(axis=0) for name in OUTCOMES]).T,
        layouts,
    )


def verdicts(low: Floats, high: Floats, margin: Floats) -> np.ndarray:
    """The verdict on each interval of gains, by name (the rules of the verdicts, for arrays)."""
    rules = (
        (low > margin, "worthwhile gain"),
        (high < -margin, "worthwhile loss"),
        ((low > -margin) & (high < margin), "smaller than worthwhile"),
        (low > 0.0, "gain, size not settled"),
        (high < 0.0, "loss, size not settled"),
    )
    return np.select([rule for rule, _ in rules], [name for _, name in rules], "not known yet")
