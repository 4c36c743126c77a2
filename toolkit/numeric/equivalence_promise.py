"""The chance that a campaign shows equivalence, or that a change does no harm, before it is run.

May import numpy, scipy.special and its neighbours. Averaged by quadrature over what the pilot leaves in doubt; with a
scatter taken as known (infinite df) it is the exact power of the two one-sided tests.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from toolkit.errors import Fault, SizingError
from toolkit.numeric._asked import HEADLINE, Asked, asked_of
from toolkit.numeric._quadrature import Floats, Pair, lucks, scatter_rule, true_errors
from toolkit.numeric.noncentral import critical_t


def equivalence_assurance(
    delta: ArrayLike,
    margin: ArrayLike,
    parts: Sequence[Pair],
    pilot: Sequence[Pair],
    *,
    alpha: float = 0.05,
    link: ArrayLike | None = None,
    widening: ArrayLike = 1.0,
) -> Floats:
    """Give back the chance that a campaign shows two settings to be equivalent within a margin.

    Parameters
    ----------
    delta : array_like
        True gain assumed [ln ratio, or unit of the response]; 0 when nothing changes at all.
    margin : array_like
        Largest change that does not matter [same unit], above 0.
    parts, pilot, link, widening
        As for ``promise.assurance``.
    alpha : float
        Error rate of each of the two one-sided tests; the interval is at 1 - 2 alpha. Between 0 and 0.5.

    Returns
    -------
    ndarray, broadcast shape of ``delta``, ``margin`` and the entries of ``parts``
        Chance between 0 and 1, never NaN; 0 where no interval can be stated.

    Raises
    ------
    SizingError
        When an argument is out of range or of the wrong shape; all faults are told at once.

    Notes
    -----
    Shown when the interval at 1 - 2 alpha lies within plus and minus the margin (D. J. Schuirmann, Journal of
    Pharmacokinetics and Biopharmaceutics 15 (1987) 657-680). Given the scatter and the half-width h that is the chance
    of an estimate between -(margin - h) and margin - h. Quadrature as in ``promise.assurance``, over those h that leave
    room; with several mean squares its error is up to 0.003.

    Checked against: k09-tost-equivalence (R 4.2.2, integration over the pooled SD); drawn pilots and campaigns,
    tests/unit/numeric/test_equivalence_promise.py.
    """
    asked = _asked(delta, margin, parts, pilot, alpha, link, widening)
    chance = np.empty(asked.delta.shape)
    if len(parts) == 1 and np.isfinite(asked.df).any():
        return _shaped(_of_one_mean_square(asked, pilot, alpha), asked)
    for luck in lucks(asked.parts, asked.df, pilot, asked.link, 2.0 * alpha, asked.widening):
        gain, edge = asked.delta[luck.plans, None, None], asked.margin[luck.plans, None, None]
        room = edge - luck.half_width
        inside = special.ndtr((room - gain) / luck.std_error) - special.ndtr((-room - gain) / luck.std_error)
        chance[luck.plans] = np.einsum("npc,pc->n", np.where(room > 0.0, inside, 0.0), luck.weight)
    return _shaped(chance, asked)


def no_harm_assurance(
    delta: ArrayLike,
    margin: ArrayLike,
    parts: Sequence[Pair],
    pilot: Sequence[Pair],
    *,
    alpha: float = 0.05,
    link: ArrayLike | None = None,
    widening: ArrayLike = 1.0,
) -> Floats:
    """Give back the chance that a campaign shows a change to be worse by less than a margin (non-inferiority).

    Parameters
    ----------
    delta : array_like
        True gain assumed [ln ratio, or unit of the response]: 0 when nothing changes, negative for a loss.
    margin : array_like
        Largest loss that does not matter [same unit], above 0.
    parts, pilot, link, widening
        As for ``promise.assurance``.
    alpha : float
        Error rate of the one-sided test; its limit is that of the interval at 1 - 2 alpha. Between 0 and 0.5.

    Returns
    -------
    ndarray, broadcast shape of ``delta``, ``margin`` and the entries of ``parts``
        Chance between 0 and 1, never NaN; 0 where no interval can be stated.

    Raises
    ------
    SizingError
        When an argument is out of range or of the wrong shape; all faults are told at once.

    Notes
    -----
    Shown when the lower limit of the gain is above minus the margin. Quadrature as in ``promise.assurance``.

    Checked against: R 4.2.2 power.t.test at the distance from the limit (k09-power-t); drawn pilots and campaigns,
    tests/unit/numeric/test_equivalence_promise.py.
    """
    asked = _asked(delta, margin, parts, pilot, alpha, link, widening)
    chance = np.empty(asked.delta.shape)
    for luck in lucks(asked.parts, asked.df, pilot, asked.link, 2.0 * alpha, asked.widening):
        distance = (asked.delta + asked.margin)[luck.plans, None, None]
        above = special.ndtr((distance - luck.half_width) / luck.std_error)
        chance[luck.plans] = np.einsum("npc,pc->n", above, luck.weight)
    return _shaped(chance, asked)


def _of_one_mean_square(asked: Asked, pilot: Sequence[Pair], alpha: float) -> Floats:
    """The chance of each plan, the campaign's scatter taken only as far as leaves room within the margin."""
    errors, weight = true_errors(asked.parts, pilot, asked.link)
    critical = critical_t(asked.df[:, 0], alpha=2.0 * alpha) * asked.widening
    chance = np.empty(len(errors))
    for plan, (error, df) in enumerate(zip(errors, asked.df[:, 0], strict=True)):
        reach, gain = critical[plan] * error, asked.delta[plan]
        most = asked.margin[plan] / reach
        if np.isinf(df):
            scatter, share = np.ones((len(error), 1)), (most > 1.0).astype(float)[:, None]
        else:
            scatter, share = scatter_rule(float(df), most)
        room = np.maximum(asked.margin[plan] - reach[:, None] * scatter, 0.0)
        inside = special.ndtr((room - gain) / error[:, None]) - special.ndtr((-room - gain) / error[:, None])
        chance[plan] = weight @ (share * inside).sum(axis=1)
    return chance


def _asked(
    delta: ArrayLike,
    margin: ArrayLike,
    parts: Sequence[Pair],
    pilot: Sequence[Pair],
    alpha: float,
    link: ArrayLike | None,
    widening: ArrayLike,
) -> Asked:
    """The arguments after checking; an interval at 1 - 2 alpha needs alpha below one half."""
    if 0.5 <= alpha < 1.0:
        raise SizingError(f"{HEADLINE}\n  {Fault('alpha', f'{alpha:g} was given', 'a share between 0 and 0.5')}")
    return asked_of(delta, margin, parts, pilot, alpha, link, widening)


def _shaped(chance: Floats, asked: Asked) -> Floats:
    """Chances in the shape that was asked, 0 where no interval can be stated."""
    return np.where(asked.testable, np.clip(chance, 0.0, 1.0), 0.0).reshape(asked.shape)
