"""How wide the interval of a comparison will be, before it is run.

May import numpy, scipy.special and its neighbours. Averaged by quadrature over what the pilot leaves in doubt and over
the luck of the campaign.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from toolkit.numeric._asked import asked_of
from toolkit.numeric._quadrature import Floats, Pair, lucks


def expected_half_width(
    parts: Sequence[Pair], pilot: Sequence[Pair], *, alpha: float = 0.05, link: ArrayLike | None = None
) -> Floats:
    """Give back the half-width that the interval of a comparison will have on average.

    Parameters
    ----------
    parts, pilot, link
        As for ``promise.assurance``.
    alpha : float
        1 minus the confidence level of the interval, between 0 and 1.

    Returns
    -------
    ndarray, broadcast shape of the entries of ``parts``
        In the unit of the response, or of ln; infinite where no interval can be stated, and where a mean square of
        the pilot has 1 degree of freedom or less (its doubt is then so wide that there is no average).

    Raises
    ------
    SizingError
        When an argument is out of range or of the wrong shape; all faults are told at once.

    Notes
    -----
    With one mean square on either side: t sqrt(v) s c(f) c(nu) nu / (nu - 1), where c(f) = sqrt(2/f) gamma((f + 1)/2) /
    gamma(f/2) is the mean of sqrt(chi2_f / f), and c(nu) nu / (nu - 1) that of sqrt(nu / chi2_nu) (textbook). With
    more, the quadrature of ``promise.assurance``.

    Checked against: k09-ci-halfwidth-n (R 4.2.2) at a known scatter; drawn pilots and campaigns,
    tests/unit/numeric/test_half_width.py.
    """
    asked = asked_of(0.0, 1.0, parts, pilot, alpha, link)
    least = min(float(df) for _, df in pilot)
    if least <= 1.0:
        return np.full(asked.shape, np.inf)
    if len(parts) == 1 and len(pilot) == 1:
        (square, doubt), df = pilot[0], asked.df[:, 0]
        sd = np.sqrt(float(square) * asked.link[:, 0, 0] * asked.parts[:, 0])
        mean = _critical(df, alpha) * sd * _mean_root(df) * _mean_root_inverse(float(doubt))
    else:
        mean = np.empty(asked.delta.shape)
        for luck in lucks(asked.parts, asked.df, pilot, asked.link, alpha):
            mean[luck.plans] = np.einsum("npc,pc->n", luck.half_width, luck.weight)
    return np.where(asked.testable, mean, np.inf).reshape(asked.shape)


def _critical(df: Floats, alpha: float) -> Floats:
    """Two-sided critical value of t at df of 1 or more (infinite ones too)."""
    return -special.stdtrit(df, 0.5 * alpha)


def _mean_root(df: Floats) -> Floats:
    """The mean of sqrt(chi-square over its df); 1 where the df is infinite."""
    finite = np.where(np.isinf(df), 1.0, df)
    made = np.sqrt(2.0 / finite) * np.exp(special.gammaln(0.5 * (finite + 1.0)) - special.gammaln(0.5 * finite))
    return np.where(np.isinf(df), 1.0, made)


def _mean_root_inverse(df: float) -> float:
    """The mean of sqrt(df over chi-square), for df above 1; 1 where the df is infinite."""
    return 1.0 if np.isinf(df) else float(_mean_root(np.array(df))) * df / (df - 1.0)
