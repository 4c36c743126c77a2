"""What a plan must hold to keep a promise whatever the true scatter is: two stages, the pilot's own scatter the judge.

May import numpy, scipy.special and the error classes. The comparison is then judged by the pilot's mean square on the
pilot's degrees of freedom, not by that of the campaign: that is what makes the promise hold for every true scatter,
and what makes it dear.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from toolkit.errors import Fault, SizingError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._quadrature import Floats
from toolkit.numeric.noncentral import critical_t


def variance_for_width(mean_square: ArrayLike, df: ArrayLike, half_width: ArrayLike, *, alpha: float = 0.05) -> Floats:
    """Give back the largest unit variance of a comparison whose interval then keeps a half-width for certain.

    Parameters
    ----------
    mean_square : array_like
        The pilot's own mean square, above 0, in the stratum the comparison is judged in.
    df : array_like
        Its degrees of freedom, 1 or more.
    half_width : array_like
        Half-width asked [the root of the unit of ``mean_square``], above 0.
    alpha : float
        1 minus the confidence level, between 0 and 1.

    Returns
    -------
    ndarray, broadcast shape
        A plan whose contrast has this unit variance or less has the interval estimate plus and minus ``half_width``,
        which covers the truth with confidence 1 - alpha or more whatever the true scatter is.

    Raises
    ------
    SizingError
        When an argument is out of range; all faults are told at once.

    Notes
    -----
    v = h^2 / (t^2 s^2), t the critical value on the pilot's df: C. Stein, Annals of Mathematical Statistics 16 (1945)
    243-258 (reference from memory). The runs of the campaign must not be those of the pilot's scatter.

    Checked against: drawn pilots and campaigns over a thousandfold range of scatter; the price against known scatter,
    (t / z)^2, by Student's table, tests/unit/numeric/test_iron_promise.py.
    """
    faults = [*_pilot_faults(mean_square, df), *guards.positive("half-width", half_width)]
    raise_all(SizingError, "The iron promise cannot be worked out.", faults + guards.probability("alpha", alpha))
    return np.asarray(half_width, dtype=float) ** 2 / (
        critical_t(df, alpha=alpha) ** 2 * np.asarray(mean_square, dtype=float)
    )


def variance_for_power(
    mean_square: ArrayLike, df: ArrayLike, gain: ArrayLike, *, alpha: float = 0.05, power: float = 0.80
) -> Floats:
    """Give back the largest unit variance of a comparison that then shows a change with the power asked for certain.

    Parameters
    ----------
    mean_square, df
        As for ``variance_for_width``.
    gain : array_like
        True change [the root of the unit of ``mean_square``], any sign, not 0.
    alpha : float
        1 minus the confidence level, between 0 and 1.
    power : float
        Chance asked, above ``alpha`` and below 1.

    Returns
    -------
    ndarray, broadcast shape
        A plan whose contrast has this unit variance or less shows the change with at least that chance whatever the
        true scatter is.

    Raises
    ------
    SizingError
        When an argument is out of range; all faults are told at once.

    Notes
    -----
    With v set by the pilot's s, (estimate - truth) / (sqrt(v) s) is t on the pilot's df whatever sigma, so that
    v = gain^2 / ((t_(1 - alpha/2) + t_power)^2 s^2) leaves the chance ``power`` of passing the critical value: C.
    Stein, as in ``variance_for_width``.

    Checked against: drawn pilots and campaigns over a thousandfold range of scatter,
    tests/unit/numeric/test_iron_promise.py.
    """
    size = np.abs(np.asarray(gain, dtype=float))
    faults = [*_pilot_faults(mean_square, df)]
    faults += guards.finite("true change", gain) or guards.positive("size of the true change", size)
    faults += guards.probability("alpha", alpha) + guards.probability("power", power)
    if not faults and power <= alpha:
        faults.append(Fault("power", f"{power:g} was given", f"more than alpha ({alpha:g})"))
    raise_all(SizingError, "The iron promise cannot be worked out.", faults)
    reach = critical_t(df, alpha=alpha) + special.stdtrit(np.asarray(df, dtype=float), power)
    return size**2 / (reach**2 * np.asarray(mean_square, dtype=float))


def _pilot_faults(mean_square: ArrayLike, df: ArrayLike) -> list[Fault]:
    """What is wrong with the pilot's mean square and df."""
    faults = [*guards.positive("mean square of the pilot", mean_square), *guards.positive("df of the pilot", df)]
    few = np.asarray(df, dtype=float)
    if not faults and bool(np.any(few < 1.0)):
        faults.append(Fault("df of the pilot", f"{float(few.min()):g} was given", "1 or more"))
    return faults
