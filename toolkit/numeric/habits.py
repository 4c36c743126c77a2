"""How often habits of testing claim a difference where there is none: stations counted as runs, looks in between.

May import numpy, scipy.special and the error classes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from toolkit.errors import Fault, SizingError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._bases import Floats

_NODES = 64
_HEADLINE = "What the habit costs cannot be told."


def stations_as_runs(
    run_value: float, station: float, count: int, runs: int, error_df: int, *, alpha: float = 0.05
) -> float:
    """Give back how often stations, analysed as if each were a run, claim a difference where there is none.

    Parameters
    ----------
    run_value : float
        Variance of a run value, the mean of its stations; at least ``station / count``.
    station : float
        Variance between stations of a run.
    count : int
        Stations of a run, 2 or more.
    runs : int
    error_df : int
        Error df of the run values, 1 or more; runs less error_df parameters are fitted either way.
    alpha : float

    Returns
    -------
    float

    Raises
    ------
    SizingError
        When a number is out of range; all faults are told at once.

    Notes
    -----
    The error is (count run_value chi2_error_df + station chi2_(runs (count - 1))) over their df together, where count
    run_value is what the difference really scatters by; the normal tail is averaged over both chi-squares by
    Gauss-Legendre in their quantiles.

    Checked against: 20,000 simulated campaigns, and 39 % for a 2x2 in three blocks with ten stations (simulated
    elsewhere), tests/unit/numeric/test_habits.py.
    """
    faults = guards.positive("run_value", run_value) + guards.positive("station", station)
    faults += guards.probability("alpha", alpha)
    for name, value, least in (("count", count, 2), ("error_df", error_df, 1), ("runs", runs, 2)):
        if value < least:
            faults.append(Fault(name, f"{value:g} was given", f"{least} or more"))
    if not faults and run_value < station / count * (1.0 - 1e-9):
        faults.append(Fault("run_value", f"{run_value:g} was given", "no less than station / count"))
    raise_all(SizingError, _HEADLINE, faults)
    place, weight = np.polynomial.legendre.leggauss(_NODES)
    share = 0.5 * (place + 1.0)
    within = runs * (count - 1)
    between = 2.0 * special.gammaincinv(0.5 * error_df, share)
    inside = 2.0 * special.gammaincinv(0.5 * within, share)
    real = count * run_value
    claimed = (real * between[:, None] + station * inside) / (error_df + within)
    limit = special.stdtrit(error_df + within, 1.0 - 0.5 * alpha)
    tails = 2.0 * special.ndtr(-limit * np.sqrt(claimed / real))
    return float(0.25 * weight @ tails @ weight)


def stops(p_values: ArrayLike, *, alpha: float = 0.05) -> float:
    """Give back the share of campaigns that claim a difference at any of several looks.

    Parameters
    ----------
    p_values : array_like, shape (campaigns, looks)
        In the order of the looks, NaN where a look cannot be analysed.
    alpha : float

    Returns
    -------
    float

    Raises
    ------
    SizingError
        When alpha is no probability or there is no campaign.

    Notes
    -----
    Checked against: independent looks, 1 - .95^k, tests/unit/numeric/test_habits.py.
    """
    return float((_looks(p_values, alpha) < alpha).any(axis=1).mean())


def goes_on(p_values: ArrayLike, *, alpha: float = 0.05, hope: float = 4.0) -> float:
    """Give back the share of campaigns that claim a difference when one goes on only while it is close.

    Parameters
    ----------
    p_values : array_like, shape (campaigns, looks)
        In the order of the looks, NaN where a look cannot be analysed.
    alpha : float
    hope : float
        One goes on while p lies between alpha and hope times alpha, and stops without a claim above that.

    Returns
    -------
    float

    Raises
    ------
    SizingError
        As ``stops``.

    Notes
    -----
    Checked against: independent looks, alpha (1 + h + h^2 ...) with h the share that goes on,
    tests/unit/numeric/test_habits.py.
    """
    found = _looks(p_values, alpha)
    going = np.isnan(found) | ((found >= alpha) & (found < hope * alpha))
    reached = np.column_stack([np.ones(len(found), dtype=bool), np.logical_and.accumulate(going, axis=1)[:, :-1]])
    return float((reached & (found < alpha)).any(axis=1).mean())


def _looks(p_values: ArrayLike, alpha: float) -> Floats:
    """The p values as an array, or an error."""
    found = np.asarray(p_values, dtype=float)
    faults = guards.probability("alpha", alpha)
    if found.ndim != 2 or not found.size:
        expected = "one row a campaign, one column a look"
        faults.append(Fault("p_values", f"an array of shape {found.shape} was given", expected))
    raise_all(SizingError, _HEADLINE, faults)
    return found
