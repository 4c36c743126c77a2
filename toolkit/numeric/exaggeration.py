"""By how much a change is overstated when it is shown at all.

May import numpy, scipy.special and its neighbours. A small campaign shows a change only when luck has made it look
large; this tells by how much, before any run.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from toolkit.errors import SizingError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._asked import HEADLINE, asked_of
from toolkit.numeric._quadrature import Floats, Pair, lucks


def exaggeration(
    delta: ArrayLike,
    parts: Sequence[Pair],
    pilot: Sequence[Pair],
    *,
    alpha: float = 0.05,
    link: ArrayLike | None = None,
    widening: ArrayLike = 1.0,
) -> Floats:
    """Give back the mean size of the estimate over the true change, among campaigns that show a difference.

    Parameters
    ----------
    delta : array_like
        True change [ln ratio, or unit of the response], not 0.
    parts, pilot, alpha, link, widening
        As for ``promise.assurance``.

    Returns
    -------
    ndarray, broadcast shape of ``delta`` and the entries of ``parts``
        1 or more; infinite where no interval can be stated (nothing is ever shown).

    Raises
    ------
    SizingError
        When an argument is out of range or of the wrong shape; all faults are told at once.

    Notes
    -----
    E[|x| given |x| > h] / |delta|, x the estimate, normal around delta given the scatter, h the half-width of its
    interval; estimates of the wrong sign count with their size. Idea and name: A. Gelman and J. Carlin, Perspectives on
    Psychological Science 9 (2014) 641-651. Quadrature as in ``promise.assurance``.

    Checked against: drawn campaigns at 3, 6 and 9 error df, tests/unit/numeric/test_exaggeration.py.
    """
    faults = guards.finite("true change", delta) or guards.positive("size of the true change", np.abs(delta))
    raise_all(SizingError, HEADLINE, faults)
    asked = asked_of(np.abs(delta), 1.0, parts, pilot, alpha, link, widening)
    mean = np.empty(asked.delta.shape)
    for luck in lucks(asked.parts, asked.df, pilot, asked.link, alpha, asked.widening):
        gain = asked.delta[luck.plans, None, None]
        right, wrong = (gain - luck.half_width) / luck.std_error, (-gain - luck.half_width) / luck.std_error
        shown_right, shown_wrong = special.ndtr(right), special.ndtr(wrong)
        size = gain * (shown_right - shown_wrong)
        size += luck.std_error * (np.exp(-0.5 * right**2) + np.exp(-0.5 * wrong**2)) / np.sqrt(2.0 * np.pi)
        shown = np.einsum("npc,pc->n", shown_right + shown_wrong, luck.weight)
        total = np.einsum("npc,pc->n", size, luck.weight)
        mean[luck.plans] = total / np.where(shown > 0.0, shown, 1.0)
    ratio = np.maximum(mean / asked.delta, 1.0)
    return np.where(asked.testable, ratio, np.inf).reshape(asked.shape)
